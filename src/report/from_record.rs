//! A run on record as a curve to draw.

use super::curve::{Curve, Limit, Point, Reading, Sample, Span};
use super::{fitted, happenings};
use crate::plan::Phase;
use crate::quantity::{Time, seconds, text};
use crate::record::{Ending, Overview, Record, RecordError, RecordedCurrent, Row, Run, RunState};

/// Half of the reading window around the moment that was judged (handbook §3.8).
const HALF_WINDOW: f64 = 5.0; // s

/// Reads a run's readings and events as a curve; of a run of millions, those readings that a
/// picture needs.
///
/// # Errors
///
/// [`RecordError`] if the record can't be read.
pub fn curve(record: &Record, run: &Run) -> Result<Curve, RecordError> {
    let Overview { rows, left_out } = record.overview(run.id)?;
    let told = record.events(run.id)?;
    let end = rows.last().map_or(seconds(0.0), |row| row.time);
    let changes = told.iter().filter(|event| event.kind == "phase");
    let changes = changes.filter_map(|event| Some((Phase::from_tag(&event.text)?, event.time)));
    let full_voltage_at = ending(run).and_then(|ending| ending.full_voltage_at);
    Ok(Curve {
        left_out,
        phases: spans(changes, end),
        events: happenings::events(run, &rows, &told, full_voltage_at),
        parts: full_voltage_at.and_then(|at| fitted::parts(run, &rows, at)),
        points: rows.iter().map(point).collect(),
        ..without_readings(run)
    })
}

fn point(row: &Row) -> Point {
    Point {
        at: row.time,
        current: match row.current {
            RecordedCurrent::Value(current) => Sample::Value(current),
            RecordedCurrent::Overload { negative } => Sample::Overload { negative },
            RecordedCurrent::NotANumber => Sample::Missing,
        },
        voltage: row.voltage,
        phase: row.phase,
    }
}

/// Phases from the moments at which each began; the first is the probe.
fn spans(changes: impl Iterator<Item = (Phase, Time)>, end: Time) -> Vec<Span> {
    let mut spans = vec![Span { phase: Phase::Probe, from: seconds(0.0), to: end }];
    for (phase, at) in changes {
        if let Some(last) = spans.last_mut() {
            last.to = at;
        }
        spans.push(Span { phase, from: at, to: end.max(at) });
    }
    spans.retain(|span| !matches!(span.phase, Phase::Safe | Phase::LockedOut | Phase::Idle));
    spans
}

fn ending(run: &Run) -> Option<&Ending> {
    match &run.state {
        RunState::Ended(ending) => Some(ending),
        RunState::Open | RunState::Interrupted { .. } => None,
    }
}

/// What is known of a run without its readings.
fn without_readings(run: &Run) -> Curve {
    let begun = &run.begun;
    let ending = ending(run);
    let full_voltage_at = ending.and_then(|ending| ending.full_voltage_at);
    let reading = ending.and_then(|ending| ending.current).zip(full_voltage_at);
    Curve {
        title: title(run),
        subtitle: subtitle(run),
        simulated: begun.simulated,
        points: Vec::new(),
        left_out: 0,
        phases: Vec::new(),
        full_voltage_at,
        limit: begun.limit.as_ref().and_then(|limit| {
            Some(Limit { current: limit.current, reading_time: limit.reading_time? })
        }),
        reading: reading.map(|(measured, full)| {
            let at = full + measured.at;
            let half = seconds(HALF_WINDOW);
            Reading {
                current: measured.value,
                uncertainty: measured.uncertainty,
                at,
                window: (at - half, at + half),
            }
        }),
        verdict: run.verdict(),
        findings: run.findings().to_vec(),
        events: Vec::new(),
        parts: None,
    }
}

/// Family, rating, station and date in one line.
pub(super) fn subtitle(run: &Run) -> String {
    let begun = &run.begun;
    format!(
        "{} · {} {} · {} · {}",
        begun.family_tag,
        text::capacitance(begun.capacitance),
        text::voltage(begun.rated),
        begun.station,
        begun.started.strftime("%Y-%m-%d %H:%M UTC"),
    )
}

/// What is printed on the part, and its family.
pub(super) fn printed(run: &Run) -> String {
    let begun = &run.begun;
    let (capacitance, rated) = (text::capacitance(begun.capacitance), text::voltage(begun.rated));
    format!("{} {capacitance} {rated}", begun.family_tag)
}

/// Part and run.
pub(super) fn title(run: &Run) -> String {
    if run.begun.part_name.is_empty() {
        return format!("run {}", run.id);
    }
    format!("{} · run {}", run.begun.part_name, run.id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phases_follow_each_other_without_a_hole() {
        let changes = [(Phase::Ramp, 13.0), (Phase::Bleed, 14.5), (Phase::Safe, 40.0)];
        let changes = changes.map(|(phase, at)| (phase, seconds(at)));
        let spans = spans(changes.into_iter(), seconds(39.0));
        let shown: Vec<_> =
            spans.iter().map(|span| (span.phase, span.from.value, span.to.value)).collect();
        assert_eq!(
            shown,
            [(Phase::Probe, 0.0, 13.0), (Phase::Ramp, 13.0, 14.5), (Phase::Bleed, 14.5, 40.0)]
        );
    }
}
