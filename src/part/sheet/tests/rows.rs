//! The collection of phrases from data sheets: each row right, or asked where it is ambiguous.

use super::*;

#[derive(serde::Deserialize)]
struct Row {
    id: String,
    phrase: String,
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

fn rows() -> Vec<Row> {
    PHRASES
        .lines()
        .map(|line| serde_json::from_str(line).expect("a row of the collection"))
        .collect()
}

fn dielectric(family: Option<&str>) -> Option<Dielectric> {
    family.and_then(dielectric_of)
}

/// What is wrong with the answer to a row, if anything is.
fn fault(row: &Row) -> Option<String> {
    let rating = Rating::new(farads(row.c_farad), volts(row.u_volt)).expect("a rating");
    let answer = read(&row.phrase, &rating, dielectric(row.family.as_deref()));
    match (&row.expect, answer) {
        (Expected { ambiguous_reason: Some(_), .. }, Answer::Question(_)) => None,
        (Expected { ambiguous_reason: Some(reason), .. }, Answer::Limits(printed)) => {
            Some(format!("not asked ({reason}): {}", printed.limits[0]))
        }
        (_, Answer::Question(question)) => Some(format!("asked: {question:?}")),
        (expect, Answer::Limits(printed)) => {
            let fits = printed.limits.iter().any(|limit| {
                let current = limit.current(&rating).expect("a current").value;
                let wanted = expect.limit_ampere.expect("a limit");
                let near = (current / wanted - 1.0).abs() < 1e-3;
                let time = limit.reading_time.map(|time| time.value) == expect.reading_time_s;
                let celsius =
                    limit.reference.map(crate::quantity::Celsius::degrees) == expect.ref_temp_c;
                near && time && celsius
            });
            (!fits).then(|| format!("wrong: {:?}", printed.limits))
        }
    }
}

#[test]
fn every_row_of_the_collection_is_right_or_asked() {
    let rows = rows();
    assert_eq!(rows.len(), 220);
    let faults: Vec<String> = rows
        .iter()
        .filter_map(|row| Some(format!("{} {}\n    {}", row.id, row.phrase, fault(row)?)))
        .collect();
    assert!(faults.is_empty(), "{} faults\n{}", faults.len(), faults.join("\n"));
}
