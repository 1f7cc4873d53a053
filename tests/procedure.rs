//! Runs of the state machine on a bench of arithmetic: one test a thing that a part can be.

mod plant;

use plant::{Part, Plant, Rig, plan};
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Bleeder, Phase, Plan, Sensing};
use reststrom::plan::{OutputState, Sample};
use reststrom::procedure::{Input, Instrument, Order};
use reststrom::quantity::{Current, amperes, ohms, seconds, volts};
use rstest::rstest;

#[track_caller]
fn check(part: Part, verdict: Verdict, finding: Finding, left: Left) {
    let outcome = Rig::start(plan(), part).finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (verdict, finding, left), "{outcome:#?}");
}

#[rstest]
#[case::a_sound_part(Part::sound(), Verdict::Within, Finding::Settled, Left::Safe)]
#[case::ten_times_the_limit(
    Part { leak: |u, _| 55e-6 * (u / 25.0).powi(4), ..Part::sound() },
    Verdict::Over, Finding::Settled, Left::Safe)]
#[case::forty_times_the_limit(
    Part { leak: |u, _| 220e-6 * (u / 25.0).powi(4), ..Part::sound() },
    Verdict::Over, Finding::Settled, Left::Safe)]
#[case::an_empty_clip(Part::nothing(), Verdict::Untested, Finding::NoContact, Left::Safe)]
#[case::a_short(
    Part { leak: |u, _| u / 2.0, ..Part::sound() }, Verdict::Over, Finding::Shorted, Left::Safe)]
#[case::a_part_that_gives_way(
    Part { gives_way_at: 20.0, ..Part::sound() }, Verdict::Over, Finding::BrokeDown, Left::Safe)]
#[case::a_part_that_holds_the_supply(
    Part { leak: |u, _| if u < 15.0 { 0.0 } else { (u - 15.0) * 5e-3 }, ..Part::sound() },
    Verdict::Over, Finding::HeldBelowTestVoltage, Left::Safe)]
#[case::a_part_that_conducts_at_a_volt(
    Part { leak: |u, _| u * 100e-6, ..Part::sound() },
    Verdict::Untested, Finding::ConductsAtLowVoltage, Left::Safe)]
#[case::a_part_of_a_third_of_its_value(
    Part { farad: 7e-6, ..Part::sound() },
    Verdict::Undecided, Finding::CapacitanceOff, Left::Safe)]
#[case::a_clip_that_falls_off_in_the_soak(
    Part { falls_off_at: 150.0, ..Part::sound() },
    Verdict::Undecided, Finding::ContactLost, Left::LockedOut)]
#[case::a_part_that_runs_away(
    Part { leak: |u, t| u / 25.0 * 3e-6 * 2_f64.powf(t / 60.0), ..Part::sound() },
    Verdict::Over, Finding::RunsAway, Left::Safe)]
#[case::a_part_that_breaks_down_in_the_soak(
    Part { leak: |u, t| if t < 200.0 { 0.1e-6 } else { u * 1e-3 }, ..Part::sound() },
    Verdict::Over, Finding::BrokeDown, Left::Safe)]
fn a_part_gets_its_verdict(
    #[case] part: Part,
    #[case] verdict: Verdict,
    #[case] finding: Finding,
    #[case] left: Left,
) {
    check(part, verdict, finding, left);
}

#[test]
fn a_part_that_comes_charged_is_bled_first_and_then_judged() {
    let outcome = Rig::start(plan(), Part { charged_to: 12.0, ..Part::sound() }).finish();
    assert_eq!(outcome.ruling.verdict, Verdict::Within);
    assert_eq!(outcome.ruling.findings.as_slice(), [Finding::Settled, Finding::AlreadyCharged]);
}

#[test]
fn the_measured_capacitance_is_that_of_the_part() {
    for part in [Part::sound(), Part { leak: |u, _| 55e-6 * u / 25.0, ..Part::sound() }] {
        let outcome = Rig::start(plan(), part).finish();
        let ratio = outcome.capacitance.unwrap().value.value / 22e-6;
        assert!((0.95..1.05).contains(&ratio), "{ratio}");
    }
}

#[test]
fn the_reading_is_the_leakage_at_the_reading_time() {
    let part = Part { leak: |u, t| u / 25.0 * (0.5e-6 + 100e-6 / (1.0 + t)), ..Part::sound() };
    let outcome = Rig::start(plan(), part).finish();
    let (reading, full) = (outcome.reading.unwrap(), outcome.full_voltage_at.unwrap().value);
    let expected = 0.5e-6 + 100e-6 / (1.0 + full + 300.0);
    assert!((reading.current.value / expected - 1.0).abs() < 0.01, "{reading:?}");
    assert_eq!(reading.at, seconds(300.0));
}

#[test]
fn phases_come_in_their_order() {
    let mut rig = Rig::start(plan(), Part::sound());
    let order = [Phase::Ramp, Phase::Charge, Phase::Settle, Phase::Soak, Phase::Bleed, Phase::Safe];
    for phase in order {
        rig.until(phase, 400.0);
    }
}

#[test]
fn a_part_longer_soak_is_judged_at_its_reading_time() {
    let mut plan = plan();
    plan.target.soak = seconds(1000.0);
    let part =
        Part { leak: |u, t| u / 25.0 * if t < 400.0 { 1e-6 } else { 1.1e-6 }, ..Part::sound() };
    let mut rig = Rig::start(plan, part);
    let outcome = rig.finish();
    assert!(rig.plant.time > 1000.0);
    assert!((outcome.reading.unwrap().current.value - 1e-6).abs() < 0.01e-6);
}

#[test]
fn a_shorter_soak_says_that_it_was_early() {
    let mut plan = plan();
    plan.target.soak = seconds(60.0);
    let outcome = Rig::start(plan, Part::sound()).finish();
    assert_eq!(outcome.ruling.verdict, Verdict::Within);
    assert!(outcome.ruling.findings.contains(&Finding::Early));
}

fn phases_with_output() -> [Phase; 5] {
    [Phase::Probe, Phase::Ramp, Phase::Charge, Phase::Settle, Phase::Soak]
}

#[rstest]
#[case::a_stop(Input::Stop, Finding::Stopped)]
#[case::a_lost_supply(Input::Lost(Instrument::Supply), Finding::InstrumentLost)]
#[case::a_lost_meter(Input::Lost(Instrument::Meter), Finding::InstrumentLost)]
#[case::a_refused_setting(Input::Refused, Finding::InstrumentLost)]
#[case::a_stall(Input::Stalled, Finding::InstrumentLost)]
#[case::a_disturbance(Input::Disturbed, Finding::InstrumentLost)]
#[case::an_overvoltage(Input::Voltage(Sample::Value(volts(27.0))), Finding::InstrumentLost)]
fn a_fault_cuts_out_first_in_every_phase(#[case] input: Input, #[case] finding: Finding) {
    for phase in phases_with_output() {
        let mut rig = Rig::start(plan(), Part::sound());
        rig.until(phase, 100.0);
        let orders = rig.feed(input);
        assert_eq!(orders[0], Order::CutOut, "{input:?} in {phase}");
        assert!(!rig.plant.is_on());
        let outcome = rig.finish();
        assert_eq!(outcome.ruling.findings[0], finding, "{input:?} in {phase}");
        assert_ne!(outcome.ruling.verdict, Verdict::Within);
    }
}

/// One line that was garbled into an overload, or into a current far beyond a leak.
fn garbled(range: u8) -> [Input; 2] {
    let range = reststrom::plan::RangeIndex(range);
    let far = Sample::Value(amperes(9.5e-3));
    [Sample::Overload { negative: false }, far].map(|sample| Input::Current { sample, range })
}

#[test]
fn one_garbled_reading_switches_off_and_condemns_no_part() {
    for (phase, range) in
        [(Phase::Probe, 3), (Phase::Ramp, 3), (Phase::Charge, 3), (Phase::Soak, 1)]
    {
        for reading in garbled(range) {
            let mut rig = Rig::start(plan(), Part::sound());
            rig.until(phase, 100.0);
            // Into the phase, with some charge in the part.
            while !rig.plant.is_on() || (phase == Phase::Ramp && rig.plant.at_part() < 9.0) {
                rig.advance();
            }
            rig.advance();
            let orders = rig.feed(reading);
            assert_eq!(orders.first(), Some(&Order::CutOut), "{reading:?} in {phase}");
            let outcome = rig.finish();
            let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
            let expected = (Verdict::Untested, Finding::InstrumentLost, Left::Safe);
            assert_eq!(got, expected, "{reading:?} in {phase}");
        }
    }
}

#[test]
fn a_part_that_stands_at_its_voltage_did_not_give_way_by_one_garbled_reading() {
    for reading in garbled(1) {
        let mut rig = Rig::start(plan(), Part::sound());
        rig.until(Phase::Soak, 100.0);
        rig.advance();
        rig.plant.sticks();
        rig.feed(reading);
        let outcome = rig.finish();
        let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
        let expected = (Verdict::Untested, Finding::InstrumentLost, Left::LockedOut);
        assert_eq!(got, expected, "{reading:?}");
    }
}

#[test]
fn a_part_that_gave_way_gives_nothing_back_and_is_over_by_one_reading() {
    for volt in [4.0, 12.0, 24.5] {
        let outcome = Rig::start(plan(), Part { gives_way_at: volt, ..Part::sound() }).finish();
        assert_eq!(outcome.ruling.verdict, Verdict::Over, "at {volt} V: {outcome:#?}");
        assert_eq!(outcome.ruling.findings[0], Finding::BrokeDown, "at {volt} V");
    }
}

#[test]
fn terminals_that_stand_still_on_a_bleeder_are_driven_and_locked_out() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(Phase::Probe, 1.0);
    while rig.plant.at_part() < 0.8 {
        rig.advance();
    }
    // From here on the supply says off, and its relay does not open.
    let stands = Input::Voltage(Sample::Value(volts(0.9)));
    rig.run.step(rig.now(), Input::Stop);
    let mut time = rig.now().value;
    while rig.run.outcome().is_none() {
        time += 0.1;
        assert!(time < 400.0, "no end in {}", rig.run.phase());
        let now = seconds(time);
        for input in [Input::Output(OutputState::Off), stands, Input::Tick] {
            rig.run.step(now, input);
        }
    }
    assert_eq!(rig.run.outcome().unwrap().left, Left::LockedOut);
}

#[test]
fn a_supply_that_swings_is_never_soaked_at() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(Phase::Ramp, 100.0);
    let mut high = false;
    while rig.run.outcome().is_none() {
        assert!(rig.plant.time < 400.0, "no end in {}", rig.run.phase());
        assert_ne!(rig.run.phase(), Phase::Soak);
        for input in rig.plant.advance() {
            // In and out of its current limit, wherever it was set: 24.1 V at most.
            let swings = if let Input::Voltage(Sample::Value(told)) = input {
                high = !high;
                Input::Voltage(Sample::Value(told * if high { 0.964 } else { 0.93 }))
            } else {
                input
            };
            rig.feed(swings);
        }
        rig.feed(Input::Tick);
    }
    let outcome = rig.run.outcome().unwrap();
    assert_ne!(outcome.ruling.verdict, Verdict::Within, "{outcome:#?}");
}

#[test]
fn silence_of_either_instrument_cuts_out_within_the_stale_time() {
    for keep_voltage in [false, true] {
        let mut rig = Rig::start(plan(), Part::sound());
        rig.until(Phase::Soak, 100.0);
        let silent_from = rig.plant.time;
        while rig.plant.is_on() {
            assert!(rig.plant.time < silent_from + 2.2, "still on");
            for input in rig.plant.advance() {
                if matches!(input, Input::Voltage(_)) == keep_voltage {
                    rig.feed(input);
                }
            }
            rig.feed(Input::Tick);
        }
    }
}

#[test]
fn lines_without_a_value_do_not_keep_a_run_alive() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(Phase::Soak, 100.0);
    for _ in 0..25 {
        let voltage = rig.plant.advance()[0];
        rig.feed(voltage);
        let range = plan().meter.soak;
        rig.feed(Input::Current { sample: Sample::NotANumber, range });
    }
    assert!(!rig.plant.is_on());
}

#[test]
fn a_stuck_output_ends_locked_out_and_is_ordered_off_for_ever() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(Phase::Soak, 100.0);
    let mut orders = rig.run.step(rig.now(), Input::Stop);
    let mut offs = 0;
    for tenth in 0_u32..3000 {
        offs += orders.iter().filter(|order| **order == Order::CutOut).count();
        let now = rig.now() + seconds(f64::from(tenth) * 0.1);
        orders = rig.run.step(now, Input::Voltage(Sample::Value(volts(25.0))));
        orders.extend(rig.run.step(now, Input::Output(OutputState::On)));
    }
    assert_eq!(rig.run.phase(), Phase::LockedOut);
    assert!(offs > 500, "{offs}");
}

#[test]
fn an_output_that_comes_back_by_itself_locks_out() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(Phase::Bleed, 400.0);
    rig.advance();
    let orders = rig.feed(Input::Output(OutputState::On));
    assert_eq!(orders[0], Order::CutOut);
    assert_eq!(rig.run.phase(), Phase::LockedOut);
}

#[test]
fn a_part_that_does_not_empty_locks_out() {
    let mut plan = plan();
    plan.discharge.bleeder = Bleeder::Relay(ohms(10_000.0));
    let mut rig = Rig::start(plan, Part::sound());
    rig.until(Phase::Soak, 100.0);
    rig.feed(Input::Stop);
    let range = reststrom::plan::RangeIndex(3);
    for tenth in 0_u32..1500 {
        let now = rig.now() + seconds(f64::from(tenth) * 0.1);
        rig.run.step(now, Input::Voltage(Sample::Value(volts(24.0))));
        rig.run.step(now, Input::Current { sample: Sample::Value(amperes(0.0)), range });
    }
    assert_eq!(rig.run.outcome().unwrap().left, Left::LockedOut);
}

#[test]
fn a_zero_read_before_the_relay_is_no_proof_of_discharge() {
    let mut plan = plan();
    plan.supply.senses = Sensing::BeforeRelay;
    let bleed = plan.meter.bleed;
    let mut rig = Rig::start(plan, Part::sound());
    rig.until(Phase::Soak, 100.0);
    rig.feed(Input::Stop);
    for tenth in 0_u32..2000 {
        let now = rig.now() + seconds(f64::from(tenth) * 0.1);
        rig.run.step(now, Input::Voltage(Sample::Value(volts(0.0))));
        // 2 mA through 10 kΩ and the path is over 20 V at the part.
        let sample = Sample::Value(amperes(-2e-3));
        rig.run.step(now, Input::Current { sample, range: bleed });
    }
    assert_eq!(rig.run.phase(), Phase::LockedOut);
}

#[rstest]
#[case::with_a_resistor(Bleeder::Fitted(ohms(10_000.0)))]
#[case::with_a_relay(Bleeder::Relay(ohms(100_000.0)))]
#[case::into_the_supply(Bleeder::SupplySinks)]
fn every_kind_of_bleeder_empties_the_part(#[case] bleeder: Bleeder) {
    let plan = Plan {
        discharge: reststrom::plan::DischargePlan { bleeder, ..plan().discharge },
        ..plan()
    };
    let mut rig = Rig::start(plan, Part::sound());
    let outcome = rig.finish();
    assert_eq!(
        (outcome.ruling.verdict, outcome.left),
        (Verdict::Within, Left::Safe),
        "{outcome:#?}"
    );
    assert!(rig.plant.at_part() < 5.0 && !rig.plant.is_on());
}

#[rstest]
#[case::a_current(|range: f64| Sample::Value(amperes(-range.min(9.5e-3))))]
#[case::an_overload(|_| Sample::Overload { negative: true })]
fn a_current_out_of_the_part_is_no_breakdown(#[case] sample: fn(f64) -> Sample<Current>) {
    for phase in [Phase::Probe, Phase::Ramp, Phase::Charge, Phase::Soak] {
        let mut rig = Rig::start(plan(), Part::sound());
        rig.until(phase, 100.0);
        while phase == Phase::Probe && !rig.plant.is_on() {
            rig.advance();
        }
        rig.advance();
        let range = if phase == Phase::Soak { plan().meter.soak } else { plan().meter.surge };
        let orders = rig.feed(Input::Current { sample: sample(10e-3), range });
        assert_eq!(orders[0], Order::CutOut, "{phase}");
        let outcome = rig.finish();
        assert_eq!(outcome.ruling.findings[0], Finding::InstrumentLost, "{phase}");
        assert_eq!(outcome.ruling.verdict, Verdict::Untested, "{phase}");
    }
}

#[test]
fn an_overload_while_the_contact_is_proven_cuts_out_at_once() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(Phase::Soak, 100.0);
    // The proof begins with the end of the soak.
    let proof_from = rig.run.full_voltage_at().unwrap() + seconds(300.2);
    while rig.now() < proof_from {
        rig.advance();
    }
    assert_eq!(rig.run.phase(), Phase::Soak);
    let sample = Sample::Overload { negative: false };
    let orders = rig.feed(Input::Current { sample, range: plan().meter.surge });
    assert_eq!(orders.first(), Some(&Order::CutOut));
    // The part gives its charge back all the same: the one reading was none of a breakdown.
    let outcome = rig.finish();
    assert_eq!(outcome.ruling.findings[0], Finding::InstrumentLost);
    assert_eq!(outcome.ruling.verdict, Verdict::Untested);
}

#[test]
fn a_bench_that_nobody_looked_at_is_watched_however_small_the_next_part_is() {
    let mut plan = plan();
    plan.test_voltage = volts(4.0);
    let plan = std::sync::Arc::new(plan);
    let run = reststrom::procedure::Procedure::new(plan.clone());
    let part = Part { charged_to: 3.0, ..Part::sound() };
    let mut rig = Rig { run, plant: Plant::new(plan.clone(), part) };
    let orders = rig.run.start_making_safe(seconds(0.0));
    rig.carry_out(&orders);
    assert_eq!(rig.finish().left, Left::Safe);
    assert!(plan.discharge.hold + plan.discharge.rebound <= rig.now());
}

#[test]
fn the_bench_left_by_a_dead_run_is_made_safe_without_being_energised() {
    let plan = std::sync::Arc::new(plan());
    let run = reststrom::procedure::Procedure::new(plan.clone());
    let part = Part { charged_to: 25.0, ..Part::sound() };
    let mut rig = Rig { run, plant: Plant::new(plan, part) };
    let orders = rig.run.start_making_safe(seconds(0.0));
    assert_eq!(orders[0], Order::CutOut);
    rig.carry_out(&orders);
    assert_eq!(rig.finish().left, Left::Safe);
    assert!(rig.plant.at_part() < 5.0);
}

#[rstest]
fn a_part_that_empties_into_a_tripped_supply_has_not_given_way(
    #[values(Phase::Ramp, Phase::Charge, Phase::Settle, Phase::Soak)] phase: Phase,
) {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(phase, 400.0);
    while phase == Phase::Ramp && rig.plant.at_part() < 5.0 {
        rig.advance();
    }
    rig.plant.trips();
    let outcome = rig.finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (Verdict::Untested, Finding::InstrumentLost, Left::Safe), "{outcome:#?}");
    assert_eq!(outcome.broke_down_at, None);
}

#[test]
fn a_supply_that_was_not_raised_makes_no_short_of_the_part() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.plant.ignores_voltages();
    let outcome = rig.finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (Verdict::Untested, Finding::InstrumentLost, Left::Safe), "{outcome:#?}");
}
