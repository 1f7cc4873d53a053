//! What is wrong with a tray's file: where, what was expected, what came, what to do.

use super::column::Column;
use super::row::Place;
use crate::part::sheet::Question;
use crate::part::{
    DutyError, FamilyError, LimitError, NoDefaultError, RatingError, ToleranceError,
};
use crate::quantity::read::ReadError;
use crate::quantity::{Time, Voltage, text};

/// One fault of a file.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{place}{}: {wrong}", named(*column))]
pub struct Fault {
    /// Where it stands.
    pub place: Place,
    /// The column it is about, where there is one.
    pub column: Option<Column>,
    /// What is wrong.
    pub wrong: Wrong,
}

fn named(column: Option<Column>) -> String {
    column.map(|column| format!(" ({column})")).unwrap_or_default()
}

impl Fault {
    pub(super) fn at(place: Place, column: Option<Column>, wrong: Wrong) -> Self {
        Self { place, column, wrong }
    }

    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> String {
        self.wrong.help()
    }
}

/// What is wrong at a place of a file.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Wrong {
    /// The file has no part in it.
    #[error("expected parts, came none")]
    Nothing,
    /// The form of the file itself is broken.
    #[error("expected a file in one form throughout, came a slip: {}", why.replace('\n', ", "))]
    Unreadable {
        /// What its reader says.
        why: String,
    },
    /// A quote is opened and never closed.
    #[error("expected a closing quote, came the end of the file")]
    OpenQuote,
    /// A row has more cells than the head has columns.
    #[error("expected {columns} cells as in the head, came {cells}")]
    Surplus {
        /// Cells of the row.
        cells: usize,
        /// Columns of the head.
        columns: usize,
    },
    /// A column that nobody knows.
    #[error("expected a column that is known, came {name:?}")]
    UnknownColumn {
        /// As written.
        name: String,
    },
    /// A name that may mean two columns.
    #[error("expected one column, came {name:?}, which may be {} or {}", may_be[0], may_be[1])]
    DoubtfulColumn {
        /// As written.
        name: String,
        /// What it may mean.
        may_be: [Column; 2],
    },
    /// A column that is there twice, perhaps by two names.
    #[error("expected it once, came again after {first}")]
    ColumnTwice {
        /// Where it was first.
        first: Place,
    },
    /// A needed column is not there.
    #[error("expected this column, came none")]
    NoColumn,
    /// A key beside the list of parts.
    #[error("expected [[part]] and nothing beside it, came {name:?}")]
    UnknownKey {
        /// As written.
        name: String,
    },
    /// No list of parts.
    #[error("expected a [[part]] table for each part")]
    NoList,
    /// A value of a kind that holds no words.
    #[error("expected text in quotes, came a {kind}")]
    NotText {
        /// The kind of the value.
        kind: &'static str,
    },
    /// A needed cell is blank.
    #[error("expected something here, came nothing")]
    Blank,
    /// No name of a place on a tray.
    #[error("expected up to 16 characters without a blank, came {text:?}")]
    Position {
        /// As written.
        text: String,
    },
    /// No number of a channel.
    #[error("expected the number of a channel such as 101, came {text:?}")]
    Channel {
        /// As written.
        text: String,
    },
    /// A name, position or channel that another part has already.
    #[error("expected each once, came {text:?} as at {first} already")]
    Twice {
        /// As written.
        text: String,
        /// Where it was first.
        first: Place,
    },
    /// Some parts have a channel, this one has none.
    #[error("expected a channel for each part or for none, came none here")]
    NoChannel,
    /// A quantity that does not read.
    #[error(transparent)]
    Quantity(#[from] ReadError),
    /// A time of zero.
    #[error("expected a time above zero, came {}", text::time(*.0))]
    NoTime(Time),
    /// A tolerance that does not read.
    #[error("{error}{cause}", error = .0, cause = because(.0))]
    Tolerance(#[from] ToleranceError),
    /// A word that names no family, or several.
    #[error(transparent)]
    Family(#[from] FamilyError),
    /// A duty that is none.
    #[error(transparent)]
    Duty(#[from] DutyError),
    /// A rating that no part has.
    #[error(transparent)]
    Rating(#[from] RatingError),
    /// More voltage than the part is made for.
    #[error(
        "expected at most the rated {}, came {}",
        text::voltage(*.rated), text::voltage(*.asked)
    )]
    AboveRating {
        /// Asked for.
        asked: Voltage,
        /// Printed on the part.
        rated: Voltage,
    },
    /// A limit that can be read in several ways, or not at all.
    #[error("expected a limit with one meaning, came {line:?}: {}", doubts(.question))]
    Limit {
        /// As written.
        line: String,
        /// Why it is asked about.
        question: Question,
    },
    /// A limit that gives no current for the part.
    #[error(transparent)]
    LimitUnfit(#[from] LimitError),
    /// Neither a limit nor one of its family.
    #[error("expected a limit, as its family has none at this rating: {0}")]
    NoDefault(#[from] NoDefaultError),
    /// The limit has its own reading time.
    #[error(
        "expected the limit's own reading time of {}, came {}",
        text::time(*.own), text::time(*.asked)
    )]
    TwoTimes {
        /// As the limit says.
        own: Time,
        /// As the column says.
        asked: Time,
    },
}

/// The cause of a tolerance that does not read, which its message leaves out.
fn because(error: &ToleranceError) -> String {
    let cause = std::error::Error::source(error);
    cause.map(|cause| format!(": {cause}")).unwrap_or_default()
}

/// Reasons and readings of a doubtful limit, in one line.
fn doubts(question: &Question) -> String {
    let readings = question.readings.iter();
    let readings: Vec<String> = readings
        .map(|reading| format!("{} by `{}`", text::current(reading.current), reading.formula))
        .collect();
    let why = question.why.join("; ");
    if readings.is_empty() { why } else { format!("{why}; perhaps {}", readings.join(" or ")) }
}

impl Wrong {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> String {
        let plain = match self {
            Self::Quantity(error) => return error.help(),
            Self::Family(error) => return error.help(),
            Self::UnknownColumn { .. } => return name_one_of_all(),
            Self::DoubtfulColumn { may_be: [one, other], .. } => {
                return format!("name it {one} or {other}");
            }
            Self::Rating(error) => error.help(),
            Self::LimitUnfit(error) => error.help(),
            Self::Nothing => "write a row for each part, below a head with the names of columns",
            Self::Unreadable { .. } => "mend the form of the file there",
            Self::OpenQuote => "close the quote, or write it twice if it is meant",
            Self::Surplus { .. } => {
                "put a cell with the mark in it between quotes, or export with semicolons"
            }
            Self::ColumnTwice { .. } => "leave one of the two out",
            Self::NoColumn => "add it: a part is a family, a value and a rating",
            Self::UnknownKey { .. } | Self::NoList => "write [[part]] above the keys of each part",
            Self::NotText { .. } => "put it between quotes, with its unit",
            Self::Blank => "fill it in",
            Self::Position { .. } => "write a short name such as 7 or A3",
            Self::Channel { .. } => "write the number alone, of at most five digits",
            Self::Twice { .. } => "give each part its own",
            Self::NoChannel => "fill in all channels for a scanner, or none to clip in by hand",
            Self::NoTime(_) => "write a time as in 90s, 5 min or 2 h",
            Self::Duty(error) => error.help(),
            Self::Tolerance(_) => "write it as in 10%, ±20% or -10+50%",
            Self::AboveRating { .. } => "ask for the rated voltage or less",
            Self::Limit { question, .. } if question.readings.is_empty() => {
                "write what is meant, as in 0.01CU floor 0.5uA @ 5min 25C or 3sqrt(CU) cap 5mA"
            }
            Self::Limit { .. } => "look at the sheet and write the one that is meant, as shown",
            Self::NoDefault(_) => {
                "write the limit of its own sheet, such as 0.01CU floor 3uA @ 2min 20C"
            }
            Self::TwoTimes { .. } => {
                "leave the reading time out; `soak` sets the length of the soak"
            }
        };
        plain.to_owned()
    }
}

fn name_one_of_all() -> String {
    let names: Vec<&str> = Column::ALL.iter().map(|column| column.tag()).collect();
    format!("name it as one of {}, or leave it out", names.join(", "))
}
