//! Staircase and re-forming as a person runs them, beside a simulated bench.

mod rig;

use reststrom::quantity::volts;
use rig::{PATIENCE, Rig, until};

const C14: [&str; 3] = ["C14", "22µF", "25V"];
const C31: [&str; 3] = ["C31", "470µF", "25V"];

fn words<'a>(command: &'a str, part: &[&'a str], rest: &[&'a str]) -> Vec<&'a str> {
    [&[command][..], part, rest].concat()
}

/// The bench is left as a person may touch it.
#[track_caller]
fn left_safe(rig: &Rig) {
    let look = rig.bench.look();
    assert!(!look.output_on && look.part_voltage.abs() < volts(5.0), "{look:?}");
    assert!(rig.bench.violations().is_empty(), "{:?}", rig.bench.violations());
}

#[test]
fn a_staircase_ends_in_a_table_and_a_range() {
    let rig = Rig::holding(40.0, "C14");
    let run = rig.run(&words("staircase", &C14, &["tantalum", "--steps", "4", "--dwell", "20s"]));
    assert_eq!(run.code, Some(0), "{run:?}");
    for line in ["6.25 V", "12.5 V", "18.75 V", "25 V", "up to 25 V, the last step"] {
        assert!(run.stdout.contains(line), "{line} is missing:\n{}", run.stdout);
    }
    left_safe(&rig);
    let object = rig.json(&["show", "r1", "--json"]);
    assert_eq!(object["kind"], "staircase");
    assert_eq!(object["staircase"]["steps"].as_array().map(Vec::len), Some(4));
    let drawn = rig.run(&["plot", "r1", "--out", "stairs.svg"]);
    assert_eq!(drawn.code, Some(0), "{drawn:?}");
    let picture = std::fs::read_to_string(rig.path("stairs.svg")).expect("a picture");
    assert!(picture.contains("within up to 25 V, the last step"), "{picture}");
    assert_eq!(rig.run(&["plot", "r1", "--over-time", "--out", "time.png"]).code, Some(0));
    let highest = object["staircase"]["within_volt"].as_f64().expect("a voltage");
    assert!((highest - 25.0).abs() < 1e-9, "{highest} V");
}

#[test]
fn a_staircase_of_one_step_is_refused_before_anything_is_energised() {
    let rig = Rig::holding(40.0, "C14");
    let run = rig.run(&words("staircase", &C14, &["tantalum", "--steps", "1"]));
    assert_eq!(run.code, Some(64), "{run:?}");
    assert!(run.stderr.contains("a staircase of 1 steps, expected 2 to 24"), "{}", run.stderr);
    assert!(!rig.bench.look().output_on);
}

#[test]
fn re_forming_brings_an_old_part_back_and_tests_it_after_a_rest() {
    let rig = Rig::holding(150.0, "C31");
    let run = rig.run(&words("reform", &C31, &["al-wet", "--rest", "5min"]));
    assert_eq!(run.code, Some(0), "{run:?}");
    for line in ["reform", "before", "after", "resting", "follows      the re-forming of r1"] {
        assert!(
            run.stdout.contains(line) || run.stderr.contains(line),
            "{line} is missing:\n{run:?}"
        );
    }
    left_safe(&rig);
    let [formed, tested] = ["r1", "r2"].map(|run| rig.json(&["show", run, "--json"]));
    assert_eq!((&formed["kind"], &formed["verdict"]), (&"reform".into(), &"untested".into()));
    let current = |key: &str| formed["formed"][key].as_f64().expect("a current");
    assert!(current("after_ampere") < current("before_ampere"), "{formed}");
    assert_eq!((&tested["kind"], &tested["follows"]), (&"soak".into(), &"r1".into()));
    let findings = tested["findings"].as_array().expect("findings");
    assert!(findings.contains(&"re-formed".into()), "{tested}");
}

#[test]
fn a_tantalum_is_not_re_formed() {
    let rig = Rig::holding(40.0, "C14");
    let run = rig.run(&words("reform", &C14, &["tantalum"]));
    assert_eq!(run.code, Some(64), "{run:?}");
    assert!(run.stderr.contains("only wet and hybrid aluminium"), "{}", run.stderr);
    assert!(!rig.bench.look().output_on);
}

#[test]
fn a_stop_during_re_forming_leaves_the_part_empty_and_untested() {
    let rig = Rig::holding(50.0, "C31");
    let mut run = rig.start(&words("reform", &C31, &["al-wet"]));
    until(PATIENCE, "the part is held at a step", || 6.0 < rig.part_volt());
    assert_eq!(rig.run(&["stop"]).code, Some(0));
    let ended = run.ends();
    assert_eq!(ended.code, Some(2), "{ended:?}");
    left_safe(&rig);
    assert_eq!(rig.json(&["show", "r1", "--json"])["verdict"], "untested");
}
