//! What a station can do, as far as planning and running need to know it.

use arrayvec::ArrayVec;

use crate::part::Room;
use crate::quantity::{Current, Energy, Resistance, Time, Voltage, amperes};

/// The most ranges a meter may have here.
pub const MOST_RANGES: usize = 12;

/// The station's abilities and bounds: the facts that a plan is drawn from.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    /// The supply's abilities.
    pub supply: SupplyFacts,
    /// The meter's abilities.
    pub meter: MeterFacts,
    /// Resistor in series with the part, between the supply's terminals and the meter.
    pub series: Resistance,
    /// A relay can bridge that resistor while a part charges.
    pub bypass: bool,
    /// How the part is emptied.
    pub bleeder: Bleeder,
    /// No part is taken above this voltage at this station.
    pub ceiling: Voltage,
    /// No more energy than this is stored in a part at this station.
    pub energy_bound: Energy,
    /// A part below this voltage may be touched (handbook §4.4: 5 V).
    pub safe_voltage: Voltage,
    /// Current through the open fixture, where it was measured.
    pub zero: Option<TakenZero>,
    /// The room's temperature, when somebody said it.
    pub room: Option<Room>,
    /// Bench seconds per second: 1 on a real bench.
    pub lapse: f64,
}

/// What a supply can do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupplyFacts {
    /// Highest voltage it can be set to.
    pub most_voltage: Voltage,
    /// Highest current limit it can be set to.
    pub most_current: Current,
    /// Step of its voltage setting.
    pub voltage_step: Voltage,
    /// Step of its current-limit setting.
    pub current_step: Current,
    /// Accuracy of its voltage read-back: a fraction of the reading and a fixed part.
    pub read_back: Accuracy<Voltage>,
    /// Where it measures its voltage.
    pub senses: Sensing,
}

/// Where a supply measures its own output voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sensing {
    /// At the terminals, behind the output relay: it sees the part with the output off.
    AtTerminals,
    /// Before the output relay: with the output off it reads nothing of the part.
    BeforeRelay,
}

/// Half-width of an instrument's error: a fraction of the reading plus a fixed part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accuracy<Q> {
    /// Fraction of the reading (0.0005 for 0.05 %).
    pub fraction: f64,
    /// Fixed part: counts times the last digit.
    pub fixed: Q,
}

/// What a meter can do.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterFacts {
    /// Its current ranges, most sensitive first.
    pub ranges: ArrayVec<MeterRange, MOST_RANGES>,
    /// Time from one reading to the next.
    pub interval: Time,
    /// Readings to leave unused after a range change.
    pub settling_readings: u8,
    /// How well the conversion from volts to amperes is known.
    pub conversion: Conversion,
}

/// Half-widths of what a sense resistor adds to the error of a current, as fractions of it. None
/// of it is there with the meter's own shunt, whose error its ranges have.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Conversion {
    /// By the tolerance of the sense resistor.
    pub resistor: f64,
    /// By what is not known of the voltmeter's input resistance beside it (handbook §3.3).
    pub input: f64,
}

/// Which of the meter's ranges: an index into [`MeterFacts::ranges`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct RangeIndex(pub u8);

/// One current range of a meter (or of a voltmeter across a sense resistor).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterRange {
    /// Largest current it shows.
    pub full_scale: Current,
    /// Last digit.
    pub resolution: Current,
    /// Error bound.
    pub accuracy: Accuracy<Current>,
    /// Resistance that it puts in series with the part.
    pub burden: Resistance,
}

impl MeterRange {
    /// Half-width of the error at `reading`: a fraction of it plus the fixed part.
    #[must_use]
    pub fn error_at(&self, reading: Current) -> Current {
        reading.abs() * self.accuracy.fraction + self.accuracy.fixed
    }
}

/// How the part is emptied once the output is off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bleeder {
    /// The supply pulls its terminals down to 0 V by itself, with the output on at 0 V.
    SupplySinks,
    /// A resistor stands across the supply's terminals at all times.
    Fitted(Resistance),
    /// A relay puts a resistor across the supply's terminals; its dead state bleeds.
    Relay(Resistance),
}

impl Bleeder {
    /// The resistance that the part empties into, beside the series resistor and the meter.
    #[must_use]
    pub fn resistance(&self) -> Resistance {
        match self {
            Self::SupplySinks => Resistance::default(),
            Self::Fitted(resistance) | Self::Relay(resistance) => *resistance,
        }
    }

    /// What the bleeder draws from the supply at `voltage` while the output is on.
    #[must_use]
    pub fn load_at(&self, voltage: Voltage) -> Current {
        match self {
            Self::Fitted(resistance) => voltage / *resistance,
            Self::SupplySinks | Self::Relay(_) => amperes(0.0),
        }
    }
}

/// A zero of the open fixture, as it was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TakenZero {
    /// What was read.
    pub zero: Zero,
    /// Voltage across the open clips.
    pub voltage: Voltage,
    /// How long ago.
    pub age: Time,
}

impl TakenZero {
    /// The zero at another voltage; none above the one that it was taken at.
    ///
    /// What leaks over insulation goes with the voltage, the meter's own offset does not: below it
    /// the truth lies between the two, which is a doubt of that half-width (GUM §4.3.7).
    #[must_use]
    pub fn at(&self, voltage: Voltage) -> Option<Zero> {
        let share = (voltage / self.voltage).value;
        if MOST_SHARE < share {
            return None;
        }
        let share = share.min(1.0);
        let current = self.zero.current * f64::midpoint(1.0, share);
        let doubt = self.zero.current * ((1.0 - share) / 2.0 / 3_f64.sqrt());
        let uncertainty = amperes(self.zero.uncertainty.value.hypot(doubt.value));
        Some(Zero { current, uncertainty })
    }
}

/// A zero holds up to a little above the voltage that it was taken at.
const MOST_SHARE: f64 = 1.02;

/// Leakage of the open fixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zero {
    /// Current with nothing clipped in.
    pub current: Current,
    /// Its standard uncertainty.
    pub uncertainty: Current,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{seconds, volts};

    fn taken() -> TakenZero {
        let zero = Zero { current: amperes(10e-9), uncertainty: amperes(1e-9) };
        TakenZero { zero, voltage: volts(50.0), age: seconds(60.0) }
    }

    #[test]
    fn a_zero_holds_as_it_was_taken_at_its_own_voltage() {
        assert_eq!(taken().at(volts(50.0)), Some(taken().zero));
    }

    #[test]
    fn a_zero_tells_nothing_above_its_voltage() {
        assert_eq!(taken().at(volts(63.0)), None);
    }

    // Leakage of insulation would be 5 nA at half the voltage, an offset of the meter 10 nA: 7.5 nA,
    // ±2.5 nA as a rectangle (1.443 nA), with 1 nA of its own: 1.756 nA.
    #[test]
    fn below_its_voltage_a_zero_lies_between_insulation_and_offset() {
        let half = taken().at(volts(25.0)).unwrap();
        assert!((half.current.value - 7.5e-9).abs() < 1e-15, "{half:?}");
        assert!((half.uncertainty.value - 1.756e-9).abs() < 1e-12, "{half:?}");
    }
}
