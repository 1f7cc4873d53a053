//! The zero of the open fixture, on the bench of arithmetic.

mod plant;

use plant::{Part, Rig, plan};
use reststrom::judge::{Finding, Left};
use reststrom::plan::{Phase, Plan, Purpose, RangeIndex};
use reststrom::procedure::Input;
use reststrom::quantity::{coulombs, farads, seconds};
use rstest::rstest;

/// A minute at 25 V, read on the 10 µA range, which is good to ±0.1 nA there.
fn zeroing() -> Plan {
    let mut plan = Plan { purpose: Purpose::Zero, ..plan() };
    plan.meter.soak = RangeIndex(0);
    // What is planned for is what leads hold.
    plan.part.capacitance = farads(100e-12);
    plan.target.soak = seconds(60.0);
    plan.ramp.charge_floor = coulombs(1e-9);
    plan
}

fn fixture(leak: fn(f64, f64) -> f64) -> Part {
    Part { leak, ..Part::nothing() }
}

#[test]
fn what_leads_and_clips_leak_is_read_with_its_doubt() {
    // 25 V across 1 GΩ.
    let mut rig = Rig::start(zeroing(), fixture(|u, _| u / 1e9));
    rig.until(Phase::Soak, 60.0);
    let outcome = rig.finish();
    let zero = outcome.zero.expect("a zero");
    assert!((zero.current.value - 25e-9).abs() < 0.05e-9, "{zero:?}");
    // ±(0.05 % of 25 nA + 0.1 nA) as a rectangle: 0.1125 nA / √3 = 0.065 nA; nothing scatters.
    assert!((zero.uncertainty.value - 0.065e-9).abs() < 0.002e-9, "{zero:?}");
    assert_eq!(outcome.left, Left::Safe);
    assert!(!rig.plant.is_on() && rig.plant.at_part() < 1.0);
}

#[test]
fn the_zero_is_read_after_the_time_that_parts_are_read_at() {
    // Plastic soaks: 2 nA that die away with 10 s from second 12 on are 5 pA a minute later.
    let soaking = |u: f64, t: f64| if u < 20.0 { 0.0 } else { 2e-9 * (-(t - 12.0) / 10.0).exp() };
    let outcome = Rig::start(zeroing(), fixture(soaking)).finish();
    assert!(outcome.zero.expect("a zero").current.value < 0.05e-9, "{outcome:?}");
}

#[rstest]
#[case::a_large_part(22e-6)]
#[case::a_small_part(10e-9)]
fn a_part_that_was_left_in_the_clip_is_noticed_by_its_charge(#[case] farad: f64) {
    let mut rig = Rig::start(zeroing(), Part { farad, ..Part::sound() });
    let outcome = rig.finish();
    assert!(outcome.zero.is_none() && outcome.clipped, "{outcome:?}");
    assert_eq!(outcome.left, Left::Safe);
    assert!(!rig.plant.is_on() && rig.plant.at_part() < 5.0);
}

#[test]
fn a_part_that_was_left_in_and_comes_off_charged_is_not_called_safe() {
    let mut rig = Rig::start(zeroing(), Part::sound());
    rig.until(Phase::Bleed, 60.0);
    rig.plant.unclip();
    let outcome = rig.finish();
    assert!(20.0 < rig.plant.left_with(), "{} V", rig.plant.left_with());
    assert_eq!(outcome.left, Left::LockedOut, "{outcome:?}");
}

#[test]
fn clips_that_touch_are_cut_out() {
    let mut rig = Rig::start(zeroing(), fixture(|u, _| u / 0.5));
    let outcome = rig.finish();
    assert!(outcome.zero.is_none(), "{outcome:?}");
    assert!(outcome.ruling.findings[0] == Finding::Shorted, "{outcome:?}");
    assert!(!rig.plant.is_on());
}

#[test]
fn a_dirty_fixture_is_read_on_the_range_that_holds_it() {
    // 25 V across 100 kΩ: 250 µA, on the 1 mA range.
    let outcome = Rig::start(zeroing(), fixture(|u, _| u / 1e5)).finish();
    let current = outcome.zero.map(|zero| zero.current.value);
    // The path takes 1020 Ω of 101 020 Ω.
    assert!(current.is_some_and(|ampere| (ampere / 247.5e-6 - 1.0).abs() < 0.002), "{outcome:?}");
}

#[test]
fn a_hand_on_the_clips_in_the_soak_ends_it() {
    let mut rig = Rig::start(zeroing(), fixture(|u, t| if t < 60.0 { u / 1e9 } else { u / 1e4 }));
    let outcome = rig.finish();
    assert!(outcome.zero.is_none(), "{outcome:?}");
    assert_eq!(outcome.left, Left::Safe);
    assert!(!rig.plant.is_on());
}

#[test]
fn a_zero_that_is_stopped_is_none() {
    let mut rig = Rig::start(zeroing(), Part::nothing());
    rig.until(Phase::Soak, 60.0);
    rig.feed(Input::Stop);
    assert!(!rig.plant.is_on());
    let outcome = rig.finish();
    assert!(outcome.zero.is_none(), "{outcome:?}");
    assert_eq!(outcome.left, Left::Safe);
}
