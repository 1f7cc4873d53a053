//! Random faults on lines, instruments and leads, in every phase of a run: no wrong verdict, no bench
//! left unsafe, no lost reading.
//!
//! `cargo run --release --example fault_study` sows 100 000 faults from a seed. Each run goes through
//! the shipped drivers' conversations, the procedure and the judge, with bytes and moments on a simulated
//! bench without ports: the same seed gives the same table. One run in sixty-four keeps a real record
//! beside it, which is read afterwards. A violation ends it with a failure.
//!
//! Options: `--faults N`, `--seed N`; `--show RUN` tells one run.

#![expect(
    clippy::wildcard_enum_match_arm,
    reason = "each match is about a few of many kinds of fault"
)]

mod dice;
mod kept;
mod kinds;
mod run;
mod station;
mod study;
mod wire;

use std::io::Write;
use std::process::ExitCode;

use crate::station::Station;
use crate::study::{Study, show};

const OPTIONS: &str = "--faults, --seed or --show";

struct Options {
    faults: usize,
    seed: u64,
    show: Option<u64>,
}

impl Options {
    fn read(mut words: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut options = Self { faults: 100_000, seed: 1, show: None };
        while let Some(option) = words.next() {
            let value = words.next().ok_or(format!("expected a value after {option}"))?;
            let number: u64 =
                value.parse().map_err(|_| format!("expected a number, came {value:?}"))?;
            match option.as_str() {
                "--faults" => options.faults = usize::try_from(number).unwrap_or(usize::MAX),
                "--seed" => options.seed = number,
                "--show" => options.show = Some(number),
                _ => return Err(format!("expected one of {OPTIONS}, came {option}")),
            }
        }
        Ok(options)
    }
}

fn main() -> ExitCode {
    let told = Options::read(std::env::args().skip(1)).and_then(|options| {
        let station = Station::new()?;
        if let Some(run) = options.show {
            return Ok((show(&station, options.seed, run), true));
        }
        let study = Study::of(&station, options.seed, options.faults);
        Ok((study.to_string(), study.is_clean()))
    });
    let (text, clean) = match told {
        Ok((text, clean)) => (text, clean),
        Err(error) => (format!("{error}\n"), false),
    };
    match std::io::stdout().write_all(text.as_bytes()) {
        Ok(()) if clean => ExitCode::SUCCESS,
        Ok(()) | Err(_) => ExitCode::FAILURE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dice::Dice;
    use crate::kinds::{Kind, OnLine, Sown};
    use crate::run::Run;
    use crate::station::{Truth, part};
    use reststrom::judge::{Left, Verdict};
    use reststrom::plan::Phase;
    use reststrom::simbench::Instrument;

    /// Holds for all the kinds of the study, a few of each: the whole study is for the command.
    #[test]
    fn no_fault_on_any_line_gives_a_wrong_verdict_or_an_unsafe_bench() {
        let station = Station::new().unwrap();
        let study = Study::of(&station, 7, 300);
        assert!(study.is_clean(), "{study}");
    }

    /// A soak of ten hours is not lost by one reply: the question is asked again before the instrument
    /// counts as silent.
    #[test]
    fn one_lost_reply_in_the_soak_ends_no_run() {
        let station = Station::new().unwrap();
        for which in [Instrument::Supply, Instrument::Meter] {
            // Later its hole would lie in the window that is judged.
            for tenths in 0..=3 {
                let share = f64::from(tenths) * 0.1;
                let kind = Kind::OnLine(OnLine::Missing);
                let sown = vec![Sown { kind, which, phase: Phase::Soak, share }];
                let ended = Run::new(&station, &part(Truth::Sound), sown, Dice::new(5, 0)).finish();
                assert_eq!(ended.came.len(), 1);
                let outcome = ended.outcome.unwrap();
                let got = (outcome.ruling.verdict, outcome.left);
                assert_eq!(
                    got,
                    (Verdict::Within, Left::Safe),
                    "{which:?} at {share}: {outcome:#?}"
                );
            }
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_table() {
        let station = Station::new().unwrap();
        let table = |seed| Study::of(&station, seed, 20).to_string();
        assert_eq!(table(3), table(3));
        assert_ne!(table(3), table(4));
    }
}
