//! The written form: what reads, what it is written as, what is refused and where.

use proptest::prelude::*;
use rstest::rstest;

use super::super::rule::{Pick, Threshold};
use super::*;
use crate::quantity::{coulombs, farads, ohms, seconds, volts};

#[rstest]
#[case::floor("0.01CU floor 0.5uA", "0.01CU floor 500 nA")]
#[case::addend("0.06CU + 10uA", "0.06CU + 10 µA")]
#[case::no_blanks("0.06CU+10uA", "0.06CU + 10 µA")]
#[case::cap("3sqrt(CU) cap 5mA", "3sqrt(CU) cap 5 mA")]
#[case::root_sign("3√(CU) cap 5mA", "3sqrt(CU) cap 5 mA")]
#[case::power("0.3(CU)^0.7 + 4uA", "0.3(CU)^0.7 + 4 µA")]
#[case::power_of_a_half("3(CU)^0.5", "3sqrt(CU)")]
#[case::trade_letter_for_voltage("0.01CV", "0.01CU")]
#[case::decimal_comma("0,01 CU floor 0,5 µA", "0.01CU floor 500 nA")]
#[case::exponent("1e-2CU", "0.01CU")]
#[case::constant("2uA", "2 µA")]
#[case::resistance("R 10Gohm", "R 10 GΩ")]
#[case::time_constant("RC 500s", "RC 500 s")]
#[case::time_constant_of_minutes("RC 300 s", "RC 300 s")]
#[case::smaller("smaller(R 10Gohm, RC 500s)", "smaller(R 10 GΩ, RC 500 s)")]
#[case::commas_without_blanks(
    "smaller(R 10Gohm,RC 500s,R 4k7)",
    "smaller(R 10 GΩ, RC 500 s, R 4.7 kΩ)"
)]
#[case::greater("greater(0.01CU, 3uA)", "greater(0.01CU, 3 µA)")]
#[case::switch_at_a_capacitance(
    "upto(0.33u, R 100G, RC 30000s)",
    "upto(330 nF, R 100 GΩ, RC 30000 s)"
)]
#[case::switch_at_a_charge(
    "upto(1000uC, 0.1CU+40uA, 0.04CU+100uA)",
    "upto(1 mC, 0.1CU + 40 µA, 0.04CU + 100 µA)"
)]
#[case::switch_at_a_voltage("upto(100V, 2uA, 3uA)", "upto(100 V, 2 µA, 3 µA)")]
#[case::multiple("10x(0.01CU floor 0.5uA)", "10x(0.01CU floor 500 nA)")]
#[case::per_capacitance("0.04mA/uF + 0.3mA", "40 µA/µF + 300 µA")]
#[case::per_farad("5uA/F", "5 µA/F")]
#[case::bounds_in_another_order(
    "0.01CU cap 3mA floor 3uA + 1uA",
    "0.01CU + 1 µA floor 3 µA cap 3 mA"
)]
fn a_rule_reads_and_is_written_in_one_way(#[case] text: &str, #[case] written: &str) {
    let rule = LeakageRule::read(text).unwrap();
    assert_eq!(rule.to_string(), written);
    assert_eq!(LeakageRule::read(written), Ok(rule));
}

#[rstest]
#[case::nothing("", 0)]
#[case::words("as low as possible", 0)]
#[case::no_unit("0.01CU floor 0.5", 13)]
#[case::unknown_bound("0.01CU ceiling 3mA", 7)]
#[case::floor_twice("0.01CU floor 1uA floor 2uA", 23)]
#[case::lost_root("3CU", 0)]
#[case::lost_root_within("smaller(0.01CU, 3CU)", 16)]
#[case::exponent_missing("0.3(CU)^ + 4uA", 9)]
#[case::bracket_missing("smaller(R 10Gohm, RC 500s", 25)]
#[case::one_rule_to_choose_from("smaller(R 10Gohm)", 0)]
#[case::current_against_resistance("smaller(2uA, R 10Gohm)", 0)]
#[case::voltage_for_a_resistance("R 10V", 2)]
#[case::surplus("2uA 3uA", 4)]
#[case::comma_that_may_part_thousands("1,234uA", 0)]
#[case::doubtful_unit("0.01CU floor 3MA", 13)]
#[case::negative_current("-2uA", 0)]
#[case::byte_after_a_letter_of_two("0.01CU floor 3µA ?", 18)]
fn what_makes_no_sense_is_refused_at_its_byte(#[case] text: &str, #[case] position: usize) {
    let error = LeakageRule::read(text).unwrap_err();
    assert_eq!(error.position(), position, "{error}");
}

#[test]
fn rules_within_rules_end_before_the_stack_does() {
    let deep = format!("{}2uA{}", "2x(".repeat(10_000), ")".repeat(10_000));
    let error = LeakageRule::read(&deep).unwrap_err();
    assert!(matches!(error, NotationError::Unexpected { position: 24, .. }));
}

#[test]
fn the_message_gives_byte_and_expectation() {
    let message = |text| LeakageRule::read(text).unwrap_err().to_string();
    insta::assert_snapshot!(message("0.01CU ceiling 3mA"),
        @r#"byte 7 of "0.01CU ceiling 3mA": expected the end of the rule, came "ceiling""#);
    insta::assert_snapshot!(message("3CU"), @r#"byte 0 of "3CU": no sheet can mean this rule"#);
    insta::assert_snapshot!(message("R 10V"), @r#"byte 2 of "R 10V": a value does not read"#);
    insta::assert_snapshot!(LeakageRule::read("3CU").unwrap_err().help(),
        @"a root sign may be lost, as in 3sqrt(CU); a percentage of CU is 0.01CU for 1 %");
}

fn any_current() -> impl Strategy<Value = Current> {
    (0.001..999.0_f64, -9..-2).prop_map(|(mantissa, power)| amperes(mantissa * 10_f64.powi(power)))
}

fn any_formula() -> impl Strategy<Value = Formula> {
    let term = prop_oneof![
        (1e-6..1.0_f64).prop_map(|factor| Term::Charge(per_second(factor))),
        (0.01..10.0_f64, 0.1..0.9_f64)
            .prop_map(|(factor, exponent)| Term::Power { factor, exponent }),
        any_current().prop_map(Term::PerFarad),
        any_current().prop_map(|current| Term::PerFarad(current * 1e5)),
    ];
    let optional = || prop::option::of(any_current());
    (term, optional(), optional(), optional()).prop_map(|(term, addend, floor, cap)| Formula {
        term,
        addend: addend.unwrap_or_default(),
        floor: floor.unwrap_or_default(),
        cap: cap.filter(|cap| floor.is_none_or(|floor| floor <= *cap)),
    })
}

fn any_threshold() -> impl Strategy<Value = Threshold> {
    prop_oneof![
        (1e-12..1.0_f64).prop_map(|value| Threshold::Capacitance(farads(value))),
        (1.0..500.0_f64).prop_map(|value| Threshold::Voltage(volts(value))),
        (1e-6..1.0_f64).prop_map(|value| Threshold::Charge(coulombs(value))),
    ]
}

/// Any rule that states a current, or any that states a resistance, up to three deep.
fn any_rule() -> impl Strategy<Value = LeakageRule> {
    let current = prop_oneof![
        any_current().prop_map(|current| LeakageRule::constant(current).unwrap()),
        any_formula().prop_map(|formula| LeakageRule::formula(formula).unwrap()),
    ];
    let resistance = prop_oneof![
        (1.0..1e12_f64).prop_map(|ohm| LeakageRule::resistance(ohms(ohm)).unwrap()),
        (1.0..1e6_f64).prop_map(|second| LeakageRule::time_constant(seconds(second)).unwrap()),
    ];
    prop_oneof![within_others(current.boxed()), within_others(resistance.boxed())]
}

fn within_others(rule: BoxedStrategy<LeakageRule>) -> impl Strategy<Value = LeakageRule> {
    let pick = prop::sample::select(vec![Pick::Smaller, Pick::Greater]);
    let outermost = prop_oneof![Just(None), (0.1..20.0_f64).prop_map(Some)];
    let nested = rule.prop_recursive(2, 8, 3, move |inner| {
        let several = prop::collection::vec(inner.clone(), 2..4);
        prop_oneof![
            (pick.clone(), several).prop_map(|(pick, of)| LeakageRule::pick(pick, of).unwrap()),
            (any_threshold(), inner.clone(), inner)
                .prop_map(|(at, upto, above)| LeakageRule::switch(at, upto, above).unwrap()),
        ]
    });
    (outermost, nested).prop_map(|(factor, rule)| match factor {
        Some(factor) => LeakageRule::multiple(factor, rule).unwrap(),
        None => rule,
    })
}

proptest! {
    #[test]
    fn every_rule_reads_back_as_it_is_written(rule in any_rule()) {
        prop_assert_eq!(LeakageRule::read(&rule.to_string()), Ok(rule));
    }

    #[test]
    fn every_text_is_a_rule_or_an_error_within_it(
        text in "([0-9.,]{1,3}|CU|sqrt\\(CU\\)|uA|µA| |floor|cap|R|RC|10s|\\(|\\)|smaller|upto|x|\\+|\\PC){0,12}"
    ) {
        if let Err(error) = LeakageRule::read(&text) {
            prop_assert!(text.is_char_boundary(error.position()));
        }
    }
}
