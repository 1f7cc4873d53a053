//! A meter that is asked for each reading, as [`super::Meter`].

use super::{MeterSays, SensedBy, USABLE_SHARE, conductance, facts};
use crate::plan::{MeterFacts, RangeIndex, Sample};
use crate::quantity::{Time, amperes};
use crate::station::driver::{MeterAbility, MeterDriver, MeterWords};
use crate::station::reply::{self, QueueEntry, ReplyError, Unit};
use crate::station::session::{Heard, Outgoing, Session};

/// Entries after which an error queue that never empties is given up.
const QUEUE_CAP: u8 = 20;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ask {
    Error(u8),
    /// A reading, on the range that the meter is known to be on.
    Read(RangeIndex),
    Range(RangeIndex),
}

/// A meter that is asked for each reading.
#[derive(Debug, Clone)]
pub(super) struct AskedMeter {
    pub(super) session: Session<Ask>,
    words: MeterWords,
    ability: MeterAbility,
    sensed_by: SensedBy,
    facts: MeterFacts,
    /// The range that it is known to be on.
    range: Option<RangeIndex>,
    pub(super) wanted: RangeIndex,
    /// The error queue has answered once: a meter without one never does.
    has_queue: bool,
}

impl AskedMeter {
    /// A meter on a line that was opened at `now`.
    pub(super) fn open(
        words: MeterWords,
        driver: &MeterDriver,
        sensed_by: SensedBy,
        now: Time,
    ) -> Self {
        let session = Session::open(driver.line.timing(), &words.identity, now);
        let ability = driver.ability.clone();
        let facts = facts(&ability, sensed_by);
        let last = facts.ranges.len().saturating_sub(1);
        let wanted = RangeIndex(u8::try_from(last).unwrap_or_default());
        Self { session, words, ability, sensed_by, facts, range: None, wanted, has_queue: false }
    }

    /// Goes to a range; readings count on it once it was read back.
    pub(super) fn select(&mut self, range: RangeIndex) {
        self.wanted = range;
        self.range = None;
        let words = match self.sensed_by {
            SensedBy::Shunt => &self.words.select_current_range,
            SensedBy::Resistor(_) => &self.words.select_voltage_range,
        };
        let words = words.replacen("{}", &format!("{:E}", self.full_scale(range)), 1);
        self.session.forget(|waiting| waiting.question.is_none_or(|ask| ask != Ask::Error(0)));
        self.session.say(Outgoing::order(words));
        self.set_integration();
        self.ask(Ask::Range(range));
    }

    /// Many meters reset their integration time with the range: it goes with every selection.
    fn set_integration(&mut self) {
        let words = match self.sensed_by {
            SensedBy::Shunt => &self.words.set_current_integration,
            SensedBy::Resistor(_) => &self.words.set_voltage_integration,
        };
        let Some(cycles) = self.ability.integration_cycles else { return };
        let words = words.replacen("{}", &cycles.to_string(), 1);
        self.session.say(Outgoing::order(words));
    }

    /// Full scale of a range in the unit that the meter knows it by.
    fn full_scale(&self, range: RangeIndex) -> f64 {
        let index = usize::from(range.0);
        let ability = &self.ability;
        match self.sensed_by {
            SensedBy::Shunt => ability.current_range.get(index).map(|range| range.full_scale.value),
            SensedBy::Resistor(_) => {
                ability.voltage_range.get(index).map(|range| range.full_scale.value)
            }
        }
        .unwrap_or(f64::INFINITY)
    }

    fn ask(&mut self, ask: Ask) {
        let words = &self.words;
        let words = match (ask, self.sensed_by) {
            (Ask::Error(_), _) => words.next_error.clone().unwrap_or_default(),
            (Ask::Read(_), _) => words.read.clone(),
            (Ask::Range(_), SensedBy::Shunt) => words.ask_current_range.clone(),
            (Ask::Range(_), SensedBy::Resistor(_)) => words.ask_voltage_range.clone(),
        };
        self.session.say(Outgoing::asking(words, ask));
    }

    /// What is to be written at `now`; reads when nothing else waits.
    pub(super) fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        if self.session.is_idle() {
            match self.range {
                Some(range) => self.ask(Ask::Read(range)),
                None => self.select(self.wanted),
            }
        }
        self.session.write(now)
    }

    /// The next moment at which this meter has something to do.
    pub(super) fn wakes_at(&self) -> Option<Time> {
        self.session.wakes_at()
    }

    /// Takes bytes that came at `now`.
    pub(super) fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<MeterSays> {
        let heard = self.session.receive(bytes, now);
        heard.into_iter().filter_map(|heard| self.understand(heard, now)).collect()
    }

    /// Time has passed.
    pub(super) fn pass(&mut self, now: Time) -> Vec<MeterSays> {
        let heard = self.session.pass(now);
        heard.into_iter().filter_map(|heard| self.understand(heard, now)).collect()
    }

    fn understand(&mut self, heard: Heard<Ask>, now: Time) -> Option<MeterSays> {
        match heard {
            Heard::Answer(ask, line) => self.answer(ask, &line).unwrap_or_else(|_misfit| {
                self.session.misfit(now);
                None
            }),
            Heard::Missed(Ask::Error(_)) if !self.has_queue => {
                // Asked for ever, it would keep the line out of step for ever.
                self.words.next_error = None;
                Some(MeterSays::Complains("the error queue does not answer".into()))
            }
            Heard::Missed(_) => None,
            Heard::InStep(identity) => {
                // After a restart it may stand on any function: it is told its range again.
                self.range = None;
                self.session.forget(|waiting| matches!(waiting.question, Some(Ask::Read(_))));
                if self.words.next_error.is_some() {
                    self.ask(Ask::Error(0));
                }
                Some(MeterSays::Identity(identity))
            }
            Heard::Lost(why) => Some(MeterSays::Lost(why)),
        }
    }

    fn answer(&mut self, ask: Ask, line: &[u8]) -> Result<Option<MeterSays>, ReplyError> {
        match ask {
            Ask::Read(range) => self.reading(range, line),
            Ask::Range(range) => self.ranged(range, line),
            Ask::Error(count) => {
                let entry = reply::queue_entry(line)?;
                self.has_queue = true;
                let QueueEntry::Error(_, text) = entry else { return Ok(None) };
                if count < QUEUE_CAP {
                    self.ask(Ask::Error(count + 1));
                }
                Ok(Some(MeterSays::Complains(text)))
            }
        }
    }

    fn ranged(&mut self, range: RangeIndex, line: &[u8]) -> Result<Option<MeterSays>, ReplyError> {
        let expected = self.full_scale(range);
        let got = reply::number(line, self.unit())?;
        // A meter names a range by its full scale, some by a nominal value a little above.
        if matches!(got, Sample::Value(got) if (got / expected - 1.0).abs() < 0.25) {
            self.range = Some(range);
            return Ok(None);
        }
        let unit = self.unit().suffix();
        let got = reply::readable(line);
        Ok(Some(MeterSays::Disturbed(format!(
            "meter range: asked {expected} {unit}, the meter holds {got}"
        ))))
    }

    fn unit(&self) -> Unit {
        match self.sensed_by {
            SensedBy::Shunt => Unit::Ampere,
            SensedBy::Resistor(_) => Unit::Volt,
        }
    }

    fn reading(&self, range: RangeIndex, line: &[u8]) -> Result<Option<MeterSays>, ReplyError> {
        let sample = self.words.reading.read(line, self.unit())?;
        let end = self.full_scale(range) * USABLE_SHARE;
        let sample = match sample {
            Sample::Value(value) if value.abs() < end => Sample::Value(self.to_current(value)),
            Sample::Value(value) => Sample::Overload { negative: value < 0.0 },
            Sample::Overload { negative } => Sample::Overload { negative },
            Sample::NotANumber => Sample::NotANumber,
        };
        Ok(Some(MeterSays::Current(sample, range)))
    }

    /// `I = V·(1/R + 1/R_in)` across a sense resistor (handbook §3.3).
    fn to_current(&self, value: f64) -> crate::quantity::Current {
        match self.sensed_by {
            SensedBy::Shunt => amperes(value),
            SensedBy::Resistor(sense) => {
                amperes(value * conductance(sense.resistance, &self.ability))
            }
        }
    }

    /// Whether it is known who is there and whether there is an error queue.
    pub(super) fn is_settled(&self) -> bool {
        let known = self.session.is_quiet() || self.session.is_lost();
        (known || self.session.is_to_answer(|ask| matches!(ask, Ask::Read(_) | Ask::Range(_))))
            && !self.session.is_to_answer(|ask| matches!(ask, Ask::Error(_)))
    }

    /// The abilities as planning needs them.
    pub(super) fn facts(&self) -> &MeterFacts {
        &self.facts
    }

    /// The line was gone and is there again: range and all are told anew.
    pub(super) fn comes_back(&mut self, now: Time) {
        self.range = None;
        self.session.begin_again(now);
    }

    /// How often the line had to be brought back into step.
    pub(super) fn resyncs(&self) -> u32 {
        self.session.resyncs()
    }
}
