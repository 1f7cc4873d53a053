//! What a page says of a staircase and of re-forming, beside what it says of every run.

use crate::cli::table::table;
use crate::quantity::text;
use crate::record::{Ending, FormedOnRecord, Run, RunState, StaircaseOnRecord};

/// Lines of the page; none for an ordinary soak.
pub(super) fn lines(run: &Run) -> Vec<(&'static str, String)> {
    let mut lines = Vec::new();
    if let Some(follows) = run.begun.follows {
        lines.push(("follows", format!("the re-forming of {follows}")));
    }
    let RunState::Ended(ending) = &run.state else { return lines };
    if let Some(formed) = &ending.formed {
        lines.extend(formed_lines(formed));
    }
    if let Some(staircase) = &ending.staircase {
        lines.push(("within", up_to(staircase)));
    }
    lines
}

fn formed_lines(formed: &FormedOnRecord) -> [(&'static str, String); 3] {
    [
        ("before", format!("{} when it first stood at the voltage", text::current(formed.before))),
        ("after", format!("{} at the end of the last hold", text::current(formed.after))),
        (
            "charge",
            format!(
                "{} went in beyond what a part at its limit leaks meanwhile",
                text::charge(formed.charge)
            ),
        ),
    ]
}

/// The highest voltage at which the part is within, as a range.
fn up_to(staircase: &StaircaseOnRecord) -> String {
    let highest = &staircase.highest;
    let between = match (highest.within, highest.beyond) {
        (Some(within), None) => format!("up to {}, the last step", text::voltage(within)),
        (Some(within), Some(beyond)) => format!(
            "up to {}, no longer clearly at {}",
            text::voltage(within),
            text::voltage(beyond)
        ),
        (None, Some(beyond)) => format!("at no step, not even at {}", text::voltage(beyond)),
        (None, None) => "not known: no step was read".into(),
    };
    let estimate = highest.estimate.map(|estimate| {
        format!("; the limit is met at about {} (estimate)", text::voltage(estimate))
    });
    between + &estimate.unwrap_or_default()
}

/// The table of a staircase's steps; empty for any other run.
pub(super) fn steps(run: &Run) -> String {
    let RunState::Ended(ending) = &run.state else { return String::new() };
    let Ending { staircase: Some(staircase), .. } = ending.as_ref() else { return String::new() };
    let rows: Vec<Vec<String>> = staircase
        .steps
        .iter()
        .map(|step| {
            let reading = step.current.map_or_else(
                || "no reading".into(),
                |current| text::with_uncertainty(current.value, current.uncertainty),
            );
            vec![text::voltage(step.voltage), reading, step.verdict.tag().into()]
        })
        .collect();
    format!("\n{}", table(&["step", "reading", "against the limit"], &rows))
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::judge::HighestWithin;
    use crate::quantity::{Voltage, amperes, coulombs, volts};

    #[rstest]
    #[case::in_the_middle(
        Some(20.0),
        Some(22.5),
        Some(21.8),
        "up to 20 V, no longer clearly at 22.5 V; the limit is met at about 21.8 V (estimate)"
    )]
    #[case::at_every_step(Some(25.0), None, None, "up to 25 V, the last step")]
    #[case::at_none(None, Some(2.5), None, "at no step, not even at 2.5 V")]
    #[case::unread(None, None, None, "not known: no step was read")]
    fn the_range_is_told_in_words(
        #[case] within: Option<f64>,
        #[case] beyond: Option<f64>,
        #[case] estimate: Option<f64>,
        #[case] expected: &str,
    ) {
        let volt = |value: Option<f64>| -> Option<Voltage> { value.map(volts) };
        let (within, beyond, estimate) = (volt(within), volt(beyond), volt(estimate));
        let highest = HighestWithin { within, beyond, estimate };
        assert_eq!(up_to(&StaircaseOnRecord { steps: Vec::new(), highest }), expected);
    }

    #[test]
    fn re_forming_is_told_by_what_flowed_before_and_after() {
        let formed = FormedOnRecord {
            before: amperes(0.4e-3),
            after: amperes(9e-6),
            charge: coulombs(0.21),
            good: true,
        };
        let lines = formed_lines(&formed).map(|(name, line)| format!("{name}: {line}")).join("\n");
        insta::assert_snapshot!(lines, @r"
        before: 400 µA when it first stood at the voltage
        after: 9 µA at the end of the last hold
        charge: 210 mC went in beyond what a part at its limit leaks meanwhile
        ");
    }
}
