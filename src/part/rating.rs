//! What is printed on a part: capacitance and voltage, and what follows from the two.

use uom::si::capacitance::farad;
use uom::si::electric_charge::coulomb;
use uom::si::electric_potential::volt;
use uom::si::energy::joule;

use crate::quantity::{Capacitance, Charge, Energy, Voltage, text};

/// The capacitance printed on a part: finite and above zero.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct RatedCapacitance(Capacitance);

impl RatedCapacitance {
    /// A printed capacitance.
    ///
    /// # Errors
    ///
    /// [`RatingError::Capacitance`] if no part can have it.
    pub fn new(capacitance: Capacitance) -> Result<Self, RatingError> {
        if is_above_zero(capacitance.get::<farad>()) {
            Ok(Self(capacitance))
        } else {
            Err(RatingError::Capacitance(capacitance))
        }
    }

    /// The capacitance.
    #[must_use]
    pub fn get(self) -> Capacitance {
        self.0
    }
}

/// The voltage printed on a part: finite and above zero.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct RatedVoltage(Voltage);

impl RatedVoltage {
    /// A printed voltage.
    ///
    /// # Errors
    ///
    /// [`RatingError::Voltage`] if no part can have it.
    pub fn new(voltage: Voltage) -> Result<Self, RatingError> {
        if is_above_zero(voltage.get::<volt>()) {
            Ok(Self(voltage))
        } else {
            Err(RatingError::Voltage(voltage))
        }
    }

    /// The voltage.
    #[must_use]
    pub fn get(self) -> Voltage {
        self.0
    }
}

/// Printed capacitance and voltage. Limits go by these, not by measured values (handbook §1.3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rating {
    capacitance: RatedCapacitance,
    voltage: RatedVoltage,
}

impl Rating {
    /// The rating of a part.
    ///
    /// # Errors
    ///
    /// [`RatingError`] if a value is not above zero, or if charge or energy could not be held.
    pub fn new(capacitance: Capacitance, voltage: Voltage) -> Result<Self, RatingError> {
        let (capacitance, voltage) =
            (RatedCapacitance::new(capacitance)?, RatedVoltage::new(voltage)?);
        let rating = Self { capacitance, voltage };
        let products = [rating.charge().get::<coulomb>(), rating.energy().get::<joule>()];
        if products.into_iter().all(is_above_zero) {
            Ok(rating)
        } else {
            Err(RatingError::Together(capacitance.get(), voltage.get()))
        }
    }

    /// The printed capacitance.
    #[must_use]
    pub fn capacitance(&self) -> Capacitance {
        self.capacitance.get()
    }

    /// The printed voltage.
    #[must_use]
    pub fn voltage(&self) -> Voltage {
        self.voltage.get()
    }

    /// Charge at the printed voltage: C·U.
    #[must_use]
    pub fn charge(&self) -> Charge {
        self.capacitance() * self.voltage()
    }

    /// Energy at the printed voltage: ½·C·U² (handbook §4.4).
    #[must_use]
    pub fn energy(&self) -> Energy {
        0.5 * self.charge() * self.voltage()
    }
}

impl std::fmt::Display for Rating {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let capacitance = text::exact::capacitance(self.capacitance());
        write!(f, "{capacitance} {}", text::exact::voltage(self.voltage()))
    }
}

/// The voltage at which a leakage is measured: above zero and not above the rated one.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct MeasuringVoltage(Voltage);

impl MeasuringVoltage {
    /// The rated voltage.
    #[must_use]
    pub fn rated(rating: &Rating) -> Self {
        Self(rating.voltage())
    }

    /// A voltage up to the rated one.
    ///
    /// # Errors
    ///
    /// [`RatingError::Voltage`] if it is not above zero, [`RatingError::AboveRated`] if the part is
    /// not made for it.
    pub fn at(voltage: Voltage, rating: &Rating) -> Result<Self, RatingError> {
        let voltage = RatedVoltage::new(voltage)?.get();
        if voltage <= rating.voltage() {
            Ok(Self(voltage))
        } else {
            Err(RatingError::AboveRated { measuring: voltage, rated: rating.voltage() })
        }
    }

    /// The voltage.
    #[must_use]
    pub fn get(self) -> Voltage {
        self.0
    }
}

/// Why two values make no rating, or a voltage is none to measure at.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RatingError {
    /// No part has this capacitance.
    #[error("expected a capacitance above zero, came {}", text::capacitance(*.0))]
    Capacitance(Capacitance),
    /// No part has this voltage.
    #[error("expected a voltage above zero, came {}", text::voltage(*.0))]
    Voltage(Voltage),
    /// No part has these two.
    #[error("expected a part that exists, came {} at {}", text::capacitance(*.0), text::voltage(*.1))]
    Together(Capacitance, Voltage),
    /// The part is not made for the measuring voltage.
    #[error(
        "expected a measuring voltage up to the rated {}, came {}",
        text::voltage(*rated),
        text::voltage(*measuring)
    )]
    AboveRated {
        /// What was asked for.
        measuring: Voltage,
        /// What is printed on the part.
        rated: Voltage,
    },
}

impl RatingError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::Capacitance(_) | Self::Voltage(_) | Self::Together(..) => {
                "write the values as printed on the part, such as 22 µF 25 V"
            }
            Self::AboveRated { .. } => {
                "check the rating (it may be an AC one) and that the sheet is the part's own"
            }
        }
    }
}

fn is_above_zero(value: f64) -> bool {
    value.is_normal() && 0.0 < value
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::{farads, volts};

    #[rstest]
    #[case::zero_capacitance(0.0, 25.0)]
    #[case::negative_capacitance(-22e-6, 25.0)]
    #[case::capacitance_that_is_no_number(f64::NAN, 25.0)]
    #[case::endless_capacitance(f64::INFINITY, 25.0)]
    #[case::zero_voltage(22e-6, 0.0)]
    #[case::negative_voltage(22e-6, -25.0)]
    #[case::voltage_that_is_no_number(22e-6, f64::NAN)]
    #[case::energy_that_cannot_be_held(1e10, 1e200)]
    #[case::charge_that_vanishes(1e-200, 1e-200)]
    fn a_rating_that_no_part_has_is_refused(#[case] capacitance: f64, #[case] voltage: f64) {
        assert!(Rating::new(farads(capacitance), volts(voltage)).is_err());
    }

    // Handbook §4.4: 10 mF at 63 V hold 19.8 J, 1 mF at 450 V 101 J.
    #[rstest]
    #[case::ten_millifarads(10e-3, 63.0, 0.63, 19.845)]
    #[case::one_millifarad(1e-3, 450.0, 0.45, 101.25)]
    fn charge_and_energy_follow_from_the_two(
        #[case] capacitance: f64,
        #[case] voltage: f64,
        #[case] coulombs: f64,
        #[case] joules: f64,
    ) {
        let rating = Rating::new(farads(capacitance), volts(voltage)).unwrap();
        assert!((rating.charge().get::<coulomb>() - coulombs).abs() < 1e-9);
        assert!((rating.energy().get::<joule>() - joules).abs() < 1e-9);
    }

    #[rstest]
    #[case::zero(0.0)]
    #[case::negative(-10.0)]
    #[case::no_number(f64::NAN)]
    #[case::above_the_rated(250.1)]
    fn a_voltage_that_nothing_is_measured_at_is_refused(#[case] voltage: f64) {
        let rating = Rating::new(farads(1e-6), volts(250.0)).unwrap();
        assert!(MeasuringVoltage::at(volts(voltage), &rating).is_err());
    }

    #[test]
    fn the_rated_voltage_is_one_to_measure_at() {
        let rating = Rating::new(farads(1e-6), volts(250.0)).unwrap();
        let rated = MeasuringVoltage::rated(&rating);
        assert_eq!(MeasuringVoltage::at(volts(250.0), &rating), Ok(rated));
    }

    #[test]
    fn the_message_says_what_came() {
        insta::assert_snapshot!(Rating::new(farads(-22e-6), volts(25.0)).unwrap_err(),
            @"expected a capacitance above zero, came -22 µF");
        insta::assert_snapshot!(Rating::new(farads(22e-6), volts(0.0)).unwrap_err(),
            @"expected a voltage above zero, came 0 V");
    }

    #[test]
    fn a_measuring_voltage_above_the_rated_one_is_refused() {
        let rating = Rating::new(farads(1e-6), volts(250.0)).unwrap();
        insta::assert_snapshot!(MeasuringVoltage::at(volts(500.0), &rating).unwrap_err(),
            @"expected a measuring voltage up to the rated 250 V, came 500 V");
    }
}
