//! Everything that changes the record. Each call is one transaction that starts as a writer and
//! is on the disk when it returns.

use std::ops::RangeInclusive;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, named_params, params};

use super::columns::{current_columns, in_amperes, in_farads, in_seconds, in_volts};
use super::error::Stop;
use super::other_kinds::{insert_formed, insert_staircase};
use super::{Component, Ending, EventRow, NewRun, Record, RecordError, Row, RunId, Zero};
use crate::judge::{Finding, Verdict};

impl Record {
    /// Stores a run that begins; it is open until [`Record::finish`].
    ///
    /// # Errors
    ///
    /// [`RecordError`] when it cannot be written; nothing is stored then.
    pub fn begin(&mut self, run: &NewRun) -> Result<RunId, RecordError> {
        self.change("begin a run", |transaction| {
            let id = insert_run(transaction, run)?;
            insert_instruments(transaction, id, run)?;
            Ok(id)
        })
    }

    /// Stores readings of an open run, all of them or none.
    ///
    /// # Errors
    ///
    /// [`RecordError::NotOpen`] when the run is over, [`RecordError::UnknownRun`], or why it cannot
    /// be written: a sequence number used twice is refused too.
    pub fn append(&mut self, run: RunId, rows: &[Row]) -> Result<(), RecordError> {
        self.keep(run, rows, &[], &[])
    }

    /// Stores an event. A run that is over may still get some: an acknowledgement, a discharge.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why it cannot be written.
    pub fn event(&mut self, run: RunId, event: &EventRow) -> Result<(), RecordError> {
        self.change("keep an event", |transaction| {
            state_of(transaction, run)?;
            insert_events(transaction, run, std::slice::from_ref(event))
        })
    }

    /// Stores how an open run ended. It is synced to the disk when this returns, so a verdict may
    /// be shown.
    ///
    /// # Errors
    ///
    /// [`RecordError::NotOpen`] when it has an end already: that one stands.
    /// [`RecordError::UnknownRun`], or why it cannot be written.
    pub fn finish(&mut self, run: RunId, ending: &Ending) -> Result<(), RecordError> {
        self.change("finish a run", |transaction| {
            must_be_open(transaction, run)?;
            insert_ending(transaction, run, ending)?;
            insert_budget(transaction, run, &ending.budget)?;
            if let Some(staircase) = &ending.staircase {
                insert_staircase(transaction, run, staircase)?;
            }
            ending.formed.as_ref().map_or(Ok(()), |formed| insert_formed(transaction, run, formed))
        })
    }

    /// Stores that an open run was found without its program: `untested`, and nobody knows the
    /// state that the part was left in.
    ///
    /// # Errors
    ///
    /// [`RecordError::NotOpen`] when it has an end already: that one stands.
    /// [`RecordError::UnknownRun`], or why it cannot be written.
    pub fn mark_interrupted(
        &mut self,
        run: RunId,
        found: Timestamp,
        note: &str,
    ) -> Result<(), RecordError> {
        self.change("mark a run as interrupted", |transaction| {
            must_be_open(transaction, run)?;
            insert_interruption(transaction, run, found, note)
        })
    }

    /// Stores the zero of a fixture.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when it cannot be written.
    pub fn keep_zero(&mut self, zero: &Zero) -> Result<(), RecordError> {
        self.change("keep a zero", |transaction| {
            transaction.execute(
                "INSERT INTO zeroes (station, taken_ms, current_a, uncertainty_a, voltage_v, \
                 celsius) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![
                    zero.station,
                    zero.taken.as_millisecond(),
                    in_amperes(zero.current),
                    in_amperes(zero.uncertainty),
                    in_volts(zero.voltage),
                    zero.celsius,
                ],
            )?;
            Ok(())
        })
    }

    /// Stores readings and events of an open run together, and lets go of what need not stay.
    pub(super) fn keep(
        &mut self,
        run: RunId,
        rows: &[Row],
        events: &[EventRow],
        forget: &[RangeInclusive<u32>],
    ) -> Result<(), RecordError> {
        self.change("keep readings", |transaction| {
            must_be_open(transaction, run)?;
            insert_readings(transaction, run, rows)?;
            forget_readings(transaction, run, forget)?;
            insert_events(transaction, run, events)
        })
    }

    /// One transaction that holds the write lock from its start: a reader that turned writer
    /// would be refused at once, whatever the busy timeout.
    pub(super) fn change<T>(
        &mut self,
        doing: &'static str,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, Stop>,
    ) -> Result<T, RecordError> {
        let path = &self.path;
        let sqlite = |source| RecordError::from_sqlite(path, doing, source);
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(sqlite)?;
        let value = work(&transaction).map_err(|stop| stop.at(path, doing))?;
        transaction.commit().map_err(sqlite)?;
        Ok(value)
    }
}

/// The stored end of a run, `None` while it is open.
fn state_of(transaction: &Transaction<'_>, run: RunId) -> Result<Option<String>, Stop> {
    transaction
        .prepare_cached(
            "SELECT state FROM runs LEFT JOIN endings ON endings.run = runs.id WHERE runs.id = ?1",
        )?
        .query_row([run.row()], |row| row.get(0))
        .optional()?
        .ok_or(Stop::UnknownRun(run))
}

fn must_be_open(transaction: &Transaction<'_>, run: RunId) -> Result<(), Stop> {
    match state_of(transaction, run)? {
        None => Ok(()),
        Some(state) => Err(Stop::NotOpen { run, state }),
    }
}

pub(super) fn insert_run(transaction: &Transaction<'_>, run: &NewRun) -> Result<RunId, Stop> {
    let (limit, room) = (run.limit.as_ref(), run.conditions.room.as_ref());
    transaction.execute(
        "INSERT INTO runs (station, simulated, lapse, kind, follows, tray, position, part, family, capacitance_f, tolerance, \
         rated_v, test_v, limit_a, limit_rule, limit_source, limit_at_s, limit_celsius, \
         confidence, judged_at_s, room_celsius, room_tolerance_k, room_told, duty, plan_json, software, started_ms) \
         VALUES (:station, :simulated, :lapse, :kind, :follows, :tray, :position, :part, :family, :capacitance, :tolerance, :rated, \
         :test, :limit, :rule, :source, :reading_time, :celsius, :confidence, :judged_at, :room, :tolerance_k, :told, \
         :duty, :plan, :software, :started)",
        named_params! {
            ":station": run.station,
            ":simulated": run.simulated,
            ":lapse": run.lapse,
            ":kind": run.kind.tag(),
            ":follows": run.follows.map(RunId::row),
            ":tray": run.place.as_ref().map(|place| place.tray.row()),
            ":position": run.place.as_ref().map(|place| &place.position),
            ":part": run.part_name,
            ":family": run.family_tag,
            ":capacitance": in_farads(run.capacitance),
            ":tolerance": run.tolerance,
            ":rated": in_volts(run.rated),
            ":test": in_volts(run.test_voltage),
            ":limit": limit.map(|limit| in_amperes(limit.current)),
            ":rule": limit.map(|limit| &limit.rule),
            ":source": limit.map(|limit| &limit.source),
            ":reading_time": limit.and_then(|limit| limit.reading_time).map(in_seconds),
            ":celsius": limit.and_then(|limit| limit.reference_celsius),
            ":confidence": run.conditions.confidence.share(),
            ":judged_at": run.conditions.judged_at.map(in_seconds),
            ":room": room.map(|room| room.at.degrees()),
            ":tolerance_k": room.map(|room| room.tolerance),
            ":told": room.map(|room| room.told),
            ":duty": run.conditions.duty,
            ":plan": run.plan_json,
            ":software": run.software,
            ":started": run.started.as_millisecond(),
        },
    )?;
    Ok(RunId::from_row(transaction.last_insert_rowid()))
}

pub(super) fn insert_instruments(
    transaction: &Transaction<'_>,
    id: RunId,
    run: &NewRun,
) -> Result<(), Stop> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO instruments (run, position, role, identity) VALUES (?1, ?2, ?3, ?4)",
    )?;
    for (position, instrument) in (1_u32..).zip(&run.instruments) {
        insert.execute(params![id.row(), position, instrument.role, instrument.identity])?;
    }
    Ok(())
}

pub(super) fn insert_readings(
    transaction: &Transaction<'_>,
    run: RunId,
    rows: &[Row],
) -> Result<(), Stop> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO readings (run, sequence, time_s, wall_ms, current_a, mark, voltage_v, \
         range_a, flags, phase) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?;
    for row in rows {
        let (current, mark) = current_columns(row.current);
        insert.execute(params![
            run.row(),
            row.sequence,
            in_seconds(row.time),
            row.wall.as_millisecond(),
            current,
            mark,
            row.voltage.map(in_volts),
            row.range.map(in_amperes),
            row.flags.bits(),
            row.phase.tag(),
        ])?;
    }
    Ok(())
}

fn forget_readings(
    transaction: &Transaction<'_>,
    run: RunId,
    forget: &[RangeInclusive<u32>],
) -> Result<(), Stop> {
    let mut delete = transaction
        .prepare_cached("DELETE FROM readings WHERE run = ?1 AND sequence BETWEEN ?2 AND ?3")?;
    for range in forget {
        delete.execute(params![run.row(), range.start(), range.end()])?;
    }
    Ok(())
}

pub(super) fn insert_events(
    transaction: &Transaction<'_>,
    run: RunId,
    events: &[EventRow],
) -> Result<(), Stop> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO events (run, time_s, wall_ms, kind, text) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for event in events {
        insert.execute(params![
            run.row(),
            in_seconds(event.time),
            event.wall.as_millisecond(),
            event.kind,
            event.text,
        ])?;
    }
    Ok(())
}

pub(super) fn insert_ending(
    transaction: &Transaction<'_>,
    run: RunId,
    ending: &Ending,
) -> Result<(), Stop> {
    let current = ending.current;
    transaction.execute(
        "INSERT INTO endings (run, state, verdict, findings, current_a, raw_a, \
         uncertainty_a, current_at_s, at_part_v, measured_f, measured_uncertainty_f, peak_a, left_as, advice, ended_ms, full_voltage_s) \
         VALUES (:run, 'ended', :verdict, :findings, :current, :raw, :uncertainty, :current_at, \
         :at_part, :measured, :measured_uncertainty, :peak, :left, :advice, :ended, :full_voltage)",
        named_params! {
            ":run": run.row(),
            ":verdict": ending.verdict.tag(),
            ":findings": tags(&ending.findings),
            ":current": current.map(|current| in_amperes(current.value)),
            ":raw": current.map(|current| in_amperes(current.raw)),
            ":uncertainty": current.map(|current| in_amperes(current.uncertainty)),
            ":current_at": current.map(|current| in_seconds(current.at)),
            ":at_part": ending.voltage_at_part.map(in_volts),
            ":measured": ending.measured_capacitance.map(in_farads),
            ":measured_uncertainty": ending.capacitance_uncertainty.map(in_farads),
            ":peak": ending.peak_current.map(in_amperes),
            ":left": ending.left.tag(),
            ":advice": ending.advice,
            ":ended": ending.ended.as_millisecond(),
            ":full_voltage": ending.full_voltage_at.map(in_seconds),
        },
    )?;
    Ok(())
}

pub(super) fn insert_budget(
    transaction: &Transaction<'_>,
    run: RunId,
    budget: &[Component],
) -> Result<(), Stop> {
    let mut insert = transaction
        .prepare_cached("INSERT INTO budgets (run, source, uncertainty_a) VALUES (?1, ?2, ?3)")?;
    for component in budget {
        let uncertainty = in_amperes(component.uncertainty);
        insert.execute(params![run.row(), component.source.tag(), uncertainty])?;
    }
    Ok(())
}

pub(super) fn insert_interruption(
    transaction: &Transaction<'_>,
    run: RunId,
    found: Timestamp,
    note: &str,
) -> Result<(), Stop> {
    transaction.execute(
        "INSERT INTO endings (run, state, verdict, findings, advice, ended_ms) \
         VALUES (?1, 'interrupted', ?2, ?3, ?4, ?5)",
        params![
            run.row(),
            Verdict::Untested.tag(),
            tags(&[Finding::Stopped]),
            note,
            found.as_millisecond(),
        ],
    )?;
    Ok(())
}

fn tags(findings: &[Finding]) -> String {
    findings.iter().map(|finding| finding.tag()).collect::<Vec<_>>().join(" ")
}
