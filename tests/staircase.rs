//! The staircase of voltages, on the bench of arithmetic.

mod plant;

use plant::{Part, Rig, plan};
use reststrom::judge::{Finding, HighestWithin, Verdict, highest_within};
use reststrom::plan::{Phase, Plan, Purpose, Stairs};
use reststrom::quantity::{amperes, seconds, volts};

/// Limit of the plant's plan, A.
const LIMIT: f64 = 5.5e-6;

/// Ten steps to 25 V, a minute each.
fn staircase() -> Plan {
    let mut plan = plan();
    let voltages = (1..=10).map(|step| volts(2.5 * f64::from(step))).collect();
    plan.purpose = Purpose::Staircase(Stairs { voltages, dwell: seconds(60.0) });
    plan
}

/// Leaks 0.4 µA at 25 V and a thousandth of that per tenth less: I = 0.4 µA · e^(5·(u/25 − 1)).
fn steep(scale: f64) -> impl Fn(f64) -> f64 {
    move |u: f64| scale * 0.4e-6 * (5.0 * (u / 25.0 - 1.0)).exp() * (u / 25.0).min(1.0)
}

#[test]
fn a_sound_part_is_read_at_every_step_up_to_its_rating() {
    let outcome =
        Rig::start(staircase(), Part { leak: |u, _| steep(1.0)(u), ..Part::sound() }).finish();
    assert_eq!(outcome.stairs.len(), 10, "{outcome:#?}");
    for (step, stair) in (1_u32..).zip(&outcome.stairs) {
        let voltage = 2.5 * f64::from(step);
        let current = stair.reading.expect("every step is read").current.value;
        assert!((stair.voltage.value - voltage).abs() < 1e-9);
        let expected = steep(1.0)(voltage);
        assert!((current - expected).abs() < expected * 0.03 + 3e-9, "{current:e} at {voltage} V");
    }
    let found = highest_within(&outcome.stairs, amperes(LIMIT));
    assert_eq!((found.within, found.beyond), (Some(volts(25.0)), None));
    assert_eq!(outcome.ruling.verdict, Verdict::Within);
    assert!(outcome.ruling.findings.contains(&Finding::Early), "{outcome:#?}");
}

#[test]
fn the_voltage_never_falls_between_steps_nor_passes_the_rating() {
    let mut rig = Rig::start(staircase(), Part::sound());
    rig.until(Phase::Ramp, 60.0);
    let mut highest = 0.0_f64;
    while matches!(rig.run.phase(), Phase::Ramp | Phase::Charge | Phase::Settle)
        || rig.plant.time < 600.0
    {
        rig.advance();
        let now = rig.plant.at_part();
        assert!(highest - 0.1 <= now && now < 25.1, "{now} V after {highest} V");
        highest = highest.max(now);
    }
}

#[test]
fn the_staircase_stops_where_the_limit_is_passed() {
    // Thirty times as leaky: 12 µA at 25 V; the limit of 5.5 µA is met at 25 V·(1 + ln(5.5/12)/5).
    let outcome =
        Rig::start(staircase(), Part { leak: |u, _| steep(30.0)(u), ..Part::sound() }).finish();
    let found = highest_within(&outcome.stairs, amperes(LIMIT));
    let HighestWithin { within: Some(within), beyond: Some(beyond), estimate: Some(estimate) } =
        found
    else {
        panic!("{found:?}")
    };
    assert!((within.value - 20.0).abs() < 1e-6 && (beyond.value - 22.5).abs() < 1e-6, "{found:?}");
    // 12 µA · e^(5·(u/25 − 1)) · u/25 = 5.5 µA: by hand u = 21.8 V.
    assert!((estimate.value - 21.8).abs() < 0.3, "{estimate:?}");
    assert_eq!(outcome.stairs.len(), 9);
    assert_ne!(outcome.ruling.verdict, Verdict::Within);
}

#[test]
fn a_part_that_gives_way_on_the_stairs_is_cut_out_with_its_steps_kept() {
    let mut rig = Rig::start(staircase(), Part { gives_way_at: 18.0, ..Part::sound() });
    let outcome = rig.finish();
    assert_eq!(
        (outcome.ruling.verdict, outcome.ruling.findings[0]),
        (Verdict::Over, Finding::BrokeDown)
    );
    assert_eq!(outcome.stairs.len(), 7);
    assert!(!rig.plant.is_on() && rig.plant.at_part() < 5.0);
}

#[test]
fn an_empty_clip_climbs_no_stairs() {
    let outcome = Rig::start(staircase(), Part::nothing()).finish();
    assert_eq!(outcome.ruling.findings[0], Finding::NoContact);
    assert!(outcome.stairs.is_empty());
}
