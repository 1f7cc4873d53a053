//! `show`: one run, as a page, as JSON or as its readings.

mod kinds;

use std::path::{Path, PathBuf};

use super::failure::{Failure, chain};
use super::table::table;
use super::{Exit, RecordArgument, screen};
use crate::judge::{Left, Source};
use crate::quantity::{amperes, celsius, farads, text, volts};
use crate::record::{Flags, Record, RecordedCurrent, Row, Run, RunId};
use crate::report;
use crate::report::object::{ComponentObject, RunObject};
use crate::report::run_sheet::{self, Sheet};

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
    /// Write its sheet to this file, to be read in a browser, printed or handed on
    #[arg(long, value_name = "FILE.html", conflicts_with_all = ["json", "readings"])]
    sheet: Option<PathBuf>,
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
    let record = arguments.record.open_to_look()?;
    let run = record.run(run_id(&arguments.run)?)?;
    if let Some(path) = &arguments.sheet {
        sheet(&record, &run, path)?;
        return Ok(Exit::Within);
    }
    match arguments.readings {
        Some(Form::Csv) => csv(&record, run.id)?,
        None if arguments.json => screen::tell_json(&RunObject::of(&run)),
        None => screen::tell(&page(&run)),
    }
    Ok(Exit::Within)
}

fn sheet(record: &Record, run: &Run, path: &Path) -> Result<(), Failure> {
    let zero = record.zero_before(&run.begun.station, run.begun.started)?;
    let curve = report::curve(record, run)?;
    let page = run_sheet::page(&Sheet { run, curve: &curve, zero: zero.as_ref() })
        .map_err(|error| Failure::new(Exit::Fault, chain(&error), "see the reason"))?;
    std::fs::write(path, page).map_err(|error| {
        Failure::usage(
            format!("{}: {error}", path.display()),
            "name a file that can be written with --sheet",
        )
    })?;
    screen::tell(&format!("written: {}\n", path.display()));
    Ok(())
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
        ("run", format!("{}  {}{simulated}", object.run, object.kind)),
        ("part", rated.trim().to_owned()),
        ("verdict", format!("{} ({})", object.verdict.to_uppercase(), object.findings.join(", "))),
        ("reading", reading_line(run, &object)),
        ("limit", limit_line(run, &object)),
    ];
    if let Some(volt) = object.voltage_at_part_volt {
        lines.push((
            "voltage",
            format!("never below {} at the part while it was read", text::voltage(volts(volt))),
        ));
    }
    if let Some(farad) = object.measured_capacitance_farad {
        let measured = match object.capacitance_uncertainty_farad {
            Some(uncertainty) => {
                text::capacitance_with_uncertainty(farads(farad), farads(uncertainty))
            }
            None => text::capacitance(farads(farad)),
        };
        lines.push(("capacitance", format!("{measured} by charge")));
    }
    if let Some(circuit) = &object.in_circuit {
        lines.push(("in circuit", format!("{}: {}", circuit.duty, circuit.says)));
    }
    lines.extend(kinds::lines(run));
    lines.push(("left", left(run).to_owned()));
    lines.push(("station", format!("{}, {}", object.station, object.started)));
    for instrument in &run.begun.instruments {
        lines.push(("instrument", format!("{}: {}", instrument.role, instrument.identity)));
    }
    let lines: Vec<String> =
        lines.iter().map(|(name, value)| format!("{name:<13}{value}")).collect();
    let (steps, budget) = (kinds::steps(run), budget(run, &object));
    format!("{}\n{steps}{budget}\n{}\n", lines.join("\n"), object.advice)
}

/// How the part was left, for whoever is about to touch it.
fn left(run: &Run) -> &'static str {
    match run.left() {
        Some(Left::Safe) => "safe: measured discharged",
        Some(Left::LockedOut) => "locked-out: NOT proven discharged, do not touch",
        None => "not known: treat it as charged",
    }
}

/// The reading that was judged, and what it was before it was carried to the limit's temperature.
fn reading_line(run: &Run, object: &RunObject) -> String {
    let Some(current) = &object.current else { return object.reading() };
    let reference = object.limit.as_ref().and_then(|limit| limit.reference_celsius);
    match (run.begun.conditions.room, reference) {
        (Some(room), Some(reference)) => format!(
            "{} at {}; {} as read at {room}",
            object.reading(),
            text::temperature_celsius(celsius(reference)),
            text::current(amperes(current.raw_ampere)),
        ),
        _ => object.reading(),
    }
}

/// What the uncertainty is made of, largest first, and what would make the largest smaller.
fn budget(run: &Run, object: &RunObject) -> String {
    let Some(largest) = object.budget.first() else { return String::new() };
    let confidence = run.begun.conditions.confidence;
    let squares: f64 = object.budget.iter().map(|one| one.standard_ampere.powi(2)).sum();
    let assumed = object.room.as_ref().is_some_and(|room| !room.told);
    let row = |component: &ComponentObject| {
        let share = component.standard_ampere.powi(2) / squares * 100.0;
        let share = if share < 0.5 { "< 1 %".into() } else { format!("{share:.0} %") };
        let room = component.source == Source::RoomTemperature.tag();
        let note = if room && assumed { "assumed" } else { "" };
        let standard = text::current(rounded(component.standard_ampere));
        vec![component.source.into(), standard, share, note.into()]
    };
    let rows: Vec<Vec<String>> = object.budget.iter().map(row).collect();
    let listed = table(&["uncertainty", "standard", "share", ""], &rows);
    let listed: Vec<&str> = listed.lines().map(str::trim_end).collect();
    format!(
        "\n{}\n{:.2} times the root of their squares is the ± at {confidence}. The largest shrinks with {}.\n",
        listed.join("\n"),
        confidence.coverage(),
        largest.remedy
    )
}

/// A component to two significant digits: it is not known to more.
fn rounded(ampere: f64) -> crate::quantity::Current {
    let place = 10_f64.powf(ampere.abs().log10().floor() - 1.0);
    amperes((ampere / place).round() * place)
}

fn limit_line(run: &Run, object: &RunObject) -> String {
    run.begun.limit.as_ref().map_or_else(
        || "none".into(),
        |limit| format!("{}, {} ({})", object.limit(), limit.rule, limit.source),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Finding, Verdict};
    use crate::part::Room;
    use crate::quantity::{Confidence, seconds};
    use crate::record::{
        Component, Conditions, Ending, LimitOnRecord, MeasuredCurrent, NewRun, RunState,
    };

    /// The worked example of handbook §3.12, as a run on record.
    fn worked_example(room: Room) -> Run {
        let current = |nanoampere: f64| amperes(nanoampere * 1e-9);
        let component = |source, nanoampere| Component { source, uncertainty: current(nanoampere) };
        let begun = NewRun {
            station: "skarvik-bench".into(),
            simulated: false,
            lapse: 1.0,
            kind: crate::plan::Kind::Soak,
            follows: None,
            place: None,
            part_name: "C14".into(),
            family_tag: "ta-mno2".into(),
            capacitance: farads(10e-6),
            tolerance: None,
            rated: volts(16.0),
            test_voltage: volts(16.0),
            limit: Some(LimitOnRecord {
                current: amperes(1.6e-6),
                rule: "0.01CU floor 500 nA".into(),
                source: "as typed".into(),
                reading_time: Some(seconds(300.0)),
                reference_celsius: Some(25.0),
            }),
            conditions: Conditions {
                room: Some(room),
                duty: Some("coupling into 470 kΩ".into()),
                ..Conditions::default()
            },
            plan_json: "{}".into(),
            instruments: Vec::new(),
            software: "reststrom".into(),
            started: "2026-03-14T08:15:00Z".parse().unwrap(),
        };
        let ending = Ending {
            verdict: Verdict::Within,
            findings: vec![Finding::Settled],
            current: Some(MeasuredCurrent {
                value: current(1296.0),
                raw: current(1200.0),
                uncertainty: current(41.0 * Confidence::USUAL.coverage()),
                at: seconds(300.0),
            }),
            budget: vec![
                component(Source::RoomTemperature, 26.67),
                component(Source::TemperatureLaw, 26.0),
                component(Source::Voltage, 15.6),
                component(Source::Scatter, 5.0),
                component(Source::Meter, 2.1),
            ],
            voltage_at_part: Some(volts(15.99)),
            measured_capacitance: None,
            capacitance_uncertainty: None,
            peak_current: None,
            staircase: None,
            formed: None,
            left: Left::Safe,
            advice: "Keep it.".into(),
            ended: "2026-03-14T08:22:00Z".parse().unwrap(),
            full_voltage_at: Some(seconds(15.0)),
        };
        let state = RunState::Ended(Box::new(ending));
        Run { id: "r17".parse().unwrap(), begun, state }
    }

    #[test]
    fn a_page_shows_what_the_uncertainty_is_made_of() {
        let room = Room { tolerance: 1.0, ..Room::ASSUMED };
        insta::assert_snapshot!(page(&worked_example(room)), @r#"
    run          r17  soak
    part         C14 10 µF 16 V ta-mno2
    verdict      WITHIN (settled)
    reading      1.30 ± 0.08 µA at 25 °C; 1.2 µA as read at 23 °C ± 1 K (assumed)
    limit        1.6 µA at 5 min, 0.01CU floor 500 nA (as typed)
    voltage      never below 15.99 V at the part while it was read
    in circuit   coupling into 470 kΩ: shifts the bias by 609.1 mV; up to 1 % of the bias or of the signal does no harm
    left         safe: measured discharged
    station      skarvik-bench, 2026-03-14T08:15:00Z

    uncertainty       standard  share
    room-temperature  27 nA     43 %   assumed
    temperature-law   26 nA     41 %
    voltage           16 nA     15 %
    scatter           5 nA      2 %
    meter             2.1 nA    < 1 %
    1.96 times the root of their squares is the ± at 95 %. The largest shrinks with a thermometer at the part: say what it reads, such as --room "23C ±0.5K".

    Keep it.
    "#);
    }

    #[test]
    fn a_part_that_nobody_saw_empty_counts_as_charged() {
        let run = worked_example(Room::ASSUMED);
        let page = page(&Run { state: RunState::Open, ..run });
        assert!(page.contains("left         not known: treat it as charged"), "{page}");
    }

    #[test]
    fn a_room_that_somebody_told_is_not_called_assumed() {
        let page = page(&worked_example(Room::read("23C ±1K").unwrap()));
        assert!(page.contains("at 23 °C ± 1 K\n") && !page.contains("assumed"), "{page}");
    }
}
