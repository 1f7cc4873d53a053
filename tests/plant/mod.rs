//! A bench of arithmetic for testing the procedure: one R·C loop, an ideal supply with a current
//! limit, a meter that gives means. It obeys orders and feeds readings back; time is a number.
//!
//! It shares no code with what it tests, and asserts on every order that nothing is energised
//! against the rules.

#![allow(dead_code, unreachable_pub, reason = "each test program uses its own part of the bench")]

pub mod said;

use std::sync::Arc;

use arrayvec::ArrayVec;
use reststrom::part::{Family, Room, Warmth};
use reststrom::plan::{
    Accuracy, Bleeder, Conversion, CutOutPlan, DischargePlan, MeterPlan, MeterRange, PartFacts,
    Phase, Plan, ProbePlan, Purpose, RampPlan, RangeIndex, Sensing, SupplyPlan, Target, Until,
    Zero,
};
use reststrom::plan::{OutputState, Sample};
use reststrom::procedure::{Input, Order, Orders, Outcome, Procedure, Switch};
use reststrom::quantity::{
    Confidence, Time, amperes, celsius, coulombs, farads, ohms, seconds, volts, watts,
};

/// Seconds between two meter readings; every second one is followed by a voltage reading.
pub const INTERVAL: f64 = 0.1;

/// A 22 µF 25 V tantalum on a bench with 1 kΩ in series and 10 kΩ across the terminals.
pub fn plan() -> Plan {
    let decade = |full_scale: f64| MeterRange {
        full_scale: amperes(full_scale),
        resolution: amperes(full_scale * 1e-6),
        accuracy: Accuracy { fraction: 5e-4, fixed: amperes(full_scale * 1e-5) },
        burden: ohms(0.02 / full_scale),
    };
    Plan {
        purpose: Purpose::Soak,
        test_voltage: volts(25.0),
        part: PartFacts {
            capacitance: farads(22e-6),
            rated: volts(25.0),
            least_ratio: 0.7,
            greatest_ratio: 1.4,
            capacitance_gate: (0.7, 1.4),
            voltage_exponent: 4.5,
            voltage_law: Family::TantalumMno2.flattest_law(),
            can_be_reformed: false,
            absorption_exponents: (0.8, 1.1),
            settling: (0.0, 0.02),
            absorption_strength: Family::TantalumMno2.absorption_strength(),
        },
        target: Target {
            limit: amperes(5.5e-6),
            full_share: 0.99,
            reading_time: seconds(300.0),
            soak: seconds(300.0),
            window: seconds(10.0),
            until: Until::ReadingTime,
            least_early: seconds(15.0),
            early_window: seconds(5.0),
        },
        supply: SupplyPlan {
            current_limit: amperes(7.5e-3),
            over_voltage: volts(26.75),
            over_current: amperes(20e-3),
            voltage_step: volts(0.01),
            agreement: volts(0.05),
            voltage_uncertainty: volts(0.01),
            senses: Sensing::AtTerminals,
        },
        meter: MeterPlan {
            ranges: [1e-5, 1e-4, 1e-3, 1e-2, 1e-1]
                .map(decade)
                .into_iter()
                .collect::<ArrayVec<_, 12>>(),
            surge: RangeIndex(3),
            soak: RangeIndex(1),
            bleed: RangeIndex(3),
            settling_readings: 2,
            interval: seconds(INTERVAL),
            conversion: Conversion::default(),
        },
        series: ohms(1000.0),
        bypassed: false,
        probe: ProbePlan {
            voltage: volts(1.0),
            rise: seconds(3.0),
            hold: seconds(10.0),
            conducts: amperes(4.4e-6),
            charge_floor: coulombs(1e-7 * 13.0),
            look_floor: coulombs(1e-7),
        },
        ramp: RampPlan {
            rise: seconds(10.0),
            largest_step: volts(1.25),
            budget: seconds(40.0),
            charge: seconds(1.0),
            charge_floor: coulombs(1e-7 * 13.0),
        },
        cut_out: CutOutPlan {
            surge: amperes(9e-3),
            soak: amperes(550e-6),
            power: watts(50e-3),
            power_patience: seconds(2.0),
            stale: seconds(2.0),
        },
        discharge: DischargePlan {
            bleeder: Bleeder::Fitted(ohms(10_000.0)),
            safe_voltage: volts(5.0),
            hold: seconds(10.0),
            rebound: seconds(30.0),
            attempts: 5,
            budget: seconds(60.0),
            repeat: seconds(0.25),
        },
        zero: Zero { current: amperes(0.0), uncertainty: amperes(0.0) },
        warmth: Warmth {
            room: Room { at: celsius(25.0), tolerance: 0.0, told: true },
            reference: celsius(25.0),
            doubling: Family::TantalumMno2.doubling(),
        },
        confidence: Confidence::USUAL,
    }
}

/// What is clipped in.
#[derive(Clone)]
pub struct Part {
    /// Capacitance in farads.
    pub farad: f64,
    /// Leakage in amperes at a voltage in volts and a time in seconds.
    pub leak: fn(f64, f64) -> f64,
    /// Voltage from which on it is a resistor of 10 Ω.
    pub gives_way_at: f64,
    /// Time at which the clip falls off.
    pub falls_off_at: f64,
    /// Voltage that it comes with.
    pub charged_to: f64,
}

impl Part {
    /// A sound part that leaks a thirtieth of its limit.
    pub fn sound() -> Self {
        Self {
            farad: 22e-6,
            leak: |u, _| u * 0.18e-6 / 25.0,
            gives_way_at: f64::INFINITY,
            falls_off_at: f64::INFINITY,
            charged_to: 0.0,
        }
    }

    /// A clip with nothing in it.
    pub fn nothing() -> Self {
        Self { farad: 50e-12, leak: |_, _| 0.0, ..Self::sound() }
    }
}

/// The bench: supply, path, part.
#[expect(clippy::struct_excessive_bools, reason = "independent states of a bench")]
#[derive(Clone)]
pub struct Plant {
    plan: Arc<Plan>,
    part: Part,
    pub time: f64,
    output: bool,
    set: f64,
    armed: bool,
    terminals: f64,
    at_part: f64,
    current: f64,
    range: RangeIndex,
    broken: bool,
    deaf: bool,
    /// The output stays on, whatever the supply says of it.
    sticks: bool,
    /// Voltage that the part had when the clip fell off.
    left_with: f64,
    /// The meter's zero, in fixed errors of the range in use.
    pub offset: f64,
    /// What bridges the series resistor.
    pub bypass: Bypass,
}

/// The relay that bridges the series resistor.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Bypass {
    /// The resistor is in the path.
    #[default]
    Open,
    /// It is bridged.
    Closed,
    /// It is in the path whatever is ordered.
    StuckOpen,
    /// It is bridged whatever is ordered.
    StuckClosed,
}

impl Bypass {
    fn turn(&mut self, switch: Switch) {
        *self = match (*self, switch) {
            (Self::Open | Self::Closed, Switch::On) => Self::Closed,
            (Self::Open | Self::Closed, Switch::Off) => Self::Open,
            (stuck, _) => stuck,
        };
    }
}

impl Plant {
    /// A bench with `part` in its clip.
    pub fn new(plan: Arc<Plan>, part: Part) -> Self {
        let (at_part, range) = (part.charged_to, plan.meter.surge);
        Self {
            plan,
            part,
            time: 0.0,
            output: false,
            set: 0.0,
            armed: false,
            terminals: 0.0,
            at_part,
            current: 0.0,
            range,
            broken: false,
            deaf: false,
            sticks: false,
            left_with: 0.0,
            offset: 0.0,
            bypass: Bypass::default(),
        }
    }

    /// Whether the output is on.
    pub fn is_on(&self) -> bool {
        self.output
    }

    /// The supply's output goes off by itself.
    pub fn trips(&mut self) {
        self.output = false;
    }

    /// The output relay sticks from here on.
    pub fn sticks(&mut self) {
        self.sticks = true;
    }

    /// Set-points get lost on their way from here on.
    pub fn ignores_voltages(&mut self) {
        self.deaf = true;
    }

    /// The clip falls off.
    pub fn unclip(&mut self) {
        self.left_with = self.at_part;
        self.part.falls_off_at = self.time;
    }

    /// Another part is clipped in.
    pub fn clip_in(&mut self, part: Part) {
        (self.at_part, self.broken) = (part.charged_to, false);
        self.part = part;
    }

    /// Voltage of the part that lies beside the bench, V.
    pub fn left_with(&self) -> f64 {
        self.left_with
    }

    /// Voltage at the part, V.
    pub fn at_part(&self) -> f64 {
        self.at_part
    }

    /// Obeys `orders` and answers those that have an answer; asserts the rules of the bench.
    #[track_caller]
    pub fn obey(&mut self, orders: &Orders) -> Vec<Input> {
        let mut answers = Vec::new();
        for order in orders {
            match *order {
                Order::CutOut => {
                    self.output &= self.sticks;
                    answers.push(Input::Output(OutputState::Off));
                }
                Order::Arm => {
                    assert!(!self.output, "armed with the output on");
                    (self.armed, self.set) = (true, 0.0);
                    answers.push(Input::Armed);
                }
                Order::SwitchOn => {
                    assert!(self.armed, "switched on before the protections were set");
                    assert!(self.set <= 0.0, "switched on at {} V", self.set);
                    self.output = true;
                    answers.push(Input::Output(OutputState::On));
                }
                Order::SinkAtZero => {
                    (self.output, self.set) = (true, 0.0);
                    answers.push(Input::Output(OutputState::On));
                }
                Order::SetVoltage(voltage) => {
                    let most = self.plan.test_voltage.min(self.plan.part.rated).value;
                    assert!(voltage.value <= most, "{voltage:?} set, {most} V allowed");
                    self.set = if self.deaf { self.set } else { voltage.value };
                }
                Order::SelectRange(range) => self.range = range,
                Order::Bleeder(Switch::On | Switch::Off) => {}
                Order::Bypass(switch) => self.bypass.turn(switch),
            }
        }
        answers
    }

    /// Moves on by one reading interval and gives what the instruments then say.
    pub fn advance(&mut self) -> Vec<Input> {
        const STEPS: u32 = 20;
        let mut sum = 0.0;
        for _ in 0..STEPS {
            self.integrate(INTERVAL / f64::from(STEPS));
            sum += self.current;
        }
        let range = self.plan.meter.range(self.range);
        let mean = sum / f64::from(STEPS) + self.offset * range.accuracy.fixed.value;
        let scale = range.full_scale.value;
        let sample = if scale < mean.abs() {
            Sample::Overload { negative: mean < 0.0 }
        } else {
            Sample::Value(amperes(mean))
        };
        vec![
            Input::Voltage(Sample::Value(volts(self.terminals))),
            Input::Current { sample, range: self.range },
        ]
    }

    /// Leakage at a voltage: the part's own, or that of a part that gave way.
    fn leak(&self, volt: f64) -> f64 {
        if self.broken { volt / 10.0 } else { (self.part.leak)(volt, self.time) }
    }

    /// One implicit step of the loop, with the leakage linearised.
    fn integrate(&mut self, dt: f64) {
        self.time += dt;
        let burden = self.plan.meter.range(self.range).burden.value;
        let path = match self.bypass {
            Bypass::Open | Bypass::StuckOpen => self.plan.series.value + burden,
            Bypass::Closed | Bypass::StuckClosed => burden,
        };
        let bleeder = self.plan.discharge.bleeder.resistance().value;
        let attached = self.time < self.part.falls_off_at;
        let farad = if attached { self.part.farad } else { 50e-12 };
        if self.part.gives_way_at <= self.at_part {
            self.broken = true;
        }
        let leak = self.leak(self.at_part);
        let slope = (self.leak(self.at_part + 1e-3) - leak) / 1e-3;
        let source = if self.output { path } else { path + bleeder };
        let driven = if self.output { self.set } else { 0.0 };
        let mut rise =
            (driven - self.at_part - leak * source) / (1.0 + slope * source + source * farad / dt);
        let mut current = leak + slope * rise + farad * rise / dt;
        let limit = self.plan.supply.current_limit.value;
        if self.output && limit < current {
            current = limit;
            rise = (limit - leak) / (slope + farad / dt);
        }
        self.at_part += rise;
        self.current = if attached { current } else { 0.0 };
        self.terminals =
            if self.output { self.at_part + current * path } else { -current * bleeder };
    }
}

/// A run and its bench, moved on together.
#[derive(Clone)]
pub struct Rig {
    /// The run.
    pub run: Procedure,
    /// The bench.
    pub plant: Plant,
}

impl Rig {
    /// A run by `plan` on `part`, started.
    #[track_caller]
    pub fn start(plan: Plan, part: Part) -> Self {
        let plan = Arc::new(plan);
        let mut rig = Self { run: Procedure::new(plan.clone()), plant: Plant::new(plan, part) };
        let orders = rig.run.start(seconds(0.0));
        rig.carry_out(&orders);
        rig
    }

    /// The bench's time.
    pub fn now(&self) -> Time {
        seconds(self.plant.time)
    }

    /// Obeys orders and feeds the answers back until nothing more follows.
    #[track_caller]
    pub fn carry_out(&mut self, orders: &Orders) {
        for answer in self.plant.obey(orders) {
            self.feed(answer);
        }
    }

    /// Feeds one input and carries out what follows.
    #[track_caller]
    pub fn feed(&mut self, input: Input) -> Orders {
        let orders = self.run.step(self.now(), input);
        self.carry_out(&orders);
        orders
    }

    /// One reading interval of the bench.
    #[track_caller]
    pub fn advance(&mut self) {
        for input in self.plant.advance() {
            self.feed(input);
        }
        self.feed(Input::Tick);
    }

    /// Moves on until `phase` or for at most `limit` seconds.
    #[track_caller]
    pub fn until(&mut self, phase: Phase, limit: f64) -> &mut Self {
        let end = self.plant.time + limit;
        while self.run.phase() != phase {
            assert!(self.plant.time < end, "still in {} after {limit} s", self.run.phase());
            self.advance();
        }
        self
    }

    /// Moves on to the end of the run.
    #[track_caller]
    pub fn finish(&mut self) -> Outcome {
        let end = self.plant.time + 2000.0;
        loop {
            if let Some(outcome) = self.run.outcome() {
                return outcome;
            }
            assert!(self.plant.time < end, "no end in {}", self.run.phase());
            self.advance();
        }
    }
}
