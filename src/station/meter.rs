//! A meter on its line: ranges and readings in its own words, answers checked and typed.
//!
//! Still without the line, as [`super::Supply`]. A reading is a current whichever way it was
//! taken: by the meter's own shunt, or as volts across a sense resistor.

use super::driver::{MeterAbility, MeterDriver};
use super::reply::{self, QueueEntry, ReplyError, Unit};
use super::session::{Heard, Outgoing, Session};
use crate::plan::{Accuracy, Conversion, MeterFacts, MeterRange, RangeIndex, Sample};
use crate::quantity::{Resistance, Time, amperes, ohms};

/// Entries after which an error queue that never empties is given up.
const QUEUE_CAP: u8 = 20;
/// Readings from this share of full scale on are overloads: some meters show their end for ever.
const USABLE_SHARE: f64 = 0.995;

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

#[derive(Debug, Clone, Copy, PartialEq)]
enum Ask {
    Error(u8),
    /// A reading, on the range that the meter is known to be on.
    Read(RangeIndex),
    Range(RangeIndex),
}

/// A meter on its line.
#[derive(Debug, Clone)]
pub struct Meter {
    session: Session<Ask>,
    driver: MeterDriver,
    sensed_by: SensedBy,
    facts: MeterFacts,
    /// The range that it is known to be on.
    range: Option<RangeIndex>,
    wanted: RangeIndex,
}

impl Meter {
    /// A meter on a line that was opened at `now`.
    #[must_use]
    pub fn open(driver: MeterDriver, sensed_by: SensedBy, now: Time) -> Self {
        let session = Session::open(driver.line.timing(), &driver.words.identity, now);
        let facts = facts(&driver.ability, sensed_by);
        let last = facts.ranges.len().saturating_sub(1);
        let wanted = RangeIndex(u8::try_from(last).unwrap_or_default());
        Self { session, driver, sensed_by, facts, range: None, wanted }
    }

    /// Goes to a range; readings count on it once it was read back.
    pub fn select(&mut self, range: RangeIndex) {
        self.wanted = range;
        self.range = None;
        let words = match self.sensed_by {
            SensedBy::Shunt => &self.driver.words.select_current_range,
            SensedBy::Resistor(_) => &self.driver.words.select_voltage_range,
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
            SensedBy::Shunt => &self.driver.words.set_current_integration,
            SensedBy::Resistor(_) => &self.driver.words.set_voltage_integration,
        };
        let cycles = self.driver.ability.integration_cycles;
        let words = words.replacen("{}", &cycles.to_string(), 1);
        self.session.say(Outgoing::order(words));
    }

    /// Full scale of a range in the unit that the meter knows it by.
    fn full_scale(&self, range: RangeIndex) -> f64 {
        let index = usize::from(range.0);
        let ability = &self.driver.ability;
        match self.sensed_by {
            SensedBy::Shunt => ability.current_range.get(index).map(|range| range.full_scale.value),
            SensedBy::Resistor(_) => {
                ability.voltage_range.get(index).map(|range| range.full_scale.value)
            }
        }
        .unwrap_or(f64::INFINITY)
    }

    fn ask(&mut self, ask: Ask) {
        let words = &self.driver.words;
        let words = match (ask, self.sensed_by) {
            (Ask::Error(_), _) => words.next_error.clone().unwrap_or_default(),
            (Ask::Read(_), _) => words.read.clone(),
            (Ask::Range(_), SensedBy::Shunt) => words.ask_current_range.clone(),
            (Ask::Range(_), SensedBy::Resistor(_)) => words.ask_voltage_range.clone(),
        };
        self.session.say(Outgoing::asking(words, ask));
    }

    /// What is to be written at `now`; reads when nothing else waits.
    pub fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        if self.session.is_idle() {
            match self.range {
                Some(range) => self.ask(Ask::Read(range)),
                None => self.select(self.wanted),
            }
        }
        self.session.write(now)
    }

    /// The next moment at which this meter has something to do.
    #[must_use]
    pub fn wakes_at(&self) -> Option<Time> {
        self.session.wakes_at()
    }

    /// Takes bytes that came at `now`.
    pub fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<MeterSays> {
        let heard = self.session.receive(bytes, now);
        heard.into_iter().filter_map(|heard| self.understand(heard, now)).collect()
    }

    /// Time has passed.
    pub fn pass(&mut self, now: Time) -> Vec<MeterSays> {
        let heard = self.session.pass(now);
        heard.into_iter().filter_map(|heard| self.understand(heard, now)).collect()
    }

    fn understand(&mut self, heard: Heard<Ask>, now: Time) -> Option<MeterSays> {
        match heard {
            Heard::Answer(ask, line) => self.answer(ask, &line).unwrap_or_else(|_misfit| {
                self.session.misfit(now);
                None
            }),
            Heard::Missed(_) => None,
            Heard::InStep(identity) => {
                // After a restart it may stand on any function: it is told its range again.
                self.range = None;
                self.session.forget(|waiting| matches!(waiting.question, Some(Ask::Read(_))));
                if self.driver.words.next_error.is_some() {
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
                let QueueEntry::Error(_, text) = reply::queue_entry(line)? else { return Ok(None) };
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
        let sample = reply::number(line, self.unit())?;
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
                amperes(value * conductance(sense.resistance, &self.driver.ability))
            }
        }
    }

    /// The abilities as planning needs them.
    #[must_use]
    pub fn facts(&self) -> &MeterFacts {
        &self.facts
    }

    /// How often the line had to be brought back into step.
    #[must_use]
    pub fn resyncs(&self) -> u32 {
        self.session.resyncs()
    }
}

/// Conductance of the sense resistor with the meter's input beside it, S.
fn conductance(resistance: Resistance, ability: &MeterAbility) -> f64 {
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
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::seconds;
    use crate::station::driver::{SHIPPED, read_meter};

    fn meter(sensed_by: SensedBy) -> Meter {
        let driver = read_meter(SHIPPED[1].0, SHIPPED[1].1).unwrap();
        let mut meter = Meter::open(driver, sensed_by, seconds(0.0));
        expect(&mut meter, "*IDN?");
        meter.receive(b"MAKER,METER,1,1\n", seconds(0.1));
        answer(&mut meter, "SYST:ERR?", "0");
        meter.select(RangeIndex(1));
        meter
    }

    #[track_caller]
    fn expect(meter: &mut Meter, line: &str) {
        let bytes = meter.write(seconds(0.1)).map(|bytes| String::from_utf8(bytes).unwrap());
        assert_eq!(bytes.as_deref().map(str::trim), Some(line));
    }

    #[track_caller]
    fn answer(meter: &mut Meter, question: &str, reply: &str) -> Vec<MeterSays> {
        expect(meter, question);
        meter.receive(format!("{reply}\n").as_bytes(), seconds(0.1))
    }

    fn across(ohm: f64) -> SensedBy {
        SensedBy::Resistor(Sense { resistance: ohms(ohm), tolerance: 0.001 })
    }

    // Handbook §3.3: leaving out 10 MΩ costs 0.01 % at 1 kΩ, 1 % at 100 kΩ, 9 % at 1 MΩ. What is
    // known to 2 % costs a fiftieth of that.
    #[rstest]
    #[case::one_kilohm(1e3, 1e-4)]
    #[case::hundred_kilohms(1e5, 0.99e-2)]
    #[case::one_megohm(1e6, 9.09e-2)]
    fn the_input_resistance_counts_by_its_share(#[case] ohm: f64, #[case] share: f64) {
        let mut ability = read_meter(SHIPPED[1].0, SHIPPED[1].1).unwrap().ability;
        let known = conversion(&ability, across(ohm));
        assert!((known.input / (share * 0.02) - 1.0).abs() < 2e-3, "{known:?}");
        assert!((known.resistor - (1.0 - share) * 0.001).abs() < 1e-6, "{known:?}");
        ability.input_resistance = None;
        let unknown = conversion(&ability, across(ohm));
        // Not corrected for, it is wrong by R_s/R_in.
        assert!((unknown.input / (ohm / 10e6) - 1.0).abs() < 1e-9, "{unknown:?}");
    }

    #[test]
    fn a_shunt_has_its_error_in_its_ranges_alone() {
        let ability = read_meter(SHIPPED[1].0, SHIPPED[1].1).unwrap().ability;
        assert_eq!(conversion(&ability, SensedBy::Shunt), Conversion::default());
    }

    fn on_shunt() -> Meter {
        let mut meter = meter(SensedBy::Shunt);
        expect(&mut meter, "CONF:CURR:DC 1E-4");
        expect(&mut meter, "CURR:DC:NPLC 5");
        assert_eq!(answer(&mut meter, "CURR:DC:RANG?", "1.0E-04"), []);
        meter
    }

    #[test]
    fn a_reading_counts_on_the_range_that_was_read_back() {
        let says = answer(&mut on_shunt(), "READ?", "+1.234E-06");
        let sample = Sample::Value(amperes(1.234e-6));
        assert_eq!(says, [MeterSays::Current(sample, RangeIndex(1))]);
    }

    #[test]
    fn the_reading_under_way_at_a_range_change_counts_on_the_old_range() {
        let mut meter = on_shunt();
        expect(&mut meter, "READ?");
        meter.select(RangeIndex(3));
        let says = meter.receive(b"-9.9E37\n", seconds(0.1));
        let overload = Sample::Overload { negative: true };
        assert_eq!(says, [MeterSays::Current(overload, RangeIndex(1))]);
        expect(&mut meter, "CONF:CURR:DC 1E-2");
    }

    #[test]
    fn a_meter_that_restarted_is_not_read_before_it_has_its_range_again() {
        let mut meter = on_shunt();
        meter.session.say(Outgoing::asking("READ?".into(), Ask::Read(meter.wanted)));
        meter.receive(b"READY\n", seconds(0.2));
        assert_eq!(meter.write(seconds(2.5)), Some(b"*IDN?\n".to_vec()));
        meter.receive(b"MAKER,METER,1,1\n", seconds(2.5));
        assert_eq!(meter.write(seconds(2.5)), Some(b"SYST:ERR?\n".to_vec()));
        meter.receive(b"0\n", seconds(2.5));
        assert_eq!(meter.write(seconds(2.5)), Some(b"CONF:CURR:DC 1E-4\n".to_vec()));
    }

    #[test]
    fn a_range_that_was_not_taken_is_told() {
        let mut meter = meter(SensedBy::Shunt);
        expect(&mut meter, "CONF:CURR:DC 1E-4");
        expect(&mut meter, "CURR:DC:NPLC 5");
        let says = answer(&mut meter, "CURR:DC:RANG?", "1.0E-01");
        assert!(matches!(&says[..], [MeterSays::Disturbed(what)] if what.contains("0.0001 A")));
    }

    #[test]
    fn the_end_of_a_range_is_an_overload_and_so_is_a_number_beyond() {
        for reply in ["9.96E-05", "9.9E37", "9.9E+03"] {
            let says = answer(&mut on_shunt(), "READ?", reply);
            let overload = Sample::Overload { negative: false };
            assert_eq!(says, [MeterSays::Current(overload, RangeIndex(1))], "{reply}");
        }
    }

    #[test]
    fn volts_across_a_resistor_become_a_current_with_the_input_beside_it() {
        // 1 mV across 1 MΩ with 10 MΩ beside it: 1 nA + 0.1 nA (handbook §3.3).
        let mut meter = meter(across(1e6));
        expect(&mut meter, "CONF:VOLT:DC 1E0");
        expect(&mut meter, "VOLT:DC:NPLC 5");
        answer(&mut meter, "VOLT:DC:RANG?", "1.0");
        let says = answer(&mut meter, "READ?", "0.001");
        let [MeterSays::Current(Sample::Value(current), _)] = says[..] else { panic!("{says:?}") };
        assert!((current.value - 1.1e-9).abs() < 1e-15, "{current:?}");
    }

    #[test]
    fn an_amperes_suffix_on_a_voltage_range_is_not_taken() {
        let mut meter = meter(across(1e6));
        expect(&mut meter, "CONF:VOLT:DC 1E0");
        expect(&mut meter, "VOLT:DC:NPLC 5");
        assert_eq!(answer(&mut meter, "VOLT:DC:RANG?", "1.0 A"), []);
        assert_eq!(meter.resyncs(), 1);
    }

    #[test]
    fn after_a_restart_the_range_is_told_again() {
        let mut meter = on_shunt();
        expect(&mut meter, "READ?");
        meter.pass(seconds(5.0));
        assert!(meter.write(seconds(8.0)).is_some());
        meter.receive(b"MAKER,METER,1,1\n", seconds(8.1));
        let mut line = || String::from_utf8(meter.write(seconds(8.2)).unwrap()).unwrap();
        assert_eq!(line(), "SYST:ERR?\n");
        meter.receive(b"0\n", seconds(8.2));
        assert_eq!(meter.write(seconds(8.3)), Some(b"CONF:CURR:DC 1E-4\n".to_vec()));
    }
}
