//! What goes on record of a run's end.

use jiff::Timestamp;

use super::actor::Ended;
use crate::judge::{Finding, HighestWithin, Left, advice, highest_within};
use crate::plan::{Plan, Purpose};
use crate::procedure::Outcome;
use crate::record::{
    Component, Ending, FormedOnRecord, MeasuredCurrent, RunId, StairOnRecord, StaircaseOnRecord,
};

/// The end of a run by `plan`; one that `follows` a re-forming has that as a remark.
pub(super) fn ending(ended: &Ended, plan: &Plan, follows: Option<RunId>) -> Ending {
    let outcome = &ended.outcome;
    let staircase = staircase(outcome, plan);
    let mut findings = outcome.ruling.findings.to_vec();
    if follows.is_some() && !findings.contains(&Finding::Reformed) {
        findings.push(Finding::Reformed);
    }
    Ending {
        verdict: outcome.ruling.verdict,
        findings,
        current: outcome.reading.as_ref().map(MeasuredCurrent::from),
        budget: outcome.reading.as_ref().map(Component::all_of).unwrap_or_default(),
        voltage_at_part: outcome.reading.map(|reading| reading.voltage),
        measured_capacitance: outcome.capacitance.map(|measured| measured.value),
        capacitance_uncertainty: outcome.capacitance.map(|measured| measured.uncertainty),
        peak_current: Some(outcome.peak_current),
        advice: words(ended, plan, staircase.as_ref()),
        staircase,
        formed: outcome.formed.map(|formed| FormedOnRecord {
            before: formed.before,
            after: formed.after,
            charge: formed.charge,
            good: formed.good,
        }),
        left: outcome.left,
        ended: Timestamp::now(),
        full_voltage_at: outcome.full_voltage_at,
    }
}

/// The sentence to act on, with the reasons where an instrument failed.
fn words(ended: &Ended, plan: &Plan, staircase: Option<&StaircaseOnRecord>) -> String {
    let outcome = &ended.outcome;
    let words = advice(&outcome.ruling, &outcome.evidence, outcome.left, outcome.broke_down_at);
    let whole = outcome.evidence.ended_by.is_none() && outcome.left == Left::Safe;
    let climbed = staircase.map(|staircase| staircase.highest.advice(plan.target.limit));
    let words = match climbed {
        Some(climbed) if whole => climbed,
        Some(climbed) => format!("{words} {climbed}"),
        None => words,
    };
    let told = outcome.ruling.findings.first() == Some(&Finding::InstrumentLost)
        || outcome.left == Left::LockedOut;
    if told && !ended.notes.is_empty() {
        return format!("{words} ({})", ended.notes.join("; "));
    }
    words
}

/// The steps that were climbed; none if none was.
fn staircase(outcome: &Outcome, plan: &Plan) -> Option<StaircaseOnRecord> {
    let climbs = matches!(plan.purpose, Purpose::Staircase(_)) && !outcome.stairs.is_empty();
    let limit = plan.target.limit;
    let highest = highest_within(&outcome.stairs, limit);
    climbs.then(|| StaircaseOnRecord {
        steps: outcome
            .stairs
            .iter()
            .map(|stair| StairOnRecord {
                voltage: stair.voltage,
                verdict: stair.verdict(limit),
                current: stair.reading.as_ref().map(MeasuredCurrent::from),
            })
            .collect(),
        // A part that gave way above its last step is not within there.
        highest: HighestWithin { beyond: highest.beyond.or(outcome.broke_down_at), ..highest },
    })
}
