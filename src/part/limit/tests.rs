//! Limits with their conditions.

use proptest::prelude::*;
use rstest::rstest;
use uom::si::electric_potential::volt;

use super::*;
use crate::quantity::{amperes, celsius, farads, seconds};

fn rating(farad: f64, rated: f64) -> Rating {
    Rating::new(farads(farad), volts(rated)).unwrap()
}

#[rstest]
#[case::rule_alone("2uA", "2 µA")]
#[case::time_and_temperature("0.01CU floor 0.5uA @ 5min 25C", "0.01CU floor 500 nA @ 5 min 25 °C")]
#[case::temperature_first("0.01CU @ 25 °C 5 min", "0.01CU @ 5 min 25 °C")]
#[case::voltage("R 10Gohm @ 500V 1min", "R 10 GΩ @ 500 V 1 min")]
#[case::table_of_voltages("RC 3000s @ table 1min 20C", "RC 3000 s @ table 1 min 20 °C")]
#[case::category_voltage("12x(0.01CU) @ category 125C", "12x(0.01CU) @ category 125 °C")]
#[case::rated_is_what_goes_without_saying("2uA @ rated 72h", "2 µA @ 72 h")]
fn a_limit_reads_and_is_written_in_one_way(#[case] text: &str, #[case] written: &str) {
    let limit = Limit::read(text).unwrap();
    assert_eq!(limit.to_string(), written);
    assert_eq!(Limit::read(written), Ok(limit));
}

#[test]
fn the_conditions_are_those_that_are_written() {
    let limit = Limit::read("0.01CU floor 0.5uA @ 5min 25C").unwrap();
    assert_eq!(limit.reading_time, Some(seconds(300.0)));
    assert_eq!(limit.reference, Some(celsius(25.0)));
    assert_eq!(limit.measured_at, Measuring::Rated);
    assert_eq!(limit.source, "as typed");
}

#[rstest]
#[case::nothing_after_the_sign("2uA @", 5)]
#[case::words("2uA @ soon", 6)]
#[case::two_times("2uA @ 5min 2min", 11)]
#[case::two_voltages("2uA @ table 100V", 12)]
#[case::doubtful_time("2uA @ 5m", 6)]
#[case::no_time_at_all("2uA @ 0s", 6)]
#[case::negative_voltage("R 1G @ -5V", 7)]
#[case::sign_forgotten("2uA 5min", 4)]
fn conditions_that_make_no_sense_are_refused(#[case] text: &str, #[case] position: usize) {
    let error = Limit::read(text).unwrap_err();
    assert_eq!(error.position(), position, "{error}");
}

// Handbook §1.4.
#[rstest]
#[case::below_ten_volts(6.3, 6.3)]
#[case::from_ten_volts(10.0, 10.0)]
#[case::below_a_hundred(63.0, 10.0)]
#[case::from_a_hundred(100.0, 100.0)]
#[case::below_five_hundred(400.0, 100.0)]
#[case::from_five_hundred(630.0, 500.0)]
fn insulation_is_measured_at_the_voltage_of_the_table(#[case] rated: f64, #[case] expected: f64) {
    let found = Measuring::Table.voltage(&rating(1e-6, rated)).unwrap();
    assert_eq!(found.get(), volts(expected));
}

#[test]
fn a_hot_tantalum_is_measured_at_two_thirds_of_its_rating() {
    let found = Measuring::Category.voltage(&rating(10e-6, 15.0)).unwrap();
    assert!((found.get().get::<volt>() - 10.0).abs() < 1e-9);
}

#[test]
fn a_limit_above_the_rating_of_the_part_is_refused() {
    let error = Limit::read("R 10Gohm @ 500V").unwrap().current(&rating(1e-8, 50.0)).unwrap_err();
    insta::assert_snapshot!(error, @"expected a measuring voltage up to the rated 50 V, came 500 V");
}

#[test]
fn a_limit_beyond_all_numbers_lets_nothing_pass() {
    let endless = Limit::read("R 1e-300 ohm").unwrap();
    assert_eq!(endless.current(&rating(1e-8, 1e10)), Err(LimitError::Extreme));
}

// Handbook §1.3, example 6.
#[test]
fn a_film_is_judged_at_its_measuring_voltage() {
    let limit = Limit::read("upto(0.33uF, R 100G, RC 30000s) @ table").unwrap();
    let current = limit.current(&rating(4.7e-6, 400.0)).unwrap();
    assert!((current.get::<ampere>() - 15.6667e-9).abs() < 1e-12);
}

#[test]
fn a_limit_is_inclusive_of_what_the_rule_says() {
    let current = Limit::read("2uA @ 5min").unwrap().current(&rating(68e-6, 50.0));
    assert_eq!(current, Ok(amperes(2e-6)));
}

proptest! {
    #[test]
    fn every_limit_reads_back_as_it_is_written(
        second in prop::option::of(1.0..1e6_f64),
        degrees in prop::option::of(-55.0..125.0_f64),
        voltage in prop::option::of(0.5..1000.0_f64),
    ) {
        let limit = Limit {
            measured_at: voltage.map_or(Measuring::Table, |at| Measuring::At(volts(at))),
            reading_time: second.map(seconds),
            reference: degrees.map(celsius),
            ..Limit::read("0.01CU floor 3uA").unwrap()
        };
        prop_assert_eq!(Limit::read(&limit.to_string()), Ok(limit));
    }
}
