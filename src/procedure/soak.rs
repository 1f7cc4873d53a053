//! Settling on the range that the limit needs, and the soak itself.

use super::closing::Closing;
use super::readings::Readings;
use super::{Context, Input, Order, Sample, State, Step};
use crate::judge::{Finding, Flow, Forecast, Stair};
use crate::plan::{Plan, Purpose, RangeIndex};
use crate::quantity::{Current, Time, amperes, seconds};

/// A range is left upwards above this share of its full scale.
const TOO_HIGH_SHARE: f64 = 0.9;
/// Headroom when a range is chosen for a current.
pub(super) const HEADROOM: f64 = 1.5;
/// Good readings that make the meter settled.
const GOOD_READINGS: u8 = 3;
/// Time constants to wait after the path's resistance changed (handbook §3.2).
pub(super) const SETTLING_CONSTANTS: f64 = 7.0;
/// Absorption that a proof in the middle of a soak stirs up is left this long.
const STIRRED: f64 = 5.0; // s
/// A part below this share of the test voltage in the soak has given way, or the supply has.
pub(super) const SAG_SHARE: f64 = 0.8;

/// The meter on its way to a range, and what it takes until its readings count there.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ranging {
    wanted: RangeIndex,
    since: Time,
    unused: u8,
    good: u8,
}

impl Ranging {
    pub(super) fn to(wanted: RangeIndex, context: &mut Context) -> Self {
        context.orders.push(Order::SelectRange(wanted));
        let unused = context.plan.meter.settling_readings;
        Self { wanted, since: context.now, unused, good: 0 }
    }

    /// Takes a reading; true once readings on the wanted range count.
    pub(super) fn take(&mut self, context: &Context, range: RangeIndex) -> bool {
        if range != self.wanted {
            return false;
        }
        if 0 < self.unused {
            self.unused -= 1;
            return false;
        }
        let plan = context.plan;
        let constant = plan.path(range) * plan.part.capacitance * plan.part.greatest_ratio;
        if context.now - self.since < constant * SETTLING_CONSTANTS {
            return false;
        }
        self.good = self.good.saturating_add(1);
        GOOD_READINGS <= self.good
    }

    /// Where it is going.
    pub(super) fn wanted(&self) -> RangeIndex {
        self.wanted
    }

    /// Whether the meter has taken too long.
    pub(super) fn is_overdue(&self, context: &Context) -> bool {
        let plan = context.plan;
        let constant = plan.path(self.wanted) * plan.part.capacitance * plan.part.greatest_ratio;
        let allowed = constant * SETTLING_CONSTANTS * 2.0 + plan.cut_out.stale * 4.0;
        context.now - self.since > allowed
    }
}

/// The next less sensitive range, if there is one up to the surge range.
pub(super) fn wider(context: &Context, range: RangeIndex) -> Option<RangeIndex> {
    (range < context.plan.meter.surge).then_some(RangeIndex(range.0 + 1))
}

/// Bringing the meter down to its range.
#[derive(Debug, Clone)]
pub(super) struct Settle {
    full_at: Time,
    ranging: Ranging,
}

impl Settle {
    pub(super) fn begin(context: &mut Context, full_at: Time) -> Self {
        let plan = context.plan;
        let fits = plan.meter.range_for(context.senses.smooth_current().abs() * HEADROOM);
        let wanted = fits.max(plan.meter.soak).min(plan.meter.surge);
        Self { full_at, ranging: Ranging::to(wanted, context) }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        if self.ranging.is_overdue(context) {
            return Step::Fault(Finding::InstrumentLost);
        }
        let Input::Current { sample, range } = input else { return sag(context) };
        match sample {
            Sample::Value(current) if context.plan.cut_out.surge <= current.abs() => {
                seems_to_give_way(context)
            }
            Sample::Value(_) if self.ranging.take(context, range) => {
                let soak = Soak::begin(context, self.full_at, self.ranging);
                Step::Next(State::Soak(Box::new(soak)))
            }
            Sample::Value(_) => sag(context),
            Sample::NotANumber => Step::Stay,
            Sample::Overload { .. } => self.widen(context, range),
        }
    }

    /// The current does not fit the range: one range up, and out if there is none.
    fn widen(&mut self, context: &mut Context, range: RangeIndex) -> Step {
        if range != self.ranging.wanted {
            return Step::Stay;
        }
        let Some(wanted) = wider(context, range) else { return seems_to_give_way(context) };
        self.ranging = Ranging::to(wanted, context);
        Step::Stay
    }
}

/// Reading until the reading time or the soak's end, then proving the contact.
#[derive(Debug, Clone)]
pub(super) struct Soak {
    full_at: Time,
    ranging: Ranging,
    settled: bool,
    readings: Readings,
    hot_since: Option<Time>,
    closing: Option<Closing>,
}

impl Soak {
    fn begin(context: &Context, full_at: Time, ranging: Ranging) -> Self {
        let at = context.now - full_at;
        let [newest, before, earlier] = context.senses.last_readings();
        let flows = newest.min(before).min(earlier);
        let readings = Readings::new(context.plan, ranging.wanted, at, flows);
        Self { full_at, ranging, settled: true, readings, hot_since: None, closing: None }
    }

    pub(super) fn in_window(&self, now: Time) -> bool {
        self.closing.is_none() && self.readings.in_window(now - self.full_at)
    }

    /// Whether nothing flowed a reading or two ago although it did before.
    pub(super) fn is_quiet(&self, plan: &Plan) -> bool {
        self.closing.is_none() && self.readings.is_quiet(plan, self.ranging.wanted)
    }

    /// What will be read at the moment that is judged, while the soak goes on.
    pub(super) fn forecast(&self, plan: &Plan) -> Option<Forecast> {
        if self.closing.is_some() {
            return None;
        }
        self.readings.forecast(plan)
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        if let Some(closing) = &mut self.closing {
            let step = closing.step(context, input);
            if closing.has_resumed() {
                self.closing = None;
                self.resume(context);
            }
            return step;
        }
        if let Input::Current { sample, range } = input {
            match self.take(context, sample, range) {
                Step::Stay => {}
                ended @ (Step::Next(_) | Step::Climb | Step::Fault(_)) => return ended,
            }
        }
        if !self.settled && self.ranging.is_overdue(context) {
            return Step::Fault(Finding::InstrumentLost);
        }
        let (at, range) = (context.now - self.full_at, self.ranging.wanted);
        if self.readings.flow() == Flow::Ceased && !self.readings.is_near_window(context.plan, at) {
            self.readings.spoil(at);
            self.closing = Closing::midway(context);
            return sag(context);
        }
        let early = self.readings.early_end(context, at, range);
        let end = context.plan.target.soak.max(self.readings.until());
        if early.is_some() || end <= at {
            self.readings.conclude(context, range, early);
            if climbs_on(context) {
                return Step::Climb;
            }
            self.closing = Some(Closing::begin(context));
        }
        sag(context)
    }

    fn take(&mut self, context: &mut Context, sample: Sample<Current>, range: RangeIndex) -> Step {
        match sample {
            Sample::Value(current) => self.take_value(context, current, range),
            Sample::NotANumber => Step::Stay,
            Sample::Overload { .. } if self.settled => seems_to_give_way(context),
            Sample::Overload { .. } => self.widen(context, range),
        }
    }

    fn widen(&mut self, context: &mut Context, range: RangeIndex) -> Step {
        if range != self.ranging.wanted {
            return Step::Stay;
        }
        let Some(wanted) = wider(context, range) else { return seems_to_give_way(context) };
        self.change_range(context, wanted);
        Step::Stay
    }

    fn take_value(&mut self, context: &mut Context, current: Current, range: RangeIndex) -> Step {
        let plan = context.plan;
        if plan.cut_out.soak <= current.abs() {
            // Where the supply's bound lies near the limit, a part that is still forming passes it:
            // no hard fault (handbook §1.5).
            let hard = conducts(plan, current.abs());
            let soft = Step::Fault(Finding::HeldBelowTestVoltage);
            return if hard { seems_to_give_way(context) } else { soft };
        }
        if self.is_too_hot(context, current) {
            let out_of_the_part = current < amperes(0.0);
            return Step::Fault(if out_of_the_part {
                Finding::InstrumentLost
            } else {
                Finding::RunsAway
            });
        }
        if !self.settled {
            self.settled = self.ranging.take(context, range);
            return Step::Stay;
        }
        if range != self.ranging.wanted {
            // Somebody else changed the range: readings from here on belong to no plan.
            return Step::Fault(Finding::InstrumentLost);
        }
        self.readings.add(context, context.now - self.full_at, current, range);
        if self.readings.flow() == Flow::Interrupted {
            return Step::Fault(Finding::ContactLost);
        }
        if self.readings.trend().climbs() {
            return Step::Fault(Finding::RunsAway);
        }
        let high = plan.meter.range(range).full_scale * TOO_HIGH_SHARE < current.abs();
        if let Some(wanted) = wider(context, range).filter(|_| high) {
            self.change_range(context, wanted);
        }
        Step::Stay
    }

    /// After a proof in the middle: back on the range, once what it stirred up has died away.
    fn resume(&mut self, context: &mut Context) {
        self.change_range(context, self.ranging.wanted);
        self.ranging.since = context.now + seconds(STIRRED);
        self.readings.begin_trend_anew();
    }

    fn change_range(&mut self, context: &mut Context, wanted: RangeIndex) {
        self.readings.spoil(context.now - self.full_at);
        self.ranging = Ranging::to(wanted, context);
        self.settled = false;
    }

    /// More heat in the part than it can bear for longer than it may last (handbook §4.2).
    fn is_too_hot(&mut self, context: &Context, current: Current) -> bool {
        let cut_out = &context.plan.cut_out;
        let (plan, current) = (context.plan, current.abs());
        let burns = |current: Current| cut_out.power < current * plan.test_voltage;
        // What the dielectric soaks up is stored, not burnt.
        let stored = || plan.greatest_absorption(context.now - self.full_at);
        if !(burns(current) && burns(current - stored())) {
            self.hot_since = None;
            return false;
        }
        let since = *self.hot_since.get_or_insert(context.now);
        cut_out.power_patience < context.now - since
    }
}

/// Notes the step of a staircase that is over; true if another follows: the limit was not passed.
fn climbs_on(context: &mut Context) -> bool {
    let Purpose::Staircase(stairs) = &context.plan.purpose else { return false };
    let stair = Stair { voltage: context.plan.test_voltage, reading: context.tally.reading };
    context.tally.stairs.push(stair);
    let left = context.tally.stairs.len() < stairs.voltages.len();
    left && !stair.is_over(context.plan.target.limit)
}

/// The part conducts far beyond a leak; or, where the current flows out of it, something else
/// pulls it down.
pub(super) fn gave_way(context: &mut Context) -> Step {
    let swapped = context.tally.count.charge() < -context.plan.ramp.charge_floor;
    if context.senses.flows_back() || swapped {
        return Step::Fault(Finding::InstrumentLost);
    }
    context.tally.broke_down_at.get_or_insert(context.tally.high_water);
    Step::Fault(Finding::BrokeDown)
}

/// One reading says so: the output goes off for it at once, but a part is not condemned for one line
/// that may have been garbled, nor for a surge that a supply which was raised by hand drives into it.
/// It counts if the two readings before it were far beyond a leak as well, and else if the part,
/// emptied, gives nothing back; see `bleed`.
pub(super) fn seems_to_give_way(context: &mut Context) -> Step {
    if !context.senses.is_possible(context.plan) {
        return Step::Fault(Finding::InstrumentLost);
    }
    if !conducts(context.plan, context.senses.before()) {
        let seen = context.senses.few_readings(context.plan, context.tally.offset);
        context.tally.by_few_readings = Some(seen);
    }
    gave_way(context)
}

/// Whether a current is far beyond what a part that merely leaks would draw.
pub(super) fn conducts(plan: &Plan, current: Current) -> bool {
    plan.target.limit * 10.0 < current
}

/// The voltage sagged: with current, the part gave way; without, the supply did. The reading that
/// is under way when the output goes off tells which; see `bleed`.
fn sag(context: &mut Context) -> Step {
    let Some(voltage) = context.senses.part_voltage(context.plan, context.now) else {
        return Step::Stay;
    };
    if context.plan.test_voltage * SAG_SHARE <= voltage {
        return Step::Stay;
    }
    // The current may be older than the voltage: a surge before a protection tripped.
    context.tally.by_a_sag = !conducts(context.plan, context.senses.before());
    fell(context)
}

/// The voltage at the part fell although nobody lowered it: with current, the part gave way; without,
/// the supply did.
pub(super) fn fell(context: &mut Context) -> Step {
    let drawn = context.senses.latest_current().unwrap_or(context.plan.cut_out.surge);
    if conducts(context.plan, drawn) {
        return gave_way(context);
    }
    context.tally.sagged = !context.senses.flows_back();
    Step::Fault(Finding::InstrumentLost)
}
