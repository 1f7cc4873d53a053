//! What the bench itself watches.

use rstest::rstest;

use super::*;

fn sound() -> Physics {
    Physics::capacitor(farads(10e-6), volts(25.0))
}

/// Runs these lines on the supply, a second each, with a part rated 25 V in the clip.
#[track_caller]
fn check(lines: &[&str], expected: &[&str]) {
    let mut bench = ByHand::ideal().with(&sound());
    for line in lines {
        bench.supply(line);
        bench.after(1.0);
    }
    let found = &bench.0.violations;
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for (found, expected) in found.iter().zip(expected) {
        assert!(found.contains(expected), "{found} lacks {expected}");
    }
}

#[rstest]
#[case::by_the_book(&["VOLT:PROT 27;:CURR:PROT 0.1", "CURR 0.05;:VOLT 1;:OUTP ON", "VOLT 25"], &[])]
#[case::no_over_voltage(&["CURR:PROT 0.1", "OUTP ON"], &["before both protections"])]
#[case::no_over_current(&["VOLT:PROT 27", "OUTP ON"], &["before both protections"])]
#[case::forgotten_at_reset(
    &["VOLT:PROT 27;:CURR:PROT 0.1", "*RST", "OUTP ON"],
    &["before both protections"]
)]
#[case::on_at_full_voltage(
    &["VOLT:PROT 27;:CURR:PROT 0.1", "VOLT 25", "OUTP ON"],
    &["output switched on at 25.000 V for a part rated 25 V"]
)]
#[case::above_the_rating(
    &["VOLT:PROT 60;:CURR:PROT 0.1", "OUTP ON", "VOLT 30"],
    &["set to 30.000 V with a part rated 25 V", "rated 25 V"]
)]
fn orders_against_the_rules_are_found(#[case] lines: &[&str], #[case] expected: &[&str]) {
    check(lines, expected);
}

#[test]
fn a_part_taken_out_charged_is_found() {
    let mut bench = ByHand::ideal().with(&sound()).on("0.1");
    bench.supply("VOLT 5.5");
    bench.after(1.0);
    bench.supply("OUTP OFF");
    bench.0.unclip();
    assert_eq!(bench.0.violations, ["at 1.000 s: the part was unclipped at 5.5 V"]);
}

#[test]
fn a_part_taken_out_discharged_is_fine() {
    let mut bench = ByHand::ideal().with(&sound()).on("0.1");
    bench.supply("VOLT 4.5");
    bench.after(1.0);
    bench.supply("OUTP OFF");
    bench.0.unclip();
    assert!(bench.0.violations.is_empty());
}

#[test]
fn a_part_clipped_in_while_the_output_is_on_is_found() {
    let mut bench = ByHand::ideal().on("0.1");
    bench.supply("VOLT 5");
    bench.0.clip_in(&sound());
    assert!(bench.0.violations.is_empty(), "what may be touched may be clipped in");
    bench.0.unclip();
    bench.supply("VOLT 5.5");
    bench.0.clip_in(&sound());
    let expected = "at 0.000 s: a part was clipped in while the output was on at 5.5 V";
    assert_eq!(bench.0.violations, [expected]);
}

/// At 10 V/s a step of the simulation could run 2.5 V past the breakdown.
#[test]
fn a_part_that_gives_way_at_its_rating_never_stands_above_it() {
    let breakdown = Some(Breakdown { at_v: 24.0, then_ohm: 60.0 });
    let part = Physics { breakdown, ..Physics::capacitor(farads(100e-6), volts(24.0)) };
    let mut bench = ByHand::ideal().with(&part).on("0.001");
    bench.supply("VOLT 40");
    assert!(bench.after(10.0).part_voltage < volts(1.0));
    assert_eq!(bench.0.violations.len(), 1, "{:?}", bench.0.violations);
}

#[test]
fn a_part_driven_above_its_rating_by_a_fault_is_found_once() {
    let mut bench = ByHand::ideal().with(&sound()).on("0.1");
    bench.0.suffer(Fault::KnobTurned(volts(40.0)));
    bench.after(5.0);
    assert_eq!(bench.0.violations.len(), 1);
    assert!(bench.0.violations[0].ends_with("V, rated 25 V"), "{:?}", bench.0.violations);
}
