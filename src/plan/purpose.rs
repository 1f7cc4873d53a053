//! What a run is for: a soak, a staircase of voltages, re-forming, or watching the clip.

use arrayvec::ArrayVec;

use super::{Plan, Target, Until};
use crate::quantity::{Charge, Current, Time, Voltage, seconds};

/// The most steps of a staircase.
pub const MOST_STAIRS: usize = 24;

/// What a run is for.
#[derive(Debug, Clone, PartialEq)]
pub enum Purpose {
    /// One reading at the test voltage.
    Soak,
    /// A reading at each of several voltages.
    Staircase(Stairs),
    /// Growing the oxide of an aged wet aluminium part back.
    Reform(Forming),
    /// Looking, at the probe voltage, for a part to come out of the clip and another to go in.
    ClipWatch {
        /// The part that was there before must come out first.
        awaits_gone: bool,
    },
}

/// The steps of a staircase.
#[derive(Debug, Clone, PartialEq)]
pub struct Stairs {
    /// Voltages from the lowest up; the last is the test voltage.
    pub voltages: ArrayVec<Voltage, MOST_STAIRS>,
    /// Time at full voltage of each step; its reading is taken at the end.
    pub dwell: Time,
}

/// How a part is re-formed (handbook §4.5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forming {
    /// The part takes no more than this while the voltage creeps up.
    pub current: Current,
    /// A holding current below this, times the step's share of the voltage, is low enough.
    pub enough: Current,
    /// Least current that the meter can tell, times three.
    pub noise: Current,
    /// Shortest hold of a step.
    pub least_hold: Time,
    /// Longest hold of a step; at the last step, the final hold.
    pub most_hold: Time,
    /// Length of the final hold.
    pub final_hold: Time,
    /// A voltage that stays below its step for longer has stalled.
    pub stall: Time,
    /// More charge than this, beyond what a part at its limit leaks meanwhile, goes into no part
    /// that can be saved.
    pub charge_bound: Charge,
}

/// Steps of the re-forming, as shares of the rated voltage (handbook §4.5).
pub const FORMING_SHARES: [f64; 5] = [0.25, 0.5, 0.75, 0.9, 1.0];

impl Plan {
    /// The same plan for a reading at a lower voltage after a dwell: one step of a staircase.
    ///
    /// The supply's protections stay those of the whole, since they are set once.
    #[must_use]
    pub fn at_stair(&self, voltage: Voltage, dwell: Time) -> Self {
        let window = self.target.window.min(dwell / 2.0);
        let target = Target {
            reading_time: dwell,
            soak: dwell,
            window,
            until: Until::ReadingTime,
            ..self.target
        };
        Self { test_voltage: voltage, target, ..self.clone() }
    }

    /// The step of a staircase with this number, none beyond the last.
    #[must_use]
    pub fn stair(&self, number: usize) -> Option<Self> {
        let Purpose::Staircase(stairs) = &self.purpose else { return None };
        let voltage = *stairs.voltages.get(number)?;
        Some(self.at_stair(voltage, stairs.dwell))
    }

    /// Whether the meter can see at the probe voltage that this part is clipped in.
    #[must_use]
    pub fn sees_clip(&self) -> bool {
        let charge = self.part.capacitance * self.part.least_ratio * self.probe.voltage;
        self.probe.charge_floor * 10.0 <= charge
    }

    /// The same plan for a look at the clip: what never stood above the probe voltage is emptied
    /// without a rest.
    #[must_use]
    pub fn for_clip_watch(&self, awaits_gone: bool) -> Self {
        let mut plan = Self { purpose: Purpose::ClipWatch { awaits_gone }, ..self.clone() };
        plan.test_voltage = self.probe.voltage;
        plan.discharge.hold = seconds(0.0);
        plan.discharge.rebound = seconds(0.0);
        plan
    }
}

/// Voltages of a staircase: `steps` equal ones up to `top`.
#[must_use]
pub fn stairs(top: Voltage, steps: u8, dwell: Time) -> Stairs {
    let steps = usize::from(steps).clamp(1, MOST_STAIRS);
    #[expect(clippy::cast_precision_loss, reason = "at most MOST_STAIRS")]
    let share = |step: usize| step as f64 / steps as f64;
    Stairs { voltages: (1..=steps).map(|step| top * share(step)).collect(), dwell }
}
