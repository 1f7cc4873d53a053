//! What happened in a run, as marks on its picture: told events, and those that the readings show.

use super::curve::{Event, EventKind};
use super::fitted::Settled;
use super::label::engineering;
use crate::judge::{Around, Finding, Trend};
use crate::plan::Phase;
use crate::quantity::{Time, seconds, text};
use crate::record::{EventRow, RecordedCurrent, Row, Run};

/// Findings that end a run before its time.
const ENDS: [Finding; 9] = [
    Finding::BrokeDown,
    Finding::RunsAway,
    Finding::Shorted,
    Finding::ConductsAtLowVoltage,
    Finding::HeldBelowTestVoltage,
    Finding::CapacitanceOff,
    Finding::NoContact,
    Finding::Stopped,
    Finding::InstrumentLost,
];

/// All that happened, in order of time.
pub(super) fn events(
    run: &Run,
    rows: &[Row],
    told: &[EventRow],
    full_voltage_at: Option<Time>,
) -> Vec<Event> {
    // A start's token tells a reader nothing.
    let said = told.iter().filter(|event| event.kind != "phase" && event.kind != "token");
    let said = said.map(|event| Event {
        at: event.time,
        text: event.text.clone(),
        kind: EventKind::Other,
    });
    let bursts = full_voltage_at.map(|at| bursts(run, rows, at)).unwrap_or_default();
    let mut events: Vec<Event> =
        said.chain(ranges(rows)).chain(bursts).chain(ended(run, told)).collect();
    events.sort_by(|a, b| a.at.value.total_cmp(&b.at.value));
    events
}

/// Changes of the meter's range, as its readings came.
fn ranges(rows: &[Row]) -> impl Iterator<Item = Event> {
    rows.windows(2).filter_map(|pair| {
        let (from, to) = (pair[0].range?, pair[1].range?);
        let name = |range: crate::quantity::Current| engineering(range.value, "A");
        (from != to).then(|| Event {
            at: pair[1].time,
            text: format!("meter range {} to {}", name(from), name(to)),
            kind: EventKind::Range,
        })
    })
}

/// Bursts by the rule that the run itself went by.
fn bursts(run: &Run, rows: &[Row], full_voltage_at: Time) -> Vec<Event> {
    let Some(limit) = run.begun.limit.as_ref() else { return Vec::new() };
    let settled = Settled::of(rows, full_voltage_at);
    let around = Around {
        constant: settled.constant,
        interval: interval(rows),
        charge: run.begun.capacitance * run.begun.test_voltage,
    };
    let judged_at = run.begun.conditions.judged_at.or(limit.reading_time);
    let mut trend = Trend::new(limit.current, judged_at.unwrap_or(seconds(0.0)), around);
    let soak = rows.iter().filter(|row| row.phase == Phase::Soak);
    let mut events = Vec::new();
    for row in soak {
        let RecordedCurrent::Value(current) = row.current else { continue };
        let before = trend.bursts();
        trend.add(row.time - full_voltage_at, current, settled.resolution);
        if before < trend.bursts() {
            let text = format!("burst of {}", text::current(current));
            events.push(Event { at: row.time, text, kind: EventKind::Burst });
        }
    }
    events
}

/// The usual time between two readings.
fn interval(rows: &[Row]) -> Time {
    let mut steps: Vec<f64> =
        rows.windows(2).map(|pair| (pair[1].time - pair[0].time).value).collect();
    steps.sort_by(f64::total_cmp);
    seconds(steps.get(steps.len() / 2).copied().unwrap_or(1.0))
}

/// What ended the run before its time: told where the discharge begins.
fn ended(run: &Run, told: &[EventRow]) -> Option<Event> {
    let finding = run.findings().first().filter(|finding| ENDS.contains(finding))?;
    let bleeds = |event: &&EventRow| event.kind == "phase" && event.text == Phase::Bleed.tag();
    let at = told.iter().rev().find(bleeds)?.time;
    Some(Event { at, text: format!("output off: {finding}"), kind: EventKind::End })
}
