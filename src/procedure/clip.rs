//! Watching the clip at the probe voltage: a part comes out, another goes in, and nobody has to
//! touch a key.
//!
//! The voltage goes up to the probe voltage and back to 0 V again and again. What is there takes
//! charge on the way up; an empty clip takes none. The output never goes above the probe voltage,
//! which may be touched.

use super::bleed::Bleed;
use super::{Context, Input, Order, Sample, State, Step, round_down};
use crate::plan::{LOOK_CONSTANTS, LOOK_READINGS, Plan};
use crate::quantity::{Charge, Time, Voltage, coulombs, seconds, volts};

/// Less than this share of the least accepted charge is an empty clip, as in the probe.
const EMPTY_SHARE: f64 = 0.2;
/// Looks in a row that must agree: hands tremble.
const AGREEING: u8 = 2;
/// Steps that a rise is made in, so that no charge slips between two readings.
const STEPS: f64 = 4.0;

/// The watch under way.
#[derive(Debug, Clone)]
pub(super) struct ClipWatch {
    /// The part before must have come out first.
    awaits_gone: bool,
    agreeing: u8,
    rising: bool,
    since: Time,
    set: Voltage,
    charge: Charge,
    last_at: Option<Time>,
}

impl ClipWatch {
    pub(super) fn begin(now: Time, awaits_gone: bool) -> Self {
        Self {
            awaits_gone,
            agreeing: 0,
            rising: true,
            since: now,
            set: volts(0.0),
            charge: coulombs(0.0),
            last_at: None,
        }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        let Input::Current { sample, .. } = input else { return Step::Stay };
        let plan = context.plan;
        let span = self.last_at.map_or(seconds(0.0), |last| context.now - last);
        self.last_at = Some(context.now);
        if let Sample::Value(current) = sample {
            let span = plan.spoken_for(span, context.senses.path(plan));
            self.charge += (current - context.tally.offset) * span;
        }
        self.drive(context);
        if context.now - self.since < level_time(plan) {
            return Step::Stay;
        }
        self.look(context)
    }

    /// One step towards the level, with the start of a reading, which then holds its charge.
    fn drive(&mut self, context: &mut Context) {
        let plan = context.plan;
        let top = plan.probe.voltage;
        let step = (top / STEPS).max(plan.supply.voltage_step);
        let next = if self.rising {
            (self.set + step).min(top)
        } else {
            (self.set - step).max(volts(0.0))
        };
        let next = round_down(next, plan.supply.voltage_step);
        if next.value.to_bits() != self.set.value.to_bits() {
            self.set = next;
            context.orders.push(Order::SetVoltage(next));
        }
    }

    /// The end of a level: on the way up it shows whether something took charge.
    fn look(&mut self, context: &mut Context) -> Step {
        let plan = context.plan;
        let charge = std::mem::take(&mut self.charge);
        (self.since, self.rising) = (context.now, !self.rising);
        if self.rising {
            return Step::Stay;
        }
        let least = plan.part.capacitance * plan.part.least_ratio * plan.probe.voltage;
        let there = least * EMPTY_SHARE <= charge;
        self.agreeing = if there == self.awaits_gone { 0 } else { self.agreeing + 1 };
        if self.agreeing < AGREEING {
            return Step::Stay;
        }
        self.agreeing = 0;
        if self.awaits_gone {
            self.awaits_gone = false;
            return Step::Stay;
        }
        context.tally.clipped = true;
        Step::Next(State::Bleed(Bleed::after_soak(context)))
    }
}

/// How long a level takes: its steps, and the time for the part to follow.
fn level_time(plan: &Plan) -> Time {
    let constant = plan.path(plan.meter.surge) * plan.part.capacitance * plan.part.greatest_ratio;
    plan.meter.interval * LOOK_READINGS + constant * LOOK_CONSTANTS
}
