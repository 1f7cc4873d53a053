//! The uncertainty of a settled reading: its components by name, their sum and the guard.
//!
//! Components are standard uncertainties and add as squares (GUM, JCGM 100 §5.1). A bound of an
//! instrument's sheet is taken as rectangular: divided by √3 (handbook §3.5). The guard on each
//! side of the limit is the sum times the coverage factor of the confidence that was asked for
//! (JCGM 106, guarded acceptance and rejection).

use arrayvec::ArrayVec;

use crate::quantity::{Confidence, Current, Voltage, amperes};
use crate::words::words;

words! {
    /// Where a part of the uncertainty comes from.
    Source {
        /// Error bound of the meter on the range in use.
        Meter = "meter",
        /// Tolerance of the sense resistor.
        SenseResistor = "sense-resistor",
        /// The voltmeter's input resistance beside the sense resistor, as far as it is not known.
        InputResistance = "input-resistance",
        /// Scatter of the readings, widened by what neighbours have in common.
        Scatter = "scatter",
        /// The zero of the empty fixture.
        FixtureZero = "fixture-zero",
        /// Error of the supply's voltage read-back, through the slope of leakage over voltage.
        Voltage = "voltage",
        /// The part stood below the test voltage: sag, and the drop in resistor and meter.
        Shortfall = "voltage-shortfall",
        /// The room's temperature.
        RoomTemperature = "room-temperature",
        /// How leakage rises with temperature, on the way to the limit's own.
        TemperatureLaw = "temperature-law",
        /// The share of absorption in the reading, which hardly knows temperature.
        Absorption = "absorption",
    }
}

impl Source {
    /// What would make it smaller.
    #[must_use]
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Meter => {
                "a more sensitive range, or a larger sense resistor where volts are read"
            }
            Self::SenseResistor => {
                "a closer resistor: measure it, write its value as `sense_resistor` and its \
                 tolerance as `sense_tolerance`"
            }
            Self::InputResistance => {
                "a smaller sense resistor, or the meter's true `input_resistance` with its \
                 `input_tolerance`"
            }
            Self::Scatter => "a longer integration time, shielded leads that hang still",
            Self::FixtureZero => "clean and dry clips, and a closer zero of the empty fixture",
            Self::Voltage => "a supply that reads its voltage back more closely",
            Self::Shortfall => "a smaller series resistor, or a meter with less burden",
            Self::RoomTemperature => {
                "a thermometer at the part: say what it reads, such as --room \"23C ±0.5K\""
            }
            Self::TemperatureLaw | Self::Absorption => "a room nearer to the limit's temperature",
        }
    }
}

/// Half-width over standard uncertainty of a value that may lie anywhere within: √3.
const RECTANGULAR: f64 = 1.732_050_807_568_877_2;

/// A value that may lie anywhere within ± this has this standard uncertainty.
#[must_use]
pub fn rectangular(half_width: Current) -> Current {
    half_width.abs() / RECTANGULAR
}

/// Standard uncertainties of one reading, by source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget {
    confidence: Confidence,
    components: [Current; Source::ALL.len()],
}

impl Default for Budget {
    fn default() -> Self {
        Self::at(Confidence::USUAL)
    }
}

impl Budget {
    /// A budget without anything in it, to be judged at this confidence.
    #[must_use]
    pub fn at(confidence: Confidence) -> Self {
        Self { confidence, components: [Current::default(); Source::ALL.len()] }
    }

    /// The same with this standard uncertainty from a source, in place of what it had from there.
    #[must_use]
    pub fn with(mut self, source: Source, uncertainty: Current) -> Self {
        self.components[source as usize] = uncertainty.abs();
        self
    }

    /// The same with every component multiplied.
    #[must_use]
    pub fn times(mut self, factor: f64) -> Self {
        self.components = self.components.map(|component| component * factor);
        self
    }

    /// What comes from a source.
    #[must_use]
    pub fn of(&self, source: Source) -> Current {
        self.components[source as usize]
    }

    /// The components that are not zero, largest first.
    #[must_use]
    pub fn largest_first(&self) -> ArrayVec<(Source, Current), { Source::ALL.len() }> {
        let components = Source::ALL.iter().map(|source| (*source, self.of(*source)));
        let mut listed: ArrayVec<_, { Source::ALL.len() }> =
            components.filter(|(_, component)| *component != Current::default()).collect();
        listed.sort_by(|one, other| other.1.value.total_cmp(&one.1.value));
        listed
    }

    /// Standard uncertainty of the whole.
    #[must_use]
    pub fn standard(&self) -> Current {
        let squares = self.components.iter().map(|component| component.value.powi(2));
        amperes(squares.sum::<f64>().sqrt())
    }

    /// How sure the interval is.
    #[must_use]
    pub fn confidence(&self) -> Confidence {
        self.confidence
    }

    /// Half-width of the interval at its confidence: the guard on each side of a limit.
    #[must_use]
    pub fn expanded(&self) -> Current {
        self.standard() * self.confidence.coverage()
    }
}

/// What an error of voltage makes of a leakage: exponent · u(U)/U · |i| (handbook §3.11).
///
/// `exponent` is d ln I / d ln U; where a family has a range of it, its upper end, so that a doubt
/// about the voltage never counts for too little.
#[must_use]
pub fn through_voltage(
    current: Current,
    exponent: f64,
    uncertainty: Voltage,
    test_voltage: Voltage,
) -> Current {
    current.abs() * exponent * (uncertainty / test_voltage).value.abs()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::quantity::volts;

    #[test]
    fn half_a_per_cent_of_voltage_is_over_one_per_cent_of_tantalum_leakage() {
        // Handbook §3.12: ±0.5 % (÷√3) times 4.5 on 1.20 µA is 16 nA (15.6 nA).
        let uncertainty = volts(16.0 * 0.005 / 3_f64.sqrt());
        let share = through_voltage(amperes(1.2e-6), 4.5, uncertainty, volts(16.0));
        assert!((share.value - 15.6e-9).abs() < 0.05e-9, "{share:?}");
    }

    #[test]
    fn a_hand_meter_is_uncertain_by_a_sixth_at_a_microampere() {
        // Handbook §3.5: ±(1.0 % + 3 counts of 0.1 µA) at 1.2 µA is 0.312 µA; ÷√3 = 0.180 µA.
        let share = rectangular(amperes(0.312e-6));
        assert!((share.value - 0.180e-6).abs() < 0.001e-6, "{share:?}");
    }

    #[test]
    fn components_are_listed_largest_first_and_without_the_empty_ones() {
        let budget = Budget::default()
            .with(Source::Meter, amperes(2e-9))
            .with(Source::Scatter, amperes(5e-9))
            .with(Source::FixtureZero, amperes(-3e-9));
        let listed: Vec<&str> =
            budget.largest_first().iter().map(|(source, _)| source.tag()).collect();
        assert_eq!(listed, ["scatter", "fixture-zero", "meter"]);
        // √(4 + 25 + 9) = √38.
        assert!((budget.standard().value - 38_f64.sqrt() * 1e-9).abs() < 1e-15);
    }

    #[test]
    fn the_guard_follows_the_confidence() {
        let guard = |share| {
            let budget = Budget::at(Confidence::of(share).unwrap());
            budget.with(Source::Meter, amperes(1e-9)).expanded().value
        };
        // Two-sided quantiles of the normal distribution.
        assert!((guard(0.95) - 1.960e-9).abs() < 1e-12, "{}", guard(0.95));
        assert!((guard(0.99) - 2.576e-9).abs() < 1e-12, "{}", guard(0.99));
    }

    #[test]
    fn every_source_has_something_that_makes_it_smaller() {
        assert!(Source::ALL.iter().all(|source| source.remedy().len() > 10));
    }

    proptest! {
        #[test]
        fn no_component_makes_the_whole_smaller(
            currents in prop::collection::vec(-1e-3_f64..1e-3, Source::ALL.len())
        ) {
            let mut budget = Budget::default();
            for (source, current) in Source::ALL.iter().zip(currents) {
                let before = budget.standard();
                budget = budget.with(*source, amperes(current));
                prop_assert!(before <= budget.standard());
                prop_assert!(current.abs() <= budget.standard().value * 1.000_001);
            }
        }
    }
}
