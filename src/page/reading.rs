//! The newest of a run that goes on, with what is left of it and what comes next.

use serde::Serialize;
use utoipa::ToSchema;

use super::condition::Condition;
use crate::daemon::served::Served;
use crate::daemon::{Going, Progress};
use crate::plan::{Phase, Plan, Purpose, Sample};
use crate::quantity::{Time, seconds, text};

/// The newest of a run that goes on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ReadingObject {
    /// The station.
    pub station: String,
    /// The run; none before it is on record.
    pub run: Option<String>,
    /// The phase.
    pub phase: &'static str,
    /// `energised`, `discharging`, `may-be-unclipped` or `locked-out`.
    pub condition: &'static str,
    /// That in words for a person.
    pub says: &'static str,
    /// What it means for hands.
    pub means: &'static str,
    /// Bench time since the run began.
    pub time_second: f64,
    /// How many readings have come.
    pub readings: u32,
    /// When the newest came, RFC 3339.
    pub read_at: Option<String>,
    /// The newest reading; none if there is no number.
    pub ampere: Option<f64>,
    /// The newest reading is beyond the range.
    pub overload: bool,
    /// The reading as a person reads it.
    pub reads: String,
    /// Voltage at the part, where it is known.
    pub volt: Option<f64>,
    /// When the part reached the test voltage.
    pub full_voltage_second: Option<f64>,
    /// What is expected at the moment that is judged.
    pub forecast_ampere: Option<f64>,
    /// Half-width of its 95 % interval.
    pub forecast_uncertainty_ampere: Option<f64>,
    /// What is left of the soak; none outside it.
    pub soak_left_second: Option<f64>,
    /// About what is left of the run, discharge included.
    pub left_second: f64,
    /// What is left, in words.
    pub left: String,
    /// What happens next, in words.
    pub next: String,
}

impl ReadingObject {
    /// The newest of the run at a station; none if none goes on.
    #[must_use]
    pub fn of(served: &Served) -> Option<Self> {
        let going = served.standing().borrow().going.clone()?;
        let progress = *served.progress().borrow();
        let condition = Condition::in_phase(progress.phase);
        let plan = &going.drawn.plan;
        let (ampere, overload) = match progress.current {
            Some(Sample::Value(current)) => (Some(current.value), false),
            Some(Sample::Overload { .. }) => (None, true),
            Some(Sample::NotANumber) | None => (None, false),
        };
        let soak_left = soak_left(plan, &progress);
        let left = left(&going, &progress, soak_left);
        Some(Self {
            station: served.station().name.clone(),
            run: going.run.map(|run| run.to_string()),
            phase: progress.phase.tag(),
            condition: condition.tag(),
            says: condition.says(),
            means: condition.means(),
            time_second: progress.time.value,
            readings: progress.readings,
            read_at: progress.read_at.map(|at| at.to_string()),
            ampere,
            overload,
            reads: progress.reads(),
            volt: progress.voltage.map(|voltage| voltage.value),
            full_voltage_second: progress.full_voltage_at.map(|at| at.value),
            forecast_ampere: progress.forecast.map(|forecast| forecast.current.value),
            forecast_uncertainty_ampere: progress
                .forecast
                .map(|forecast| forecast.uncertainty.value),
            soak_left_second: soak_left.map(|left| left.value),
            left_second: left.value,
            left: in_words(left),
            next: next(plan, progress.phase),
        })
    }
}

/// What is left of a soak at full voltage.
fn soak_left(plan: &Plan, progress: &Progress) -> Option<Time> {
    let soaks = plan.purpose == Purpose::Soak && progress.phase == Phase::Soak;
    let full = progress.full_voltage_at.filter(|_| soaks)?;
    let ends = full + plan.target.soak + plan.target.window / 2.0;
    Some((ends - progress.time).max(seconds(0.0)))
}

/// About what is left of a run: its planned duration, put right once full voltage stands.
fn left(going: &Going, progress: &Progress, soak_left: Option<Time>) -> Time {
    let plan = &going.drawn.plan;
    let after = plan.discharge.hold + plan.discharge.rebound + seconds(5.0);
    let left = match (progress.phase, soak_left) {
        (Phase::Soak, Some(left)) => left + after,
        (Phase::Bleed, _) => after,
        (Phase::Safe | Phase::LockedOut, _) => seconds(0.0),
        _ => going.drawn.duration - progress.time,
    };
    left.max(seconds(0.0))
}

/// A time as one says it: nobody waits for tenths of a minute.
pub(super) fn in_words(left: Time) -> String {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "below 2^53, not negative"
    )]
    let whole = left.value.max(0.0).ceil() as u64;
    match whole {
        0..60 => format!("{whole} s"),
        60..3600 => format!("{} min", whole.div_ceil(60)),
        _ => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
    }
}

/// What happens next.
fn next(plan: &Plan, phase: Phase) -> String {
    match phase {
        Phase::Idle => "the probe: is a part there, and is it sane?".into(),
        Phase::Probe => format!("up to {} in steps", text::voltage(plan.test_voltage)),
        Phase::Ramp => "the charging surge dies away".into(),
        Phase::Charge => "the meter comes down to its range".into(),
        Phase::Settle => format!("{} at full voltage", text::time(plan.target.soak)),
        Phase::Soak => "output off, discharge, verdict".into(),
        Phase::Bleed => "measured empty, looked at again, then it may be unclipped".into(),
        Phase::Safe => "unclip the part".into(),
        Phase::LockedOut => "a person has to look".into(),
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case(0.0, "0 s")]
    #[case(59.2, "1 min")]
    #[case(61.0, "2 min")]
    #[case(3600.0, "1 h 0 min")]
    #[case(36_061.0, "10 h 1 min")]
    fn what_is_left_is_said_as_a_person_says_it(#[case] left: f64, #[case] said: &str) {
        assert_eq!(in_words(seconds(left)), said);
    }
}
