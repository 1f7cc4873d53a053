//! Runs of another record taken in: all of them, or nothing.

use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params};

use super::error::Stop;
use super::other_kinds::{insert_formed, insert_staircase};
use super::write::{
    insert_budget, insert_ending, insert_events, insert_instruments, insert_interruption,
    insert_readings, insert_run,
};
use super::{EventRow, NewRun, Record, RecordError, Row, RunId, RunState};

/// What is being taken in, in one transaction.
#[derive(Debug)]
pub struct Intake<'a> {
    transaction: &'a Transaction<'a>,
    path: &'a std::path::Path,
}

impl Record {
    /// Takes in what `work` hands over; if it fails, nothing of it.
    ///
    /// Nobody else can write meanwhile: a run that is being recorded waits in its own memory.
    ///
    /// # Errors
    ///
    /// That of `work`, or [`RecordError`] when it cannot be written.
    pub fn take_in<T, E: From<RecordError>>(
        &mut self,
        work: impl FnOnce(&mut Intake<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let path = self.path.clone();
        let failed = |source| RecordError::from_sqlite(&path, "take in runs", source);
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(failed)?;
        let value = work(&mut Intake { transaction: &transaction, path: &path })?;
        transaction.commit().map_err(failed)?;
        Ok(value)
    }
}

impl Intake<'_> {
    /// The run on record that this one is: same station, part and moment of beginning.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn known(&self, begun: &NewRun) -> Result<Option<RunId>, RecordError> {
        self.transaction
            .query_row(
                "SELECT id FROM runs WHERE station = ?1 AND part = ?2 AND started_ms = ?3",
                params![begun.station, begun.part_name, begun.started.as_millisecond()],
                |row| row.get(0),
            )
            .optional()
            .map(|found| found.map(RunId::from_row))
            .map_err(|source| RecordError::from_sqlite(self.path, "look for a run", source))
    }

    /// Stores a run with its end; an open one can't be taken in.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when it cannot be written.
    pub fn run(&mut self, begun: &NewRun, state: &RunState) -> Result<RunId, RecordError> {
        self.done(store(self.transaction, begun, state))
    }

    /// Stores readings of a run.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when they cannot be written: a sequence number used twice is refused.
    pub fn readings(&mut self, run: RunId, rows: &[Row]) -> Result<(), RecordError> {
        self.done(insert_readings(self.transaction, run, rows))
    }

    /// Stores an event of a run.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when it cannot be written.
    pub fn event(&mut self, run: RunId, event: &EventRow) -> Result<(), RecordError> {
        self.done(insert_events(self.transaction, run, std::slice::from_ref(event)))
    }

    fn done<T>(&self, result: Result<T, Stop>) -> Result<T, RecordError> {
        result.map_err(|stop| stop.at(self.path, "take in a run"))
    }
}

fn store(transaction: &Transaction<'_>, begun: &NewRun, state: &RunState) -> Result<RunId, Stop> {
    let id = insert_run(transaction, begun)?;
    insert_instruments(transaction, id, begun)?;
    match state {
        RunState::Open => return Err(Stop::NotOpen { run: id, state: "open".to_owned() }),
        RunState::Interrupted { found, note } => {
            insert_interruption(transaction, id, *found, note)?;
        }
        RunState::Ended(ending) => {
            insert_ending(transaction, id, ending)?;
            insert_budget(transaction, id, &ending.budget)?;
            if let Some(staircase) = &ending.staircase {
                insert_staircase(transaction, id, staircase)?;
            }
            if let Some(formed) = &ending.formed {
                insert_formed(transaction, id, formed)?;
            }
        }
    }
    Ok(id)
}
