//! Everything that only looks. No call keeps a read snapshot open while its caller works: a
//! snapshot that lasts would keep the write-ahead log from being emptied.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Params, params};

use super::columns::{READING, confidence, event, maybe, moment, number, reading, word, words};
use super::listing;
use super::{
    Component, Conditions, Ending, EventRow, InstrumentOnRecord, LimitOnRecord, MeasuredCurrent,
    NewRun, PhaseSpan, Record, RecordError, Row, Run, RunFilter, RunId, RunState, TrayId,
    TrayPlace, Zero,
};
use crate::judge::{Finding, Left, Source, Verdict};
use crate::part::Room;
use crate::plan::Kind;
use crate::quantity::{amperes, celsius, farads, seconds, volts};

/// Readings taken from the file at once while streaming: some hundred kilobytes.
const CHUNK: u32 = 4096;

const RUNS: &str = "SELECT runs.*, endings.state, endings.verdict, endings.findings, \
    endings.current_a, endings.raw_a, endings.uncertainty_a, endings.current_at_s, endings.at_part_v, \
    endings.measured_f, endings.measured_uncertainty_f, endings.peak_a, endings.left_as, endings.advice, endings.ended_ms, \
    endings.full_voltage_s FROM runs LEFT JOIN endings ON endings.run = runs.id";

impl Record {
    /// Runs by filter, newest first. Newest is what was begun last, whatever the wall clock said.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn runs(&self, filter: &RunFilter) -> Result<Vec<Run>, RecordError> {
        self.list_runs(&format!("WHERE {}", listing::MATCHES), listing::values(filter))
    }

    /// Open runs of a station, oldest first. Found at the start of a program, they are the ones
    /// that were interrupted.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn open_runs(&self, station: &str) -> Result<Vec<Run>, RecordError> {
        self.list_runs("WHERE station = ?1 AND state IS NULL ORDER BY runs.id", [station])
    }

    /// An open run of any station, if there is one.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn first_open_run(&self) -> Result<Option<RunId>, RecordError> {
        let sql = "SELECT runs.id FROM runs LEFT JOIN endings ON endings.run = runs.id \
                   WHERE endings.run IS NULL ORDER BY runs.id LIMIT 1";
        let mut found =
            self.list("look for open runs", sql, [], |row| row.get(0).map(RunId::from_row))?;
        Ok(found.pop())
    }

    /// One run.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why the record cannot be read.
    pub fn run(&self, id: RunId) -> Result<Run, RecordError> {
        let found = self.list_runs("WHERE runs.id = ?1", [id.row()])?;
        found.into_iter().next().ok_or_else(|| self.unknown(id))
    }

    /// The run that was begun by a start with this token, and what that start asked for.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn run_of_token(&self, token: &str) -> Result<Option<(RunId, String)>, RecordError> {
        let sql = "SELECT run, substr(text, length(?1) + 2) FROM events WHERE kind = 'token' \
            AND substr(text, 1, length(?1) + 1) = ?1 || ' ' ORDER BY run LIMIT 1";
        self.connection
            .query_row(sql, [token], |row| Ok((RunId::from_row(row.get(0)?), row.get(1)?)))
            .optional()
            .map_err(|source| RecordError::from_sqlite(&self.path, "find a token", source))
    }

    /// Up to `at_most` readings of a run that come after sequence number `after`, in order.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why the record cannot be read.
    pub fn readings_after(
        &self,
        id: RunId,
        after: Option<u32>,
        at_most: u32,
    ) -> Result<Vec<Row>, RecordError> {
        self.must_know(id)?;
        self.list(
            "read readings",
            &format!(
                "SELECT {READING} FROM readings WHERE run = ?1 AND sequence > ?2 \
                 ORDER BY sequence LIMIT ?3"
            ),
            params![id.row(), after.map_or(-1, i64::from), at_most],
            reading,
        )
    }

    /// Hands every reading of a run to `each`, in order, with a bounded part of them in memory.
    /// Readings that are added meanwhile come too.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why the record cannot be read; what was handed out until
    /// then is good.
    pub fn for_each_reading(
        &self,
        id: RunId,
        mut each: impl FnMut(Row),
    ) -> Result<(), RecordError> {
        let mut after = None;
        loop {
            let chunk = self.readings_after(id, after, CHUNK)?;
            let Some(last) = chunk.last() else { return Ok(()) };
            after = Some(last.sequence);
            chunk.into_iter().for_each(&mut each);
        }
    }

    /// Hands the readings of a run to `each` in blocks, in order, until it says that it has enough.
    ///
    /// # Errors
    ///
    /// As [`Record::for_each_reading`].
    pub fn for_each_block(
        &self,
        id: RunId,
        mut each: impl FnMut(Vec<Row>) -> bool,
    ) -> Result<(), RecordError> {
        let mut after = None;
        loop {
            let block = self.readings_after(id, after, CHUNK)?;
            let Some(last) = block.last() else { return Ok(()) };
            after = Some(last.sequence);
            if !each(block) {
                return Ok(());
            }
        }
    }

    /// How many readings of a run are stored.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why the record cannot be read.
    pub fn count_readings(&self, id: RunId) -> Result<u32, RecordError> {
        self.must_know(id)?;
        let sql = "SELECT count(*) FROM readings WHERE run = ?1";
        self.connection
            .query_one(sql, [id.row()], |row| row.get(0))
            .map_err(|source| RecordError::from_sqlite(&self.path, "count readings", source))
    }

    /// The phases of a run by its readings, in order; a phase that came twice is there twice.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why the record cannot be read.
    pub fn phase_spans(&self, id: RunId) -> Result<Vec<PhaseSpan>, RecordError> {
        let mut spans = Vec::new();
        self.for_each_reading(id, |row| PhaseSpan::extend(&mut spans, &row))?;
        Ok(spans)
    }

    /// The events of a run, in the order in which they were stored.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why the record cannot be read.
    pub fn events(&self, id: RunId) -> Result<Vec<EventRow>, RecordError> {
        self.must_know(id)?;
        let sql = "SELECT * FROM events WHERE run = ?1 ORDER BY id";
        self.list("read events", sql, [id.row()], event)
    }

    /// The zero of a station's fixture that was stored last.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn latest_zero(&self, station: &str) -> Result<Option<Zero>, RecordError> {
        let sql = "SELECT * FROM zeroes WHERE station = ?1 ORDER BY id DESC LIMIT 1";
        Ok(self.list("read the zero", sql, [station], zero)?.pop())
    }

    /// The zero of a station's fixture that was the newest when a run began.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn zero_before(
        &self,
        station: &str,
        began: Timestamp,
    ) -> Result<Option<Zero>, RecordError> {
        let sql = "SELECT * FROM zeroes WHERE station = ?1 AND taken_ms <= ?2 \
                   ORDER BY id DESC LIMIT 1";
        let values = params![station, began.as_millisecond()];
        Ok(self.list("read the zero", sql, values, zero)?.pop())
    }

    pub(super) fn list_runs(
        &self,
        which: &str,
        values: impl Params,
    ) -> Result<Vec<Run>, RecordError> {
        let mut runs = self.list("read runs", &format!("{RUNS} {which}"), values, run)?;
        for run in &mut runs {
            run.begun.instruments = self.instruments(run.id)?;
            if let RunState::Ended(ending) = &mut run.state {
                ending.budget = self.budget(run.id)?;
                ending.staircase = self.staircase(run.id)?;
                ending.formed = self.formed(run.id)?;
            }
        }
        Ok(runs)
    }

    fn instruments(&self, id: RunId) -> Result<Vec<InstrumentOnRecord>, RecordError> {
        let sql = "SELECT role, identity FROM instruments WHERE run = ?1 ORDER BY position";
        self.list("read instruments", sql, [id.row()], |row| {
            Ok(InstrumentOnRecord { role: row.get("role")?, identity: row.get("identity")? })
        })
    }

    fn budget(&self, id: RunId) -> Result<Vec<Component>, RecordError> {
        let sql = "SELECT * FROM budgets WHERE run = ?1 ORDER BY uncertainty_a DESC, source";
        self.list("read a budget", sql, [id.row()], |row| {
            Ok(Component {
                source: word(row, "source", Source::from_tag)?,
                uncertainty: number(row, "uncertainty_a", amperes)?,
            })
        })
    }

    pub(super) fn must_know(&self, id: RunId) -> Result<(), RecordError> {
        let known: Option<i64> = self
            .connection
            .query_row("SELECT id FROM runs WHERE id = ?1", [id.row()], |row| row.get(0))
            .optional()
            .map_err(|source| RecordError::from_sqlite(&self.path, "find a run", source))?;
        known.map(|_| ()).ok_or_else(|| self.unknown(id))
    }

    fn unknown(&self, run: RunId) -> RecordError {
        RecordError::UnknownRun { path: self.path.clone(), run }
    }

    pub(super) fn list<T>(
        &self,
        doing: &'static str,
        sql: &str,
        values: impl Params,
        each: fn(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, RecordError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_map(values, each)?.collect())
            .map_err(|source| RecordError::from_sqlite(&self.path, doing, source))
    }
}

/// A run from its row, still without what other tables hold.
fn run(row: &rusqlite::Row<'_>) -> rusqlite::Result<Run> {
    Ok(Run { id: RunId::from_row(row.get("id")?), begun: new_run(row)?, state: state(row)? })
}

fn new_run(row: &rusqlite::Row<'_>) -> rusqlite::Result<NewRun> {
    Ok(NewRun {
        station: row.get("station")?,
        simulated: row.get("simulated")?,
        lapse: row.get("lapse")?,
        kind: word(row, "kind", Kind::from_tag)?,
        follows: row.get::<_, Option<i64>>("follows")?.map(RunId::from_row),
        place: place(row)?,
        part_name: row.get("part")?,
        family_tag: row.get("family")?,
        capacitance: number(row, "capacitance_f", farads)?,
        tolerance: row.get("tolerance")?,
        rated: number(row, "rated_v", volts)?,
        test_voltage: number(row, "test_v", volts)?,
        limit: limit(row)?,
        conditions: conditions(row)?,
        plan_json: row.get("plan_json")?,
        instruments: Vec::new(),
        software: row.get("software")?,
        started: moment(row, "started_ms")?,
    })
}

fn limit(row: &rusqlite::Row<'_>) -> rusqlite::Result<Option<LimitOnRecord>> {
    let Some(current) = maybe(row, "limit_a", amperes)? else { return Ok(None) };
    Ok(Some(LimitOnRecord {
        current,
        rule: row.get("limit_rule")?,
        source: row.get("limit_source")?,
        reading_time: maybe(row, "limit_at_s", seconds)?,
        reference_celsius: row.get("limit_celsius")?,
    }))
}

fn conditions(row: &rusqlite::Row<'_>) -> rusqlite::Result<Conditions> {
    Ok(Conditions {
        confidence: confidence(row, "confidence")?,
        judged_at: maybe(row, "judged_at_s", seconds)?,
        room: room(row)?,
        duty: row.get("duty")?,
    })
}

fn room(row: &rusqlite::Row<'_>) -> rusqlite::Result<Option<Room>> {
    let Some(at) = maybe(row, "room_celsius", celsius)? else { return Ok(None) };
    let (tolerance, told) = (row.get("room_tolerance_k")?, row.get("room_told")?);
    Ok(Some(Room { at, tolerance, told }))
}

fn place(row: &rusqlite::Row<'_>) -> rusqlite::Result<Option<TrayPlace>> {
    let tray: Option<i64> = row.get("tray")?;
    let position: Option<String> = row.get("position")?;
    let both = tray.zip(position);
    Ok(both.map(|(tray, position)| TrayPlace { tray: TrayId::from_row(tray), position }))
}

fn state(row: &rusqlite::Row<'_>) -> rusqlite::Result<RunState> {
    match row.get::<_, Option<String>>("state")?.as_deref() {
        None => Ok(RunState::Open),
        Some("ended") => Ok(RunState::Ended(Box::new(ending(row)?))),
        Some(_) => {
            Ok(RunState::Interrupted { found: moment(row, "ended_ms")?, note: row.get("advice")? })
        }
    }
}

fn ending(row: &rusqlite::Row<'_>) -> rusqlite::Result<Ending> {
    Ok(Ending {
        verdict: word(row, "verdict", Verdict::from_tag)?,
        findings: words(row, "findings", Finding::from_tag)?,
        current: measured_current(row)?,
        budget: Vec::new(),
        voltage_at_part: maybe(row, "at_part_v", volts)?,
        measured_capacitance: maybe(row, "measured_f", farads)?,
        capacitance_uncertainty: maybe(row, "measured_uncertainty_f", farads)?,
        peak_current: maybe(row, "peak_a", amperes)?,
        staircase: None,
        formed: None,
        left: word(row, "left_as", Left::from_tag)?,
        advice: row.get("advice")?,
        ended: moment(row, "ended_ms")?,
        full_voltage_at: maybe(row, "full_voltage_s", seconds)?,
    })
}

pub(super) fn measured_current(
    row: &rusqlite::Row<'_>,
) -> rusqlite::Result<Option<MeasuredCurrent>> {
    let Some(value) = maybe(row, "current_a", amperes)? else { return Ok(None) };
    Ok(Some(MeasuredCurrent {
        value,
        raw: number(row, "raw_a", amperes)?,
        uncertainty: number(row, "uncertainty_a", amperes)?,
        at: number(row, "current_at_s", seconds)?,
    }))
}

fn zero(row: &rusqlite::Row<'_>) -> rusqlite::Result<Zero> {
    Ok(Zero {
        station: row.get("station")?,
        taken: moment(row, "taken_ms")?,
        current: number(row, "current_a", amperes)?,
        uncertainty: number(row, "uncertainty_a", amperes)?,
        voltage: number(row, "voltage_v", volts)?,
        celsius: row.get("celsius")?,
    })
}
