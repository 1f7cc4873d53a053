//! How sure a decision has to be: the share of true values that an interval is to hold.
//!
//! A confidence of 95 % is two-sided: at most 2.5 % of the true values lie above the interval and
//! as many below. Its coverage factor is the quantile of the normal distribution there.

use super::read::{self, ReadError};

/// Share of true values that a two-sided interval holds, from 90 % to 99.9 %.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Confidence(f64);

impl Confidence {
    /// The least that is taken.
    pub const LEAST: Self = Self(0.9);
    /// The most that is taken: beyond it, uncertainties are not known well enough to tell.
    pub const MOST: Self = Self(0.999);
    /// 95 %, which leaves a risk of 2.5 % each way.
    pub const USUAL: Self = Self(0.95);

    /// This share, such as 0.95.
    ///
    /// # Errors
    ///
    /// [`ConfidenceError::OutOfRange`] outside [`Confidence::LEAST`] and [`Confidence::MOST`].
    pub fn of(share: f64) -> Result<Self, ConfidenceError> {
        // 99.9 / 100 is not quite 0.999.
        let near = |bound: Self| (share - bound.0).abs() < 1e-9;
        if (Self::LEAST.0..=Self::MOST.0).contains(&share) || near(Self::LEAST) || near(Self::MOST)
        {
            return Ok(Self(share));
        }
        Err(ConfidenceError::OutOfRange { percent: share * 100.0 })
    }

    /// Reads `95%`, `99.9 %` or `99,5%`.
    ///
    /// # Errors
    ///
    /// [`ConfidenceError`] with what was expected and what came.
    pub fn read(text: &str) -> Result<Self, ConfidenceError> {
        let number = text.trim().strip_suffix('%');
        let number = number.ok_or_else(|| ConfidenceError::NoPercent { text: text.to_owned() })?;
        Self::of(read::number(number.trim_end())? / 100.0)
    }

    /// The share, such as 0.95.
    #[must_use]
    pub fn share(self) -> f64 {
        self.0
    }

    /// Half-width of the interval over its standard uncertainty: 1.96 for 95 %.
    ///
    /// The quantile of the normal distribution by the rational approximation PPND7 of M. J.
    /// Wichura, Algorithm AS 241, Applied Statistics 37 (1988), in its part for the tail, where
    /// every confidence lies that is taken here. It is good to one in 10⁷.
    #[must_use]
    pub fn coverage(self) -> f64 {
        let tail = (1.0 - self.0) / 2.0;
        let r = (-tail.ln()).sqrt() - 1.6;
        let above = ((0.170_238_211_03 * r + 1.306_728_481_6) * r + 2.756_815_390_0) * r;
        let below = (0.120_211_329_75 * r + 0.737_001_642_50) * r + 1.0;
        (above + 1.423_437_277_7) / below
    }
}

impl Default for Confidence {
    fn default() -> Self {
        Self::USUAL
    }
}

impl std::fmt::Display for Confidence {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Four digits keep 99.95 and take the last bits off 0.999 · 100.
        write!(f, "{} %", (self.0 * 1e6).round() / 1e4)
    }
}

/// Why a text is no confidence.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ConfidenceError {
    /// It does not end with a per cent sign.
    #[error("expected a confidence such as 95%, came {text:?}: it has no %")]
    NoPercent {
        /// What was written.
        text: String,
    },
    /// No number stands before the sign.
    #[error(transparent)]
    Number(#[from] ReadError),
    /// Too little or too much.
    #[error("expected a confidence from 90% to 99.9%, came {percent}%")]
    OutOfRange {
        /// What was written.
        percent: f64,
    },
}

impl ConfidenceError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        "write it as --confidence 99%; the usual 95% leaves a risk of 2.5% each way"
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;

    // Quantiles of the standard normal distribution as tables print them (two-sided).
    #[rstest]
    #[case::ninety(0.90, 1.644_853_6)]
    #[case::ninety_five(0.95, 1.959_964_0)]
    #[case::two_sigma(0.954_499_74, 2.0)]
    #[case::ninety_eight(0.98, 2.326_347_9)]
    #[case::ninety_nine(0.99, 2.575_829_3)]
    #[case::three_sigma(0.997_300_20, 3.0)]
    #[case::most(0.999, 3.290_526_7)]
    fn the_coverage_is_that_of_the_printed_tables(#[case] share: f64, #[case] coverage: f64) {
        let found = Confidence::of(share).unwrap().coverage();
        assert!((found - coverage).abs() < 1e-6, "{found}, expected {coverage}");
    }

    #[rstest]
    #[case::usual("95%", 0.95)]
    #[case::with_a_blank("99 %", 0.99)]
    #[case::with_a_fraction("99.9%", 0.999)]
    #[case::with_a_comma("97,5%", 0.975)]
    fn a_confidence_is_read_in_per_cent(#[case] text: &str, #[case] share: f64) {
        assert!((Confidence::read(text).unwrap().share() - share).abs() < 1e-12);
    }

    #[rstest]
    #[case::a_share("0.95", "it has no %")]
    #[case::too_little("80%", "from 90% to 99.9%, came 80%")]
    #[case::certainty("100%", "from 90% to 99.9%, came 100%")]
    #[case::no_number("high%", "it does not begin with a number")]
    fn what_is_no_confidence_is_refused(#[case] text: &str, #[case] message: &str) {
        let error = Confidence::read(text).unwrap_err().to_string();
        assert!(error.contains(message), "{error}");
    }

    #[test]
    fn a_confidence_is_written_without_odd_digits() {
        let written = |share| Confidence::of(share).unwrap().to_string();
        assert_eq!([0.95, 0.999, 0.9975].map(written), ["95 %", "99.9 %", "99.75 %"]);
    }

    proptest! {
        #[test]
        fn more_confidence_needs_a_wider_interval(one in 0.9_f64..0.999, other in 0.9_f64..0.999) {
            let coverage = |share| Confidence::of(share).unwrap().coverage();
            prop_assert_eq!(one < other, coverage(one) < coverage(other));
        }
    }
}
