//! The proof of contact: lower the voltage a little and see the charge come back, so that a clip
//! that fell off is not taken for a part that leaks nothing.
//!
//! It is given at every soak's end, and midway when the current ceases from one moment to the next.

use super::bleed::Bleed;
use super::returned::FEIGNED_SHARE;
use super::rise::PROVING;
use super::soak::{HEADROOM, SETTLING_CONSTANTS, seems_to_give_way};
use super::{Context, Input, Order, Sample, State, Step, round_down};
use crate::judge::Finding;
use crate::plan::{Bleeder, RangeIndex, ZERO_READINGS};
use crate::quantity::{Charge, Current, Time, Voltage, amperes, coulombs};

/// The voltage is lowered to this share of the test voltage to see charge come back.
const PROOF_SHARE: f64 = 0.7;
/// Midway it is lowered to this share only, to disturb the absorption little.
const MIDWAY_SHARE: f64 = 0.95;
/// Share of the charge that went in whose return proves the contact.
const PROOF_CHARGE_SHARE: f64 = 0.5;

/// The proof under way.
#[derive(Debug, Clone)]
pub(super) struct Closing {
    share: f64,
    then: Then,
    since: Time,
    wanted: RangeIndex,
    /// Readings on the wanted range that do not count yet.
    unused: u8,
    /// What still flows before the voltage is lowered, the meter's zero in it.
    before: Current,
    stage: Stage,
}

/// What follows the proof.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Then {
    Bleed,
    Resume,
}

#[derive(Debug, Clone, Copy)]
enum Stage {
    /// The meter goes to its range and reads what flows at the full voltage.
    Reading { sum: Current, count: u8 },
    /// The voltage goes down.
    Lowering { since: Time, set: Voltage, returned: Charge, feigned: Charge, last_at: Time },
    /// Midway, with the contact proven: the voltage goes up again.
    Raising { since: Time, from: Voltage, set: Voltage },
    /// Midway, and back at the test voltage.
    Resumed,
}

impl Closing {
    /// The proof after the last reading: the part is emptied then.
    pub(super) fn begin(context: &mut Context) -> Self {
        Self::lower_to(PROOF_SHARE, Then::Bleed, context)
    }

    /// The proof in the middle of a soak, which then goes on; none where the meter could not see
    /// so little charge, or where the relay's own discharge is the proof.
    pub(super) fn midway(context: &mut Context) -> Option<Self> {
        let plan = context.plan;
        let charge = plan.full_charge() * plan.part.least_ratio * (1.0 - MIDWAY_SHARE);
        let seen =
            plan.ramp.charge_floor < charge && !matches!(plan.discharge.bleeder, Bleeder::Relay(_));
        seen.then(|| Self::lower_to(MIDWAY_SHARE, Then::Resume, context))
    }

    /// Whether a proof in the middle of a soak is over.
    pub(super) fn has_resumed(&self) -> bool {
        matches!(self.stage, Stage::Resumed)
    }

    fn lower_to(share: f64, then: Then, context: &mut Context) -> Self {
        let plan = context.plan;
        let wanted = if matches!(plan.discharge.bleeder, Bleeder::Relay(_)) {
            plan.meter.bleed
        } else {
            let flow = plan.full_charge() * plan.part.greatest_ratio / plan.ramp.rise;
            let leaks = context.senses.smooth_current().abs() * HEADROOM;
            plan.meter.range_for((flow * 3.0).max(leaks)).min(plan.meter.surge)
        };
        context.orders.push(Order::SelectRange(wanted));
        let unused = plan.meter.settling_readings;
        let stage = Stage::Reading { sum: amperes(0.0), count: 0 };
        Self { share, then, since: context.now, wanted, unused, before: amperes(0.0), stage }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        if let Input::Current { sample, .. } = input
            && self.is_beyond(context, sample)
        {
            return seems_to_give_way(context);
        }
        match self.stage {
            Stage::Reading { sum, count } => self.read(context, input, (sum, count)),
            Stage::Lowering { since, .. } => self.lower(context, input, since),
            Stage::Raising { since, from, set } => self.raise(context, since, (from, set)),
            Stage::Resumed => Step::Stay,
        }
    }

    /// Whether a reading in the proof is one of a part that gives way. Charge that comes back fast
    /// is none, and charge that goes in again none either, up to what a bench can deliver at all.
    fn is_beyond(&self, context: &Context, sample: Sample<Current>) -> bool {
        let cut_out = &context.plan.cut_out;
        let charging = matches!(self.stage, Stage::Raising { .. });
        match sample {
            Sample::Value(current) => {
                (cut_out.soak <= current && !charging) || cut_out.surge <= current.abs()
            }
            Sample::Overload { negative } => !negative,
            Sample::NotANumber => false,
        }
    }

    fn read(&mut self, context: &mut Context, input: Input, (sum, count): (Current, u8)) -> Step {
        if context.now - self.since > context.plan.cut_out.stale * 4.0 {
            return Step::Fault(Finding::InstrumentLost);
        }
        let Input::Current { sample: Sample::Value(current), range } = input else {
            return Step::Stay;
        };
        if range != self.wanted {
            return Step::Stay;
        }
        if 0 < self.unused {
            self.unused -= 1;
            return Step::Stay;
        }
        if matches!(context.plan.discharge.bleeder, Bleeder::Relay(_)) {
            // The relay's own discharge shows the charge; it is counted in `bleed`.
            return Step::Next(State::Bleed(Bleed::after_soak(context)));
        }
        let (sum, count) = (sum + current, count + 1);
        self.stage = Stage::Reading { sum, count };
        if ZERO_READINGS <= count {
            self.before = sum / f64::from(count);
            let (since, set) = (context.now, context.plan.test_voltage);
            let (returned, feigned) = (coulombs(0.0), coulombs(0.0));
            self.stage = Stage::Lowering { since, set, returned, feigned, last_at: since };
        }
        Step::Stay
    }

    fn lower(&mut self, context: &mut Context, input: Input, since: Time) -> Step {
        let plan = context.plan;
        if let Input::Current { sample, range } = input {
            self.count(context, sample, range);
            // A step goes with the start of a reading, which then holds the whole of its charge.
            self.order_down(context);
        }
        if self.has_returned(context) {
            if let (Then::Resume, Stage::Lowering { set, .. }) = (self.then, self.stage) {
                self.stage = Stage::Raising { since: context.now, from: set, set };
                return Step::Stay;
            }
            context.tally.charge_out = true;
            return Step::Next(State::Bleed(Bleed::after_soak(context)));
        }
        let constant = plan.path(self.wanted) * plan.part.capacitance * plan.part.greatest_ratio;
        let allowed = plan.ramp.rise + constant * SETTLING_CONSTANTS + plan.cut_out.stale * 2.0;
        if context.now - since <= allowed {
            return Step::Stay;
        }
        if plan.full_charge() * plan.part.least_ratio < plan.ramp.charge_floor * 5.0 {
            // Too little charge for this meter to see, in either direction.
            return Step::Next(State::Bleed(Bleed::after_soak(context)));
        }
        Step::Fault(Finding::ContactLost)
    }

    /// Whether enough charge came back, and more than the meter's error can feign.
    fn has_returned(&self, context: &Context) -> bool {
        let Stage::Lowering { returned, feigned, .. } = self.stage else { return false };
        let needed = proving_charge(context) * (1.0 - self.share);
        needed.max(feigned * FEIGNED_SHARE) <= returned
    }

    /// Counts by how much less flows into the part than an ohmic leak would at the lowered voltage: a
    /// fixture that leaks must not pass for a part. A reading that the meter can't tell from zero
    /// proves nothing: a leakage that ceased because the clip fell off looks so.
    fn count(&mut self, context: &Context, sample: Sample<Current>, range: RangeIndex) {
        let Stage::Lowering { returned, feigned, last_at, set, .. } = &mut self.stage else {
            return;
        };
        let facts = context.plan.meter.range(range);
        let current = match sample {
            Sample::Value(current) => current,
            Sample::Overload { negative: true } => -facts.full_scale,
            Sample::Overload { negative: false } | Sample::NotANumber => return,
        };
        let span = context.plan.spoken_for(context.now - *last_at, context.plan.path(range));
        *last_at = context.now;
        let ohmic = self.before * (*set / context.plan.test_voltage).value;
        let error = facts.error_at(current);
        if error < current.abs() {
            *returned += (ohmic - current) * span;
        }
        *feigned += error * span;
    }

    /// Back up as slowly as on the way up; then the soak goes on.
    fn raise(
        &mut self,
        context: &mut Context,
        since: Time,
        (from, set): (Voltage, Voltage),
    ) -> Step {
        let plan = context.plan;
        let share = ((context.now - since) / plan.ramp.rise).value;
        let due = (from + plan.test_voltage * share).min(plan.test_voltage);
        let next = round_down(due, plan.supply.voltage_step);
        if set < next {
            context.orders.push(Order::SetVoltage(next));
            self.stage = Stage::Raising { since, from, set: next };
        }
        if plan.test_voltage <= due {
            self.stage = Stage::Resumed;
        }
        Step::Stay
    }

    fn order_down(&mut self, context: &mut Context) {
        let lowest = self.share;
        let Stage::Lowering { since, set, .. } = &mut self.stage else { return };
        let plan = context.plan;
        let share = ((context.now - *since) / plan.ramp.rise).value;
        let due = plan.test_voltage * (1.0 - share).max(lowest);
        let next = round_down(due, plan.supply.voltage_step);
        if next < *set {
            *set = next;
            context.orders.push(Order::SetVoltage(next));
        }
    }
}

/// Charge that proves the contact if it comes back on the way to 0 V: half of what was measured to
/// have gone in, less where bias takes capacitance away, and more than the empty fixture holds.
fn proving_charge(context: &Context) -> Charge {
    let plan = context.plan;
    let printed = plan.full_charge() * plan.part.least_ratio;
    let leakage = context.tally.leaked_early.max(Current::default());
    let measured = context.tally.count.capacitance(context.tally.counted_to, leakage);
    let measured = measured.filter(|_| context.tally.charge_in).map(|it| it * plan.test_voltage);
    let share = PROOF_CHARGE_SHARE.min(plan.part.least_ratio);
    (measured.unwrap_or(printed) * share).max(plan.ramp.charge_floor * PROVING)
}
