//! The state machine of a run: inputs in, orders out. No clock, no port, no await.
//!
//! ```text
//!  idle ─► probe ─► ramp ─► charge ─► settle ─► soak ─► bleed ─► safe
//!            │        │        │         │        │      ▲  │
//!            └────────┴────────┴─────────┴────────┴──────┘  └──► locked-out
//! ```
//!
//! Every fault takes the same way: [`Order::CutOut`] is the first order of the step that sees it,
//! the first finding stands, and the run goes to `bleed`. `safe` is reached only from a measured
//! voltage; what cannot be proven ends in `locked-out`. Time is a value that comes in with each
//! input, counted from the start of the run, so a ten-hour soak is tested in microseconds.

mod bleed;
mod clip;
mod closing;
mod fixture;
mod forming;
mod outcome;
mod probe;
mod reading;
mod readings;
mod returned;
mod rise;
mod senses;
mod soak;

use std::sync::Arc;

use arrayvec::ArrayVec;

pub use forming::Formed;
pub use outcome::Outcome;

use crate::judge::{ChargeCount, Finding, Fit, Forecast, MeasuredCapacitance, Reading, Stair};
use crate::plan::{OutputState, Phase, Plan, RangeIndex, Sample, Zero};
use crate::quantity::{Current, Time, Voltage};
use bleed::Bleed;
use clip::ClipWatch;
use fixture::Fixture;
use forming::Form;
use probe::Probe;
use rise::{Charge, Ramp};
use senses::Senses;
use soak::{Settle, Soak};

/// One of the station's instruments.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Instrument {
    /// The supply.
    Supply,
    /// The meter.
    Meter,
}

/// Everything that can happen to a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Input {
    /// Time has passed.
    Tick,
    /// The meter read the current into the part.
    Current {
        /// What it read.
        sample: Sample<Current>,
        /// The range it read on.
        range: RangeIndex,
    },
    /// The supply read the voltage at its terminals.
    Voltage(Sample<Voltage>),
    /// The supply told its output state.
    Output(OutputState),
    /// The settings of [`Order::Arm`] were read back and are right.
    Armed,
    /// A setting was refused or read back wrong.
    Refused,
    /// An instrument no longer answers, or the port is gone.
    Lost(Instrument),
    /// A protection in the supply has tripped, or somebody changed its settings.
    Disturbed,
    /// The host stood still (slept, or the program was stopped).
    Stalled,
    /// A person, a signal or the record asks for the end.
    Stop,
}

/// What the station has to do, in this order, within the same step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Order {
    /// Output off: written at once, ahead of everything, and again until proven.
    CutOut,
    /// Put the bleeder across the terminals, or take it off.
    Bleeder(Switch),
    /// Bridge the series resistor, or put it back into the path.
    Bypass(Switch),
    /// Set protections, current limit and 0 V as a group, and read them back.
    Arm,
    /// Switch the output on.
    SwitchOn,
    /// Prove the set-point to be 0 V, then switch on so that the supply sinks.
    SinkAtZero,
    /// Set this voltage.
    SetVoltage(Voltage),
    /// Put the meter on this range.
    SelectRange(RangeIndex),
}

/// On or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Switch {
    /// On.
    On,
    /// Off.
    Off,
}

/// The orders of one step.
pub type Orders = ArrayVec<Order, 8>;

/// One run.
#[derive(Debug, Clone)]
pub struct Procedure {
    /// The whole run's plan.
    whole: Arc<Plan>,
    /// What is gone by now: the whole, or one step of a staircase.
    plan: Arc<Plan>,
    state: State,
    senses: Senses,
    tally: Tally,
}

/// Each state holds only its own data.
#[derive(Debug, Clone)]
enum State {
    Idle,
    Probe(Probe),
    Ramp(Ramp),
    Charge(Charge),
    Settle(Settle),
    Soak(Box<Soak>),
    Form(Box<Form>),
    Clip(ClipWatch),
    Fixture(Fixture),
    Bleed(Bleed),
    Safe,
    LockedOut { written: Time },
}

/// What the run has found out so far.
#[expect(clippy::struct_excessive_bools, reason = "independent observations, not one state")]
#[derive(Debug, Clone, Default)]
struct Tally {
    ended_by: Option<Finding>,
    full_voltage_at: Option<Time>,
    /// By how much the soak's clock runs ahead of full voltage.
    clock_ahead: Time,
    /// The meter's zero on the surge range.
    offset: Current,
    count: ChargeCount,
    counted_to: Voltage,
    high_water: Voltage,
    /// Capacitance by the charge of the probe alone.
    probed: Option<MeasuredCapacitance>,
    /// What flowed when the surge was over, the meter's zero taken off.
    leaked_early: Current,
    charge_in: bool,
    charge_out: bool,
    overfilled: bool,
    came_charged: bool,
    /// The part was taken out charged, and another clipped in.
    swapped: bool,
    reading: Option<Reading>,
    fit: Option<Fit>,
    still_falling: bool,
    bursts: u32,
    tallest_burst: Current,
    stairs: Vec<Stair>,
    formed: Option<Formed>,
    /// The watch of the clip saw a part go in.
    clipped: bool,
    /// The zero of the open fixture.
    zero: Option<Zero>,
    meter_lost: bool,
    /// The voltage fell in the soak before a current was read that would explain it.
    sagged: bool,
    /// It fell as a current was read that would explain it, but none before.
    by_a_sag: bool,
    /// Few readings say that the part gave way; what it gives back while it bleeds decides.
    by_few_readings: Option<FewReadings>,
    broke_down_at: Option<Voltage>,
}

/// What was known when one reading, or two, said that the part gave way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum FewReadings {
    /// The reading before it showed that something hung on the clips.
    OfAPart,
    /// It did not.
    OfNothing,
}

/// What a state's step leads to.
enum Step {
    Stay,
    Next(State),
    /// On to the next step of a staircase.
    Climb,
    Fault(Finding),
}

/// What a state's step may look at and write to.
struct Context<'a> {
    plan: &'a Plan,
    senses: &'a Senses,
    tally: &'a mut Tally,
    orders: &'a mut Orders,
    now: Time,
}

impl Procedure {
    /// A run by `plan`, not yet begun.
    #[must_use]
    pub fn new(plan: Arc<Plan>) -> Self {
        let senses = Senses::new(plan.meter.surge);
        let whole = plan;
        let plan = whole.stair(0).map_or_else(|| whole.clone(), Arc::new);
        Self { whole, plan, state: State::Idle, senses, tally: Tally::default() }
    }

    /// Begins the run at `now`: first orders make the bench safe and look at the part.
    pub fn start(&mut self, now: Time) -> Orders {
        let mut orders = Orders::new();
        self.senses.listen_from(now);
        self.state = State::Probe(Probe::begin(&self.plan, now, &mut orders));
        orders
    }

    /// Makes a bench safe that an earlier run was cut off from: off, bled and measured.
    pub fn start_making_safe(&mut self, now: Time) -> Orders {
        let mut orders = Orders::new();
        self.senses.listen_from(now);
        self.senses.assume_charged();
        self.end(Finding::Stopped, now, &mut orders);
        orders
    }

    /// Where the run stands.
    #[must_use]
    pub fn phase(&self) -> Phase {
        match &self.state {
            State::Idle => Phase::Idle,
            State::Probe(_) | State::Clip(_) => Phase::Probe,
            State::Ramp(_) => Phase::Ramp,
            State::Charge(_) => Phase::Charge,
            State::Settle(_) => Phase::Settle,
            State::Fixture(fixture) if fixture.rises() => Phase::Ramp,
            State::Soak(_) | State::Form(_) | State::Fixture(_) => Phase::Soak,
            State::Bleed(_) => Phase::Bleed,
            State::Safe => Phase::Safe,
            State::LockedOut { .. } => Phase::LockedOut,
        }
    }

    /// Voltage at the part as far as it is known at `now`; unknown counts as charged.
    #[must_use]
    pub fn part_voltage(&self, now: Time) -> Option<Voltage> {
        match self.state {
            State::Bleed(_) | State::Safe | State::LockedOut { .. } => {
                self.senses.bleeding_voltage(&self.plan, now)
            }
            State::Idle
            | State::Probe(_)
            | State::Ramp(_)
            | State::Charge(_)
            | State::Settle(_)
            | State::Soak(_)
            | State::Form(_)
            | State::Clip(_)
            | State::Fixture(_) => self.senses.part_voltage(&self.plan, now),
        }
    }

    /// Whether a current reading taken now lies in the reading window.
    #[must_use]
    pub fn in_window(&self, now: Time) -> bool {
        match &self.state {
            State::Soak(soak) => soak.in_window(now),
            State::Fixture(fixture) => fixture.in_window(now),
            State::Idle
            | State::Probe(_)
            | State::Ramp(_)
            | State::Charge(_)
            | State::Settle(_)
            | State::Form(_)
            | State::Clip(_)
            | State::Bleed(_)
            | State::Safe
            | State::LockedOut { .. } => false,
        }
    }

    /// What will be read at the moment that is judged, as far as the curve tells; only in the soak.
    ///
    /// Information, never a verdict (handbook §2.7).
    #[must_use]
    pub fn forecast(&self) -> Option<Forecast> {
        match &self.state {
            State::Soak(soak) => soak.forecast(&self.plan),
            State::Idle
            | State::Probe(_)
            | State::Ramp(_)
            | State::Charge(_)
            | State::Settle(_)
            | State::Form(_)
            | State::Clip(_)
            | State::Fixture(_)
            | State::Bleed(_)
            | State::Safe
            | State::LockedOut { .. } => None,
        }
    }

    /// When the part reached 99 % of the test voltage: the start of the limit's clock.
    #[must_use]
    pub fn full_voltage_at(&self) -> Option<Time> {
        self.tally.full_voltage_at
    }

    /// Whether something ended the run before its time.
    #[must_use]
    pub fn ended_early(&self) -> bool {
        self.tally.ended_by.is_some()
    }

    /// What the run has come to, once it is `safe` or `locked-out`.
    #[must_use]
    pub fn outcome(&self) -> Option<Outcome> {
        Outcome::of(self)
    }

    /// Takes one input at `now` and gives the orders that follow from it.
    pub fn step(&mut self, now: Time, input: Input) -> Orders {
        let orders = self.answer(now, input);
        for order in &orders {
            if let Order::Bypass(switch) = order {
                self.senses.bypass(*switch);
            }
        }
        orders
    }

    fn answer(&mut self, now: Time, input: Input) -> Orders {
        let mut orders = Orders::new();
        let span = self.senses.take(&self.plan, now, input);
        if let Some(span) = span {
            self.count_charge(now, span);
        }
        if let Some(finding) = self.fault(now, input) {
            self.end(finding, now, &mut orders);
            return orders;
        }
        let mut context = Context {
            plan: &self.plan,
            senses: &self.senses,
            tally: &mut self.tally,
            orders: &mut orders,
            now,
        };
        let step = match &mut self.state {
            State::Idle | State::Safe => Step::Stay,
            State::Probe(probe) => probe.step(&mut context, input),
            State::Ramp(ramp) => ramp.step(&mut context, input),
            State::Charge(charge) => charge.step(&mut context, input),
            State::Settle(settle) => settle.step(&mut context, input),
            State::Soak(soak) => soak.step(&mut context, input),
            State::Form(form) => form.step(&mut context, input),
            State::Clip(clip) => clip.step(&mut context, input),
            State::Fixture(fixture) => fixture.step(&mut context, input),
            State::Bleed(bleed) => bleed.step(&mut context, input),
            State::LockedOut { written } => hold_off(written, &mut context),
        };
        match step {
            Step::Stay => {}
            Step::Next(state) => self.state = state,
            Step::Climb => self.climb(now, &mut orders),
            Step::Fault(finding) => self.end(finding, now, &mut orders),
        }
        orders
    }

    /// The next step of a staircase: from the voltage of this one, with the meter on its wide range.
    fn climb(&mut self, now: Time, orders: &mut Orders) {
        let Some(next) = self.whole.stair(self.tally.stairs.len()) else { return };
        let from = round_down(self.plan.test_voltage, self.plan.supply.voltage_step);
        self.plan = Arc::new(next);
        self.tally.full_voltage_at = None;
        if self.plan.bypassed {
            orders.push(Order::Bypass(Switch::On));
        }
        orders.push(Order::SelectRange(self.plan.meter.surge));
        self.state = State::Ramp(Ramp::begin(now, from));
    }

    /// Adds the reading's charge; only on the way up, before the leakage is what flows.
    fn count_charge(&mut self, now: Time, span: Time) {
        let rising = matches!(self.state, State::Probe(_) | State::Ramp(_) | State::Charge(_));
        if !rising || !self.is_on() {
            return;
        }
        let (Some(current), Some(voltage)) =
            (self.senses.latest_current(), self.senses.part_voltage(&self.plan, now))
        else {
            return;
        };
        let span = self.plan.spoken_for(span, self.senses.path(&self.plan));
        self.tally.count.add(current - self.tally.offset, span, voltage);
        self.tally.counted_to = voltage;
    }

    /// Faults that end a run from any phase with the output on or about to be.
    fn fault(&mut self, now: Time, input: Input) -> Option<Finding> {
        if input == Input::Lost(Instrument::Meter) {
            self.tally.meter_lost = true;
        }
        let energised = matches!(
            self.state,
            State::Probe(_)
                | State::Ramp(_)
                | State::Charge(_)
                | State::Settle(_)
                | State::Soak(_)
                | State::Form(_)
                | State::Clip(_)
                | State::Fixture(_)
        );
        if !energised {
            return None;
        }
        match input {
            Input::Stop => return Some(Finding::Stopped),
            Input::Lost(_) | Input::Refused | Input::Disturbed | Input::Stalled => {
                return Some(Finding::InstrumentLost);
            }
            Input::Output(OutputState::Off | OutputState::Unknown) if self.is_on() => {
                return Some(Finding::InstrumentLost);
            }
            Input::Tick
            | Input::Current { .. }
            | Input::Voltage(_)
            | Input::Output(_)
            | Input::Armed => {}
        }
        self.over_bounds(now)
    }

    /// Whether the output has been proven on and not ordered off since.
    fn is_on(&self) -> bool {
        match &self.state {
            State::Probe(probe) => probe.is_on(),
            State::Ramp(_)
            | State::Charge(_)
            | State::Settle(_)
            | State::Soak(_)
            | State::Form(_)
            | State::Clip(_)
            | State::Fixture(_) => true,
            State::Idle | State::Bleed(_) | State::Safe | State::LockedOut { .. } => false,
        }
    }

    /// Bounds that hold in every energised phase. Written so that "no number" is a fault.
    fn over_bounds(&mut self, now: Time) -> Option<Finding> {
        if self.senses.is_silent(now, self.plan.cut_out.stale) {
            self.tally.meter_lost |= self.senses.meter_is_silent(now, self.plan.cut_out.stale);
            return Some(Finding::InstrumentLost);
        }
        let highest = self.plan.supply.over_voltage;
        if !self.senses.terminals().is_none_or(|voltage| voltage <= highest) {
            return Some(Finding::InstrumentLost);
        }
        // From `settle` on the meter changes ranges, and those states know which overload counts.
        if self.is_on_the_wide_range()
            && self.is_on()
            && !self.senses.current_is_below(self.plan.cut_out.surge)
        {
            return Some(self.surge_finding());
        }
        None
    }

    /// Whether the meter stands on the range that no sound part overloads.
    fn is_on_the_wide_range(&self) -> bool {
        match &self.state {
            State::Probe(_)
            | State::Ramp(_)
            | State::Charge(_)
            | State::Form(_)
            | State::Clip(_) => true,
            State::Fixture(fixture) => fixture.rises(),
            State::Idle
            | State::Settle(_)
            | State::Soak(_)
            | State::Bleed(_)
            | State::Safe
            | State::LockedOut { .. } => false,
        }
    }

    /// A current that only a failed part can draw: a short at the probe, a breakdown later. One
    /// that flows out of the part is the supply's doing.
    fn surge_finding(&mut self) -> Finding {
        let swapped = self.tally.count.charge() < -self.plan.ramp.charge_floor;
        if self.senses.flows_back() || swapped || !self.senses.is_possible(&self.plan) {
            return Finding::InstrumentLost;
        }
        if matches!(self.state, State::Probe(_) | State::Clip(_) | State::Fixture(_)) {
            return Finding::Shorted;
        }
        self.tally.by_few_readings = Some(if let State::Ramp(ramp) = &self.state {
            ramp.shows()
        } else {
            self.senses.few_readings(&self.plan, self.tally.offset)
        });
        self.tally.broke_down_at.get_or_insert(self.tally.high_water);
        Finding::BrokeDown
    }

    /// What ends a soak in the moment after the current ceased: a part was taken out, charged, and another
    /// may have been clipped in, whatever comes back while it bleeds. It is no part that gives way or
    /// pulls the voltage down.
    fn unless_swapped(&mut self, finding: Finding) -> Finding {
        let ceased = matches!(&self.state, State::Soak(soak) if soak.is_quiet(&self.plan));
        if !ceased {
            return finding;
        }
        let tally = &mut self.tally;
        tally.swapped = true;
        (tally.by_few_readings, tally.broke_down_at) = (None, None);
        let sagged = std::mem::take(&mut tally.sagged);
        if sagged || finding == Finding::BrokeDown { Finding::ContactLost } else { finding }
    }

    /// The way out: output off before anything else. The first finding stands.
    fn end(&mut self, finding: Finding, now: Time, orders: &mut Orders) {
        let finding = self.unless_swapped(finding);
        self.tally.ended_by.get_or_insert(finding);
        orders.clear();
        self.state =
            State::Bleed(Bleed::after_fault(&self.plan, &self.tally, &self.senses, now, orders));
    }
}

/// Locked out: the output is ordered off again and again, whatever happens.
fn hold_off(written: &mut Time, context: &mut Context) -> Step {
    if context.now - *written >= context.plan.discharge.repeat {
        *written = context.now;
        context.orders.push(Order::CutOut);
    }
    Step::Stay
}

/// Rounds a voltage order down to the supply's step (absolute orders only, never up).
fn round_down(voltage: Voltage, step: Voltage) -> Voltage {
    // A billionth is added so that 25.00 / 0.01 does not become 2499.999….
    let steps = (voltage.value / step.value + 1e-9).floor();
    step * steps
}
