//! Instruments that do not speak SCPI: whole runs over pseudo-terminals, with the shipped drivers.

mod rig;

use reststrom::quantity::{amperes, seconds};
use reststrom::simbench::{
    BenchOptions, Fault, Instrument, MeterModel, MeterTongue, SupplyModel, Tongue,
};
use rig::{CUT_OUT, Rig, part};
use rstest::rstest;
use rustix::process::Signal;

const C14: [&str; 7] =
    ["soak", "--json", "C14", "22µF", "25V", "tantalum", "--limit=0.01CU @ 1min"];

/// A rig with a supply that talks so, its driver named, and a part of the pilot boat in the clip.
fn supplied(tongue: Tongue, driver: &str, lapse: f64, clip: &str) -> Rig {
    let supply = SupplyModel { tongue, ..SupplyModel::default() };
    let options = BenchOptions { lapse, supply, ..BenchOptions::default() };
    let rig = Rig::on(options, &part(clip));
    rig.rewire("\"scpi-supply\"", &format!("\"{driver}\""));
    rig
}

#[rstest]
#[case::terse(Tongue::Terse, "terse-supply")]
#[case::echoing(Tongue::Echoing, "echoing-supply")]
fn a_sound_part_is_within_by_a_supply_that(#[case] tongue: Tongue, #[case] driver: &str) {
    let rig = supplied(tongue, driver, 15.0, "C14");
    let run = rig.json(&C14);
    assert_eq!(run["verdict"], "within", "{run}");
    assert_eq!(run["left"], "safe", "{run}");
    rig.is_left_safe();
}

#[rstest]
#[case::terse(Tongue::Terse, "terse-supply")]
#[case::echoing(Tongue::Echoing, "echoing-supply")]
fn a_part_that_gives_way_is_cut_out_by_a_supply_that(#[case] tongue: Tongue, #[case] driver: &str) {
    let rig = supplied(tongue, driver, 5.0, "C23");
    let ended = rig.run(&["soak", "--json", "C23", "10µF", "35V", "tantalum"]);
    assert_eq!(ended.json()["findings"][0], "broke-down", "{ended:?}");
    rig.is_left_safe();
}

#[rstest]
#[case::terse(Tongue::Terse, "terse-supply")]
#[case::echoing(Tongue::Echoing, "echoing-supply")]
fn the_keeper_makes_safe_a_supply_that(#[case] tongue: Tongue, #[case] driver: &str) {
    let rig = supplied(tongue, driver, 15.0, "C14");
    let mut run = rig.start(&C14);
    run.reaches("soak");
    run.signal(Signal::KILL);
    rig.goes_off_within(CUT_OUT);
    rig.keeper_ends();
    rig.is_left_safe();
}

#[rstest]
#[case::terse(Tongue::Terse, "terse-supply")]
#[case::echoing(Tongue::Echoing, "echoing-supply")]
fn a_current_limit_turned_by_hand_is_noticed_at_a_supply_that(
    #[case] tongue: Tongue,
    #[case] driver: &str,
) {
    let rig = supplied(tongue, driver, 15.0, "C14");
    let mut run = rig.start(&C14);
    run.reaches("soak");
    rig.bench.inject(Fault::LimitTurned(amperes(0.5)));
    let ended = run.ends();
    let run = ended.json();
    assert_eq!(run["verdict"], "untested", "{ended:?}");
    let advice = run["advice"].as_str().expect("advice");
    assert!(advice.contains("current limit: asked"), "{advice}");
    rig.is_left_safe();
}

/// A rig with a meter that streams so on its 10 mA range, its driver named, and C16 in the clip.
fn metered(tongue: MeterTongue, driver: &str, lapse: f64) -> Rig {
    let held = amperes(1e-2);
    let count = if tongue == MeterTongue::Frames { 1e-4 } else { 1e-5 };
    let meter = MeterModel { tongue, wakes_on: Some(held), count, ..MeterModel::default() };
    let options = BenchOptions { lapse, meter, ..BenchOptions::default() };
    let rig = Rig::on(options, &part("C16"));
    rig.rewire("\"scpi-meter\"", &format!("\"{driver}\"\nrange = \"10 mA\""));
    rig.rewire("identity = \"SKARVIK,SIMULATED-METER\"\n", "");
    rig
}

const C16: [&str; 7] =
    ["soak", "--json", "C16", "3300µF", "25V", "aluminium", "--limit=0.01CU @ 2min"];

#[rstest]
#[case::text(MeterTongue::Text, "text-stream-meter")]
#[case::frames(MeterTongue::Frames, "frame-stream-meter")]
fn a_sound_part_is_within_by_a_stream_of(#[case] tongue: MeterTongue, #[case] driver: &str) {
    let rig = metered(tongue, driver, 15.0);
    let run = rig.json(&C16);
    assert_eq!(run["verdict"], "within", "{run}");
    assert_eq!(run["left"], "safe", "{run}");
    rig.is_left_safe();
}

#[rstest]
#[case::text(MeterTongue::Text, "text-stream-meter")]
#[case::frames(MeterTongue::Frames, "frame-stream-meter")]
fn a_meter_that_falls_silent_ends_the_run_of_a_stream_of(
    #[case] tongue: MeterTongue,
    #[case] driver: &str,
) {
    let rig = metered(tongue, driver, 15.0);
    let mut run = rig.start(&C16);
    run.reaches("charge");
    rig.bench.inject(Fault::MeterSilent);
    let ended = run.ends();
    assert_eq!(ended.json()["findings"][0], "instrument-lost", "{ended:?}");
    rig.is_left_safe();
}

#[test]
fn readings_that_were_held_up_on_their_way_are_on_record_as_late() {
    let rig = metered(MeterTongue::Text, "text-stream-meter", 15.0);
    let mut run = rig.start(&C16);
    run.reaches("charge");
    // Half a second at the host, some 37 readings: not yet silence.
    rig.bench.inject(Fault::HeldUp(Instrument::Meter, seconds(7.5)));
    let ended = run.ends().json();
    let table = rig.path("run.csv");
    let words = ["export", ended["run"].as_str().expect("a run"), "--out"];
    let exported = rig.run(&[&words[..], &[table.to_str().expect("a name")]].concat());
    assert_eq!(exported.code, Some(0), "{exported:?}");
    let table = std::fs::read_to_string(table).expect("the table");
    let late = table.lines().filter(|line| line.contains(",late,")).count();
    // At most: a reader who wakes at the first line may find the others in several pieces.
    assert!((1..=45).contains(&late), "{late} readings are marked late");
}

#[test]
fn a_stream_on_another_range_than_the_station_s_is_refused_by_the_check() {
    let rig = metered(MeterTongue::Text, "text-stream-meter", 15.0);
    rig.rewire("range = \"10 mA\"", "range = \"1 mA\"");
    let ended = rig.run(&["station", "check"]);
    assert_ne!(ended.code, Some(0), "{ended:?}");
    let said = format!("{}{}", ended.stdout, ended.stderr);
    assert!(said.contains("no reading came in time"), "{said}");
}
