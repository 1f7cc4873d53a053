//! How far a part's capacitance may lie from the printed one.

use crate::quantity::read::{self, ReadError};

/// A tolerance of capacitance, as parts of the printed value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    below: f64,
    above: f64,
}

/// Why a word is no tolerance.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ToleranceError {
    /// It has not the form of one.
    #[error("expected a tolerance such as 10%, ±10% or -10+50%, came {word:?}")]
    Form {
        /// The word as written.
        word: String,
    },
    /// It does not read as a number.
    #[error("the tolerance {word:?} does not read")]
    Number {
        /// The word as written.
        word: String,
        /// What is wrong with the number.
        source: Box<ReadError>,
    },
    /// No part can miss its value that way.
    #[error("expected less than 100 % below and 0 % or more each way, came {word:?}")]
    Range {
        /// The word as written.
        word: String,
    },
}

impl Tolerance {
    /// Reads `10%`, `±10%`, `+-10%`, `-10+50%` or `-10/+100%`.
    ///
    /// # Errors
    ///
    /// [`ToleranceError`] names the word.
    pub fn read(word: &str) -> Result<Self, ToleranceError> {
        let form = || ToleranceError::Form { word: word.to_owned() };
        let per_cent = word.trim().strip_suffix('%').ok_or_else(form)?.trim_end();
        let number = |text: &str| match read::number(text) {
            Ok(number) => Ok(number / 100.0),
            Err(fault) => {
                Err(ToleranceError::Number { word: word.to_owned(), source: Box::new(fault) })
            }
        };
        let (below, above) = if let Some(both) = per_cent.strip_prefix('-') {
            both.split_once('+').ok_or_else(form)?
        } else {
            let both = per_cent.strip_prefix("+-").or(per_cent.strip_prefix('±'));
            let both = both.unwrap_or(per_cent);
            (both, both)
        };
        if above.trim_start().starts_with(['+', '-']) {
            return Err(form());
        }
        let below = number(below.trim_end_matches(['/', '%']))?;
        let above = number(above)?;
        if (0.0..1.0).contains(&below) && 0.0 <= above {
            Ok(Self { below, above })
        } else {
            Err(ToleranceError::Range { word: word.to_owned() })
        }
    }

    /// How far below the printed value, as a part of it: 0.1 for 10 %.
    #[must_use]
    pub fn below(self) -> f64 {
        self.below
    }

    /// How far above the printed value, as a part of it.
    #[must_use]
    pub fn above(self) -> f64 {
        self.above
    }
}

impl std::fmt::Display for Tolerance {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Per cent to a hundredth: 0.1 · 100 is not 10 in binary.
        let per_cent = |part: f64| (part * 1e4).round() / 100.0;
        let (below, above) = (per_cent(self.below), per_cent(self.above));
        if self.below.total_cmp(&self.above).is_eq() {
            write!(f, "±{above}%")
        } else {
            write!(f, "-{below}+{above}%")
        }
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::plain("10%", 0.1, 0.1, "±10%")]
    #[case::with_a_blank("20 %", 0.2, 0.2, "±20%")]
    #[case::with_its_sign("±5%", 0.05, 0.05, "±5%")]
    #[case::typed_sign("+-2.5%", 0.025, 0.025, "±2.5%")]
    #[case::one_sided("-10+50%", 0.1, 0.5, "-10+50%")]
    #[case::with_a_stroke("-20/+80%", 0.2, 0.8, "-20+80%")]
    fn a_tolerance_reads_and_writes(
        #[case] word: &str,
        #[case] below: f64,
        #[case] above: f64,
        #[case] written: &str,
    ) {
        let tolerance = Tolerance::read(word).unwrap();
        assert_eq!((tolerance.below(), tolerance.above()), (below, above));
        assert_eq!(tolerance.to_string(), written);
        assert_eq!(Tolerance::read(written), Ok(tolerance));
    }

    #[rstest]
    #[case::no_sign("10")]
    #[case::words("ten%")]
    #[case::negative("-10%")]
    #[case::all_of_it("100%")]
    #[case::nothing("%")]
    #[case::twice("+-+-10%")]
    #[case::above_alone("+50%")]
    #[case::infinite("inf%")]
    fn what_is_no_tolerance_is_refused(#[case] word: &str) {
        assert!(Tolerance::read(word).is_err());
    }
}
