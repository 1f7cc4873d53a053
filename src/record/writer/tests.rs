//! A writer among locks, full disks and other writers.

use std::path::PathBuf;

use rstest::rstest;
use rusqlite::Connection;
use tempfile::TempDir;

use super::*;
use crate::record::sample::{
    BENCH, bare_run, passed, reading, readings, record, smoothing_capacitor, soak_begins,
};
use crate::record::{RunFilter, RunState};

const NEVER: Duration = Duration::from_hours(1);
const AT_ONCE: Duration = Duration::from_millis(1);

/// A pace that writes only when told to, and loses patience at once.
const RELUCTANT: Pace =
    Pace { commit_every: NEVER, rows_per_commit: 1000, rows_waiting: 1000, patience: AT_ONCE };

struct Bench {
    folder: TempDir,
    run: RunId,
}

impl Bench {
    /// A record with one open run, and a writer on it.
    fn recording(pace: Pace) -> (Self, Writer) {
        let (folder, mut record) = record();
        let run = record.begin(&smoothing_capacitor()).unwrap();
        let writer = Writer::start_at_pace(record, run, pace).unwrap();
        (Self { folder, run }, writer)
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("record.db")
    }

    /// What another program finds in the file.
    fn stored(&self) -> (Vec<Row>, RunState) {
        let record = Record::open_for_reading(self.path()).unwrap();
        let rows = record.readings_after(self.run, None, 10_000).unwrap();
        (rows, record.run(self.run).unwrap().state)
    }

    /// Another program that holds the record for writing until it is dropped.
    fn held_by_another_program(&self) -> Connection {
        let other = Connection::open(self.path()).unwrap();
        other.execute_batch("BEGIN IMMEDIATE").unwrap();
        other
    }
}

/// What comes of this without waiting for ever when it does not come.
async fn soon<T>(awaited: impl Future<Output = T>) -> T {
    tokio::time::timeout(Duration::from_secs(30), awaited).await.unwrap()
}

fn hand_over(writer: &Writer, rows: &[Row]) {
    for row in rows {
        writer.reading(*row).unwrap();
    }
}

#[test]
fn the_usual_pace_leaves_half_of_the_last_second_to_the_disk() {
    assert!(Pace::default().commit_every * 2 <= Duration::from_secs(1));
}

#[test]
fn a_finished_run_has_every_reading_event_and_its_end() {
    let (bench, writer) = Bench::recording(RELUCTANT);
    hand_over(&writer, &readings(700));
    writer.event(soak_begins()).unwrap();
    writer.finish(passed()).unwrap();
    assert_eq!(bench.stored(), (readings(700), RunState::Ended(Box::new(passed()))));
    let record = Record::open(bench.path()).unwrap();
    assert_eq!(record.events(bench.run).unwrap(), [soak_begins()]);
}

#[rstest]
#[case::by_the_clock(Pace { commit_every: AT_ONCE, ..RELUCTANT }, false)]
#[case::by_number(Pace { rows_per_commit: 5, ..RELUCTANT }, false)]
#[case::by_an_event(RELUCTANT, true)]
#[tokio::test]
async fn readings_are_written_while_the_run_goes_on(#[case] pace: Pace, #[case] event: bool) {
    let (bench, writer) = Bench::recording(pace);
    hand_over(&writer, &readings(5));
    if event {
        writer.event(soak_begins()).unwrap();
    }
    let mut progress = writer.progress();
    soon(progress.reached(5)).await.unwrap();
    assert_eq!((progress.rows(), writer.waiting()), (5, 0));
    assert_eq!(bench.stored(), (readings(5), RunState::Open));
}

#[test]
fn a_dropped_writer_writes_what_waits_and_leaves_the_run_open() {
    let (bench, writer) = Bench::recording(RELUCTANT);
    hand_over(&writer, &readings(3));
    drop(writer);
    assert_eq!(bench.stored(), (readings(3), RunState::Open));
    let record = Record::open(bench.path()).unwrap();
    assert_eq!(record.open_runs(BENCH).unwrap().len(), 1);
}

#[tokio::test]
async fn readings_wait_in_order_while_another_program_holds_the_record() {
    let (bench, writer) = Bench::recording(Pace { commit_every: AT_ONCE, ..RELUCTANT });
    let other = bench.held_by_another_program();
    hand_over(&writer, &readings(4));
    let failure = soon(writer.progress().failed()).await;
    assert!(failure.is_locked(), "{failure}");
    assert_eq!(bench.stored(), (Vec::new(), RunState::Open));
    drop(other);
    for sequence in 4..9 {
        writer.reading(reading(sequence)).unwrap();
    }
    writer.finish(passed()).unwrap();
    assert_eq!(bench.stored(), (readings(9), RunState::Ended(Box::new(passed()))));
}

#[tokio::test]
async fn a_lock_that_passes_in_time_is_no_failure() {
    let patient = Pace { commit_every: AT_ONCE, patience: NEVER, ..RELUCTANT };
    let (bench, writer) = Bench::recording(patient);
    let other = bench.held_by_another_program();
    hand_over(&writer, &readings(4));
    let mut progress = writer.progress();
    drop(other);
    soon(progress.reached(4)).await.unwrap();
    assert!(progress.failure().is_none());
    writer.finish(passed()).unwrap();
}

#[test]
fn an_end_that_cannot_be_written_is_an_error_and_the_run_stays_open() {
    let (bench, writer) = Bench::recording(Pace { commit_every: AT_ONCE, ..RELUCTANT });
    let other = bench.held_by_another_program();
    assert!(writer.finish(passed()).unwrap_err().is_locked());
    drop(other);
    assert_eq!(bench.stored().1, RunState::Open);
}

#[tokio::test]
async fn a_full_disk_is_reported_once_and_no_end_is_stored_without_its_readings() {
    let (folder, mut record) = record();
    let run = record.begin(&bare_run()).unwrap();
    let pages: u32 =
        record.connection.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
    record.connection.pragma_update(None, "max_page_count", pages).unwrap();
    let writer =
        Writer::start_at_pace(record, run, Pace { rows_per_commit: 500, ..RELUCTANT }).unwrap();
    let mut progress = writer.progress();
    hand_over(&writer, &readings(500));
    let failure = soon(progress.failed()).await;
    assert!(matches!(*failure, RecordError::Full { .. }), "{failure}");
    assert!(matches!(*soon(progress.reached(1)).await.unwrap_err(), RecordError::Full { .. }));
    assert!(matches!(writer.finish(passed()), Err(RecordError::Full { .. })));
    let bench = Bench { folder, run };
    assert_eq!(bench.stored(), (Vec::new(), RunState::Open));
}

#[test]
fn more_readings_than_may_wait_are_refused_and_none_that_was_taken_is_lost() {
    let (bench, writer) = Bench::recording(Pace { rows_waiting: 3, ..RELUCTANT });
    hand_over(&writer, &readings(3));
    let refused = writer.reading(reading(3)).unwrap_err();
    assert_eq!(refused.to_string(), "3 readings wait for the disk, expected fewer");
    writer.finish(passed()).unwrap();
    assert_eq!(bench.stored().0, readings(3));
}

#[tokio::test]
async fn a_run_that_is_over_is_reported_by_its_writer() {
    let (_folder, mut record) = record();
    let run = record.begin(&bare_run()).unwrap();
    record.finish(run, &passed()).unwrap();
    let writer =
        Writer::start_at_pace(record, run, Pace { commit_every: AT_ONCE, ..RELUCTANT }).unwrap();
    writer.reading(reading(0)).unwrap();
    assert!(matches!(*soon(writer.progress().failed()).await, RecordError::NotOpen { .. }));
    assert!(matches!(writer.finish(passed()), Err(RecordError::NotOpen { .. })));
}

#[tokio::test]
async fn whoever_waits_for_a_failure_learns_that_the_writer_is_gone() {
    let (_bench, writer) = Bench::recording(RELUCTANT);
    let mut progress = writer.progress();
    writer.finish(passed()).unwrap();
    assert!(matches!(*soon(progress.failed()).await, RecordError::WriterGone));
    assert!(matches!(*soon(progress.reached(1)).await.unwrap_err(), RecordError::WriterGone));
}

#[test]
fn two_stations_record_into_one_file_at_the_same_time() {
    let (folder, mut first) = record();
    let mut second = Record::open(folder.path().join("record.db")).unwrap();
    let runs = [first.begin(&smoothing_capacitor()).unwrap(), second.begin(&bare_run()).unwrap()];
    let eager = Pace { rows_per_commit: 2, patience: NEVER, ..RELUCTANT };
    let writers = [
        Writer::start_at_pace(first, runs[0], eager).unwrap(),
        Writer::start_at_pace(second, runs[1], Pace { commit_every: AT_ONCE, ..eager }).unwrap(),
    ];
    for row in readings(40) {
        for writer in &writers {
            writer.reading(row).unwrap();
        }
    }
    for writer in writers {
        writer.finish(passed()).unwrap();
    }
    let record = Record::open(folder.path().join("record.db")).unwrap();
    for run in record.runs(&RunFilter::default()).unwrap() {
        assert_eq!(record.count_readings(run.id).unwrap(), 40);
        assert_eq!(run.state, RunState::Ended(Box::new(passed())));
    }
}

#[test]
fn of_a_long_soak_the_first_minutes_and_every_spike_stay_on_record() {
    let (bench, writer) = Bench::recording(Pace { rows_waiting: 10_000, ..RELUCTANT });
    let mut rows = readings(7200);
    for row in &mut rows {
        row.time = crate::quantity::seconds(f64::from(row.sequence));
    }
    rows[5001].current = crate::record::RecordedCurrent::Value(crate::quantity::amperes(1e-3));
    hand_over(&writer, &rows);
    writer.finish(passed()).unwrap();
    let (stored, _) = bench.stored();
    assert_eq!(stored[..600], rows[..600]);
    assert!(stored.contains(&rows[5001]), "the spike is gone");
    assert!((1200..3500).contains(&stored.len()), "{} of {}", stored.len(), rows.len());
}
