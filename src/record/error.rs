//! What can go wrong with the record, each with what came and what to do.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

use super::RunId;

/// Why the record could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// Nothing in the environment says where this user keeps data.
    #[error("no folder for the record: neither XDG_DATA_HOME nor HOME is an absolute path")]
    NoHome,
    /// There is no record to read.
    #[error("{}: no record there", .path.display())]
    Missing {
        /// The file that was looked for.
        path: PathBuf,
    },
    /// The file is something else than a record of this tool.
    #[error("{}: not a record of reststrom, but {found}", .path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        found: String,
    },
    /// A newer program wrote the file.
    #[error("{}: record has schema {found}, this program knows {known}", .path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Schema number found.
        found: i32,
        /// Highest schema number that this program knows.
        known: i32,
    },
    /// An older program wrote the file, and reading alone may not bring it forward.
    #[error("{}: record has schema {found}, reading needs {known}", .path.display())]
    Older {
        /// The file.
        path: PathBuf,
        /// Schema number found.
        found: i32,
        /// Schema number needed.
        known: i32,
    },
    /// The file or its folder cannot be got at.
    #[error("{}: cannot {doing}", .path.display())]
    OutOfReach {
        /// The file or folder.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// Why not.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// The file system cannot keep a write-ahead log.
    #[error("{}: journal mode is {mode}, expected wal", .path.display())]
    NoLog {
        /// The file.
        path: PathBuf,
        /// The journal mode that SQLite fell back to.
        mode: String,
    },
    /// Another process holds the record.
    #[error("{}: cannot {doing}: another program holds the record", .path.display())]
    Locked {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// What SQLite said.
        source: rusqlite::Error,
    },
    /// No room is left.
    #[error("{}: cannot {doing}: disk full, {} free", .path.display(), free_text(*.free))]
    Full {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// Bytes free on the file system, where that could be found out.
        free: Option<u64>,
        /// What SQLite said.
        source: rusqlite::Error,
    },
    /// The content is damaged, or holds a word that this program does not know.
    #[error("{}: cannot {doing}: record is damaged", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// Where the damage showed.
        source: rusqlite::Error,
    },
    /// Anything else that SQLite refused.
    #[error("{}: cannot {doing}", .path.display())]
    Sqlite {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// What SQLite said.
        source: rusqlite::Error,
    },
    /// No run has this id.
    #[error("{}: no run {run}", .path.display())]
    UnknownRun {
        /// The file.
        path: PathBuf,
        /// The id asked for.
        run: RunId,
    },
    /// The run is over: nothing can be added, and its ending stands.
    #[error("{}: run {run} is {state}, expected an open run", .path.display())]
    NotOpen {
        /// The file.
        path: PathBuf,
        /// The run.
        run: RunId,
        /// `ended` or `interrupted`.
        state: String,
    },
    /// More readings wait for the disk than may be held in memory.
    #[error("{waiting} readings wait for the disk, expected fewer")]
    Backlog {
        /// Readings waiting.
        waiting: usize,
    },
    /// The operating system gave no thread for writing.
    #[error("cannot start the thread that writes the record")]
    NoThread(#[source] io::Error),
    /// The thread that writes the record is gone.
    #[error("the thread that writes the record is gone")]
    WriterGone,
}

impl RecordError {
    /// What a person can do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::NoHome => "set XDG_DATA_HOME to the folder that shall keep the record",
            Self::Missing { .. } => "run a part first, or name the record file that you mean",
            Self::Foreign { .. } => "name another file; this one was left as it is",
            Self::Newer { .. } => {
                "use the newer program that wrote it, or another file; this one was left as it is"
            }
            Self::Older { .. } => "run a part into it once, that brings the record forward",
            Self::OutOfReach { .. } => {
                "name a file in a folder that you may write to, or copy the record into one"
            }
            Self::NoLog { .. } => "keep the record on a local disk, not on a network share",
            Self::Locked { .. } => "close the other program (a backup, a viewer), then try again",
            Self::Full { .. } => "make room on that disk; what was written stays readable",
            Self::Damaged { .. } => {
                "keep a copy of the file and of its -wal neighbour before anything else"
            }
            Self::Sqlite { .. } => "look at the cause; the record keeps what was written before",
            Self::UnknownRun { .. } => "list the runs to see which there are",
            Self::NotOpen { .. } => "begin a new run; an ending is never changed",
            Self::Backlog { .. } => "end the run; find out what keeps the disk from writing",
            Self::NoThread(_) => "end some other programs, then try again",
            Self::WriterGone => "end the run; the log says what stopped the thread",
        }
    }

    /// Whether another process holds the record, so that waiting may help.
    #[must_use]
    pub const fn is_locked(&self) -> bool {
        matches!(self, Self::Locked { .. })
    }

    /// A failure of the file system at `path`.
    pub(super) fn out_of_reach(path: &Path, doing: &'static str, source: io::Error) -> Self {
        Self::OutOfReach { path: path.to_owned(), doing, source: Box::new(source) }
    }

    /// A failure that SQLite reported while `doing` something with the record at `path`.
    pub(super) fn from_sqlite(path: &Path, doing: &'static str, source: rusqlite::Error) -> Self {
        let path = path.to_owned();
        match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                Self::Locked { path, doing, source }
            }
            Some(ErrorCode::DiskFull) => {
                let free = free_bytes(&path).ok();
                Self::Full { path, doing, free, source }
            }
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Self::OutOfReach { path, doing, source: Box::new(source) }
            }
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                Self::Damaged { path, doing, source }
            }
            None if is_unreadable(&source) => Self::Damaged { path, doing, source },
            Some(_) | None => Self::Sqlite { path, doing, source },
        }
    }
}

/// Whether a stored value is not what its column is meant to hold.
fn is_unreadable(error: &rusqlite::Error) -> bool {
    matches!(
        error,
        rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::Utf8Error(..)
    )
}

/// Bytes that an ordinary user may still write to the file system of `path`.
pub(super) fn free_bytes(path: &Path) -> io::Result<u64> {
    let room = rustix::fs::statvfs(path)?;
    Ok(room.f_bavail.saturating_mul(room.f_frsize))
}

fn free_text(free: Option<u64>) -> String {
    free.map_or_else(|| "unknown".to_owned(), |bytes| format!("{bytes} bytes"))
}

/// Why a step inside a transaction stopped, before the file gets its name in the message.
#[derive(Debug)]
pub(super) enum Stop {
    Sqlite(rusqlite::Error),
    UnknownRun(RunId),
    NotOpen { run: RunId, state: String },
}

impl From<rusqlite::Error> for Stop {
    fn from(source: rusqlite::Error) -> Self {
        Self::Sqlite(source)
    }
}

impl Stop {
    /// The error of the record at `path` that stopped while `doing` something.
    pub(super) fn at(self, path: &Path, doing: &'static str) -> RecordError {
        match self {
            Self::Sqlite(source) => RecordError::from_sqlite(path, doing, source),
            Self::UnknownRun(run) => RecordError::UnknownRun { path: path.to_owned(), run },
            Self::NotOpen { run, state } => {
                RecordError::NotOpen { path: path.to_owned(), run, state }
            }
        }
    }
}
