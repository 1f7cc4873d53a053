//! The reading window: the readings around the moment that is judged, in constant memory.
//!
//! The reading is their median, which one burst does not move (handbook §3.8), and its scatter is
//! the standard uncertainty of a mean, widened by the correlation between neighbours.

use super::thinned::Thinned;
use crate::quantity::{Current, Time, Voltage, seconds};

/// Readings kept of a window.
const KEPT: usize = 256;

/// Fewest readings that make a window (handbook §3.8: 10 samples).
pub const FEWEST: u32 = 10;

/// Readings between two moments.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    from: Time,
    until: Time,
    readings: Thinned<KEPT>,
    covered: Time,
    last_at: Option<Time>,
    lowest_voltage: Option<Voltage>,
    spoiled: bool,
}

/// What a window says once it is over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settled {
    /// Median of the readings.
    pub current: Current,
    /// Standard uncertainty of the median from scatter.
    pub scatter: Current,
    /// Number of readings.
    pub count: u32,
    /// Lowest voltage at the part in the window.
    pub lowest_voltage: Voltage,
}

impl Window {
    /// A window of `length` around `centre`.
    #[must_use]
    pub fn around(centre: Time, length: Time) -> Self {
        Self::between((centre - length / 2.0).max(seconds(0.0)), centre + length / 2.0)
    }

    /// A window of `length` that ends at `end`.
    #[must_use]
    pub fn ending_at(end: Time, length: Time) -> Self {
        Self::between((end - length).max(seconds(0.0)), end)
    }

    /// A window of `length` that begins at `begin`.
    #[must_use]
    pub fn from(begin: Time, length: Time) -> Self {
        Self::between(begin, begin + length)
    }

    fn between(from: Time, until: Time) -> Self {
        Self {
            from,
            until,
            readings: Thinned::default(),
            covered: seconds(0.0),
            last_at: None,
            lowest_voltage: None,
            spoiled: false,
        }
    }

    /// Whether `at` lies in the window.
    #[must_use]
    pub fn holds(&self, at: Time) -> bool {
        self.from <= at && at <= self.until
    }

    /// The moment at which the window is over.
    #[must_use]
    pub fn until(&self) -> Time {
        self.until
    }

    /// Adds a reading taken at `at` with the part at `voltage`; outside the window it is left out.
    pub fn add(&mut self, at: Time, current: Current, voltage: Voltage) {
        if !self.holds(at) {
            return;
        }
        let since = self.last_at.unwrap_or(self.from);
        self.covered += (at - since).min(self.longest_gap());
        self.last_at = Some(at);
        self.lowest_voltage = Some(self.lowest_voltage.map_or(voltage, |low| low.min(voltage)));
        self.readings.add(current);
    }

    /// Longest time that one reading may speak for: a fifth of the window.
    fn longest_gap(&self) -> Time {
        (self.until - self.from) / 5.0
    }

    /// Marks the window as worthless: an overload, a range change or a missing voltage fell in it.
    pub fn spoil(&mut self) {
        self.spoiled = true;
    }

    /// The reading, or none if the window is spoiled, too empty or covered less than four fifths.
    #[must_use]
    pub fn settled(&self) -> Option<Settled> {
        let lowest_voltage = self.lowest_voltage?;
        let length = self.until - self.from;
        if self.spoiled || self.readings.count() < FEWEST || self.covered < length * 0.8 {
            return None;
        }
        let current = self.readings.median()?;
        let (scatter, count) = (self.readings.scatter(), self.readings.count());
        Some(Settled { current, scatter, count, lowest_voltage })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;
    use crate::quantity::{amperes, volts};

    fn filled(currents: &[f64]) -> Window {
        let mut window = Window::around(seconds(300.0), seconds(10.0));
        for (index, current) in (0_u32..).zip(currents) {
            let step = 10.0 / f64::from(u32::try_from(currents.len()).unwrap());
            let at = seconds(295.0 + f64::from(index + 1) * step);
            window.add(at, amperes(*current), volts(25.0));
        }
        window
    }

    #[test]
    fn one_burst_does_not_move_the_reading() {
        let mut currents = [1e-6; 100];
        currents[40] = 500e-6;
        let settled = filled(&currents).settled().unwrap();
        assert!((settled.current.value - 1e-6).abs() < 1e-12);
    }

    #[test]
    fn the_scatter_of_independent_readings_is_that_of_the_mean() {
        // Alternating ±1 nA about 1 µA: s = 1.005 nA for n = 100, s/√n = 0.1005 nA.
        let currents: Vec<f64> =
            (0..100).map(|index| 1e-6 + if index % 2 == 0 { 1e-9 } else { -1e-9 }).collect();
        let settled = filled(&currents).settled().unwrap();
        assert!((settled.scatter.value - 1.005e-10).abs() < 1e-13, "{:?}", settled.scatter);
    }

    #[test]
    fn neighbours_that_move_together_widen_the_scatter() {
        let wandering: Vec<f64> =
            (0..100).map(|index| 1e-6 + if index < 50 { 1e-9 } else { -1e-9 }).collect();
        let settled = filled(&wandering).settled().unwrap();
        assert!(settled.scatter.value > 5e-10, "{:?}", settled.scatter);
    }

    #[rstest]
    #[case::too_few_readings(&[1e-6; 9])]
    #[case::no_reading_at_all(&[])]
    fn a_window_that_is_too_empty_gives_no_reading(#[case] currents: &[f64]) {
        assert_eq!(filled(currents).settled(), None);
    }

    #[test]
    fn a_window_that_is_half_uncovered_gives_no_reading() {
        let mut window = Window::around(seconds(300.0), seconds(10.0));
        for index in 0..40 {
            window.add(seconds(295.0 + f64::from(index) * 0.1), amperes(1e-6), volts(25.0));
        }
        assert_eq!(window.settled(), None);
    }

    #[test]
    fn one_reading_after_a_gap_does_not_cover_it() {
        // Half of the window passes without a reading; the next one speaks for a fifth at most.
        let mut window = Window::around(seconds(300.0), seconds(10.0));
        for index in 0..50 {
            window.add(seconds(300.0 + f64::from(index) * 0.1), amperes(1e-6), volts(25.0));
        }
        assert_eq!(window.settled(), None);
    }

    #[test]
    fn the_lowest_voltage_is_kept_wherever_it_lies() {
        let mut window = filled(&[1e-6; 100]);
        window.add(seconds(304.0), amperes(1e-6), volts(24.0));
        window.add(seconds(304.5), amperes(1e-6), volts(25.0));
        assert_eq!(window.settled().unwrap().lowest_voltage, volts(24.0));
    }

    #[test]
    fn a_long_window_is_thinned_evenly() {
        // A rise over the window: its median is the middle, not that of its last part.
        let rising: Vec<f64> = (0..4000_u32).map(|index| f64::from(index) * 1e-9).collect();
        let current = filled(&rising).settled().unwrap().current.value;
        assert!((current / 2e-6 - 1.0).abs() < 0.02, "{current}");
    }

    #[test]
    fn a_spoiled_window_gives_no_reading() {
        let mut window = filled(&[1e-6; 100]);
        window.spoil();
        assert_eq!(window.settled(), None);
    }

    #[test]
    fn readings_outside_do_not_count() {
        let mut window = filled(&[1e-6; 100]);
        window.add(seconds(310.0), amperes(1.0), volts(0.0));
        window.add(seconds(294.0), amperes(1.0), volts(0.0));
        let settled = window.settled().unwrap();
        assert_eq!((settled.count, settled.lowest_voltage), (100, volts(25.0)));
    }

    proptest! {
        #[test]
        fn the_reading_lies_between_the_smallest_and_the_largest(
            currents in prop::collection::vec(-1e-3_f64..1e-3, 10..2000)
        ) {
            let settled = filled(&currents).settled().unwrap();
            let least = currents.iter().copied().fold(f64::INFINITY, f64::min);
            let most = currents.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            prop_assert!((least..=most).contains(&settled.current.value));
        }
    }
}
