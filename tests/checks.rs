//! One test a check of the run: each feeds what the check is there for and sees that it bites.

mod plant;

use plant::said::{SURGE, ampere, hear, in_phase, overload, volt};
use plant::{Part, Rig, plan};
use reststrom::judge::{Finding, Left, Source, Verdict};
use reststrom::plan::{OutputState, Phase, RangeIndex, Sample, Zero};
use reststrom::procedure::{Input, Order, Procedure, Switch};
use reststrom::quantity::{Current, amperes, ohms, seconds, volts, watts};
use rstest::rstest;

fn begun() -> Procedure {
    let mut run = Procedure::new(plan().into());
    let orders = run.start(seconds(0.0));
    let safe = [Order::CutOut, Order::Bleeder(Switch::On), Order::SelectRange(SURGE)];
    assert_eq!(orders.as_slice(), safe);
    run
}

#[test]
fn a_part_is_not_looked_at_before_the_output_is_proven_off() {
    let mut run = begun();
    let on = Input::Output(OutputState::On);
    let orders = hear(&mut run, 0.1, 700, &[on, volt(0.0), ampere(0.0, SURGE)]);
    assert!(!orders.contains(&Order::Arm));
    assert!(orders.iter().filter(|order| **order == Order::CutOut).count() > 100);
}

#[test]
fn a_part_that_does_not_empty_by_itself_is_never_energised() {
    let mut run = begun();
    let off = Input::Output(OutputState::Off);
    let orders = hear(&mut run, 0.1, 5000, &[off, volt(12.0), ampere(0.0, SURGE)]);
    assert!(!orders.contains(&Order::Arm));
    let outcome = run.outcome().unwrap();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (Verdict::Untested, Finding::AlreadyCharged, Left::LockedOut));
}

#[test]
fn settings_that_are_never_read_back_end_the_run() {
    let mut run = begun();
    let off = Input::Output(OutputState::Off);
    let orders = hear(&mut run, 0.1, 1500, &[off, volt(0.0), ampere(0.0, SURGE)]);
    assert!(orders.contains(&Order::Arm) && !orders.contains(&Order::SwitchOn));
    assert_eq!(run.outcome().unwrap().ruling.findings[0], Finding::InstrumentLost);
}

#[test]
fn the_bleeder_comes_off_just_before_the_output_goes_on() {
    let mut run = begun();
    let off = Input::Output(OutputState::Off);
    hear(&mut run, 0.1, 10, &[off, volt(0.0), ampere(0.0, SURGE)]);
    let orders = run.step(seconds(1.1), Input::Armed);
    assert_eq!(orders.as_slice(), [Order::Bleeder(Switch::Off), Order::SwitchOn]);
}

#[test]
fn a_part_that_came_with_a_few_volts_is_empty_before_the_output_goes_on() {
    let mut rig = Rig::start(plan(), Part { charged_to: 3.0, ..Part::sound() });
    while !rig.plant.is_on() {
        rig.advance();
    }
    // Handbook §4.1: below 0.5 V.
    assert!(rig.plant.at_part() <= 0.5, "{} V", rig.plant.at_part());
}

#[test]
fn an_empty_clip_is_not_raised_beyond_the_probe() {
    let mut rig = Rig::start(plan(), Part::nothing());
    while rig.run.outcome().is_none() {
        rig.advance();
        assert_ne!(rig.run.phase(), Phase::Ramp);
    }
}

#[test]
fn a_clip_that_falls_off_in_the_ramp_is_no_contact() {
    let outcome = Rig::start(plan(), Part { falls_off_at: 14.2, ..Part::sound() }).finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0]);
    assert_eq!(got, (Verdict::Untested, Finding::NoContact), "{outcome:#?}");
}

#[rstest]
// A part that gives its charge back did not give way: one word of the meter condemns none.
#[case::an_overload_at_the_probe(Phase::Probe, overload(SURGE), Finding::InstrumentLost)]
#[case::an_overload_in_the_ramp(Phase::Ramp, overload(SURGE), Finding::InstrumentLost)]
#[case::a_surge_while_settling(Phase::Settle, ampere(9.5e-3, SURGE), Finding::InstrumentLost)]
#[case::a_range_that_nobody_chose(
    Phase::Soak,
    ampere(1e-6, RangeIndex(2)),
    Finding::InstrumentLost
)]
#[case::a_sag_without_a_current(Phase::Soak, volt(10.0), Finding::InstrumentLost)]
#[case::an_output_that_went_off(
    Phase::Ramp,
    Input::Output(OutputState::Off),
    Finding::InstrumentLost
)]
#[case::an_output_in_doubt(
    Phase::Soak,
    Input::Output(OutputState::Unknown),
    Finding::InstrumentLost
)]
fn one_word_of_it_cuts_out(#[case] phase: Phase, #[case] word: Input, #[case] finding: Finding) {
    let mut rig = in_phase(plan(), Part::sound(), phase);
    while !rig.plant.is_on() {
        rig.advance();
    }
    rig.advance();
    assert_eq!(rig.feed(word).first(), Some(&Order::CutOut));
    assert_eq!(rig.finish().ruling.findings[0], finding);
}

#[test]
fn off_comes_before_what_the_same_step_had_ordered() {
    // The soak ends and the voltage sags in one step: the proof's range order gives way to off.
    let mut rig = in_phase(plan(), Part::sound(), Phase::Soak);
    let end = rig.run.full_voltage_at().unwrap() + seconds(300.0);
    while rig.now() + seconds(0.2) < end {
        rig.advance();
    }
    rig.plant.time += 0.3;
    assert_eq!(rig.feed(volt(10.0)).first(), Some(&Order::CutOut));
}

#[test]
fn the_ramp_waits_for_a_supply_that_does_not_follow() {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Ramp);
    let from = rig.plant.time;
    let orders = hear(&mut rig.run, from, 50, &[volt(1.0), ampere(0.0, SURGE)]);
    assert!(orders.len() <= 1, "{orders:?}");
}

#[test]
fn a_late_reading_does_not_make_a_large_step() {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Ramp);
    let late = rig.now() + seconds(1.5);
    rig.run.step(late, volt(1.0));
    let orders = rig.run.step(late, ampere(0.0, SURGE));
    let Some(Order::SetVoltage(set)) = orders.first() else { panic!("{orders:?}") };
    assert!(*set <= volts(1.0 + 1.25), "{set:?}");
}

#[test]
fn one_odd_voltage_on_the_way_up_is_no_breakdown() {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Ramp);
    while rig.plant.at_part() < 15.0 {
        rig.advance();
    }
    rig.feed(volt(2.0));
    assert_eq!(rig.finish().ruling.verdict, Verdict::Within);
}

#[test]
fn the_limits_clock_starts_at_the_full_voltage() {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Ramp);
    while rig.run.full_voltage_at().is_none() {
        rig.advance();
    }
    // Handbook §1.5: 99 %.
    assert!(rig.plant.at_part() >= 0.99 * 25.0, "{} V", rig.plant.at_part());
}

#[test]
fn a_part_that_is_held_by_its_path_alone_is_undecided() {
    // 1 MΩ lets 5 µA through at 20 V: far less charge than a part that conducts takes.
    let mut plan = plan();
    plan.series = ohms(1e6);
    let part =
        Part { leak: |u, _| if u < 20.0 { 0.0 } else { (u - 20.0) * 5e-3 }, ..Part::sound() };
    let outcome = Rig::start(plan, part).finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0]);
    assert_eq!(got, (Verdict::Undecided, Finding::HeldBelowTestVoltage), "{outcome:#?}");
}

#[test]
fn readings_count_only_once_the_meter_has_settled() {
    let mut plan = plan();
    plan.series = ohms(10_000.0);
    let mut rig = in_phase(plan, Part::sound(), Phase::Settle);
    let (from, soak) = (rig.plant.time, rig.run.clone());
    let mut other = soak;
    hear(&mut other, from, 30, &[volt(25.0), ampere(0.2e-6, SURGE)]);
    assert_eq!(other.phase(), Phase::Settle, "readings on another range");
    rig.until(Phase::Soak, 10.0);
    // Handbook §3.2: 7 τ with the largest accepted part, 1.4 · 22 µF · 10.2 kΩ = 0.314 s.
    assert!(rig.plant.time - from >= 7.0 * 0.314, "{} s", rig.plant.time - from);
}

#[test]
fn the_first_readings_after_a_range_change_are_left_unused() {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Settle);
    let (from, range) = (rig.plant.time, plan().meter.soak);
    hear(&mut rig.run, from + 1.0, 4, &[volt(25.0), ampere(0.2e-6, range)]);
    assert_eq!(rig.run.phase(), Phase::Settle);
    hear(&mut rig.run, from + 1.4, 1, &[ampere(0.2e-6, range)]);
    assert_eq!(rig.run.phase(), Phase::Soak);
}

#[test]
fn a_meter_that_never_gets_to_its_range_ends_the_run() {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Settle);
    let from = rig.plant.time;
    let orders = hear(&mut rig.run, from, 120, &[volt(25.0), ampere(0.2e-6, SURGE)]);
    assert!(orders.contains(&Order::CutOut));
}

#[test]
fn a_part_that_gets_too_hot_is_cut_out() {
    let mut plan = plan();
    plan.cut_out.power = watts(1e-3);
    let part = Part { leak: |u, _| u * 60e-6 / 25.0, ..Part::sound() };
    let mut rig = in_phase(plan, part, Phase::Soak);
    let from = rig.plant.time;
    rig.until(Phase::Bleed, 3.0);
    assert!(rig.plant.time - from >= 2.0, "not before its patience is over");
    let outcome = rig.finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0]);
    assert_eq!(got, (Verdict::Over, Finding::RunsAway));
}

/// A run to the middle of its reading window.
fn in_window(part: Part) -> Rig {
    let mut rig = in_phase(plan(), part, Phase::Soak);
    while !rig.run.in_window(rig.now()) {
        rig.advance();
    }
    rig.advance();
    rig
}

#[test]
fn a_voltage_that_is_missing_in_the_window_spoils_it() {
    let mut rig = in_window(Part::sound());
    rig.feed(Input::Voltage(Sample::NotANumber));
    rig.feed(ampere(0.2e-6, plan().meter.soak));
    let outcome = rig.finish();
    assert_eq!((outcome.reading, outcome.ruling.verdict), (None, Verdict::Undecided));
}

#[test]
fn a_range_change_in_the_window_spoils_it() {
    let mut rig = in_window(Part::sound());
    rig.feed(ampere(95e-6, plan().meter.soak));
    let outcome = rig.finish();
    assert_eq!((outcome.reading, outcome.ruling.verdict), (None, Verdict::Undecided));
}

#[test]
fn the_reading_carries_its_whole_budget() {
    // 1 µA through 200 kΩ costs 0.2 V; the fixture takes 0.1 µA of it.
    let mut plan = plan();
    plan.series = ohms(200e3);
    plan.ramp.charge = seconds(40.0);
    plan.supply.voltage_uncertainty = volts(0.1);
    plan.zero = Zero { current: amperes(0.1e-6), uncertainty: amperes(20e-9) };
    let wanders =
        |u: f64, t: f64| u / 25.0 * if (t * 10.0).floor() % 2.0 == 0.0 { 1.01e-6 } else { 0.99e-6 };
    let outcome = Rig::start(plan, Part { leak: wanders, ..Part::sound() }).finish();
    let reading = outcome.reading.unwrap();
    let budget = reading.budget;
    let near = |got: Current, expected: f64| (got.value / expected - 1.0).abs() < 0.03;
    assert!(near(reading.current, 0.9e-6), "{reading:?}");
    assert!((reading.voltage.value - 24.8).abs() < 0.01, "{reading:?}");
    // Handbook §3.5: (0.05 % of 1 µA + 1 nA) / √3.
    assert!(near(budget.of(Source::Meter), 0.866e-9), "{budget:?}");
    assert!(near(budget.of(Source::FixtureZero), 20e-9), "{budget:?}");
    // Handbook §3.11: 4.5 · 0.1 / 25 of 0.9 µA, and 4.5 · (0.2/√3) / 25 of it.
    assert!(near(budget.of(Source::Voltage), 16.2e-9), "{budget:?}");
    assert!(near(budget.of(Source::Shortfall), 18.7e-9), "{budget:?}");
    assert!(amperes(0.0) < budget.of(Source::Scatter), "{budget:?}");
}

#[test]
fn the_meters_zero_is_left_out_of_the_charge() {
    for offset in [-1.0, 1.0] {
        let mut plan = plan();
        plan.part.capacitance = reststrom::quantity::farads(1e-6);
        let mut rig = Rig::start(plan, Part { farad: 1e-6, ..Part::sound() });
        rig.plant.offset = offset;
        let ratio = rig.finish().capacitance.unwrap().value.value / 1e-6;
        assert!((0.97..1.03).contains(&ratio), "{ratio}");
    }
}

#[test]
fn what_the_soak_showed_is_in_the_outcome() {
    // Absorption that falls as 1/t, and five readings far above it.
    let leak = |u: f64, t: f64| {
        let burst = t > 100.0 && t < 310.0 && (t % 40.0) < 0.1;
        u / 25.0 * (300e-6 / t + if burst { 6e-6 } else { 0.0 })
    };
    let evidence = Rig::start(plan(), Part { leak, ..Part::sound() }).finish().evidence;
    assert!(evidence.still_falling, "{evidence:#?}");
    assert!(evidence.bursts > 2 && amperes(5e-6) < evidence.tallest_burst, "{evidence:#?}");
}

#[test]
fn a_clip_that_falls_off_during_the_proof_is_no_returned_charge() {
    let mut plan = plan();
    plan.ramp.rise = seconds(60.0);
    plan.ramp.budget = seconds(200.0);
    let part = Part { leak: |u, _| u * 5e-6 / 25.0, ..Part::sound() };
    let mut rig = in_phase(plan, part, Phase::Soak);
    let from = rig.run.full_voltage_at().unwrap() + seconds(301.5);
    while rig.now() < from {
        rig.advance();
    }
    assert_eq!(rig.run.phase(), Phase::Soak, "the voltage goes down");
    rig.plant.unclip();
    assert_eq!(rig.finish().left, Left::LockedOut);
}

/// A run whose soak is over: the contact is being proven.
fn at_the_proof() -> Rig {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Soak);
    let from = rig.run.full_voltage_at().expect("it soaks at full voltage") + seconds(300.2);
    while rig.now() < from {
        rig.advance();
    }
    assert_eq!(rig.run.phase(), Phase::Soak);
    rig
}

#[test]
fn a_current_beyond_a_leak_cuts_out_during_the_proof_too() {
    for current in [600e-6, -9.5e-3] {
        let orders = at_the_proof().feed(ampere(current, SURGE));
        assert_eq!(orders.first(), Some(&Order::CutOut), "{current} A");
    }
}

#[rstest]
#[case::at_the_proof(at_the_proof())]
#[case::in_the_soak({
    let mut rig = in_phase(plan(), Part::sound(), Phase::Soak);
    rig.feed(ampere(95e-6, plan().meter.soak));
    rig
})]
fn a_meter_that_stays_on_its_old_range_ends_the_run(#[case] mut rig: Rig) {
    let (from, range) = (rig.plant.time, plan().meter.soak);
    let orders = hear(&mut rig.run, from, 120, &[volt(25.0), ampere(0.2e-6, range)]);
    assert!(orders.contains(&Order::CutOut));
}
