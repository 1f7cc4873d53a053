//! The zero of the open fixture: what flows with nothing in the clips, at the voltage and after the
//! time that a part is read at (handbook §3.7).
//!
//! The same bounds hold as for a part. Charge that goes in, or a current that no insulation lets
//! through, means that something is clipped in after all.

use super::bleed::Bleed;
use super::soak::{HEADROOM, Ranging, SAG_SHARE, wider};
use super::{Context, Input, Order, Sample, State, Step, round_down};
use crate::judge::{Finding, Settled, Window, rectangular};
use crate::plan::{Plan, RangeIndex, Zero};
use crate::quantity::{Charge, Current, Time, Voltage, amperes, coulombs, farads, seconds, volts};

/// More than leads and clips hold (handbook §2.9: 20 to 100 pF): a part is clipped in.
const CLIPPED: f64 = 1e-9; // F
/// Charge must be so many times what noise can feign before it is a part's.
const FEIGNED_TIMES: f64 = 5.0;

/// Doubt of what leaked on the way up, as a share of it.
const LEAK_DOUBT: f64 = 0.1;
/// Share of the current limit at which the supply is in it.
const LIMITED_SHARE: f64 = 0.5;
/// Readings at full voltage after which the charge is looked at.
const HELD: u8 = 10;

/// The fixture on its way.
#[derive(Debug, Clone)]
pub(super) enum Fixture {
    /// The voltage goes up, a step with each reading.
    Rising(Rising),
    /// The meter goes to the range that the fixture's current needs.
    Ranging { full_at: Time, ranging: Ranging },
    /// The soak, whose last readings are the zero.
    Reading { full_at: Time, range: RangeIndex, window: Box<Window> },
}

/// The way up.
#[derive(Debug, Clone)]
pub(super) struct Rising {
    since: Time,
    set: Voltage,
    charge: Charge,
    last_at: Option<Time>,
    /// Readings at full voltage.
    held: u8,
}

impl Rising {
    fn count(&mut self, context: &Context, current: Current) {
        let span = self.last_at.map_or(seconds(0.0), |last| context.now - last);
        let counted = context.plan.spoken_for(span, context.senses.path(context.plan));
        self.charge += (current - context.tally.offset) * counted;
        self.last_at = Some(context.now);
    }

    /// Whether more charge stayed than leads and clips hold. What flows at full voltage leaked on the
    /// way up too: over the rise half as much if it goes with the voltage, and less if it rises more
    /// steeply.
    fn holds_a_part(&self, context: &Context) -> bool {
        let plan = context.plan;
        let leak = context.senses.smooth_current() - context.tally.offset;
        let half_rise = plan.ramp.rise / 2.0;
        let stayed = self.charge - leak * (context.now - self.since - half_rise);
        let floor = farads(CLIPPED) * plan.test_voltage + plan.ramp.charge_floor * FEIGNED_TIMES;
        floor + leak.abs() * half_rise * LEAK_DOUBT < stayed
    }
}

impl Fixture {
    pub(super) fn begin(now: Time) -> Self {
        let (set, charge) = (volts(0.0), coulombs(0.0));
        Self::Rising(Rising { since: now, set, charge, last_at: None, held: 0 })
    }

    /// Whether the voltage still goes up, with the meter on its wide range.
    pub(super) fn rises(&self) -> bool {
        matches!(self, Self::Rising(_))
    }

    pub(super) fn in_window(&self, now: Time) -> bool {
        match self {
            Self::Reading { full_at, window, .. } => window.holds(now - *full_at),
            Self::Rising(_) | Self::Ranging { .. } => false,
        }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        let Input::Current { sample, range } = input else { return self.watch(context) };
        match (self, sample) {
            (_, Sample::NotANumber) => Step::Stay,
            (Self::Rising(_) | Self::Reading { .. }, Sample::Overload { .. }) => {
                Step::Fault(Finding::Shorted)
            }
            (Self::Ranging { ranging, .. }, Sample::Overload { .. }) => {
                widen(context, ranging, range)
            }
            (fixture, Sample::Value(current)) => fixture.take(context, current, range),
        }
    }

    fn take(&mut self, context: &mut Context, current: Current, range: RangeIndex) -> Step {
        match self {
            Self::Rising(_) => self.rise(context, current),
            Self::Ranging { full_at, ranging } => {
                if ranging.take(context, range) {
                    let full_at = *full_at;
                    let target = &context.plan.target;
                    let window = Box::new(Window::ending_at(target.soak, target.window));
                    *self = Self::Reading { full_at, range, window };
                }
                Step::Stay
            }
            Self::Reading { range: held, .. } if *held != range => {
                Step::Fault(Finding::InstrumentLost)
            }
            Self::Reading { full_at, window, .. } => {
                let at = context.now - *full_at;
                match context.senses.part_voltage(context.plan, context.now) {
                    Some(voltage) => window.add(at, current, voltage),
                    None if window.holds(at) => window.spoil(),
                    None => {}
                }
                self.end(context)
            }
        }
    }

    /// One step up, and the charge that went in so far.
    fn rise(&mut self, context: &mut Context, current: Current) -> Step {
        let Self::Rising(rising) = self else { return Step::Stay };
        rising.count(context, current);
        let (plan, now) = (context.plan, context.now);
        let share = ((now - rising.since) / plan.ramp.rise).value.min(1.0);
        let next = round_down(plan.test_voltage * share, plan.supply.voltage_step);
        if rising.set < next {
            rising.set = next;
            context.orders.push(Order::SetVoltage(next));
            return Step::Stay;
        }
        let full = plan.test_voltage * plan.target.full_share;
        let stands = context.senses.terminals().is_some_and(|voltage| full <= voltage);
        if share < 1.0 || !stands {
            return Step::Stay;
        }
        rising.held += 1;
        if rising.held < HELD {
            return Step::Stay;
        }
        if rising.holds_a_part(context) {
            context.tally.clipped = true;
            // Now it is a part, and is empty only once its charge has come back.
            context.tally.charge_in = true;
            return Step::Next(State::Bleed(Bleed::after_soak(context)));
        }
        let fits = plan.meter.range_for(context.senses.smooth_current().abs() * HEADROOM);
        let wanted = fits.max(plan.meter.soak).min(plan.meter.surge);
        *self = Self::Ranging { full_at: now, ranging: Ranging::to(wanted, context) };
        Step::Stay
    }

    /// What is looked at without a reading of the current.
    fn watch(&self, context: &mut Context) -> Step {
        let (plan, now) = (context.plan, context.now);
        let late = match self {
            Self::Rising(rising) => plan.ramp.budget < now - rising.since,
            Self::Ranging { ranging, .. } => ranging.is_overdue(context),
            Self::Reading { .. } => false,
        };
        let sags = !self.rises()
            && context
                .senses
                .terminals()
                .is_some_and(|voltage| voltage < plan.test_voltage * SAG_SHARE);
        let limited = plan.supply.current_limit * LIMITED_SHARE < context.senses.smooth_current();
        match late || sags {
            true if self.rises() && limited => Step::Fault(Finding::Shorted),
            true => Step::Fault(Finding::InstrumentLost),
            false => Step::Stay,
        }
    }

    /// The zero, once its window is over.
    fn end(&mut self, context: &mut Context) -> Step {
        let Self::Reading { full_at, range, window } = self else { return Step::Stay };
        if context.now - *full_at < window.until() {
            return Step::Stay;
        }
        let settled = window.settled();
        context.tally.zero = settled.map(|settled| zero(context.plan, &settled, *range));
        Step::Next(State::Bleed(Bleed::after_soak(context)))
    }
}

/// The current does not fit the range: one range up, and out if there is none.
fn widen(context: &mut Context, ranging: &mut Ranging, range: RangeIndex) -> Step {
    if range != ranging.wanted() {
        return Step::Stay;
    }
    let Some(wanted) = wider(context, range) else { return Step::Fault(Finding::Shorted) };
    *ranging = Ranging::to(wanted, context);
    Step::Stay
}

/// The mean of the window; its doubt is the scatter and the meter's error bound (GUM §5.1).
fn zero(plan: &Plan, settled: &Settled, range: RangeIndex) -> Zero {
    let bound = rectangular(plan.meter.range(range).error_at(settled.current));
    let uncertainty = amperes(bound.value.hypot(settled.scatter.value));
    Zero { current: settled.current, uncertainty }
}
