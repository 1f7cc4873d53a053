//! Runs, readings and events in SQLite: one file, kept through kills and power cuts.
//!
//! - A call that changes something is one transaction, synced to the disk when it returns: the
//!   file is in write-ahead mode with `synchronous = FULL`.
//! - A run is open until its end is stored, once. No stored column has a default that could pass
//!   for a success; a run that nobody ended is found by [`Record::open_runs`].
//! - Readings are ordered by their sequence number and runs by their id, never by a wall clock.
//! - [`Writer`] is how a run is recorded without ever waiting for the disk.

mod columns;
mod error;
mod id;
mod intake;
mod listing;
mod other_kinds;
mod overview;
mod path;
mod read;
mod reading;
mod run;
mod schema;
mod thin;
mod tray;
mod upkeep;
mod write;
mod writer;

#[cfg(test)]
mod round_trip;
#[cfg(test)]
mod sample;
#[cfg(test)]
mod survival;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use rusqlite::{Connection, OpenFlags};

pub use error::RecordError;
pub use id::{RunId, RunIdError};
pub use intake::Intake;
pub use listing::Listed;
pub use other_kinds::{FormedOnRecord, StairOnRecord, StaircaseOnRecord};
pub use overview::Overview;
pub use path::{default_path, path_after};
pub use reading::{Flags, PhaseSpan, RecordedCurrent, Row};
pub use run::{
    Component, Conditions, Ending, EventRow, InstrumentOnRecord, LimitOnRecord, MeasuredCurrent,
    NewRun, Run, RunFilter, RunState, Zero,
};
pub use tray::{NewTray, TrayId, TrayIdError, TrayOnRecord, TrayPlace};
pub use upkeep::{Checked, PRUNED, Prunable};
pub use writer::{Pace, Progress, Writer};

use schema::{Found, STEPS};

/// Room to plan for one reading in the file, in bytes. A row takes about 70; the rest is page
/// slack. The write-ahead log needs room of its own beside it: [`LOG_ROOM`].
pub const BYTES_PER_READING: u64 = 100;

/// Room to plan for the write-ahead log, in bytes: SQLite empties it every 1000 pages of 4 KiB,
/// a busy reader may double that.
pub const LOG_ROOM: u64 = 8 << 20;

/// How long a call waits for another process that holds the record.
const PATIENCE: Duration = Duration::from_secs(5);

/// Between two tries while another process holds the record. SQLite waits by itself; this is for
/// the cases in which it answers at once, as when two processes make the record together.
const RETRY_GAP: Duration = Duration::from_millis(10);

/// An open record file.
#[derive(Debug)]
pub struct Record {
    connection: Connection,
    path: PathBuf,
}

impl Record {
    /// Opens the record for reading and writing; makes the file and its folders if need be, and
    /// brings the schema of an older record forward.
    ///
    /// # Errors
    ///
    /// [`RecordError::Newer`] and [`RecordError::Foreign`] leave the file exactly as it is; else
    /// why it cannot be opened.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, RecordError> {
        let path = path.as_ref();
        Found::at(path)?.number(path, STEPS)?;
        make_folder_of(path)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
        let mut record = Self::connect(path, flags)?;
        record.must_be_writable()?;
        record.set_up("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")?;
        // The first schema is written before the log exists, so the header of the file itself
        // says from then on whose it is.
        schema::bring_forward(&mut record.connection, path, STEPS)?;
        patiently(PATIENCE, || record.keep_a_log())?;
        Ok(record)
    }

    /// Opens a record that exists, for reading alone: it is neither made nor changed. SQLite may
    /// put its own `-wal` and `-shm` beside it, so the folder must be one that can be written to.
    ///
    /// # Errors
    ///
    /// [`RecordError::Missing`] when there is none; [`RecordError::Newer`],
    /// [`RecordError::Older`], [`RecordError::Foreign`]; else why it cannot be opened.
    pub fn open_for_reading(path: impl AsRef<Path>) -> Result<Self, RecordError> {
        let path = path.as_ref();
        let known = schema::last_of(STEPS);
        match Found::at(path)?.number(path, STEPS)? {
            0 => return Err(RecordError::Missing { path: path.to_owned() }),
            found if found < known => {
                return Err(RecordError::Older { path: path.to_owned(), found, known });
            }
            _ => {}
        }
        let record = Self::connect(path, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
        // The SELECT reads for the first time: what keeps SQLite from reading shows here.
        record.set_up("PRAGMA query_only = ON; SELECT count(*) FROM runs;")?;
        Ok(record)
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Bytes free for the record on its file system.
    ///
    /// # Errors
    ///
    /// [`RecordError::OutOfReach`] when the file system does not say.
    pub fn free_bytes(&self) -> Result<u64, RecordError> {
        error::free_bytes(&self.path)
            .map_err(|source| RecordError::out_of_reach(&self.path, "ask for free space", source))
    }

    /// Copies what it can from the write-ahead log into the file, without waiting for anybody,
    /// and says how many bytes of the log are still waiting.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the copying fails; the log still has everything then.
    pub fn empty_log(&self) -> Result<u64, RecordError> {
        let failed = |source| RecordError::from_sqlite(&self.path, "empty the log", source);
        let pages: i64 = self
            .connection
            .query_one("PRAGMA wal_checkpoint(PASSIVE)", [], |row| {
                Ok(row.get::<_, i64>(1)? - row.get::<_, i64>(2)?)
            })
            .map_err(failed)?;
        let page: u64 = self
            .connection
            .pragma_query_value(None, "page_size", |row| row.get::<_, u32>(0))
            .map_err(failed)?
            .into();
        Ok(page * u64::try_from(pages).unwrap_or_default())
    }

    /// How long a call waits from now on for another process that holds the record.
    fn wait_for_locks(&self, patience: Duration) -> Result<(), RecordError> {
        self.connection
            .busy_timeout(patience)
            .map_err(|source| RecordError::from_sqlite(&self.path, "set a patience", source))
    }

    fn connect(path: &Path, flags: OpenFlags) -> Result<Self, RecordError> {
        let failed = |source| RecordError::from_sqlite(path, "open the record", source);
        let connection = Connection::open_with_flags(path, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)
            .map_err(failed)?;
        let record = Self { connection, path: path.to_owned() };
        record.wait_for_locks(PATIENCE)?;
        Ok(record)
    }

    fn set_up(&self, pragmas: &str) -> Result<(), RecordError> {
        self.connection
            .execute_batch(pragmas)
            .map_err(|source| RecordError::from_sqlite(&self.path, "open the record", source))
    }

    /// SQLite opens a write-protected file for reading, and says nothing.
    fn must_be_writable(&self) -> Result<(), RecordError> {
        let doing = "open the record for writing";
        match self.connection.is_readonly("main") {
            Ok(false) => Ok(()),
            Ok(true) => {
                let protected = io::Error::from(io::ErrorKind::PermissionDenied);
                Err(RecordError::out_of_reach(&self.path, doing, protected))
            }
            Err(source) => Err(RecordError::from_sqlite(&self.path, doing, source)),
        }
    }

    fn keep_a_log(&self) -> Result<(), RecordError> {
        let mode: String = self
            .connection
            .pragma_update_and_check(None, "journal_mode", "wal", |row| row.get(0))
            .map_err(|source| RecordError::from_sqlite(&self.path, "open the log", source))?;
        if mode == "wal" {
            return Ok(());
        }
        Err(RecordError::NoLog { path: self.path.clone(), mode })
    }
}

fn make_folder_of(path: &Path) -> Result<(), RecordError> {
    let Some(folder) = path.parent() else { return Ok(()) };
    fs::create_dir_all(folder)
        .map_err(|source| RecordError::out_of_reach(folder, "make the folder", source))
}

/// Tries again while another process holds the record, until patience is over.
fn patiently<T>(
    patience: Duration,
    mut work: impl FnMut() -> Result<T, RecordError>,
) -> Result<T, RecordError> {
    let begun = Instant::now();
    loop {
        match work() {
            Err(error) if error.is_locked() && begun.elapsed() < patience => {
                thread::sleep(RETRY_GAP);
            }
            done => return done,
        }
    }
}
