//! What goes wrong with instruments and leads in the middle of a soak: never `within`, the output
//! truly off, and `left` says what is so.

mod rig;

use reststrom::quantity::{amperes, seconds, volts};
use reststrom::simbench::{Fault, Instrument, Look};
use rig::{CUT_OUT, Ended, Rig};
use rstest::rstest;
use serde_json::Value;

const LAPSE: f64 = 30.0;

/// A run that suffers a fault in its soak; the soak would go on for long.
fn suffers(rig: &Rig, fault: Fault) -> Ended {
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "2h", "--json"]);
    run.reaches("soak");
    rig.comes_on();
    rig.bench.inject(fault);
    run.ends()
}

/// Verdict, first finding and state, which the exit code must agree with.
#[track_caller]
fn came_to(ended: &Ended) -> (String, String, String) {
    let object = ended.json();
    let word = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    (word(&object["verdict"]), word(&object["findings"][0]), word(&object["left"]))
}

#[track_caller]
fn is_lost_and_safe(rig: &Rig, ended: &Ended, note: &str) {
    let expected = ("untested".into(), "instrument-lost".into(), "safe".into());
    assert_eq!((came_to(ended), ended.code), (expected, Some(3)), "{ended:?}");
    let advice = ended.json()["advice"].as_str().unwrap_or_default().to_owned();
    // Which sign of one fault is seen first is a matter of moments.
    assert!(note.split('|').any(|note| advice.contains(note)), "{note} is not in {advice}");
    assert_eq!(rig.times_on(), 1);
    assert!(!rig.bench.look().output_on);
    assert!(rig.part_volt().abs() < 5.0, "{} V", rig.part_volt());
}

/// A restart takes the output off and empties the part before anybody looks: where its charge was
/// not seen to come back, that it still hangs on the clips is not proven, and locked out is right.
#[test]
fn a_supply_that_restarts_ends_the_run_with_its_output_off() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = suffers(&rig, Fault::SupplyRestarts);
    let (verdict, finding, left) = came_to(&ended);
    assert_eq!((verdict.as_str(), finding.as_str()), ("untested", "instrument-lost"), "{ended:?}");
    let code = if left == "safe" { 3 } else { 4 };
    assert_eq!(ended.code, Some(code), "{ended:?}");
    assert_eq!(rig.times_on(), 1);
    rig.is_left_safe();
}

#[rstest]
#[case::a_meter_that_falls_silent(Fault::MeterSilent, "meter: no value any more")]
#[case::a_meter_that_tells_no_number(Fault::MeterNaN, "meter: no value any more")]
#[case::a_meter_that_tells_a_word(Fault::MeterErrorWord, "meter: ")]
#[case::a_meter_whose_port_goes_away(Fault::MeterHangUp, "the meter's line is gone")]
#[case::a_protection_that_trips(
    Fault::SupplyTripped,
    "out of the part|its output went off|at its terminals"
)]
#[case::an_off_that_gets_lost(Fault::OffIgnoredOnce, "meter: no value any more")]
#[case::a_knob_turned_down(
    Fault::KnobTurned(volts(12.0)),
    "out of the part|at its terminals|voltage: asked"
)]
#[case::a_knob_turned_up_a_little(Fault::KnobTurned(volts(25.3)), "voltage")]
#[case::a_current_limit_turned_up(Fault::LimitTurned(amperes(0.8)), "current limit")]
fn a_lost_instrument_ends_the_run_safely(#[case] fault: Fault, #[case] note: &str) {
    let rig = Rig::holding(LAPSE, "C14");
    if fault == Fault::OffIgnoredOnce {
        rig.bench.inject(fault);
    }
    let cause = if fault == Fault::OffIgnoredOnce { Fault::MeterSilent } else { fault };
    let ended = suffers(&rig, cause);
    is_lost_and_safe(&rig, &ended, note);
    // Whoever turns the knob up breaks the rule of the rating, not the program.
    let turned_up = fault == Fault::KnobTurned(volts(25.3));
    assert!(turned_up || rig.bench.violations().is_empty(), "{:?}", rig.bench.violations());
}

#[rstest]
#[case::a_supply_that_falls_silent(Fault::SupplySilent)]
#[case::a_relay_that_sticks(Fault::SupplyOutputStuckOn)]
#[case::a_supply_whose_port_goes_away(Fault::SupplyHangUp)]
#[case::a_supply_that_leaves_its_port_unread(Fault::ReadsNothing(Instrument::Supply))]
fn what_cannot_be_proven_off_is_locked_out(#[case] fault: Fault) {
    let rig = Rig::holding(LAPSE, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "60s", "--json"]);
    run.reaches("soak");
    rig.bench.inject(fault);
    let ended = run.ends();
    let (verdict, _, left) = came_to(&ended);
    assert_eq!((left.as_str(), ended.code), ("locked-out", Some(4)), "{ended:?}");
    // A relay that sticks shows itself only after the reading: the part's verdict may stand.
    assert!(fault == Fault::SupplyOutputStuckOn || verdict == "untested", "{ended:?}");
    let advice = ended.json()["advice"].as_str().unwrap().to_owned();
    assert!(advice.contains("switch the supply off by hand"), "{advice}");
    assert_eq!(rig.times_on(), 1);
    assert_eq!(rig.bench.violations(), Vec::<String>::new());
}

#[test]
fn a_supply_that_tripped_but_tells_on_ends_safely() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = suffers(&rig, Fault::SupplyTrippedTellsOn);
    is_lost_and_safe(&rig, &ended, "");
}

#[test]
fn an_output_that_comes_on_by_itself_is_locked_out_and_switched_off_again() {
    let rig = Rig::holding(20.0, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "20s", "--json"]);
    run.reaches("bleed");
    rig.goes_off_within(rig::PATIENCE);
    // Only an output that was proven off can be seen to come back: that takes a second, and the
    // part is watched for two more.
    let proven = rig.bench.look().time + seconds(35.0);
    rig::until(rig::PATIENCE, "a proven off", || proven < rig.bench.look().time);
    rig.bench.inject(Fault::SupplyOutputComesOn);
    let ended = run.ends();
    let (_, _, left) = came_to(&ended);
    assert_eq!((left.as_str(), ended.code), ("locked-out", Some(4)), "{ended:?}");
    assert!(!rig.bench.look().output_on);
}

#[test]
fn a_set_point_that_is_clipped_is_no_test_at_the_rating() {
    let rig = Rig::holding(LAPSE, "C14");
    rig.bench.inject(Fault::SetPointClipped(volts(20.0)));
    let ended = rig.run(&["soak", "C14", "22uF", "25V", "tantalum", "--json"]);
    is_lost_and_safe(&rig, &ended, "");
}

#[test]
fn a_meter_that_tells_its_last_reading_for_ever_never_gives_within() {
    let rig = Rig::holding(LAPSE, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--json"]);
    run.reaches("soak");
    rig.bench.inject(Fault::MeterFrozen);
    let ended = run.ends();
    let (verdict, _, _) = came_to(&ended);
    assert!(["undecided", "untested"].contains(&verdict.as_str()), "{ended:?}");
    assert_ne!(ended.code, Some(0), "{ended:?}");
    assert!(!rig.bench.look().output_on);
    assert!(rig.part_volt() < 5.0);
}

#[test]
fn a_clip_that_falls_off_never_gives_within_and_locks_out_a_charged_part() {
    let rig = Rig::holding(LAPSE, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--json"]);
    run.reaches("soak");
    rig.bench.inject(Fault::ClipFallsOff);
    let ended = run.ends();
    let expected = ("undecided".into(), "contact-lost".into(), "locked-out".into());
    assert_eq!((came_to(&ended), ended.code), (expected, Some(4)), "{ended:?}");
    let Look { output_on, part_voltage, .. } = rig.bench.look();
    assert!(!output_on && volts(5.0) < part_voltage, "{:?}", rig.bench.look());
}

#[test]
fn an_instrument_that_turns_into_another_in_the_soak_ends_the_run() {
    let rig = Rig::holding(LAPSE, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "2h", "--json"]);
    run.reaches("soak");
    rig.bench.inject(Fault::WrongIdentity(Instrument::Meter));
    // A late answer makes the program ask who is there.
    rig.bench.inject(Fault::Late(Instrument::Meter, seconds(2.5 * LAPSE)));
    let ended = run.ends();
    is_lost_and_safe(&rig, &ended, "meter");
}

#[rstest]
#[case::of_the_meter(Instrument::Meter)]
#[case::of_the_supply(Instrument::Supply)]
fn answers_that_come_late_but_in_time_do_not_change_the_verdict(#[case] which: Instrument) {
    let rig = Rig::holding(20.0, "C14");
    // 20 ms of the host.
    rig.bench.inject(Fault::Late(which, seconds(0.4)));
    let ended = rig.run(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "60s", "--json"]);
    let expected = ("within".into(), "settled".into(), "safe".into());
    assert_eq!((came_to(&ended), ended.code), (expected, Some(0)), "{ended:?}");
    rig.is_left_safe();
}

#[test]
fn answers_that_come_too_late_are_never_taken_for_those_of_the_next_question() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = suffers(&rig, Fault::Late(Instrument::Supply, seconds(1.2 * LAPSE)));
    let (verdict, finding, _) = came_to(&ended);
    assert_eq!((verdict.as_str(), finding.as_str()), ("untested", "instrument-lost"));
    assert!(!rig.bench.look().output_on);
    assert!(rig.part_volt() < 5.0);
    assert_eq!(rig.bench.violations(), Vec::<String>::new());
}

#[test]
fn a_supply_that_drops_lines_sent_too_soon_is_not_switched_on_unset() {
    let rig = Rig::holding(20.0, "C14");
    // 120 ms of the host, of which the driver knows nothing.
    rig.bench.inject(Fault::NeedsGap(Instrument::Supply, seconds(0.12 * 20.0)));
    let ended = rig.run(&["soak", "C14", "22uF", "25V", "tantalum", "--json"]);
    assert!(matches!(ended.code, Some(3 | 4)), "{ended:?}");
    assert!(!rig.bench.look().output_on);
    assert_eq!(rig.bench.violations(), Vec::<String>::new());
}

#[test]
fn a_gap_that_the_driver_knows_is_kept_and_the_run_works() {
    let rig = Rig::holding(6.0, "C14");
    // 20 ms of the host; the driver leaves five times as much, for a machine that is busy.
    rig.bench.inject(Fault::NeedsGap(Instrument::Supply, seconds(0.02 * 6.0)));
    let driver = include_str!("../drivers/scpi-supply.toml");
    rig.write("slow.toml", &driver.replace("gap = \"0 s\"", "gap = \"100 ms\""));
    rig.rewire("\"scpi-supply\"", "\"slow.toml\"");
    let ended = rig.run(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "20s", "--json"]);
    assert_eq!(ended.code, Some(0), "{ended:?}");
    rig.is_left_safe();
}

#[test]
fn a_supply_that_falls_silent_and_comes_back_is_proven_off_after_all() {
    let rig = Rig::holding(LAPSE, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "2h", "--json"]);
    run.reaches("soak");
    rig.bench.inject(Fault::SupplySilent);
    run.reaches("bleed");
    rig.bench.mend();
    let ended = run.ends();
    is_lost_and_safe(&rig, &ended, "supply");
}

#[test]
fn a_locked_out_supply_stays_with_the_keeper_until_it_is_proven_off() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = suffers(&rig, Fault::SupplySilent);
    assert_eq!(ended.code, Some(4), "{ended:?}");
    assert!(rig.bench.look().output_on);
    let refused = rig.run(&["soak", "C14", "22uF", "25V", "tantalum", "--unlock"]);
    assert_eq!(refused.code, Some(64), "{refused:?}");
    assert!(refused.stderr.contains("another program owns this port"), "{refused:?}");
    rig.bench.mend();
    rig.goes_off_within(CUT_OUT);
    rig.empties();
    rig.keeper_ends();
}
