//! The record looked after: checked, copied while it is written to, made smaller.
//!
//! Nothing here touches a verdict. [`Record::prune`] lets go of readings alone, and of each run keeps
//! those that its verdict rests on.

use std::fs::File;
use std::path::Path;

use jiff::Timestamp;
use rusqlite::params;

use super::path::beside;
use super::{EventRow, Flags, Record, RecordError, RunId};
use crate::quantity::seconds;

/// Readings that one transaction of pruning takes out: a run that is recorded meanwhile waits no
/// longer than that takes.
const STEP: u32 = 50_000;
/// The kind of the event that tells of pruning.
pub const PRUNED: &str = "pruned";

/// What a check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// How many runs there are, and how many readings of them.
    pub runs: u64,
    /// See `runs`.
    pub readings: u64,
    /// What is wrong, a sentence each; empty if all is well.
    pub faults: Vec<String>,
}

/// A run whose readings would go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prunable {
    /// Which.
    pub run: RunId,
    /// When it began.
    pub started: Timestamp,
    /// How many readings go.
    pub readings: u64,
}

impl Record {
    /// Looks through the whole file: its pages and indices, what refers to what, and that each run,
    /// event and reading can be read back.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read at all.
    pub fn check(&self) -> Result<Checked, RecordError> {
        let mut faults = self.texts("PRAGMA integrity_check(20)", 0)?;
        faults.retain(|text| text != "ok");
        let dangling = self.texts("PRAGMA foreign_key_check", 0)?;
        faults
            .extend(dangling.into_iter().map(|table| format!("{table}: a row refers to nothing")));
        let ids = self.ids()?;
        let mut readings = 0;
        for &id in &ids {
            match self.check_run(id) {
                Ok(count) => readings += count,
                Err(error) => faults.push(format!("{id}: {error}")),
            }
        }
        Ok(Checked { runs: ids.len() as u64, readings, faults })
    }

    fn check_run(&self, id: RunId) -> Result<u64, RecordError> {
        self.run(id)?;
        self.events(id)?;
        let mut count = 0;
        self.for_each_block(id, |rows| {
            count += rows.len() as u64;
            true
        })?;
        Ok(count)
    }

    fn ids(&self) -> Result<Vec<RunId>, RecordError> {
        self.list("list runs", "SELECT id FROM runs ORDER BY id", [], |row| {
            row.get(0).map(RunId::from_row)
        })
    }

    /// Copies the record as it is at this moment to a new file, while others go on writing to it.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when there is a file already, or it cannot be written.
    pub fn back_up(&self, to: &Path) -> Result<(), RecordError> {
        let failed = |source| RecordError::from_sqlite(&self.path, "copy the record", source);
        let name = to.to_string_lossy();
        // A connection that only reads may copy all the same; what it reads stays as it is.
        self.connection.execute_batch("PRAGMA query_only = OFF").map_err(failed)?;
        self.connection.execute("VACUUM INTO ?1", [name.as_ref()]).map_err(failed)?;
        File::open(to)
            .and_then(|copy| copy.sync_all())
            .map_err(|source| RecordError::out_of_reach(to, "write the copy to the disk", source))
    }

    /// Gives the room back that pruned readings left. Needs as much room again while it works, and
    /// the record for itself.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when another process holds it, or it cannot be written.
    pub fn vacuum(&mut self) -> Result<(), RecordError> {
        let failed = |source| RecordError::from_sqlite(&self.path, "vacuum the record", source);
        self.connection.execute_batch("VACUUM").map_err(failed)?;
        self.connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).map_err(failed)
    }

    /// Bytes of the record and of its log.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the file system does not say.
    pub fn bytes(&self) -> Result<u64, RecordError> {
        let size = |path: &Path| std::fs::metadata(path).map(|found| found.len());
        let failed =
            |source| RecordError::out_of_reach(&self.path, "ask for the record's size", source);
        Ok(size(&self.path).map_err(failed)? + size(&beside(&self.path, "-wal")).unwrap_or(0))
    }

    /// Runs that are over, began before a moment by the wall clock, and have readings to let go of.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn prunable(&self, before: Timestamp) -> Result<Vec<Prunable>, RecordError> {
        self.list(
            "look for old readings",
            "SELECT runs.id, started_ms, (SELECT count(*) FROM readings WHERE run = runs.id \
             AND flags & ?2 = 0) AS gone FROM runs JOIN endings ON endings.run = runs.id \
             WHERE started_ms < ?1 AND gone > 0 ORDER BY runs.id",
            params![before.as_millisecond(), Flags::IN_WINDOW.bits()],
            |row| {
                let started = Timestamp::from_millisecond(row.get(1)?).unwrap_or(Timestamp::MIN);
                Ok(Prunable {
                    run: RunId::from_row(row.get(0)?),
                    started,
                    readings: row.get::<_, u32>(2)?.into(),
                })
            },
        )
    }

    /// Lets go of the readings of a run that is over, but for those that its verdict rests on, and
    /// notes that as an event. The run, its verdict, budget and events stay.
    ///
    /// # Errors
    ///
    /// [`RecordError::NotOpen`] never; [`RecordError::UnknownRun`], or why it cannot be written: what
    /// is gone until then is gone, and the rest goes with the next call.
    pub fn prune(&mut self, run: RunId, now: Timestamp) -> Result<u64, RecordError> {
        let mut gone = 0;
        loop {
            let step = self.prune_some(run)?;
            if step == 0 {
                break;
            }
            gone += step;
        }
        let text = format!("{gone} readings let go of; those of the reading window stay");
        let event = EventRow { time: seconds(0.0), wall: now, kind: PRUNED.to_owned(), text };
        if gone > 0 {
            self.event(run, &event)?;
        }
        Ok(gone)
    }

    fn prune_some(&mut self, run: RunId) -> Result<u64, RecordError> {
        self.change("prune a run", |transaction| {
            for table in ["overview_readings", "overviews"] {
                transaction.execute(&format!("DELETE FROM {table} WHERE run = ?1"), [run.row()])?;
            }
            let count = transaction.execute(
                "DELETE FROM readings WHERE run = ?1 AND sequence IN (SELECT sequence FROM \
                 readings WHERE run = ?1 AND flags & ?2 = 0 LIMIT ?3) \
                 AND EXISTS (SELECT 1 FROM endings WHERE run = ?1)",
                params![run.row(), Flags::IN_WINDOW.bits(), STEP],
            )?;
            Ok(u64::try_from(count).unwrap_or(u64::MAX))
        })
    }

    fn texts(&self, pragma: &str, column: usize) -> Result<Vec<String>, RecordError> {
        let failed = |source| RecordError::from_sqlite(&self.path, "check the record", source);
        let mut select = self.connection.prepare(pragma).map_err(failed)?;
        let rows = select.query_map([], |row| row.get(column)).map_err(failed)?;
        rows.collect::<Result<_, _>>().map_err(failed)
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{
        later, passed, reading, record, smoothing_capacitor, soak_begins, start,
    };
    use super::super::{Row, RunFilter};
    use super::*;

    /// A run with readings 0 to 499, of which 100 to 109 are those of the window.
    fn with_a_run() -> (tempfile::TempDir, Record, RunId) {
        let (folder, mut record) = record();
        let id = record.begin(&smoothing_capacitor()).unwrap();
        let row = |sequence| {
            let window = (100..110).contains(&sequence);
            let flags = if window { Flags::IN_WINDOW } else { Flags::NONE };
            Row { flags, ..reading(sequence) }
        };
        record.append(id, &(0..500).map(row).collect::<Vec<_>>()).unwrap();
        record.event(id, &soak_begins()).unwrap();
        record.finish(id, &passed()).unwrap();
        (folder, record, id)
    }

    #[test]
    fn pruning_never_drops_a_verdict_nor_what_it_rests_on() {
        let (_folder, mut record, id) = with_a_run();
        let before = record.run(id).unwrap();
        let found = record.prunable(later(1)).unwrap();
        assert_eq!(found, [Prunable { run: id, started: start(), readings: 490 }]);
        assert_eq!(record.prune(id, later(1000)).unwrap(), 490);
        assert_eq!(record.run(id).unwrap(), before);
        let left = record.readings_after(id, None, 1000).unwrap();
        assert!(left.len() == 10 && left.iter().all(|row| row.flags == Flags::IN_WINDOW));
        let kinds: Vec<String> =
            record.events(id).unwrap().into_iter().map(|event| event.kind).collect();
        assert_eq!(kinds, ["phase", PRUNED]);
        assert_eq!(record.prunable(later(1)).unwrap(), []);
        assert_eq!(record.prune(id, later(2000)).unwrap(), 0);
    }

    #[test]
    fn neither_a_young_run_nor_an_open_one_is_pruned() {
        let (_folder, mut record, _) = with_a_run();
        assert_eq!(record.prunable(start()).unwrap(), []);
        let open = record.begin(&smoothing_capacitor()).unwrap();
        record.append(open, &[reading(0)]).unwrap();
        let ids: Vec<RunId> =
            record.prunable(later(1)).unwrap().into_iter().map(|found| found.run).collect();
        assert!(!ids.contains(&open));
        assert_eq!(record.prune(open, later(1000)).unwrap(), 0);
        assert_eq!(record.count_readings(open).unwrap(), 1);
    }

    #[test]
    fn a_backup_is_whole_while_a_run_goes_on() {
        let (folder, mut record, id) = with_a_run();
        let open = record.begin(&smoothing_capacitor()).unwrap();
        record.append(open, &[reading(0), reading(1)]).unwrap();
        let copy = folder.path().join("copy.db");
        Record::open_for_reading(record.path()).unwrap().back_up(&copy).unwrap();
        record.append(open, &[reading(2)]).unwrap();
        let copied = Record::open(&copy).unwrap();
        assert_eq!(copied.run(id).unwrap(), record.run(id).unwrap());
        assert_eq!(copied.count_readings(open).unwrap(), 2);
        assert_eq!(copied.check().unwrap().faults, Vec::<String>::new());
        assert!(record.back_up(&copy).is_err(), "a file that is there is never written over");
    }

    #[test]
    fn a_vacuum_gives_the_room_of_pruned_readings_back() {
        let (_folder, mut record, id) = with_a_run();
        let rows: Vec<Row> = (0..40_000).map(reading).collect();
        let long = record.begin(&smoothing_capacitor()).unwrap();
        record.append(long, &rows).unwrap();
        record.finish(long, &passed()).unwrap();
        record.empty_log().unwrap();
        let full = record.bytes().unwrap();
        record.prune(long, later(1)).unwrap();
        record.vacuum().unwrap();
        assert!(record.bytes().unwrap() < full / 4);
        assert_eq!(record.runs(&RunFilter::default()).unwrap().len(), 2);
        assert_eq!(record.count_readings(id).unwrap(), 500);
    }

    #[test]
    fn a_check_counts_what_is_there_and_finds_what_cannot_be_read() {
        let (_folder, record, _) = with_a_run();
        let checked = record.check().unwrap();
        assert_eq!(checked, Checked { runs: 1, readings: 500, faults: Vec::new() });
        record
            .connection
            .execute("UPDATE readings SET phase = 'nap' WHERE sequence = 7", [])
            .unwrap();
        let faults = record.check().unwrap().faults;
        assert!(faults.len() == 1 && faults[0].contains("r1"), "{faults:?}");
    }
}
