//! The uncertainty of a settled reading: its components and their sum.
//!
//! Components are standard uncertainties and add as squares (GUM, JCGM 100 §5.1). A bound of an
//! instrument's sheet is taken as rectangular: divided by √3 (handbook §3.5).

use crate::quantity::{Current, Voltage, amperes};

/// Expanded uncertainty over standard uncertainty: 95 % two-sided, 2.5 % risk on each side.
pub const COVERAGE: f64 = 1.96;

/// Standard uncertainties of one reading.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Budget {
    /// From the meter's error bound on its range.
    pub meter: Current,
    /// From the scatter of the readings.
    pub scatter: Current,
    /// From the fixture's zero.
    pub zero: Current,
    /// From the voltage at the part, through the slope of leakage against voltage.
    pub voltage: Current,
}

impl Budget {
    /// The meter's share from the half-width of its error.
    #[must_use]
    pub fn meter_share(half_width: Current) -> Current {
        half_width / 3_f64.sqrt()
    }

    /// The voltage's share: exponent · u(U)/U · |i| (handbook §3.11).
    ///
    /// `short` is how far the part stood below the test voltage; it counts as a rectangular
    /// half-width beside the read-back's own `uncertainty`.
    #[must_use]
    pub fn voltage_share(
        current: Current,
        exponent: f64,
        test_voltage: Voltage,
        uncertainty: Voltage,
        short: Voltage,
    ) -> Current {
        let short = short.value.max(0.0) / 3_f64.sqrt();
        let relative = uncertainty.value.hypot(short) / test_voltage.value;
        current.abs() * exponent * relative
    }

    /// Standard uncertainty of the whole.
    #[must_use]
    pub fn standard(&self) -> Current {
        let parts = [self.meter, self.scatter, self.zero, self.voltage];
        amperes(parts.iter().map(|part| part.value.powi(2)).sum::<f64>().sqrt())
    }

    /// Half-width of the 95 % interval.
    #[must_use]
    pub fn expanded(&self) -> Current {
        self.standard() * COVERAGE
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::volts;

    #[test]
    fn the_worked_example_of_the_handbook_adds_up() {
        // Handbook §3.12 without its temperature rows: 0.7 and 2.1 nA (shunt, meter), zero
        // 1.2 nA, voltage 16 nA, scatter 5 nA give √(0.49+4.41+1.44+256+25) = 16.95 nA.
        let budget = Budget {
            meter: amperes(0.7e-9_f64.hypot(2.1e-9)),
            scatter: amperes(5e-9),
            zero: amperes(1.2e-9),
            voltage: amperes(16e-9),
        };
        assert!((budget.standard().value - 16.95e-9).abs() < 0.01e-9, "{:?}", budget.standard());
    }

    #[test]
    fn half_a_per_cent_of_voltage_is_over_one_per_cent_of_tantalum_leakage() {
        // Handbook §3.12: ±0.5 % (÷√3) times 4.5 on 1.20 µA is 16 nA (15.6 nA).
        let uncertainty = volts(16.0 * 0.005 / 3_f64.sqrt());
        let share =
            Budget::voltage_share(amperes(1.2e-6), 4.5, volts(16.0), uncertainty, volts(0.0));
        assert!((share.value - 15.6e-9).abs() < 0.05e-9, "{share:?}");
    }

    #[test]
    fn a_hand_meter_is_uncertain_by_a_sixth_at_a_microampere() {
        // Handbook §3.5: ±(1.0 % + 3 counts of 0.1 µA) at 1.2 µA is 0.312 µA; ÷√3 = 0.180 µA.
        let share = Budget::meter_share(amperes(0.312e-6));
        assert!((share.value - 0.180e-6).abs() < 0.001e-6, "{share:?}");
    }
}
