//! Watching the clip for the next part of a tray, on the bench of arithmetic.

mod plant;

use plant::{Part, Rig, plan};
use reststrom::judge::Left;
use reststrom::plan::Phase;
use reststrom::procedure::Input;
use reststrom::quantity::volts;
use rstest::rstest;

/// Moves on for so many seconds; the voltage at the part and the output never pass the probe's.
#[track_caller]
fn wait(rig: &mut Rig, time: f64) {
    let end = rig.plant.time + time;
    while rig.plant.time < end {
        rig.advance();
        assert!(rig.plant.at_part() < 1.05, "{} V at the clip", rig.plant.at_part());
    }
}

#[track_caller]
fn watching(awaits_gone: bool, part: Part) -> Rig {
    let mut rig = Rig::start(plan().for_clip_watch(awaits_gone), part);
    wait(&mut rig, 30.0);
    rig
}

#[test]
fn a_part_that_goes_into_an_empty_clip_is_seen_within_seconds() {
    let mut rig = watching(false, Part::nothing());
    assert_eq!(rig.run.phase(), Phase::Probe);
    rig.plant.clip_in(Part::sound());
    wait(&mut rig, 10.0);
    let outcome = rig.finish();
    assert!(outcome.clipped);
    assert_eq!(outcome.left, Left::Safe);
    assert!(!rig.plant.is_on() && rig.plant.at_part() < 1.0);
}

#[test]
fn the_part_that_was_tested_must_come_out_before_another_is_seen() {
    let mut rig = watching(true, Part::sound());
    wait(&mut rig, 120.0);
    assert_eq!(rig.run.phase(), Phase::Probe, "the old part is not taken for a new one");
    rig.plant.clip_in(Part::nothing());
    wait(&mut rig, 10.0);
    assert_eq!(rig.run.phase(), Phase::Probe, "an empty clip is not taken for a part");
    rig.plant.clip_in(Part::sound());
    assert!(rig.finish().clipped);
}

#[test]
fn a_short_is_seen_as_a_part_too() {
    let mut rig = watching(false, Part::nothing());
    rig.plant.clip_in(Part { leak: |u, _| u / 0.5, ..Part::sound() });
    assert!(rig.finish().clipped);
}

#[test]
fn hands_that_tremble_are_no_part() {
    let mut rig = watching(false, Part::nothing());
    for _ in 0..5 {
        rig.plant.clip_in(Part::sound());
        wait(&mut rig, 0.3);
        rig.plant.clip_in(Part::nothing());
        wait(&mut rig, 4.0);
    }
    assert_eq!(rig.run.phase(), Phase::Probe);
}

#[rstest]
#[case::with_a_part_in_the_clip(Part::sound())]
#[case::with_an_empty_clip(Part::nothing())]
fn a_stop_ends_the_watch_safely(#[case] part: Part) {
    let mut rig = watching(true, part);
    rig.feed(Input::Stop);
    assert!(!rig.plant.is_on());
    let outcome = rig.finish();
    assert_eq!((outcome.left, outcome.clipped), (Left::Safe, false), "{outcome:#?}");
}

#[test]
fn the_supply_is_protected_just_above_the_voltage_of_the_look() {
    // 1 V · 1.05 + 0.5 V, not the 26.75 V of the run to come.
    let watch = plan().for_clip_watch(true);
    assert!((watch.supply.over_voltage.value - 1.55).abs() < 0.011, "{:?}", watch.supply);
}

#[test]
fn a_part_too_small_to_be_seen_at_the_probe_voltage_is_known_before() {
    let mut plan = plan();
    assert!(plan.sees_clip());
    plan.probe.voltage = volts(0.01);
    assert!(!plan.sees_clip());
}
