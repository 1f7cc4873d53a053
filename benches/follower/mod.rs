//! A bench that follows every order at once and costs next to nothing: what is timed beside it is
//! the procedure, not the bench.
//!
//! The part is the sound one of the tests' bench of arithmetic. Between two readings it comes all
//! but a hundredth of the way to the set-point, which is about what 22 µF behind 1 kΩ do in 0.1 s.

#![allow(dead_code, unreachable_pub, reason = "each benchmark uses its own part of the bench")]

use std::sync::Arc;

use reststrom::plan::{OutputState, Plan, RangeIndex, Sample};
use reststrom::procedure::{Input, Order, Orders, Procedure};
use reststrom::quantity::{Current, Time, Voltage, amperes, seconds, volts};

/// Seconds between two readings.
pub const INTERVAL: f64 = 0.1;

/// Share of a step that is still to come at the next reading.
const LEFT: f64 = 0.01;
/// Share of the voltage that is left after one interval on the bleeder: exp(−0.1 s / 0.24 s).
const LEFT_ON_BLEEDER: f64 = 0.66;
/// Conductance of the part: a thirtieth of its limit at 25 V.
const LEAKAGE: f64 = 0.18e-6 / 25.0; // A/V

/// A run and the bench that follows it.
#[derive(Debug, Clone)]
pub struct Follower {
    /// The run.
    pub run: Procedure,
    /// What it goes by.
    pub plan: Arc<Plan>,
    time: f64,
    on: bool,
    set: f64,
    at_part: f64,
    range: RangeIndex,
}

/// What the instruments read in one interval.
#[derive(Debug, Clone, Copy)]
pub struct Read {
    /// When.
    pub at: Time,
    /// Voltage at the supply's terminals.
    pub terminals: Voltage,
    /// Mean current since the reading before.
    pub current: Current,
    /// The meter's range.
    pub range: RangeIndex,
}

impl Follower {
    /// A run by `plan` that has just begun.
    pub fn start(plan: Arc<Plan>) -> Self {
        let (run, range) = (Procedure::new(plan.clone()), plan.meter.surge);
        let mut follower = Self { run, plan, time: 0.0, on: false, set: 0.0, at_part: 0.0, range };
        let orders = follower.run.start(seconds(0.0));
        follower.obey(&orders);
        follower
    }

    /// Lets one interval pass and reads the instruments.
    pub fn read(&mut self) -> Read {
        self.time += INTERVAL;
        let before = self.at_part;
        let divider = self.plan.path(self.range) / self.plan.discharge.bleeder.resistance();
        let terminals = if self.on {
            self.at_part = self.set + (before - self.set) * LEFT;
            self.set
        } else {
            self.at_part = before * LEFT_ON_BLEEDER;
            self.at_part / (1.0 + divider.value)
        };
        let charging = self.plan.part.capacitance * volts(self.at_part - before);
        let current = charging / seconds(INTERVAL) + amperes(self.at_part * LEAKAGE);
        Read { at: seconds(self.time), terminals: volts(terminals), current, range: self.range }
    }

    /// Feeds what was read to the run, with the tick that follows in the daemon too.
    pub fn take(&mut self, read: Read) {
        self.feed(Input::Voltage(Sample::Value(read.terminals)));
        self.feed(Input::Current { sample: Sample::Value(read.current), range: read.range });
        self.feed(Input::Tick);
    }

    fn feed(&mut self, input: Input) {
        let orders = self.run.step(seconds(self.time), input);
        self.obey(&orders);
    }

    fn obey(&mut self, orders: &Orders) {
        for order in orders {
            match *order {
                Order::CutOut => {
                    self.on = false;
                    self.feed(Input::Output(OutputState::Off));
                }
                Order::Arm => self.feed(Input::Armed),
                Order::SwitchOn | Order::SinkAtZero => {
                    self.on = true;
                    self.feed(Input::Output(OutputState::On));
                }
                Order::SetVoltage(voltage) => self.set = voltage.value,
                Order::SelectRange(range) => self.range = range,
                Order::Bleeder(_) | Order::Bypass(_) => {}
            }
        }
    }
}
