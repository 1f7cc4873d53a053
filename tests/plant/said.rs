//! What instruments say to a run, without a bench behind it.

use reststrom::plan::{Phase, Plan, RangeIndex, Sample};
use reststrom::procedure::{Input, Order, Procedure};
use reststrom::quantity::{amperes, seconds, volts};

use super::{Part, Rig};

/// The range for the way up.
pub const SURGE: RangeIndex = RangeIndex(3);

/// The supply reads this voltage.
pub fn volt(value: f64) -> Input {
    Input::Voltage(Sample::Value(volts(value)))
}

/// The meter reads this current.
pub fn ampere(value: f64, range: RangeIndex) -> Input {
    Input::Current { sample: Sample::Value(amperes(value)), range }
}

/// The meter is overloaded.
pub fn overload(range: RangeIndex) -> Input {
    Input::Current { sample: Sample::Overload { negative: false }, range }
}

/// A run on its bench, come to a phase.
#[track_caller]
pub fn in_phase(plan: Plan, part: Part, phase: Phase) -> Rig {
    let mut rig = Rig::start(plan, part);
    rig.until(phase, 100.0);
    rig
}

/// Says `inputs` ten times a second for so long, without a bench; gives the orders that came.
pub fn hear(run: &mut Procedure, from: f64, tenths: u32, inputs: &[Input]) -> Vec<Order> {
    let mut orders = Vec::new();
    for tenth in 0..tenths {
        for input in inputs {
            orders.extend(run.step(seconds(from + f64::from(tenth) * 0.1), *input));
        }
    }
    orders
}
