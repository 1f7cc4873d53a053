//! Quantities as the trade writes them: `4n7`, `22 µF`, `0,47 µF`, `6V3`, `2.5e-6 A`, `5 min`.
//!
//! # Numbers
//!
//! - A point is a decimal mark. A comma is one too, except where it may part thousands: one to
//!   three digits that do not begin with 0, the comma, then exactly three digits. `0,470` reads,
//!   `1,234` is refused. Two marks in one number are refused.
//! - An exponent is `e` or `E` with digits: `2.5e-6`.
//! - A unit or prefix letter may stand for the mark: `4n7`, `2R2`, `6V3`; not in times.
//! - A number without a unit is refused: nothing is guessed.
//!
//! # Units
//!
//! - `µ` (U+00B5), `μ` (U+03BC) and `u` are micro; `k` and `K` are kilo.
//! - `m` is milli and `M` is mega. Where the trade writes one and means the other, both are refused
//!   and the reason is given: `MA`, `MF`, `mf`, `mohm`. The sign decides: `mΩ`, `MΩ`.
//! - `MFD` in any case is microfarad and `MMFD` picofarad, as old parts print it; `mF` is millifarad.
//!   A part that prints `mF` for microfarad shows at once: its charge is a thousandth of the expected.
//! - Capacitances and resistances may end with the prefix: `22u`, `4k7`.

mod grammar;
mod number;

use grammar::{
    CAPACITANCE, CHARGE, CURRENT, CURRENT_PER_CAPACITANCE, RESISTANCE, TEMPERATURE, TIME, VOLTAGE,
};
pub use number::number;

use super::celsius::ABSOLUTE_ZERO;
use super::{
    Capacitance, Celsius, Charge, Current, Resistance, Time, Voltage, amperes, celsius, coulombs,
    farads, ohms, seconds, volts,
};

/// Reads a capacitance: `4n7`, `22 µF`, `22u`, `0,47 µF`, `8 MFD`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn capacitance(text: &str) -> Result<Capacitance, ReadError> {
    CAPACITANCE.read(text).map(farads)
}

/// Reads a voltage: `63V`, `6V3`, `2.7 V`, `1,5 kV`, `100 VDC`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn voltage(text: &str) -> Result<Voltage, ReadError> {
    VOLTAGE.read(text).map(volts)
}

/// Reads a current: `500 nA`, `0.5uA`, `2.5e-6 A`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn current(text: &str) -> Result<Current, ReadError> {
    CURRENT.read(text).map(amperes)
}

/// Reads a resistance: `2R2`, `4k7`, `1.5kΩ`, `10 Gohm`, `2,2 MΩ`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn resistance(text: &str) -> Result<Resistance, ReadError> {
    RESISTANCE.read(text).map(ohms)
}

/// Reads a charge: `1000 µC`, `1 mC`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn charge(text: &str) -> Result<Charge, ReadError> {
    CHARGE.read(text).map(coulombs)
}

/// Reads a span of time: `90s`, `120 s`, `5 min`, `72 h`, `2 d`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn time(text: &str) -> Result<Time, ReadError> {
    TIME.read(text).map(seconds)
}

/// Reads a temperature on the Celsius scale: `25C`, `20 °C`, `-40 degC`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`; nothing is colder than absolute zero.
pub fn temperature_celsius(text: &str) -> Result<Celsius, ReadError> {
    let temperature = TEMPERATURE.read(text).map(celsius)?;
    if temperature < ABSOLUTE_ZERO {
        return Err(TEMPERATURE.error(text, Fault::OutOfRange));
    }
    Ok(temperature)
}

/// Reads a current per capacitance as the current of a farad: `0.04 mA/µF` is 40 A.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn current_of_a_farad(text: &str) -> Result<Current, ReadError> {
    CURRENT_PER_CAPACITANCE.read(text).map(amperes)
}

/// Why a text is not the quantity that was expected.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("expected {quantity} such as {example}, came {text:?}: {fault}")]
pub struct ReadError {
    /// What was written.
    pub text: String,
    /// What was expected, with its article.
    pub quantity: &'static str,
    /// One or two of them as they should be written.
    pub example: &'static str,
    /// What is wrong.
    pub fault: Fault,
}

/// What is wrong with a text that should be a quantity.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// Blank.
    #[error("nothing is written")]
    Empty,
    /// It does not begin with digits.
    #[error("it does not begin with a number")]
    NoNumber,
    /// More than one decimal mark, or a mark without digits after it.
    #[error("a number has at most one decimal mark, with digits after it")]
    Marks,
    /// A comma that may be a decimal mark or part thousands.
    #[error("the comma may be a decimal mark or part thousands")]
    Thousands,
    /// Too large or too small to be held, or beyond what exists.
    #[error("the number is out of range")]
    OutOfRange,
    /// The number stands alone.
    #[error("it has no unit")]
    NoUnit,
    /// Something follows a number that needs nothing more.
    #[error("{0:?} is too much")]
    Surplus(String),
    /// A unit of nothing, or of another quantity.
    #[error("{0:?} is no unit of it")]
    UnknownUnit(String),
    /// A unit that is written for two different things.
    #[error("{unit:?} {reason}")]
    DoubtfulUnit {
        /// The unit as written.
        unit: String,
        /// What it may mean.
        reason: &'static str,
    },
}

impl ReadError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> String {
        let example = self.example;
        match &self.fault {
            Fault::Thousands => "write a decimal point, or no mark at all".to_owned(),
            Fault::Marks => format!("write one decimal mark, as in {example}"),
            Fault::NoUnit => format!("write the unit after the number, as in {example}"),
            Fault::DoubtfulUnit { .. } => format!("write out the one you mean, as in {example}"),
            Fault::Empty
            | Fault::NoNumber
            | Fault::OutOfRange
            | Fault::Surplus(_)
            | Fault::UnknownUnit(_) => format!("write it as in {example}"),
        }
    }
}

#[cfg(test)]
mod tests;
