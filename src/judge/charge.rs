//! Counts the charge that goes into the part: the proof that there is one, and how large it is.
//!
//! A clip with nothing in it leaks less than the best part, so a leakage reading means nothing
//! until charge has been seen to go in (handbook §3.9). Readings are taken as means over the time
//! since the reading before, which is what an integrating meter delivers.

use crate::quantity::{Capacitance, Charge, Current, Time, Voltage};

/// Charge into the part, and the voltage that it has stood at meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ChargeCount {
    charge: Charge,
    exposure: VoltSeconds,
}

/// Integral of voltage over time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct VoltSeconds(f64);

impl ChargeCount {
    /// Adds a mean `current` that flowed for `span` with the part at `voltage`.
    pub fn add(&mut self, current: Current, span: Time, voltage: Voltage) {
        self.charge += current * span;
        self.exposure.0 += voltage.value * span.value;
    }

    /// All charge that went in, leakage included.
    #[must_use]
    pub fn charge(&self) -> Charge {
        self.charge
    }

    /// The capacitance that explains the charge at `voltage`, or none below a microvolt.
    ///
    /// `leakage` is the current that flows at `voltage` once charging is over; its share during
    /// the rise is taken as proportional to voltage and left out (handbook §3.9).
    #[must_use]
    pub fn capacitance(&self, voltage: Voltage, leakage: Current) -> Option<Capacitance> {
        if voltage.value <= 1e-6 {
            return None;
        }
        let time_at_voltage = Time::new::<uom::si::time::second>(self.exposure.0 / voltage.value);
        Some((self.charge - leakage * time_at_voltage) / voltage)
    }
}

#[cfg(test)]
mod tests {
    use uom::si::capacitance::microfarad;

    use super::*;
    use crate::quantity::{amperes, seconds, volts};

    #[test]
    fn a_constant_current_gives_charge_over_voltage() {
        // 100 µA for 2.5 s is 250 µC; at 25 V that is 10 µF (Q = I·t, C = Q/U).
        let mut count = ChargeCount::default();
        for step in 0..25 {
            count.add(amperes(100e-6), seconds(0.1), volts(f64::from(step)));
        }
        let capacitance = count.capacitance(volts(25.0), amperes(0.0)).unwrap();
        assert!((capacitance.get::<microfarad>() - 10.0).abs() < 1e-9, "{capacitance:?}");
    }

    #[test]
    fn an_ohmic_leak_does_not_count_as_capacitance() {
        // A resistor of 1 MΩ alone, ramped to 10 V in 10 s, takes ∫u/R dt = 50 µC.
        let mut count = ChargeCount::default();
        for step in 0..1000 {
            let voltage = (f64::from(step) + 0.5) * 0.01;
            count.add(amperes(voltage * 1e-6), seconds(0.01), volts(voltage));
        }
        let charge = count.charge().value;
        assert!((charge - 50e-6).abs() < 1e-9, "{charge}");
        let capacitance = count.capacitance(volts(10.0), amperes(10e-6)).unwrap();
        assert!(capacitance.get::<microfarad>().abs() < 1e-6, "{capacitance:?}");
    }

    #[test]
    fn without_voltage_there_is_no_capacitance() {
        assert_eq!(ChargeCount::default().capacitance(volts(0.0), amperes(0.0)), None);
    }
}
