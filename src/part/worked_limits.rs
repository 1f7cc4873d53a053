//! Every worked limit of the handbook, against the rules in our written form.
//!
//! `worked-limits.csv` has the wording of sheets and the limits worked out by hand;
//! `worked-limits-rules.csv` has each wording once with its written form, for a person to review.

use std::collections::HashMap;

use rstest::rstest;
use uom::si::electric_current::ampere;

use super::{Family, Limit, MeasuringVoltage, Part, Rating};
use crate::quantity::{farads, volts};

const LIMITS: &str = include_str!("../../fixtures/worked-limits.csv");
const RULES: &str = include_str!("../../fixtures/worked-limits-rules.csv");

fn rows(text: &str) -> Vec<csv::StringRecord> {
    let rows: Result<_, _> = csv::Reader::from_reader(text.as_bytes()).into_records().collect();
    rows.unwrap()
}

/// The limits by family and wording.
fn written_rules() -> HashMap<(String, String), Limit> {
    let key = |row: &csv::StringRecord| (row[0].to_owned(), row[1].to_owned());
    rows(RULES).iter().map(|row| (key(row), Limit::read(&row[2]).unwrap())).collect()
}

#[test]
fn every_worked_limit_comes_out_to_a_hundredth_of_a_per_cent() {
    let rules = written_rules();
    let rows = rows(LIMITS);
    assert_eq!(rows.len(), 66);
    for row in rows {
        let [farad, volt, expected] = [2, 3, 4].map(|column| row[column].parse::<f64>().unwrap());
        let limit = &rules[&(row[0].to_owned(), row[1].to_owned())];
        let rating = Rating::new(farads(farad), volts(volt)).unwrap();
        // The table gives the measuring voltage of insulation resistances as its voltage.
        let found = limit.rule.limit(&rating, MeasuringVoltage::rated(&rating)).get::<ampere>();
        assert!((found - expected).abs() <= 1e-4 * expected, "{row:?}: {found} A, by {limit}");
    }
}

#[test]
fn every_written_rule_belongs_to_a_worked_limit() {
    let worked = rows(LIMITS);
    for (family, wording) in written_rules().into_keys() {
        assert!(worked.iter().any(|row| row[0] == family && row[1] == wording), "{wording}");
    }
}

#[test]
fn the_families_are_those_of_the_worked_limits() {
    let mut worked: Vec<String> = rows(LIMITS).iter().map(|row| row[0].to_owned()).collect();
    worked.dedup();
    assert!(worked.iter().all(|tag| Family::from_tag(tag).is_some()), "{worked:?}");
    assert!(Family::ALL.iter().all(|family| worked.iter().any(|tag| tag == family.tag())));
}

// The eight examples of handbook §1.3, from the words of a part to its default limit.
#[rstest]
#[case::tantalum_by_its_charge("10µF 16V tantalum", 1.6e-6)]
#[case::tantalum_by_the_floor("1µF 25V tantalum", 0.5e-6)]
#[case::snap_in_by_the_root("560µF 250V snap-in", 1.122_497e-3)]
#[case::screw_terminal_by_the_cap("10000µF 450V screw-terminal", 5e-3)]
#[case::class_two_by_the_time_constant("1µF 50V X7R", 0.1e-6)]
#[case::polypropylene_at_its_measuring_voltage("4.7µF 400V polypropylene", 15.6667e-9)]
#[case::polymer_tantalum("470µF 6.3V ta-polymer", 296.1e-6)]
#[case::mid_century("20µF 450V al-vintage", 1.1e-3)]
#[case::modern_part_of_the_same_rating("20µF 450V elko", 550e-6)]
fn a_part_without_a_sheet_gets_the_worked_limit(#[case] part: &str, #[case] expected: f64) {
    let part = Part::read(part).unwrap();
    let limit = part.default_limit().unwrap();
    let found = limit.current(&part.rating).unwrap().get::<ampere>();
    assert!((found - expected).abs() <= 1e-4 * expected, "{found} A, by {limit}");
}
