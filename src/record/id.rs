//! The name of a run: `r17` for people, a row number for the store.

use std::fmt;
use std::str::FromStr;

/// Which run: written `r17`, unique in its record file and never given twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct RunId(i64); // Invariant: above zero.

impl RunId {
    /// The id of a stored row.
    pub(super) const fn from_row(row: i64) -> Self {
        Self(row)
    }

    /// The row that has this id.
    pub(super) const fn row(self) -> i64 {
        self.0
    }
}

impl fmt::Display for RunId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("r{}", self.0))
    }
}

impl FromStr for RunId {
    type Err = RunIdError;

    /// Reads `r17` or `17`.
    fn from_str(text: &str) -> Result<Self, RunIdError> {
        let digits = text.strip_prefix('r').unwrap_or(text);
        let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
        match digits.parse() {
            Ok(row) if plain && 0 < row => Ok(Self(row)),
            Ok(_) | Err(_) => Err(RunIdError(text.to_owned())),
        }
    }
}

/// Why a text names no run.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` names no run, expected r and a number from 1 up, as in r17")]
pub struct RunIdError(String);

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::as_printed("r17")]
    #[case::without_the_letter("17")]
    #[case::with_leading_zeros("r0017")]
    fn a_run_is_named_with_or_without_its_letter(#[case] text: &str) {
        assert_eq!(text.parse(), Ok(RunId(17)));
    }

    #[rstest]
    #[case::nothing("")]
    #[case::letter_alone("r")]
    #[case::zero("r0")]
    #[case::negative("-3")]
    #[case::signed("+3")]
    #[case::two_letters("rr3")]
    #[case::fraction("3.5")]
    #[case::spaces(" 3")]
    #[case::beyond_any_row("99999999999999999999")]
    fn what_names_no_run_is_refused_with_an_example(#[case] text: &str) {
        let said = text.parse::<RunId>().unwrap_err().to_string();
        assert_eq!(
            said,
            format!("`{text}` names no run, expected r and a number from 1 up, as in r17")
        );
    }

    #[test]
    fn a_printed_id_reads_back_and_keeps_its_column() {
        assert_eq!(RunId(7).to_string().parse(), Ok(RunId(7)));
        assert_eq!(format!("{:>5}", RunId(7)), "   r7");
    }
}
