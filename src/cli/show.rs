//! `show`: one run, as a page, as JSON or as its readings.

use super::failure::Failure;
use super::{Exit, RecordArgument, screen};
use crate::quantity::{farads, text, volts};
use crate::record::{Flags, Record, RecordedCurrent, Row, Run, RunId};
use crate::report::object::RunObject;

/// Arguments of `show`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The run, such as r17
    #[arg(value_name = "RUN")]
    run: String,
    #[command(flatten)]
    record: RecordArgument,
    /// Print it as JSON
    #[arg(long, conflicts_with = "readings")]
    json: bool,
    /// Print its readings instead
    #[arg(long, value_name = "FORM")]
    readings: Option<Form>,
}

/// How readings are printed.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Form {
    /// Comma-separated values with a head, RFC 4180.
    Csv,
}

/// Reads a run's id.
pub(crate) fn run_id(text: &str) -> Result<RunId, Failure> {
    text.parse().map_err(|error: crate::record::RunIdError| {
        Failure::usage(error.to_string(), "`reststrom runs` lists the runs on record")
    })
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let record = Record::open_for_reading(arguments.record.path()?)?;
    let run = record.run(run_id(&arguments.run)?)?;
    match arguments.readings {
        Some(Form::Csv) => csv(&record, run.id)?,
        None if arguments.json => screen::tell_json(&RunObject::of(&run)),
        None => screen::tell(&page(&run)),
    }
    Ok(Exit::Within)
}

fn csv(record: &Record, id: RunId) -> Result<(), Failure> {
    screen::tell("time_second,ampere,volt,range,flags,phase\r\n");
    let mut block = String::new();
    record.for_each_reading(id, |row| {
        block.push_str(&line(&row));
        if 1 << 16 < block.len() {
            screen::tell(&block);
            block.clear();
        }
    })?;
    screen::tell(&block);
    Ok(())
}

/// One reading; an overload or a missing number is an empty field with a flag that says so.
fn line(row: &Row) -> String {
    let (ampere, mark) = match row.current {
        RecordedCurrent::Value(current) => (format!("{:e}", current.value), None),
        RecordedCurrent::Overload { negative: false } => (String::new(), Some("overload")),
        RecordedCurrent::Overload { negative: true } => (String::new(), Some("negative-overload")),
        RecordedCurrent::NotANumber => (String::new(), Some("not-a-number")),
    };
    let flags = [
        (row.flags.contains(Flags::IN_WINDOW), "in-window"),
        (row.flags.contains(Flags::SETTLING), "settling"),
        (row.flags.contains(Flags::LATE), "late"),
    ];
    let flags = flags.into_iter().filter_map(|(set, name)| set.then_some(name)).chain(mark);
    let volt = row.voltage.map(|voltage| format!("{}", voltage.value)).unwrap_or_default();
    let range = row.range.map(|range| format!("{:e}", range.value)).unwrap_or_default();
    let flags = flags.collect::<Vec<_>>().join(" ");
    format!("{},{ampere},{volt},{range},{flags},{}\r\n", row.time.value, row.phase)
}

/// The page of a run.
pub(crate) fn page(run: &Run) -> String {
    let object = RunObject::of(run);
    let simulated = if object.simulated { "  (simulated)" } else { "" };
    let rated = format!(
        "{} {} {} {}",
        object.part.name,
        text::capacitance(run.begun.capacitance),
        text::voltage(run.begun.rated),
        object.part.family
    );
    let mut lines = vec![
        ("run", format!("{}{simulated}", object.run)),
        ("part", rated.trim().to_owned()),
        ("verdict", format!("{} ({})", object.verdict.to_uppercase(), object.findings.join(", "))),
        ("reading", object.reading()),
        ("limit", limit_line(run, &object)),
    ];
    if let Some(volt) = object.voltage_at_part_volt {
        lines.push(("voltage", format!("{} at the part or more", text::voltage(volts(volt)))));
    }
    if let Some(farad) = object.measured_capacitance_farad {
        lines.push(("capacitance", format!("{} by charge", text::capacitance(farads(farad)))));
    }
    lines.push(("left", object.left.unwrap_or("unknown").to_owned()));
    lines.push(("station", format!("{}, {}", object.station, object.started)));
    for instrument in &run.begun.instruments {
        lines.push(("instrument", format!("{}: {}", instrument.role, instrument.identity)));
    }
    let lines: Vec<String> =
        lines.iter().map(|(name, value)| format!("{name:<13}{value}")).collect();
    format!("{}\n\n{}\n", lines.join("\n"), object.advice)
}

fn limit_line(run: &Run, object: &RunObject) -> String {
    run.begun.limit.as_ref().map_or_else(
        || "none".into(),
        |limit| format!("{}, {} ({})", object.limit(), limit.rule, limit.source),
    )
}
