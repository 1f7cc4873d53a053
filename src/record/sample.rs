//! A run of the harbour museum's bench, for the tests of this module.

use jiff::{Timestamp, ToSpan};
use tempfile::TempDir;

use super::{
    Component, Conditions, Ending, EventRow, Flags, InstrumentOnRecord, LimitOnRecord,
    MeasuredCurrent, NewRun, Record, RecordedCurrent, Row,
};
use crate::judge::{Finding, Left, Source, Verdict};
use crate::part::Room;
use crate::plan::{Kind, Phase};
use crate::quantity::{Confidence, amperes, celsius, farads, seconds, volts};

pub(super) const BENCH: &str = "skarvik-bench";

/// A folder of its own, and an empty record in it.
pub(super) fn record() -> (TempDir, Record) {
    let folder = tempfile::tempdir().unwrap();
    let record = Record::open(folder.path().join("record.db")).unwrap();
    (folder, record)
}

/// A morning in Skarvik.
pub(super) fn start() -> Timestamp {
    "2026-03-14T08:15:00.250Z".parse().unwrap()
}

/// Milliseconds after [`start`].
pub(super) fn later(milliseconds: i64) -> Timestamp {
    start() + milliseconds.milliseconds()
}

/// The smoothing capacitor of the receiver's power board.
pub(super) fn smoothing_capacitor() -> NewRun {
    NewRun {
        station: BENCH.to_owned(),
        simulated: true,
        lapse: 60.0,
        kind: Kind::Soak,
        follows: None,
        place: None,
        part_name: "Terne receiver C12".to_owned(),
        family_tag: "aluminium-wet".to_owned(),
        capacitance: farads(470e-6),
        tolerance: Some(0.2),
        rated: volts(25.0),
        test_voltage: volts(24.5),
        limit: Some(LimitOnRecord {
            current: amperes(117.5e-6),
            rule: "0.01 · C · U, at least 3 µA".to_owned(),
            source: "sheet in the drawer, line 4".to_owned(),
            reading_time: Some(seconds(120.0)),
            reference_celsius: Some(20.0),
        }),
        conditions: Conditions {
            confidence: Confidence::of(0.99).unwrap(),
            judged_at: Some(seconds(120.0)),
            room: Some(Room::told(celsius(21.5), 1.0).unwrap()),
            duty: Some("decoupling".to_owned()),
        },
        plan_json: r#"{"steps":[2.5,24.5]}"#.to_owned(),
        instruments: vec![
            InstrumentOnRecord { role: "supply".to_owned(), identity: "bench supply 1".to_owned() },
            InstrumentOnRecord { role: "meter".to_owned(), identity: "log meter 7".to_owned() },
        ],
        software: "reststrom 0.1.0".to_owned(),
        started: start(),
    }
}

/// A run without anything that may be left out.
pub(super) fn bare_run() -> NewRun {
    NewRun {
        tolerance: None,
        limit: None,
        conditions: Conditions::default(),
        instruments: Vec::new(),
        ..smoothing_capacitor()
    }
}

/// Reading number `sequence`, one every 100 ms of the soak.
pub(super) fn reading(sequence: u32) -> Row {
    Row {
        sequence,
        time: seconds(f64::from(sequence) / 10.0),
        wall: later(i64::from(sequence) * 100),
        current: RecordedCurrent::Value(amperes(1e-6 / f64::from(sequence + 1))),
        voltage: Some(volts(24.48)),
        range: Some(amperes(200e-6)),
        flags: Flags::NONE,
        phase: Phase::Soak,
    }
}

/// Readings number 0 up to before `count`.
pub(super) fn readings(count: u32) -> Vec<Row> {
    (0..count).map(reading).collect()
}

/// The moment at which a soak began.
pub(super) fn soak_begins() -> EventRow {
    EventRow {
        time: seconds(31.5),
        wall: later(31_500),
        kind: "phase".to_owned(),
        text: "settle is over, soak begins".to_owned(),
    }
}

/// A part that passed.
pub(super) fn passed() -> Ending {
    Ending {
        verdict: Verdict::Within,
        findings: vec![Finding::Settled, Finding::AlreadyCharged],
        current: Some(MeasuredCurrent {
            value: amperes(0.84e-6),
            raw: amperes(0.79e-6),
            uncertainty: amperes(0.06e-6),
            at: seconds(151.5),
        }),
        budget: vec![
            Component { source: Source::RoomTemperature, uncertainty: amperes(29e-9) },
            Component { source: Source::Meter, uncertainty: amperes(6e-9) },
        ],
        voltage_at_part: Some(volts(24.47)),
        measured_capacitance: Some(farads(455e-6)),
        capacitance_uncertainty: Some(farads(9e-6)),
        peak_current: Some(amperes(9.7e-3)),
        staircase: None,
        formed: None,
        left: Left::Safe,
        advice: "may go back into the receiver".to_owned(),
        ended: later(190_125),
        full_voltage_at: Some(seconds(30.0)),
    }
}

/// An end without anything that may be left out.
pub(super) fn bare_ending() -> Ending {
    Ending {
        verdict: Verdict::Undecided,
        findings: Vec::new(),
        current: None,
        budget: Vec::new(),
        voltage_at_part: None,
        measured_capacitance: None,
        capacitance_uncertainty: None,
        peak_current: None,
        left: Left::LockedOut,
        full_voltage_at: None,
        ..passed()
    }
}
