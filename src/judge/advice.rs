//! One plain sentence that a person can act on, for each way that a run can end.

use super::{Evidence, Finding, Left, Reading, Ruling, Verdict};
use crate::quantity::{Voltage, text};

/// Says what to do with the part.
///
/// `broke_down_at` is the voltage at which it gave way, where it did.
#[must_use]
pub fn advice(
    ruling: &Ruling,
    evidence: &Evidence,
    left: Left,
    broke_down_at: Option<Voltage>,
) -> String {
    let about_part = about_part(ruling, evidence, broke_down_at);
    match left {
        Left::Safe => about_part,
        Left::LockedOut => format!(
            "LOCKED OUT: not proven empty. Do not touch: switch the supply off by hand, measure the \
             part and discharge it through a resistor. {about_part}"
        ),
    }
}

fn about_part(ruling: &Ruling, evidence: &Evidence, broke_down_at: Option<Voltage>) -> String {
    let reason = ruling.findings.first().copied().unwrap_or(Finding::Stopped);
    match (ruling.verdict, evidence.reading) {
        (Verdict::Within, Some(reading)) => within(evidence, &reading),
        (Verdict::Over, Some(reading)) if evidence.ended_by.is_none() => over(evidence, &reading),
        (Verdict::Undecided, Some(reading)) if evidence.ended_by.is_none() => {
            undecided(reason, evidence, &reading)
        }
        (Verdict::Within | Verdict::Over | Verdict::Undecided | Verdict::Untested, _) => {
            without_reading(reason, evidence, broke_down_at)
        }
    }
}

fn measured(reading: &Reading) -> String {
    text::with_uncertainty(reading.current, reading.budget.expanded())
}

fn within(evidence: &Evidence, reading: &Reading) -> String {
    format!(
        "Keep it as far as leakage goes: {} against a limit of {}.",
        measured(reading),
        text::current(evidence.limit)
    )
}

fn over(evidence: &Evidence, reading: &Reading) -> String {
    let times = (reading.current / evidence.limit).value;
    format!(
        "Replace it: {} is {times:.1} times the limit of {}.",
        measured(reading),
        text::current(evidence.limit)
    )
}

fn undecided(reason: Finding, evidence: &Evidence, reading: &Reading) -> String {
    let so_far = format!("{} against {}", measured(reading), text::current(evidence.limit));
    let next = match reason {
        Finding::MeterTooCoarse => {
            "the meter cannot see the limit: a finer range or a larger sense resistor would decide"
        }
        Finding::StillFalling => "it was still falling: a longer soak would decide",
        Finding::CapacitanceOff => {
            "its capacitance is off: check the value, or take it for dried out and replace it"
        }
        Finding::ContactLost => "contact at the end was not proven: clip it in again and repeat",
        Finding::NoContact => {
            "the meter could not see its charge, so contact is not proven: a finer range would do"
        }
        Finding::HeldBelowTestVoltage => {
            "it did not stand at the test voltage: a smaller series resistor or a higher current \
             limit would decide"
        }
        Finding::TemperatureOff => {
            "the room is more than 10 K from the limit's temperature: repeat it nearer to that"
        }
        Finding::InstrumentLost => "the reading makes no sense: check meter leads and zero",
        Finding::Settled
        | Finding::BrokeDown
        | Finding::RunsAway
        | Finding::Bursts
        | Finding::Shorted
        | Finding::ConductsAtLowVoltage
        | Finding::Stopped
        | Finding::Early
        | Finding::Reformed
        | Finding::AlreadyCharged => {
            "too near to the limit to tell: a finer range or a longer soak would decide"
        }
    };
    format!("{so_far}: {next}.")
}

fn without_reading(reason: Finding, evidence: &Evidence, broke_down_at: Option<Voltage>) -> String {
    match reason {
        Finding::BrokeDown => {
            let at = broke_down_at.map(|at| format!(" at {}", text::voltage(at)));
            format!("Replace it: it gave way{}.", at.unwrap_or_default())
        }
        Finding::Shorted => "Replace it: it is a short. Check first that the clips do not touch.".into(),
        Finding::RunsAway => "Replace it: its current climbs under voltage.".into(),
        Finding::Bursts => "Replace it: single bursts of current go through it.".into(),
        Finding::HeldBelowTestVoltage if evidence.overfilled => {
            "Replace it: it conducts so much that the supply could not raise it to the test voltage."
                .into()
        }
        Finding::HeldBelowTestVoltage => {
            "It did not reach the test voltage in time; check its value.".into()
        }
        Finding::NoContact => {
            "No charge went in: check the clip, or take an open part for what it is.".into()
        }
        Finding::ConductsAtLowVoltage => {
            "It conducts at the probe voltage: check its polarity, then test it again.".into()
        }
        Finding::ContactLost => "Contact was lost during the run: clip it in again and repeat.".into(),
        Finding::Stopped => "Stopped before a reading: repeat when convenient.".into(),
        Finding::InstrumentLost => {
            "An instrument failed the run: see the note, mend it and repeat.".into()
        }
        Finding::AlreadyCharged => "It came charged and did not empty: discharge it by hand.".into(),
        Finding::Reformed => "Re-formed: let it rest for an hour or more, then test it.".into(),
        Finding::StillFalling if evidence.formed == Some(false) => {
            "Re-forming did not bring its current down to the limit: replace it.".into()
        }
        Finding::Settled
        | Finding::StillFalling
        | Finding::MeterTooCoarse
        | Finding::CapacitanceOff
        | Finding::TemperatureOff
        | Finding::Early => "No reading was completed: repeat the run.".into(),
    }
}
