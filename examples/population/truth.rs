//! The truth about a part: what it leaks at its limit's voltage, time and temperature, and whether
//! a leakage says all about it.

use reststrom::part::Family;

use crate::faults::{Class, EventKind};
use crate::specimen::Specimen;

/// Bursts of less charge than a current of the limit moves in this time are no finding, s.
const SEEN: f64 = 1.0;
/// One burst of more than the limit moves in this time is enough, s.
const SEEN_ALONE: f64 = 30.0;
/// A part the wrong way round that takes less than so many limits at first does no harm by it.
const SEEN_REVERSED: f64 = 3.0;
/// A contact that comes and goes is one from so many limits on.
const SEEN_CONTACT: f64 = 3.0;
/// A short is one that takes so many limits; one that takes less is a leak.
const SHORT: f64 = 10.0;
/// So many are too many (handbook §4.2).
const TOO_MANY: usize = 3;
/// A part climbs that is this factor above what it was (handbook §4.2).
const CLIMBS: f64 = 1.2;
/// Share of the reading time over which slow branches may still show as capacitance.
const COUNTED: f64 = 0.2;
/// A part whose capacitance lies this far beyond its gate is none of its value.
const BEYOND_GATE: f64 = 0.9;

/// What a part really is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Truth {
    /// What kind of part.
    pub(crate) state: State,
    /// What it leaks at the limit's voltage, time and temperature, absorption included, A.
    pub(crate) leakage: f64,
    /// How far its capacitance is beyond what is accepted, over the printed one.
    pub(crate) off_value: f64,
}

/// What kind of part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum State {
    /// One whose leakage says all.
    Sound,
    /// Still within at the reading time, but it climbs or has burst: no verdict on it is false.
    Unsteady,
    /// Bad whatever it leaks: shorts, bursts, the wrong way round.
    Bad,
    /// Not one of the printed value.
    OtherValue,
    /// Not there, or not to the end of the reading.
    Absent,
}

impl Specimen {
    /// The truth, for a ramp to full voltage that lasts `rise` seconds and is waited out for
    /// `charge` seconds.
    pub(crate) fn truth(&self, rise: f64, charge: f64) -> Truth {
        let (scar, bursting) = self.burst_until_read(rise);
        let (conducts, _) = self.conduction.at(self.volt, self.reading_time, 0.0, scar);
        let leakage = conducts + self.absorption.current(self.volt, rise, self.reading_time);
        let climbs = CLIMBS < self.conduction.climb.factor(self.reading_time);
        let off_value = self.off_value(rise, charge);
        let state = if self.class == Class::Open {
            State::Absent
        } else if bursting || self.is_shorted() || self.is_reversed() {
            State::Bad
        } else if 0.0 < off_value {
            State::OtherValue
        } else if leakage <= self.limit && (climbs || !self.events.is_empty()) {
            State::Unsteady
        } else {
            State::Sound
        };
        Truth { state, leakage, off_value }
    }

    /// What bursts have left by the reading time, and whether there were too many, or one too large.
    fn burst_until_read(&self, rise: f64) -> (f64, bool) {
        let from = (1.0 - self.armed_at) * rise;
        let soak = from..=from + self.reading_time;
        let (mut scar, mut seen, mut alone) = (1.0, 0, false);
        for event in self.events.iter().filter(|event| soak.contains(&event.at)) {
            let coulomb = match event.kind {
                EventKind::Burst { coulomb, scar: left } => {
                    scar *= left;
                    coulomb.min(self.farad * self.volt)
                }
                EventKind::Contact(siemens) if siemens * self.volt < self.limit * SEEN_CONTACT => {
                    0.0
                }
                EventKind::Contact(siemens) => siemens * self.volt * event.lasts,
            };
            seen += usize::from(self.limit * SEEN <= coulomb);
            alone |= self.limit * SEEN_ALONE <= coulomb;
        }
        (scar, alone || TOO_MANY <= seen)
    }

    fn is_shorted(&self) -> bool {
        matches!(self.class, Class::HardShort | Class::SoftShort)
            && self.limit * SHORT < self.conduction.siemens * self.volt
    }

    fn is_reversed(&self) -> bool {
        let (at_first, _) = self.conduction.at(self.volt, 1.0, 0.0, 1.0);
        self.conduction.reversed.is_some() && self.limit * SEEN_REVERSED < at_first
    }

    /// How far its capacitance is beyond its gate, over the printed one, however long its slow
    /// branches are counted for. A double layer has no upper end: it takes charge for hours.
    fn off_value(&self, rise: f64, charge: f64) -> f64 {
        let ratio = |time| (self.farad + self.absorption.taken_in(time)) / self.printed;
        let long = rise + charge + COUNTED * self.reading_time;
        let timeless = self.part.family != Family::DoubleLayer;
        let above = if timeless { ratio(rise) - self.gate.1 / BEYOND_GATE } else { 0.0 };
        (self.gate.0 * BEYOND_GATE - ratio(long)).max(above)
    }
}

#[cfg(test)]
mod tests;
