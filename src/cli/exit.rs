//! Exit codes.

use std::process::ExitCode;

use crate::judge::{Finding, Left, Verdict};

/// How a command ended, for scripts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exit {
    /// All within; or the command did what it was asked.
    Within,
    /// Some over.
    Over,
    /// Some undecided or untested.
    Undecided,
    /// An instrument or the station failed; left safe.
    Fault,
    /// Locked out: not proven empty.
    LockedOut,
    /// Bad usage or a bad input file; nothing was energised.
    Usage,
}

impl Exit {
    /// The number that the shell sees.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Within => 0,
            Self::Over => 1,
            Self::Undecided => 2,
            Self::Fault => 3,
            Self::LockedOut => 4,
            Self::Usage => 64,
        }
    }

    /// The exit of a run.
    #[must_use]
    pub fn of(verdict: Verdict, findings: &[Finding], left: Left) -> Self {
        if left == Left::LockedOut {
            return Self::LockedOut;
        }
        if findings.first() == Some(&Finding::InstrumentLost) {
            return Self::Fault;
        }
        match verdict {
            Verdict::Within => Self::Within,
            Verdict::Over => Self::Over,
            Verdict::Undecided | Verdict::Untested => Self::Undecided,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case(Verdict::Within, Finding::Settled, Left::Safe, 0)]
    #[case(Verdict::Over, Finding::BrokeDown, Left::Safe, 1)]
    #[case(Verdict::Undecided, Finding::MeterTooCoarse, Left::Safe, 2)]
    #[case(Verdict::Untested, Finding::NoContact, Left::Safe, 2)]
    #[case(Verdict::Untested, Finding::InstrumentLost, Left::Safe, 3)]
    #[case(Verdict::Within, Finding::Settled, Left::LockedOut, 4)]
    #[case(Verdict::Untested, Finding::InstrumentLost, Left::LockedOut, 4)]
    fn a_run_ends_with_its_code(
        #[case] verdict: Verdict,
        #[case] finding: Finding,
        #[case] left: Left,
        #[case] code: u8,
    ) {
        assert_eq!(Exit::of(verdict, &[finding], left).code(), code);
    }
}
