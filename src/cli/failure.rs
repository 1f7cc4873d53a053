//! Why a command could not do its work: message, what to do, exit code.

use super::Exit;
pub(crate) use crate::daemon::refused::chain;
use crate::daemon::refused::{Ground, Problem, Refused};
use crate::daemon::{RunError, ScannerError};
use crate::record::RecordError;
use crate::station::FileError;

/// A failed command.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) exit: Exit,
    problems: Vec<Problem>,
}

impl Failure {
    pub(crate) fn new(exit: Exit, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { exit, problems: vec![Problem { message: message.into(), help: help.into() }] }
    }

    /// Bad usage or a bad input file.
    pub(crate) fn usage(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self::new(Exit::Usage, message, help)
    }

    /// Several problems at once, so that all can be mended.
    pub(crate) fn all(problems: Vec<(String, String)>) -> Self {
        let problems =
            problems.into_iter().map(|(message, help)| Problem { message, help }).collect();
        Self { exit: Exit::Usage, problems }
    }

    /// The whole complaint: cause, then what to do.
    pub(crate) fn text(&self) -> String {
        let line =
            |problem: &Problem| format!("error: {}\n help: {}\n", problem.message, problem.help);
        self.problems.iter().map(line).collect()
    }
}

impl From<FileError> for Failure {
    fn from(error: FileError) -> Self {
        Self::usage(chain(&error), error.help())
    }
}

impl From<RecordError> for Failure {
    fn from(error: RecordError) -> Self {
        Self::usage(chain(&error), error.help())
    }
}

impl From<RunError> for Failure {
    fn from(error: RunError) -> Self {
        Refused::from(error).into()
    }
}

impl From<Refused> for Failure {
    fn from(refused: Refused) -> Self {
        let exit = match refused.ground {
            Ground::Question => Exit::Undecided,
            Ground::Usage => Exit::Usage,
            Ground::Fault | Ground::Busy => Exit::Fault,
            Ground::LockedOut => Exit::LockedOut,
        };
        Self { exit, problems: refused.problems }
    }
}

impl From<ScannerError> for Failure {
    fn from(error: ScannerError) -> Self {
        let exit = match error {
            ScannerError::Open(error) => return error.into(),
            // The part that was behind the relay is nowhere proven empty.
            ScannerError::NotEmpty { .. } | ScannerError::Moved { .. } => Exit::LockedOut,
            ScannerError::NotClosed { .. }
            | ScannerError::Refused { .. }
            | ScannerError::Silent { .. } => Exit::Fault,
        };
        Self::new(exit, chain(&error), error.help())
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        Self::new(Exit::Fault, error.to_string(), "see the reason")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::asked::limit;
    use crate::part::Part;

    #[test]
    fn a_question_shows_place_reasons_and_readings() {
        let part = Part::read("100µF 63V al-wet").unwrap();
        let question = limit(Some("0.02CV or 5 mA, 5 min"), &part, None).unwrap_err();
        let failure = Failure::from(question);
        assert_eq!(failure.exit, Exit::Undecided);
        insta::assert_snapshot!(failure.text(), @r"
        error: the limit can be read in more than one way or not at all
               0.02CV or 5 mA, 5 min
                         ^
               - nothing says whether this second value is a floor or a cap
               perhaps 5 mA         0.02CU floor 5 mA
               perhaps 126 µA       0.02CU cap 5 mA
         help: look at the sheet and type the one that is meant, as written here on the right, in quotes
        ");
    }
}
