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
    /// How the part is emptied.
    pub bleeder: Bleeder,
    /// No part is taken above this voltage at this station.
    pub ceiling: Voltage,
    /// No more energy than this is stored in a part at this station.
    pub energy_bound: Energy,
    /// A part below this voltage may be touched (handbook §4.4: 5 V).
    pub safe_voltage: Voltage,
    /// Current through the open fixture at the test voltage, when it was measured.
    pub zero: Option<Zero>,
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

/// Leakage of the open fixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zero {
    /// Current with nothing clipped in.
    pub current: Current,
    /// Its standard uncertainty.
    pub uncertainty: Current,
}
