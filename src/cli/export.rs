//! `export` and `import`: runs handed on as tables, or whole to another record.

use std::path::{Path, PathBuf};

use super::failure::{Failure, chain};
use super::show::run_id;
use super::{Exit, RecordArgument, screen};
use crate::record::{Record, RunFilter, RunId};
use crate::report::export::csv::Decimal;
use crate::report::export::import::Taken;
use crate::report::export::{ExportError, csv, import, jsonl, parquet};

/// Arguments of `export`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The runs, such as r17 [default: all on record]
    #[arg(value_name = "RUN")]
    runs: Vec<String>,
    #[command(flatten)]
    record: RecordArgument,
    /// The file; its ending says the form: .csv, .jsonl or .parquet
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write CSV for spreadsheets that expect a decimal comma: cells are then parted by semicolons
    #[arg(long)]
    decimal_comma: bool,
    /// Write over a file that is there
    #[arg(long)]
    overwrite: bool,
}

/// Arguments of `import`.
#[derive(Debug, clap::Args)]
pub(crate) struct ImportArguments {
    /// A file that `export` wrote, ending in .jsonl
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    record: RecordArgument,
}

/// How runs are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Csv,
    JsonLines,
    Parquet,
}

impl Form {
    fn of(path: &Path) -> Result<Self, Failure> {
        let ending = path.extension().unwrap_or_default().to_string_lossy().to_ascii_lowercase();
        match ending.as_str() {
            "csv" => Ok(Self::Csv),
            "jsonl" => Ok(Self::JsonLines),
            "parquet" => Ok(Self::Parquet),
            _ => Err(Failure::usage(
                format!("{}: the ending says no form", path.display()),
                "end the name in .csv or .parquet for a table of readings, .jsonl for everything",
            )),
        }
    }
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let (out, form) = (&arguments.out, Form::of(&arguments.out)?);
    if arguments.decimal_comma && form != Form::Csv {
        return Err(Failure::usage(
            "--decimal-comma is for CSV alone",
            "leave it out, or end the name in .csv",
        ));
    }
    if out.exists() && !arguments.overwrite {
        return Err(Failure::usage(
            format!("{} is there already", out.display()),
            "name another file, or add --overwrite",
        ));
    }
    let record = arguments.record.open_to_look()?;
    let runs = runs(&record, &arguments.runs)?;
    let decimal = if arguments.decimal_comma { Decimal::Comma } else { Decimal::Point };
    let readings = match form {
        Form::Csv => csv::write(&record, &runs, decimal, out),
        Form::JsonLines => jsonl::write(&record, &runs, out),
        Form::Parquet => parquet::write(&record, &runs, out),
    }
    .map_err(|error| failure(&error))?;
    let count = runs.len();
    let noun = if count == 1 { "run" } else { "runs" };
    screen::tell(&format!("written: {}, {readings} readings of {count} {noun}\n", out.display()));
    Ok(Exit::Within)
}

/// The runs that were named, or all, oldest first.
fn runs(record: &Record, words: &[String]) -> Result<Vec<RunId>, Failure> {
    if words.is_empty() {
        let all = record.listing(&RunFilter::default())?;
        return Ok(all.iter().rev().map(|run| run.id).collect());
    }
    let mut runs = Vec::new();
    for word in words {
        let id = run_id(word)?;
        record.run(id)?;
        if !runs.contains(&id) {
            runs.push(id);
        }
    }
    Ok(runs)
}

pub(crate) fn import(arguments: &ImportArguments) -> Result<Exit, Failure> {
    if Form::of(&arguments.file)? != Form::JsonLines {
        return Err(Failure::usage(
            format!(
                "{} is a table of readings: what was planned and judged is not in it",
                arguments.file.display()
            ),
            "`reststrom export --out NAME.jsonl` writes what import can take",
        ));
    }
    let mut record = Record::open(arguments.record.path()?)?;
    let taken = import::read(&mut record, &arguments.file).map_err(|error| failure(&error))?;
    for run in taken.iter().filter(|run| !run.known) {
        record.summarise(run.here)?;
    }
    screen::tell(&told(&taken));
    Ok(Exit::Within)
}

fn told(taken: &[Taken]) -> String {
    let line = |run: &Taken| {
        let known = if run.known { ", on record already" } else { "" };
        format!("{} is {} here{known}\n", run.there, run.here)
    };
    let new = taken.iter().filter(|run| !run.known).count();
    let lines: String = taken.iter().map(line).collect();
    format!("{lines}{new} of {} runs taken in.\n", taken.len())
}

fn failure(error: &ExportError) -> Failure {
    Failure::usage(chain(error), error.help())
}
