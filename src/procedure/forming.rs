//! Re-forming an aged wet aluminium part: the voltage creeps up as fast as a small current lets it,
//! in steps, and the last step is held long (handbook §4.5).
//!
//! The current is held small by how far the voltage is raised with each reading; the supply's own
//! limit stands behind it.

use super::closing::Closing;
use super::rise::Fall;
use super::soak::gave_way;
use super::{Context, Input, Order, Sample, Step, round_down};
use crate::judge::Finding;
use crate::plan::{FORMING_SHARES, Forming, Plan, Purpose};
use crate::quantity::{Charge, Current, Time, Voltage, amperes, coulombs, seconds};

/// A part that takes this multiple of the forming current has given way.
const TOO_MUCH: f64 = 4.0;
/// Readings in a row that make it so: one may hold the pulse of a step.
const TOO_MUCH_READINGS: u8 = 3;
/// The current is compared with that of so long ago (handbook §4.5: 5 min).
const MARK: f64 = 300.0; // s
/// A step of the voltage has died away after this.
const DIES_AWAY: f64 = 10.0; // s
/// A fall by less than this part in that time is none (handbook §4.5).
const FALL: f64 = 0.05;
/// A rise by this part in that time is one (handbook §4.2).
const RISE: f64 = 0.2;
/// A step is done below this multiple of the limit, times its share (handbook §4.5).
const LOW: f64 = 2.0;
/// Weight of a new reading in the current that is compared.
const SMOOTHING: f64 = 0.05;

/// What re-forming came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Formed {
    /// What the part drew when it first stood at the rating.
    pub before: Current,
    /// What it drew at the end of the final hold.
    pub after: Current,
    /// Charge that went in beyond what a part at its limit leaks meanwhile.
    pub charge: Charge,
    /// The current ended below the limit.
    pub good: bool,
}

/// Re-forming under way.
#[derive(Debug, Clone)]
pub(super) struct Form {
    step: usize,
    set: Voltage,
    ordered: Time,
    last_at: Option<Time>,
    charge: Charge,
    smooth: Option<Current>,
    before: Option<Current>,
    beyond: u8,
    fall: Fall,
    stage: Stage,
    closing: Option<Closing>,
}

#[derive(Debug, Clone, Copy)]
enum Stage {
    /// The voltage creeps up to the step.
    Rising { since: Time },
    /// The step is held; the mark is what flowed some time ago, once the step itself had died away.
    Holding { since: Time, mark: Option<(Time, Current)> },
}

impl Form {
    pub(super) fn begin(now: Time, from: Voltage) -> Self {
        Self {
            step: 0,
            set: from,
            ordered: now,
            last_at: None,
            charge: coulombs(0.0),
            smooth: None,
            before: None,
            beyond: 0,
            fall: Fall::default(),
            stage: Stage::Rising { since: now },
            closing: None,
        }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        if let Some(closing) = &mut self.closing {
            return closing.step(context, input);
        }
        if self.fall.watch(context, input) {
            return gave_way(context);
        }
        let Purpose::Reform(forming) = context.plan.purpose.clone() else { return Step::Stay };
        let Input::Current { sample: Sample::Value(current), .. } = input else {
            return Step::Stay;
        };
        if let Some(fault) = self.take(context, &forming, current) {
            return fault;
        }
        match self.stage {
            Stage::Rising { since } => self.rise(context, &forming, current, since),
            Stage::Holding { since, mark } => self.hold(context, &forming, since, mark),
        }
    }

    /// Counts a reading; a step if it is one too many.
    fn take(&mut self, context: &mut Context, forming: &Forming, current: Current) -> Option<Step> {
        let span = self.last_at.map_or(seconds(0.0), |last| context.now - last);
        self.last_at = Some(context.now);
        self.charge += (current - forming.enough).max(amperes(0.0)) * span;
        let before = self.smooth.unwrap_or(current);
        self.smooth = Some(before * (1.0 - SMOOTHING) + current * SMOOTHING);
        let beyond = forming.current * TOO_MUCH < current;
        self.beyond = if beyond { self.beyond + 1 } else { 0 };
        if TOO_MUCH_READINGS <= self.beyond {
            return Some(gave_way(context));
        }
        if forming.charge_bound < self.charge {
            context.tally.overfilled = true;
            return Some(Step::Fault(Finding::HeldBelowTestVoltage));
        }
        None
    }

    /// Raises the voltage by what the forming current charges in one reading.
    fn rise(
        &mut self,
        context: &mut Context,
        forming: &Forming,
        current: Current,
        since: Time,
    ) -> Step {
        let plan = context.plan;
        if forming.stall < context.now - since {
            context.tally.overfilled = true;
            return Step::Fault(Finding::HeldBelowTestVoltage);
        }
        let due = self.due(plan);
        if due <= self.set {
            self.stage = Stage::Holding { since: context.now, mark: None };
            return Step::Stay;
        }
        let followed = context.senses.followed(self.ordered, self.set - plan.supply.agreement);
        if current < forming.current && followed {
            let step = forming.current * plan.meter.interval / plan.part.capacitance;
            let step = step.min(plan.ramp.largest_step).max(plan.supply.voltage_step);
            let next = round_down((self.set + step).min(due), plan.supply.voltage_step);
            (self.set, self.ordered) = (next, context.now);
            context.orders.push(Order::SetVoltage(next));
        }
        Step::Stay
    }

    /// The voltage of the step, as the supply can set it.
    fn due(&self, plan: &Plan) -> Voltage {
        let share = FORMING_SHARES.get(self.step).copied().unwrap_or(1.0);
        round_down(plan.test_voltage * share, plan.supply.voltage_step)
    }

    fn is_last(&self) -> bool {
        FORMING_SHARES.len() <= self.step + 1
    }

    fn hold(
        &mut self,
        context: &mut Context,
        forming: &Forming,
        since: Time,
        mark: Option<(Time, Current)>,
    ) -> Step {
        let current = self.smooth.unwrap_or_default();
        let held = context.now - since;
        let due = mark.map_or(since + seconds(DIES_AWAY), |(at, _)| at + seconds(MARK));
        let marking = due <= context.now;
        if marking {
            self.stage = Stage::Holding { since, mark: Some((context.now, current)) };
        }
        let past = mark.filter(|_| marking).map(|(_, past)| past);
        if past.is_some_and(|past| past * (1.0 + RISE) < current && forming.noise < current) {
            return Step::Fault(Finding::RunsAway);
        }
        let stuck = past.is_some_and(|past| past * (1.0 - FALL) < current);
        if marking && mark.is_none() && self.is_last() {
            self.before = Some(current);
        }
        if self.is_last() {
            let hopeless = stuck && forming.enough < current && forming.least_hold <= held;
            if hopeless || forming.final_hold <= held {
                self.conclude(context, forming, current);
            }
            return Step::Stay;
        }
        let share = FORMING_SHARES[self.step];
        let low = current < (forming.enough * share * LOW).max(forming.noise);
        if (forming.least_hold <= held && (low || stuck)) || forming.most_hold <= held {
            self.step += 1;
            self.stage = Stage::Rising { since: context.now };
        }
        Step::Stay
    }

    /// Writes down what it came to, and proves the contact.
    fn conclude(&mut self, context: &mut Context, forming: &Forming, after: Current) {
        let before = self.before.unwrap_or(after);
        let good = after < forming.enough;
        context.tally.formed = Some(Formed { before, after, charge: self.charge, good });
        self.closing = Some(Closing::begin(context));
    }
}
