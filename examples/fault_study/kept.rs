//! A real record beside a run: whether every reading that counted is in it afterwards.

use std::path::PathBuf;

use jiff::Timestamp;
use reststrom::plan::{Kind, Phase, RangeIndex, Sample};
use reststrom::quantity::{Confidence, Current, farads, seconds, volts};
use reststrom::record::{Conditions, Flags, NewRun, Record, RecordedCurrent, Row, RunId, Writer};

use crate::station::Station;

/// The record of one run.
pub(crate) struct Kept {
    /// Held so that the files live as long as the run.
    folder: tempfile::TempDir,
    writer: Writer,
    run: RunId,
    sequence: u32,
}

impl Kept {
    /// A record that has just been begun.
    pub(crate) fn begin() -> Result<Self, String> {
        let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
        let path = path(&folder);
        let mut record = Record::open(&path).map_err(|error| error.to_string())?;
        let run = record.begin(&begun()).map_err(|error| error.to_string())?;
        let writer = Writer::start(record, run).map_err(|error| error.to_string())?;
        Ok(Self { folder, writer, run, sequence: 0 })
    }

    /// Takes a reading; whether it was taken.
    pub(crate) fn reading(
        &mut self,
        station: &Station,
        second: f64,
        (sample, range): (Sample<Current>, RangeIndex),
        phase: Phase,
    ) -> bool {
        let current = match sample {
            Sample::Value(current) => RecordedCurrent::Value(current),
            Sample::Overload { negative } => RecordedCurrent::Overload { negative },
            Sample::NotANumber => RecordedCurrent::NotANumber,
        };
        let row = Row {
            sequence: self.sequence,
            time: seconds(second),
            wall: Timestamp::now(),
            current,
            voltage: None,
            range: Some(station.plan.meter.range(range).full_scale),
            flags: Flags::NONE,
            phase,
        };
        self.sequence += 1;
        self.writer.reading(row).is_ok()
    }

    /// Readings on record after the program has gone.
    pub(crate) fn count(self) -> Result<usize, String> {
        let Self { folder, writer, run, .. } = self;
        drop(writer);
        let record = Record::open(path(&folder)).map_err(|error| error.to_string())?;
        let count = record.count_readings(run).map_err(|error| error.to_string())?;
        usize::try_from(count).map_err(|error| error.to_string())
    }
}

fn path(folder: &tempfile::TempDir) -> PathBuf {
    folder.path().join("fault-study.db")
}

fn begun() -> NewRun {
    NewRun {
        station: "fault-study".into(),
        simulated: true,
        lapse: 1.0,
        kind: Kind::Soak,
        follows: None,
        place: None,
        part_name: "C14".into(),
        family_tag: "ta-mno2".into(),
        capacitance: farads(10e-6),
        tolerance: None,
        rated: volts(25.0),
        test_voltage: volts(25.0),
        limit: None,
        conditions: Conditions {
            confidence: Confidence::USUAL,
            judged_at: None,
            room: None,
            duty: None,
        },
        plan_json: "{}".into(),
        instruments: Vec::new(),
        software: "fault-study".into(),
        started: Timestamp::now(),
    }
}
