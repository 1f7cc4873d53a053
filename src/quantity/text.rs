//! Quantities as people read them: `5.5 µA`, `22 µF`, `63 V`, `100 GΩ`, `5 min`.
//!
//! Four significant digits at most, without trailing zeros, and a prefix that leaves one to three
//! digits before the mark. What is written reads back by [`super::read`] to those digits; [`exact`]
//! writes all digits that a number needs to read back as itself.
//!
//! Capacitances are written in pF, nF and µF up to 0.1 F and in F from there: never in mF, which old
//! parts print for microfarad.

pub mod exact;
mod ladder;
mod uncertainty;

use uom::si::capacitance::farad;
use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::energy::joule;
use uom::si::power::watt;
use uom::si::time::second;

use super::{Capacitance, Celsius, Charge, Current, Energy, Power, Resistance, Time, Voltage};
use ladder::{CAPACITANCE, CHARGE, CURRENT, Digits, ENERGY, POWER, RESISTANCE, VOLTAGE, time_in};
pub use uncertainty::{capacitance_with_uncertainty, with_uncertainty};

/// A current: `5.5 µA`.
#[must_use]
pub fn current(value: Current) -> String {
    CURRENT.write(value.get::<ampere>(), Digits::Four)
}

/// A voltage: `63 V`.
#[must_use]
pub fn voltage(value: Voltage) -> String {
    VOLTAGE.write(value.get::<volt>(), Digits::Four)
}

/// A capacitance: `4.7 nF`, `4700 µF`, `0.1 F`.
#[must_use]
pub fn capacitance(value: Capacitance) -> String {
    CAPACITANCE.write(value.get::<farad>(), Digits::Four)
}

/// A resistance: `100 GΩ`.
#[must_use]
pub fn resistance(value: Resistance) -> String {
    RESISTANCE.write(value.get::<ohm>(), Digits::Four)
}

/// A charge: `160 µC`.
#[must_use]
pub fn charge(value: Charge) -> String {
    CHARGE.write(value.get::<coulomb>(), Digits::Four)
}

/// An energy: `19.8 J`.
#[must_use]
pub fn energy(value: Energy) -> String {
    ENERGY.write(value.get::<joule>(), Digits::Four)
}

/// A power: `50 mW`.
#[must_use]
pub fn power(value: Power) -> String {
    POWER.write(value.get::<watt>(), Digits::Four)
}

/// A time: whole hours and minutes as such (`72 h`, `5 min`); else seconds below ten minutes,
/// minutes below ten hours, hours above.
#[must_use]
pub fn time(value: Time) -> String {
    time_in(value.get::<second>(), Digits::Four)
}

/// A temperature: `25 °C`.
#[must_use]
pub fn temperature_celsius(value: Celsius) -> String {
    ladder::DEGREES.write(value.degrees(), Digits::Four)
}

#[cfg(test)]
mod tests;
