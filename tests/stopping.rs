//! A person ends a run: output off at once, the part bled, and nothing else is in the way.

mod rig;

use std::io::{BufRead, BufReader};

use rig::{CUT_OUT, PATIENCE, Rig, Running, STATION, until};
use rstest::rstest;
use rustix::process::Signal;

/// A bench slow enough for a capacitance to be measured on a loaded machine.
fn rig() -> Rig {
    Rig::holding(25.0, "C14")
}

/// A soak of the part in the clip that would go on for long.
fn long_soak(rig: &Rig) -> Running {
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "2h", "--json"]);
    run.reaches("soak");
    rig.comes_on();
    run
}

#[track_caller]
fn ends_stopped(rig: &Rig, run: &mut Running) {
    rig.goes_off_within(CUT_OUT);
    let ended = run.ends();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    let object = ended.json();
    assert_eq!(object["verdict"], "untested");
    assert_eq!(object["findings"], serde_json::json!(["stopped"]));
    assert_eq!(object["left"], "safe");
    assert_eq!(rig.json(&["show", "r1", "--json"]), object);
    assert_eq!(rig.times_on(), 1);
    rig.is_left_safe();
    rig.keeper_ends();
}

#[rstest]
#[case::ctrl_c(Signal::INT, "Ctrl-C")]
#[case::a_polite_kill(Signal::TERM, "SIGTERM")]
#[case::a_closed_terminal(Signal::HUP, "SIGHUP")]
fn a_signal_bleeds_first_and_then_leaves(#[case] signal: Signal, #[case] name: &str) {
    let rig = rig();
    let mut run = long_soak(&rig);
    run.signal(signal);
    run.says(&format!("{name}: output off, discharging"));
    ends_stopped(&rig, &mut run);
}

#[rstest]
#[case::by_name(&["stop", STATION])]
#[case::whatever_runs(&["stop"])]
fn a_stop_from_another_process_ends_the_run(#[case] words: &[&str]) {
    let rig = rig();
    let mut run = long_soak(&rig);
    let stop = rig.run(words);
    assert_eq!((stop.code, stop.stderr.as_str()), (Some(0), ""), "{stop:?}");
    assert_eq!(stop.stdout, format!("{STATION}: stopping\n"));
    ends_stopped(&rig, &mut run);
}

#[rstest]
fn a_stop_in_any_phase_ends_safely(
    #[values("probe", "ramp", "charge", "settle", "bleed")] phase: &str,
) {
    let rig = Rig::new(10.0, &rig::sound(470e-6, 16.0));
    let mut run = rig.start(&["soak", "470uF", "16V", "tantalum", "--soak", "20s", "--json"]);
    run.reaches(phase);
    assert_eq!(rig.run(&["stop"]).code, Some(0));
    rig.goes_off_within(CUT_OUT);
    let ended = run.ends();
    let object = ended.json();
    assert_eq!(object["left"], "safe");
    if phase == "bleed" {
        assert_eq!(object["verdict"], "within", "it had been read: {object}");
    } else {
        assert_eq!(object["findings"], serde_json::json!(["stopped"]));
    }
    rig.is_left_safe();
}

#[test]
fn a_second_and_a_third_ctrl_c_change_nothing_but_a_message() {
    let rig = Rig::holding(10.0, "C14");
    let mut run = long_soak(&rig);
    run.signal(Signal::INT);
    rig.goes_off_within(CUT_OUT);
    run.reaches("bleed");
    run.signal(Signal::INT);
    run.says("still making safe; kill -9 would leave it to the keeper");
    run.signal(Signal::TERM);
    assert!(!run.has_ended());
    ends_stopped(&rig, &mut run);
}

#[test]
fn with_no_run_to_stop_it_says_what_to_do() {
    let rig = rig();
    let ended = rig.run(&["stop"]);
    assert_eq!((ended.code, ended.stdout.as_str()), (Some(3), ""), "{ended:?}");
    insta::assert_snapshot!(ended.stderr, @r"
    error: no run to stop was found
     help: if an output is on, switch the supply off by hand and discharge the part
    ");
}

#[test]
fn a_reader_that_leaves_after_the_first_line_does_no_harm() {
    let rig = rig();
    let mut command = rig.command(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "60s"]);
    let (reader, writer) = std::io::pipe().unwrap();
    command.stdout(writer.try_clone().unwrap()).stderr(writer);
    let mut run = Running::start(command);
    let mut line = String::new();
    BufReader::new(reader).read_line(&mut line).unwrap();
    assert!(line.starts_with("CAUTION"), "{line}");
    // Its reader is gone: from here on each write of the program fails.
    let ended = run.ends();
    assert_eq!(ended.code, Some(0), "{ended:?}");
    rig.is_left_safe();
    assert_eq!(rig.json(&["show", "r1", "--json"])["verdict"], "within");
}

#[test]
fn a_closed_standard_output_does_no_harm() {
    let rig = rig();
    let mut command = rig.command(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "60s"]);
    let (reader, writer) = std::io::pipe().unwrap();
    command.stdout(writer);
    drop(reader);
    let ended = Running::start(command).ends();
    assert_eq!(ended.code, Some(0), "{ended:?}");
    rig.is_left_safe();
}

#[test]
fn a_stop_while_an_earlier_run_is_made_safe_keeps_the_next_from_being_energised() {
    let rig = Rig::holding(20.0, "C14");
    let first = long_soak(&rig);
    first.signal(Signal::KILL);
    rig.keeper_ends();
    let (on, off) = (rig.times_on(), rig.heard_by_supply("OUTP OFF"));
    let mut second = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--json"]);
    until(PATIENCE, "the making safe", || off < rig.heard_by_supply("OUTP OFF"));
    second.signal(Signal::INT);
    let ended = second.ends();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert_eq!(ended.json()["findings"][0], "stopped", "{ended:?}");
    assert_eq!(rig.times_on(), on, "energised after a stop");
    rig.is_left_safe();
}
