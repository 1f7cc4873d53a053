//! Walks through the state space of a run: from moments in every phase, every sequence of inputs
//! up to a depth, each followed by a bench that goes on as normal and by one that falls silent.
//!
//! On every step the invariants of a run are asserted from outside, from orders and from the true
//! state of the bench: output only where it may be, voltages bounded, off first after a fault,
//! `within` only with all its proofs, and never an end without a measured discharge.

mod plant;

use plant::{Part, Rig, plan};
use proptest::prelude::*;
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Bleeder, OutputState, Phase, Plan, Purpose, RangeIndex, Sample};
use reststrom::procedure::{Input, Instrument, Order, Orders, Outcome};
use reststrom::quantity::{amperes, ohms, seconds, volts};

/// A plan with short times, so that a whole run is some hundred steps.
fn short(bleeder: Bleeder) -> Plan {
    let mut plan = plan();
    plan.target.reading_time = seconds(20.0);
    plan.target.soak = seconds(20.0);
    plan.target.window = seconds(4.0);
    plan.probe.hold = seconds(3.0);
    plan.ramp.rise = seconds(4.0);
    plan.ramp.budget = seconds(12.0);
    plan.discharge.bleeder = bleeder;
    plan.discharge.hold = seconds(2.0);
    plan.discharge.rebound = seconds(2.0);
    plan.discharge.budget = seconds(10.0);
    plan
}

/// Everything that can be said to a run, good and bad.
fn inputs() -> Vec<Input> {
    let current = |ampere: f64, range| Input::Current {
        sample: Sample::Value(amperes(ampere)),
        range: RangeIndex(range),
    };
    let mut inputs = vec![
        Input::Tick,
        current(0.2e-6, 1),
        current(0.2e-6, 3),
        current(2e-3, 1),
        current(12e-3, 3),
        Input::Voltage(Sample::Value(volts(25.0))),
        Input::Voltage(Sample::Value(volts(4.0))),
        Input::Voltage(Sample::Value(volts(30.0))),
        Input::Voltage(Sample::NotANumber),
        Input::Armed,
        Input::Refused,
        Input::Disturbed,
        Input::Stalled,
        Input::Stop,
        Input::Lost(Instrument::Supply),
        Input::Lost(Instrument::Meter),
    ];
    for range in [1, 3] {
        let overload = Sample::Overload { negative: false };
        inputs.push(Input::Current { sample: overload, range: RangeIndex(range) });
        inputs.push(Input::Current { sample: Sample::NotANumber, range: RangeIndex(range) });
    }
    inputs.extend([OutputState::On, OutputState::Off, OutputState::Unknown].map(Input::Output));
    inputs
}

/// A run under watch.
#[derive(Clone)]
struct Watched {
    rig: Rig,
    sinks: bool,
    said: Vec<Input>,
}

fn is_energised(phase: Phase) -> bool {
    matches!(phase, Phase::Probe | Phase::Ramp | Phase::Charge | Phase::Settle | Phase::Soak)
}

impl Watched {
    fn start(plan: Plan) -> Self {
        let sinks = plan.discharge.bleeder == Bleeder::SupplySinks;
        let open = plan.purpose == Purpose::Zero;
        let part = if open { Part::nothing() } else { Part::sound() };
        Self { rig: Rig::start(plan, part), sinks, said: Vec::new() }
    }

    /// Says one thing to the run and checks what follows.
    fn say(&mut self, input: Input) {
        self.said.push(input);
        let before = self.rig.run.phase();
        let orders = self.rig.run.step(self.rig.now(), input);
        self.check_orders(before, input, &orders);
        // The bench obeys, but its own answers are part of the walk, not given here.
        self.rig.plant.obey(&orders);
        self.check_output();
    }

    fn check_orders(&self, before: Phase, input: Input, orders: &Orders) {
        let after = self.rig.run.phase();
        let fault = matches!(
            input,
            Input::Stop | Input::Stalled | Input::Disturbed | Input::Refused | Input::Lost(_)
        );
        let ended = after == Phase::Bleed && !self.sinks;
        if is_energised(before) && (fault || ended) {
            assert_eq!(orders.first(), Some(&Order::CutOut), "{before}: {:?}", self.said);
        }
        if is_energised(before) && fault {
            assert_eq!(after, Phase::Bleed, "{:?}", self.said);
        }
        let cut = orders.iter().position(|order| *order == Order::CutOut);
        let on = orders.iter().position(|order| *order == Order::SwitchOn);
        assert!(cut.is_none() || on.is_none(), "off and on in one step: {:?}", self.said);
    }

    fn check_output(&self) {
        let phase = self.rig.run.phase();
        let allowed = is_energised(phase) || (self.sinks && phase == Phase::Bleed);
        assert!(allowed || !self.rig.plant.is_on(), "on in {phase}: {:?}", self.said);
    }

    fn moved_on(&mut self) {
        self.rig.advance();
        self.check_output();
    }

    /// The bench goes on as normal until the run ends.
    fn live_on(mut self) {
        for _ in 0..3000 {
            if let Some(outcome) = self.rig.run.outcome() {
                return self.check_end(&outcome);
            }
            self.moved_on();
        }
        panic!("no end after {:?} in {}", self.said, self.rig.run.phase());
    }

    fn check_end(&self, outcome: &Outcome) {
        if outcome.left == Left::Safe {
            assert!(self.rig.plant.at_part() < 5.0, "safe at {} V", self.rig.plant.at_part());
            assert!(!self.rig.plant.is_on());
        }
        if outcome.ruling.verdict != Verdict::Within {
            return;
        }
        let evidence = outcome.evidence;
        let reading = evidence.reading.expect("within rests on a reading");
        assert!(evidence.charge_in && evidence.charge_out, "{:?}", self.said);
        assert!(reading.voltage >= evidence.test_voltage * 0.98, "{:?}", self.said);
        let upper = reading.current.abs() + reading.budget.expanded();
        assert!(upper <= evidence.limit, "{:?}", self.said);
    }

    /// Both instruments fall silent and only time goes on.
    fn fall_silent(mut self) {
        let start = self.rig.now();
        let was_safe = self.rig.run.outcome().is_some_and(|outcome| outcome.left == Left::Safe);
        for half in 0_u32..600 {
            let now = start + seconds(f64::from(half) * 0.5);
            let orders = self.rig.run.step(now, Input::Tick);
            self.rig.plant.obey(&orders);
            self.check_output();
        }
        let outcome = self.rig.run.outcome().unwrap_or_else(|| panic!("no end: {:?}", self.said));
        assert!(was_safe || outcome.left == Left::LockedOut, "safe unseen: {:?}", self.said);
        assert!(!self.rig.plant.is_on(), "{:?}", self.said);
    }
}

/// Moments of a sound run: some in every phase, by phase and seconds into it.
fn moments(plan: &Plan) -> Vec<Watched> {
    let mut watched = Watched::start(plan.clone());
    let mut found = Vec::new();
    let (mut last, mut since) = (Phase::Idle, 0.0);
    while !matches!(watched.rig.run.phase(), Phase::Safe | Phase::LockedOut) {
        let (phase, now) = (watched.rig.run.phase(), watched.rig.plant.time);
        let fresh = phase != last;
        if fresh || now - since > 3.0 {
            (last, since) = (phase, now);
            found.push(watched.clone());
        }
        watched.moved_on();
    }
    found.push(watched);
    found
}

fn walk(from: &Watched, depth: usize, visit: &mut impl FnMut(Watched)) {
    if depth == 0 {
        return visit(from.clone());
    }
    for input in inputs() {
        for pause in [0.0, 2.5] {
            let mut next = from.clone();
            next.rig.plant.time += pause;
            next.say(input);
            walk(&next, depth - 1, visit);
        }
    }
}

#[test]
fn a_sound_run_passes_every_phase() {
    let moments = moments(&short(Bleeder::Fitted(ohms(10_000.0))));
    for phase in &Phase::ALL[1..8] {
        assert!(moments.iter().any(|moment| moment.rig.run.phase() == *phase), "{phase}");
    }
}

#[test]
fn no_single_input_anywhere_leaves_the_bench_unsafe() {
    for bleeder in
        [Bleeder::Fitted(ohms(10_000.0)), Bleeder::Relay(ohms(10_000.0)), Bleeder::SupplySinks]
    {
        for moment in moments(&short(bleeder)) {
            walk(&moment, 1, &mut |walked| {
                walked.clone().live_on();
                walked.fall_silent();
            });
        }
    }
}

#[test]
fn no_pair_of_inputs_at_an_open_fixture_leaves_the_bench_unsafe() {
    for bleeder in [Bleeder::Fitted(ohms(10_000.0)), Bleeder::SupplySinks] {
        let plan = Plan { purpose: Purpose::Zero, ..short(bleeder) };
        for moment in moments(&plan) {
            walk(&moment, 2, &mut |walked| {
                walked.clone().fall_silent();
                walked.live_on();
            });
        }
    }
}

#[test]
fn no_pair_of_inputs_in_any_phase_leaves_the_bench_unsafe() {
    for moment in moments(&short(Bleeder::Fitted(ohms(10_000.0)))) {
        walk(&moment, 2, &mut |walked| {
            walked.clone().fall_silent();
            walked.live_on();
        });
    }
}

#[test]
fn no_clip_that_falls_off_anywhere_leaves_a_charged_part_called_safe() {
    let bleeders =
        [Bleeder::Fitted(ohms(10_000.0)), Bleeder::Relay(ohms(10_000.0)), Bleeder::SupplySinks];
    for moment in bleeders.into_iter().flat_map(|bleeder| moments(&short(bleeder))) {
        if !is_energised(moment.rig.run.phase()) {
            continue;
        }
        for (readings, input) in
            [(2, Input::Stop), (20, Input::Stop), (2, Input::Disturbed), (0, Input::Tick)]
        {
            let mut rig = moment.rig.clone();
            rig.plant.unclip();
            for _ in 0..readings {
                rig.advance();
            }
            rig.feed(input);
            let (outcome, phase) = (rig.finish(), moment.rig.run.phase());
            assert_ne!(outcome.ruling.verdict, Verdict::Within, "{phase}, {input:?}");
            let harmless = rig.plant.left_with() < 5.0;
            assert!(harmless || outcome.left == Left::LockedOut, "{phase}, {input:?}");
        }
    }
}

#[test]
fn a_stop_anywhere_is_never_judged_within() {
    for moment in moments(&short(Bleeder::Fitted(ohms(10_000.0)))) {
        if !is_energised(moment.rig.run.phase()) {
            continue;
        }
        let mut stopped = moment;
        stopped.say(Input::Stop);
        let outcome = stopped.rig.finish();
        assert_eq!(outcome.ruling.verdict, Verdict::Untested);
        assert_eq!(outcome.ruling.findings[0], Finding::Stopped);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_random_walk_leaves_the_bench_unsafe(
        steps in prop::collection::vec((0_usize..23, 0_u32..30, 0_u32..8), 1..40)
    ) {
        let mut watched = Watched::start(short(Bleeder::Fitted(ohms(10_000.0))));
        let inputs = inputs();
        for (input, readings, pause) in steps {
            for _ in 0..readings {
                watched.moved_on();
            }
            if pause == 0 {
                watched.say(inputs[input % inputs.len()]);
            }
        }
        watched.clone().fall_silent();
        watched.live_on();
    }
}
