//! Whether a soak may end before its reading time.
//!
//! Standards treat the reading time as a maximum (handbook §1.5): a reading that is safely inside
//! the limit and does not rise may end it. Only `within` is ever said early.

use super::{Forecast, Reading, Settled};
use crate::quantity::Current;

/// Highest share of the limit, uncertainty included, at which a run may end early. Between this
/// and the limit a part is waited for: a current that has begun to climb slowly has room here to
/// be seen. Chosen by the population study.
const EARLY_SHARE: f64 = 0.7;

/// What a run looks like at one moment of its soak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glance {
    /// The newest short window's reading with its budget.
    pub reading: Reading,
    /// The same window without corrections, and the one before it.
    pub windows: [Settled; 2],
    /// Bursts so far.
    pub bursts: u32,
    /// What the curve makes of the reading time.
    pub forecast: Option<Forecast>,
}

/// Whether the part is so clearly within that waiting longer tells nothing new.
///
/// Contact, capacitance and voltage are the ruling's own business: it weighs them as for any other
/// reading.
#[must_use]
pub fn may_end(glance: &Glance, limit: Current) -> bool {
    let bound = limit * EARLY_SHARE;
    let reading = &glance.reading;
    // Each comparison is written so that a value that is no number says no.
    let inside = reading.current.abs() + reading.budget.expanded() <= bound;
    let [newest, before] = glance.windows;
    let scatter = newest.scatter.value.hypot(before.scatter.value);
    let rise = (newest.current - before.current).value;
    let flat_or_falling = rise <= scatter * 2.0;
    let ahead =
        glance.forecast.is_none_or(|forecast| (forecast.current + forecast.uncertainty) <= limit);
    inside && flat_or_falling && ahead && glance.bursts == 0
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::judge::Budget;
    use crate::quantity::{amperes, seconds, volts};

    const LIMIT: f64 = 1e-6;

    fn settled(current: f64) -> Settled {
        let (current, scatter) = (amperes(current), amperes(1e-9));
        Settled { current, scatter, count: 50, lowest_voltage: volts(25.0) }
    }

    /// A part that reads a tenth of its limit and falls slowly.
    fn calm() -> Glance {
        let budget = Budget { meter: amperes(5e-9), ..Budget::default() };
        let (current, at, voltage) = (amperes(0.1e-6), seconds(20.0), volts(25.0));
        Glance {
            reading: Reading { current, budget, at, voltage },
            windows: [settled(0.1e-6), settled(0.11e-6)],
            bursts: 0,
            forecast: Some(Forecast { current: amperes(0.05e-6), uncertainty: amperes(0.02e-6) }),
        }
    }

    #[test]
    fn a_calm_part_far_inside_may_end_early() {
        assert!(may_end(&calm(), amperes(LIMIT)));
        assert!(may_end(&Glance { forecast: None, ..calm() }, amperes(LIMIT)));
    }

    #[rstest]
    #[case::too_near_to_the_limit(Glance {
        reading: Reading { current: amperes(0.699e-6), ..calm().reading }, ..calm() })]
    #[case::a_reading_that_is_no_number(Glance {
        reading: Reading { current: amperes(f64::NAN), ..calm().reading }, ..calm() })]
    #[case::rising(Glance { windows: [settled(0.11e-6), settled(0.1e-6)], ..calm() })]
    #[case::a_burst(Glance { bursts: 1, ..calm() })]
    #[case::a_curve_that_may_pass_the_limit(Glance {
        forecast: Some(Forecast { current: amperes(0.5e-6), uncertainty: amperes(0.6e-6) }), ..calm() })]
    #[case::a_curve_that_is_no_number(Glance {
        forecast: Some(Forecast { current: amperes(f64::NAN), uncertainty: amperes(0.0) }), ..calm() })]
    fn any_doubt_waits_for_the_reading_time(#[case] glance: Glance) {
        assert!(!may_end(&glance, amperes(LIMIT)));
    }
}
