//! What a staircase and re-forming come to, beside what every run comes to.

use rusqlite::{OptionalExtension, Transaction, params};

use super::columns::{in_amperes, in_coulombs, in_seconds, in_volts, maybe, number, word};
use super::error::Stop;
use super::read::measured_current;
use super::{MeasuredCurrent, Record, RecordError, RunId};
use crate::judge::{HighestWithin, Verdict};
use crate::quantity::{Charge, Current, Voltage, amperes, coulombs, volts};

/// The steps of a staircase and what follows from them.
#[derive(Debug, Clone, PartialEq)]
pub struct StaircaseOnRecord {
    /// From the lowest up.
    pub steps: Vec<StairOnRecord>,
    /// The highest voltage at which the part is within, as a range.
    pub highest: HighestWithin,
}

/// A step of a staircase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StairOnRecord {
    /// Its voltage.
    pub voltage: Voltage,
    /// Its reading against the limit; `untested` if there was none.
    pub verdict: Verdict,
    /// The reading, after full voltage of the step.
    pub current: Option<MeasuredCurrent>,
}

/// What re-forming came to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FormedOnRecord {
    /// What the part drew when it first stood at the voltage.
    pub before: Current,
    /// What it drew at the end.
    pub after: Current,
    /// Charge that went in beyond what a part at its limit leaks meanwhile.
    pub charge: Charge,
    /// It ended below the limit.
    pub good: bool,
}

pub(super) fn insert_staircase(
    transaction: &Transaction<'_>,
    run: RunId,
    staircase: &StaircaseOnRecord,
) -> Result<(), Stop> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO stairs (run, step, voltage_v, verdict, current_a, raw_a, uncertainty_a, \
         current_at_s) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?;
    for (number, step) in (1_u32..).zip(&staircase.steps) {
        let current = step.current;
        insert.execute(params![
            run.row(),
            number,
            in_volts(step.voltage),
            step.verdict.tag(),
            current.map(|current| in_amperes(current.value)),
            current.map(|current| in_amperes(current.raw)),
            current.map(|current| in_amperes(current.uncertainty)),
            current.map(|current| in_seconds(current.at)),
        ])?;
    }
    let HighestWithin { within, beyond, estimate } = staircase.highest;
    transaction.execute(
        "INSERT INTO staircases (run, within_v, beyond_v, estimate_v) VALUES (?1, ?2, ?3, ?4)",
        params![run.row(), within.map(in_volts), beyond.map(in_volts), estimate.map(in_volts)],
    )?;
    Ok(())
}

pub(super) fn insert_formed(
    transaction: &Transaction<'_>,
    run: RunId,
    formed: &FormedOnRecord,
) -> Result<(), Stop> {
    transaction.execute(
        "INSERT INTO formings (run, before_a, after_a, charge_c, good) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![
            run.row(),
            in_amperes(formed.before),
            in_amperes(formed.after),
            in_coulombs(formed.charge),
            formed.good,
        ],
    )?;
    Ok(())
}

impl Record {
    /// The staircase of a run, if it climbed one.
    pub(super) fn staircase(&self, id: RunId) -> Result<Option<StaircaseOnRecord>, RecordError> {
        let sql = "SELECT * FROM staircases WHERE run = ?1";
        let Some(highest) = self.maybe_one("read a staircase", sql, id, highest)? else {
            return Ok(None);
        };
        let sql = "SELECT * FROM stairs WHERE run = ?1 ORDER BY step";
        let steps = self.list("read a staircase", sql, [id.row()], stair)?;
        Ok(Some(StaircaseOnRecord { steps, highest }))
    }

    /// What the re-forming of a run came to, if it was one and came to its end.
    pub(super) fn formed(&self, id: RunId) -> Result<Option<FormedOnRecord>, RecordError> {
        let sql = "SELECT * FROM formings WHERE run = ?1";
        self.maybe_one("read a re-forming", sql, id, formed)
    }

    fn maybe_one<T>(
        &self,
        doing: &'static str,
        sql: &str,
        id: RunId,
        each: fn(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Option<T>, RecordError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row([id.row()], each).optional())
            .map_err(|source| RecordError::from_sqlite(&self.path, doing, source))
    }
}

fn highest(row: &rusqlite::Row<'_>) -> rusqlite::Result<HighestWithin> {
    Ok(HighestWithin {
        within: maybe(row, "within_v", volts)?,
        beyond: maybe(row, "beyond_v", volts)?,
        estimate: maybe(row, "estimate_v", volts)?,
    })
}

fn stair(row: &rusqlite::Row<'_>) -> rusqlite::Result<StairOnRecord> {
    Ok(StairOnRecord {
        voltage: number(row, "voltage_v", volts)?,
        verdict: word(row, "verdict", Verdict::from_tag)?,
        current: measured_current(row)?,
    })
}

fn formed(row: &rusqlite::Row<'_>) -> rusqlite::Result<FormedOnRecord> {
    Ok(FormedOnRecord {
        before: number(row, "before_a", amperes)?,
        after: number(row, "after_a", amperes)?,
        charge: number(row, "charge_c", coulombs)?,
        good: row.get("good")?,
    })
}

#[cfg(test)]
mod tests {
    use super::super::sample::{bare_ending, passed, record, smoothing_capacitor};
    use super::super::{Ending, NewRun, RunState};
    use super::*;
    use crate::plan::Kind;

    fn read_back(kind: Kind, ending: Ending) {
        let (_folder, mut record) = record();
        let id = record.begin(&NewRun { kind, ..smoothing_capacitor() }).unwrap();
        record.finish(id, &ending).unwrap();
        let run = record.run(id).unwrap();
        assert_eq!((run.begun.kind, run.state), (kind, RunState::Ended(Box::new(ending))));
    }

    #[test]
    fn a_staircase_reads_back_with_a_step_that_was_not_read() {
        let step =
            |volt, verdict, current| StairOnRecord { voltage: volts(volt), verdict, current };
        let current = passed().current;
        let staircase = StaircaseOnRecord {
            steps: vec![step(12.5, Verdict::Within, current), step(25.0, Verdict::Untested, None)],
            highest: HighestWithin {
                within: Some(volts(12.5)),
                beyond: Some(volts(25.0)),
                estimate: None,
            },
        };
        read_back(Kind::Staircase, Ending { staircase: Some(staircase), ..bare_ending() });
    }

    #[test]
    fn what_re_forming_came_to_reads_back() {
        let formed = FormedOnRecord {
            before: amperes(0.4e-3),
            after: amperes(9e-6),
            charge: coulombs(0.21),
            good: true,
        };
        read_back(Kind::Reform, Ending { formed: Some(formed), ..bare_ending() });
    }

    #[test]
    fn a_soak_knows_which_re_forming_it_follows() {
        let (_folder, mut record) = record();
        let first = NewRun { kind: Kind::Reform, ..smoothing_capacitor() };
        let first = record.begin(&first).unwrap();
        record.finish(first, &passed()).unwrap();
        let soak = NewRun { follows: Some(first), ..smoothing_capacitor() };
        let id = record.begin(&soak).unwrap();
        assert_eq!(record.run(id).unwrap().begun, soak);
    }
}
