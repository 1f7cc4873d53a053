//! Counts the charge that goes into the part: the proof that there is one, and how large it is.
//!
//! A clip with nothing in it leaks less than the best part, so a leakage reading means nothing
//! until charge has been seen to go in (handbook §3.9). Readings are taken as means over the time
//! since the reading before, which is what an integrating meter delivers.

use crate::quantity::{Capacitance, Charge, Current, Time, Voltage, farads, seconds};

/// Expanded over standard uncertainty: 95 %, as it is told beside a capacitance.
const COVERAGE: f64 = 1.96;

/// Charge into the part, and the voltage that it has stood at meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ChargeCount {
    charge: Charge,
    exposure: VoltSeconds,
}

/// Integral of voltage over time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct VoltSeconds(f64);

/// What a charge count may be wrong by; standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountDoubt {
    /// Charge that noise and the doubt about the meter's zero can feign.
    pub charge: Charge,
    /// The meter's gain, as a part of one.
    pub gain: f64,
    /// The voltage at the part.
    pub voltage: Voltage,
}

/// A capacitance by charge over voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredCapacitance {
    /// The capacitance.
    pub value: Capacitance,
    /// Half-width of its 95 % interval.
    pub uncertainty: Capacitance,
}

impl MeasuredCapacitance {
    /// Whether it may lie between `least` and `greatest` parts of the printed value: it is off only
    /// if no value of its interval does.
    #[must_use]
    pub fn fits(&self, printed: Capacitance, (least, greatest): (f64, f64)) -> bool {
        let (low, high) = (self.value - self.uncertainty, self.value + self.uncertainty);
        // Written so that a value that is no number does not fit.
        printed * least <= high && low <= printed * greatest
    }
}

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
        Some((self.charge - self.leaked(voltage, leakage)) / voltage)
    }

    /// The same with its uncertainty: counting, gain and voltage, and half of the leaked charge,
    /// since no leakage is quite proportional to voltage (rectangular).
    #[must_use]
    pub fn measure(
        &self,
        voltage: Voltage,
        leakage: Current,
        doubt: &CountDoubt,
    ) -> Option<MeasuredCapacitance> {
        let value = self.capacitance(voltage, leakage)?;
        let leaked = self.leaked(voltage, leakage) * (0.5 / 3_f64.sqrt());
        let counted = doubt.charge.value.hypot(leaked.value) / voltage.value;
        let relative = doubt.gain.hypot((doubt.voltage / voltage).value);
        let standard = farads(counted.hypot(value.value * relative));
        Some(MeasuredCapacitance { value, uncertainty: standard * COVERAGE })
    }

    /// The leakage's share of the charge.
    fn leaked(&self, voltage: Voltage, leakage: Current) -> Charge {
        leakage * seconds(self.exposure.0 / voltage.value)
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;
    use uom::si::capacitance::microfarad;

    use super::*;
    use crate::quantity::{amperes, coulombs, volts};

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
    fn the_uncertainty_is_that_of_charge_gain_and_voltage() {
        // 250 µC at 25 V is 10 µF. 2.5 µC is 1 %, gain 2 %, 0.5 V is 2 %: √(1+4+4) = 3 %, so
        // 0.3 µF standard and 0.588 µF expanded.
        let mut count = ChargeCount::default();
        count.add(amperes(100e-6), seconds(2.5), volts(0.0));
        let doubt = CountDoubt { charge: coulombs(2.5e-6), gain: 0.02, voltage: volts(0.5) };
        let measured = count.measure(volts(25.0), amperes(0.0), &doubt).unwrap();
        assert!((measured.value.get::<microfarad>() - 10.0).abs() < 1e-9);
        assert!((measured.uncertainty.get::<microfarad>() - 0.588).abs() < 1e-3, "{measured:?}");
    }

    #[rstest]
    #[case::inside(10.0, 0.1, true)]
    #[case::just_reaching_in(8.9, 0.2, true)]
    #[case::just_out(8.7, 0.2, false)]
    #[case::a_tenth(1.0, 0.1, false)]
    #[case::too_large(11.4, 0.2, false)]
    #[case::no_number(f64::NAN, 0.2, false)]
    fn a_capacitance_is_off_only_beyond_its_uncertainty(
        #[case] value: f64,
        #[case] uncertainty: f64,
        #[case] fits: bool,
    ) {
        let (value, uncertainty) = (farads(value * 1e-6), farads(uncertainty * 1e-6));
        let measured = MeasuredCapacitance { value, uncertainty };
        assert_eq!(measured.fits(farads(10e-6), (0.9, 1.1)), fits);
    }

    #[test]
    fn without_voltage_there_is_no_capacitance() {
        assert_eq!(ChargeCount::default().capacitance(volts(0.0), amperes(0.0)), None);
    }
}
