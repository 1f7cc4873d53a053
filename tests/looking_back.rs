//! Looking back from the command line: pictures, comparisons, exports, the record looked after.

#![expect(clippy::unwrap_used, reason = "what a test's hands find missing fails the test")]

use std::path::Path;
use std::process::{Command, Output};

use jiff::Timestamp;
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Kind, Phase};
use reststrom::quantity::{amperes, farads, seconds, volts};
use reststrom::record::{
    Conditions, Ending, EventRow, Flags, LimitOnRecord, MeasuredCurrent, NewRun, Record,
    RecordedCurrent, Row,
};
use reststrom::report::{Axes, Format};
use serde_json::Value;
use tempfile::TempDir;

/// Three runs of C14 over two years, its leakage rising, and one of its sister C15.
fn filled() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut record = Record::open(folder.path().join("record.db")).unwrap();
    let runs = [
        ("C14", "2024-03-14T08:15:00Z", 150.0),
        ("C14", "2025-03-14T08:15:00Z", 200.0),
        ("C15", "2026-03-14T08:15:00Z", 140.0),
        ("C14", "2026-03-14T09:15:00Z", 250.0),
    ];
    for (part, started, nanoampere) in runs {
        keep(&mut record, part, started.parse().unwrap(), nanoampere * 1e-9);
    }
    folder
}

fn keep(record: &mut Record, part: &str, started: Timestamp, ampere: f64) {
    let id = record.begin(&begun(part, started)).unwrap();
    let row = |sequence: u32| {
        let time = f64::from(sequence) * 0.1;
        let window = (295.0..305.0).contains(&time);
        Row {
            sequence,
            time: seconds(time),
            wall: started,
            current: RecordedCurrent::Value(amperes(ampere + 3e-6 / (time + 1.0))),
            voltage: Some(volts(25.0)),
            range: Some(amperes(1e-4)),
            flags: if window { Flags::IN_WINDOW } else { Flags::NONE },
            phase: Phase::Soak,
        }
    };
    record.append(id, &(0..3100).map(row).collect::<Vec<_>>()).unwrap();
    let event = |text: &str| EventRow {
        time: seconds(0.0),
        wall: started,
        kind: "phase".into(),
        text: text.into(),
    };
    record.event(id, &event("soak")).unwrap();
    record.finish(id, &ended(ampere, started)).unwrap();
}

fn begun(part: &str, started: Timestamp) -> NewRun {
    NewRun {
        station: "skarvik-bench".into(),
        simulated: false,
        lapse: 1.0,
        kind: Kind::Soak,
        follows: None,
        place: None,
        part_name: part.into(),
        family_tag: "ta-mno2".into(),
        capacitance: farads(22e-6),
        tolerance: None,
        rated: volts(25.0),
        test_voltage: volts(25.0),
        limit: Some(LimitOnRecord {
            current: amperes(5.5e-6),
            rule: "0.01CU floor 500 nA".into(),
            source: "as typed".into(),
            reading_time: Some(seconds(300.0)),
            reference_celsius: Some(25.0),
        }),
        conditions: Conditions::default(),
        plan_json: "{}".into(),
        instruments: Vec::new(),
        software: "reststrom".into(),
        started,
    }
}

fn ended(ampere: f64, ended: Timestamp) -> Ending {
    Ending {
        verdict: Verdict::Within,
        findings: vec![Finding::Settled],
        current: Some(MeasuredCurrent {
            value: amperes(ampere),
            raw: amperes(ampere),
            uncertainty: amperes(10e-9),
            at: seconds(300.0),
        }),
        budget: Vec::new(),
        voltage_at_part: Some(volts(25.0)),
        measured_capacitance: None,
        capacitance_uncertainty: None,
        peak_current: None,
        staircase: None,
        formed: None,
        left: Left::Safe,
        advice: "Keep it.".into(),
        ended,
        full_voltage_at: Some(seconds(0.05)),
    }
}

fn run(folder: &TempDir, words: &[&str]) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_reststrom"));
    program.args(words).arg("--record").arg("record.db").current_dir(folder.path());
    program.output().unwrap()
}

#[track_caller]
fn told(folder: &TempDir, words: &[&str]) -> String {
    let output = run(folder, words);
    assert_eq!(output.status.code(), Some(0), "{words:?}: {output:?}");
    String::from_utf8(output.stdout).unwrap()
}

#[track_caller]
fn refused(folder: &TempDir, words: &[&str]) -> String {
    let output = run(folder, words);
    assert_eq!(output.status.code(), Some(64), "{words:?}: {output:?}");
    String::from_utf8(output.stderr).unwrap()
}

fn begins(path: &Path, with: &[u8]) -> bool {
    std::fs::read(path).unwrap().starts_with(with)
}

#[test]
fn several_runs_become_one_picture_or_characters() {
    let folder = filled();
    assert_eq!(told(&folder, &["plot", "r1", "r2", "r4"]), "drawn: r1-r2-r4.png\n");
    assert!(begins(&folder.path().join("r1-r2-r4.png"), b"\x89PNG"));
    told(
        &folder,
        &["plot", "r1", "r3", "--normalise", "limit", "--axes", "linear", "--out", "a.svg"],
    );
    let svg = std::fs::read_to_string(folder.path().join("a.svg")).unwrap();
    assert!(svg.contains(">\nC15 · r3\n</text>") && svg.contains("share of"), "{svg}");
    let text = told(&folder, &["plot", "r4", "--terminal"]);
    assert!(text.contains('◆') && text.contains("r4 C14  within"), "{text}");
    let failure = refused(&folder, &["plot", "r1", "r99"]);
    assert!(failure.contains("r99"), "{failure}");
}

#[test]
fn a_part_is_compared_with_itself_its_sister_and_over_the_years() {
    let folder = filled();
    let text = told(&folder, &["compare", "r4"]);
    assert!(text.contains("earlier  C14 (r4) against C14 (r2) on 2025-03-14"), "{text}");
    assert!(text.contains("sister   C14 (r4) against C15 (r3)"), "{text}");
    assert!(text.ends_with("It leaks like its sisters: 1.8 times its sister.\n"), "{text}");
    // Half-widths of 10 nA at 95 % make 5.1 nA each, 7.2 nA together; 50 nA over that is 6.9.
    let object: Value =
        serde_json::from_str(&told(&folder, &["compare", "r4", "r2", "--json"])).unwrap();
    let count = object["beside"][0]["uncertainties"].as_f64().unwrap();
    assert!((count - 6.93).abs() < 0.01, "{object}");
    let trend = told(&folder, &["runs", "--part", "C14", "--trend"]);
    assert!(trend.contains("over all 3 readings it rises by 50 nA a year"), "{trend}");
}

#[test]
fn runs_are_found_by_date_and_value() {
    let folder = filled();
    let count = |words: &[&str]| told(&folder, &[&["runs"], words].concat()).lines().count() - 1;
    assert_eq!(count(&["--since", "2026-01-01"]), 2);
    assert_eq!(count(&["--until", "2024-03-14"]), 1);
    assert_eq!(count(&["--value", "22u", "--family", "tantalum", "--most", "3"]), 3);
    assert!(told(&folder, &["runs", "--value", "47µF"]).contains("no runs"));
    assert!(refused(&folder, &["runs", "--since", "14.3.26"]).contains("2026-03-14"));
}

#[test]
fn what_is_exported_is_taken_in_elsewhere() {
    let folder = filled();
    assert_eq!(
        told(&folder, &["export", "--out", "all.jsonl"]),
        "written: all.jsonl, 12400 readings of 4 runs\n"
    );
    for out in ["all.csv", "all.parquet"] {
        told(&folder, &["export", "r1", "r4", "--out", out]);
    }
    assert!(begins(&folder.path().join("all.parquet"), b"PAR1"));
    assert!(refused(&folder, &["export", "--out", "all.csv"]).contains("is there already"));
    assert!(refused(&folder, &["export", "--out", "all.xls"]).contains("no form"));
    assert!(refused(&folder, &["import", "all.csv"]).contains("table of readings"));
    std::fs::rename(folder.path().join("record.db"), folder.path().join("old.db")).unwrap();
    for beside in ["record.db-wal", "record.db-shm"] {
        let _gone = std::fs::remove_file(folder.path().join(beside)).is_ok();
    }
    assert!(told(&folder, &["import", "all.jsonl"]).ends_with("4 of 4 runs taken in.\n"));
    assert!(told(&folder, &["import", "all.jsonl"]).ends_with("0 of 4 runs taken in.\n"));
    assert!(told(&folder, &["record", "check"]).contains("4 runs and 12400 readings"));
}

#[test]
fn the_record_is_copied_pruned_and_made_smaller_without_losing_a_verdict() {
    let folder = filled();
    let before = told(&folder, &["runs"]);
    assert!(told(&folder, &["record", "backup", "copy.db"]).contains("4 runs, 12400 readings"));
    assert!(refused(&folder, &["record", "backup", "copy.db"]).contains("is there already"));
    let plan = told(&folder, &["record", "prune", "--before", "2025-12-31"]);
    assert!(plan.contains("6000 readings of 2 runs") && plan.ends_with("add --yes.\n"), "{plan}");
    assert!(told(&folder, &["record", "check"]).contains("12400 readings"));
    told(&folder, &["record", "prune", "--before", "2025-12-31", "--yes"]);
    assert!(told(&folder, &["record", "check"]).contains("6400 readings"));
    told(&folder, &["record", "vacuum"]);
    assert_eq!(told(&folder, &["runs"]), before);
    assert!(refused(&folder, &["record", "prune", "--older-than", "old"]).contains("2y"));
}

#[test]
fn a_sheet_of_a_run_is_one_page() {
    let folder = filled();
    assert_eq!(told(&folder, &["show", "r4", "--sheet", "r4.html"]), "written: r4.html\n");
    let page = std::fs::read_to_string(folder.path().join("r4.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>") && page.contains("250 ± 10 nA"), "{page}");
}

/// Pixels of a picture, row by row, RGB or RGBA, and how many bytes a row has.
fn pixels(png: &[u8]) -> (Vec<u8>, usize) {
    let mut reader = png::Decoder::new(png).read_info().unwrap();
    let mut bytes = vec![0; reader.output_buffer_size()];
    let frame = reader.next_frame(&mut bytes).unwrap();
    (bytes, frame.line_size)
}

/// Twelve days of readings, ten in a second, made in the store itself, and one of them that is no
/// leakage.
#[test]
fn one_reading_in_ten_million_is_seen_in_the_picture() {
    const SPIKE: u32 = 7_654_321;
    let started: Timestamp = "2026-03-14T08:15:00Z".parse().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut record = Record::open(&path).unwrap();
    let id = record.begin(&begun("C7", started)).unwrap();
    let readings = "WITH RECURSIVE count (sequence) AS \
        (SELECT 0 UNION ALL SELECT sequence + 1 FROM count WHERE sequence < 9999999) \
        INSERT INTO readings \
        (run, sequence, time_s, wall_ms, current_a, mark, voltage_v, range_a, flags, phase) \
        SELECT 1, sequence, sequence * 0.1, 1773476100000 + sequence * 100, \
        iif(sequence = ?1, 4e-6, 160e-9 + 3e-6 / (sequence * 0.1 + 1)), NULL, 25.0, 1e-4, 0, 'soak' \
        FROM count";
    let store = rusqlite::Connection::open(&path).unwrap();
    assert_eq!(store.execute(readings, [SPIKE]).unwrap(), 10_000_000);
    record.finish(id, &ended(160e-9, started)).unwrap();
    let with = reststrom::report::curve(&record, &record.run(id).unwrap()).unwrap();
    assert!(with.points.len() < 1_000_000, "{} points", with.points.len());
    let mut without = with.clone();
    without.points.retain(|point| point.at != seconds(f64::from(SPIKE) * 0.1));
    assert_eq!(without.points.len() + 1, with.points.len());
    for axes in [Axes::LogLog, Axes::Linear] {
        let [with, without] = [&with, &without]
            .map(|curve| pixels(&reststrom::report::draw(curve, axes, Format::Png).unwrap()));
        let changed: Vec<usize> = (0..with.0.len().min(without.0.len()))
            .filter(|&at| with.0[at] != without.0[at])
            .map(|at| at / with.1)
            .collect();
        // A stroke upwards, a tenth of the picture high.
        let (top, bottom) = (changed.iter().min().unwrap(), changed.iter().max().unwrap());
        let height = with.0.len() / with.1;
        assert!(height / 10 < bottom - top, "{axes:?}: rows {top} to {bottom} of {height}");
    }
}
