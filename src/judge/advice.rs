//! Plain words that a person can act on, for each way that a run can end.

mod decide;
mod lower;

use super::{Evidence, Finding, Left, Reading, Ruling, Verdict};
use crate::quantity::{Current, Voltage, seconds, text};
use decide::Need;

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
    let (current, limit) = (measured(reading), text::current(evidence.limit));
    if evidence.tells_early() {
        let at = text::time(seconds(reading.at.value.round()));
        let stated = text::time(evidence.reading_time);
        return format!(
            "Keep it as far as leakage goes: {current} after {at} against a limit of {limit}, which \
             is stated for {stated}."
        );
    }
    format!("Keep it as far as leakage goes: {current} against a limit of {limit}.")
}

fn over(evidence: &Evidence, reading: &Reading) -> String {
    let times = (reading.current / evidence.limit).value;
    let hopes = [hope_of_forming(evidence), hope_at_lower_voltage(evidence, reading)];
    let found = format!(
        "Replace it: {} is {times:.1} times the limit of {}.",
        measured(reading),
        text::current(evidence.limit)
    );
    std::iter::once(found).chain(hopes.into_iter().flatten()).collect::<Vec<_>>().join(" ")
}

/// Aged wet aluminium whose current falls is often only out of practice (handbook §4.5).
fn hope_of_forming(evidence: &Evidence) -> Option<String> {
    let falls = evidence.can_be_reformed && evidence.still_falling;
    falls.then(|| "Or re-form it first, as it was still falling.".into())
}

/// What lower voltage it might serve at.
fn hope_at_lower_voltage(evidence: &Evidence, reading: &Reading) -> Option<String> {
    let voltage = text::voltage(lower::within_up_to(evidence, reading)?);
    Some(format!(
        "Up to about {voltage} it might be within: an estimate by the voltage law of its family, which \
         a damaged part may not follow; test it there."
    ))
}

/// What would bring a reading that is too near to its limit to a decision.
fn to_decide(evidence: &Evidence, reading: &Reading, guard: Current) -> String {
    if evidence.early && evidence.limit < reading.lower() {
        return "over, but read before the limit's reading time: soak it for that long".into();
    }
    let need = Need::of(reading, guard);
    let told = need.map_or_else(|| "repeat it".to_owned(), |need| need.in_words());
    // A longer soak would not decide: the limit holds at its own reading time.
    if evidence.still_falling && evidence.can_be_reformed {
        return format!("it was still falling, so re-forming may help; else {told}");
    }
    told
}

fn undecided(reason: Finding, evidence: &Evidence, reading: &Reading) -> String {
    let so_far = format!("{} against {}", measured(reading), text::current(evidence.limit));
    let guard = (evidence.limit - reading.current.abs()).abs();
    let next = match reason {
        Finding::MeterTooCoarse => {
            let decide = to_decide(evidence, reading, (evidence.limit / 2.0).min(guard));
            return format!("{so_far}: too coarse to see the limit; {decide}.");
        }
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
        Finding::RunsAway => "it began to climb while it was read: a longer soak would decide",
        Finding::Settled
        | Finding::StillFalling
        | Finding::BrokeDown
        | Finding::Bursts
        | Finding::Shorted
        | Finding::ConductsAtLowVoltage
        | Finding::Stopped
        | Finding::Early
        | Finding::Reformed
        | Finding::AlreadyCharged => {
            let decide = to_decide(evidence, reading, guard);
            return format!("{so_far}: too near to tell; {decide}.");
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
        Finding::ContactLost => {
            "Contact was lost during the run: clip it in again and repeat. A part that was taken out \
             meanwhile is charged: discharge it through a resistor."
                .into()
        }
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

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::judge::{Budget, Source, rule};
    use crate::part::{Reach, VoltageLaw};
    use crate::quantity::{amperes, volts};

    const LIMIT: f64 = 1e-6;

    fn evidence(current: f64, u: f64) -> Evidence {
        let (current, at, voltage) = (amperes(current), seconds(300.0), volts(25.0));
        let budget = Budget::default().with(Source::Meter, amperes(u));
        let reading = Reading {
            current,
            raw: current,
            budget,
            reach: Reach::Near,
            rise: amperes(0.0),
            at,
            voltage,
        };
        Evidence::sound(amperes(LIMIT), reading)
    }

    fn said(evidence: &Evidence) -> String {
        advice(&rule(evidence), evidence, Left::Safe, None)
    }

    #[test]
    fn a_part_within_is_kept_as_far_as_leakage_goes() {
        insta::assert_snapshot!(said(&evidence(0.2e-6, 10e-9)), @"Keep it as far as leakage goes: 200 ± 20 nA against a limit of 1 µA.");
    }

    #[test]
    fn what_is_over_is_told_at_what_voltage_it_might_serve() {
        insta::assert_snapshot!(said(&evidence(2e-6, 10e-9)), @"Replace it: 2.000 ± 0.020 µA is 2.0 times the limit of 1 µA. Up to about 20 V it might be within: an estimate by the voltage law of its family, which a damaged part may not follow; test it there.");
    }

    #[test]
    fn what_is_far_over_is_replaced_without_an_estimate() {
        let evidence = Evidence { law: VoltageLaw::Ohmic, ..evidence(20e-6, 10e-9) };
        insta::assert_snapshot!(said(&evidence), @"Replace it: 20.000 ± 0.020 µA is 20.0 times the limit of 1 µA.");
    }

    #[test]
    fn aged_wet_aluminium_that_falls_is_re_formed_before_it_is_given_up() {
        let evidence = Evidence {
            law: VoltageLaw::Exponential(3.0),
            can_be_reformed: true,
            still_falling: true,
            ..evidence(30e-6, 10e-9)
        };
        insta::assert_snapshot!(said(&evidence), @"Replace it: 30.000 ± 0.020 µA is 30.0 times the limit of 1 µA. Or re-form it first, as it was still falling.");
        let steady = Evidence { still_falling: false, ..evidence };
        assert!(said(&steady).ends_with("1 µA."), "{}", said(&steady));
    }

    #[test]
    fn what_is_too_near_is_told_what_would_decide() {
        insta::assert_snapshot!(said(&evidence(0.99e-6, 10e-9)), @"990 ± 20 nA against 1 µA: too near to tell; meter is the largest doubt, and at 51 % of what it is this would be decided, by a more sensitive range, or a larger sense resistor where volts are read.");
        let falling =
            Evidence { still_falling: true, can_be_reformed: true, ..evidence(1.01e-6, 10e-9) };
        insta::assert_snapshot!(said(&falling), @"1.010 ± 0.020 µA against 1 µA: too near to tell; it was still falling, so re-forming may help; else meter is the largest doubt, and at 51 % of what it is this would be decided, by a more sensitive range, or a larger sense resistor where volts are read.");
    }

    #[test]
    fn a_meter_that_is_too_coarse_is_told_what_would_do() {
        insta::assert_snapshot!(said(&evidence(0.1e-6, 400e-9)), @"0.1 ± 0.8 µA against 1 µA: too coarse to see the limit; meter is the largest doubt, and at 63 % of what it is this would be decided, by a more sensitive range, or a larger sense resistor where volts are read.");
    }

    #[rstest]
    #[case::at_the_limit(1e-6)]
    #[case::just_below(0.999_999e-6)]
    fn no_advice_promises_that_nothing_would_do(#[case] current: f64) {
        let said = said(&evidence(current, 10e-9));
        assert!(
            !said.contains("NaN") && !said.contains("inf") && !said.contains("at 0 %"),
            "{said}"
        );
    }

    #[test]
    fn an_early_within_says_when_it_was_read_and_what_the_limit_is_stated_for() {
        let mut evidence = Evidence { early: true, ..evidence(0.2e-6, 10e-9) };
        evidence.reading = evidence.reading.map(|it| Reading { at: seconds(20.4), ..it });
        insta::assert_snapshot!(said(&evidence), @"Keep it as far as leakage goes: 200 ± 20 nA after 20 s against a limit of 1 µA, which is stated for 5 min.");
    }

    #[test]
    fn an_early_reading_above_the_limit_is_soaked_to_its_time() {
        let said = said(&Evidence { early: true, ..evidence(2e-6, 10e-9) });
        assert!(said.ends_with("soak it for that long."), "{said}");
    }

    #[test]
    fn a_part_that_was_not_proven_empty_is_warned_of_first() {
        let evidence = evidence(0.2e-6, 10e-9);
        let said = advice(&rule(&evidence), &evidence, Left::LockedOut, None);
        assert!(said.starts_with("LOCKED OUT: not proven empty. Do not touch"), "{said}");
    }
}
