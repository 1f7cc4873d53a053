//! Up to which voltage a part is within its limit, from readings at several voltages.

use super::{Reading, Verdict};
use crate::quantity::{Current, Voltage, text};

/// One step of a staircase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stair {
    /// Voltage of the step.
    pub voltage: Voltage,
    /// Its reading; none if the window was not complete.
    pub reading: Option<Reading>,
}

/// The highest voltage at which a part is within, as a range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HighestWithin {
    /// At this voltage it is within; none if at no step it was.
    pub within: Option<Voltage>,
    /// At this voltage it is no longer clearly within; none if up to the last step it was.
    pub beyond: Option<Voltage>,
    /// Where the limit is met between the two, with ln I taken as straight over U: an estimate.
    pub estimate: Option<Voltage>,
}

impl Stair {
    /// Its reading against `limit`; `untested` without one.
    #[must_use]
    pub fn verdict(&self, limit: Current) -> Verdict {
        match self.reading {
            None => Verdict::Untested,
            Some(_) if self.is_within(limit) => Verdict::Within,
            Some(_) if self.is_over(limit) => Verdict::Over,
            Some(_) => Verdict::Undecided,
        }
    }

    /// Whether the whole interval of its reading is at or below `limit`.
    fn is_within(&self, limit: Current) -> bool {
        self.reading.is_some_and(|reading| reading.upper() <= limit)
    }

    /// Whether the whole interval of its reading is above `limit`.
    #[must_use]
    pub fn is_over(&self, limit: Current) -> bool {
        self.reading.is_some_and(|reading| limit < reading.lower())
    }
}

impl HighestWithin {
    /// What it means for the part, in a sentence.
    #[must_use]
    pub fn advice(&self, limit: Current) -> String {
        let limit = text::current(limit);
        match (self.within, self.beyond) {
            (Some(within), None) => format!(
                "Within its limit of {limit} at every step up to {}.",
                text::voltage(within)
            ),
            (Some(within), Some(beyond)) => format!(
                "Within its limit of {limit} up to {}, no longer clearly so at {}: replace it where \
                 more than {0} stands across it.",
                text::voltage(within),
                text::voltage(beyond)
            ),
            (None, Some(beyond)) => format!(
                "Not clearly within its limit of {limit} even at {}: replace it.",
                text::voltage(beyond)
            ),
            (None, None) => format!("No step was read against the limit of {limit}: repeat it."),
        }
    }
}

/// The range in which the highest voltage lies at which the part is within `limit`.
///
/// Steps count from the lowest up; the first that is not clearly within ends the range, whatever
/// comes after it.
#[must_use]
pub fn highest_within(stairs: &[Stair], limit: Current) -> HighestWithin {
    let count = stairs.iter().take_while(|stair| stair.is_within(limit)).count();
    let last = count.checked_sub(1).and_then(|index| stairs.get(index));
    let next = stairs.get(count);
    HighestWithin {
        within: last.map(|stair| stair.voltage),
        beyond: next.map(|stair| stair.voltage),
        estimate: last.zip(next).and_then(|(below, above)| crossing(below, above, limit)),
    }
}

/// Where ln I, straight over U between two steps, meets ln `limit`.
fn crossing(below: &Stair, above: &Stair, limit: Current) -> Option<Voltage> {
    let (low, high) = (below.reading?.current.abs(), above.reading?.current.abs());
    let whole = (high / low).value.ln();
    let part = (limit / low).value.ln();
    let share = part / whole;
    // Written so that a share that is no number is none.
    (0.0..=1.0).contains(&share).then(|| below.voltage + (above.voltage - below.voltage) * share)
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::judge::{Budget, Source};
    use crate::part::Reach;
    use crate::quantity::{amperes, seconds, volts};

    const LIMIT: f64 = 1e-6;

    /// Steps of 5 V with these currents in microamperes, each good to ±1.96 · 10 nA.
    fn stairs(microamperes: &[f64]) -> Vec<Stair> {
        let budget = Budget::default().with(Source::Meter, amperes(10e-9));
        (1_u32..)
            .zip(microamperes)
            .map(|(step, current)| {
                let voltage = volts(5.0 * f64::from(step));
                let current = amperes(current * 1e-6);
                let (at, reach) = (seconds(60.0), Reach::Near);
                let reading = Reading {
                    current,
                    raw: current,
                    budget,
                    reach,
                    rise: amperes(0.0),
                    at,
                    voltage,
                };
                let reading = Some(reading);
                Stair { voltage, reading }
            })
            .collect()
    }

    #[test]
    fn the_range_lies_between_the_last_step_within_and_the_next() {
        // 0.1 µA at 10 V and 10 µA at 15 V: straight in ln I, 1 µA is met halfway.
        let found = highest_within(&stairs(&[0.01, 0.1, 10.0]), amperes(LIMIT));
        assert_eq!((found.within, found.beyond), (Some(volts(10.0)), Some(volts(15.0))));
        let estimate = found.estimate.unwrap().value;
        assert!((estimate - 12.5).abs() < 1e-6, "{estimate} V");
    }

    #[test]
    fn a_part_within_at_every_step_has_no_upper_end() {
        let found = highest_within(&stairs(&[0.01, 0.1]), amperes(LIMIT));
        assert_eq!((found.within, found.beyond), (Some(volts(10.0)), None));
        assert_eq!(found.estimate, None);
    }

    #[test]
    fn a_part_over_at_the_first_step_has_no_lower_end() {
        let found = highest_within(&stairs(&[3.0]), amperes(LIMIT));
        assert_eq!((found.within, found.beyond), (None, Some(volts(5.0))));
    }

    #[test]
    fn a_step_that_is_not_clearly_within_ends_the_range() {
        // 0.99 µA ± 0.02 µA straddles the limit; the step after it does not count any more.
        let found = highest_within(&stairs(&[0.5, 0.99, 0.5]), amperes(LIMIT));
        assert_eq!((found.within, found.beyond), (Some(volts(5.0)), Some(volts(10.0))));
    }

    #[rstest]
    #[case::at_every_step(&[0.01, 0.1], "at every step up to 10 V")]
    #[case::up_to_a_step(&[0.01, 0.1, 10.0], "up to 10 V, no longer clearly so at 15 V")]
    #[case::at_none(&[3.0], "Not clearly within its limit of 1 µA even at 5 V: replace it")]
    #[case::unread(&[], "No step was read")]
    fn a_staircase_ends_in_a_sentence(#[case] microamperes: &[f64], #[case] expected: &str) {
        let advice = highest_within(&stairs(microamperes), amperes(LIMIT)).advice(amperes(LIMIT));
        assert!(advice.contains(expected) && advice.ends_with('.'), "{advice}");
    }

    #[test]
    fn each_step_has_a_verdict_of_its_own() {
        let mut steps = stairs(&[0.5, 0.99, 3.0, 0.5]);
        steps[3].reading = None;
        let verdicts: Vec<Verdict> =
            steps.iter().map(|step| step.verdict(amperes(LIMIT))).collect();
        assert_eq!(
            verdicts,
            [Verdict::Within, Verdict::Undecided, Verdict::Over, Verdict::Untested]
        );
    }

    #[test]
    fn a_step_without_a_reading_is_not_within() {
        let mut steps = stairs(&[0.1, 0.2]);
        steps[1].reading = None;
        let found = highest_within(&steps, amperes(LIMIT));
        assert_eq!(
            (found.within, found.beyond, found.estimate),
            (Some(volts(5.0)), Some(volts(10.0)), None)
        );
    }
}
