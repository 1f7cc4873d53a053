//! The numbered schema of the record file, and who may be let in.
//!
//! A file is ours by SQLite's application id, and its `user_version` is the number of the schema.
//! Both stand in the first hundred bytes, so a stranger's file or a newer record is known before
//! SQLite opens it, and opening for writing is what would change it. Only when a write-ahead log
//! lies beside the file may those bytes be out of date; then SQLite is asked, reading only.

use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::Path;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use super::RecordError;
use super::path::beside;

/// "Rest" in ASCII: the application id of a record file.
const APPLICATION_ID: i32 = 0x5265_7374;

/// What brings a record from schema `n` to `n + 1` stands at place `n`. Never edited once used.
pub(super) const STEPS: &[&str] = &[
    include_str!("001_runs.sql"),
    include_str!("002_budgets.sql"),
    include_str!("003_kinds.sql"),
    include_str!("004_trays.sql"),
    include_str!("006_overviews.sql"),
];

/// Length of the header of an SQLite file, and the places of what is read from it: SQLite file
/// format §1.3.
const HEADER: usize = 100;
const MAGIC: &[u8] = b"SQLite format 3\0";
const USER_VERSION_AT: usize = 60;
const APPLICATION_ID_AT: usize = 68;

/// What lies at a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Found {
    /// No file, or one without content.
    Nothing,
    /// Content, but not of SQLite.
    NotSqlite,
    /// An SQLite file with this application id and user version.
    Sqlite { application: i32, number: i32 },
}

impl Found {
    /// Looks without changing anything, and without opening what the header already refuses.
    pub(super) fn at(path: &Path) -> Result<Self, RecordError> {
        let seen = Self::in_header(path)
            .map_err(|source| RecordError::out_of_reach(path, "look at the record", source))?;
        if matches!(seen, Self::Sqlite { .. }) && log_lies_beside(path) {
            return Self::by_sqlite(path)
                .map_err(|source| RecordError::from_sqlite(path, "look at the record", source));
        }
        Ok(seen)
    }

    /// The schema number of a record of ours that these `steps` can serve; 0 for a new one.
    pub(super) fn number(self, path: &Path, steps: &[&str]) -> Result<i32, RecordError> {
        let known = last_of(steps);
        let foreign = |found: String| Err(RecordError::Foreign { path: path.to_owned(), found });
        match self {
            Self::Nothing => Ok(0),
            Self::NotSqlite => foreign("a file of another kind".to_owned()),
            Self::Sqlite { application: APPLICATION_ID, number } if known < number => {
                Err(RecordError::Newer { path: path.to_owned(), found: number, known })
            }
            Self::Sqlite { application: APPLICATION_ID, number } if 0 < number => Ok(number),
            Self::Sqlite { application, number } => foreign(format!(
                "an SQLite file with application id {application:#x} and schema {number} \
                 (a record has id {APPLICATION_ID:#x}, schemas up to {known} are known)"
            )),
        }
    }

    fn in_header(path: &Path) -> io::Result<Self> {
        let file = match File::open(path) {
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Self::Nothing),
            opened => opened?,
        };
        let mut header = Vec::with_capacity(HEADER);
        file.take(HEADER as u64).read_to_end(&mut header)?;
        Ok(Self::from_header(&header))
    }

    fn from_header(header: &[u8]) -> Self {
        let number_at = |place: usize| {
            header.get(place..)?.first_chunk::<4>().map(|bytes| i32::from_be_bytes(*bytes))
        };
        match (number_at(APPLICATION_ID_AT), number_at(USER_VERSION_AT)) {
            _ if header.is_empty() => Self::Nothing,
            (Some(application), Some(number)) if header.starts_with(MAGIC) => {
                Self::Sqlite { application, number }
            }
            _ => Self::NotSqlite,
        }
    }

    fn by_sqlite(path: &Path) -> rusqlite::Result<Self> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags)?;
        connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
        Self::in_one_look(&connection)
    }

    /// What this connection sees at one moment, while others may be making the record.
    fn in_one_look(connection: &Connection) -> rusqlite::Result<Self> {
        let look = connection.unchecked_transaction()?;
        let found = Self::within(&look)?;
        look.finish()?;
        Ok(found)
    }

    /// What the open transaction of this connection sees.
    fn within(connection: &Connection) -> rusqlite::Result<Self> {
        let pragma = |name| connection.pragma_query_value(None, name, |row| row.get(0));
        let (application, number) = (pragma("application_id")?, pragma("user_version")?);
        let tables: u32 =
            connection.query_one("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        Ok(match (application, number, tables) {
            (0, 0, 0) => Self::Nothing,
            _ => Self::Sqlite { application, number },
        })
    }
}

/// Takes the missing steps in one transaction: all of them, or none.
pub(super) fn bring_forward(
    connection: &mut Connection,
    path: &Path,
    steps: &[&str],
) -> Result<(), RecordError> {
    let failed =
        |source| RecordError::from_sqlite(path, "bring the schema of the record forward", source);
    if Found::in_one_look(connection).map_err(failed)?.number(path, steps)? == last_of(steps) {
        return Ok(());
    }
    let transaction =
        connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(failed)?;
    // Looked at again as a writer: another process may have been first.
    let number = Found::within(&transaction).map_err(failed)?.number(path, steps)?;
    take_steps(&transaction, number, steps).map_err(failed)?;
    transaction.commit().map_err(failed)
}

fn take_steps(connection: &Connection, from: i32, steps: &[&str]) -> rusqlite::Result<()> {
    let done = usize::try_from(from).unwrap_or_default();
    for step in steps.iter().skip(done) {
        connection.execute_batch(step)?;
    }
    connection.pragma_update(None, "application_id", APPLICATION_ID)?;
    connection.pragma_update(None, "user_version", last_of(steps))
}

/// The number of the schema that all `steps` lead to.
pub(super) fn last_of(steps: &[&str]) -> i32 {
    i32::try_from(steps.len()).unwrap_or(i32::MAX)
}

fn log_lies_beside(path: &Path) -> bool {
    beside(path, "-wal").metadata().is_ok_and(|log| 0 < log.len())
}
