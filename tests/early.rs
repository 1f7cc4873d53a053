//! Ending a soak early, and the forecast: on the bench of arithmetic.

mod plant;

use plant::said::ampere;
use plant::{Part, Rig, plan};
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Phase, Plan, RangeIndex, Until};
use reststrom::procedure::Outcome;
use rstest::rstest;

/// Limit of the plant's plan, A.
const LIMIT: f64 = 5.5e-6;

fn early_plan() -> Plan {
    let mut plan = plan();
    plan.target.until = Until::Early;
    plan
}

#[track_caller]
fn run(plan: Plan, part: Part) -> Outcome {
    Rig::start(plan, part).finish()
}

fn leaking(leak: fn(f64, f64) -> f64) -> Part {
    Part { leak, ..Part::sound() }
}

/// When the reading was taken, in seconds after full voltage.
#[track_caller]
fn read_at(outcome: &Outcome) -> f64 {
    outcome.reading.expect("a reading was taken").at.value
}

#[test]
fn a_sound_part_is_within_in_a_tenth_of_the_time_and_says_that_it_was_early() {
    let outcome = run(early_plan(), Part::sound());
    assert_eq!(outcome.ruling.verdict, Verdict::Within);
    assert_eq!(outcome.ruling.findings.as_slice(), [Finding::Settled, Finding::Early]);
    let at = read_at(&outcome);
    assert!((15.0..30.0).contains(&at), "read at {at} s");
}

#[test]
fn without_being_asked_no_run_ends_early() {
    let outcome = run(plan(), Part::sound());
    assert!((read_at(&outcome) - 300.0).abs() < 1e-9);
    assert!(!outcome.ruling.findings.contains(&Finding::Early));
}

// The bench counts from the run's start; full voltage is reached after some 25 s.
#[rstest]
#[case::near_its_limit(leaking(|u, _| u / 25.0 * 0.8 * LIMIT), Verdict::Within)]
#[case::over_its_limit(leaking(|u, _| u / 25.0 * 1.5 * LIMIT), Verdict::Over)]
#[case::rising_slowly(leaking(|u, t| u / 25.0 * LIMIT * (0.3 + t / 1000.0)), Verdict::Within)]
fn a_part_that_is_not_clearly_within_gets_its_full_time(
    #[case] part: Part,
    #[case] verdict: Verdict,
) {
    let outcome = run(early_plan(), part);
    assert_eq!(outcome.ruling.verdict, verdict, "{outcome:#?}");
    assert!((read_at(&outcome) - 300.0).abs() < 1e-9);
    assert!(!outcome.ruling.findings.contains(&Finding::Early));
}

#[test]
fn a_part_that_still_falls_to_its_limit_is_ended_on_the_way_once_it_is_clear() {
    // Over the limit until about 60 s, a tenth of it at the reading time.
    let outcome = run(early_plan(), leaking(|u, t| u / 25.0 * LIMIT * 80.0 / t));
    assert_eq!(outcome.ruling.verdict, Verdict::Within);
    let at = read_at(&outcome);
    assert!((80.0..200.0).contains(&at), "read at {at} s");
}

#[rstest]
#[case::right_after_full_voltage(30.0)]
#[case::just_before_the_early_end(38.0)]
fn a_clip_that_fell_off_is_not_within_early_either(#[case] falls_off_at: f64) {
    let outcome = run(early_plan(), Part { falls_off_at, ..Part::sound() });
    assert_ne!(outcome.ruling.verdict, Verdict::Within, "{outcome:#?}");
}

#[test]
fn the_forecast_of_a_steady_part_is_what_is_read_in_the_end() {
    let mut rig = Rig::start(plan(), Part::sound());
    rig.until(Phase::Soak, 60.0);
    let begin = rig.plant.time;
    while rig.plant.time < begin + 30.0 {
        rig.advance();
    }
    let forecast = rig.run.forecast().expect("thirty seconds are enough");
    let read = rig.finish().reading.expect("a reading").current;
    assert!((forecast.current - read).abs() <= forecast.uncertainty, "{forecast:?}, read {read:?}");
}

#[test]
fn outside_the_soak_there_is_no_forecast() {
    let mut rig = Rig::start(plan(), Part::sound());
    assert_eq!(rig.run.forecast(), None);
    rig.until(Phase::Safe, 2000.0);
    assert_eq!(rig.run.forecast(), None);
}

#[test]
fn a_clip_that_falls_off_in_the_middle_is_noticed_within_a_quarter_of_a_minute() {
    let mut rig = Rig::start(plan(), Part { falls_off_at: 120.0, ..Part::sound() });
    while rig.run.phase() != Phase::Bleed {
        rig.advance();
    }
    assert!((120.0..140.0).contains(&rig.plant.time), "noticed at {} s", rig.plant.time);
    let outcome = rig.finish();
    assert_eq!(outcome.ruling.verdict, Verdict::Undecided);
    assert_eq!(outcome.ruling.findings[0], Finding::ContactLost);
}

/// Lets so many seconds pass.
fn wait(rig: &mut Rig, time: f64) {
    let end = rig.plant.time + time;
    while rig.plant.time < end {
        rig.advance();
    }
}

#[test]
fn a_part_swapped_for_another_while_charged_is_no_breakdown_and_locks_out() {
    let mut rig = Rig::start(plan(), leaking(|u, _| u / 25.0 * 1e-6));
    rig.until(Phase::Soak, 60.0);
    wait(&mut rig, 20.0);
    rig.plant.clip_in(Part { leak: |_, _| 0.0, ..Part::nothing() });
    wait(&mut rig, 0.5);
    rig.plant.clip_in(Part::sound());
    let outcome = rig.finish();
    assert_eq!(outcome.ruling.findings[0], Finding::ContactLost, "{outcome:#?}");
    assert_eq!(outcome.left, Left::LockedOut);
}

#[rstest]
#[case::in_the_middle(20.0, 0.3)]
#[case::as_the_soak_begins(0.0, 0.3)]
#[case::for_one_reading(20.0, 0.1)]
fn a_part_swapped_for_one_so_large_that_the_voltage_sags_first_locks_out(
    #[case] after: f64,
    #[case] gone: f64,
) {
    let mut rig = Rig::start(plan(), leaking(|u, _| u / 25.0 * 1e-6));
    rig.until(Phase::Soak, 60.0);
    wait(&mut rig, after);
    rig.plant.clip_in(Part { leak: |_, _| 0.0, charged_to: 25.0, ..Part::nothing() });
    wait(&mut rig, gone);
    rig.plant.clip_in(Part { farad: 220e-6, ..Part::sound() });
    let outcome = rig.finish();
    assert_eq!(outcome.ruling.findings[0], Finding::ContactLost, "{outcome:#?}");
    assert_eq!(outcome.left, Left::LockedOut);
}

#[test]
fn a_part_swapped_whose_surge_begins_within_a_reading_locks_out() {
    let mut rig = Rig::start(plan(), leaking(|u, _| u / 25.0 * 1e-6));
    rig.until(Phase::Soak, 60.0);
    wait(&mut rig, 20.0);
    rig.plant.clip_in(Part { leak: |_, _| 0.0, charged_to: 25.0, ..Part::nothing() });
    wait(&mut rig, 0.2);
    rig.feed(ampere(60e-6, RangeIndex(1)));
    rig.plant.clip_in(Part::sound());
    let outcome = rig.finish();
    assert_eq!(outcome.ruling.findings[0], Finding::ContactLost, "{outcome:#?}");
    assert_eq!(outcome.left, Left::LockedOut);
}

#[test]
fn a_contact_that_was_gone_for_a_moment_ends_the_run_though_no_charge_was_seen_to_flow() {
    let leak = |u: f64, _| u / 25.0 * 1e-6;
    let mut rig = Rig::start(plan(), leaking(leak));
    rig.until(Phase::Soak, 60.0);
    wait(&mut rig, 20.0);
    rig.plant.clip_in(Part { leak: |_, _| 0.0, charged_to: 25.0, ..Part::nothing() });
    wait(&mut rig, 1.0);
    rig.plant.clip_in(Part { charged_to: 25.0, ..leaking(leak) });
    let outcome = rig.finish();
    assert_eq!(outcome.ruling.findings[0], Finding::ContactLost, "{outcome:#?}");
    assert_eq!(outcome.ruling.verdict, Verdict::Undecided);
    // What hangs there now gave its charge back, but nobody can say that it is the same part.
    assert_eq!(outcome.left, Left::LockedOut);
}

#[test]
fn a_part_whose_leakage_ceases_is_looked_at_and_read_to_the_end() {
    let mut rig =
        Rig::start(plan(), leaking(|u, t| u / 25.0 * if t < 120.0 { 1e-6 } else { 1e-10 }));
    let mut lowest = f64::INFINITY;
    rig.until(Phase::Soak, 60.0);
    while rig.plant.time < 250.0 {
        rig.advance();
        lowest = lowest.min(rig.plant.at_part());
    }
    assert!((23.0..24.5).contains(&lowest), "lowered to {lowest} V");
    let outcome = rig.finish();
    assert_eq!(outcome.ruling.verdict, Verdict::Within, "{outcome:#?}");
    assert!((read_at(&outcome) - 300.0).abs() < 1e-9);
}

#[test]
fn bursts_before_its_contact_is_looked_at_still_count() {
    let leak = |u: f64, t: f64| {
        let burst = (60.0..110.0).contains(&t) && t % 10.0 < 0.1;
        u / 25.0
            * if burst {
                8e-6
            } else if t < 120.0 {
                1e-6
            } else {
                1e-10
            }
    };
    let outcome = run(plan(), leaking(leak));
    assert!(2 < outcome.evidence.bursts, "{outcome:#?}");
    assert_eq!(
        (outcome.ruling.verdict, outcome.ruling.findings[0]),
        (Verdict::Over, Finding::Bursts)
    );
}

#[test]
fn a_part_that_gives_way_while_its_contact_is_looked_at_is_cut_out() {
    let leak = |u: f64, t: f64| match t {
        t if t < 120.0 => u / 25.0 * 1e-6,
        t if t < 126.0 => 0.0,
        _ => u / 100.0,
    };
    let outcome = run(plan(), leaking(leak));
    assert_eq!(
        (outcome.ruling.verdict, outcome.ruling.findings[0]),
        (Verdict::Over, Finding::BrokeDown)
    );
}
