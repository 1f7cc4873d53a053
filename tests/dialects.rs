//! Instruments that do not speak SCPI: whole runs over pseudo-terminals, with the shipped drivers.

mod rig;

use reststrom::simbench::{BenchOptions, Fault, SupplyModel, Tongue};
use rig::{CUT_OUT, Rig, part};
use rstest::rstest;
use rustix::process::Signal;

const C14: [&str; 6] = ["soak", "--json", "C14", "22µF", "25V", "tantalum"];

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
    let rig = supplied(tongue, driver, 30.0, "C14");
    let run = rig.json(&C14);
    assert_eq!(run["verdict"], "within", "{run}");
    assert_eq!(run["left"], "safe", "{run}");
    rig.is_left_safe();
}

#[rstest]
#[case::terse(Tongue::Terse, "terse-supply")]
#[case::echoing(Tongue::Echoing, "echoing-supply")]
fn a_part_that_gives_way_is_cut_out_by_a_supply_that(#[case] tongue: Tongue, #[case] driver: &str) {
    let rig = supplied(tongue, driver, 20.0, "C23");
    let ended = rig.run(&["soak", "--json", "C23", "10µF", "35V", "tantalum"]);
    assert_eq!(ended.json()["findings"][0], "broke-down", "{ended:?}");
    rig.is_left_safe();
}

#[rstest]
#[case::terse(Tongue::Terse, "terse-supply")]
#[case::echoing(Tongue::Echoing, "echoing-supply")]
fn the_keeper_makes_safe_a_supply_that(#[case] tongue: Tongue, #[case] driver: &str) {
    let rig = supplied(tongue, driver, 20.0, "C14");
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
    let rig = supplied(tongue, driver, 20.0, "C14");
    let mut run = rig.start(&C14);
    run.reaches("soak");
    rig.bench.inject(Fault::LimitTurned(reststrom::quantity::amperes(0.5)));
    let ended = run.ends();
    let run = ended.json();
    assert_eq!(run["verdict"], "untested", "{ended:?}");
    let advice = run["advice"].as_str().expect("advice");
    assert!(advice.contains("current limit: asked"), "{advice}");
    rig.is_left_safe();
}
