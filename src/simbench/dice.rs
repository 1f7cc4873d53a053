//! A small seeded generator, so that the same seed gives the same bench.
//!
//! The mixing is that of `SplitMix64`: one addition and two multiply-shift rounds per draw. It is
//! good enough for noise and for the times of bursts, and nothing here needs more.

/// A seeded source of numbers.
#[derive(Debug, Clone)]
pub(crate) struct Dice {
    state: u64,
}

impl Dice {
    /// A source that always gives the same numbers for the same seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// A number from 0 (may come) to 1 (never comes), all equally likely.
    pub(crate) fn unit(&mut self) -> f64 {
        // 53 bits are what an f64 holds, so the conversion is exact.
        #[expect(clippy::cast_precision_loss, reason = "53 bits fit an f64 exactly")]
        let bits = (self.next() >> 11) as f64;
        bits / 9_007_199_254_740_992.0
    }

    /// A number of the normal distribution with mean 0 and deviation 1 (Box-Muller).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// A waiting time (s) for something that happens `rate` times a second on average.
    pub(crate) fn wait(&mut self, rate: f64) -> f64 {
        -(1.0 - self.unit()).ln() / rate
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_numbers() {
        let (mut one, mut other) = (Dice::new(7), Dice::new(7));
        for _ in 0..100 {
            assert_eq!(one.next(), other.next());
        }
        assert_ne!(Dice::new(7).next(), Dice::new(8).next());
    }

    #[test]
    fn noise_has_mean_zero_and_deviation_one() {
        let mut dice = Dice::new(1976);
        let draws: Vec<f64> = (0..20_000).map(|_| dice.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|draw| (draw - mean).powi(2)).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03, "mean {mean}");
        assert!((variance - 1.0).abs() < 0.05, "variance {variance}");
    }

    #[test]
    fn waiting_times_have_the_mean_of_their_rate() {
        let mut dice = Dice::new(3);
        let mean = (0..20_000).map(|_| dice.wait(4.0)).sum::<f64>() / 20_000.0;
        assert!((mean - 0.25).abs() < 0.01, "mean {mean}");
    }
}
