//! Whoever dies or hangs, in whichever phase: the output goes off in time and the part is bled.

mod rig;

use reststrom::quantity::seconds;
use reststrom::simbench::{Fault, Instrument};
use rig::{CUT_OUT, PATIENCE, Rig, Running, sound, until};
use rstest::rstest;
use rustix::process::{Signal, kill_process};

const PART: [&str; 4] = ["C40", "470uF", "16V", "tantalum"];

/// A bench slow enough for a phase to be met: with 1 kΩ the part's time constant is half a second.
fn rig_for(phase: &str) -> Rig {
    let short = ["charge", "settle"].contains(&phase);
    Rig::new(if short { 8.0 } else { 20.0 }, &sound(470e-6, 16.0))
}

/// A soak that has come to a phase, with its output on in each phase that is energised.
fn soak_in(rig: &Rig, phase: &str) -> Running {
    let soak = if phase == "bleed" { "20s" } else { "30min" };
    let mut run = rig.start(&["soak", PART[0], PART[1], PART[2], PART[3], "--soak", soak]);
    run.reaches(phase);
    if phase == "bleed" {
        rig.goes_off_within(PATIENCE);
    } else {
        rig.comes_on();
    }
    assert_eq!(run.phase(), phase, "{}", run.said());
    run
}

/// The keeper of a dead daemon switches off, watches the part empty and frees the port.
#[track_caller]
fn keeper_makes_safe(rig: &Rig) {
    rig.goes_off_within(CUT_OUT);
    rig.empties();
    rig.keeper_ends();
    rig.is_left_safe();
    assert!(rig.times_on() <= 1, "{}", rig.times_on());
}

#[rstest]
fn a_killed_daemon_leaves_the_output_off_and_the_part_empty(
    #[values("probe", "ramp", "charge", "settle", "soak", "bleed")] phase: &str,
) {
    let rig = rig_for(phase);
    let run = soak_in(&rig, phase);
    run.signal(Signal::KILL);
    keeper_makes_safe(&rig);
    assert_eq!(run.phase(), phase, "{}", run.said());
}

#[rstest]
fn a_daemon_that_stands_still_is_switched_off_and_ends_safely_when_it_goes_on(
    #[values("probe", "ramp", "charge", "settle", "soak", "bleed")] phase: &str,
) {
    let rig = rig_for(phase);
    let mut run = soak_in(&rig, phase);
    run.signal(Signal::STOP);
    rig.goes_off_within(CUT_OUT);
    // At the pace of the bench: a daemon can't know of time that is skipped.
    until(PATIENCE, "an empty part", || rig.part_volt() < 5.0);
    run.signal(Signal::CONT);
    let ended = run.ends();
    let expected = if phase == "bleed" { Some(0) } else { Some(3) };
    assert_eq!(ended.code, expected, "{ended:?}");
    assert_eq!(rig.times_on(), 1);
    rig.is_left_safe();
    rig.keeper_ends();
}

#[test]
fn the_keeper_writes_an_off_again_that_got_lost() {
    let rig = rig_for("soak");
    let run = soak_in(&rig, "soak");
    rig.bench.inject(Fault::OffIgnoredOnce);
    run.signal(Signal::KILL);
    keeper_makes_safe(&rig);
}

#[test]
fn the_keeper_of_a_supply_that_needs_a_gap_is_heard_too() {
    let rig = rig_for("soak");
    let run = soak_in(&rig, "soak");
    rig.bench.inject(Fault::NeedsGap(Instrument::Supply, seconds(0.05 * 20.0)));
    run.signal(Signal::KILL);
    keeper_makes_safe(&rig);
}

#[test]
fn a_run_without_its_keeper_ends_safely() {
    let rig = rig_for("soak");
    let mut run = soak_in(&rig, "soak");
    kill_process(rig.keeper(), Signal::KILL).unwrap();
    rig.goes_off_within(CUT_OUT);
    rig.bench.advance(seconds(30.0));
    let ended = run.ends();
    assert_eq!(ended.code, Some(3), "{ended:?}");
    rig.is_left_safe();
    let object = rig.json(&["show", "r1", "--json"]);
    assert_eq!((&object["verdict"], &object["left"]), (&"untested".into(), &"safe".into()));
    assert!(object["advice"].as_str().unwrap().contains("keeper"), "{object}");
}

#[test]
fn a_keeper_that_died_before_the_output_came_on_keeps_it_off() {
    let rig = Rig::new(1.0, &sound(470e-6, 16.0));
    let mut run = rig.start(&["soak", PART[0], PART[1], PART[2], PART[3]]);
    kill_process(rig.keeper(), Signal::KILL).unwrap();
    let ended = run.ends();
    assert_eq!(ended.code, Some(3), "{ended:?}");
    let said = ended.stdout + &ended.stderr;
    assert!(said.contains("the keeper is gone"), "{said}");
    assert_eq!(rig.times_on(), 0);
    rig.is_left_safe();
}

#[test]
fn the_next_soak_makes_safe_what_a_killed_one_left_says_so_and_works() {
    let rig = Rig::holding(25.0, "C14");
    let words = ["soak", "C14", "22uF", "25V", "tantalum", "--json"];
    let mut run = rig.start(&words);
    run.reaches("soak");
    run.signal(Signal::KILL);
    rig.keeper_ends();
    let open = rig.json(&["show", "r1", "--json"]);
    assert_eq!(open["state"], "open");
    let next = rig.run(&words);
    assert_eq!(next.code, Some(0), "{next:?}");
    assert!(next.stderr.contains("r1 was cut off earlier"), "{next:?}");
    let first = rig.json(&["show", "r1", "--json"]);
    assert_eq!((&first["state"], &first["verdict"]), (&"interrupted".into(), &"untested".into()));
    assert_eq!(next.json()["run"], "r2");
    rig.is_left_safe();
}

#[test]
fn readings_survive_a_kill_but_for_the_last_second() {
    let rig = Rig::holding(10.0, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum"]);
    run.reaches("ramp");
    let before = rig.bench.look().time;
    std::thread::sleep(std::time::Duration::from_millis(50));
    until(PATIENCE, "20 s of bench time", || 20.0 < (rig.bench.look().time - before).value);
    run.signal(Signal::KILL);
    let csv = rig.run(&["show", "r1", "--readings", "csv"]).stdout;
    let last: f64 = csv.lines().last().unwrap().split(',').next().unwrap().parse().unwrap();
    let began: f64 = csv.lines().nth(1).unwrap().split(',').next().unwrap().parse().unwrap();
    // The ramp began some 13 s after the run; one second of the host is ten of the bench.
    assert!(began < 1.5 && 13.0 + 20.0 - 10.0 - 2.0 < last, "from {began} to {last}");
    rig.keeper_ends();
}

/// A soak whose daemon and keeper were killed, the one when it could not notice and the other
/// when it had no time to: the output is on and nobody is there.
fn killed_with_its_keeper(rig: &Rig, words: &[&str]) {
    let mut run = rig.start(words);
    run.reaches("soak");
    let keeper = rig.keeper();
    run.signal(Signal::STOP);
    kill_process(keeper, Signal::KILL).expect("a keeper to kill");
    run.signal(Signal::KILL);
    until(PATIENCE, "both dead", || run.has_ended() && rig.keepers().is_empty());
    assert!(rig.bench.look().output_on, "nothing was left to switch it off");
    assert!(24.0 < rig.part_volt());
}

#[test]
fn a_supply_that_both_left_on_is_found_and_made_safe_by_the_next_soak() {
    let rig = Rig::holding(25.0, "C14");
    let words = ["soak", "C14", "22uF", "25V", "tantalum", "--json"];
    killed_with_its_keeper(&rig, &words);
    let mut next = rig.start(&words);
    next.says("r1 was cut off earlier");
    let first = rig.json(&["show", "r1", "--json"]);
    assert_eq!(first["state"], "interrupted");
    let ended = next.ends();
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert_eq!((rig.heard_by_supply("OUTP OFF") >= 3, rig.times_on()), (true, 2));
    rig.is_left_safe();
}

#[test]
fn a_bench_that_cannot_be_made_safe_is_told_and_nothing_new_is_begun() {
    let rig = Rig::holding(25.0, "C14");
    let words = ["soak", "C14", "22uF", "25V", "tantalum", "--json"];
    killed_with_its_keeper(&rig, &words);
    rig.bench.inject(Fault::SupplyOutputStuckOn);
    let next = rig.run(&words);
    assert_eq!((next.code, next.stdout.as_str()), (Some(4), ""), "{next:?}");
    assert!(next.stderr.contains("the bench that r1 left could not be made safe"), "{next:?}");
    assert!(next.stderr.contains(" help: treat the part as charged"), "{next:?}");
    let runs = rig.json(&["runs", "--json"]);
    assert_eq!((runs.as_array().map(Vec::len), &runs[0]["state"]), (Some(1), &"open".into()));
    assert_eq!(rig.times_on(), 1);
}
