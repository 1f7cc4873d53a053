//! How many printed lines a second the reader takes: all phrases of the collection, over and over.

use divan::counter::ItemsCount;
use reststrom::part::sheet::{self, Answer};
use reststrom::part::{Dielectric, Rating};
use reststrom::quantity::{farads, volts};

const PHRASES: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/limit-phrases.jsonl"));

struct Line {
    phrase: String,
    rating: Rating,
    dielectric: Option<Dielectric>,
}

fn lines() -> Vec<Line> {
    let line = |text: &str| {
        let row: serde_json::Value = serde_json::from_str(text).expect("a row of the collection");
        let number = |name: &str| row[name].as_f64().expect("a number");
        Line {
            phrase: row["phrase"].as_str().expect("a phrase").to_owned(),
            rating: Rating::new(farads(number("c_farad")), volts(number("u_volt")))
                .expect("a rating"),
            dielectric: row["family"].as_str().and_then(sheet::dielectric_of),
        }
    };
    PHRASES.lines().map(line).collect()
}

/// Reads every phrase once.
#[divan::bench]
fn all_phrases(bencher: divan::Bencher<'_, '_>) {
    let lines = lines();
    bencher.counter(ItemsCount::new(lines.len())).bench(|| {
        lines
            .iter()
            .filter(|line| {
                let answer = sheet::read(&line.phrase, &line.rating, line.dielectric);
                matches!(answer, Answer::Limits(_))
            })
            .count()
    });
}

fn main() {
    divan::main();
}
