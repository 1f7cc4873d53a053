//! The charge that comes back while a part empties: the proof that it still hangs on its clips.

use super::{Context, Sample};
use crate::plan::{Plan, RangeIndex};
use crate::quantity::{Charge, Current, Time, amperes, coulombs};

/// Charge below this share of what the meter's error can feign proves nothing.
pub(super) const FEIGNED_SHARE: f64 = 0.2;
/// Time constants of the bleeding loop over which charge comes back.
const EMPTYING_CONSTANTS: f64 = 7.0;
/// Share that shows after a fault that the part still hung on the clips: most of the charge may be
/// gone before the meter is on its range. Empty clips give none.
const LEAST_RETURN_SHARE: f64 = 0.01;
/// Time constants of the bleeding loop after which e⁻³, a twentieth, is left to be seen.
const LATE_CONSTANTS: f64 = 3.0;
/// Readings of an emptying part that are enough to see charge by.
const LOOKS: u16 = 5;

/// What came back so far.
#[derive(Debug, Clone)]
pub(super) struct Returned {
    charge: Charge,
    /// Charge that the meter's own error can feign over the time counted.
    feigned: Charge,
    /// Readings in which charge would have been seen to come back.
    looked: u16,
    /// The first reading.
    first: Option<First>,
    /// Readings that only repeat one of before the output went off.
    hung: u16,
    /// What was read last before it did, in magnitude.
    last: [Current; 3],
    /// Until then the part can't have been emptied.
    full_until: Time,
    /// When the output was ordered off.
    ordered_off: Time,
    /// From when the part empties: the output is proven off. Until then: now.
    empties_from: Time,
    last_at: Time,
}

/// When the first reading of an emptying part came.
#[derive(Debug, Clone, Copy)]
struct First {
    /// It began when much of the charge may have been gone.
    late: bool,
    /// After the output was ordered off.
    after: Time,
}

impl Returned {
    /// Nothing yet; the output was ordered off at `now`, the part was not emptied before `full_until`,
    /// and `last` was read last.
    pub(super) fn since(full_until: Time, now: Time, last: [Current; 3]) -> Self {
        Self {
            charge: coulombs(0.0),
            feigned: coulombs(0.0),
            looked: 0,
            first: None,
            hung: 0,
            last,
            full_until,
            ordered_off: now,
            empties_from: now,
            last_at: now,
        }
    }

    /// Counts a reading by what exceeds the meter's error, while the part empties; an overload is at
    /// least the range's end. Later there is only the meter's zero to count.
    pub(super) fn count(
        &mut self,
        context: &Context,
        proven_off: bool,
        sample: Sample<Current>,
        range: RangeIndex,
    ) {
        let facts = context.plan.meter.range(range);
        let current = match sample {
            Sample::Value(current) => current,
            Sample::Overload { negative: true } => -facts.full_scale,
            Sample::Overload { negative: false } | Sample::NotANumber => return,
        };
        let span = context.now - self.last_at;
        self.last_at = context.now;
        if !proven_off {
            self.empties_from = context.now;
        }
        if emptying_time(context.plan, range) < context.now - self.empties_from {
            return;
        }
        let since = context.now - self.full_until;
        self.first.get_or_insert_with(|| First {
            late: is_late(context.plan, since, range),
            after: context.now - self.ordered_off,
        });
        let error = facts.error_at(current);
        // A display that stands, whatever the part does, shows nothing of it.
        let stands = error < current.abs() && self.last.contains(&current.abs());
        let count = if stands { &mut self.hung } else { &mut self.looked };
        *count = count.saturating_add(1);
        let beyond = (current.abs() - error).max(amperes(0.0));
        self.charge -= if current < amperes(0.0) { -beyond } else { beyond } * span;
        self.feigned += error * span;
    }

    /// Whether `needed` came back, and more than the meter's error can feign.
    pub(super) fn reaches(&self, needed: Charge) -> bool {
        needed.max(self.feigned * FEIGNED_SHARE) <= self.charge
    }

    /// Whether so much came back of the charge held as no empty clips could give.
    pub(super) fn shows_some_of(&self, held: Charge) -> bool {
        self.reaches(least_of(held))
    }

    /// Whether the meter only repeated what it had read before.
    pub(super) fn hangs(&self) -> bool {
        LOOKS <= self.hung && self.is_unseen()
    }

    /// Whether there were too few readings to see charge by.
    pub(super) fn is_unseen(&self) -> bool {
        self.looked < LOOKS
    }

    /// Whether the part may have been empty before the first of them began.
    pub(super) fn is_missed(&self) -> bool {
        self.first.is_some_and(|first| first.late)
    }

    /// Whether the meter was not heard while it emptied, or only after longer than `stale`: a small part
    /// that empties between two readings is another matter.
    pub(super) fn is_slept_through(&self, stale: Time) -> bool {
        self.first.is_none_or(|first| first.late && stale < first.after)
    }
}

/// The least of the charge held that shows a part.
pub(super) fn least_of(held: Charge) -> Charge {
    held * LEAST_RETURN_SHARE
}

/// How long charge comes back: until the loop has emptied the part, or the supply has pulled it
/// down, and the readings of that time are in.
fn emptying_time(plan: &Plan, range: RangeIndex) -> Time {
    let constant = plan.bleed_loop(range) * plan.part.capacitance * plan.part.greatest_ratio;
    constant * EMPTYING_CONSTANTS + plan.cut_out.stale * 2.0
}

/// Whether a reading that ends `since` the part was last full began so late that little more than
/// [`LEAST_RETURN_SHARE`] of the charge may be left to be seen: the meter changed its range or was lost,
/// or the host stood still.
fn is_late(plan: &Plan, since: Time, range: RangeIndex) -> bool {
    let constant = plan.bleed_loop(range) * plan.part.capacitance * plan.part.least_ratio;
    constant * LATE_CONSTANTS < since - plan.meter.interval
}
