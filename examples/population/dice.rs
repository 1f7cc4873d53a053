//! Chance that can be repeated: a counter that is mixed, a stream of its own for each purpose.

/// What a stream of numbers is drawn for. Streams of one part never touch, so that a run that
/// takes fewer readings sees the same part on the same bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// The part.
    Part = 1,
    /// The instruments.
    Station = 2,
    /// What comes and goes during a run.
    Noise = 3,
}

/// A stream of numbers.
#[derive(Debug, Clone)]
pub(crate) struct Dice {
    key: u64,
    count: u64,
}

/// 2⁶⁴ over the golden ratio: steps that visit all numbers evenly (`SplitMix64`).
const STEP: u64 = 0x9e37_79b9_7f4a_7c15;

impl Dice {
    /// The stream for one purpose of one part of a study.
    pub(crate) fn new(seed: u64, index: u64, purpose: Purpose) -> Self {
        let key = mix(mix(mix(seed) ^ index) ^ purpose as u64);
        Self { key, count: 0 }
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
    pub(crate) fn between(&mut self, (least, most): (f64, f64)) -> f64 {
        least + (most - least) * self.share()
    }

    /// Between two bounds above zero, evenly in the logarithm.
    pub(crate) fn over_decades(&mut self, (least, most): (f64, f64)) -> f64 {
        least * (most / least).powf(self.share())
    }

    /// Evenly between −1 and 1.
    pub(crate) fn either_way(&mut self) -> f64 {
        self.between((-1.0, 1.0))
    }

    /// Normal, with mean 0 and deviation 1 (Box–Muller).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }

    /// True in so large a share of cases.
    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// The time to the next of events that come at a rate.
    pub(crate) fn wait(&mut self, rate: f64) -> f64 {
        -(1.0 - self.share()).ln() / rate
    }

    /// One of several.
    pub(crate) fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::cast_precision_loss,
            reason = "a short list"
        )]
        let index = (self.share() * from.len() as f64) as usize;
        from[index]
    }
}

fn mix(number: u64) -> u64 {
    let mut mixed = number.wrapping_add(STEP);
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_part_draws_the_same_numbers() {
        let draw = |index| {
            let mut dice = Dice::new(1, index, Purpose::Part);
            [dice.roll(), dice.roll()]
        };
        assert_eq!(draw(7), draw(7));
        assert_ne!(draw(7), draw(8));
    }

    #[test]
    fn normal_numbers_have_mean_nought_and_deviation_one() {
        let mut dice = Dice::new(1, 1, Purpose::Noise);
        let draws: Vec<f64> = (0..20_000).map(|_| dice.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|draw| (draw - mean).powi(2)).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (variance - 1.0).abs() < 0.05, "{mean} {variance}");
    }
}
