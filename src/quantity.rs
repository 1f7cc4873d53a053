//! Volts, amperes, farads, ohms and seconds as types, read and written the way the trade does.
//!
//! The types are those of `uom`, so that a sum of volts and ohms does not compile. Numbers leave
//! them only at an edge (a file, a line on the wire, a picture), by `get::<unit>()`.
//! [`read`] takes what the trade writes, [`text`] writes it; what `text` writes, `read` takes.

mod celsius;
mod confidence;
pub mod read;
pub mod text;

pub use celsius::{Celsius, celsius};
pub use confidence::{Confidence, ConfidenceError};

use uom::si::capacitance::farad;
use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::energy::joule;
use uom::si::frequency::hertz;
use uom::si::power::watt;
use uom::si::time::second;

/// Electric current.
pub type Current = uom::si::f64::ElectricCurrent;
/// Electric potential difference.
pub type Voltage = uom::si::f64::ElectricPotential;
/// Capacitance.
pub type Capacitance = uom::si::f64::Capacitance;
/// Electric resistance.
pub type Resistance = uom::si::f64::ElectricalResistance;
/// Electric charge.
pub type Charge = uom::si::f64::ElectricCharge;
/// Stored or dissipated energy.
pub type Energy = uom::si::f64::Energy;
/// Dissipated power.
pub type Power = uom::si::f64::Power;
/// A span of time, or a moment counted from the start of a run.
pub type Time = uom::si::f64::Time;
/// What a charge loses per time: the factor `k` (1/s) of a leakage rule.
pub type Rate = uom::si::f64::Frequency;

/// A current of so many amperes.
#[must_use]
pub fn amperes(value: f64) -> Current {
    Current::new::<ampere>(value)
}

/// A voltage of so many volts.
#[must_use]
pub fn volts(value: f64) -> Voltage {
    Voltage::new::<volt>(value)
}

/// A capacitance of so many farads.
#[must_use]
pub fn farads(value: f64) -> Capacitance {
    Capacitance::new::<farad>(value)
}

/// A resistance of so many ohms.
#[must_use]
pub fn ohms(value: f64) -> Resistance {
    Resistance::new::<ohm>(value)
}

/// A charge of so many coulombs.
#[must_use]
pub fn coulombs(value: f64) -> Charge {
    Charge::new::<coulomb>(value)
}

/// An energy of so many joules.
#[must_use]
pub fn joules(value: f64) -> Energy {
    Energy::new::<joule>(value)
}

/// A power of so many watts.
#[must_use]
pub fn watts(value: f64) -> Power {
    Power::new::<watt>(value)
}

/// A time of so many seconds.
#[must_use]
pub fn seconds(value: f64) -> Time {
    Time::new::<second>(value)
}

/// A rate of so many per second.
#[must_use]
pub fn per_second(value: f64) -> Rate {
    Rate::new::<hertz>(value)
}
