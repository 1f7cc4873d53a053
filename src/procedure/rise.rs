//! The way up: the ramp to the test voltage, and the end of the charging surge.

use super::soak::{Settle, conducts, fell};
use super::{Context, FewReadings, Input, Order, Sample, State, Step, Switch, round_down};
use crate::judge::Finding;
use crate::plan::Plan;
use crate::quantity::{Current, Time, Voltage, seconds, volts};

/// A part that stands at this share of the test voltage and draws less and less is waited for.
const NEAR_SHARE: f64 = 0.8;
/// Share of the test voltage at which a bridged series resistor may come back (handbook §3.1).
const FULL_ENOUGH: f64 = 0.98;
/// Full voltage that comes this share of the reading time after the ramp is late.
const LATE_SHARE: f64 = 0.05;
/// It must draw less by this part in ten seconds.
const FALLING: f64 = 0.01;
const FALLING_TIME: f64 = 10.0; // s
/// A part that falls below this share of the highest voltage it stood at has given way.
const COLLAPSE_SHARE: f64 = 0.8;
/// Voltage readings in a row that make a fall.
const FALLS: u8 = 2;
/// Readings in a row at the set-point that make an arrival: the supply no longer swings.
const ARRIVAL_READINGS: u8 = 3;
/// Readings without a step's charge, after the step was read at the terminals, that show no part: the
/// first may have begun before the step or after it.
const MISSING: u8 = 2;
/// A part whose least charge is this multiple of the floor would have been seen.
const VISIBLE: f64 = 5.0;
/// Charge of this multiple of the floor proves that something is there.
pub(super) const PROVING: f64 = 3.0;
/// A part that took this multiple of its largest charge is not charging (handbook §4.2).
const OVERFILL: f64 = 2.0;

/// Raising the voltage.
#[derive(Debug, Clone)]
pub(super) struct Ramp {
    since: Time,
    from: Voltage,
    set: Voltage,
    ordered: Time,
    arrivals: u8,
    fall: Fall,
    taken: Option<Taken>,
}

/// The last step whose charge was seen to go in.
#[derive(Debug, Clone, Copy)]
struct Taken {
    set: Voltage,
    /// Readings since in which the charge of a later step should have been, and was not.
    missing: u8,
}

impl Ramp {
    pub(super) fn begin(now: Time, from: Voltage) -> Self {
        let fall = Fall::default();
        Self { since: now, from, set: from, ordered: now, arrivals: 0, fall, taken: None }
    }

    /// Whether the readings so far show a part. One between two steps shows none, also of a part that
    /// is there: only steps that went up and whose charge nothing took speak against it.
    pub(super) fn shows(&self) -> FewReadings {
        match self.taken {
            Some(taken) if taken.missing < MISSING => FewReadings::OfAPart,
            Some(_) | None => FewReadings::OfNothing,
        }
    }

    fn look(&mut self, context: &Context, input: Input) {
        if !matches!(input, Input::Current { sample: Sample::Value(_), .. }) {
            return;
        }
        if context.senses.showed_a_part(context.plan, context.tally.offset) {
            self.taken = Some(Taken { set: self.set, missing: 0 });
        } else if let Some(taken) = &mut self.taken
            && taken.set < self.set
            && context.senses.followed(self.ordered, self.set - context.plan.supply.agreement)
        {
            taken.missing = taken.missing.saturating_add(1);
        }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        self.look(context, input);
        if self.fall.watch(context, input, self.ordered) {
            return fell(context);
        }
        if context.now - self.since > context.plan.ramp.budget {
            return held(context, false);
        }
        let agreement = context.plan.supply.agreement;
        if !context.senses.followed(self.ordered, self.set - agreement) {
            return Step::Stay;
        }
        if self.set < target(context.plan) {
            // A step goes with the start of a reading, which then holds the whole of its charge.
            let surge = context.plan.meter.surge;
            if matches!(input, Input::Current { range, .. } if range == surge) {
                self.raise(context);
            }
            return Step::Stay;
        }
        self.arrive(context, input)
    }

    /// The supply stands at the test voltage, several times in a row: it no longer swings.
    fn arrive(&mut self, context: &Context, input: Input) -> Step {
        if !matches!(input, Input::Voltage(Sample::Value(_))) {
            return Step::Stay;
        }
        self.arrivals += 1;
        if self.arrivals < ARRIVAL_READINGS {
            return Step::Stay;
        }
        Step::Next(State::Charge(Charge::begin(context)))
    }

    fn raise(&mut self, context: &mut Context) {
        let plan = context.plan;
        let share = ((context.now - self.since) / plan.ramp.rise).value.min(1.0);
        let due = self.from + (plan.test_voltage - self.from) * share;
        let next = due.min(self.set + plan.ramp.largest_step).min(plan.test_voltage);
        let next = round_down(next, plan.supply.voltage_step);
        if self.set < next {
            self.set = next;
            self.ordered = context.now;
            context.orders.push(Order::SetVoltage(next));
        }
    }
}

/// The test voltage as the supply can set it.
fn target(plan: &Plan) -> Voltage {
    round_down(plan.test_voltage, plan.supply.voltage_step)
}

/// Whether the series resistor is bridged.
#[derive(Debug, Clone, Copy)]
enum Bypass {
    /// It is.
    Closed,
    /// No more; readings that were begun before do not count.
    Opened { unused: u8 },
    /// It is not.
    Open,
}

/// Waiting for the charging current to die away.
#[derive(Debug, Clone)]
pub(super) struct Charge {
    since: Time,
    bypass: Bypass,
    fall: Fall,
    /// What flowed ten seconds ago and more, and when.
    mark: Option<(Time, Current)>,
    /// The current still fell at the last mark.
    falls: bool,
}

impl Charge {
    fn begin(context: &Context) -> Self {
        let bypass = if context.plan.bypassed { Bypass::Closed } else { Bypass::Open };
        Self { since: context.now, bypass, fall: Fall::default(), mark: None, falls: true }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        if let Bypass::Opened { unused } = self.bypass {
            self.bypass = after_opening(unused, input);
            return Step::Stay;
        }
        if self.fall.watch(context, input, self.since) {
            return fell(context);
        }
        let waited = context.now - self.since;
        if matches!(self.bypass, Bypass::Closed) {
            if context.plan.ramp.charge <= waited || is_full(context) {
                context.orders.push(Order::Bypass(Switch::Off));
                self.bypass = Bypass::Opened { unused: context.plan.meter.settling_readings + 1 };
            }
            return Step::Stay;
        }
        if waited < context.plan.ramp.charge {
            return Step::Stay;
        }
        let Some(full_at) = context.tally.full_voltage_at else {
            return self.wait(context, waited);
        };
        if !weigh_charge(context) {
            return Step::Fault(Finding::NoContact);
        }
        let clock = self.clock(context, full_at);
        context.tally.clock_ahead = full_at - clock;
        Step::Next(State::Settle(Settle::begin(context, clock)))
    }
}

impl Charge {
    /// From when the soak counts. A part that draws so much that the path keeps it a little below full
    /// voltage is under stress all the while: counted from full voltage only, its reading would come
    /// late, which is lenient (handbook §1.5). So it counts from the end of the ramp; a reading over
    /// the limit is then one before its time.
    fn clock(&self, context: &Context, full_at: Time) -> Time {
        let late = context.plan.target.reading_time * LATE_SHARE < full_at - self.since;
        if late { self.since } else { full_at }
    }

    /// Below full voltage after its time: a part that still forms or soaks up charge gets as long as
    /// a reading would take, since a failure before that is none (handbook §1.5).
    fn wait(&mut self, context: &mut Context, waited: Time) -> Step {
        let (plan, now) = (context.plan, context.now);
        let current = context.senses.smooth_current();
        let (at, past) = *self.mark.get_or_insert((now, current));
        if seconds(FALLING_TIME) <= now - at {
            self.falls = current <= past * (1.0 - FALLING);
            self.mark = Some((now, current));
        }
        let near = context.senses.part_voltage(plan, now);
        let near = near.is_some_and(|voltage| plan.test_voltage * NEAR_SHARE <= voltage);
        let usual = plan.ramp.charge + plan.ramp.budget;
        // One that leaks too much at what it stands at gets its time too, and is over after it.
        let leaks = leaks_too_much(context);
        let hopeful = near && (self.falls || leaks);
        let allowed = if hopeful { usual.max(plan.target.reading_time) } else { usual };
        if waited <= allowed {
            return Step::Stay;
        }
        held(context, leaks && plan.target.reading_time <= waited)
    }
}

/// Counts down the readings of which a part was taken before the series resistor was back.
fn after_opening(unused: u8, input: Input) -> Bypass {
    match unused {
        0 => Bypass::Open,
        _ if matches!(input, Input::Current { .. }) => Bypass::Opened { unused: unused - 1 },
        _ => Bypass::Opened { unused },
    }
}

/// Whether the series resistor may come back: the part stands near its voltage and draws little
/// (handbook §3.1).
fn is_full(context: &Context) -> bool {
    let plan = context.plan;
    let voltage = context.senses.part_voltage(plan, context.now);
    let near = voltage.is_some_and(|voltage| plan.test_voltage * FULL_ENOUGH <= voltage);
    near && !conducts(plan, context.senses.smooth_current())
}

/// Watches the voltage at the part on the way up.
#[derive(Debug, Clone, Default)]
pub(super) struct Fall {
    seen: u8,
}

impl Fall {
    /// Takes note of the voltage; true if it fell, twice in a row, although nobody lowered it.
    ///
    /// It is looked at when a current was just read and the voltage had been read since it was last
    /// ordered up: both then belong to one step, and so does the drop in the path.
    pub(super) fn watch(&mut self, context: &mut Context, input: Input, ordered: Time) -> bool {
        let read = matches!(input, Input::Current { sample: Sample::Value(_), .. });
        if !read || !context.senses.has_read_since(ordered) {
            return false;
        }
        let Some(voltage) = context.senses.part_voltage(context.plan, context.now) else {
            return false;
        };
        let high_water = context.tally.high_water;
        let fell = volts(1.0) < high_water && voltage < high_water * COLLAPSE_SHARE;
        self.seen = if fell { self.seen + 1 } else { 0 };
        if FALLS <= self.seen {
            return true;
        }
        context.tally.high_water = high_water.max(voltage);
        let enough = context.plan.test_voltage * context.plan.target.full_share <= voltage;
        if context.tally.full_voltage_at.is_none() && enough {
            context.tally.full_voltage_at = Some(context.now);
        }
        false
    }
}

/// The part stayed below the test voltage: says whether charging could still explain it. A part
/// that has stood near the test voltage and draws no more than a few times its limit may yet come
/// within it: that is no hard fault.
///
/// One that leaked more than its limit for as long as a reading takes, at a lower voltage, is over.
fn held(context: &mut Context, leaked_its_time: bool) -> Step {
    let plan = context.plan;
    let most = plan.full_charge() * plan.part.greatest_ratio * OVERFILL;
    let near = context.tally.high_water >= plan.test_voltage * NEAR_SHARE;
    let hard = !near || conducts(plan, context.senses.smooth_current()) || leaked_its_time;
    context.tally.overfilled = hard && most < context.tally.count.charge();
    Step::Fault(Finding::HeldBelowTestVoltage)
}

/// Whether the current is above the limit by more than the meter's error.
fn leaks_too_much(context: &Context) -> bool {
    let current = context.senses.smooth_current() - context.tally.offset;
    let error = context.plan.meter.range(context.senses.range()).error_at(current);
    context.plan.target.limit + error < current
}

/// Settles whether the charge that went in proves the contact. False: there is nothing there.
///
/// Where the meter could not have seen the charge of a sound part, nothing is proven and the run
/// goes on to an `undecided`.
fn weigh_charge(context: &mut Context) -> bool {
    let plan = context.plan;
    let least = plan.part.capacitance * plan.part.least_ratio;
    let visible = plan.ramp.charge_floor * VISIBLE <= least * plan.test_voltage;
    let needed = (least * 0.2).max(plan.ramp.charge_floor * PROVING / plan.test_voltage);
    let leakage = context.senses.smooth_current() - context.tally.offset;
    context.tally.leaked_early = leakage;
    let takes = |leakage| {
        let capacitance = context.tally.count.capacitance(context.tally.counted_to, leakage);
        capacitance.is_some_and(|capacitance| needed <= capacitance)
    };
    // A leak that grows faster than the voltage is taken for more than it was on the way up, and a
    // large one for all of the charge. It shows that there is a part all the same.
    let there = takes(leakage) || (plan.target.limit < leakage && takes(Current::default()));
    context.tally.charge_in = there;
    there || !visible
}
