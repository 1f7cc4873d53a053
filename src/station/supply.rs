//! A supply on its line: orders and questions in its own words, answers checked and typed.
//!
//! Still without the line: [`Supply`] gives bytes to write and takes bytes that came. Absolute
//! orders only; settings are read back as a group before the output may go on and again at
//! intervals; "on" is said once and never repeated.

use super::driver::{NumberForm, SupplyDriver, SupplyReplies, SupplyWords};
use super::reply::{self, QueueEntry, ReplyError, Unit};
use super::session::{Ends, Heard, Outgoing, Session, Timing};
use crate::plan::{OutputState, Sample};
use crate::quantity::{Current, Time, Voltage, seconds, volts};

/// Entries after which an error queue that never empties is given up.
const QUEUE_CAP: u8 = 20;
/// Settings that are watched, in turn.
const WATCHED: usize = 4;

/// Settings that are made before the output goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Current limit.
    pub current_limit: Current,
    /// Over-voltage protection.
    pub over_voltage: Voltage,
    /// Over-current protection.
    pub over_current: Current,
}

/// What the supply has to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum SupplySays {
    /// Who is there.
    Identity(String),
    /// Measured voltage at its terminals.
    Voltage(Sample<Voltage>),
    /// Output state.
    Output(OutputState),
    /// All settings are made and read back.
    Armed,
    /// A setting was not taken: asked and got, in words.
    Refused(String),
    /// A setting changed without an order: expected and got, in words.
    Disturbed(String),
    /// An entry of its error queue.
    Complains(String),
    /// The line is lost, in words.
    Lost(String),
}

/// How often things are asked, in host time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupplyPace {
    /// Between two voltage readings.
    pub voltage: Time,
    /// Between two looks at the output state.
    pub output: Time,
    /// Between two looks at a setting.
    pub settings: Time,
}

/// The questions that a supply is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Ask {
    /// Drain the error queue; the count of entries so far, and what its errors are laid to.
    Error(u8, Blame),
    Voltage,
    Output,
    Check(Setting, Purpose),
}

/// What an entry of the error queue is laid to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Blame {
    /// The settings just made.
    Settings,
    /// Whatever went before: another program, a line that was lost.
    Others,
}

/// A setting and the value that it must have, in volts or amperes.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Setting {
    Voltage(f64),
    CurrentLimit(f64),
    OverVoltage(f64),
    OverCurrent(f64),
}

/// Why a setting is read back.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Purpose {
    /// Before the output goes on; the last of the group arms.
    Arm,
    /// Before the output goes on at 0 V to sink.
    Sink,
    /// At intervals: nobody may have changed it.
    Watch,
}

/// A supply on its line.
#[expect(clippy::struct_excessive_bools, reason = "independent facts, not one state")]
#[derive(Debug, Clone)]
pub struct Supply {
    session: Session<Ask>,
    driver: SupplyDriver,
    pace: SupplyPace,
    /// What has been ordered last.
    set: Voltage,
    armed: Option<Settings>,
    /// Off was the last that was said of the output.
    said_off: bool,
    /// The output may go on: the group of settings, or the zero to sink at, stands since the last
    /// cut-out.
    proven: bool,
    /// The line was lost since the settings were made: the output never goes on again, not even to
    /// sink.
    barred: bool,
    /// The output is to sink once the set-point is read back as 0 V.
    sinking: bool,
    checks: u32,
    /// The error queue has answered once: a supply without one never does.
    has_queue: bool,
    /// The last answer about the output was unclear; one alone is laid to the line.
    unclear: bool,
    /// "on" was said and no voltage measured since.
    just_on: bool,
    /// Settings to be looked at out of their turn: some measuring commands change them.
    looks_due: usize,
    /// The voltage was measured since the last of those looks, and rested: it must not go stale for
    /// them, and a step that has to wait for one comes too late for the reading that counts its charge.
    may_look: bool,
    /// A voltage was ordered since one was measured.
    moved: bool,
    asked_voltage: Time,
    asked_output: Time,
    asked_setting: Time,
}

impl SupplyPace {
    /// The pace at a bench of which `lapse` seconds pass in a second.
    #[must_use]
    pub fn at_lapse(lapse: f64) -> Self {
        let host = |bench: f64| seconds(bench / lapse);
        Self { voltage: host(0.1), output: host(1.0), settings: host(5.0) }
    }
}

impl Supply {
    /// A supply on a line that was opened at `now`.
    #[must_use]
    pub fn open(driver: SupplyDriver, pace: SupplyPace, now: Time) -> Self {
        let timing = Timing { identity: driver.replies.identity, ..driver.line.timing() };
        let session = Session::open(timing, &driver.words.identity, now);
        Self {
            session,
            driver,
            pace,
            set: volts(0.0),
            armed: None,
            said_off: false,
            proven: false,
            barred: false,
            sinking: false,
            checks: 0,
            has_queue: false,
            unclear: false,
            just_on: false,
            looks_due: 0,
            may_look: false,
            moved: false,
            asked_voltage: now,
            asked_output: now,
            asked_setting: now,
        }
    }

    /// The bytes of output-off, to be written at once. Forgets everything that was to be said.
    ///
    /// None while the question is open whether an earlier one took effect: a second one over it
    /// would only cost the answer. The question has a deadline, and "on" was not said since. None
    /// either once a drain has enough of them: a supply that answers or echoes each would keep the
    /// line from ever coming into step, and nothing could be proven. A second one keeps the gap and needs no end mark before it: the first may have been lost
    /// because a supply that needs a gap takes the end mark for a line.
    pub fn cut_out(&mut self, now: Time) -> Option<Vec<u8>> {
        let waits = self.session.awaits_answer() || self.session.has_cut_out_enough();
        if self.said_off && waits {
            return None;
        }
        if self.said_off && self.session.is_quiet() {
            let words = self.driver.words.output_off.clone();
            self.session.forget(|outgoing| outgoing.words == words);
            self.session.say_first(Outgoing::order(words));
            return None;
        }
        self.said_off = true;
        self.armed = None;
        self.proven = false;
        self.sinking = false;
        // The next questions tell whether it worked.
        self.asked_output = now - self.pace.output * 2.0;
        self.asked_voltage = now - self.pace.voltage;
        let words = self.driver.words.output_off.clone();
        Some(self.session.cut_out(&words, now))
    }

    /// Makes `settings` and 0 V, and reads them back as a group.
    pub fn arm(&mut self, settings: Settings) {
        self.said_off = false;
        self.barred = false;
        self.order_voltage(volts(0.0));
        let words = &self.driver.words;
        let orders = [
            words.set_over_voltage.write(settings.over_voltage.value, self.volt_step()),
            words.set_over_current.write(settings.over_current.value, self.ampere_step()),
            words.set_current_limit.write(settings.current_limit.value, self.ampere_step()),
        ];
        for words in orders {
            self.session.say(Outgoing::order(words));
        }
        self.armed = Some(settings);
        self.drain_errors(Blame::Settings);
        // The voltage first: a protection may follow the set-point by itself, and is read after.
        self.check(Setting::Voltage(0.0), Purpose::Arm);
        self.check(Setting::CurrentLimit(settings.current_limit.value), Purpose::Arm);
        self.check(Setting::OverVoltage(settings.over_voltage.value), Purpose::Arm);
        self.check(Setting::OverCurrent(settings.over_current.value), Purpose::Arm);
    }

    /// Says "on", once, and asks for the state; says nothing where the settings have not been
    /// proven since the last cut-out.
    pub fn switch_on(&mut self) {
        if !std::mem::take(&mut self.proven) {
            return;
        }
        self.said_off = false;
        self.just_on = true;
        let words = self.driver.words.output_on.clone();
        self.session.say(Outgoing::order(words));
        self.ask(Ask::Output);
    }

    /// Proves the set-point to be 0 V and then switches on.
    pub fn sink_at_zero(&mut self) {
        if self.barred {
            return;
        }
        // From here on a cut-out is never held back: it must stop the "on" that follows.
        self.said_off = false;
        self.sinking = true;
        self.order_voltage(volts(0.0));
        self.check(Setting::Voltage(0.0), Purpose::Sink);
    }

    /// Sets a voltage and measures it soon after.
    pub fn set_voltage(&mut self, voltage: Voltage) {
        self.order_voltage(voltage);
    }

    fn order_voltage(&mut self, voltage: Voltage) {
        self.set = voltage;
        self.moved = true;
        let words = self.driver.words.set_voltage.write(voltage.value, self.volt_step());
        self.session.say(Outgoing::order(words));
    }

    fn volt_step(&self) -> f64 {
        self.driver.ability.voltage_step.value
    }

    fn ampere_step(&self) -> f64 {
        self.driver.ability.current_step.value
    }

    fn drain_errors(&mut self, blame: Blame) {
        if self.driver.words.next_error.is_some() {
            self.ask(Ask::Error(0, blame));
        }
    }

    /// Whether it is known who is there and whether there is an error queue.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        self.session.is_idle() || self.session.is_lost()
    }

    fn check(&mut self, setting: Setting, purpose: Purpose) {
        self.ask(Ask::Check(setting, purpose));
    }

    fn ask(&mut self, ask: Ask) {
        self.session.say(outgoing(&self.driver, ask));
    }

    /// What is to be written at `now`; asks what is due when nothing else waits.
    pub fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        if self.session.is_idle() {
            self.ask_what_is_due(now);
        }
        self.session.write(now)
    }

    fn ask_what_is_due(&mut self, now: Time) {
        if 0 < self.looks_due && std::mem::take(&mut self.may_look) {
            self.looks_due -= 1;
            return self.watch_next_setting();
        }
        // What waits longest for its turn goes first, so that a slow supply starves none.
        let output = (now - self.asked_output) / self.pace.output;
        let voltage = (now - self.asked_voltage) / self.pace.voltage;
        let setting = (now - self.asked_setting) / self.pace.settings;
        let most = output.max(voltage).max(setting);
        if most.value < 1.0 {
            return;
        }
        if output == most {
            self.asked_output = now;
            self.ask(Ask::Output);
        } else if voltage == most {
            self.asked_voltage = now;
            self.ask(Ask::Voltage);
        } else {
            self.asked_setting = now;
            self.watch_next_setting();
        }
    }

    fn watch_next_setting(&mut self) {
        let Some(settings) = self.armed else { return };
        let watched: [_; WATCHED] = [
            Setting::CurrentLimit(settings.current_limit.value),
            Setting::OverVoltage(settings.over_voltage.value),
            Setting::Voltage(self.set.value),
            Setting::OverCurrent(settings.over_current.value),
        ];
        let next = watched[usize::try_from(self.checks).unwrap_or_default() % watched.len()];
        self.checks = self.checks.wrapping_add(1);
        self.check(next, Purpose::Watch);
    }

    /// The next moment at which this supply has something to do.
    #[must_use]
    pub fn wakes_at(&self) -> Option<Time> {
        if !self.session.is_idle() {
            return self.session.wakes_at();
        }
        let output = self.asked_output + self.pace.output;
        let voltage = self.asked_voltage + self.pace.voltage;
        Some(output.min(voltage))
    }

    /// Takes bytes that came at `now`.
    pub fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<SupplySays> {
        let heard = self.session.receive(bytes, now);
        heard.into_iter().flat_map(|heard| self.understand(heard, now)).collect()
    }

    /// Time has passed.
    pub fn pass(&mut self, now: Time) -> Vec<SupplySays> {
        let heard = self.session.pass(now);
        heard.into_iter().flat_map(|heard| self.understand(heard, now)).collect()
    }

    fn understand(&mut self, heard: Heard<Ask>, now: Time) -> Vec<SupplySays> {
        match heard {
            Heard::Answer(ask, line) => match self.answer(ask, &line) {
                Ok(says) => says.into_iter().collect(),
                Err(_misfit) => {
                    self.session.misfit(now);
                    self.again(ask, now)
                }
            },
            Heard::Missed(ask) => self.again(ask, now),
            Heard::InStep(identity) => {
                // After a restart its settings are not ours: look at them first.
                self.drain_errors(Blame::Others);
                for _ in 0..WATCHED {
                    self.watch_next_setting();
                }
                vec![SupplySays::Identity(identity)]
            }
            Heard::Lost(why) => vec![SupplySays::Lost(why)],
        }
    }

    /// A question without a trusted answer: a read-back of a group is asked again, the rest comes
    /// round by itself.
    fn again(&mut self, ask: Ask, now: Time) -> Vec<SupplySays> {
        match ask {
            // Ahead of the rest of the group: its last answer arms, and "on" may wait behind it.
            Ask::Check(_, Purpose::Arm | Purpose::Sink) => {
                self.session.say_first(outgoing(&self.driver, ask));
            }
            Ask::Output => self.asked_output = now - self.pace.output * 2.0,
            Ask::Error(..) if !self.has_queue => {
                // Asked for ever, it would keep the line out of step for ever.
                self.driver.words.next_error = None;
                let what = "the error queue does not answer: settings are read back all the same";
                return vec![SupplySays::Complains(what.into())];
            }
            Ask::Error(..) | Ask::Voltage | Ask::Check(_, Purpose::Watch) => {}
        }
        Vec::new()
    }

    fn answer(&mut self, ask: Ask, line: &[u8]) -> Result<Option<SupplySays>, ReplyError> {
        match ask {
            Ask::Voltage => {
                let sample = self.driver.replies.measure_voltage.read(line, Unit::Volt)?;
                self.may_look = !std::mem::take(&mut self.moved);
                if std::mem::take(&mut self.just_on) {
                    self.looks_due = WATCHED;
                }
                Ok(Some(SupplySays::Voltage(self.plausible(sample))))
            }
            Ask::Output => self.output_told(line),
            Ask::Error(count, blame) => self.queue_entry(count, blame, line),
            Ask::Check(setting, purpose) => self.checked(setting, purpose, line),
        }
    }

    /// An unclear answer may be the line's doing: asked again once, then it is what the supply says.
    fn output_told(&mut self, line: &[u8]) -> Result<Option<SupplySays>, ReplyError> {
        let state = self.driver.replies.output.read(line);
        if state == OutputState::Unknown && !std::mem::replace(&mut self.unclear, true) {
            let got = reply::readable(line);
            return Err(ReplyError { expected: "an output state", got });
        }
        self.unclear = state == OutputState::Unknown;
        Ok(Some(SupplySays::Output(state)))
    }

    /// A voltage beyond 1.2 times what the supply can give is no reading.
    fn plausible(&self, sample: Sample<f64>) -> Sample<Voltage> {
        match sample {
            Sample::Value(value) if value.abs() <= self.driver.ability.most_voltage.value * 1.2 => {
                Sample::Value(volts(value))
            }
            Sample::Value(value) => Sample::Overload { negative: value < 0.0 },
            Sample::Overload { negative } => Sample::Overload { negative },
            Sample::NotANumber => Sample::NotANumber,
        }
    }

    fn queue_entry(
        &mut self,
        count: u8,
        blame: Blame,
        line: &[u8],
    ) -> Result<Option<SupplySays>, ReplyError> {
        let entry = reply::queue_entry(line)?;
        self.has_queue = true;
        let QueueEntry::Error(_, text) = entry else { return Ok(None) };
        if count < QUEUE_CAP {
            self.ask(Ask::Error(count + 1, blame));
        }
        if blame == Blame::Settings {
            let what = format!("the supply refused a setting: {text}");
            return Ok(Some(SupplySays::Refused(what)));
        }
        Ok(Some(SupplySays::Complains(text)))
    }

    fn checked(
        &mut self,
        setting: Setting,
        purpose: Purpose,
        line: &[u8],
    ) -> Result<Option<SupplySays>, ReplyError> {
        let (name, unit, asked, step) = self.describe(setting);
        let got = form_of(&self.driver.replies, setting).read(line, unit)?;
        let agrees = matches!(got, Sample::Value(got) if (got - asked).abs() <= step * 1.01);
        if !agrees {
            let got = reply::readable(line);
            let unit = unit.suffix();
            let what = format!("{name}: asked {asked} {unit}, the supply holds {got}");
            return Ok(Some(match purpose {
                Purpose::Watch => SupplySays::Disturbed(what),
                Purpose::Arm | Purpose::Sink => SupplySays::Refused(what),
            }));
        }
        Ok(match (purpose, setting) {
            (Purpose::Arm, Setting::OverCurrent(_)) if self.armed.is_some() => {
                self.proven = true;
                Some(SupplySays::Armed)
            }
            (Purpose::Sink, _) => {
                self.proven = std::mem::take(&mut self.sinking);
                self.switch_on();
                None
            }
            (Purpose::Arm | Purpose::Watch, _) => None,
        })
    }

    fn describe(&self, setting: Setting) -> (&'static str, Unit, f64, f64) {
        match setting {
            Setting::Voltage(value) => ("voltage", Unit::Volt, value, self.volt_step()),
            Setting::CurrentLimit(value) => {
                ("current limit", Unit::Ampere, value, self.ampere_step())
            }
            Setting::OverVoltage(value) => {
                ("over-voltage protection", Unit::Volt, value, self.volt_step())
            }
            Setting::OverCurrent(value) => {
                ("over-current protection", Unit::Ampere, value, self.ampere_step())
            }
        }
    }

    /// Whether the line was given up.
    #[must_use]
    pub fn is_lost(&self) -> bool {
        self.session.is_lost()
    }

    /// Tries a line again that was given up.
    pub fn begin_again(&mut self, now: Time) {
        self.session.begin_again(now);
    }

    /// The line was gone and is there again: who is there is asked anew, and the output stays off
    /// until everything was set and read back from the start.
    pub fn comes_back(&mut self, now: Time) {
        self.session.begin_again(now);
        self.armed = None;
        self.proven = false;
        self.sinking = false;
        self.said_off = false;
        self.barred = true;
    }

    /// How often the line had to be brought back into step.
    #[must_use]
    pub fn resyncs(&self) -> u32 {
        self.session.resyncs()
    }
}

/// A question in the driver's words, with the end that its answer has.
fn outgoing(driver: &SupplyDriver, ask: Ask) -> Outgoing<Ask> {
    let (words, replies) = (&driver.words, &driver.replies);
    let ends = match ask {
        Ask::Error(..) => Ends::Mark,
        Ask::Voltage => replies.measure_voltage.ends(),
        Ask::Output => replies.output.ends(),
        Ask::Check(setting, _) => form_of(replies, setting).ends(),
    };
    Outgoing { words: words_of(words, ask), question: Some(ask), ends }
}

fn form_of(replies: &SupplyReplies, setting: Setting) -> &NumberForm {
    match setting {
        Setting::Voltage(_) => &replies.set_voltage,
        Setting::CurrentLimit(_) => &replies.current_limit,
        Setting::OverVoltage(_) => &replies.over_voltage,
        Setting::OverCurrent(_) => &replies.over_current,
    }
}

fn words_of(words: &SupplyWords, ask: Ask) -> String {
    match ask {
        Ask::Error(..) => words.next_error.clone().unwrap_or_default(),
        Ask::Voltage => words.measure_voltage.clone(),
        Ask::Output => words.ask_output.clone(),
        Ask::Check(Setting::Voltage(_), _) => words.ask_set_voltage.clone(),
        Ask::Check(Setting::CurrentLimit(_), _) => words.ask_current_limit.clone(),
        Ask::Check(Setting::OverVoltage(_), _) => words.ask_over_voltage.clone(),
        Ask::Check(Setting::OverCurrent(_), _) => words.ask_over_current.clone(),
    }
}

#[cfg(test)]
mod echoing;
#[cfg(test)]
mod tests;
