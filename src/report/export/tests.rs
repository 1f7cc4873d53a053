//! What is handed on says the same as the record, and comes back whole.

use ::csv::ReaderBuilder;
use ::parquet::file::reader::{FileReader, SerializedFileReader};
use ::parquet::record::RowAccessor;
use tempfile::TempDir;

use super::csv::{Decimal, HEADER};
use super::*;
use crate::judge::{Finding, HighestWithin, Left, Source, Verdict};
use crate::plan::{Kind, Phase};
use crate::quantity::{amperes, coulombs, farads, seconds, volts};
use crate::record::{
    Component, Ending, EventRow, FormedOnRecord, MeasuredCurrent, NewRun, RunFilter, RunState,
    StairOnRecord, StaircaseOnRecord,
};
use crate::report::example;

fn current(nanoampere: f64) -> MeasuredCurrent {
    MeasuredCurrent {
        value: amperes(nanoampere * 1e-9),
        raw: amperes(nanoampere * 0.93e-9),
        uncertainty: amperes(11e-9),
        at: seconds(300.0),
    }
}

/// An end of which nothing is left out.
fn ending() -> Ending {
    let highest =
        HighestWithin { within: Some(volts(20.0)), beyond: Some(volts(22.5)), estimate: None };
    let step = StairOnRecord {
        voltage: volts(20.0),
        verdict: Verdict::Within,
        current: Some(current(170.0)),
    };
    Ending {
        verdict: Verdict::Within,
        findings: vec![Finding::Settled, Finding::AlreadyCharged],
        current: Some(current(193.0)),
        budget: vec![Component { source: Source::Meter, uncertainty: amperes(5.6e-9) }],
        voltage_at_part: Some(volts(24.98)),
        measured_capacitance: Some(farads(21.4e-6)),
        capacitance_uncertainty: Some(farads(0.2e-6)),
        peak_current: Some(amperes(2.1e-3)),
        staircase: Some(StaircaseOnRecord { steps: vec![step], highest }),
        formed: Some(FormedOnRecord {
            before: amperes(4e-4),
            after: amperes(9e-6),
            charge: coulombs(0.21),
            good: true,
        }),
        left: Left::Safe,
        advice: "Keep it, \"as is\", as far as leakage goes.".into(),
        ended: "2026-03-14T08:22:00Z".parse().unwrap(),
        full_voltage_at: Some(seconds(25.1)),
    }
}

fn row(sequence: u32) -> Row {
    let current = match sequence {
        3 => RecordedCurrent::Overload { negative: false },
        4 => RecordedCurrent::Overload { negative: true },
        5 => RecordedCurrent::NotANumber,
        _ => RecordedCurrent::Value(amperes(1.79e-7 / f64::from(sequence + 1))),
    };
    Row {
        sequence,
        time: seconds(0.1 * f64::from(sequence)),
        wall: "2026-03-14T08:15:00.125Z".parse().unwrap(),
        current,
        voltage: (sequence != 6).then(|| volts(24.9)),
        range: (sequence != 7).then(|| amperes(1e-4)),
        flags: if sequence == 8 { Flags::IN_WINDOW | Flags::LATE } else { Flags::NONE },
        phase: if sequence < 9 { Phase::Soak } else { Phase::Bleed },
    }
}

/// A record with a run of ten readings that ended, and one that was found interrupted.
fn filled() -> (TempDir, Record, Vec<RunId>) {
    let folder = tempfile::tempdir().unwrap();
    let mut record = Record::open(folder.path().join("record.db")).unwrap();
    let first = record.begin(&example::begun()).unwrap();
    record.append(first, &(0..10).map(row).collect::<Vec<_>>()).unwrap();
    let event = EventRow {
        time: seconds(25.1),
        wall: "2026-03-14T08:15:25Z".parse().unwrap(),
        kind: "phase".into(),
        text: "soak".into(),
    };
    record.event(first, &event).unwrap();
    record.finish(first, &ending()).unwrap();
    let begun = NewRun { part_name: "C12".into(), kind: Kind::Staircase, ..example::begun() };
    let second = record.begin(&begun).unwrap();
    record.mark_interrupted(second, begun.started, "the mains failed").unwrap();
    (folder, record, vec![first, second])
}

#[test]
fn a_csv_says_its_units_and_reads_back_to_the_last_digit() {
    let (folder, record, runs) = filled();
    let path = folder.path().join("runs.csv");
    assert_eq!(csv::write(&record, &runs, Decimal::Point, &path).unwrap(), 10);
    let text = std::fs::read_to_string(&path).unwrap();
    assert!(text.lines().count() == 11 && text.matches("\r\n").count() == 11, "{text}");
    let mut reader = ReaderBuilder::new().from_reader(text.as_bytes());
    assert_eq!(reader.headers().unwrap(), HEADER.as_slice());
    let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    for (number, cells) in (0..).zip(&rows) {
        let ampere: Option<f64> = cells[4].parse().ok();
        assert_eq!(ampere, super::ampere(&row(number)), "{cells:?}");
    }
    assert_eq!(
        (&rows[3][7], &rows[4][7], &rows[5][7]),
        ("overload", "negative-overload", "not-a-number")
    );
    assert_eq!((&rows[8][7], &rows[8][8], &rows[9][8]), ("in-window late", "soak", "bleed"));
    assert_eq!((&rows[6][5], &rows[7][6], &rows[0][3]), ("", "", "1773476100125"));
}

#[test]
fn a_decimal_comma_goes_with_semicolons() {
    let (folder, record, runs) = filled();
    let path = folder.path().join("runs.csv");
    csv::write(&record, &runs, Decimal::Comma, &path).unwrap();
    let text = std::fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().nth(2), Some("r1;1;0,1;1773476100125;8,95e-8;24,9;0,0001;;soak"));
    assert!(!text.lines().skip(1).any(|line| line.contains('.')), "{text}");
}

#[test]
fn a_table_for_engines_holds_readings_and_in_its_notes_the_runs() {
    let (folder, record, runs) = filled();
    let path = folder.path().join("runs.parquet");
    assert_eq!(parquet::write(&record, &runs, &path).unwrap(), 10);
    let reader = SerializedFileReader::new(File::open(&path).unwrap()).unwrap();
    let notes = reader.metadata().file_metadata().key_value_metadata().unwrap();
    let objects = notes.iter().find(|note| note.key == parquet::RUNS).unwrap();
    let objects: serde_json::Value = serde_json::from_str(objects.value.as_ref().unwrap()).unwrap();
    assert_eq!((&objects[0]["run"], &objects[1]["state"]), (&"r1".into(), &"interrupted".into()));
    let rows: Vec<::parquet::record::Row> =
        reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 10);
    for (number, found) in (0..).zip(&rows) {
        assert_eq!(found.get_double(4).ok(), super::ampere(&row(number)));
    }
    assert_eq!(rows[3].get_string(7).unwrap(), "overload");
    assert_eq!(rows[9].get_string(9).unwrap(), "bleed");
    assert!((rows[2].get_double(2).unwrap() - 0.2).abs() < 1e-12);
}

#[test]
fn what_json_lines_hold_comes_back_as_it_was() {
    let (folder, record, runs) = filled();
    let path = folder.path().join("runs.jsonl");
    assert_eq!(jsonl::write(&record, &runs, &path).unwrap(), 10);
    let mut other = Record::open(folder.path().join("other.db")).unwrap();
    other.begin(&NewRun { part_name: "C1".into(), ..example::begun() }).unwrap();
    let taken = import::read(&mut other, &path).unwrap();
    assert!(taken.iter().all(|run| !run.known), "{taken:?}");
    for (there, here) in runs.iter().zip(taken.iter().map(|run| run.here)) {
        let (one, two) = (record.run(*there).unwrap(), other.run(here).unwrap());
        assert_eq!((&one.begun, &one.state), (&two.begun, &two.state));
        let rows = |record: &Record, id| record.readings_after(id, None, 100).unwrap();
        assert_eq!(rows(&record, *there), rows(&other, here));
        assert_eq!(record.events(*there).unwrap(), other.events(here).unwrap());
    }
    let again = import::read(&mut other, &path).unwrap();
    assert!(again.iter().all(|run| run.known), "{again:?}");
    assert_eq!(other.runs(&RunFilter::default()).unwrap().len(), 3);
}

#[test]
fn a_run_that_was_open_goes_on_nowhere_else() {
    let (folder, mut record, _) = filled();
    let open = record.begin(&NewRun { part_name: "C13".into(), ..example::begun() }).unwrap();
    let path = folder.path().join("runs.jsonl");
    jsonl::write(&record, &[open], &path).unwrap();
    let mut other = Record::open(folder.path().join("other.db")).unwrap();
    let taken = import::read(&mut other, &path).unwrap();
    assert!(matches!(other.run(taken[0].here).unwrap().state, RunState::Interrupted { .. }));
    assert_eq!(other.open_runs("skarvik-bench").unwrap(), []);
}

#[test]
fn a_broken_file_is_refused_with_its_line_and_nothing_is_taken() {
    let (folder, record, runs) = filled();
    let path = folder.path().join("runs.jsonl");
    jsonl::write(&record, &runs, &path).unwrap();
    let good = std::fs::read_to_string(&path).unwrap();
    let mut other = Record::open(folder.path().join("other.db")).unwrap();
    let cases = [
        (
            good.replace("\"phase\":\"bleed\"", "\"phase\":\"nap\""),
            "line 13: phase: \"nap\" is not known",
        ),
        (good.replace("\"volt\":24.9", "\"volts\":24.9"), "line 4: unknown field `volts`"),
        (good.replacen("\"version\":1", "\"version\":9", 1), "line 1: version 9, expected 1"),
        (good.lines().skip(1).collect::<Vec<_>>().join("\n"), "line 1: expected the head"),
        (String::new(), "line 0: the file is empty"),
    ];
    for (text, expected) in cases {
        std::fs::write(&path, text).unwrap();
        let error = import::read(&mut other, &path).unwrap_err().to_string();
        assert!(error.contains(expected), "{error}");
        assert_eq!(other.runs(&RunFilter::default()).unwrap(), []);
    }
}

#[test]
fn a_file_that_cannot_be_written_leaves_no_half_one() {
    let (folder, record, runs) = filled();
    let path = folder.path().join("runs.csv");
    let gone = "r99".parse().unwrap();
    assert!(csv::write(&record, &[runs[0], gone], Decimal::Point, &path).is_err());
    assert!(parquet::write(&record, &[runs[0], gone], &path).is_err());
    assert!(!path.exists() && !folder.path().join("runs.csv.part").exists());
}
