//! The probe: is the part charged, is one there, is it sane at a few per cent of its voltage?

use super::clip::ClipWatch;
use super::fixture::Fixture;
use super::forming::Form;
use super::outcome::probed_capacitance;
use super::rise::Ramp;
use super::{Context, Input, Order, Orders, State, Step, Switch, round_down};
use crate::judge::Finding;
use crate::plan::{OutputState, Plan, Purpose, Sample, ZERO_READINGS};
use crate::quantity::{Current, Time, Voltage, amperes, seconds, volts};

/// A part below this voltage, or below a hundredth of its test voltage, is empty (handbook §4.1).
const EMPTY: f64 = 0.5; // V
/// At the end of the probe a part below this share of the probe voltage is a short.
const SHORT_SHARE: f64 = 0.2;
/// Less than this share of the least accepted charge is no contact (an open fixture has 100 pF).
const NO_CONTACT_SHARE: f64 = 0.2;

/// Where the probe stands.
#[derive(Debug, Clone)]
pub(super) enum Probe {
    /// Output off; waiting for that to be proven and for an empty part.
    Look { since: Time, written: Time },
    /// The part is empty; the meter's zero is read.
    Zeroing { since: Time, sum: Current, count: u8 },
    /// Protections and limits are being set and read back.
    Arming { since: Time },
    /// The output was ordered on at 0 V.
    SwitchingOn { since: Time },
    /// The voltage goes up to the probe voltage.
    Raising { since: Time, ordered: (Time, Voltage) },
    /// The probe voltage is held.
    Holding { since: Time },
}

impl Probe {
    pub(super) fn begin(plan: &Plan, now: Time, orders: &mut Orders) -> Self {
        orders.push(Order::CutOut);
        orders.push(Order::Bleeder(Switch::On));
        if plan.bypassed {
            orders.push(Order::Bypass(Switch::Off));
        }
        orders.push(Order::SelectRange(plan.meter.surge));
        Self::Look { since: now, written: now }
    }

    pub(super) fn is_on(&self) -> bool {
        matches!(self, Self::Raising { .. } | Self::Holding { .. })
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        match *self {
            Self::Look { since, written } => self.look(context, input, since, written),
            Self::Zeroing { since, sum, count } => self.zero(context, input, since, (sum, count)),
            Self::Arming { since } => self.arm(context, input, since),
            Self::SwitchingOn { since } => self.switch_on(context, input, since),
            Self::Raising { since, ordered } => self.raise(context, input, since, ordered),
            Self::Holding { since } => Self::hold(context, since),
        }
    }

    fn look(&mut self, context: &mut Context, input: Input, since: Time, written: Time) -> Step {
        let (plan, now) = (context.plan, context.now);
        let off = context.senses.output() == OutputState::Off;
        if !off && now - written >= plan.discharge.repeat {
            context.orders.push(Order::CutOut);
            *self = Self::Look { since, written: now };
        }
        if now - since > plan.discharge.budget {
            return Step::Fault(if off {
                Finding::AlreadyCharged
            } else {
                Finding::InstrumentLost
            });
        }
        let fresh = matches!(input, Input::Voltage(_) | Input::Current { .. });
        let Some(voltage) = context.senses.bleeding_voltage(plan, now).filter(|_| off && fresh)
        else {
            return Step::Stay;
        };
        if voltage.abs() > plan.discharge.safe_voltage {
            context.tally.came_charged = true;
        }
        if voltage.abs() > volts(EMPTY).max(plan.test_voltage * 0.01) {
            return Step::Stay;
        }
        *self = Self::Zeroing { since: now, sum: amperes(0.0), count: 0 };
        Step::Stay
    }

    /// With nothing driving it, what the meter reads is its own offset (handbook §3.7), which
    /// counting charge on a wide range can't do without. A rest of charge that still flows off
    /// is waited for, and left in the count if it does not end.
    fn zero(
        &mut self,
        context: &mut Context,
        input: Input,
        since: Time,
        (sum, count): (Current, u8),
    ) -> Step {
        let (plan, now) = (context.plan, context.now);
        let mut so_far = (sum, count);
        if let Input::Current { sample: Sample::Value(current), range } = input {
            let quiet = current.abs() <= plan.meter.range(range).accuracy.fixed * 2.0;
            let counts = range == plan.meter.surge && quiet;
            so_far = if counts { (sum + current, count + 1) } else { (amperes(0.0), 0) };
        }
        let patience = (plan.cut_out.stale * 2.0).max(seconds(10.0));
        if ZERO_READINGS <= so_far.1 {
            context.tally.offset = so_far.0 / f64::from(so_far.1);
        } else if now - since <= patience {
            *self = Self::Zeroing { since, sum: so_far.0, count: so_far.1 };
            return Step::Stay;
        }
        context.orders.push(Order::Arm);
        *self = Self::Arming { since: now };
        Step::Stay
    }

    fn arm(&mut self, context: &mut Context, input: Input, since: Time) -> Step {
        if input == Input::Armed {
            context.orders.push(Order::Bleeder(Switch::Off));
            if context.plan.bypassed {
                context.orders.push(Order::Bypass(Switch::On));
            }
            context.orders.push(Order::SwitchOn);
            *self = Self::SwitchingOn { since: context.now };
            return Step::Stay;
        }
        patience(context, since)
    }

    fn switch_on(&mut self, context: &mut Context, input: Input, since: Time) -> Step {
        if input == Input::Output(OutputState::On) {
            let now = context.now;
            if let Purpose::ClipWatch { awaits_gone } = context.plan.purpose {
                return Step::Next(State::Clip(ClipWatch::begin(now, awaits_gone)));
            }
            if context.plan.purpose == Purpose::Zero {
                return Step::Next(State::Fixture(Fixture::begin(now)));
            }
            *self = Self::Raising { since: now, ordered: (now, volts(0.0)) };
            return Step::Stay;
        }
        patience(context, since)
    }

    fn raise(
        &mut self,
        context: &mut Context,
        input: Input,
        since: Time,
        (at, set): (Time, Voltage),
    ) -> Step {
        let (plan, now) = (context.plan, context.now);
        // A step goes with the start of a reading, which then holds the whole of its charge, and
        // only once the voltage was read: a slow supply must not hear orders alone.
        if !matches!(input, Input::Current { .. }) || !context.senses.has_read_since(at) {
            return patience(context, since);
        }
        let share = ((now - since) / plan.probe.rise).value.min(1.0);
        let next = round_down(plan.probe.voltage * share, plan.supply.voltage_step);
        if set < next {
            context.orders.push(Order::SetVoltage(next));
            *self = Self::Raising { since, ordered: (now, next) };
        }
        if share >= 1.0 {
            *self = Self::Holding { since: now };
        }
        Step::Stay
    }

    fn hold(context: &mut Context, since: Time) -> Step {
        let (plan, now) = (context.plan, context.now);
        // With a current of now, a voltage of before would make a short of a part that is none.
        if !context.senses.has_read_since(since + plan.probe.hold) {
            return Step::Stay;
        }
        let Some(voltage) = context.senses.part_voltage(plan, now) else { return Step::Stay };
        if voltage < plan.probe.voltage * SHORT_SHARE {
            let shorted = drives(context, plan.probe.voltage * SHORT_SHARE);
            return Step::Fault(if shorted { Finding::Shorted } else { Finding::InstrumentLost });
        }
        if context.senses.smooth_current() > plan.probe.conducts {
            return Step::Fault(Finding::ConductsAtLowVoltage);
        }
        if has_no_contact(context, voltage) {
            return Step::Fault(Finding::NoContact);
        }
        let leakage = context.senses.smooth_current() - context.tally.offset;
        context.tally.probed = probed_capacitance(plan, context.tally, voltage, leakage);
        Step::Next(match plan.purpose {
            Purpose::Reform(_) => State::Form(Box::new(Form::begin(now, plan.probe.voltage))),
            Purpose::Soak | Purpose::Staircase(_) | Purpose::ClipWatch { .. } | Purpose::Zero => {
                State::Ramp(Ramp::begin(now, plan.probe.voltage))
            }
        })
    }
}

/// Whether the supply does its part at the probe: it stands at `voltage` or is in current limit. One
/// that gives neither was not raised, and a part that stays low with it is no short.
fn drives(context: &Context, voltage: Voltage) -> bool {
    let holds = context.plan.supply.current_limit * 0.5 < context.senses.smooth_current();
    holds || context.senses.terminals().is_some_and(|terminals| voltage <= terminals)
}

/// Whether the probe's charge is far too small, where the meter could have seen it.
fn has_no_contact(context: &Context, voltage: Voltage) -> bool {
    let plan = context.plan;
    let least = plan.part.capacitance * plan.part.least_ratio;
    if least * voltage < plan.probe.charge_floor * 10.0 {
        return false;
    }
    let leakage = context.senses.smooth_current() - context.tally.offset;
    let capacitance = context.tally.count.capacitance(voltage, leakage);
    !capacitance.is_some_and(|capacitance| least * NO_CONTACT_SHARE <= capacitance)
}

/// Waits for an answer, within the time that a supply may take over a group of settings.
fn patience(context: &Context, since: Time) -> Step {
    let allowed = (context.plan.cut_out.stale * 5.0).max(seconds(5.0)) + context.plan.probe.rise;
    if context.now - since > allowed {
        return Step::Fault(Finding::InstrumentLost);
    }
    Step::Stay
}
