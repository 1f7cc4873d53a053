//! A population of virtual parts through the real plan, procedure and judge, against the truth.
//!
//! `cargo run --release --example population` draws parts of every family, sound and faulty, with
//! instruments of several kinds, and runs each twice: to its full reading time, and with an early
//! end. The physics is that of these files alone and lies outside the model that the judge fits:
//! branches of absorption that are no power law, re-forming, stretched exponentials, drift, bursts,
//! late climbers, beating hum, pauses and lost readings, a room that swings.
//!
//! Options: `--parts N`, `--seed N`, `--family TAG`; `--show INDEX` tells the run of one part of the
//! study, `--try INDEX` that of one lost contact.

mod absorption;
mod bench;
mod catalogue;
mod circuit;
mod conduction;
mod dice;
mod faults;
mod foresight;
mod grade;
mod lists;
#[cfg(test)]
mod promises;
mod specimen;
mod station;
mod statistics;
mod study;
mod tables;
mod trial;
mod truth;

use std::io::Write;
use std::process::ExitCode;

use reststrom::part::Family;

use crate::study::Study;
use crate::trial::Case;

const OPTIONS: &str = "--parts, --seed, --family, --show or --try";

/// What the command line asks for.
struct Options {
    parts: u64,
    seed: u64,
    family: Option<Family>,
    show: Option<u64>,
    contact: Option<u64>,
}

impl Options {
    fn read(mut words: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut options = Self { parts: 100_000, seed: 1, family: None, show: None, contact: None };
        while let Some(option) = words.next() {
            let value = words.next().ok_or(format!("expected a value after {option}"))?;
            let number =
                value.parse::<u64>().map_err(|_| format!("expected a number, came {value:?}"));
            match option.as_str() {
                "--parts" => options.parts = number?,
                "--seed" => options.seed = number?,
                "--show" => options.show = Some(number?),
                "--try" => options.contact = Some(number?),
                "--family" => options.family = Some(family(&value)?),
                _ => return Err(format!("expected one of {OPTIONS}, came {option}")),
            }
        }
        Ok(options)
    }
}

/// A family of the catalogue.
fn family(word: &str) -> Result<Family, String> {
    let family = Family::read(word).map_err(|error| error.to_string())?;
    let mut rows = catalogue::rows().into_iter();
    let known = rows.any(|row| row.family == family);
    known.then_some(family).ok_or(format!("the population has no parts of {family}"))
}

fn main() -> ExitCode {
    let mut out = std::io::stdout();
    let written = match Options::read(std::env::args().skip(1)) {
        Ok(options) => report(&options, &mut out),
        Err(message) => {
            eprintln!("{message}");
            return ExitCode::FAILURE;
        }
    };
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("could not write the tables: {error}");
            ExitCode::FAILURE
        }
    }
}

fn report(options: &Options, out: &mut impl Write) -> std::io::Result<()> {
    let mut rows = catalogue::rows();
    rows.retain(|row| options.family.is_none_or(|family| row.family == family));
    let study = Study { seed: options.seed, rows };
    if let Some(index) = options.show {
        writeln!(out, "{:#?}\n{:#?}", study.specimen(index), study.case(index))?;
        return writeln!(out, "{}", study.diary(index).unwrap_or_default());
    }
    if let Some(index) = options.contact {
        return writeln!(out, "{}", study.contact_diary(index).unwrap_or_default());
    }
    let population = study.population(options.parts);
    let cases: Vec<Case> = population.into_iter().flatten().collect();
    let refused = options.parts - u64::try_from(cases.len()).unwrap_or_default();
    writeln!(out, "{} parts, seed {}; {refused} refused by the plan", options.parts, options.seed)?;
    write_verdicts(&study, &cases, out)?;
    section(out, "bad parts by class", &foresight::missed(&cases))?;
    section(out, "late climbers", &foresight::climbers(&cases))?;
    section(out, "forecast against the value read", &foresight::forecasts(&study, &cases))?;
    let trades: Vec<_> = study.trades(options.parts / 5).into_iter().flatten().collect();
    section(
        out,
        "least share of t_r before an early end: late climbers missed, median time",
        &foresight::trades(&study, &trades),
    )?;
    let tries: Vec<_> = study.contacts(options.parts * 13 / 10).into_iter().flatten().collect();
    section(out, "empty clips and lost contacts", &lists::contacts(&study, &tries))
}

fn write_verdicts(study: &Study, cases: &[Case], out: &mut impl Write) -> std::io::Result<()> {
    let (full, early): (tables::Which, tables::Which) = (|case| &case.full, |case| &case.early);
    section(
        out,
        "truth against verdict, full reading time",
        &tables::confusion(study, cases, full),
    )?;
    section(out, "false verdicts, full reading time", &tables::rates(study, cases, full))?;
    section(out, "why good parts are not within", &tables::reasons(study, cases, full))?;
    section(out, "passed and must not, full reading time", &lists::passed(study, cases, full))?;
    section(out, "over and good, full reading time", &lists::thrown_away(study, cases, full))?;
    section(out, "false verdicts, early end", &tables::rates(study, cases, early))?;
    section(out, "passed and must not, early end", &lists::passed(study, cases, early))?;
    section(out, "early end: share of t_r until the soak ends", &foresight::early(study, cases))
}

fn section(out: &mut impl Write, title: &str, text: &str) -> std::io::Result<()> {
    writeln!(out, "\n== {title}\n{text}")
}
