//! Notices a current that ceases from one moment to the next: a clip that fell off looks like the
//! best part that was ever tested.

use crate::quantity::{Current, Time, amperes, seconds};

/// Readings in a row that show nothing.
const QUIET_READINGS: u32 = 5;
/// How long they must last.
const QUIET_TIME: f64 = 3.0; // s
/// The current stood at this multiple of the meter's error before: a slow fall has no such edge.
const CLEAR: f64 = 3.0;
/// Weight of a new reading in the running level.
const SMOOTHING: f64 = 0.1;

/// The watch over one soak.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ceased {
    level: Current,
    quiet: Option<(Time, u32)>,
}

impl Ceased {
    /// Whether the newest reading showed nothing, where there was a clear current before.
    #[must_use]
    pub fn is_quiet(&self, error: Current) -> bool {
        self.quiet.is_some() && error * CLEAR < self.level
    }

    /// Adds a reading that the meter may miss by `error`; true, once, when the current has ceased.
    pub fn add(&mut self, at: Time, current: Current, error: Current) -> bool {
        if error < current.abs() {
            self.quiet = None;
            let first = self.level <= amperes(0.0);
            let share = if first { 1.0 } else { SMOOTHING };
            self.level = self.level * (1.0 - share) + current.abs() * share;
            return false;
        }
        let (since, before) = self.quiet.unwrap_or((at, 0));
        self.quiet = Some((since, before + 1));
        let lasting = seconds(QUIET_TIME) <= at - since && QUIET_READINGS <= before + 1;
        let ceased = lasting && error * CLEAR < self.level;
        if lasting {
            self.level = amperes(0.0);
        }
        ceased
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ERROR: f64 = 1e-9;

    /// When the watch called out, for a current over 300 s in tenths of a second.
    fn calls(current: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut ceased = Ceased::default();
        (0_u32..3000)
            .map(|index| f64::from(index) * 0.1)
            .filter(|t| ceased.add(seconds(*t), amperes(current(*t)), amperes(ERROR)))
            .collect()
    }

    #[test]
    fn a_clip_that_falls_off_is_noticed_once_after_three_seconds() {
        let calls = calls(|t| if t < 100.0 { 50e-9 } else { 0.1e-9 });
        assert_eq!(calls.len(), 1);
        assert!((103.0..103.2).contains(&calls[0]), "{calls:?}");
    }

    #[test]
    fn a_current_that_falls_below_the_meters_error_has_not_ceased() {
        assert_eq!(calls(|t| 100e-9 / (1.0 + t)), Vec::<f64>::new());
    }

    #[test]
    fn a_current_that_was_never_clear_of_the_error_has_not_ceased() {
        assert_eq!(calls(|t| if t < 100.0 { 2e-9 } else { 0.0 }), Vec::<f64>::new());
    }

    #[test]
    fn a_quiet_moment_is_known_before_it_lasts() {
        let (mut ceased, error) = (Ceased::default(), amperes(ERROR));
        ceased.add(seconds(1.0), amperes(50e-9), error);
        assert!(!ceased.is_quiet(error));
        ceased.add(seconds(1.1), amperes(0.1e-9), error);
        assert!(ceased.is_quiet(error));
    }

    #[test]
    fn single_readings_of_nothing_are_no_end() {
        assert_eq!(calls(|t| if t % 2.0 < 1.0 { 50e-9 } else { 0.0 }), Vec::<f64>::new());
    }

    #[test]
    fn a_contact_that_comes_back_can_be_lost_again() {
        assert_eq!(calls(|t| if t % 100.0 < 50.0 { 50e-9 } else { 0.0 }).len(), 3);
    }
}
