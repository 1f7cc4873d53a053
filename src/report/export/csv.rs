//! Readings as CSV (RFC 4180), for spreadsheets and scripts.
//!
//! Columns say their unit in their name. Where a spreadsheet expects a decimal comma, cells are
//! parted by semicolons: a comma can't be both.

use std::io::{self, Write};
use std::path::Path;

use super::{Draft, ExportError, ampere, flags, mark, piped};
use crate::record::{Record, Row, RunId};

/// The columns.
pub const HEADER: [&str; 9] = [
    "run",
    "sequence",
    "time_second",
    "unix_millisecond",
    "current_ampere",
    "voltage_volt",
    "range_ampere",
    "flags",
    "phase",
];

/// The sign between whole number and fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// A point, and commas between cells.
    Point,
    /// A comma, and semicolons between cells.
    Comma,
}

impl Decimal {
    const fn separator(self) -> u8 {
        match self {
            Self::Point => b',',
            Self::Comma => b';',
        }
    }
}

/// Writes the readings of runs as one table; gives how many there are.
///
/// # Errors
///
/// [`ExportError`] when the record can't be read or the file not be written; no half file is left
/// under its name.
pub fn write(
    record: &Record,
    runs: &[RunId],
    decimal: Decimal,
    path: &Path,
) -> Result<u64, ExportError> {
    let mut draft = Draft::new(path)?;
    let (draft, count) = piped(record, runs, move |blocks| {
        let count = table(blocks, decimal, &mut draft.file);
        let count = count.map_err(|source| draft.failed(source))?;
        Ok((draft, count))
    })?;
    draft.finish()?;
    Ok(count)
}

/// Sends the readings of a run as one table to somebody who takes it as it comes; gives how many
/// there are.
///
/// # Errors
///
/// [`ExportError`] when the record can't be read, or the table is no longer taken.
pub fn send(
    record: &Record,
    run: RunId,
    decimal: Decimal,
    mut to: impl Write + Send,
) -> Result<u64, ExportError> {
    piped(record, &[run], move |blocks| {
        table(blocks, decimal, &mut to).map_err(ExportError::NotTaken)
    })
}

/// Header and lines.
fn table(
    blocks: &mut dyn Iterator<Item = (RunId, Vec<Row>)>,
    decimal: Decimal,
    to: &mut impl Write,
) -> io::Result<u64> {
    let mut lines = Lines { decimal, text: Vec::with_capacity(1 << 20) };
    lines.header();
    let mut count = 0;
    for (run, rows) in blocks {
        let run = run.to_string();
        for row in &rows {
            lines.row(&run, row);
        }
        count += rows.len() as u64;
        to.write_all(&lines.text)?;
        lines.text.clear();
    }
    to.write_all(&lines.text)?;
    Ok(count)
}

/// Lines on their way to the file.
struct Lines {
    decimal: Decimal,
    text: Vec<u8>,
}

impl Lines {
    fn header(&mut self) {
        for (index, name) in HEADER.iter().enumerate() {
            if 0 < index {
                self.text.push(self.decimal.separator());
            }
            self.text.extend_from_slice(name.as_bytes());
        }
        self.text.extend_from_slice(b"\r\n");
    }

    /// No cell needs quotes: words and numbers hold neither separator nor quote nor line end.
    fn row(&mut self, run: &str, row: &Row) {
        let mut integers = itoa::Buffer::new();
        self.word(run);
        self.word(integers.format(row.sequence));
        self.number(Some(row.time.value));
        self.word(integers.format(row.wall.as_millisecond()));
        self.number(ampere(row));
        self.number(row.voltage.map(|voltage| voltage.value));
        self.number(row.range.map(|range| range.value));
        let (mark, flags) = (mark(row), flags(row));
        self.text.extend_from_slice(mark.as_bytes());
        if !mark.is_empty() && !flags.is_empty() {
            self.text.push(b' ');
        }
        self.word(flags);
        self.text.extend_from_slice(row.phase.tag().as_bytes());
        self.text.extend_from_slice(b"\r\n");
    }

    fn word(&mut self, word: &str) {
        self.text.extend_from_slice(word.as_bytes());
        self.text.push(self.decimal.separator());
    }

    /// The shortest digits that read back as the same number.
    fn number(&mut self, value: Option<f64>) {
        if let Some(value) = value {
            let mut digits = ryu::Buffer::new();
            let from = self.text.len();
            self.text.extend_from_slice(digits.format(value).as_bytes());
            if self.decimal == Decimal::Comma {
                let point = self.text.iter().skip(from).position(|byte| *byte == b'.');
                if let Some(point) = point.and_then(|at| self.text.get_mut(from + at)) {
                    *point = b',';
                }
            }
        }
        self.text.push(self.decimal.separator());
    }
}
