//! Notices a current that ceases from one moment to the next: a clip that fell off looks like the
//! best part that was ever tested.

use crate::quantity::{Current, Time, amperes, seconds};

/// Readings in a row that show nothing and make an interruption of what flows before and after.
const INTERRUPTED_READINGS: u32 = 3;
/// Multiple of the meter's error at which an interruption can't be the meter's noise.
const INTERRUPTED_LEVEL: f64 = 6.0;
/// Share of the level before at which the current came back.
const BACK_SHARE: f64 = 0.5;
/// Readings in a row that show nothing.
const QUIET_READINGS: u32 = 5;
/// How long they must last.
const QUIET_TIME: f64 = 3.0; // s
/// The current stood at this multiple of the meter's error before: a slow fall has no such edge.
const CLEAR: f64 = 3.0;
/// Weight of a new reading in the running level.
const SMOOTHING: f64 = 0.1;

/// What a reading tells of the contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Flow {
    /// Nothing new.
    #[default]
    Goes,
    /// It has ceased; told once.
    Ceased,
    /// It was gone for a moment and is back as it was: a contact that flickers, or another part.
    Interrupted,
}

/// The watch over one soak.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ceased {
    level: Current,
    quiet: Option<(Time, u32)>,
    /// The reading before the newest showed nothing, and the newest does: it may be the beginning of a
    /// surge.
    was_quiet: bool,
}

impl Ceased {
    /// A watch that begins where `level` flows, in magnitude.
    #[must_use]
    pub fn after(level: Current) -> Self {
        Self { level, quiet: None, was_quiet: false }
    }

    /// Whether the newest reading or the one before it showed nothing, where there was a clear current
    /// before.
    #[must_use]
    pub fn is_quiet(&self, error: Current) -> bool {
        (self.was_quiet || self.quiet.is_some()) && error * CLEAR < self.level
    }

    /// Adds a reading that the meter may miss by `error`.
    pub fn add(&mut self, at: Time, current: Current, error: Current) -> Flow {
        self.was_quiet = error < current.abs() && self.quiet.is_some();
        if error < current.abs() {
            let gone = self.quiet.take().is_some_and(|(_, count)| INTERRUPTED_READINGS <= count);
            let clear = error * INTERRUPTED_LEVEL < self.level;
            if gone && clear && self.level * BACK_SHARE <= current.abs() {
                return Flow::Interrupted;
            }
            let first = self.level <= amperes(0.0);
            let share = if first { 1.0 } else { SMOOTHING };
            self.level = self.level * (1.0 - share) + current.abs() * share;
            return Flow::Goes;
        }
        let (since, before) = self.quiet.unwrap_or((at, 0));
        self.quiet = Some((since, before + 1));
        let lasting = seconds(QUIET_TIME) <= at - since && QUIET_READINGS <= before + 1;
        let ceased = lasting && error * CLEAR < self.level;
        if lasting {
            self.level = amperes(0.0);
        }
        if ceased { Flow::Ceased } else { Flow::Goes }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    const ERROR: f64 = 1e-9;

    /// When the watch called out, for a current over 300 s in tenths of a second.
    fn calls(current: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut ceased = Ceased::default();
        (0_u32..3000)
            .map(|index| f64::from(index) * 0.1)
            .filter(|t| {
                ceased.add(seconds(*t), amperes(current(*t)), amperes(ERROR)) == Flow::Ceased
            })
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
        ceased.add(seconds(1.2), amperes(300e-9), error);
        assert!(ceased.is_quiet(error), "the next may be the surge of another part");
        ceased.add(seconds(1.3), amperes(50e-9), error);
        assert!(!ceased.is_quiet(error));
    }

    #[test]
    fn a_watch_knows_what_flowed_before_it_began() {
        let error = amperes(ERROR);
        let mut ceased = Ceased::after(amperes(50e-9));
        ceased.add(seconds(1.0), amperes(0.1e-9), error);
        assert!(ceased.is_quiet(error));
    }

    /// What the watch tells of a current that is gone from 100 s on for so many readings.
    #[rstest]
    #[case::for_two_readings(2, 50e-9, 50e-9, 0)]
    #[case::for_a_second(10, 50e-9, 50e-9, 1)]
    #[case::and_comes_back_higher(10, 50e-9, 500e-9, 1)]
    #[case::and_comes_back_far_lower(10, 50e-9, 5e-9, 0)]
    #[case::where_it_was_near_the_error_before(10, 5e-9, 5e-9, 0)]
    fn a_current_that_was_gone(
        #[case] readings: u32,
        #[case] before: f64,
        #[case] after: f64,
        #[case] interruptions: usize,
    ) {
        let mut ceased = Ceased::default();
        let told = (0_u32..2000).filter(|index| {
            let current = match *index {
                ..1000 => before,
                index if index < 1000 + readings => 0.1e-9,
                _ => after,
            };
            let at = seconds(f64::from(*index) * 0.1);
            ceased.add(at, amperes(current), amperes(ERROR)) == Flow::Interrupted
        });
        assert_eq!(told.count(), interruptions);
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
