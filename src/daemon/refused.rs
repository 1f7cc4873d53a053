//! Why something that was asked for is not done: on the command line, in the API, on the page.

use super::RunError;
use crate::part::sheet::Question;
use crate::quantity::text;
use crate::record::RecordError;
use crate::words::words;

words! {
    /// What kind of reason it is: it decides exit codes and statuses.
    Ground {
        /// It can be read in more than one way.
        Question = "question",
        /// It is not understood, or this station may not do it.
        Usage = "usage",
        /// An instrument, the station or the record failed.
        Fault = "fault",
        /// The station is locked out until a person has looked.
        LockedOut = "locked-out",
        /// The station has other work.
        Busy = "busy",
    }
}

/// One thing that is in the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The place, what was expected and what came, in a line.
    pub message: String,
    /// What to do next.
    pub help: String,
}

/// Why something is not done; all that is in its way at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// What kind of reason it is.
    pub ground: Ground,
    /// What is in the way, one or more.
    pub problems: Vec<Problem>,
}

impl Refused {
    /// One thing is in the way.
    pub fn new(ground: Ground, message: impl Into<String>, help: impl Into<String>) -> Self {
        let problem = Problem { message: message.into(), help: help.into() };
        Self { ground, problems: vec![problem] }
    }

    /// It is not understood.
    pub fn usage(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self::new(Ground::Usage, message, help)
    }

    /// A limit that can be read in more than one way or not at all: the place, the reasons, the
    /// readings and how to write them.
    #[must_use]
    pub fn question(line: &str, question: &Question) -> Self {
        let mut lines = vec!["the limit can be read in more than one way or not at all".to_owned()];
        lines.push(line.replace(['\n', '\t', '\r'], " "));
        if let Some(place) = question.place {
            let column = line.get(..place).map_or(0, |before| before.chars().count());
            lines.push(format!("{}^", " ".repeat(column)));
        }
        lines.extend(question.why.iter().map(|why| format!("- {why}")));
        lines.extend(question.readings.iter().map(|reading| {
            let current = text::current(reading.current);
            format!("perhaps {current:<12} {}", reading.formula)
        }));
        let help = if question.readings.is_empty() {
            "look at the sheet and type what is meant, as in \"0.01CU floor 0.5uA @ 5min 25C\", \
             \"3sqrt(CU) cap 5mA\" or \"smaller(R 10Gohm, RC 500s)\""
        } else {
            "look at the sheet and type the one that is meant, as written here on the right, in \
             quotes"
        };
        Self::new(Ground::Question, lines.join("\n       "), help)
    }
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let messages: Vec<&str> =
            self.problems.iter().map(|problem| problem.message.as_str()).collect();
        f.write_str(&messages.join("; "))
    }
}

/// An error and its causes in one line.
#[must_use]
pub fn chain(error: &dyn std::error::Error) -> String {
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

impl From<RecordError> for Refused {
    fn from(error: RecordError) -> Self {
        Self::usage(chain(&error), error.help())
    }
}

impl From<RunError> for Refused {
    fn from(error: RunError) -> Self {
        let ground = match &error {
            RunError::LeftUnsafe { .. } => Ground::LockedOut,
            RunError::Keeper(_)
            | RunError::Record(_)
            | RunError::System { .. }
            | RunError::Relay(_)
            | RunError::Silent { .. }
            | RunError::Stranger { .. } => Ground::Fault,
            RunError::Link(_) => Ground::Usage,
        };
        Self::new(ground, chain(&error), error.help())
    }
}
