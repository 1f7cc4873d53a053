//! Runs by filter, as lines of a list: what tells them apart and what was found, no more.
//!
//! A list of ten thousand runs is one question to the file, with columns taken by their place; whole
//! runs, with instruments, budgets and plans, are read one by one.

use jiff::Timestamp;
use rusqlite::Row as Columns;
use rusqlite::types::Type;

use super::columns::in_farads;
use super::{MeasuredCurrent, Record, RecordError, RunFilter, RunId, TrayId};
use crate::judge::{Finding, Left, Verdict};
use crate::quantity::{
    Capacitance, Confidence, Current, Time, Voltage, amperes, farads, seconds, volts,
};

/// Two capacitances within this share of each other are printed alike.
const ALIKE: f64 = 1e-3;

const COLUMNS: &str = "runs.id, runs.station, runs.simulated, runs.kind, runs.tray, runs.part, \
    runs.family, runs.capacitance_f, runs.rated_v, runs.test_v, runs.limit_a, runs.limit_at_s, \
    runs.confidence, runs.started_ms, endings.state, endings.verdict, endings.findings, \
    endings.current_a, endings.raw_a, endings.uncertainty_a, endings.current_at_s, endings.left_as";

/// The condition of a [`RunFilter`], whose values are those of [`values`].
pub(super) const MATCHES: &str = "(?1 IS NULL OR station = ?1) AND (?2 IS NULL OR part = ?2) \
    AND (?3 IS NULL OR verdict = ?3) AND (?4 IS NULL OR family = ?4) \
    AND (?5 IS NULL OR abs(capacitance_f / ?5 - 1) < ?6) \
    AND (?7 IS NULL OR ?7 <= started_ms) AND (?8 IS NULL OR started_ms < ?8) \
    AND (?9 IS NULL OR tray = ?9) ORDER BY runs.id DESC LIMIT ?10";

/// A run as a line of a list.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    /// Its id.
    pub id: RunId,
    /// Name of the station.
    pub station: String,
    /// Whether instruments and part were simulated.
    pub simulated: bool,
    /// `soak`, `staircase` or `reform`.
    pub kind: String,
    /// The tray that its part lay on.
    pub tray: Option<TrayId>,
    /// The part's name; empty if it has none.
    pub part: String,
    /// The word for its family.
    pub family: String,
    /// Printed capacitance.
    pub capacitance: Capacitance,
    /// Printed voltage.
    pub rated: Voltage,
    /// Voltage of the test.
    pub test_voltage: Voltage,
    /// Highest leakage at which it is within, if there was a limit.
    pub limit: Option<Current>,
    /// When that is read, after full voltage.
    pub reading_time: Option<Time>,
    /// How sure the verdict had to be.
    pub confidence: Confidence,
    /// When the run began by the wall clock.
    pub started: Timestamp,
    /// `open`, `ended` or `interrupted`.
    pub state: &'static str,
    /// What is said of the part; none while the run is open.
    pub verdict: Option<Verdict>,
    /// Why, the reason first.
    pub findings: Vec<Finding>,
    /// The reading.
    pub current: Option<MeasuredCurrent>,
    /// The state the part was left in; none if nobody saw it.
    pub left: Option<Left>,
}

impl Record {
    /// Runs by filter, newest first, as lines of a list.
    ///
    /// # Errors
    ///
    /// [`RecordError`] when the record cannot be read.
    pub fn listing(&self, filter: &RunFilter) -> Result<Vec<Listed>, RecordError> {
        let sql = format!(
            "SELECT {COLUMNS} FROM runs LEFT JOIN endings ON endings.run = runs.id WHERE {MATCHES}"
        );
        self.list("list runs", &sql, values(filter), listed)
    }
}

/// The values of [`MATCHES`].
pub(super) fn values(filter: &RunFilter) -> impl rusqlite::Params {
    rusqlite::params_from_iter([
        rusqlite::types::Value::from(filter.station.clone()),
        filter.part.clone().into(),
        filter.verdict.map(|verdict| verdict.tag().to_owned()).into(),
        filter.family.clone().into(),
        filter.capacitance.map(in_farads).into(),
        ALIKE.into(),
        filter.since.map(Timestamp::as_millisecond).into(),
        filter.before.map(Timestamp::as_millisecond).into(),
        filter.tray.map(TrayId::row).into(),
        // SQLite: below zero is no limit.
        filter.limit.map_or(-1, i64::from).into(),
    ])
}

fn listed(row: &Columns<'_>) -> rusqlite::Result<Listed> {
    let state = row.get_ref(14)?.as_str_or_null()?;
    Ok(Listed {
        id: RunId::from_row(row.get(0)?),
        station: row.get(1)?,
        simulated: row.get(2)?,
        kind: row.get(3)?,
        tray: row.get::<_, Option<i64>>(4)?.map(TrayId::from_row),
        part: row.get(5)?,
        family: row.get(6)?,
        capacitance: farads(row.get(7)?),
        rated: volts(row.get(8)?),
        test_voltage: volts(row.get(9)?),
        limit: row.get::<_, Option<f64>>(10)?.map(amperes),
        reading_time: row.get::<_, Option<f64>>(11)?.map(seconds),
        confidence: Confidence::of(row.get(12)?).map_err(|error| broken(12, error))?,
        started: Timestamp::from_millisecond(row.get(13)?).map_err(|error| broken(13, error))?,
        state: match state {
            None => "open",
            Some("ended") => "ended",
            Some(_) => "interrupted",
        },
        verdict: word(row, 15, Verdict::from_tag)?,
        findings: findings(row)?,
        current: measured(row)?,
        left: word(row, 21, Left::from_tag)?,
    })
}

fn measured(row: &Columns<'_>) -> rusqlite::Result<Option<MeasuredCurrent>> {
    let Some(value) = row.get::<_, Option<f64>>(17)? else { return Ok(None) };
    Ok(Some(MeasuredCurrent {
        value: amperes(value),
        raw: amperes(row.get(18)?),
        uncertainty: amperes(row.get(19)?),
        at: seconds(row.get(20)?),
    }))
}

fn findings(row: &Columns<'_>) -> rusqlite::Result<Vec<Finding>> {
    let text = row.get_ref(16)?.as_str_or_null()?.unwrap_or_default();
    let known = |tag: &str| Finding::from_tag(tag).ok_or_else(|| unknown(16, tag));
    text.split_whitespace().map(known).collect()
}

/// A column that may be empty and else holds one word of a closed list.
fn word<T>(
    row: &Columns<'_>,
    column: usize,
    from_tag: fn(&str) -> Option<T>,
) -> rusqlite::Result<Option<T>> {
    let Some(tag) = row.get_ref(column)?.as_str_or_null()? else { return Ok(None) };
    from_tag(tag).map(Some).ok_or_else(|| unknown(column, tag))
}

fn unknown(column: usize, tag: &str) -> rusqlite::Error {
    let unknown = super::columns::UnknownWord { column: column.to_string(), word: tag.to_owned() };
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(unknown))
}

fn broken(column: usize, error: impl std::error::Error + Send + Sync + 'static) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, Type::Real, Box::new(error))
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::sample::{passed, record, smoothing_capacitor};
    use super::super::{Ending, NewRun};
    use super::*;

    fn filled() -> (tempfile::TempDir, Record) {
        let (folder, mut record) = record();
        let day = |day: u32| format!("2026-03-{day:02}T12:00:00Z").parse().unwrap();
        let parts =
            [("C12", "al-wet", 470e-6), ("C13", "al-wet", 100e-6), ("C14", "ta-mno2", 100e-6)];
        for (number, (part, family, farad)) in (1..).zip(parts) {
            let run = NewRun {
                part_name: part.into(),
                family_tag: family.into(),
                capacitance: farads(farad),
                started: day(number),
                ..smoothing_capacitor()
            };
            let id = record.begin(&run).unwrap();
            let verdict = if number == 2 { Verdict::Over } else { Verdict::Within };
            record.finish(id, &Ending { verdict, ..passed() }).unwrap();
        }
        (folder, record)
    }

    #[rstest]
    #[case::all(RunFilter::default(), &["C14", "C13", "C12"])]
    #[case::by_part(RunFilter { part: Some("C13".into()), ..RunFilter::default() }, &["C13"])]
    #[case::by_family(RunFilter { family: Some("al-wet".into()), ..RunFilter::default() }, &["C13", "C12"])]
    #[case::by_value(RunFilter { capacitance: Some(farads(100.02e-6)), ..RunFilter::default() }, &["C14", "C13"])]
    #[case::by_verdict(RunFilter { verdict: Some(Verdict::Over), ..RunFilter::default() }, &["C13"])]
    #[case::since(RunFilter { since: Some("2026-03-02T00:00:00Z".parse().unwrap()), ..RunFilter::default() }, &["C14", "C13"])]
    #[case::before(RunFilter { before: Some("2026-03-02T00:00:00Z".parse().unwrap()), ..RunFilter::default() }, &["C12"])]
    #[case::newest(RunFilter { limit: Some(1), ..RunFilter::default() }, &["C14"])]
    #[case::elsewhere(RunFilter { station: Some("attic".into()), ..RunFilter::default() }, &[])]
    #[case::on_a_tray(RunFilter { tray: Some("t1".parse().unwrap()), ..RunFilter::default() }, &[])]
    fn runs_are_found_by_what_is_known_of_them(#[case] filter: RunFilter, #[case] found: &[&str]) {
        let (_folder, record) = filled();
        let listed = record.listing(&filter).unwrap();
        assert_eq!(listed.iter().map(|run| run.part.as_str()).collect::<Vec<_>>(), found);
        let whole = record.runs(&filter).unwrap();
        assert_eq!(whole.iter().map(|run| run.begun.part_name.as_str()).collect::<Vec<_>>(), found);
    }

    #[test]
    fn a_line_says_what_the_whole_run_says() {
        let (_folder, record) = filled();
        for line in record.listing(&RunFilter::default()).unwrap() {
            let run = record.run(line.id).unwrap();
            assert_eq!(line.verdict, run.verdict());
            assert_eq!(line.findings, run.findings());
            assert_eq!(line.left, run.left());
            assert_eq!(line.current, passed().current);
            assert_eq!(line.limit, run.begun.limit.map(|limit| limit.current));
            assert_eq!(
                (line.started, line.capacitance),
                (run.begun.started, run.begun.capacitance)
            );
            assert_eq!(line.confidence, run.begun.conditions.confidence);
        }
    }
}
