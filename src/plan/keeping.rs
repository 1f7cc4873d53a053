//! What is kept of a long soak: every reading at first, then ever longer stretches by a few each.

use crate::quantity::{Time, seconds};

/// Readings that are kept of a stretch: its first, the least and greatest current, the least and
/// greatest voltage.
pub const KEPT_OF_A_STRETCH: u32 = 5;

/// How the record of a soak thins out. Every rule still sees every reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Keeping {
    /// So long every reading is kept.
    pub dense: Time,
    /// After that a stretch is this share of the time since the soak began.
    pub share: f64,
}

impl Keeping {
    /// Ten minutes hold the reading of every family but the slowest; stretches of half a hundredth
    /// are narrower than a line on a plot over decades of time.
    #[must_use]
    pub fn usual() -> Self {
        Self { dense: seconds(600.0), share: 0.005 }
    }

    /// The stretch that a moment of the soak belongs to; none while every reading is kept.
    #[must_use]
    pub fn stretch(&self, after: Time) -> Option<u32> {
        (self.dense < after).then(|| whole(self.stretches_until(after)))
    }

    /// About how many readings of a soak are taken, and of these how many are kept.
    #[must_use]
    pub fn counts(&self, soak: Time, interval: Time) -> (u32, u32) {
        let taken = (soak / interval).value;
        if soak <= self.dense {
            return (whole(taken), whole(taken));
        }
        let dense = (self.dense / interval).value;
        let thinned = (self.stretches_until(soak) + 1.0) * f64::from(KEPT_OF_A_STRETCH);
        (whole(taken), whole(dense + thinned.min(taken - dense)))
    }

    fn stretches_until(&self, after: Time) -> f64 {
        (after / self.dense).value.max(1.0).ln() / self.share.ln_1p()
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "saturates, not below 0"
)]
fn whole(count: f64) -> u32 {
    count as u32
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    // Ten readings a second: 6000 in ten minutes, then ln(t/600 s)/ln 1.005 stretches of five.
    #[rstest]
    #[case::five_minutes(300.0, 3000, 3000)]
    #[case::an_hour(3600.0, 36_000, 6000 + 1801)]
    #[case::ten_hours(36_000.0, 360_000, 6000 + 4109)]
    #[case::a_week(604_800.0, 6_048_000, 6000 + 6937)]
    fn a_long_soak_is_kept_by_a_few_thousand_readings(
        #[case] soak: f64,
        #[case] taken: u32,
        #[case] kept: u32,
    ) {
        let (all, some) = Keeping::usual().counts(seconds(soak), seconds(0.1));
        assert!(all.abs_diff(taken) <= 1 && some.abs_diff(kept) <= 5, "{some} of {all}");
    }

    #[test]
    fn a_slow_meter_is_never_said_to_keep_more_than_it_takes() {
        let (taken, kept) = Keeping::usual().counts(seconds(3600.0), seconds(30.0));
        assert!(kept <= taken, "{kept} of {taken}");
    }

    #[test]
    fn stretches_begin_after_ten_minutes_and_grow_with_time() {
        let stretch = |time| Keeping::usual().stretch(seconds(time));
        assert_eq!((stretch(599.0), stretch(600.0), stretch(601.0)), (None, None, Some(0)));
        assert_eq!(stretch(36_020.0), stretch(36_150.0));
        assert!(stretch(36_000.0) < stretch(36_200.0));
    }
}
