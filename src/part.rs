//! The part under test: family, value, rating and the leakage its sheet allows.
//!
//! A [`Part`] is read from words in any order: `C14 22µF 25V tantalum 10%`. A [`LeakageRule`] turns
//! its [`Rating`] into a current; a [`Limit`] adds when and under what conditions it holds, and
//! [`Family::default_limit`] stands in where the sheet is missing. How a family behaves is
//! [`Physics`].

mod absorption;
mod cursor;
mod defaults;
mod duty;
mod family;
mod formula;
mod in_words;
mod limit;
mod notation;
mod physics;
mod rating;
mod room;
mod rule;
pub mod sheet;
mod stated;
mod tolerance;
mod voltage_law;
mod warmth;
mod words_of_a_part;

pub use cursor::NotationError;
pub use defaults::NoDefaultError;
pub use duty::{Duty, DutyError, Effect, Leak};
pub use family::{Dielectric, Family, FamilyError};
pub use formula::{Formula, GREATEST_FACTOR, LEAST_FACTOR, Term};
pub use limit::{Limit, LimitError, Measuring};
pub use physics::{Physics, ProbeGate};
pub use rating::{MeasuringVoltage, RatedCapacitance, RatedVoltage, Rating, RatingError};
pub use room::{CORRECTED_WITHIN, Reach, Room, RoomError, TOLD_TOLERANCE, Warmth};
pub use rule::{LeakageRule, Pick, RuleError, Threshold};
pub use stated::stated;
pub use tolerance::{Tolerance, ToleranceError};
pub use voltage_law::VoltageLaw;
pub use warmth::Doubling;
pub use words_of_a_part::{Kind, Loose, PartError};

/// A part under test.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its place on the board: `C14`.
    pub name: Option<String>,
    /// What it is made of.
    pub family: Family,
    /// What is printed on it.
    pub rating: Rating,
    /// How far its capacitance may lie from the printed one.
    pub tolerance: Option<Tolerance>,
}

impl Part {
    /// How this part behaves and what it bears.
    #[must_use]
    pub fn physics(&self) -> Physics {
        self.family.physics(&self.rating)
    }

    /// The limit of its family where its own sheet is missing.
    ///
    /// # Errors
    ///
    /// [`NoDefaultError`] if the handbook has no number for its rated voltage.
    pub fn default_limit(&self) -> Result<Limit, NoDefaultError> {
        self.family.default_limit(&self.rating)
    }
}

impl std::fmt::Display for Part {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Some(name) = &self.name {
            write!(f, "{name} ")?;
        }
        write!(f, "{} {}", self.rating, self.family)?;
        self.tolerance.map_or(Ok(()), |tolerance| write!(f, " {tolerance}"))
    }
}

#[cfg(test)]
mod worked_limits;
