//! What looking back costs: a picture and exports of ten million readings, a list of ten thousand
//! runs.
//!
//! The record is made first: ten million readings that were all kept, none thinned out, with one
//! spike among them; and beside it ten thousand short runs. Each number is the best of three, from
//! opening the record to the last byte of the result. Memory is that of a process of its own that
//! does nothing but draw, as Linux counts it.

#![expect(clippy::print_stdout, reason = "a benchmark prints its numbers")]

use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use jiff::Timestamp;
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Kind, Phase};
use reststrom::quantity::{amperes, farads, seconds, volts};
use reststrom::record::{
    Conditions, Ending, EventRow, Flags, LimitOnRecord, MeasuredCurrent, NewRun, Record,
    RecordedCurrent, Row, RunFilter, RunId,
};
use reststrom::report::export::csv::Decimal;
use reststrom::report::export::{csv, parquet};
use reststrom::report::{self, Axes};

const READINGS: u32 = 10_000_000;
const SPIKE: u32 = 7_654_321;
const RUNS: u32 = 10_000;
const BLOCK: u32 = 100_000;
/// Tells the program to be the process that only draws.
const DRAW: &str = "RESTSTROM_BENCH_DRAW";

type Result<T> = std::result::Result<T, Box<dyn Error>>;

fn main() -> Result<()> {
    if let Some(path) = std::env::var_os(DRAW) {
        return draw_and_tell(Path::new(&path));
    }
    let folder = tempfile::tempdir()?;
    let (large, many) = (folder.path().join("large.db"), folder.path().join("many.db"));
    let id = ten_million(&large)?;
    println!("record of {READINGS} readings: {} MB", std::fs::metadata(&large)?.len() / 1_000_000);
    for (axes, name) in [(Axes::LogLog, "log-log.png"), (Axes::Linear, "linear.png")] {
        let picture = folder.path().join(name);
        let took = best(|| plot(&large, id, axes, &picture))?;
        println!("plot of {READINGS} readings, {axes:?}, PNG: {took:.3} s (aim below 0.5 s)");
    }
    println!("memory of a process that draws it: {} (aim below 100 MB)", drawing(&large)?);
    let record = Record::open_for_reading(&large)?;
    let table = folder.path().join("readings.csv");
    let took = best(|| {
        let count = csv::write(&record, &[id], Decimal::Point, &table)?;
        assert_eq!(count, u64::from(READINGS));
        Ok(())
    })?;
    println!("CSV of {READINGS} readings: {took:.2} s, {} MB (aim below 5 s)", size(&table)?);
    let table = folder.path().join("readings.parquet");
    let took = best(|| {
        let count = parquet::write(&record, &[id], &table)?;
        assert_eq!(count, u64::from(READINGS));
        Ok(())
    })?;
    println!("Parquet of {READINGS} readings: {took:.2} s, {} MB (aim below 5 s)", size(&table)?);
    ten_thousand(&many)?;
    let took = best(|| list(&many))?;
    println!("open the record and list {RUNS} runs: {:.1} ms (aim below 50 ms)", took * 1e3);
    Ok(())
}

/// Seconds of the best of three.
fn best(mut work: impl FnMut() -> Result<()>) -> Result<f64> {
    let mut best = f64::INFINITY;
    for _ in 0..3 {
        let begun = Instant::now();
        work()?;
        best = best.min(begun.elapsed().as_secs_f64());
    }
    Ok(best)
}

fn plot(path: &Path, id: RunId, axes: Axes, picture: &Path) -> Result<()> {
    let record = Record::open_for_reading(path)?;
    let run = record.run(id)?;
    let curve = report::curve(&record, &run)?;
    let spike = curve.points.iter().any(|point| point.at == time(SPIKE));
    assert!(spike, "the spike is lost");
    Ok(report::save(&curve, axes, picture)?)
}

/// Draws in a process of its own; gives the memory that it took.
fn drawing(path: &PathBuf) -> Result<String> {
    let output = Command::new(std::env::current_exe()?).env(DRAW, path).output()?;
    Ok(String::from_utf8(output.stdout)?.trim().to_owned())
}

fn draw_and_tell(path: &Path) -> Result<()> {
    let folder = tempfile::tempdir()?;
    plot(path, "r1".parse()?, Axes::LogLog, &folder.path().join("run.png"))?;
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).ok_or("no memory")?;
    let kibibytes: f64 = line.trim().trim_end_matches(" kB").parse()?;
    println!("{:.1} MB", kibibytes * 1024e-6);
    Ok(())
}

fn list(path: &Path) -> Result<()> {
    let runs = Record::open_for_reading(path)?.listing(&RunFilter::default())?;
    assert_eq!(runs.len(), RUNS as usize);
    Ok(())
}

fn size(path: &Path) -> Result<u64> {
    Ok(std::fs::metadata(path)?.len() / 1_000_000)
}

fn time(sequence: u32) -> reststrom::quantity::Time {
    seconds(f64::from(sequence) * 0.1)
}

/// A falling current with noise, and one spike.
fn row(sequence: u32) -> Row {
    let after = f64::from(sequence) * 0.1 + 1.0;
    let noise = f64::from(sequence.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
    let ampere = if sequence == SPIKE { 4e-6 } else { 1.6e-7 + 3e-6 / after + noise * 4e-9 };
    Row {
        sequence,
        time: time(sequence),
        wall: Timestamp::from_millisecond(1_773_476_100_000 + i64::from(sequence) * 100)
            .unwrap_or_default(),
        current: RecordedCurrent::Value(amperes((ampere * 1e11).round() / 1e11)),
        voltage: Some(volts(24.99)),
        range: Some(amperes(1e-4)),
        flags: Flags::NONE,
        phase: Phase::Soak,
    }
}

fn ten_million(path: &Path) -> Result<RunId> {
    let mut record = Record::open(path)?;
    let id = record.begin(&begun("C7"))?;
    for block in 0..READINGS / BLOCK {
        let rows: Vec<Row> = (block * BLOCK..(block + 1) * BLOCK).map(row).collect();
        record.append(id, &rows)?;
    }
    let wall = Timestamp::from_millisecond(1_773_476_100_000)?;
    let text = Phase::Soak.tag().to_owned();
    record.event(id, &EventRow { time: seconds(0.0), wall, kind: "phase".into(), text })?;
    record.finish(id, &ended())?;
    let begun = Instant::now();
    record.summarise(id)?;
    println!("overview of {READINGS} readings, once: {:.2} s", begun.elapsed().as_secs_f64());
    record.empty_log()?;
    Ok(id)
}

/// Runs with a plan as long as real ones have.
fn ten_thousand(path: &Path) -> Result<()> {
    let mut record = Record::open(path)?;
    record.take_in(|intake| -> Result<()> {
        let state = reststrom::record::RunState::Ended(Box::new(ended()));
        for number in 0..RUNS {
            let run = NewRun { plan_json: "x".repeat(1100), ..begun(&format!("C{number}")) };
            intake.run(&run, &state)?;
        }
        Ok(())
    })?;
    record.empty_log()?;
    Ok(())
}

fn begun(part: &str) -> NewRun {
    NewRun {
        station: "skarvik-bench".into(),
        simulated: true,
        lapse: 1.0,
        kind: Kind::Soak,
        follows: None,
        place: None,
        part_name: part.into(),
        family_tag: "ta-mno2".into(),
        capacitance: farads(22e-6),
        tolerance: Some(0.2),
        rated: volts(25.0),
        test_voltage: volts(25.0),
        limit: Some(LimitOnRecord {
            current: amperes(5.5e-6),
            rule: "0.01CU floor 500 nA".into(),
            source: "benchmark".into(),
            reading_time: Some(seconds(300.0)),
            reference_celsius: None,
        }),
        conditions: Conditions::default(),
        plan_json: "{}".into(),
        instruments: Vec::new(),
        software: "benchmark".into(),
        started: Timestamp::from_millisecond(1_773_476_100_000).unwrap_or_default(),
    }
}

fn ended() -> Ending {
    Ending {
        verdict: Verdict::Within,
        findings: vec![Finding::Settled, Finding::Bursts],
        current: Some(MeasuredCurrent {
            value: amperes(170e-9),
            raw: amperes(170e-9),
            uncertainty: amperes(11e-9),
            at: seconds(300.0),
        }),
        budget: Vec::new(),
        voltage_at_part: Some(volts(24.99)),
        measured_capacitance: None,
        capacitance_uncertainty: None,
        peak_current: None,
        staircase: None,
        formed: None,
        left: Left::Safe,
        advice: "Keep it as far as leakage goes.".into(),
        ended: Timestamp::from_millisecond(1_773_476_500_000).unwrap_or_default(),
        full_voltage_at: Some(seconds(0.5)),
    }
}
