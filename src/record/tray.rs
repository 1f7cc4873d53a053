//! Trays on record: the file whole, and the runs of its parts by position.

use std::fmt;
use std::str::FromStr;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

use super::columns::moment;
use super::{Record, RecordError, Run};

/// Which tray: written `t3`, unique in its record file and never given twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct TrayId(i64); // Invariant: above zero.

impl TrayId {
    /// The id of a stored row.
    pub(super) const fn from_row(row: i64) -> Self {
        Self(row)
    }

    /// The row that has this id.
    pub(super) const fn row(self) -> i64 {
        self.0
    }
}

impl fmt::Display for TrayId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("t{}", self.0))
    }
}

impl FromStr for TrayId {
    type Err = TrayIdError;

    /// Reads `t3` or `3`.
    fn from_str(text: &str) -> Result<Self, TrayIdError> {
        let digits = text.strip_prefix('t').unwrap_or(text);
        let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
        match digits.parse() {
            Ok(row) if plain && 0 < row => Ok(Self(row)),
            Ok(_) | Err(_) => Err(TrayIdError(text.to_owned())),
        }
    }
}

/// Why a text names no tray.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` names no tray, expected t and a number from 1 up, as in t3")]
pub struct TrayIdError(String);

/// What is known of a tray when it begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewTray {
    /// Name of the station.
    pub station: String,
    /// Name of the tray's file.
    pub name: String,
    /// Text of the file, whole.
    pub text: String,
    /// When it began by the wall clock; kept to the millisecond.
    pub started: Timestamp,
}

/// A stored tray.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrayOnRecord {
    /// Its id.
    pub id: TrayId,
    /// What was known when it began.
    pub begun: NewTray,
    /// When the last of its parts was done; none while parts are left.
    pub ended: Option<Timestamp>,
}

/// Where on a tray a run's part lies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrayPlace {
    /// Which tray.
    pub tray: TrayId,
    /// The name of the place on it.
    pub position: String,
}

impl Record {
    /// Begins a tray and gives its id.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when it cannot be written.
    pub fn begin_tray(&mut self, tray: &NewTray) -> Result<TrayId, RecordError> {
        self.change("begin a tray", |transaction| {
            transaction.execute(
                "INSERT INTO trays (station, name, text, started_ms) VALUES (?1, ?2, ?3, ?4)",
                params![tray.station, tray.name, tray.text, tray.started.as_millisecond()],
            )?;
            Ok(TrayId::from_row(transaction.last_insert_rowid()))
        })
    }

    /// Notes that no part of a tray is left to test.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when it cannot be written.
    pub fn end_tray(&mut self, tray: TrayId, ended: Timestamp) -> Result<(), RecordError> {
        self.change("end a tray", |transaction| {
            transaction.execute(
                "UPDATE trays SET ended_ms = ?2 WHERE id = ?1 AND ended_ms IS NULL",
                params![tray.row(), ended.as_millisecond()],
            )?;
            Ok(())
        })
    }

    /// The tray of a station that was begun last and has parts left.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn unfinished_tray(&self, station: &str) -> Result<Option<TrayOnRecord>, RecordError> {
        self.connection
            .prepare_cached(
                "SELECT * FROM trays WHERE station = ?1 AND ended_ms IS NULL \
                 ORDER BY id DESC LIMIT 1",
            )
            .and_then(|mut select| select.query_row([station], tray).optional())
            .map_err(|source| RecordError::from_sqlite(&self.path, "read a tray", source))
    }

    /// The runs of a tray, oldest first.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn runs_of_tray(&self, tray: TrayId) -> Result<Vec<Run>, RecordError> {
        self.list_runs("WHERE tray = ?1 ORDER BY runs.id", [tray.row()])
    }
}

fn tray(row: &rusqlite::Row<'_>) -> rusqlite::Result<TrayOnRecord> {
    let ended: Option<i64> = row.get("ended_ms")?;
    Ok(TrayOnRecord {
        id: TrayId::from_row(row.get("id")?),
        begun: NewTray {
            station: row.get("station")?,
            name: row.get("name")?,
            text: row.get("text")?,
            started: moment(row, "started_ms")?,
        },
        ended: ended.map(|_| moment(row, "ended_ms")).transpose()?,
    })
}

#[cfg(test)]
mod tests {
    use super::super::NewRun;
    use super::super::sample::{passed, record, smoothing_capacitor};
    use super::*;

    fn begun() -> NewTray {
        NewTray {
            station: "skarvik-bench".into(),
            name: "terne.csv".into(),
            text: "family;value;rating\n".into(),
            started: "2026-03-14T08:22:00Z".parse().unwrap(),
        }
    }

    #[test]
    fn a_tray_is_named_with_or_without_its_letter() {
        assert_eq!("t3".parse(), Ok(TrayId(3)));
        assert_eq!("3".parse(), Ok(TrayId(3)));
        let error = "x3".parse::<TrayId>().unwrap_err();
        insta::assert_snapshot!(error, @"`x3` names no tray, expected t and a number from 1 up, as in t3");
    }

    #[test]
    fn a_tray_is_unfinished_until_its_end_is_noted() {
        let (_folder, mut record) = record();
        let id = record.begin_tray(&begun()).unwrap();
        let found = record.unfinished_tray("skarvik-bench").unwrap().unwrap();
        assert_eq!(found, TrayOnRecord { id, begun: begun(), ended: None });
        assert_eq!(record.unfinished_tray("another").unwrap(), None);
        record.end_tray(id, begun().started).unwrap();
        assert_eq!(record.unfinished_tray("skarvik-bench").unwrap(), None);
    }

    #[test]
    fn the_runs_of_a_tray_know_their_positions() {
        let (_folder, mut record) = record();
        let tray = record.begin_tray(&begun()).unwrap();
        let place = |position: &str| Some(TrayPlace { tray, position: position.into() });
        for position in ["A1", "A2"] {
            let run = NewRun { place: place(position), ..smoothing_capacitor() };
            let id = record.begin(&run).unwrap();
            record.finish(id, &passed()).unwrap();
        }
        let alone = record.begin(&smoothing_capacitor()).unwrap();
        let runs = record.runs_of_tray(tray).unwrap();
        let places: Vec<_> = runs.into_iter().map(|run| run.begun.place).collect();
        assert_eq!(places, [place("A1"), place("A2")]);
        assert_eq!(record.run(alone).unwrap().begun.place, None);
    }
}
