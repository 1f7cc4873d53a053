//! Readings that must be taken, and those that must be refused.

use proptest::prelude::*;
use rstest::rstest;
use uom::si::capacitance::farad;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::time::second;

use super::*;

#[rstest]
#[case::prefix_in_place_of_the_mark("4n7", 4.7e-9)]
#[case::prefix_in_place_of_the_mark_with_unit("4n7F", 4.7e-9)]
#[case::prefix_alone("22u", 22e-6)]
#[case::micro_sign("22 µF", 22e-6)]
#[case::greek_mu("22 \u{3bc}F", 22e-6)]
#[case::letter_u("22uF", 22e-6)]
#[case::lower_case_farad("22uf", 22e-6)]
#[case::decimal_comma("0,47 µF", 0.47e-6)]
#[case::comma_before_three_digits_of_a_fraction("0,470 µF", 0.47e-6)]
#[case::comma_before_two_digits("1,25 µF", 1.25e-6)]
#[case::comma_after_four_digits("1000,250 µF", 1000.25e-6)]
#[case::comma_before_four_digits("1,2345 µF", 1.2345e-6)]
#[case::old_microfarad("8 mfd", 8e-6)]
#[case::old_microfarad_in_capitals("8MFD", 8e-6)]
#[case::old_picofarad("250 MMFD", 250e-12)]
#[case::millifarad_is_si("10 mF", 10e-3)]
#[case::exponent("1e-6 F", 1e-6)]
#[case::no_leading_zero(".1 µF", 0.1e-6)]
#[case::farads("10 F", 10.0)]
fn a_capacitance_reads_as_the_trade_writes_it(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(capacitance(text).map(|read| read.get::<farad>()), Ok(expected));
}

#[rstest]
#[case::plain("63V", 63.0)]
#[case::unit_in_place_of_the_mark("6V3", 6.3)]
#[case::lower_case("25v", 25.0)]
#[case::direct_voltage("100 VDC", 100.0)]
#[case::kilovolts("1,5 kV", 1500.0)]
#[case::below_zero("-0.5 V", -0.5)]
#[case::typographic_minus("−50 mV", -0.05)]
fn a_voltage_reads_as_the_trade_writes_it(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(voltage(text).map(|read| read.get::<volt>()), Ok(expected));
}

#[rstest]
#[case::nano("500 nA", 500e-9)]
#[case::exponent("2.5e-6 A", 2.5e-6)]
#[case::capital_exponent("+1.20E-06A", 1.2e-6)]
#[case::milli("3mA", 3e-3)]
fn a_current_reads_as_the_trade_writes_it(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(current(text).map(|read| read.get::<ampere>()), Ok(expected));
}

#[rstest]
#[case::unit_in_place_of_the_mark("2R2", 2.2)]
#[case::prefix_in_place_of_the_mark("4k7", 4700.0)]
#[case::capital_kilo("4K7", 4700.0)]
#[case::greek_omega("1.5kΩ", 1500.0)]
#[case::ohm_sign("1.5k\u{2126}", 1500.0)]
#[case::decimal_comma("2,2 MΩ", 2.2e6)]
#[case::spelled_out("10 Gohm", 10e9)]
#[case::megohms("500 megohms", 500e6)]
#[case::milliohm_by_its_sign("20 mΩ", 0.02)]
#[case::prefix_alone("10M", 10e6)]
fn a_resistance_reads_as_the_trade_writes_it(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(resistance(text).map(|read| read.get::<ohm>()), Ok(expected));
}

#[rstest]
#[case::minutes("5 min", 300.0)]
#[case::seconds("120 s", 120.0)]
#[case::no_blank("90s", 90.0)]
#[case::hours("72 h", 259_200.0)]
#[case::days("2 d", 172_800.0)]
#[case::milliseconds("500 ms", 0.5)]
fn a_time_reads_as_the_trade_writes_it(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(time(text).map(|read| read.get::<second>()), Ok(expected));
}

#[rstest]
#[case::letter_alone("25C", 25.0)]
#[case::degree_sign("20 °C", 20.0)]
#[case::one_character("85℃", 85.0)]
#[case::below_freezing("-40 degC", -40.0)]
fn a_temperature_reads_in_degrees_celsius(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(temperature_celsius(text), Ok(celsius(expected)));
}

#[rstest]
#[case::the_vintage_form("0.04 mA/µF", 40.0)]
#[case::micro_over_micro("0.1uA/uF", 0.1)]
#[case::per_farad("5 µA/F", 5e-6)]
fn a_current_per_capacitance_is_that_of_a_farad(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(current_of_a_farad(text).map(|read| read.get::<ampere>()), Ok(expected));
}

#[rstest]
#[case::nothing("", Fault::Empty)]
#[case::blank("  ", Fault::Empty)]
#[case::no_unit("470", Fault::NoUnit)]
#[case::words("many", Fault::NoNumber)]
#[case::not_a_number("NaN F", Fault::NoNumber)]
#[case::infinity("inf F", Fault::NoNumber)]
#[case::sign_alone("-", Fault::NoNumber)]
#[case::both_marks("1.234,5 µF", Fault::Marks)]
#[case::both_marks_the_other_way("1,234.5 µF", Fault::Marks)]
#[case::two_commas("1,2,3 µF", Fault::Marks)]
#[case::mark_without_digits("5. µF", Fault::Marks)]
#[case::comma_that_may_part_thousands("1,234 µF", Fault::Thousands)]
#[case::too_large("1e999 F", Fault::OutOfRange)]
#[case::too_small("1e-999 F", Fault::OutOfRange)]
#[case::exponent_without_end("1e99999999999 F", Fault::OutOfRange)]
#[case::unit_of_another_quantity("22 V", Fault::UnknownUnit("V".to_owned()))]
#[case::digits_parted_by_a_blank("10 000 pF", Fault::UnknownUnit("000 pF".to_owned()))]
#[case::mark_and_letter("4.7n7", Fault::UnknownUnit("n7".to_owned()))]
#[case::hexadecimal("0x10 F", Fault::UnknownUnit("xF".to_owned()))]
fn what_is_no_capacitance_is_refused(#[case] text: &str, #[case] fault: Fault) {
    assert_eq!(capacitance(text).unwrap_err().fault, fault);
}

#[rstest]
#[case::megafarad(capacitance("10 MF").err())]
#[case::lower_case_mf(capacitance("10 mf").err())]
#[case::capacitance_with_m_alone(capacitance("10m").err())]
#[case::megampere(current("3 MA").err())]
#[case::lower_case_mohm(resistance("10 mohm").err())]
#[case::resistance_with_m_as_mark(resistance("4m7").err())]
#[case::time_with_m_alone(time("5m").err())]
#[case::megavolt(voltage("10 MV").err())]
fn a_unit_with_two_meanings_is_refused(#[case] error: Option<ReadError>) {
    let error = error.expect("it is ambiguous");
    assert!(matches!(error.fault, Fault::DoubtfulUnit { .. }), "{error}");
}

#[rstest]
#[case::hours_and_minutes("1h30")]
#[case::hours_and_minutes_with_unit("1h30min")]
fn a_letter_is_no_decimal_mark_in_a_time(#[case] text: &str) {
    assert!(matches!(time(text).unwrap_err().fault, Fault::UnknownUnit(_)));
}

#[rstest]
#[case::fahrenheit("77 °F")]
#[case::kelvin("298 K")]
fn other_scales_of_temperature_are_refused(#[case] text: &str) {
    assert!(matches!(temperature_celsius(text).unwrap_err().fault, Fault::UnknownUnit(_)));
}

#[test]
fn nothing_is_colder_than_absolute_zero() {
    assert_eq!(temperature_celsius("-274 °C").unwrap_err().fault, Fault::OutOfRange);
}

#[test]
fn the_message_says_what_was_expected_and_what_came() {
    insta::assert_snapshot!(capacitance("470").unwrap_err(),
        @r#"expected a capacitance such as 22 µF or 4n7, came "470": it has no unit"#);
    insta::assert_snapshot!(capacitance("10 MF").unwrap_err(),
        @r#"expected a capacitance such as 22 µF or 4n7, came "10 MF": "MF" is printed for microfarad on old parts and could be millifarad"#);
    insta::assert_snapshot!(resistance("1,234 kΩ").unwrap_err(),
        @r#"expected a resistance such as 10 GΩ or 4k7, came "1,234 kΩ": the comma may be a decimal mark or part thousands"#);
    insta::assert_snapshot!(number("0.7 V").unwrap_err(),
        @r#"expected a number such as 0.01, came "0.7 V": "V" is too much"#);
}

#[rstest]
#[case::nothing("")]
#[case::no_number("many")]
#[case::no_unit("470")]
#[case::two_marks("1.2.3 µF")]
#[case::thousands("1,234 µF")]
#[case::too_large("1e999 F")]
#[case::unknown_unit("22 V")]
#[case::doubtful_unit("10 MF")]
fn every_message_is_one_line_and_every_help_says_something(#[case] text: &str) {
    let error = capacitance(text).unwrap_err();
    let message = error.to_string();
    assert!(message.starts_with("expected a capacitance such as 22 µF or 4n7, came"), "{message}");
    assert!(!message.contains('\n') && !message.ends_with('.'), "{message}");
    assert!(error.help().starts_with("write"), "{}", error.help());
}

#[rstest]
#[case::plain("0.01", 0.01)]
#[case::decimal_comma("0,7", 0.7)]
#[case::exponent("1e-3", 0.001)]
#[case::below_zero("-2.5", -2.5)]
fn a_number_reads_without_a_unit(#[case] text: &str, #[case] expected: f64) {
    assert_eq!(number(text), Ok(expected));
}

#[test]
fn the_help_says_what_to_write() {
    insta::assert_snapshot!(capacitance("470").unwrap_err().help(),
        @"write the unit after the number, as in 22 µF or 4n7");
    insta::assert_snapshot!(resistance("1,234 kΩ").unwrap_err().help(),
        @"write a decimal point, or no mark at all");
}

proptest! {
    #[test]
    fn reading_never_panics_and_never_gives_a_number_that_is_none(text in "\\PC{0,12}") {
        for value in [
            capacitance(&text).map(|read| read.get::<farad>()),
            current(&text).map(|read| read.get::<ampere>()),
            resistance(&text).map(|read| read.get::<ohm>()),
            time(&text).map(|read| read.get::<second>()),
            number(&text),
        ].into_iter().flatten() {
            prop_assert!(value.is_finite());
        }
    }

    #[test]
    fn point_and_comma_read_alike_where_the_comma_is_allowed(whole in 0_u16..1000, tenth in 0_u8..100) {
        let point = format!("{whole}.{tenth:02} µF");
        prop_assert_eq!(capacitance(&point), capacitance(&point.replace('.', ",")));
    }
}
