//! Why nothing may be energised, and what to do about it.

use super::MOST_STAIRS;
use crate::part::{Family, LimitError, RatingError};
use crate::quantity::{Current, Energy, Time, Voltage, text};

/// Why nothing may be energised.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// The test voltage is not above zero.
    #[error("test voltage is {}, expected more than 0 V", text::voltage(*.0))]
    NoVoltage(Voltage),
    /// More than the part is made for.
    #[error(
        "test voltage is {}, the part is rated {}",
        text::voltage(*.asked), text::voltage(*.rated)
    )]
    AboveRating {
        /// Asked for.
        asked: Voltage,
        /// Printed on the part.
        rated: Voltage,
    },
    /// More than this station may.
    #[error(
        "test voltage is {}, this station's ceiling is {}",
        text::voltage(*.asked), text::voltage(*.ceiling)
    )]
    AboveCeiling {
        /// Asked for.
        asked: Voltage,
        /// The station's bound.
        ceiling: Voltage,
    },
    /// More than the supply can.
    #[error(
        "test voltage is {}, the supply ends at {}",
        text::voltage(*.asked), text::voltage(*.most)
    )]
    AboveSupply {
        /// Asked for.
        asked: Voltage,
        /// The supply's end.
        most: Voltage,
    },
    /// More energy than this station may store.
    #[error(
        "the full part holds {}, this station's bound is {}",
        text::energy(*.energy), text::energy(*.bound)
    )]
    TooMuchEnergy {
        /// In the full part.
        energy: Energy,
        /// The station's bound.
        bound: Energy,
    },
    /// The person has not acknowledged the danger of this run.
    #[error("{} and {} in the part need to be acknowledged for this run", text::voltage(*.voltage), text::energy(*.energy))]
    NotAcknowledged {
        /// Test voltage.
        voltage: Voltage,
        /// In the full part.
        energy: Energy,
    },
    /// The supply can't give the current.
    #[error(
        "the run needs a current limit of {}, the supply can be set from {} to {}",
        text::current(*.needed), text::current(*.step), text::current(*.most)
    )]
    CurrentOutOfReach {
        /// Needed, bleeder included.
        needed: Current,
        /// The supply's step.
        step: Current,
        /// The supply's end.
        most: Current,
    },
    /// The part's voltage can't be seen while it empties.
    #[error(
        "the supply measures before its relay and also has to empty the part: nothing would show that it is empty"
    )]
    Unseen,
    /// The open fixture leaks too much for this limit.
    #[error(
        "the open fixture leaks {} by itself, more than a fifth of the limit of {}",
        text::current(*.zero), text::current(*.limit)
    )]
    FixtureLeaks {
        /// Its zero at the test voltage.
        zero: Current,
        /// The part's limit.
        limit: Current,
    },
    /// Neither sheet nor family says when to read.
    #[error("the limit has no reading time")]
    NoReadingTime,
    /// The soak is too short for a reading.
    #[error("a soak of {} is too short, expected {} or more", text::time(*.asked), text::time(*.least))]
    TooShort {
        /// Asked for.
        asked: Time,
        /// Least.
        least: Time,
    },
    /// A staircase has too few or too many steps.
    #[error("a staircase of {asked} steps, expected 2 to {MOST_STAIRS}")]
    Steps {
        /// Asked for.
        asked: u8,
    },
    /// Re-forming makes no sense for this family.
    #[error("{0} is not re-formed: only wet and hybrid aluminium grow their oxide back")]
    NotReformed(Family),
    /// The limit does not go with the part.
    #[error(transparent)]
    Limit(#[from] LimitError),
    /// The limit's voltage does not go with the part.
    #[error(transparent)]
    Rating(#[from] RatingError),
}

impl Refusal {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::NoVoltage(_) | Self::AboveRating { .. } | Self::AboveSupply { .. } => {
                "ask for a lower voltage with --voltage; a part is then not judged to its sheet"
                    .into()
            }
            Self::AboveCeiling { .. } => {
                "ask for a lower voltage with --voltage, or raise `ceiling` in the station file if \
                 this bench is built for it (SAFETY.md)"
                    .into()
            }
            Self::TooMuchEnergy { .. } => {
                "ask for a lower voltage with --voltage, or raise `energy_bound_joule` in the \
                 station file if this bench is built for it (SAFETY.md)"
                    .into()
            }
            Self::NotAcknowledged { .. } => {
                "read the cautions of `reststrom plan`, then repeat with --acknowledge".into()
            }
            Self::CurrentOutOfReach { .. } => {
                "use a larger bleeder resistor, or another supply".into()
            }
            Self::Unseen => "fit a bleeder resistor and say so in the station file".into(),
            Self::FixtureLeaks { .. } => {
                "clean and dry clips, leads and board, then measure it again with `reststrom \
                 station zero`"
                    .into()
            }
            Self::NoReadingTime => {
                "write it with the limit, such as `--limit \"2uA @ 5min\"`".into()
            }
            Self::TooShort { .. } => "ask for a longer time with --soak or --dwell".into(),
            Self::Steps { .. } => "ask for another number with --steps".into(),
            Self::NotReformed(_) => "test it with `reststrom soak`".into(),
            Self::Limit(error) => error.help().into(),
            Self::Rating(error) => error.help().into(),
        }
    }
}
