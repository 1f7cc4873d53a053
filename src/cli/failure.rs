//! Why a command could not do its work: message, what to do, exit code.

use super::Exit;
use crate::daemon::{RunError, ScannerError};
use crate::record::RecordError;
use crate::station::FileError;

/// A failed command.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) exit: Exit,
    problems: Vec<Problem>,
}

#[derive(Debug)]
struct Problem {
    message: String,
    help: String,
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

/// An error and its causes in one line.
pub(crate) fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        let cause_text = cause.to_string();
        if !text.contains(&cause_text) {
            text = format!("{text}: {cause_text}");
        }
        source = cause.source();
    }
    text
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
        let exit = match &error {
            RunError::LeftUnsafe { .. } => Exit::LockedOut,
            RunError::Keeper(_) | RunError::Record(_) | RunError::System { .. } => Exit::Fault,
            RunError::Link(_)
            | RunError::Relay(_)
            | RunError::Silent { .. }
            | RunError::Stranger { .. } => Exit::Usage,
        };
        Self::new(exit, chain(&error), error.help())
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
