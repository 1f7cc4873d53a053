//! `plan --tray`: a whole tray looked through before anything is energised.

mod rig;

use rig::Rig;

const TERNE: &str = include_str!("../fixtures/terne-tray.csv");
const MISTAKES: &str = include_str!("../fixtures/terne-tray-mistakes.csv");

/// A rig with a tray's file in its folder.
fn rig(name: &str, text: &str) -> Rig {
    let rig = Rig::holding(100.0, "C14");
    rig.write(name, text);
    rig
}

#[test]
fn a_tray_is_planned_whole_and_says_what_it_cannot_judge() {
    let rig = rig("terne.csv", TERNE);
    let ended = rig.run(&["plan", "--tray", "terne.csv"]);
    assert_eq!((ended.code, ended.stderr.as_str()), (Some(2), ""), "{ended:?}");
    let rows = ended.stdout.lines().filter(|line| line.ends_with("  yes")).count();
    assert_eq!(rows, 23, "{}", ended.stdout);
    assert!(ended.stdout.contains("position 18  meter-too-coarse: the limit is 100 pA"));
    assert!(ended.stdout.contains("24 parts, one after another: about "));
    // Half C·U² of the 3300 µF at 25 V.
    assert!(ended.stdout.contains("at most 1.031 J in one (position 15)"), "{}", ended.stdout);
    assert!(rig.bench.log().is_empty());
}

#[test]
fn a_part_that_is_refused_leaves_the_others_their_plans() {
    let file = "position,family,value,rating\nA1,tantalum,10u,35V\nA2,tantalum,10u,75V\n";
    let rig = rig("two.csv", file);
    let ended = rig.run(&["plan", "--tray", "two.csv", "--json"]);
    assert_eq!(ended.code, Some(2), "{ended:?}");
    let object = ended.json();
    assert_eq!(object["parts"][0]["plan"]["test_volt"], 35.0);
    assert!(object["parts"][1]["plan"].is_null());
    assert_eq!(object["not_judged"][0]["position"], "A2");
    assert_eq!(object["not_judged"][0]["refused"], true);
    let energy = object["total_energy_joule"].as_f64().unwrap();
    assert!((energy - 6.125e-3).abs() < 1e-9, "{energy}");
}

#[test]
fn a_tray_that_can_be_judged_throughout_ends_with_zero() {
    let rig =
        rig("one.toml", "[[part]]\nfamily = \"tantalum\"\nvalue = \"10u\"\nrating = \"35V\"\n");
    assert_eq!(rig.run(&["plan", "--tray", "one.toml"]).code, Some(0));
}

#[test]
fn a_file_with_twenty_mistakes_is_refused_with_all_of_them() {
    let rig = rig("terne.csv", MISTAKES);
    let ended = rig.run(&["plan", "--tray", "terne.csv"]);
    assert_eq!((ended.code, ended.stdout.as_str()), (Some(64), ""), "{ended:?}");
    let errors = ended.stderr.lines().filter(|line| line.starts_with("error: terne.csv, line "));
    let helps = ended.stderr.lines().filter(|line| line.starts_with(" help: "));
    assert_eq!((errors.count(), helps.count()), (20, 20), "{}", ended.stderr);
}
