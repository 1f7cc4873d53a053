//! The zero of a station's fixture, from the record to the bench that plans are drawn from.

use jiff::Timestamp;

use crate::plan::{TakenZero, Zero};
use crate::quantity::{Confidence, seconds};
use crate::record::{self, Record, RecordError};
use crate::station::wiring::Station;

/// The station with the zero that was stored for it last, if there is one.
///
/// # Errors
///
/// [`RecordError`] if the record can't be read.
pub fn with_zero(station: &Station, record: &Record) -> Result<Station, RecordError> {
    let mut station = station.clone();
    station.bench.zero = record.latest_zero(&station.name)?.as_ref().map(taken);
    Ok(station)
}

/// A zero on record, with its age.
fn taken(zero: &record::Zero) -> TakenZero {
    let age = Timestamp::now().duration_since(zero.taken).as_secs_f64();
    TakenZero {
        zero: Zero {
            current: zero.current,
            uncertainty: zero.uncertainty / Confidence::USUAL.coverage(),
        },
        voltage: zero.voltage,
        // One from the future says that a clock was set: how old it is, nobody knows.
        age: if age < 0.0 { seconds(f64::INFINITY) } else { seconds(age) },
    }
}
