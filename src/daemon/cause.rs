//! Why a run turned to its end before its time, in words for whoever has to find the cause.

use crate::plan::{OutputState, Sample};
use crate::procedure::Input;
use crate::quantity::{Time, seconds, text};

/// What makes an instrument fall silent while its port stays open.
const SILENT: &str = "(cable, automatic switch-off, power saving of the port?)";

/// When each instrument gave its last value, in run time.
#[derive(Debug, Clone, Copy)]
pub(super) struct LastValues {
    supply: Time,
    meter: Time,
}

impl LastValues {
    /// Nothing has been heard since the start of the run.
    pub(super) fn none() -> Self {
        Self { supply: seconds(0.0), meter: seconds(0.0) }
    }

    /// Takes note of an input that carries a value.
    pub(super) fn hear(&mut self, now: Time, input: Input) {
        match input {
            Input::Voltage(Sample::Value(_)) => self.supply = now,
            Input::Current { sample: Sample::Value(_) | Sample::Overload { .. }, .. } => {
                self.meter = now;
            }
            Input::Voltage(_)
            | Input::Current { .. }
            | Input::Tick
            | Input::Output(_)
            | Input::Armed
            | Input::Refused
            | Input::Lost(_)
            | Input::Disturbed
            | Input::Stalled
            | Input::Stop => {}
        }
    }

    /// What `input` tells about a run that it ended at `now`, where no value may be older than
    /// `stale`.
    pub(super) fn causes(&self, now: Time, stale: Time, input: Input) -> Vec<String> {
        let silent = [("supply", self.supply), ("meter", self.meter)]
            .into_iter()
            .filter(|(_, last)| stale < now - *last)
            .map(|(name, last)| {
                let at = text::time(seconds(last.value.round()));
                format!("{name}: no value any more, the last one came at {at} {SILENT}")
            });
        silent.chain(told(input)).collect()
    }
}

/// What an instrument told, where it tells something by itself.
fn told(input: Input) -> Option<String> {
    match input {
        Input::Output(OutputState::Off) => Some("supply: its output went off by itself".into()),
        Input::Output(OutputState::Unknown) => {
            Some("supply: it does not tell whether its output is on".into())
        }
        Input::Voltage(Sample::Value(voltage)) => {
            Some(format!("supply: {} at its terminals", text::voltage(voltage)))
        }
        Input::Current { sample: Sample::Value(current), .. } => {
            Some(format!("meter: {}", text::current(current)))
        }
        Input::Current { sample: Sample::Overload { negative }, .. } => {
            let way = if negative { "out of" } else { "into" };
            Some(format!("meter: overload by a current {way} the part"))
        }
        Input::Output(OutputState::On)
        | Input::Current { sample: Sample::NotANumber, .. }
        | Input::Voltage(_)
        | Input::Tick
        | Input::Armed
        | Input::Refused
        | Input::Lost(_)
        | Input::Disturbed
        | Input::Stalled
        | Input::Stop => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::RangeIndex;
    use crate::quantity::{amperes, volts};

    const STALE: f64 = 2.0;

    fn reading(sample: Sample<crate::quantity::Current>) -> Input {
        Input::Current { sample, range: RangeIndex(1) }
    }

    #[test]
    fn an_instrument_that_fell_silent_is_named_with_its_last_value() {
        let mut values = LastValues::none();
        values.hear(seconds(30.2), reading(Sample::Value(amperes(1e-6))));
        values.hear(seconds(33.0), Input::Voltage(Sample::Value(volts(25.0))));
        let causes = values.causes(seconds(33.1), seconds(STALE), Input::Tick);
        let [cause] = &causes[..] else { panic!("{causes:?}") };
        assert!(
            cause.starts_with("meter: no value any more, the last one came at 30 s"),
            "{cause}"
        );
        assert!(cause.contains("automatic switch-off"), "{cause}");
    }

    #[test]
    fn words_without_a_value_count_as_silence() {
        let mut values = LastValues::none();
        values.hear(seconds(3.0), reading(Sample::NotANumber));
        let causes = values.causes(seconds(3.0), seconds(STALE), Input::Tick);
        assert_eq!(causes.len(), 2, "{causes:?}");
    }

    #[test]
    fn the_way_of_an_overload_is_told() {
        let input = reading(Sample::Overload { negative: true });
        let causes = LastValues::none().causes(seconds(1.0), seconds(STALE), input);
        assert_eq!(causes, ["meter: overload by a current out of the part"]);
    }
}
