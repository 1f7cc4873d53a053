//! A soak of ten hours at ten readings a second: the memory that it takes and the time to plot it;
//! and three days through procedure and judge alone.
//!
//! Procedure, judge and the record's writer run as they do in a daemon, on a bench that follows at
//! once and in time that is a number, so that the ten hours take seconds. The writer is never let
//! fall further behind than one transaction, since at a real bench it isn't either. Memory is that
//! of the whole process as Linux counts it. The plot is timed from opening the record to the
//! picture on the disk, and is drawn by a process that has already read its font.

#![expect(clippy::print_stdout, reason = "a benchmark prints its numbers")]

mod follower;
#[path = "../tests/plant/mod.rs"]
mod plant;

use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use follower::{Follower, Read};
use jiff::Timestamp;
use reststrom::judge::advice;
use reststrom::plan::{Keeping, Phase, Plan};
use reststrom::procedure::Outcome;
use reststrom::quantity::{Time, seconds};
use reststrom::record::{
    Component, Conditions, Ending, EventRow, Flags, LimitOnRecord, MeasuredCurrent, NewRun, Pace,
    Record, RecordedCurrent, Row, RunId, Writer,
};
use reststrom::report::{self, Axes};

const SOAK: f64 = 36_000.0; // s
const INTERVAL: f64 = 0.1; // s
/// By then every page of the program that a soak needs has been touched.
const FIRST_HOUR: f64 = 3600.0; // s
const THREE_DAYS: f64 = 72.0 * 3600.0; // s

type Result<T> = std::result::Result<T, Box<dyn Error>>;

fn main() -> Result<()> {
    three_days()?;
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("record.db");
    let begun = Instant::now();
    let id = soak(&path)?;
    let took = begun.elapsed().as_secs_f64();
    println!(
        "ten-hour soak: {:.1} MB resident, {:.1} MB at most (aim below 40 MB); took {took:.1} s",
        megabytes("VmRSS:")?,
        megabytes("VmHWM:")?,
    );
    for axes in [Axes::LogLog, Axes::Linear] {
        let picture = folder.path().join("soak.png");
        let (took, count) = plot(&path, id, axes, &picture)?;
        println!("plot of {count} readings kept, {axes:?}: {took:.2} s (aim below 1 s)");
    }
    let kilobytes = std::fs::metadata(&path)?.len() / 1000;
    println!("record of ten hours: {kilobytes} kB");
    println!("with both plots: {:.1} MB at most (no aim)", megabytes("VmHWM:")?);
    Ok(())
}

/// Three days through procedure and judge alone: what a reading costs, and what memory grows by
/// after the first hour.
fn three_days() -> Result<()> {
    let mut bench = Follower::start(Arc::new(plan(THREE_DAYS)));
    loop {
        let read = bench.read();
        bench.take(read);
        if seconds(FIRST_HOUR) < read.at {
            break;
        }
    }
    let (before, begun, mut readings) = (megabytes("VmRSS:")?, Instant::now(), 0_u32);
    while bench.run.phase() == Phase::Soak {
        let read = bench.read();
        bench.take(read);
        readings += 1;
    }
    let took = begun.elapsed().as_secs_f64() * 1e6 / f64::from(readings);
    let grown = megabytes("VmRSS:")? - before;
    println!(
        "three days, {readings} readings: {took:.3} µs a reading with its voltage and the bench \
         (aim below 1 µs), {grown:.2} MB more memory (aim: none)"
    );
    Ok(())
}

fn plan(soak: f64) -> Plan {
    let mut plan = plant::plan();
    plan.target.soak = seconds(soak);
    plan.target.reading_time = seconds(soak);
    plan
}

/// Carries out the soak and keeps its record.
fn soak(path: &Path) -> Result<RunId> {
    let plan = Arc::new(plan(SOAK));
    let mut record = Record::open(path)?;
    let id = record.begin(&new_run(&plan))?;
    let writer = Writer::start(record, id)?;
    let mut bench = Follower::start(plan);
    let mut sequence = 0;
    let outcome = loop {
        let read = bench.read();
        let_the_disk_follow(&writer);
        writer.reading(row(sequence, read, &bench))?;
        sequence += 1;
        let before = bench.run.phase();
        bench.take(read);
        note_change(&writer, before, bench.run.phase(), read.at)?;
        if let Some(outcome) = bench.run.outcome() {
            break outcome;
        }
    };
    writer.finish(ending(&outcome))?;
    Ok(id)
}

fn let_the_disk_follow(writer: &Writer) {
    while Pace::default().rows_per_commit <= writer.waiting() {
        std::thread::sleep(Duration::from_micros(200));
    }
}

fn row(sequence: u32, read: Read, bench: &Follower) -> Row {
    let window = bench.run.in_window(read.at);
    Row {
        sequence,
        time: read.at,
        wall: Timestamp::now(),
        current: RecordedCurrent::Value(read.current),
        voltage: bench.run.part_voltage(read.at),
        range: Some(bench.plan.meter.range(read.range).full_scale),
        flags: if window { Flags::IN_WINDOW } else { Flags::NONE },
        phase: bench.run.phase(),
    }
}

fn note_change(writer: &Writer, before: Phase, after: Phase, time: Time) -> Result<()> {
    if before != after {
        let (kind, text) = ("phase".to_owned(), after.tag().to_owned());
        writer.event(EventRow { time, wall: Timestamp::now(), kind, text })?;
    }
    Ok(())
}

fn new_run(plan: &Plan) -> NewRun {
    NewRun {
        station: "skarvik-bench".into(),
        simulated: true,
        lapse: 1.0,
        kind: reststrom::plan::Kind::Soak,
        follows: None,
        place: None,
        part_name: "Terne receiver C7".into(),
        family_tag: "tantalum-solid".into(),
        capacitance: plan.part.capacitance,
        tolerance: Some(0.2),
        rated: plan.part.rated,
        test_voltage: plan.test_voltage,
        limit: Some(LimitOnRecord {
            current: plan.target.limit,
            rule: "0.01 · C · U".into(),
            source: "benchmark".into(),
            reading_time: Some(plan.target.reading_time),
            reference_celsius: None,
        }),
        conditions: Conditions::default(),
        plan_json: "{}".into(),
        instruments: Vec::new(),
        software: "benchmark".into(),
        started: Timestamp::now(),
    }
}

fn ending(outcome: &Outcome) -> Ending {
    Ending {
        verdict: outcome.ruling.verdict,
        findings: outcome.ruling.findings.to_vec(),
        current: outcome.reading.as_ref().map(MeasuredCurrent::from),
        budget: outcome.reading.as_ref().map(Component::all_of).unwrap_or_default(),
        voltage_at_part: outcome.reading.map(|reading| reading.voltage),
        measured_capacitance: outcome.capacitance.map(|measured| measured.value),
        capacitance_uncertainty: outcome.capacitance.map(|measured| measured.uncertainty),
        peak_current: Some(outcome.peak_current),
        staircase: None,
        formed: None,
        left: outcome.left,
        advice: advice(&outcome.ruling, &outcome.evidence, outcome.left, outcome.broke_down_at),
        ended: Timestamp::now(),
        full_voltage_at: outcome.full_voltage_at,
    }
}

/// Draws the run; gives the seconds that it took and the number of readings drawn.
fn plot(path: &Path, id: RunId, axes: Axes, picture: &Path) -> Result<(f64, u32)> {
    let begun = Instant::now();
    let record = Record::open_for_reading(path)?;
    let run = record.run(id)?;
    report::save(&report::curve(&record, &run)?, axes, picture)?;
    let took = begun.elapsed().as_secs_f64();
    let count = record.count_readings(id)?;
    let (taken, kept) = Keeping::usual().counts(seconds(SOAK), seconds(INTERVAL));
    // A thousand and a half come before the soak and after it, and in its window.
    let bounds = kept / 2..=kept + 1500;
    assert!(bounds.contains(&count), "of {taken} readings {count} are kept, {kept} were planned");
    Ok((took, count))
}

/// A line of the system's own account of this process, in units of 10⁶ bytes.
fn megabytes(name: &str) -> Result<f64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|line| line.strip_prefix(name));
    let kibibytes = line.and_then(|line| line.trim().strip_suffix(" kB")).ok_or("no such line")?;
    Ok(kibibytes.trim().parse::<f64>()? * 1024e-6)
}
