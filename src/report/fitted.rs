//! The current of a soak taken apart again, from its readings on record: for the picture alone.
//!
//! The fit is the judge's own ([`judge::Curve`]), so that a picture shows what the forecast rested
//! on. Two numbers that the run knew and its record does not are taken from the readings: the time
//! constant of the charging from how fast the current first falls, the resolution of the meter from
//! the least step between two readings.

use super::curve::{Part, Parts};
use crate::judge;
use crate::part::{Family, Rating};
use crate::plan::Phase;
use crate::quantity::{Current, Time, amperes, seconds};
use crate::record::{Flags, RecordedCurrent, Row, Run};

/// Moments at which the parts are given, evenly over decades of time.
const MOMENTS: u32 = 72;
/// The model is good for a decade or two of time: it is shown over so much of it before its end.
const SHOWN: f64 = 100.0;
/// A time constant where the readings show no charging.
const QUICK: f64 = 0.05; // s
/// Steps below this part of a reading are those of arithmetic, not of the meter.
const NO_STEP: f64 = 1e-7;

/// The settled readings of a run from full voltage on: moment after it, and current.
pub(super) struct Settled {
    pub(super) readings: Vec<(Time, Current)>,
    /// Time constant of path and part, as the readings show it.
    pub(super) constant: Time,
    /// The least step of the meter on the range of the soak.
    pub(super) resolution: Current,
}

impl Settled {
    /// The readings after full voltage that no change of range disturbed.
    pub(super) fn of(rows: &[Row], full_voltage_at: Time) -> Self {
        let wanted = |phase| matches!(phase, Phase::Charge | Phase::Settle | Phase::Soak);
        let calm = |row: &&Row| {
            wanted(row.phase)
                && full_voltage_at < row.time
                && !row.flags.contains(Flags::SETTLING)
                && !row.flags.contains(Flags::LATE)
        };
        let value = |row: &Row| match row.current {
            RecordedCurrent::Value(current) => Some((row.time - full_voltage_at, current)),
            RecordedCurrent::Overload { .. } | RecordedCurrent::NotANumber => None,
        };
        let readings: Vec<(Time, Current)> = rows.iter().filter(calm).filter_map(value).collect();
        let soak = rows.iter().filter(calm).filter(|row| row.phase == Phase::Soak);
        let resolution = resolution(soak.filter_map(value).map(|(_, current)| current));
        Self { constant: constant(&readings), resolution, readings }
    }
}

/// From the first reading to the first that is e times smaller.
fn constant(readings: &[(Time, Current)]) -> Time {
    let Some((from, first)) = readings.first() else { return seconds(QUICK) };
    let fallen = readings.iter().find(|(_, current)| *current <= *first / std::f64::consts::E);
    fallen.map_or(seconds(QUICK), |(at, _)| (*at - *from).max(seconds(QUICK)))
}

/// The least step between two readings in a row.
fn resolution(currents: impl Iterator<Item = Current>) -> Current {
    let currents: Vec<Current> = currents.collect();
    let steps = currents.windows(2).map(|pair| ((pair[1] - pair[0]).abs(), pair[0].abs()));
    let real = steps.filter(|(step, size)| *size * NO_STEP < *step).map(|(step, _)| step);
    real.reduce(Current::min).unwrap_or(amperes(0.0))
}

/// The parts of a run's current; none of a part that nobody knows the family of, or where there are
/// too few readings.
pub(super) fn parts(run: &Run, rows: &[Row], full_voltage_at: Time) -> Option<Parts> {
    let begun = &run.begun;
    let rating = Rating::new(begun.capacitance, begun.rated).ok()?;
    let physics = Family::from_tag(&begun.family_tag)?.physics(&rating);
    let (settling, settling_spread) = physics.settling;
    let nature =
        judge::Nature { exponents: physics.absorption_exponents, settling, settling_spread };
    let settled = Settled::of(rows, full_voltage_at);
    let last = settled.readings.last()?.0;
    let head_start = rise(rows, full_voltage_at) / 2.0;
    let mut fit = judge::Curve::new(nature, head_start, settled.constant, last);
    for (at, current) in &settled.readings {
        fit.add(*at, *current, settled.resolution);
    }
    let first = settled.readings.first()?.0.max(last / SHOWN);
    let at: Vec<Part> = moments(first, fit.reaches()?)
        .filter_map(|at| {
            let fit = fit.fit(at)?;
            let at = at + full_voltage_at;
            Some(Part {
                at,
                charging: fit.charging,
                absorption: fit.absorbing,
                leakage: fit.leakage,
            })
        })
        .collect();
    let separable = fit.fit(last)?.separable;
    (!at.is_empty()).then_some(Parts { separable, at })
}

/// How long the last ramp before full voltage took.
fn rise(rows: &[Row], full_voltage_at: Time) -> Time {
    let before = rows.iter().filter(|row| row.time <= full_voltage_at);
    let ramp = before.rev().skip_while(|row| row.phase != Phase::Ramp);
    let begin = ramp.take_while(|row| row.phase == Phase::Ramp).last();
    begin.map_or(seconds(0.0), |row| full_voltage_at - row.time)
}

/// Moments from one to another, each later than the one before by the same factor.
fn moments(from: Time, to: Time) -> impl Iterator<Item = Time> {
    let ratio = (to / from).value.max(1.0);
    let steps = f64::from(MOMENTS - 1);
    (0..MOMENTS).map(move |step| from * ratio.powf(f64::from(step) / steps))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{farads, volts};
    use crate::record::{NewRun, RunState};
    use crate::report::example;

    /// Handbook §2.1: 165 nA of leakage, absorption β·C·U/t from the middle of the ramp on, charging
    /// that dies away with 0.5 s from 50 µA.
    fn rows() -> Vec<Row> {
        let current = |t: f64| 165e-9 + 6e-3 * 22e-6 * 25.0 / (t + 5.0) + 50e-6 * (-t / 0.5).exp();
        let row = |step: u32| {
            let after = f64::from(step) / 10.0 - 10.0;
            let phase = if after < 0.0 { Phase::Ramp } else { Phase::Soak };
            let digits = 100e-12;
            Row {
                sequence: step,
                time: seconds(f64::from(step) / 10.0 + 14.0),
                wall: "2026-03-14T08:15:00Z".parse().unwrap(),
                current: RecordedCurrent::Value(amperes(
                    (current(after.max(0.0)) / digits).round() * digits,
                )),
                voltage: Some(volts(25.0)),
                range: None,
                flags: Flags::NONE,
                phase,
            }
        };
        (0..3100).map(row).collect()
    }

    fn run() -> Run {
        let begun = NewRun {
            family_tag: "ta-mno2".into(),
            capacitance: farads(22e-6),
            rated: volts(25.0),
            ..example::begun()
        };
        Run { id: "r1".parse().unwrap(), begun, state: RunState::Open }
    }

    #[test]
    fn leakage_absorption_and_charging_are_told_apart() {
        let parts = parts(&run(), &rows(), seconds(24.0)).unwrap();
        assert!(parts.separable);
        let last = parts.at.last().unwrap();
        let after = last.at.value - 24.0;
        let absorption = 6e-3 * 22e-6 * 25.0 / (after + 5.0);
        assert!((last.leakage.value / 165e-9 - 1.0).abs() < 0.08, "{last:?}");
        assert!((last.absorption.value / absorption - 1.0).abs() < 0.8, "{last:?}, {absorption}");
        assert!(last.charging.value.abs() < 1e-12, "{last:?}");
    }

    #[test]
    fn a_family_that_nobody_knows_is_not_taken_apart() {
        let begun = NewRun { family_tag: "beryl".into(), ..run().begun };
        assert_eq!(parts(&Run { begun, ..run() }, &rows(), seconds(24.0)), None);
    }

    #[test]
    fn constant_and_resolution_come_from_the_readings() {
        let settled = Settled::of(&rows(), seconds(24.0));
        assert!((0.4..=0.6).contains(&settled.constant.value), "{:?}", settled.constant);
        assert!(
            (settled.resolution.value / 100e-12 - 1.0).abs() < 1e-3,
            "{:?}",
            settled.resolution
        );
    }
}
