//! The collection of phrases from data sheets: each row right, or asked where it is ambiguous.

use super::*;
use crate::quantity::{farads, volts};

#[derive(serde::Deserialize)]
pub(super) struct Row {
    pub(super) id: String,
    pub(super) phrase: String,
    family: Option<String>,
    c_farad: f64,
    u_volt: f64,
    expect: Expected,
}

#[derive(serde::Deserialize)]
struct Expected {
    limit_ampere: Option<f64>,
    reading_time_s: Option<f64>,
    ref_temp_c: Option<f64>,
    ambiguous_reason: Option<String>,
}

const PHRASES: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/limit-phrases.jsonl"));

pub(super) fn rows() -> Vec<Row> {
    PHRASES
        .lines()
        .map(|line| serde_json::from_str(line).expect("a row of the collection"))
        .collect()
}

/// How an answer compares with what a row expects.
#[derive(Debug, PartialEq)]
pub(super) enum Outcome {
    Right,
    Asked(String),
    Wrong(String),
}

impl Row {
    /// Reads a line for the part of this row, whose own phrase it is or means the same.
    pub(super) fn outcome(&self, line: &str) -> Outcome {
        let rating = Rating::new(farads(self.c_farad), volts(self.u_volt)).expect("a rating");
        let dielectric = self.family.as_deref().and_then(dielectric_of);
        match (read(line, &rating, dielectric), &self.expect.ambiguous_reason) {
            (Answer::Question(_), Some(_)) => Outcome::Right,
            (Answer::Limits(printed), Some(reason)) => {
                Outcome::Wrong(format!("not asked ({reason}): {}", printed.limits[0]))
            }
            (Answer::Question(question), None) => Outcome::Asked(format!("{question:?}")),
            (Answer::Limits(printed), None) => {
                if printed.limits.iter().any(|limit| self.fits(limit, &rating)) {
                    Outcome::Right
                } else {
                    Outcome::Wrong(format!("{:?}", printed.limits))
                }
            }
        }
    }

    fn fits(&self, limit: &Limit, rating: &Rating) -> bool {
        let current = limit.current(rating).expect("a current").value;
        let wanted = self.expect.limit_ampere.expect("a limit");
        (current / wanted - 1.0).abs() < 1e-3
            && limit.reading_time.map(|time| time.value) == self.expect.reading_time_s
            && limit.reference.map(crate::quantity::Celsius::degrees) == self.expect.ref_temp_c
    }
}

#[test]
fn every_row_of_the_collection_is_right_or_asked() {
    let rows = rows();
    assert_eq!(rows.len(), 220);
    let faults: Vec<String> = rows
        .iter()
        .map(|row| (row, row.outcome(&row.phrase)))
        .filter(|(_, outcome)| *outcome != Outcome::Right)
        .map(|(row, outcome)| format!("{} {}\n    {outcome:?}", row.id, row.phrase))
        .collect();
    assert!(faults.is_empty(), "{} faults\n{}", faults.len(), faults.join("\n"));
}
