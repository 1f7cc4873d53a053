//! A tray of parts: its file, read and checked whole; what a station would do with it; the way
//! through it; parts compared with their equals.
//!
//! A file is CSV as a spreadsheet exports it, or TOML; [`read`] gives the [`Tray`] or every
//! [`Fault`] at once. [`survey()`] says, before anything is energised, what the whole tray takes and
//! which of its parts a station can't judge. [`Walk`] is the order of events at the bench, by hand or
//! by scanner, and [`siblings()`] points out a part that leaks unlike its equals. Files, clips and instruments are elsewhere: this room takes values and gives
//! values.

mod check;
mod column;
mod csv_file;
mod fault;
mod row;
mod siblings;
mod survey;
mod toml_file;
mod walk;

pub use column::Column;
pub use fault::{Fault, Wrong};
pub use row::Place;
pub use siblings::{Kin, LEAST_SIBLINGS, Measured, Unlike, siblings};
pub use survey::{Said, Survey, Unjudged, survey};
pub use walk::{Ended, Hands, Input, Order, Seems, Walk, Word};

use crate::part::{Duty, Limit, Part, Room};
use crate::plan::{Until, Wish};
use crate::quantity::{Confidence, Time, Voltage};

/// How a tray's file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Cells parted by comma, semicolon or tab, under a head.
    Csv,
    /// A `[[part]]` table for each part.
    Toml,
}

/// Reads a tray's file and checks it whole.
///
/// # Errors
///
/// Every [`Fault`] in the file, in the order of its lines.
pub fn read(text: &str, form: Form) -> Result<Tray, Vec<Fault>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let (rows, faults) = match form {
        Form::Csv => csv_file::rows(text),
        Form::Toml => toml_file::rows(text),
    };
    check::tray(&rows, faults)
}

/// Parts in the order in which they are tested.
#[derive(Debug, Clone, PartialEq)]
pub struct Tray {
    parts: Vec<TrayPart>, // Invariant: at least one; positions, designators and channels differ.
}

impl Tray {
    /// The parts, in order.
    #[must_use]
    pub fn parts(&self) -> &[TrayPart] {
        &self.parts
    }

    /// The part in a slot.
    #[must_use]
    pub fn part(&self, slot: Slot) -> Option<&TrayPart> {
        self.parts.get(slot.0)
    }

    /// The slot with this position.
    #[must_use]
    pub fn slot(&self, position: &Position) -> Option<Slot> {
        self.parts.iter().position(|part| part.position == *position).map(Slot)
    }

    /// Whether the file gives each part a channel of a scanner; else all are clipped in by hand.
    #[must_use]
    pub fn has_channels(&self) -> bool {
        self.parts.iter().all(|part| part.channel.is_some())
    }
}

/// A part on a tray, and how it is to be tested.
#[derive(Debug, Clone, PartialEq)]
pub struct TrayPart {
    /// Its place on the tray.
    pub position: Position,
    /// The part; its name is the designator.
    pub part: Part,
    /// What it is judged against: the file's limit, else that of its family.
    pub limit: Limit,
    /// Voltage to test at, if not that of the limit.
    pub test_voltage: Option<Voltage>,
    /// Length of the soak, if not the limit's reading time.
    pub soak: Option<Time>,
    /// Where a scanner finds it.
    pub channel: Option<Channel>,
    /// What it does in its circuit.
    pub duty: Option<Duty>,
    /// Whatever else is said of it.
    pub note: Option<String>,
}

/// What is asked of every part of a tray alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Terms {
    /// What may end a soak.
    pub until: Until,
    /// The person has read the cautions for this tray.
    pub acknowledged: bool,
    /// How sure the verdicts have to be.
    pub confidence: Confidence,
    /// The room's temperature, in place of what the station says of it.
    pub room: Option<Room>,
}

impl Terms {
    /// All as usual.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            until: Until::ReadingTime,
            acknowledged: false,
            confidence: Confidence::USUAL,
            room: None,
        }
    }
}

impl TrayPart {
    /// What is asked of a station for this part.
    #[must_use]
    pub fn wish(&self, terms: &Terms) -> Wish {
        let Terms { until, acknowledged, confidence, room } = terms.clone();
        Wish {
            test_voltage: self.test_voltage,
            soak: self.soak,
            until,
            acknowledged,
            confidence,
            room,
            duty: self.duty,
            ..Wish::of(self.part.clone(), self.limit.clone())
        }
    }
}

/// The n-th part of a tray, counted from 0 in the order of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Slot(pub usize);

/// The name of a place on a tray: `7`, `A3`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Position(String); // Invariant: one to 16 characters, none of them blank.

/// The longest name of a place on a tray, in characters.
const LONGEST_POSITION: usize = 16;

impl Position {
    /// Reads the name of a place.
    ///
    /// # Errors
    ///
    /// [`Wrong::Position`] if it is empty, long, or has blanks in it.
    pub fn read(text: &str) -> Result<Self, Wrong> {
        let fits = (1..=LONGEST_POSITION).contains(&text.chars().count());
        let plain = !text.contains(|letter: char| letter.is_whitespace() || letter.is_control());
        if fits && plain {
            Ok(Self(text.to_owned()))
        } else {
            Err(Wrong::Position { text: text.to_owned() })
        }
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Display for Position {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(&self.0)
    }
}

/// The number of a scanner's channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Channel(u32); // Invariant: at most five digits.

/// The greatest number of a channel.
const GREATEST_CHANNEL: u32 = 99_999;

impl Channel {
    /// Reads the number of a channel.
    ///
    /// # Errors
    ///
    /// [`Wrong::Channel`] unless it is a plain number of at most five digits.
    pub fn read(text: &str) -> Result<Self, Wrong> {
        let plain = text.bytes().all(|byte| byte.is_ascii_digit());
        match text.parse() {
            Ok(number) if plain && number <= GREATEST_CHANNEL => Ok(Self(number)),
            Ok(_) | Err(_) => Err(Wrong::Channel { text: text.to_owned() }),
        }
    }

    /// The number.
    #[must_use]
    pub fn number(self) -> u32 {
        self.0
    }
}

impl std::fmt::Display for Channel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.0)
    }
}

#[cfg(test)]
mod tests;
