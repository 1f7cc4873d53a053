//! Runs as JSON Lines, with all that is on record of them.

use std::io::Write;
use std::path::Path;

use super::line::{EventLine, Head, Line, ReadingLine, RunLine, VERSION};
use super::{Draft, ExportError};
use crate::record::{Record, RecordError, Row, RunId};

/// Writes runs with their events and readings; gives how many readings there are.
///
/// # Errors
///
/// [`ExportError`] when the record can't be read or the file not be written; no half file is left
/// under its name.
pub fn write(record: &Record, runs: &[RunId], path: &Path) -> Result<u64, ExportError> {
    let mut draft = Draft::new(path)?;
    let software = format!("reststrom {}", env!("CARGO_PKG_VERSION"));
    put(&mut draft, &Line::Export(Head { version: VERSION, software }))?;
    let mut count = 0;
    for &id in runs {
        put(&mut draft, &Line::Run(Box::new(RunLine::of(&record.run(id)?))))?;
        for event in record.events(id)? {
            put(&mut draft, &Line::Event(EventLine::of(&event)))?;
        }
        count += readings(record, id, &mut draft)?;
    }
    draft.finish()?;
    Ok(count)
}

fn readings(record: &Record, id: RunId, draft: &mut Draft) -> Result<u64, ExportError> {
    let (mut count, mut failure) = (0, None);
    let read: Result<(), RecordError> = record.for_each_block(id, |rows: Vec<Row>| {
        count += rows.len() as u64;
        let mut lines = rows.iter().map(|row| Line::Reading(ReadingLine::of(row)));
        failure = lines.try_for_each(|line| put(draft, &line)).err();
        failure.is_none()
    });
    read?;
    failure.map_or(Ok(count), Err)
}

fn put(draft: &mut Draft, line: &Line) -> Result<(), ExportError> {
    serde_json::to_writer(&mut draft.file, line)?;
    draft.file.write_all(b"\n").map_err(|source| draft.failed(source))
}
