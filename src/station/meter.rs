//! A meter on its line: ranges and readings in its own words, answers checked and typed.
//!
//! Still without the line, as [`super::Supply`]. A reading is a current whichever way it was
//! taken: by the meter's own shunt, or as volts across a sense resistor.

mod asked;

use asked::AskedMeter;

use super::driver::{MeterAbility, MeterDriver, MeterTalk};
use super::stream::StreamingMeter;
use crate::plan::{Accuracy, Conversion, MeterFacts, MeterRange, RangeIndex, Sample};
use crate::quantity::{Resistance, Time, amperes, ohms};

/// Readings from this share of full scale on are overloads: some meters show their end for ever.
pub(super) const USABLE_SHARE: f64 = 0.995;

/// How the station senses current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SensedBy {
    /// The meter's own shunt.
    Shunt,
    /// The meter's voltage ranges across a resistor.
    Resistor(Sense),
}

/// A sense resistor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sense {
    /// Its resistance.
    pub resistance: Resistance,
    /// How far that may be off, as a fraction of it.
    pub tolerance: f64,
}

/// What the meter has to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum MeterSays {
    /// Who is there.
    Identity(String),
    /// A reading on a range.
    Current(Sample<crate::quantity::Current>, RangeIndex),
    /// A range was not taken, or changed by itself: expected and got, in words.
    Disturbed(String),
    /// An entry of its error queue.
    Complains(String),
    /// The line is lost, in words.
    Lost(String),
}

/// A meter on its line.
#[derive(Debug, Clone)]
pub struct Meter(Kind);

#[derive(Debug, Clone)]
enum Kind {
    Asked(Box<AskedMeter>),
    Streams(Box<StreamingMeter>),
}

/// The same act of either kind.
macro_rules! either {
    ($meter:expr, $it:ident => $act:expr) => {
        match $meter {
            Kind::Asked($it) => $act,
            Kind::Streams($it) => $act,
        }
    };
}

impl Meter {
    /// A meter on a line that was opened at `now`.
    #[must_use]
    pub fn open(driver: &MeterDriver, sensed_by: SensedBy, now: Time) -> Self {
        Self(match &driver.talk {
            MeterTalk::Asked(words) => {
                Kind::Asked(Box::new(AskedMeter::open(words.clone(), driver, sensed_by, now)))
            }
            MeterTalk::Streams(stream) => {
                let stream = stream.clone();
                Kind::Streams(Box::new(StreamingMeter::open(stream, driver, sensed_by, now)))
            }
        })
    }

    /// Goes to a range; readings count on it once it was read back. A meter that streams stands on
    /// the one range that its station names.
    pub fn select(&mut self, range: RangeIndex) {
        match &mut self.0 {
            Kind::Asked(meter) => meter.select(range),
            Kind::Streams(_) => {}
        }
    }

    /// What is to be written at `now`; reads when nothing else waits.
    pub fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        either!(&mut self.0, meter => meter.write(now))
    }

    /// The next moment at which this meter has something to do.
    #[must_use]
    pub fn wakes_at(&self) -> Option<Time> {
        either!(&self.0, meter => meter.wakes_at())
    }

    /// Takes bytes that came at `now`.
    pub fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<MeterSays> {
        either!(&mut self.0, meter => meter.receive(bytes, now))
    }

    /// Time has passed.
    pub fn pass(&mut self, now: Time) -> Vec<MeterSays> {
        either!(&mut self.0, meter => meter.pass(now))
    }

    /// The abilities as planning needs them.
    #[must_use]
    pub fn facts(&self) -> &MeterFacts {
        either!(&self.0, meter => meter.facts())
    }

    /// Whether it is known who is there and whether there is an error queue.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        match &self.0 {
            Kind::Asked(meter) => meter.is_settled(),
            Kind::Streams(_) => true,
        }
    }

    /// The line was gone and is there again.
    pub fn comes_back(&mut self, now: Time) {
        either!(&mut self.0, meter => meter.comes_back(now));
    }

    /// How often the line had to be brought back into step.
    #[must_use]
    pub fn resyncs(&self) -> u32 {
        either!(&self.0, meter => meter.resyncs())
    }
}

/// Conductance of the sense resistor with the meter's input beside it, S.
pub(super) fn conductance(resistance: Resistance, ability: &MeterAbility) -> f64 {
    1.0 / resistance.value + ability.input_resistance.map_or(0.0, |input| 1.0 / input.value)
}

/// The ranges as current ranges, by shunt or by sense resistor.
#[must_use]
pub(super) fn facts(ability: &MeterAbility, sensed_by: SensedBy) -> MeterFacts {
    let ranges = match sensed_by {
        SensedBy::Shunt => ability
            .current_range
            .iter()
            .map(|range| MeterRange {
                full_scale: range.full_scale,
                resolution: range.resolution,
                accuracy: Accuracy { fraction: range.fraction, fixed: range.fixed },
                burden: range.burden,
            })
            .collect(),
        SensedBy::Resistor(sense) => {
            let siemens = conductance(sense.resistance, ability);
            ability
                .voltage_range
                .iter()
                .map(|range| MeterRange {
                    full_scale: amperes(range.full_scale.value * siemens),
                    resolution: amperes(range.resolution.value * siemens),
                    accuracy: Accuracy {
                        fraction: range.fraction,
                        fixed: amperes(range.fixed.value * siemens),
                    },
                    burden: sense.resistance,
                })
                .collect()
        }
    };
    MeterFacts {
        ranges,
        interval: ability.interval,
        settling_readings: ability.settling_readings,
        conversion: conversion(ability, sensed_by),
    }
}

/// Least input resistance of a voltmeter (handbook §3.3: typically 10 MΩ, or far more).
const LEAST_INPUT: f64 = 10e6; // Ω

/// Of `I = V·(1/R + 1/R_in)` each conductance counts by its share (handbook §3.3).
fn conversion(ability: &MeterAbility, sensed_by: SensedBy) -> Conversion {
    let SensedBy::Resistor(sense) = sensed_by else { return Conversion::default() };
    let share =
        |resistance: Resistance| 1.0 / resistance.value / conductance(sense.resistance, ability);
    // Nobody said what the input is: 10 MΩ or anything above, and nothing was corrected.
    let input = ability
        .input_resistance
        .map_or_else(|| share(ohms(LEAST_INPUT)), |input| share(input) * ability.input_tolerance);
    Conversion { resistor: share(sense.resistance) * sense.tolerance, input }
}

#[cfg(test)]
mod tests;
