//! Limits as a person states them: in the written form of one meaning, or as a sheet prints them.

use super::limit::Limit;
use super::rating::Rating;
use super::sheet::{self, Answer, Printed};
use super::{Dielectric, Part};
use crate::quantity::{Time, text};

/// Reads a limit in either form.
///
/// The sheet's reader goes first, since it knows what is doubtful about print: `3,000 µA` on a sheet
/// are three milliamperes. Only what is clearly in the written form overrules its question.
#[must_use]
pub fn stated(line: &str, rating: &Rating, dielectric: Option<Dielectric>) -> Answer {
    let written = || Limit::read(line).ok().filter(|limit| is_written_form(line, limit));
    match sheet::read(line, rating, dielectric) {
        Answer::Limits(printed) => Answer::Limits(printed),
        Answer::Question(question) => match written() {
            Some(limit) => Answer::Limits(Printed { limits: vec![limit], conventions: Vec::new() }),
            None => Answer::Question(question),
        },
    }
}

/// Words of the written form that no sheet prints so.
const WRITTEN: [&str; 8] =
    ["floor", "cap", "sqrt(CU)", "(CU)^", "upto(", "smaller(", "greater(", "x("];

fn is_written_form(line: &str, limit: &Limit) -> bool {
    WRITTEN.iter().any(|word| line.contains(word))
        || line.starts_with("R ")
        || line.starts_with("RC ")
        || line.contains("CU") && limit.to_string() == line
}

impl Part {
    /// Reads a limit in either form, as [`stated`], for this part.
    #[must_use]
    pub fn stated_limit(&self, line: &str) -> Answer {
        stated(line, &self.rating, Some(self.family.dielectric()))
    }
}

impl Printed {
    /// Of several limits that for the bench: near 20 to 25 °C, and read no later than the soak
    /// lasts. Its source says which it is.
    #[must_use]
    pub fn for_bench(&self, soak: Option<Time>) -> Limit {
        let nearest = self.limits.iter().map(degrees_off).fold(f64::INFINITY, f64::min);
        let near = self.limits.iter().filter(|limit| degrees_off(limit) <= nearest);
        let in_time = |limit: &&Limit| soak.is_none_or(|soak| time(limit) <= soak);
        let chosen = latest(near.clone().filter(in_time)).or_else(|| latest(near));
        let mut limit = chosen.unwrap_or(&self.limits[0]).clone();
        if 1 < self.limits.len() {
            limit.source =
                format!("{}, of {} limits {}", limit.source, self.limits.len(), at(&limit));
        }
        limit
    }
}

/// How far a limit's temperature lies from that of a bench.
fn degrees_off(limit: &Limit) -> f64 {
    limit.reference.map_or(0.0, |celsius| {
        let degrees = celsius.degrees();
        (20.0 - degrees).max(degrees - 25.0).max(0.0)
    })
}

fn time(limit: &Limit) -> Time {
    limit.reading_time.unwrap_or_default()
}

fn latest<'a>(limits: impl Iterator<Item = &'a Limit>) -> Option<&'a Limit> {
    limits.max_by(|one, other| time(one).value.total_cmp(&time(other).value))
}

/// `the one at 5 min and 20 °C`.
fn at(limit: &Limit) -> String {
    let time = limit.reading_time.map(text::time);
    let celsius = limit.reference.map(text::temperature_celsius);
    let both: Vec<String> = [time, celsius].into_iter().flatten().collect();
    format!("the one at {}", both.join(" and "))
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::seconds;

    fn part() -> Part {
        Part::read("100µF 63V al-wet").unwrap()
    }

    #[track_caller]
    fn limits(line: &str) -> Printed {
        match part().stated_limit(line) {
            Answer::Limits(printed) => printed,
            Answer::Question(question) => panic!("{line}: {question:?}"),
        }
    }

    fn microamperes(limit: &Limit) -> f64 {
        limit.current(&part().rating).unwrap().value * 1e6
    }

    // CU = 6300 µC.
    #[rstest]
    #[case::written_form("0.01CU floor 3uA @ 2min 20C", 63.0)]
    #[case::printed_form("I ≤ 0.01CV or 3 µA, whichever is greater", 63.0)]
    #[case::written_root("3sqrt(CU) cap 5mA", 238.118)]
    #[case::written_resistance("R 10Gohm @ 50V 1min", 0.005)]
    #[case::thousands_of_a_sheet("3,000 µA", 3000.0)]
    fn both_forms_are_taken(#[case] line: &str, #[case] expected: f64) {
        let current = microamperes(&limits(line).limits[0]);
        assert!((current / expected - 1.0).abs() < 1e-3, "{current}");
    }

    #[rstest]
    #[case::the_longest_time(None, 166.0)]
    #[case::no_later_than_the_soak(Some(60.0), 352.0)]
    #[case::shorter_than_any(Some(10.0), 166.0)]
    fn the_limit_for_the_bench_fits_the_soak(#[case] soak: Option<f64>, #[case] expected: f64) {
        // 0.04·6300 + 100 = 352 µA; 0.02·6300 + 40 = 166 µA.
        let printed = limits("after 1 minute: 0.04CV+100; after 5 minutes: 0.02CV+40");
        let current = microamperes(&printed.for_bench(soak.map(seconds)));
        assert!((current - expected).abs() < 1e-6, "{current}");
    }

    #[test]
    fn the_limit_for_the_bench_is_that_of_a_room_and_says_so() {
        let limit = limits("85 °C: 0.1CV; 20 °C: 0.01CV; 5 min").for_bench(None);
        assert_eq!(limit.source, "the printed line, of 2 limits the one at 5 min and 20 °C");
        assert!((microamperes(&limit) - 63.0).abs() < 1e-6);
    }
}
