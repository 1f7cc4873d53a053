//! Runs handed on: tables of readings as CSV and Parquet, everything as JSON Lines.
//!
//! Reading the record and writing the file are two threads' work with a few blocks between them, so
//! that ten million readings neither wait for each other nor fill the memory. [`csv`] and
//! [`parquet`] are tables for spreadsheets and engines. JSON Lines hold all that is on record of a
//! run, and come back with [`import`].

pub mod csv;
pub mod import;
pub mod jsonl;
pub mod line;
pub mod parquet;

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::sync_channel;
use std::thread;

use crate::record::{Flags, Record, RecordError, RecordedCurrent, Row, RunId};

/// Blocks of readings that may wait between the two threads.
const WAITING: usize = 32;

/// Why an export or an import failed.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The record could not be read or written.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The file could not be written or read.
    #[error("{}: {source}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Whoever was sent the table took no more of it.
    #[error("the table was not taken to its end: {0}")]
    NotTaken(#[source] io::Error),
    /// The table could not be packed.
    #[error("cannot pack the table")]
    Packing(#[from] ::parquet::errors::ParquetError),
    /// A line could not be written as JSON.
    #[error("cannot write a line as JSON")]
    Json(#[from] serde_json::Error),
    /// The thread that wrote the file is gone.
    #[error("the file was not written to its end")]
    Unfinished,
    /// A line of a file to import does not fit.
    #[error("{}, line {number}: {why}", path.display())]
    Line {
        /// Which file.
        path: PathBuf,
        /// Which line, from 1.
        number: usize,
        /// What was expected and what came.
        why: String,
    },
}

impl ExportError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Record(error) => error.help().to_owned(),
            Self::File { .. } | Self::Unfinished => {
                "name a file in a folder with room that can be written to".to_owned()
            }
            Self::NotTaken(_) => "ask for it again".to_owned(),
            Self::Packing(_) | Self::Json(_) => "see the reason".to_owned(),
            Self::Line { .. } => {
                "import takes what `reststrom export --out NAME.jsonl` wrote, unchanged; \
                 nothing of this file was taken"
                    .to_owned()
            }
        }
    }
}

/// A file that is written under another name and only takes its own when it is whole.
struct Draft {
    file: BufWriter<File>,
    /// Where it is written to until then.
    meanwhile: PathBuf,
    path: PathBuf,
}

impl Draft {
    fn new(path: &Path) -> Result<Self, ExportError> {
        let mut name = path.as_os_str().to_owned();
        name.push(".part");
        let meanwhile = PathBuf::from(name);
        let file = File::create(&meanwhile)
            .map_err(|source| ExportError::File { path: meanwhile.clone(), source })?;
        Ok(Self { file: BufWriter::with_capacity(1 << 20, file), meanwhile, path: path.to_owned() })
    }

    fn failed(&self, source: io::Error) -> ExportError {
        ExportError::File { path: self.path.clone(), source }
    }

    /// Gives the file its name, once everything is in it.
    fn finish(mut self) -> Result<(), ExportError> {
        let done = self.file.flush().and_then(|()| self.file.get_ref().sync_all());
        let done = done.and_then(|()| std::fs::rename(&self.meanwhile, &self.path));
        done.map_err(|source| self.failed(source))
    }
}

impl Drop for Draft {
    /// What was not finished goes; a finished one is no longer under this name.
    fn drop(&mut self) {
        if self.meanwhile.exists()
            && let Err(error) = std::fs::remove_file(&self.meanwhile)
        {
            tracing::warn!(%error, "a half-written file stays");
        }
    }
}

/// Reads the readings of runs in one thread and hands them in blocks to `write` in another. What
/// `write` gives is whole only if this gives it: reading may have failed on the way.
fn piped<T: Send>(
    record: &Record,
    runs: &[RunId],
    write: impl FnOnce(&mut dyn Iterator<Item = (RunId, Vec<Row>)>) -> Result<T, ExportError> + Send,
) -> Result<T, ExportError> {
    let (sender, receiver) = sync_channel::<(RunId, Vec<Row>)>(WAITING);
    thread::scope(|scope| {
        let writing = scope.spawn(move || write(&mut receiver.into_iter()));
        let read = runs.iter().try_for_each(|&run| {
            record.for_each_block(run, |rows| {
                // A writer that is gone has its own error, which is told below.
                sender.send((run, rows)).is_ok()
            })
        });
        drop(sender);
        let written = writing.join().map_err(|_| ExportError::Unfinished)?;
        read?;
        written
    })
}

/// Why there is no number; empty where there is one.
fn mark(row: &Row) -> &'static str {
    match row.current {
        RecordedCurrent::Value(_) => "",
        RecordedCurrent::Overload { negative: false } => "overload",
        RecordedCurrent::Overload { negative: true } => "negative-overload",
        RecordedCurrent::NotANumber => "not-a-number",
    }
}

/// The marks of a reading in words, with a blank between them.
fn flags(row: &Row) -> &'static str {
    let has = |flag| row.flags.contains(flag);
    match (has(Flags::IN_WINDOW), has(Flags::SETTLING), has(Flags::LATE)) {
        (false, false, false) => "",
        (true, false, false) => "in-window",
        (false, true, false) => "settling",
        (false, false, true) => "late",
        (true, true, false) => "in-window settling",
        (true, false, true) => "in-window late",
        (false, true, true) => "settling late",
        (true, true, true) => "in-window settling late",
    }
}

/// The current in A, if there is a number.
fn ampere(row: &Row) -> Option<f64> {
    match row.current {
        RecordedCurrent::Value(current) => Some(current.value),
        RecordedCurrent::Overload { .. } | RecordedCurrent::NotANumber => None,
    }
}

#[cfg(test)]
mod tests;
