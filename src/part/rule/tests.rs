//! Limits by rule: the unit traps of handbook §1.3, bounds, and what holds for all parts.

use proptest::prelude::*;
use rstest::rstest;

use super::super::formula::Term;
use super::*;
use crate::quantity::{amperes, ohms, per_second, seconds};

fn limit(rule: &str, capacitance: f64, voltage: f64) -> f64 {
    let rating = Rating::new(farads(capacitance), volts(voltage)).unwrap();
    let rule = LeakageRule::read(rule).unwrap();
    rule.limit(&rating, MeasuringVoltage::rated(&rating)).get::<ampere>()
}

// Worked by hand in handbook §1.3 and §7.1.
#[rstest]
#[case::microfarads_give_microamperes("0.01CU", 160e-6, 1.0, 1.6e-6)]
#[case::nanofarads_give_nanoamperes("0.01CU", 160e-9, 1.0, 1.6e-9)]
#[case::millifarads_give_milliamperes("0.01CU", 160e-3, 1.0, 1.6e-3)]
#[case::farads_give_amperes("0.01CU", 160.0, 1.0, 1.6)]
#[case::a_floor_below_the_product_changes_nothing("0.01CU floor 3uA", 47e-6, 40.0, 18.8e-6)]
#[case::an_addend_is_no_floor("0.01CU + 3uA", 47e-6, 40.0, 21.8e-6)]
#[case::a_cap_holds_down("0.02CU cap 3mA", 470e-6, 400.0, 3e-3)]
#[case::a_root_has_its_own_power_of_ten("3sqrt(CU)", 560e-6, 250.0, 1.122_497e-3)]
#[case::a_capped_root("3sqrt(CU) cap 5mA", 10e-3, 450.0, 5e-3)]
#[case::the_smaller_resistance_gives_the_larger_current(
    "smaller(R 10Gohm, RC 500s)",
    1e-6,
    50.0,
    0.1e-6
)]
#[case::the_greater_resistance_gives_the_smaller_current(
    "greater(R 10Gohm, RC 500s)",
    1e-6,
    50.0,
    5e-9
)]
#[case::the_smaller_current("smaller(0.01CU, 1uA)", 10e-6, 16.0, 1e-6)]
#[case::the_greater_current("greater(0.01CU, 1uA)", 10e-6, 16.0, 1.6e-6)]
#[case::mid_century_goes_by_capacitance_alone("0.04mA/uF + 0.3mA", 20e-6, 450.0, 1.1e-3)]
#[case::the_one_minute_form("0.03CU floor 4uA", 470e-6, 25.0, 352.5e-6)]
#[case::the_two_minute_form("0.01CU floor 3uA", 470e-6, 25.0, 117.5e-6)]
#[case::at_the_threshold_the_first_rule_holds("upto(0.33uF, 1uA, 2uA)", 0.33e-6, 100.0, 1e-6)]
#[case::above_the_threshold_the_second_holds("upto(0.33uF, 1uA, 2uA)", 0.34e-6, 100.0, 2e-6)]
#[case::a_threshold_of_charge("upto(1000uC, 1uA, 2uA)", 10e-6, 100.0, 1e-6)]
#[case::a_threshold_that_binary_misses("upto(3300uC, 1uA, 2uA)", 33e-6, 100.0, 1e-6)]
#[case::a_threshold_of_voltage("upto(100V, 1uA, 2uA)", 10e-6, 160.0, 2e-6)]
#[case::a_multiple_of_a_resistance_multiplies_the_current("2x(R 10Gohm)", 1e-6, 50.0, 10e-9)]
fn a_rule_gives_the_limit_worked_by_hand(
    #[case] rule: &str,
    #[case] capacitance: f64,
    #[case] voltage: f64,
    #[case] expected: f64,
) {
    let found = limit(rule, capacitance, voltage);
    assert!((found - expected).abs() <= 1e-6 * expected, "{found} A, expected {expected} A");
}

#[test]
fn a_megohm_microfarad_is_a_second() {
    let product = LeakageRule::time_constant(ohms(1e6) * farads(1e-6)).unwrap();
    assert_eq!(product.to_string(), "RC 1 s");
}

// Handbook §1.3, example 6: 15.7 nA at 100 V, not at 400 V.
#[test]
fn a_resistance_goes_by_the_measuring_voltage() {
    let rating = Rating::new(farads(4.7e-6), volts(400.0)).unwrap();
    let at_100 = MeasuringVoltage::at(volts(100.0), &rating).unwrap();
    let rule = LeakageRule::time_constant(seconds(30_000.0)).unwrap();
    let found = rule.limit(&rating, at_100).get::<ampere>();
    assert!((found - 15.6667e-9).abs() < 1e-12, "{found} A");
}

#[test]
fn a_formula_goes_by_the_rated_voltage_whatever_is_measured_at() {
    let rating = Rating::new(farads(10e-6), volts(16.0)).unwrap();
    let at_8 = MeasuringVoltage::at(volts(8.0), &rating).unwrap();
    let found = LeakageRule::read("0.01CU").unwrap().limit(&rating, at_8).get::<ampere>();
    assert!((found - 1.6e-6).abs() < 1e-12, "{found} A");
}

fn charge_rule(factor: f64) -> Formula {
    Formula::of(Term::Charge(per_second(factor)))
}

#[rstest]
#[case::lost_root(charge_rule(3.0), RuleError::Factor(3.0))]
#[case::factor_of_zero(charge_rule(0.0), RuleError::Factor(0.0))]
#[case::exponent_of_one(
    Formula::of(Term::Power { factor: 1.0, exponent: 1.0 }),
    RuleError::Exponent(1.0)
)]
#[case::negative_floor(
    Formula { floor: amperes(-1.0), ..charge_rule(0.01) },
    RuleError::Negative { what: "a floor", value: -1.0 }
)]
#[case::negative_addend(
    Formula { addend: amperes(-1.0), ..charge_rule(0.01) },
    RuleError::Negative { what: "an addend", value: -1.0 }
)]
#[case::cap_of_zero(
    Formula { cap: Some(amperes(0.0)), ..charge_rule(0.01) },
    RuleError::NotPositive { what: "a cap", value: 0.0 }
)]
#[case::cap_below_the_floor(
    Formula { floor: amperes(2.0), cap: Some(amperes(1.0)), ..charge_rule(0.01) },
    RuleError::CapBelowFloor
)]
fn a_formula_that_no_sheet_means_is_refused(#[case] formula: Formula, #[case] error: RuleError) {
    assert_eq!(LeakageRule::formula(formula), Err(error));
}

#[rstest]
#[case::no_current(LeakageRule::constant(amperes(0.0)))]
#[case::current_that_is_no_number(LeakageRule::constant(amperes(f64::NAN)))]
#[case::factor_that_is_no_number(LeakageRule::formula(charge_rule(f64::NAN)))]
#[case::no_resistance(LeakageRule::resistance(ohms(0.0)))]
#[case::endless_resistance(LeakageRule::resistance(ohms(f64::INFINITY)))]
#[case::negative_time_constant(LeakageRule::time_constant(seconds(-1.0)))]
#[case::nothing_to_choose_from(LeakageRule::pick(Pick::Smaller, Vec::new()))]
fn a_value_that_no_sheet_means_is_refused(#[case] rule: Result<LeakageRule, RuleError>) {
    assert!(rule.is_err());
}

#[test]
fn currents_and_resistances_are_not_compared() {
    let current = LeakageRule::constant(amperes(1e-6)).unwrap();
    let resistance = LeakageRule::resistance(ohms(1e10)).unwrap();
    let both = vec![current, resistance];
    assert_eq!(LeakageRule::pick(Pick::Smaller, both), Err(RuleError::Mixed));
}

#[test]
fn the_message_says_what_was_expected_and_what_came() {
    insta::assert_snapshot!(LeakageRule::formula(charge_rule(3.0)).unwrap_err(),
        @"expected a factor of CU from 0.0000001 to 1 per second, came 3");
    insta::assert_snapshot!(RuleError::Factor(3.0).help(),
        @"a root sign may be lost, as in 3sqrt(CU); a percentage of CU is 0.01CU for 1 %");
}

proptest! {
    #[test]
    fn the_limit_of_a_formula_never_falls_as_a_part_grows(
        rule in prop::sample::select(vec![
            "0.01CU floor 0.5uA", "0.06CU + 10uA", "3sqrt(CU) cap 5mA", "0.3(CU)^0.7 + 4uA",
            "0.02CU cap 3mA", "40uA/uF + 0.3mA",
        ]),
        capacitance in 1e-12..1.0_f64,
        voltage in 1.0..600.0_f64,
        more in 1.0..10.0_f64,
    ) {
        prop_assert!(limit(rule, capacitance, voltage) <= limit(rule, capacitance * more, voltage));
        prop_assert!(limit(rule, capacitance, voltage) <= limit(rule, capacitance, voltage * more));
    }

    #[test]
    fn a_smaller_resistance_allows_a_larger_current(
        least in 1e3..1e12_f64,
        part in 0.01..0.99_f64,
        voltage in 1.0..600.0_f64,
    ) {
        let rating = Rating::new(farads(1e-6), volts(voltage)).unwrap();
        let limit = |least| LeakageRule::resistance(ohms(least)).unwrap()
            .limit(&rating, MeasuringVoltage::rated(&rating));
        prop_assert!(limit(least) < limit(least * part));
    }

    #[test]
    fn a_time_constant_is_a_factor_of_charge(
        product in 1.0..1e6_f64,
        capacitance in 1e-12..1.0_f64,
        voltage in 1.0..600.0_f64,
    ) {
        // Handbook §1.1: k against R·C, 0.01 per second being 100 s.
        let by_product = limit(&format!("RC {product}s"), capacitance, voltage);
        let by_factor = limit(&format!("{}CU", 1.0 / product), capacitance, voltage);
        prop_assert!((by_product - by_factor).abs() <= 1e-9 * by_factor);
    }

    #[test]
    fn a_cap_and_a_floor_bound_every_limit(capacitance in 1e-12..1.0_f64, voltage in 1.0..600.0_f64) {
        let found = limit("0.01CU floor 1uA cap 1mA", capacitance, voltage);
        prop_assert!((1e-6..=1e-3).contains(&found));
    }
}
