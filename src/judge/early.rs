//! Whether a soak may end before its reading time.
//!
//! Standards treat the reading time as a maximum (handbook §1.5): a reading that is safely inside
//! the limit and does not rise may end it. Only `within` is ever said early.

use super::{Forecast, Reading, Settled};
use crate::quantity::Current;

/// Highest share of the limit, uncertainty included, at which a run may end early. Between this
/// and the limit a part is waited for: a current that has begun to climb slowly has room here to
/// be seen.
///
/// Chosen by the population study (100,000 parts of which 5 % climb, run away, burst or flutter
/// after a calm begin): at 0.7 healthy parts end after 0.09 of the reading time (median) and 2.7 %
/// of what is passed early fails later; at 0.5 it is 0.11 and 2.3 %, at 0.3 0.18 and 1.8 %, at 0.15
/// 0.86 and 1.0 %. No share brings it down to that of the full time, 0.01 %: a fault that begins
/// after the end is not seen.
const EARLY_SHARE: f64 = 0.7;

/// What a run looks like at one moment of its soak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glance {
    /// The newest short window's reading with its budget.
    pub reading: Reading,
    /// The same window without corrections.
    pub newest: Settled,
    /// The window before it, if there was one.
    pub before: Option<Settled>,
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
    let inside = reading.upper() <= bound;
    let newest = &glance.newest;
    let within_itself = newest.rise <= Current::default();
    let since_before = glance.before.is_none_or(|before| {
        let scatter = newest.scatter.value.hypot(before.scatter.value);
        (newest.current - before.current).value <= scatter * 2.0
    });
    let ahead =
        glance.forecast.is_none_or(|forecast| (forecast.current + forecast.uncertainty) <= limit);
    inside && within_itself && since_before && ahead && glance.bursts == 0
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::judge::{Budget, Source};
    use crate::part::Reach;
    use crate::quantity::{amperes, seconds, volts};

    const LIMIT: f64 = 1e-6;

    fn settled(current: f64) -> Settled {
        let (current, scatter) = (amperes(current), amperes(1e-9));
        Settled { current, scatter, rise: amperes(0.0), count: 50, lowest_voltage: volts(25.0) }
    }

    /// A part that reads a tenth of its limit and falls slowly.
    fn calm() -> Glance {
        let budget = Budget::default().with(Source::Meter, amperes(5e-9));
        let (current, at, voltage) = (amperes(0.1e-6), seconds(20.0), volts(25.0));
        Glance {
            reading: Reading {
                current,
                raw: current,
                budget,
                reach: Reach::Near,
                rise: amperes(0.0),
                at,
                voltage,
            },
            newest: settled(0.1e-6),
            before: Some(settled(0.11e-6)),
            bursts: 0,
            forecast: Some(Forecast { current: amperes(0.05e-6), uncertainty: amperes(0.02e-6) }),
        }
    }

    #[test]
    fn a_calm_part_far_inside_may_end_early() {
        assert!(may_end(&calm(), amperes(LIMIT)));
        let first = Glance { before: None, forecast: None, ..calm() };
        assert!(may_end(&first, amperes(LIMIT)));
    }

    #[rstest]
    #[case::too_near_to_the_limit(Glance {
        reading: Reading { current: amperes(0.699e-6), ..calm().reading }, ..calm() })]
    #[case::a_room_that_is_too_cold(Glance {
        reading: Reading { reach: Reach::Colder, ..calm().reading }, ..calm() })]
    #[case::a_reading_that_is_no_number(Glance {
        reading: Reading { current: amperes(f64::NAN), ..calm().reading }, ..calm() })]
    #[case::higher_than_before(Glance { before: Some(settled(0.09e-6)), ..calm() })]
    #[case::rising(Glance {
        newest: Settled { rise: amperes(0.01e-6), ..settled(0.1e-6) }, ..calm() })]
    #[case::a_burst(Glance { bursts: 1, ..calm() })]
    #[case::a_curve_that_may_pass_the_limit(Glance {
        forecast: Some(Forecast { current: amperes(0.5e-6), uncertainty: amperes(0.6e-6) }), ..calm() })]
    #[case::a_curve_that_is_no_number(Glance {
        forecast: Some(Forecast { current: amperes(f64::NAN), uncertainty: amperes(0.0) }), ..calm() })]
    fn any_doubt_waits_for_the_reading_time(#[case] glance: Glance) {
        assert!(!may_end(&glance, amperes(LIMIT)));
    }
}
