//! Runs of another record taken in again, from JSON Lines: a file whole, or nothing of it.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;

use super::ExportError;
use super::line::{Line, LineError, RunLine, StateLine, VERSION};
use crate::record::{EventRow, Intake, Record, Row, RunId, RunState};

/// Readings that are stored at once.
const BLOCK: usize = 4096;

/// What became of a run of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Its id in the other record.
    pub there: String,
    /// Its id here.
    pub here: RunId,
    /// It was on record already, and stays as it is.
    pub known: bool,
}

/// Takes in the runs of a file.
///
/// A run that is on record already (same station, part and moment of beginning) is left as it is. One
/// that was open when it was exported becomes an interrupted one: here nothing goes on.
///
/// # Errors
///
/// [`ExportError::Line`] names the line and what is wrong with it; nothing of the file is taken then.
pub fn read(record: &mut Record, path: &Path) -> Result<Vec<Taken>, ExportError> {
    let file =
        File::open(path).map_err(|source| ExportError::File { path: path.to_owned(), source })?;
    record.take_in(|intake| {
        let mut reader = Reader { intake, path, taken: Vec::new(), open: None, number: 0 };
        for line in BufReader::with_capacity(1 << 20, file).lines() {
            let line =
                line.map_err(|source| ExportError::File { path: path.to_owned(), source })?;
            reader.number += 1;
            reader.line(&line)?;
        }
        reader.close()?;
        if reader.number == 0 {
            return Err(reader.wrong("the file is empty"));
        }
        Ok(reader.taken)
    })
}

struct Reader<'a, 'b, 'c> {
    intake: &'a mut Intake<'b>,
    path: &'c Path,
    taken: Vec<Taken>,
    open: Option<OpenRun>,
    number: usize,
}

/// A run whose readings and events are being taken in; of one that is known, nothing is.
struct OpenRun {
    id: Option<RunId>,
    rows: Vec<Row>,
}

impl Reader<'_, '_, '_> {
    fn wrong(&self, why: &(impl ToString + ?Sized)) -> ExportError {
        ExportError::Line { path: self.path.to_owned(), number: self.number, why: why.to_string() }
    }

    fn line(&mut self, text: &str) -> Result<(), ExportError> {
        let line: Line = serde_json::from_str(text).map_err(|error| self.wrong(&error))?;
        match (line, self.number) {
            (Line::Export(head), 1) if head.version == VERSION => Ok(()),
            (Line::Export(head), 1) => Err(self.wrong(&format!(
                "version {}, expected {VERSION}: another version of reststrom wrote it",
                head.version
            ))),
            (_, 1) => Err(self.wrong("expected the head of an export")),
            (Line::Export(_), _) => Err(self.wrong("a second head")),
            (Line::Run(run), _) => self.run(&run),
            (Line::Event(event), _) => self.event(&event.on_record()),
            (Line::Reading(reading), _) => {
                let row = reading.on_record().map_err(|error| self.wrong(&error))?;
                self.reading(row)
            }
        }
    }

    fn run(&mut self, line: &RunLine) -> Result<(), ExportError> {
        self.close()?;
        let unknown = |error: LineError| self.wrong(&error);
        let begun = line.begun().map_err(unknown)?;
        let state = match &line.state {
            StateLine::Open => RunState::Interrupted {
                found: begun.started,
                note: "it was open when it was exported".to_owned(),
            },
            StateLine::Interrupted { found, note } => {
                RunState::Interrupted { found: *found, note: note.clone() }
            }
            StateLine::Ended(ending) => {
                RunState::Ended(Box::new(ending.on_record().map_err(unknown)?))
            }
        };
        let there = line.run.clone();
        let (here, known) = match self.intake.known(&begun)? {
            Some(known) => (known, true),
            None => (self.intake.run(&begun, &state)?, false),
        };
        self.taken.push(Taken { there, here, known });
        self.open = Some(OpenRun { id: (!known).then_some(here), rows: Vec::new() });
        Ok(())
    }

    fn event(&mut self, event: &EventRow) -> Result<(), ExportError> {
        match &self.open {
            None => Err(self.wrong("an event before any run")),
            Some(OpenRun { id: None, .. }) => Ok(()),
            Some(OpenRun { id: Some(id), .. }) => Ok(self.intake.event(*id, event)?),
        }
    }

    fn reading(&mut self, row: Row) -> Result<(), ExportError> {
        let Some(open) = &mut self.open else {
            return Err(self.wrong("a reading before any run"));
        };
        if open.id.is_some() {
            open.rows.push(row);
            if BLOCK <= open.rows.len() {
                return self.store();
            }
        }
        Ok(())
    }

    fn store(&mut self) -> Result<(), ExportError> {
        if let Some(OpenRun { id: Some(id), rows }) = &mut self.open {
            self.intake.readings(*id, rows)?;
            rows.clear();
        }
        Ok(())
    }

    fn close(&mut self) -> Result<(), ExportError> {
        self.store()?;
        self.open = None;
        Ok(())
    }
}
