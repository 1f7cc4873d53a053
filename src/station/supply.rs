//! A supply on its line: orders and questions in its own words, answers checked and typed.
//!
//! Still without the line: [`Supply`] gives bytes to write and takes bytes that came. Absolute
//! orders only; settings are read back as a group before the output may go on and again at
//! intervals; "on" is said once and never repeated.

use super::driver::{SupplyDriver, SupplyWords};
use super::reply::{self, QueueEntry, ReplyError, Unit};
use super::session::{Heard, Outgoing, Session};
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
    /// Drain the error queue; the count of entries so far.
    Error(u8),
    Voltage,
    Output,
    Check(Setting, Purpose),
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
    /// The output is to sink once the set-point is read back as 0 V.
    sinking: bool,
    checks: u32,
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
        let session = Session::open(driver.line.timing(), &driver.words.identity, now);
        Self {
            session,
            driver,
            pace,
            set: volts(0.0),
            armed: None,
            said_off: false,
            proven: false,
            sinking: false,
            checks: 0,
            asked_voltage: now,
            asked_output: now,
            asked_setting: now,
        }
    }

    /// The bytes of output-off, to be written at once. Forgets everything that was to be said.
    ///
    /// None while the question is open whether an earlier one took effect: a second one over it
    /// would only cost the answer. The question has a deadline, and "on" was not said since. A
    /// second one keeps the gap and needs no end mark before it: the first may have been lost
    /// because a supply that needs a gap takes the end mark for a line.
    pub fn cut_out(&mut self, now: Time) -> Option<Vec<u8>> {
        if self.said_off && self.session.awaits_answer() {
            return None;
        }
        if self.said_off && self.session.is_quiet() {
            let words = self.driver.words.output_off.clone();
            self.session.forget(|outgoing| outgoing.words == words);
            self.session.say_first(Outgoing { words, question: None });
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
        self.order_voltage(volts(0.0));
        let words = &self.driver.words;
        let orders = [
            with_number(&words.set_over_voltage, settings.over_voltage.value, self.volt_step()),
            with_number(&words.set_over_current, settings.over_current.value, self.ampere_step()),
            with_number(&words.set_current_limit, settings.current_limit.value, self.ampere_step()),
        ];
        for words in orders {
            self.session.say(Outgoing { words, question: None });
        }
        self.armed = Some(settings);
        self.drain_errors();
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
        let words = self.driver.words.output_on.clone();
        self.session.say(Outgoing { words, question: None });
        self.ask(Ask::Output);
    }

    /// Proves the set-point to be 0 V and then switches on.
    pub fn sink_at_zero(&mut self) {
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
        let words = with_number(&self.driver.words.set_voltage, voltage.value, self.volt_step());
        self.session.say(Outgoing { words, question: None });
    }

    fn volt_step(&self) -> f64 {
        self.driver.ability.voltage_step.value
    }

    fn ampere_step(&self) -> f64 {
        self.driver.ability.current_step.value
    }

    fn drain_errors(&mut self) {
        if self.driver.words.next_error.is_some() {
            self.ask(Ask::Error(0));
        }
    }

    fn check(&mut self, setting: Setting, purpose: Purpose) {
        self.ask(Ask::Check(setting, purpose));
    }

    fn ask(&mut self, ask: Ask) {
        let words = words_of(&self.driver.words, ask);
        self.session.say(Outgoing { words, question: Some(ask) });
    }

    /// What is to be written at `now`; asks what is due when nothing else waits.
    pub fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        if self.session.is_idle() {
            self.ask_what_is_due(now);
        }
        self.session.write(now)
    }

    fn ask_what_is_due(&mut self, now: Time) {
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
                    self.again(ask)
                }
            },
            Heard::Missed(ask) => self.again(ask),
            Heard::InStep(identity) => {
                // After a restart its settings are not ours: look at them first.
                self.drain_errors();
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
    fn again(&mut self, ask: Ask) -> Vec<SupplySays> {
        if matches!(ask, Ask::Check(_, Purpose::Arm | Purpose::Sink)) {
            // Ahead of the rest of the group: its last answer arms, and "on" may wait behind it.
            let words = words_of(&self.driver.words, ask);
            self.session.say_first(Outgoing { words, question: Some(ask) });
        }
        Vec::new()
    }

    fn answer(&mut self, ask: Ask, line: &[u8]) -> Result<Option<SupplySays>, ReplyError> {
        match ask {
            Ask::Voltage => {
                let sample = reply::number(line, Unit::Volt)?;
                Ok(Some(SupplySays::Voltage(self.plausible(sample))))
            }
            Ask::Output => Ok(Some(SupplySays::Output(reply::output_state(line)))),
            Ask::Error(count) => self.queue_entry(count, line),
            Ask::Check(setting, purpose) => self.checked(setting, purpose, line),
        }
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

    fn queue_entry(&mut self, count: u8, line: &[u8]) -> Result<Option<SupplySays>, ReplyError> {
        let QueueEntry::Error(_, text) = reply::queue_entry(line)? else { return Ok(None) };
        if count < QUEUE_CAP {
            self.ask(Ask::Error(count + 1));
        }
        if self.armed.is_some() {
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
        let got = reply::number(line, unit)?;
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

    /// How often the line had to be brought back into step.
    #[must_use]
    pub fn resyncs(&self) -> u32 {
        self.session.resyncs()
    }
}

fn words_of(words: &SupplyWords, ask: Ask) -> String {
    match ask {
        Ask::Error(_) => words.next_error.clone().unwrap_or_default(),
        Ask::Voltage => words.measure_voltage.clone(),
        Ask::Output => words.ask_output.clone(),
        Ask::Check(Setting::Voltage(_), _) => words.ask_set_voltage.clone(),
        Ask::Check(Setting::CurrentLimit(_), _) => words.ask_current_limit.clone(),
        Ask::Check(Setting::OverVoltage(_), _) => words.ask_over_voltage.clone(),
        Ask::Check(Setting::OverCurrent(_), _) => words.ask_over_current.clone(),
    }
}

/// Puts a number into an order's words, with as many decimals as its step has.
fn with_number(words: &str, value: f64, step: f64) -> String {
    let decimals = (0..9).find(|decimals| {
        let scaled = step * 10_f64.powi(*decimals);
        (scaled - scaled.round()).abs() < 1e-6 && 0.5 < scaled
    });
    let decimals = usize::try_from(decimals.unwrap_or(9)).unwrap_or(9);
    words.replacen("{}", &format!("{value:.decimals$}"), 1)
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::amperes;
    use crate::station::driver::{SHIPPED, read_supply};

    fn supply() -> Supply {
        let driver = read_supply(SHIPPED[0].0, SHIPPED[0].1).unwrap();
        let mut supply = Supply::open(driver, SupplyPace::at_lapse(1.0), seconds(0.0));
        assert_eq!(supply.write(seconds(0.1)), Some(b"*IDN?\n".to_vec()));
        let says = supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(0.1));
        assert_eq!(says, [SupplySays::Identity("MAKER,SUPPLY,1,1".into())]);
        assert_eq!(answer(&mut supply, "SYST:ERR?", "0,\"\""), []);
        supply
    }

    /// Asserts that the next line is `line`.
    #[track_caller]
    fn expect(supply: &mut Supply, line: &str) {
        let bytes = supply.write(seconds(0.1)).map(|bytes| String::from_utf8(bytes).unwrap());
        assert_eq!(bytes.as_deref().map(str::trim), Some(line));
    }

    #[track_caller]
    fn answer(supply: &mut Supply, question: &str, reply: &str) -> Vec<SupplySays> {
        expect(supply, question);
        supply.receive(format!("{reply}\n").as_bytes(), seconds(0.1))
    }

    fn settings() -> Settings {
        Settings {
            current_limit: amperes(0.0075),
            over_voltage: volts(26.75),
            over_current: amperes(0.02),
        }
    }

    #[track_caller]
    fn set(supply: &mut Supply) {
        supply.arm(settings());
        for line in ["VOLT 0.00", "VOLT:PROT 26.75", "CURR:PROT 0.0200", "CURR 0.0075"] {
            expect(supply, line);
        }
        assert_eq!(answer(supply, "SYST:ERR?", "+0,\"No error\""), []);
    }

    /// A supply whose settings are made and read back.
    fn armed() -> Supply {
        let mut supply = supply();
        set(&mut supply);
        for (question, reply) in
            [("VOLT?", "0"), ("CURR?", "0.0075"), ("VOLT:PROT?", "26.75"), ("CURR:PROT?", "0.02")]
        {
            answer(&mut supply, question, reply);
        }
        supply
    }

    #[test]
    fn settings_are_made_and_read_back_as_a_group() {
        let mut supply = supply();
        set(&mut supply);
        assert_eq!(answer(&mut supply, "VOLT?", "0.00"), []);
        assert_eq!(answer(&mut supply, "CURR?", "7.5E-03"), []);
        assert_eq!(answer(&mut supply, "VOLT:PROT?", "26.75"), []);
        assert_eq!(answer(&mut supply, "CURR:PROT?", "0.02A"), [SupplySays::Armed]);
    }

    #[rstest]
    #[case::voltage_that_stayed("60.00", "7.5E-03", "26.75", "voltage: asked 0 V")]
    #[case::current_limit_that_was_lost("0", "1.000", "26.75", "current limit: asked 0.0075 A")]
    #[case::protection_that_moved("0", "0.0075", "75.0", "over-voltage protection: asked 26.75 V")]
    fn a_setting_that_was_not_taken_is_refused(
        #[case] voltage: &str,
        #[case] current: &str,
        #[case] protection: &str,
        #[case] message: &str,
    ) {
        let mut supply = supply();
        set(&mut supply);
        let mut says = answer(&mut supply, "VOLT?", voltage);
        says.extend(answer(&mut supply, "CURR?", current));
        says.extend(answer(&mut supply, "VOLT:PROT?", protection));
        assert!(
            matches!(&says[..], [SupplySays::Refused(what)] if what.contains(message)),
            "{says:?}"
        );
    }

    #[test]
    fn an_error_after_a_setting_is_a_refusal() {
        let mut supply = supply();
        supply.arm(settings());
        for _ in 0..4 {
            supply.write(seconds(0.1));
        }
        let says = answer(&mut supply, "SYST:ERR?", "-222,\"Data out of range\"");
        assert!(
            matches!(&says[..], [SupplySays::Refused(what)] if what.contains("-222")),
            "{says:?}"
        );
    }

    #[test]
    fn a_cut_out_forgets_the_settings_that_wait() {
        let mut supply = supply();
        supply.arm(settings());
        supply.write(seconds(0.1));
        assert_eq!(supply.cut_out(seconds(0.1)), Some(b"\nOUTP OFF\n".to_vec()));
        expect(&mut supply, "OUTP?");
    }

    #[test]
    fn a_repeated_cut_out_does_not_cost_the_answer_that_would_prove_it() {
        let mut supply = supply();
        assert!(supply.cut_out(seconds(0.1)).is_some());
        expect(&mut supply, "OUTP?");
        assert_eq!(supply.cut_out(seconds(0.4)), None);
        supply.pass(seconds(1.2));
        assert!(supply.cut_out(seconds(1.3)).is_some(), "the deadline is over");
    }

    #[test]
    fn a_second_cut_out_is_said_without_the_end_mark_that_may_have_swallowed_the_first() {
        let mut supply = supply();
        assert!(supply.cut_out(seconds(0.1)).is_some());
        answer(&mut supply, "OUTP?", "1");
        assert_eq!(supply.cut_out(seconds(0.4)), None);
        expect(&mut supply, "OUTP OFF");
    }

    #[test]
    fn a_cut_out_stops_a_supply_that_is_about_to_sink() {
        let mut supply = supply();
        supply.cut_out(seconds(0.1));
        supply.sink_at_zero();
        expect(&mut supply, "VOLT 0.00");
        expect(&mut supply, "VOLT?");
        assert!(supply.cut_out(seconds(0.2)).is_some());
        supply.receive(b"0.00\n", seconds(0.2));
        assert_eq!(supply.write(seconds(0.3)), None, "on must not follow");
    }

    #[test]
    fn a_cut_out_after_on_was_said_is_never_held_back() {
        let mut supply = armed();
        supply.switch_on();
        expect(&mut supply, "OUTP ON");
        expect(&mut supply, "OUTP?");
        assert!(supply.cut_out(seconds(0.2)).is_some());
    }

    #[test]
    fn the_output_state_is_asked_right_after_a_cut_out() {
        let mut supply = supply();
        supply.cut_out(seconds(0.1));
        let says = answer(&mut supply, "OUTP?", "0");
        assert_eq!(says, [SupplySays::Output(OutputState::Off)]);
        let says = answer(&mut supply, "MEAS:VOLT?", "24.98");
        assert_eq!(says, [SupplySays::Voltage(Sample::Value(volts(24.98)))]);
    }

    #[test]
    fn a_reply_that_does_not_fit_is_not_taken() {
        let mut supply = supply();
        supply.cut_out(seconds(0.1));
        answer(&mut supply, "OUTP?", "0");
        assert_eq!(answer(&mut supply, "MEAS:VOLT?", "0**ERR -108"), []);
        assert_eq!((supply.write(seconds(0.2)), supply.resyncs()), (None, 1));
    }

    #[test]
    fn a_voltage_that_the_supply_cannot_give_is_no_reading() {
        let mut supply = supply();
        supply.cut_out(seconds(0.1));
        answer(&mut supply, "OUTP?", "0");
        let says = answer(&mut supply, "MEAS:VOLT?", "9.900E+03");
        assert_eq!(says, [SupplySays::Voltage(Sample::Overload { negative: false })]);
    }

    #[test]
    fn sinking_switches_on_only_at_a_proven_zero() {
        let mut supply = supply();
        supply.sink_at_zero();
        expect(&mut supply, "VOLT 0.00");
        let says = answer(&mut supply, "VOLT?", "25.0");
        assert!(matches!(&says[..], [SupplySays::Refused(_)]), "{says:?}");
        supply.sink_at_zero();
        expect(&mut supply, "VOLT 0.00");
        answer(&mut supply, "VOLT?", "0.0");
        expect(&mut supply, "OUTP ON");
    }

    #[rstest]
    #[case::garbled(Some("7.5E-0"))]
    #[case::silent(None)]
    fn a_read_back_that_did_not_come_is_waited_for_before_the_supply_is_armed(
        #[case] reply: Option<&str>,
    ) {
        let mut supply = supply();
        set(&mut supply);
        answer(&mut supply, "VOLT?", "0.00");
        let lost = if let Some(reply) = reply {
            answer(&mut supply, "CURR?", &format!("{reply}??"))
        } else {
            expect(&mut supply, "CURR?");
            supply.pass(seconds(1.2))
        };
        assert_eq!(lost, []);
        assert_eq!(supply.write(seconds(2.5)), Some(b"*IDN?\n".to_vec()));
        supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(2.5));
        let next = supply.write(seconds(2.5));
        assert_eq!(next, Some(b"CURR?\n".to_vec()), "the current limit is not proven yet");
    }

    #[test]
    fn on_is_not_said_after_a_cut_out() {
        let mut supply = armed();
        supply.cut_out(seconds(0.1));
        supply.switch_on();
        expect(&mut supply, "OUTP?");
    }

    #[test]
    fn a_slow_supply_still_shows_every_setting_that_is_watched() {
        let mut supply = armed();
        let mut asked = Vec::new();
        // A fifth of a second for every answer: the voltage is due again each time.
        for fifth in 1..400 {
            let now = seconds(0.1 + 0.2 * f64::from(fifth));
            let Some(words) = supply.write(now) else { continue };
            let reply: &[u8] = match &words[..] {
                b"CURR?\n" => b"0.0075\n",
                b"VOLT:PROT?\n" => b"26.75\n",
                b"CURR:PROT?\n" => b"0.02\n",
                _ => b"0\n",
            };
            supply.receive(reply, now);
            asked.push(String::from_utf8(words).unwrap());
        }
        for setting in ["VOLT?\n", "CURR?\n", "VOLT:PROT?\n", "CURR:PROT?\n"] {
            assert!(asked.iter().any(|words| words == setting), "{setting:?} never asked");
        }
    }

    #[test]
    fn a_supply_that_comes_back_shows_all_its_settings_first() {
        let mut supply = armed();
        supply.receive(b"READY\n", seconds(0.2));
        assert_eq!(supply.write(seconds(1.5)), Some(b"*IDN?\n".to_vec()));
        supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(1.5));
        assert_eq!(supply.write(seconds(1.5)), Some(b"SYST:ERR?\n".to_vec()));
        supply.receive(b"0,\"\"\n", seconds(1.5));
        assert_eq!(supply.write(seconds(1.5)), Some(b"CURR?\n".to_vec()));
        let says = supply.receive(b"3.0\n", seconds(1.5));
        assert!(matches!(&says[..], [SupplySays::Disturbed(_)]), "{says:?}");
    }

    #[rstest]
    #[case(25.0, 0.01, "VOLT 25.00")]
    #[case(25.0, 0.02, "VOLT 25.00")]
    #[case(0.0075, 0.0001, "VOLT 0.0075")]
    #[case(5.0, 1.0, "VOLT 5")]
    #[case(2.5, 0.5, "VOLT 2.5")]
    fn a_number_has_the_decimals_of_its_step(
        #[case] value: f64,
        #[case] step: f64,
        #[case] words: &str,
    ) {
        assert_eq!(with_number("VOLT {}", value, step), words);
    }
}
