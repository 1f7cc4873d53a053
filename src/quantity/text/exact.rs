//! Quantities with all the digits that they need to read back as themselves.

use uom::si::capacitance::farad;
use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::time::second;

use super::ladder::{
    CAPACITANCE, CHARGE, CURRENT, DEGREES, Digits, RESISTANCE, SECONDS, VOLTAGE, time_in,
};
use crate::quantity::{Capacitance, Celsius, Charge, Current, Resistance, Time, Voltage};

/// A current: `250 nA`.
#[must_use]
pub fn current(value: Current) -> String {
    CURRENT.write(value.get::<ampere>(), Digits::All)
}

/// A voltage: `6.3 V`.
#[must_use]
pub fn voltage(value: Voltage) -> String {
    VOLTAGE.write(value.get::<volt>(), Digits::All)
}

/// A capacitance: `330 nF`.
#[must_use]
pub fn capacitance(value: Capacitance) -> String {
    CAPACITANCE.write(value.get::<farad>(), Digits::All)
}

/// A resistance: `10 GΩ`.
#[must_use]
pub fn resistance(value: Resistance) -> String {
    RESISTANCE.write(value.get::<ohm>(), Digits::All)
}

/// A charge: `1 mC`.
#[must_use]
pub fn charge(value: Charge) -> String {
    CHARGE.write(value.get::<coulomb>(), Digits::All)
}

/// A time: whole hours and minutes as such, else seconds.
#[must_use]
pub fn time(value: Time) -> String {
    time_in(value.get::<second>(), Digits::All)
}

/// A time in seconds, as time constants are given: `30000 s`.
#[must_use]
pub fn seconds(value: Time) -> String {
    SECONDS.write(value.get::<second>(), Digits::All)
}

/// A temperature: `25 °C`.
#[must_use]
pub fn temperature_celsius(value: Celsius) -> String {
    DEGREES.write(value.degrees(), Digits::All)
}
