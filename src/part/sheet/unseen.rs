//! Lines beyond the collection, of the same kinds and in all its languages.
//!
//! The currents were worked out by hand from the values in the line.

use super::*;
use crate::quantity::{farads, volts};

const LINES: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/printed-lines.txt"));

/// A line, its part in µF and V, and the current in µA with time and temperature; none if asked.
struct Line<'a> {
    phrase: &'a str,
    rating: Rating,
    expected: Option<(f64, Option<f64>, Option<f64>)>,
}

fn lines() -> Vec<Line<'static>> {
    LINES.lines().filter(|line| !line.starts_with('#')).map(line).collect()
}

fn line(text: &'static str) -> Line<'static> {
    let mut cells = text.rsplitn(6, '|');
    let mut cell = || cells.next().expect("a cell");
    let number = |cell: &str| cell.parse::<f64>().ok();
    let (celsius, seconds, current) = (number(cell()), number(cell()), number(cell()));
    let (voltage, capacitance) = (number(cell()), number(cell()));
    let rating = Rating::new(
        farads(capacitance.expect("a capacitance") * 1e-6),
        volts(voltage.expect("a voltage")),
    );
    Line {
        phrase: cell(),
        rating: rating.expect("a rating"),
        expected: current.map(|current| (current * 1e-6, seconds, celsius)),
    }
}

fn fault(line: &Line<'_>) -> Option<String> {
    match (read(line.phrase, &line.rating, None), line.expected) {
        (Answer::Question(_), None) => None,
        (Answer::Question(question), Some(_)) => Some(format!("asked {:?}", question.why)),
        (Answer::Limits(printed), None) => Some(format!("not asked: {}", printed.limits[0])),
        (Answer::Limits(printed), Some((current, seconds, celsius))) => {
            let fits = |limit: &Limit| {
                let found = limit.current(&line.rating).expect("a current").value;
                (found / current - 1.0).abs() < 1e-3
                    && limit.reading_time.map(|time| time.value) == seconds
                    && limit.reference.map(crate::quantity::Celsius::degrees) == celsius
            };
            (!printed.limits.iter().any(fits)).then(|| format!("wrong: {:?}", printed.limits))
        }
    }
}

#[test]
fn lines_beyond_the_collection_are_right_or_asked() {
    let faults: Vec<String> = lines()
        .iter()
        .filter_map(|line| Some(format!("{}\n    {}", line.phrase, fault(line)?)))
        .collect();
    assert!(faults.is_empty(), "{} faults\n{}", faults.len(), faults.join("\n"));
}
