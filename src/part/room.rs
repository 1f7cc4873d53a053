//! The room that a part is measured in, and the way from its temperature to that of a limit.

use super::warmth::Doubling;
use crate::quantity::read::{self, ReadError};
use crate::quantity::{Celsius, celsius, text};

/// Farther than this from a limit's temperature nothing is corrected (handbook §3.10).
pub const CORRECTED_WITHIN: f64 = 10.0; // K
/// A thermometer on the wall tells that of a part in the clip no better, unless somebody says so.
pub const TOLD_TOLERANCE: f64 = 2.0; // K
/// More doubt than this is no statement about a room.
const MOST_TOLERANCE: f64 = 10.0; // K
/// Rooms in which people work at a bench, and a little more.
const PLAUSIBLE: std::ops::RangeInclusive<f64> = -20.0..=60.0; // °C

/// Temperature of the part while it is measured: that of the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// The temperature.
    pub at: Celsius,
    /// How far from it the true one may lie, in kelvins; any value within is as likely.
    pub tolerance: f64,
    /// Somebody said so; else it is assumed.
    pub told: bool,
}

impl Room {
    /// A heated workshop, for want of a word about it.
    pub const ASSUMED: Self = Self { at: celsius(23.0), tolerance: 3.0, told: false };

    /// A room of which somebody said the temperature, and how far it may be off.
    ///
    /// # Errors
    ///
    /// [`RoomError`] for what no room has.
    pub fn told(at: Celsius, tolerance: f64) -> Result<Self, RoomError> {
        if !PLAUSIBLE.contains(&at.degrees()) {
            return Err(RoomError::Temperature { degrees: at.degrees() });
        }
        if !(0.0..=MOST_TOLERANCE).contains(&tolerance) {
            return Err(RoomError::Tolerance { kelvin: tolerance });
        }
        Ok(Self { at, tolerance, told: true })
    }

    /// Reads `23C`, `23 °C ±1K` or `23C +-0.5 K`.
    ///
    /// # Errors
    ///
    /// [`RoomError`] with what was expected and what came.
    pub fn read(text: &str) -> Result<Self, RoomError> {
        let parts = text.split_once('±').or_else(|| text.split_once("+-"));
        let (at, tolerance) = match parts {
            None => (text, TOLD_TOLERANCE),
            Some((at, tolerance)) => (at, kelvins(tolerance)?),
        };
        Self::told(read::temperature_celsius(at.trim())?, tolerance)
    }
}

/// A difference of temperature: `1K`, `0.5 K`, `2`.
fn kelvins(text: &str) -> Result<f64, RoomError> {
    let text = text.trim();
    Ok(read::number(
        text.strip_suffix(['K', 'k', 'C']).unwrap_or(text).trim_end_matches([' ', '°']),
    )?)
}

impl std::fmt::Display for Room {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} ± {} K", text::temperature_celsius(self.at), self.tolerance)?;
        if self.told { Ok(()) } else { f.write_str(" (assumed)") }
    }
}

/// Why a text is no room's temperature.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoomError {
    /// Not a temperature, or not a number of kelvins.
    #[error(transparent)]
    Text(#[from] ReadError),
    /// No bench stands there.
    #[error("expected a room from -20 °C to 60 °C, came {degrees} °C")]
    Temperature {
        /// What was said.
        degrees: f64,
    },
    /// Nothing is said by it.
    #[error("expected a room known to 0 K to 10 K, came ±{kelvin} K")]
    Tolerance {
        /// What was said.
        kelvin: f64,
    },
}

impl RoomError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        "write it as --room 23C, or with how well it is known, --room \"23C ±1K\""
    }
}

/// From the room that a part is measured in to the temperature that its limit holds at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warmth {
    /// Where it is measured.
    pub room: Room,
    /// Where the limit holds.
    pub reference: Celsius,
    /// How its leakage rises.
    pub doubling: Doubling,
}

/// How the room lies to the temperature of a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Near enough to carry a leakage from one to the other.
    Near,
    /// The room is so much colder that the part would leak more, nobody knows how much.
    Colder,
    /// The room is so much warmer that the part would leak less, nobody knows how much.
    Warmer,
}

impl Warmth {
    /// Whether a leakage can be carried to the limit's temperature (handbook §3.10).
    #[must_use]
    pub fn reach(&self) -> Reach {
        let above = self.room.at.degrees() - self.reference.degrees();
        if above.abs() <= CORRECTED_WITHIN {
            Reach::Near
        } else if above < 0.0 {
            Reach::Colder
        } else {
            Reach::Warmer
        }
    }

    /// The factor from the leakage in the room to that at the limit's temperature: usual, least
    /// and most. All are 1 where it can't be carried.
    #[must_use]
    pub fn factors(&self) -> [f64; 3] {
        match self.reach() {
            Reach::Near => self.doubling.factors(self.room.at, self.reference),
            Reach::Colder | Reach::Warmer => [1.0; 3],
        }
    }

    /// Relative change of leakage per kelvin, at the usual doubling: ln 2 / `T_d`.
    #[must_use]
    pub fn per_kelvin(&self) -> f64 {
        std::f64::consts::LN_2 / self.doubling.usual
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::part::Family;

    #[rstest]
    #[case::alone("23C", 23.0, 2.0)]
    #[case::with_how_well_it_is_known("21.5 °C ±1K", 21.5, 1.0)]
    #[case::as_a_keyboard_has_it("20C +- 0.5 K", 20.0, 0.5)]
    #[case::below_freezing("-4C ± 3", -4.0, 3.0)]
    fn a_room_is_read_as_people_write_it(
        #[case] text: &str,
        #[case] degrees: f64,
        #[case] tolerance: f64,
    ) {
        assert_eq!(Room::read(text), Ok(Room { at: celsius(degrees), tolerance, told: true }));
    }

    #[rstest]
    #[case::no_unit("23", "it has no unit")]
    #[case::an_oven("125C", "from -20 °C to 60 °C")]
    #[case::anything_at_all("23C ±40K", "0 K to 10 K")]
    #[case::a_negative_tolerance("23C ±-1K", "0 K to 10 K")]
    #[case::words_for_a_tolerance("23C ±little", "does not begin with a number")]
    fn what_is_no_room_is_refused(#[case] text: &str, #[case] message: &str) {
        let error = Room::read(text).unwrap_err().to_string();
        assert!(error.contains(message), "{error}");
    }

    #[test]
    fn an_assumed_room_says_so() {
        assert_eq!(Room::ASSUMED.to_string(), "23 °C ± 3 K (assumed)");
        assert_eq!(Room::read("20C").unwrap().to_string(), "20 °C ± 2 K");
    }

    // Handbook §3.10: ΔT = 2 K and T_d 12–30 give 1.122–1.047; 5 K and 10–35 give 1.41–1.10.
    #[rstest]
    #[case::two_kelvins((18.0, 12.0, 30.0), 23.0, 25.0, [1.080, 1.047, 1.122])]
    #[case::five_kelvins((20.0, 10.0, 35.0), 20.0, 25.0, [1.189, 1.104, 1.414])]
    #[case::downwards((20.0, 10.0, 35.0), 25.0, 20.0, [0.841, 0.707, 0.906])]
    #[case::too_far((20.0, 10.0, 35.0), 9.0, 20.0, [1.0, 1.0, 1.0])]
    fn the_factors_are_the_handbooks(
        #[case] (usual, least, most): (f64, f64, f64),
        #[case] room: f64,
        #[case] reference: f64,
        #[case] factors: [f64; 3],
    ) {
        let doubling = Doubling { usual, least, most };
        let room = Room::told(celsius(room), 1.0).unwrap();
        let found = Warmth { room, reference: celsius(reference), doubling }.factors();
        assert!(found.iter().zip(factors).all(|(a, b)| (a - b).abs() < 1e-3), "{found:?}");
    }

    #[rstest]
    #[case::at_the_edge(15.0, Reach::Near)]
    #[case::just_below_it(14.9, Reach::Colder)]
    #[case::an_attic_in_summer(35.1, Reach::Warmer)]
    fn a_leakage_is_carried_ten_kelvins_and_no_farther(#[case] room: f64, #[case] reach: Reach) {
        let room = Room::told(celsius(room), 1.0).unwrap();
        let doubling = Family::TantalumMno2.doubling();
        assert_eq!(Warmth { room, reference: celsius(25.0), doubling }.reach(), reach);
    }
}
