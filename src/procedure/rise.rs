//! The way up: the ramp to the test voltage, and the end of the charging surge.

use super::soak::{Settle, conducts, gave_way};
use super::{Context, Input, Order, Sample, State, Step, round_down};
use crate::judge::Finding;
use crate::plan::Plan;
use crate::quantity::{Current, Time, Voltage, volts};

/// The limit's clock starts when the part stands at this share of the test voltage
/// (handbook §1.5).
const FULL_SHARE: f64 = 0.99;
/// A part that falls below this share of the highest voltage it stood at has given way.
const COLLAPSE_SHARE: f64 = 0.8;
/// Voltage readings in a row that make a fall.
const FALLS: u8 = 2;
/// Readings in a row at the set-point that make an arrival: the supply no longer swings.
const ARRIVAL_READINGS: u8 = 3;
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
}

impl Ramp {
    pub(super) fn begin(now: Time, from: Voltage) -> Self {
        Self { since: now, from, set: from, ordered: now, arrivals: 0, fall: Fall::default() }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        if self.fall.watch(context, input) {
            return gave_way(context);
        }
        if context.now - self.since > context.plan.ramp.budget {
            return held(context);
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
        Step::Next(State::Charge(Charge { since: context.now, fall: Fall::default() }))
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

/// Waiting for the charging current to die away.
#[derive(Debug, Clone)]
pub(super) struct Charge {
    since: Time,
    fall: Fall,
}

impl Charge {
    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        if self.fall.watch(context, input) {
            return gave_way(context);
        }
        let waited = context.now - self.since;
        if waited < context.plan.ramp.charge {
            return Step::Stay;
        }
        let Some(full_at) = context.tally.full_voltage_at else {
            let overdue = waited > context.plan.ramp.charge + context.plan.ramp.budget;
            return if overdue { held(context) } else { Step::Stay };
        };
        if !weigh_charge(context) {
            return Step::Fault(Finding::NoContact);
        }
        Step::Next(State::Settle(Settle::begin(context, full_at)))
    }
}

/// Watches the voltage at the part on the way up.
///
/// It is looked at when the voltage was just read: between that and the next step of the ramp the
/// current runs ahead of it, and the drop in the path would be taken from an old voltage.
#[derive(Debug, Clone, Default)]
pub(super) struct Fall {
    seen: u8,
}

impl Fall {
    /// Takes note of the voltage; true if it fell, twice in a row, although nobody lowered it.
    pub(super) fn watch(&mut self, context: &mut Context, input: Input) -> bool {
        if !matches!(input, Input::Voltage(Sample::Value(_))) {
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
        let enough = context.plan.test_voltage * FULL_SHARE <= voltage;
        if context.tally.full_voltage_at.is_none() && enough {
            context.tally.full_voltage_at = Some(context.now);
        }
        false
    }
}

/// The part stayed below the test voltage: says whether charging could still explain it.
fn held(context: &mut Context) -> Step {
    let plan = context.plan;
    let most = plan.full_charge() * plan.part.greatest_ratio * OVERFILL;
    context.tally.overfilled = most < context.tally.count.charge();
    Step::Fault(Finding::HeldBelowTestVoltage)
}

/// Settles whether the charge that went in proves the contact. False: there is nothing there.
///
/// Where the meter could not have seen the charge of a sound part, nothing is proven and the run
/// goes on to an `undecided`.
fn weigh_charge(context: &mut Context) -> bool {
    let plan = context.plan;
    let least = plan.part.capacitance * plan.part.least_ratio;
    if least * plan.test_voltage < plan.ramp.charge_floor * 5.0 {
        return true;
    }
    let leakage = context.senses.smooth_current() - context.tally.offset;
    let takes = |leakage| {
        let capacitance = context.tally.count.capacitance(context.tally.counted_to, leakage);
        capacitance.is_some_and(|capacitance| least * 0.2 <= capacitance)
    };
    // A leak that grows faster than the voltage is taken for more than it was on the way up, and a
    // large one for all of the charge. It shows that there is a part all the same.
    let there = takes(leakage) || (conducts(plan, leakage) && takes(Current::default()));
    context.tally.charge_in = there;
    there
}
