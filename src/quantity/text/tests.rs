//! What is written, case by case, and that it reads back.

use proptest::prelude::*;
use rstest::rstest;

use super::*;
use crate::quantity::{
    amperes, celsius, coulombs, farads, joules, ohms, read, seconds, volts, watts,
};

#[rstest]
#[case::micro(current(amperes(5.5e-6)), "5.5 µA")]
#[case::nano(current(amperes(0.25e-6)), "250 nA")]
#[case::rounds_up_into_the_next_prefix(current(amperes(999.97e-9)), "1 µA")]
#[case::below_the_least_prefix(current(amperes(1.5e-15)), "0.0015 pA")]
#[case::four_digits(current(amperes(1.122_497e-3)), "1.122 mA")]
#[case::negative(current(amperes(-50e-9)), "-50 nA")]
#[case::nothing(current(amperes(-0.0)), "0 A")]
#[case::not_a_number(current(amperes(f64::NAN)), "NaN A")]
#[case::volts(voltage(volts(63.0)), "63 V")]
#[case::small_volts(voltage(volts(0.0123)), "12.3 mV")]
#[case::nanofarads(capacitance(farads(4.7e-9)), "4.7 nF")]
#[case::microfarads(capacitance(farads(22e-6)), "22 µF")]
#[case::never_millifarads(capacitance(farads(4.7e-3)), "4700 µF")]
#[case::tenths_of_a_farad(capacitance(farads(0.1)), "0.1 F")]
#[case::gigohms(resistance(ohms(100e9)), "100 GΩ")]
#[case::microcoulombs(charge(coulombs(160e-6)), "160 µC")]
#[case::energy_in_joules(energy(joules(19.8)), "19.8 J")]
#[case::milliwatts(power(watts(0.05)), "50 mW")]
#[case::whole_minutes(time(seconds(300.0)), "5 min")]
#[case::not_whole_minutes(time(seconds(90.0)), "90 s")]
#[case::whole_hours(time(seconds(259_200.0)), "72 h")]
#[case::minutes_beyond_ten(time(seconds(754.3)), "12.57 min")]
#[case::hours_beyond_ten(time(seconds(40_001.0)), "11.11 h")]
#[case::part_of_a_second(time(seconds(0.5)), "500 ms")]
#[case::temperature(temperature_celsius(celsius(25.0)), "25 °C")]
#[case::exact_keeps_all_digits(exact::current(amperes(1.122_497e-3)), "1.122497 mA")]
#[case::exact_time(exact::time(seconds(754.3)), "754.3 s")]
#[case::time_constant_in_seconds(exact::seconds(seconds(30_000.0)), "30000 s")]
fn a_quantity_is_written_as_people_read_it(#[case] written: String, #[case] expected: &str) {
    assert_eq!(written, expected);
}

#[rstest]
#[case::one_digit_of_uncertainty(0.8437e-6, 0.0612e-6, "0.84 ± 0.06 µA")]
#[case::two_digits_after_a_one(1.296e-6, 0.141e-6, "1.30 ± 0.14 µA")]
#[case::two_digits_after_a_two(12.34e-6, 0.234e-6, "12.34 ± 0.23 µA")]
#[case::ninety_six_becomes_a_hundred(1.0e-6, 0.096e-6, "1.00 ± 0.10 µA")]
#[case::no_zeros_for_unknown_places(840e-9, 60e-9, "0.84 ± 0.06 µA")]
#[case::places_known_stay_in_nanoamperes(842e-9, 6e-9, "842 ± 6 nA")]
#[case::value_below_its_uncertainty(20e-9, 60e-9, "0.02 ± 0.06 µA")]
#[case::zero(0.0, 60e-9, "0.00 ± 0.06 µA")]
#[case::negative(-50e-9, 5e-9, "-50 ± 5 nA")]
#[case::negative_that_rounds_to_zero(-1e-9, 60e-9, "0.00 ± 0.06 µA")]
#[case::no_uncertainty(840e-9, 0.0, "840 nA ± 0")]
#[case::uncertainty_that_is_no_number(840e-9, f64::NAN, "840 nA ± unknown")]
#[case::amperes(120.0, 40.0, "120 ± 40 A")]
fn a_current_is_written_to_the_place_of_its_uncertainty(
    #[case] value: f64,
    #[case] expanded: f64,
    #[case] expected: &str,
) {
    assert_eq!(with_uncertainty(amperes(value), amperes(expanded)), expected);
}

#[rstest]
#[case::of_an_electrolytic(21.04e-6, 0.55e-6, "21.0 ± 0.6 µF")]
#[case::of_a_film(98.7e-9, 1.2e-9, "98.7 ± 1.2 nF")]
#[case::of_a_large_can(0.0103, 2e-4, "10300 ± 200 µF")]
#[case::known_to_hundreds(0.003_916, 1e-4, "3920 ± 100 µF")]
#[case::of_a_double_layer(0.98, 0.05, "0.98 ± 0.05 F")]
fn a_capacitance_is_written_with_its_uncertainty(
    #[case] value: f64,
    #[case] expanded: f64,
    #[case] expected: &str,
) {
    assert_eq!(capacitance_with_uncertainty(farads(value), farads(expanded)), expected);
}

/// Numbers over many decades, of either sign.
fn any_size() -> impl Strategy<Value = f64> {
    (-1.0..1.0_f64, -14..5).prop_map(|(mantissa, power)| mantissa * 10_f64.powi(power))
}

proptest! {
    #[test]
    fn what_is_written_reads_back_to_its_digits(value in any_size()) {
        let close = |read: f64| (read - value).abs() <= 5.001e-4 * value.abs();
        prop_assert!(close(read::current(&current(amperes(value))).unwrap().value));
        prop_assert!(close(read::voltage(&voltage(volts(value))).unwrap().value));
        prop_assert!(close(read::capacitance(&capacitance(farads(value))).unwrap().value));
        prop_assert!(close(read::resistance(&resistance(ohms(value))).unwrap().value));
        prop_assert!(close(read::charge(&charge(coulombs(value))).unwrap().value));
        prop_assert!(close(read::time(&time(seconds(value))).unwrap().value));
    }

    #[test]
    fn what_is_written_exactly_reads_back_as_itself(value in any_size()) {
        prop_assert_eq!(read::current(&exact::current(amperes(value))), Ok(amperes(value)));
        prop_assert_eq!(read::voltage(&exact::voltage(volts(value))), Ok(volts(value)));
        prop_assert_eq!(read::capacitance(&exact::capacitance(farads(value))), Ok(farads(value)));
        prop_assert_eq!(read::resistance(&exact::resistance(ohms(value))), Ok(ohms(value)));
        prop_assert_eq!(read::charge(&exact::charge(coulombs(value))), Ok(coulombs(value)));
        prop_assert_eq!(read::time(&exact::time(seconds(value))), Ok(seconds(value)));
    }

    #[test]
    fn a_value_with_uncertainty_reads_back_within_the_last_place(
        value in -1e-3..1e-3_f64,
        expanded in 1e-9..1e-3_f64,
    ) {
        let written = with_uncertainty(amperes(value), amperes(expanded));
        let (shown, rest) = written.split_once(" ± ").unwrap();
        let (shown_expanded, unit) = rest.split_once(' ').unwrap();
        let shown = read::current(&format!("{shown} {unit}")).unwrap().value;
        let shown_expanded = read::current(&format!("{shown_expanded} {unit}")).unwrap().value;
        prop_assert!((shown - value).abs() <= 0.201 * expanded, "{}", written);
        prop_assert!((shown_expanded - expanded).abs() <= 0.17 * expanded, "{}", written);
    }
}
