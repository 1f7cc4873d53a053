//! Between columns of the store and values with a unit: the only place where units come off.

use jiff::Timestamp;
use rusqlite::types::Type;
use uom::si::capacitance::farad;
use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::time::second;

use super::reading::{Flags, RecordedCurrent, Row};
use super::run::EventRow;
use crate::plan::Phase;
use crate::quantity::{
    Capacitance, Charge, Confidence, Current, Time, Voltage, amperes, seconds, volts,
};

const OVERLOAD: &str = "overload";
const NEGATIVE_OVERLOAD: &str = "negative-overload";
const NOT_A_NUMBER: &str = "not-a-number";

pub(super) fn in_amperes(current: Current) -> f64 {
    current.get::<ampere>()
}

pub(super) fn in_volts(voltage: Voltage) -> f64 {
    voltage.get::<volt>()
}

pub(super) fn in_farads(capacitance: Capacitance) -> f64 {
    capacitance.get::<farad>()
}

pub(super) fn in_coulombs(charge: Charge) -> f64 {
    charge.get::<coulomb>()
}

pub(super) fn in_seconds(time: Time) -> f64 {
    time.get::<second>()
}

/// A number column that may be empty, as a quantity.
pub(super) fn maybe<T>(
    row: &rusqlite::Row<'_>,
    column: &str,
    quantity: fn(f64) -> T,
) -> rusqlite::Result<Option<T>> {
    Ok(row.get::<_, Option<f64>>(column)?.map(quantity))
}

/// A number column that must be filled, as a quantity.
pub(super) fn number<T>(
    row: &rusqlite::Row<'_>,
    column: &str,
    quantity: fn(f64) -> T,
) -> rusqlite::Result<T> {
    row.get(column).map(quantity)
}

/// A column that holds how sure a verdict had to be.
pub(super) fn confidence(row: &rusqlite::Row<'_>, column: &str) -> rusqlite::Result<Confidence> {
    Confidence::of(row.get(column)?).map_err(|error| unreadable(row, column, Type::Real, error))
}

/// A column of milliseconds by the wall clock.
pub(super) fn moment(row: &rusqlite::Row<'_>, column: &str) -> rusqlite::Result<Timestamp> {
    let milliseconds = row.get(column)?;
    Timestamp::from_millisecond(milliseconds)
        .map_err(|error| unreadable(row, column, Type::Integer, error))
}

/// A column that holds one word of a closed list.
pub(super) fn word<T>(
    row: &rusqlite::Row<'_>,
    column: &str,
    from_tag: fn(&str) -> Option<T>,
) -> rusqlite::Result<T> {
    let text: String = row.get(column)?;
    known(row, column, &text, from_tag)
}

/// A column that holds words of a closed list with a space between them.
pub(super) fn words<T>(
    row: &rusqlite::Row<'_>,
    column: &str,
    from_tag: fn(&str) -> Option<T>,
) -> rusqlite::Result<Vec<T>> {
    let text: String = row.get(column)?;
    text.split_whitespace().map(|tag| known(row, column, tag, from_tag)).collect()
}

/// The columns of a reading, in the order that [`reading`] takes them in: of millions, finding each
/// by its name would be half of the work.
pub(super) const READING: &str = "readings.sequence, readings.time_s, readings.wall_ms, \
    readings.current_a, readings.mark, readings.voltage_v, readings.range_a, readings.flags, \
    readings.phase";

/// One reading from a row of the columns [`READING`].
pub(super) fn reading(row: &rusqlite::Row<'_>) -> rusqlite::Result<Row> {
    let milliseconds = row.get(2)?;
    let wall = Timestamp::from_millisecond(milliseconds)
        .map_err(|error| unreadable(row, "wall_ms", Type::Integer, error))?;
    let current = match row.get::<_, Option<f64>>(3)? {
        Some(value) => RecordedCurrent::Value(amperes(value)),
        None => known(row, "mark", row.get_ref(4)?.as_str()?, current_from_mark)?,
    };
    Ok(Row {
        sequence: row.get(0)?,
        time: seconds(row.get(1)?),
        wall,
        current,
        voltage: row.get::<_, Option<f64>>(5)?.map(volts),
        range: row.get::<_, Option<f64>>(6)?.map(amperes),
        flags: Flags::from_bits(row.get(7)?),
        phase: known(row, "phase", row.get_ref(8)?.as_str()?, Phase::from_tag)?,
    })
}

/// One event from its row.
pub(super) fn event(row: &rusqlite::Row<'_>) -> rusqlite::Result<EventRow> {
    Ok(EventRow {
        time: number(row, "time_s", seconds)?,
        wall: moment(row, "wall_ms")?,
        kind: row.get("kind")?,
        text: row.get("text")?,
    })
}

/// The columns `current_a` and `mark`. SQLite has no NaN, it would store an empty number, so what
/// is not finite becomes a mark.
pub(super) fn current_columns(current: RecordedCurrent) -> (Option<f64>, Option<&'static str>) {
    match current {
        RecordedCurrent::Value(value) if in_amperes(value).is_finite() => {
            (Some(in_amperes(value)), None)
        }
        RecordedCurrent::Overload { negative: false } => (None, Some(OVERLOAD)),
        RecordedCurrent::Overload { negative: true } => (None, Some(NEGATIVE_OVERLOAD)),
        RecordedCurrent::Value(_) | RecordedCurrent::NotANumber => (None, Some(NOT_A_NUMBER)),
    }
}

fn current_from_mark(mark: &str) -> Option<RecordedCurrent> {
    match mark {
        OVERLOAD => Some(RecordedCurrent::Overload { negative: false }),
        NEGATIVE_OVERLOAD => Some(RecordedCurrent::Overload { negative: true }),
        NOT_A_NUMBER => Some(RecordedCurrent::NotANumber),
        _ => None,
    }
}

fn known<T>(
    row: &rusqlite::Row<'_>,
    column: &str,
    tag: &str,
    from_tag: fn(&str) -> Option<T>,
) -> rusqlite::Result<T> {
    from_tag(tag).ok_or_else(|| {
        let unknown = UnknownWord { column: column.to_owned(), word: tag.to_owned() };
        unreadable(row, column, Type::Text, unknown)
    })
}

fn unreadable(
    row: &rusqlite::Row<'_>,
    column: &str,
    kind: Type,
    error: impl std::error::Error + Send + Sync + 'static,
) -> rusqlite::Error {
    let place = row.as_ref().column_index(column).unwrap_or_default();
    rusqlite::Error::FromSqlConversionFailure(place, kind, Box::new(error))
}

/// A stored word that is not in its list.
#[derive(Debug, thiserror::Error)]
#[error("column {column} holds `{word}`, a word that is not known")]
pub(super) struct UnknownWord {
    pub(super) column: String,
    pub(super) word: String,
}
