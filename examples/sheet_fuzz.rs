//! Throws invented lines at the reader of printed limits and says how many it took.
//!
//! `cargo run --release --example sheet_fuzz -- 10000000 1` reads ten million lines from seed 1. The
//! lines are phrases of the collection with signs lost, doubled, swapped or put in, pieces of phrases
//! glued together, and plain noise. A panic or a line that takes a second ends it with a failure.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use reststrom::part::sheet::{self, Answer};
use reststrom::part::{Dielectric, Rating};
use reststrom::quantity::{farads, volts};

const PHRASES: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/limit-phrases.jsonl"));

/// A line takes some microseconds; this is a hang.
const HANG: Duration = Duration::from_secs(1);

/// A generator of numbers that needs nothing else and can be repeated: xorshift.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, end: usize) -> usize {
        let end = u64::try_from(end.max(1)).unwrap_or(1);
        usize::try_from(self.roll() % end).unwrap_or(0)
    }
}

fn phrases() -> Vec<Vec<char>> {
    PHRASES
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .filter_map(|row| Some(row["phrase"].as_str()?.chars().collect()))
        .collect()
}

fn sign(dice: &mut Dice, phrases: &[Vec<char>]) -> char {
    match dice.below(4) {
        0 => char::from_u32(u32::try_from(dice.roll() % 0x11_0000).unwrap_or(0)).unwrap_or('x'),
        1 => char::from(u8::try_from(dice.roll() % 128).unwrap_or(b'x')),
        _ => {
            let phrase = &phrases[dice.below(phrases.len())];
            phrase.get(dice.below(phrase.len())).copied().unwrap_or('C')
        }
    }
}

fn line(dice: &mut Dice, phrases: &[Vec<char>]) -> String {
    if dice.below(10) == 0 {
        return (0..dice.below(200)).map(|_| sign(dice, phrases)).collect();
    }
    let mut signs = phrases[dice.below(phrases.len())].clone();
    if dice.below(3) == 0 {
        let other = &phrases[dice.below(phrases.len())];
        let (cut, from) = (dice.below(signs.len() + 1), dice.below(other.len() + 1));
        signs.truncate(cut);
        signs.extend_from_slice(&other[from..]);
    }
    for _ in 0..dice.below(5) {
        let at = dice.below(signs.len());
        match dice.below(4) {
            0 if !signs.is_empty() => drop(signs.remove(at)),
            1 => signs.insert(at, sign(dice, phrases)),
            2 if 1 < signs.len() => {
                let other = dice.below(signs.len());
                signs.swap(at, other);
            }
            _ if !signs.is_empty() => signs[at] = sign(dice, phrases),
            _ => {}
        }
    }
    signs.into_iter().collect()
}

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1);
    let count: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(1_000_000);
    let seed: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(1);
    let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let phrases = phrases();
    let ratings: Vec<Rating> =
        [(1e-9, 50.0), (1e-7, 250.0), (1e-6, 63.0), (1e-4, 63.0), (1e-2, 450.0)]
            .into_iter()
            .filter_map(|(capacitance, voltage)| {
                Rating::new(farads(capacitance), volts(voltage)).ok()
            })
            .collect();
    let dielectrics = [None, Some(Dielectric::WetAluminium), Some(Dielectric::CeramicTwo)];
    let (mut answered, mut slowest) = (0_u64, Duration::ZERO);
    for _ in 0..count {
        let text = line(&mut dice, &phrases);
        let rating = &ratings[dice.below(ratings.len())];
        let begun = Instant::now();
        let answer = sheet::read(&text, rating, dielectrics[dice.below(dielectrics.len())]);
        slowest = slowest.max(begun.elapsed());
        answered += u64::from(matches!(answer, Answer::Limits(_)));
        if HANG < slowest {
            eprintln!("took {slowest:?}: {text:?}");
            return ExitCode::FAILURE;
        }
    }
    eprintln!("{count} lines, {answered} answered, the rest asked; slowest {slowest:?}");
    ExitCode::SUCCESS
}
