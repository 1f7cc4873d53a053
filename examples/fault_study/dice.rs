//! Chance that can be repeated: a counter that is mixed.

/// A stream of numbers.
#[derive(Debug, Clone)]
pub(crate) struct Dice {
    key: u64,
    count: u64,
}

/// 2⁶⁴ over the golden ratio: steps that visit all numbers evenly (`SplitMix64`).
const STEP: u64 = 0x9e37_79b9_7f4a_7c15;

impl Dice {
    /// The stream of one run of a study.
    pub(crate) fn new(seed: u64, run: u64) -> Self {
        Self { key: mix(mix(seed) ^ run), count: 0 }
    }

    fn roll(&mut self) -> u64 {
        self.count = self.count.wrapping_add(1);
        mix(self.key.wrapping_add(self.count.wrapping_mul(STEP)))
    }

    /// From 0 to below 1.
    pub(crate) fn share(&mut self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "53 bits fit an f64 exactly")]
        let bits = (self.roll() >> 11) as f64;
        bits / 9_007_199_254_740_992.0
    }

    /// Evenly between two bounds.
    pub(crate) fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.share()
    }

    /// Below `end`, which is above zero.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        let end = u64::try_from(end.max(1)).unwrap_or(1);
        usize::try_from(self.roll() % end).unwrap_or_default()
    }

    /// One of some.
    pub(crate) fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }

    /// Any byte.
    pub(crate) fn byte(&mut self) -> u8 {
        u8::try_from(self.roll() % 256).unwrap_or_default()
    }
}

fn mix(value: u64) -> u64 {
    let mut value = value;
    value = (value ^ (value >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    value = (value ^ (value >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    value ^ (value >> 31)
}
