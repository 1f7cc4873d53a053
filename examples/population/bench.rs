//! The bench while a run goes on: it obeys orders, moves time on and says what the instruments say.

use std::sync::Arc;

use arrayvec::ArrayVec;
use reststrom::plan::{Bleeder, OutputState, Plan, RangeIndex, Sample};
use reststrom::procedure::{Input, Order, Switch};
use reststrom::quantity::{amperes, volts};

use crate::circuit::{Drive, Held, Load, OPEN};
use crate::dice::Dice;
use crate::faults::EventKind;
use crate::specimen::Specimen;
use crate::station::Station;

/// Steps of a reading's time while the part charges.
const FINE: u32 = 8;
/// A part this far (of the test voltage) from where it is driven is charging.
const CHARGING: f64 = 2e-3;
/// The part's own clock starts a little before that of its limit (99 %, handbook §1.5): one that
/// is held at 98 % by a resistor re-forms as well.
const FULL: f64 = 0.95;
/// Ripple of a rectified supply, Hz.
const RIPPLE: f64 = 100.0;

/// The bench of one run.
pub(crate) struct Bench<'a> {
    specimen: &'a Specimen,
    station: &'a Station,
    plan: Arc<Plan>,
    dice: Dice,
    /// Time of the run, s.
    pub(crate) time: f64,
    held: Held,
    output: bool,
    set: f64,
    bleeding: bool,
    range: RangeIndex,
    paused_until: f64,
    own_pause_at: f64,
    supply_off: f64,
    next_step: f64,
    armed_since: Option<f64>,
    full_since: Option<f64>,
    next_event: usize,
    scar: f64,
    terminals: f64,
    /// Mean current of the newest reading's time, A.
    current: f64,
}

impl<'a> Bench<'a> {
    /// A bench with the part in its clip, everything off and empty.
    pub(crate) fn new(
        specimen: &'a Specimen,
        station: &'a Station,
        plan: Arc<Plan>,
        mut dice: Dice,
    ) -> Self {
        let truth = &station.truth;
        let next_step = dice.wait(truth.steps.0);
        let own_pause_at = truth.own_pause * dice.share();
        let range = plan.meter.surge;
        Self {
            specimen,
            station,
            plan,
            dice,
            time: 0.0,
            held: Held::default(),
            output: false,
            set: 0.0,
            bleeding: matches!(station.facts.bleeder, Bleeder::Fitted(_)),
            range,
            paused_until: 0.0,
            own_pause_at,
            supply_off: truth.setting,
            next_step,
            armed_since: None,
            full_since: None,
            next_event: 0,
            scar: 1.0,
            terminals: 0.0,
            current: 0.0,
        }
    }

    /// True voltage at the part, V.
    pub(crate) fn part_voltage(&self) -> f64 {
        self.held.volt
    }

    /// The part in the clip.
    pub(crate) fn specimen(&self) -> &Specimen {
        self.specimen
    }

    /// Whether the clip has come off for good.
    fn is_off(&self) -> bool {
        self.specimen.comes_off_at <= self.time
    }

    /// Obeys an order; gives the answer if it has one.
    pub(crate) fn obey(&mut self, order: Order) -> Option<Input> {
        match order {
            Order::CutOut => {
                self.output = false;
                return Some(Input::Output(OutputState::Off));
            }
            Order::Bleeder(switch) => {
                self.bleeding = match self.station.facts.bleeder {
                    Bleeder::Relay(_) => switch == Switch::On,
                    Bleeder::Fitted(_) => true,
                    Bleeder::SupplySinks => false,
                };
            }
            Order::Bypass(_) => {}
            Order::Arm => {
                self.set = 0.0;
                return Some(Input::Armed);
            }
            Order::SwitchOn => {
                self.output = true;
                return Some(Input::Output(OutputState::On));
            }
            Order::SinkAtZero => {
                (self.output, self.set) = (true, 0.0);
                return Some(Input::Output(OutputState::On));
            }
            Order::SetVoltage(voltage) => self.set = voltage.value,
            Order::SelectRange(range) => {
                if range != self.range {
                    self.range = range;
                    let pause = self.station.truth.pause * (0.5 + 0.5 * self.dice.share());
                    self.paused_until = self.paused_until.max(self.time + pause);
                }
            }
        }
        None
    }

    /// Moves on by `span` seconds and gives what the instruments then say.
    pub(crate) fn advance(&mut self, span: f64) -> ArrayVec<Input, 2> {
        self.wander(span);
        let drive = self.drive();
        let drop = self.current * drive.ohm.min(self.path());
        let far = (drive.volt - drop - self.held.volt).abs() > self.specimen.volt * CHARGING;
        let steps = if far || self.event_is_on() { FINE } else { 1 };
        let step = span / f64::from(steps);
        let mut charge = 0.0;
        for _ in 0..steps {
            charge += self.integrate(step);
        }
        self.current = charge / span;
        let mut inputs = ArrayVec::new();
        inputs.push(self.read_voltage());
        if let Some(input) = self.read_current(self.current) {
            inputs.push(input);
        }
        inputs
    }

    /// Drift and steps of the supply.
    fn wander(&mut self, span: f64) {
        let truth = &self.station.truth;
        self.supply_off += truth.drift * span;
        if self.next_step <= self.time {
            self.supply_off += self.dice.either_way() * truth.steps.1;
            self.next_step = self.time + self.dice.wait(truth.steps.0);
        }
    }

    fn is_closed(&self) -> bool {
        let flutters =
            self.specimen.flutter.is_some_and(|(from, to)| (from..to).contains(&self.time));
        !self.is_off() && !flutters
    }

    fn path(&self) -> f64 {
        self.plan.path(self.range).value + self.specimen.esr
    }

    /// What drives the part: the supply, the bleeder, or nothing.
    fn drive(&self) -> Drive {
        let (path, most) = (self.path(), f64::INFINITY);
        let bleeder = self.station.facts.bleeder;
        let resistor = bleeder.resistance().value;
        if !self.output {
            let ohm = if self.bleeding { path + resistor } else { OPEN };
            return Drive { volt: 0.0, ohm, most };
        }
        let volt = self.set * (1.0 + self.supply_off);
        let back = (self.held.volt - volt) / path;
        let load = if self.bleeding { volt / resistor } else { 0.0 };
        match bleeder {
            // A supply of one quadrant lets go where the part would feed it.
            Bleeder::Fitted(_) if load < back => Drive { volt: 0.0, ohm: path + resistor, most },
            Bleeder::Relay(_) if 0.0 < back => Drive { volt: 0.0, ohm: OPEN, most },
            Bleeder::Fitted(_) | Bleeder::Relay(_) | Bleeder::SupplySinks => {
                let most = self.plan.supply.current_limit.value - load;
                Drive { volt, ohm: path, most }
            }
        }
    }

    /// One step of the circuit; gives the charge that the meter saw.
    fn integrate(&mut self, step: f64) -> f64 {
        self.time += step;
        let drive = self.drive();
        self.happen(step);
        let since_full = self.full_since.map_or(0.0, |since| self.time - since);
        let warmer = self.specimen.warmth.above(self.time);
        let conduction = &self.specimen.conduction;
        let (ampere, siemens) = conduction.at(self.held.volt, since_full, warmer, self.scar);
        let (ampere, siemens) = self.with_contact(ampere, siemens);
        let farad = self.specimen.farad.max(self.station.truth.stray);
        let load = Load { farad, ampere, siemens };
        let closed = self.is_closed();
        let driven = if closed { drive } else { Drive { ohm: OPEN, ..drive } };
        let charge = self.held.advance(step, &driven, load, &self.specimen.absorption);
        let (through, before) = (if closed { charge } else { 0.0 }, self.terminals);
        self.terminals = self.terminals_after(&drive, through / step);
        self.note_voltage(through / step);
        let stray = self.station.truth.stray * (self.terminals - before);
        through + self.terminals * self.station.truth.fixture * step + stray
    }

    /// Voltage at the terminals with so much flowing into the part.
    fn terminals_after(&self, drive: &Drive, current: f64) -> f64 {
        if self.output && 0.0 < drive.volt {
            return drive.volt.min(self.held.volt + drive.most * drive.ohm);
        }
        if self.bleeding {
            return -current * self.station.facts.bleeder.resistance().value;
        }
        let pulled_down = self.output && self.set <= 0.0;
        if pulled_down || !self.is_closed() { 0.0 } else { self.held.volt }
    }

    /// Clocks run from the voltage between the part's leads, its own resistance included.
    fn note_voltage(&mut self, current: f64) {
        let between_leads = self.held.volt + current * self.specimen.esr;
        let share = between_leads / self.specimen.volt;
        if self.armed_since.is_none() && self.specimen.armed_at <= share {
            self.armed_since = Some(self.time);
        }
        if self.full_since.is_none() && FULL <= share {
            self.full_since = Some(self.time);
        }
    }

    /// Lets what is due happen.
    fn happen(&mut self, step: f64) {
        let Some(since) = self.armed_since else { return };
        while let Some(event) = self.specimen.events.get(self.next_event) {
            if self.time - since < event.at + event.lasts {
                break;
            }
            self.next_event += 1;
            let coulomb = match event.kind {
                EventKind::Burst { coulomb, scar } => {
                    self.scar *= scar;
                    coulomb
                }
                // Too short for a step of its own.
                EventKind::Contact(siemens) if event.lasts < step => {
                    siemens * self.held.volt * event.lasts
                }
                EventKind::Contact(_) => 0.0,
            };
            let farad = self.specimen.farad.max(self.station.truth.stray);
            self.held.volt -= (coulomb / farad).min(self.held.volt.max(0.0));
        }
    }

    fn event_is_on(&self) -> bool {
        let Some(since) = self.armed_since else { return false };
        let event = self.specimen.events.get(self.next_event);
        event.is_some_and(|event| event.at <= self.time - since)
    }

    fn with_contact(&self, ampere: f64, siemens: f64) -> (f64, f64) {
        let event = self.specimen.events.get(self.next_event).filter(|_| self.event_is_on());
        match event.map(|event| event.kind) {
            Some(EventKind::Contact(contact)) => {
                (ampere + contact * self.held.volt, siemens + contact)
            }
            Some(EventKind::Burst { .. }) | None => (ampere, siemens),
        }
    }

    fn read_voltage(&mut self) -> Input {
        let facts = &self.station.facts.supply.read_back;
        let (share, volt) = (self.station.truth.read_back, self.terminals);
        let error = share * (facts.fraction * volt + facts.fixed.value * 0.5);
        let noise = self.dice.either_way() * facts.fixed.value * 0.05;
        Input::Voltage(Sample::Value(volts(volt + error + noise)))
    }

    /// The meter's reading of a mean current, if it gives one now.
    fn read_current(&mut self, mean: f64) -> Option<Input> {
        let truth = &self.station.truth;
        if self.own_pause_at <= self.time {
            self.own_pause_at += truth.own_pause;
            self.paused_until = self.paused_until.max(self.time + 0.7);
        }
        let noise = self.dice.normal();
        let lost = self.dice.chance(truth.lost);
        if self.time < self.paused_until || lost {
            return None;
        }
        let (facts, index) = (self.plan.meter.range(self.range), usize::from(self.range.0));
        let digit = facts.resolution.value;
        let conversion = &self.plan.meter.conversion;
        let converts = truth.resistor * conversion.resistor + truth.input * conversion.input;
        let gain = 1.0 + truth.gain * facts.accuracy.fraction + converts;
        let offset = truth.offsets[index] * facts.accuracy.fixed.value;
        let shown = mean * gain + offset + noise * truth.noise * digit + self.hum();
        let rounded = (shown / digit).round() * digit;
        let sample = if facts.full_scale.value < rounded.abs() {
            Sample::Overload { negative: rounded < 0.0 }
        } else {
            Sample::Value(amperes(rounded))
        };
        Some(Input::Current { sample, range: self.range })
    }

    /// What the meter leaves of the ripple, beating slowly with its readings.
    fn hum(&self) -> f64 {
        let truth = &self.station.truth;
        let tau = std::f64::consts::TAU;
        let farad = if self.is_closed() { self.specimen.farad } else { truth.stray };
        let impedance = self.path().hypot(1.0 / (tau * RIPPLE * farad));
        let (volt, left) = truth.ripple;
        let on = if self.output { 1.0 } else { 0.0 };
        on * volt / impedance * left * (tau * truth.beat * self.time).sin()
    }
}
