//! Slips of print and of hand, each in the same sound line: every one is asked about.

use rstest::rstest;

use super::*;
use crate::quantity::{farads, volts};

#[track_caller]
fn asked(line: &str) -> Question {
    let rating = Rating::new(farads(100e-6), volts(63.0)).expect("a rating");
    match read(line, &rating, Some(Dielectric::WetAluminium)) {
        Answer::Question(question) => question,
        Answer::Limits(printed) => panic!("{line}: {}", printed.limits[0]),
    }
}

#[rstest]
#[case::lost_root("3CV µA")]
#[case::milliamperes("0.01CV mA")]
#[case::milliampere_floor("0.01CV or 3 mA, whichever is greater")]
#[case::smaller_for_greater("0.01CV or 3 µA, whichever is smaller")]
#[case::lost_point("001CV or 3 µA, whichever is greater")]
#[case::letter_for_one("0.0lCV or 3 µA, whichever is greater")]
#[case::letter_for_zero("0.O1CV or 3 µA, whichever is greater")]
#[case::lost_voltage("0.01C or 3 µA, whichever is greater")]
#[case::lost_alternative("0.01CV, whichever is greater")]
#[case::reversed_sense("I ≥ 0.01CV or 3 µA, whichever is greater")]
#[case::capitals("0.01CV or 3 MA, whichever is greater")]
#[case::replaced_sign("0.01CV or 3 \u{fffd}A, whichever is greater")]
#[case::two_numbers("0.01 0.02CV µA")]
#[case::typical("typ. 0.01CV µA")]
#[case::subtraction("0.01CV - 3 µA")]
#[case::exponent_on_the_voltage("0.3 CV^0.7 + 4 µA")]
#[case::resistance_at_most("IR ≤ 10 GΩ")]
#[case::greater_resistance("10 GΩ or 500 s, whichever is greater")]
#[case::quotient("500 MΩ/µF")]
#[case::flat_exponent("1 x 105 MΩ")]
#[case::lost_mu("500 MΩ·F")]
#[case::no_unit("IR ≥ 10 000")]
#[case::measuring_voltage_above_the_rated("10 GΩ, 500 V")]
#[case::nothing("")]
#[case::no_limit("after 2 minutes at 20 °C")]
fn a_slip_is_asked_about(#[case] line: &str) {
    assert!(!asked(line).why.is_empty());
}

#[test]
fn a_lost_root_shows_both_readings() {
    // 3·√6300 = 238.1 µA; 3·6300 = 18,900 µA.
    let readings = asked("3CV µA").readings;
    let currents: Vec<f64> = readings.iter().map(|reading| reading.current.value).collect();
    assert!((currents[0] / 238.118e-6 - 1.0).abs() < 1e-3, "{currents:?}");
    assert!((currents[1] / 18.9e-3 - 1.0).abs() < 1e-3, "{currents:?}");
}

#[test]
fn the_place_is_that_of_the_slip() {
    let line = "I=0.01CV or 3 µÅ, whichever is greater";
    assert_eq!(asked(line).place.map(|place| &line[place..place + 4]), Some("µÅ"));
}

#[test]
fn a_line_without_end_is_not_read() {
    assert!(asked(&"0.01CV ".repeat(1000)).why[0].contains("too long"));
}
