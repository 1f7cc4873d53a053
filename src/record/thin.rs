//! Which readings of a long soak need not stay on record.
//!
//! A reading is written as it comes, so that a power cut takes no more than the last second. Once a
//! stretch of a long soak is over, only its first reading and those with the least and greatest
//! current and voltage stay: no spike and no dip is lost. A reading without a number, one that a
//! verdict rests on, and all outside of a soak always stay.

use std::ops::RangeInclusive;

use super::columns::{in_amperes, in_volts};
use super::reading::{Flags, RecordedCurrent, Row};
use crate::plan::{Keeping, Phase};
use crate::quantity::Time;

/// Follows the readings of a run.
#[derive(Debug)]
pub(super) struct Thinner {
    keeping: Keeping,
    /// When the soak began that goes on.
    began: Option<Time>,
    stretch: Option<Stretch>,
}

/// Readings in a row of which a few stay.
#[derive(Debug)]
struct Stretch {
    number: u32,
    first: u32,
    last: u32,
    current: Extremes<u32>,
    voltage: Extremes<u32>,
}

/// The least and the greatest of some values, each with whose it is.
#[derive(Debug)]
pub(super) struct Extremes<T>(Option<[(f64, T); 2]>);

impl Thinner {
    pub(super) fn new(keeping: Keeping) -> Self {
        Self { keeping, began: None, stretch: None }
    }

    /// Takes the next reading; gives the sequence numbers of earlier ones that need not stay.
    pub(super) fn take(&mut self, row: &Row) -> Vec<RangeInclusive<u32>> {
        let number = self.number(row);
        let goes_on = self.stretch.as_ref().map(|stretch| stretch.number) == number;
        let over = if goes_on { None } else { self.stretch.take() };
        if let (Some(number), RecordedCurrent::Value(current)) = (number, row.current) {
            let new = || Stretch::begin(number, row.sequence);
            self.stretch.get_or_insert_with(new).take(row, in_amperes(current));
        }
        over.map(|stretch| stretch.to_forget()).unwrap_or_default()
    }

    /// The stretch that a reading belongs to; none if it stays in any case.
    fn number(&mut self, row: &Row) -> Option<u32> {
        if row.phase != Phase::Soak {
            self.began = None;
            return None;
        }
        let after = row.time - *self.began.get_or_insert(row.time);
        let plain = row.flags == Flags::NONE && matches!(row.current, RecordedCurrent::Value(_));
        self.keeping.stretch(after).filter(|_| plain)
    }
}

impl Stretch {
    fn begin(number: u32, sequence: u32) -> Self {
        let (current, voltage) = (Extremes::default(), Extremes::default());
        Self { number, first: sequence, last: sequence, current, voltage }
    }

    fn take(&mut self, row: &Row, ampere: f64) {
        self.last = row.sequence;
        self.current.take(ampere, row.sequence);
        if let Some(voltage) = row.voltage {
            self.voltage.take(in_volts(voltage), row.sequence);
        }
    }

    /// What lies between those that stay.
    fn to_forget(&self) -> Vec<RangeInclusive<u32>> {
        let mut stay: Vec<u32> = self.current.both().chain(self.voltage.both()).collect();
        stay.push(self.first);
        stay.sort_unstable();
        let ends = stay.iter().skip(1).copied().chain([self.last + 1]);
        let gaps = stay.iter().zip(ends).map(|(from, to)| from + 1..=to.saturating_sub(1));
        gaps.filter(|gap| gap.start() <= gap.end()).collect()
    }
}

impl<T> Default for Extremes<T> {
    fn default() -> Self {
        Self(None)
    }
}

impl<T: Copy> Extremes<T> {
    /// Whose the least and the greatest are; nobody's before there is a value.
    pub(super) fn both(&self) -> impl Iterator<Item = T> {
        self.0.iter().flatten().map(|(_, whose)| *whose)
    }

    pub(super) fn take(&mut self, value: f64, whose: T) {
        let new = (value, whose);
        let [least, greatest] = self.0.get_or_insert([new; 2]);
        if value < least.0 {
            *least = new;
        }
        if greatest.0 < value {
            *greatest = new;
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;
    use rstest::rstest;

    use super::super::sample::reading;
    use super::*;
    use crate::quantity::{amperes, seconds, volts};

    /// The rows that stay, of a soak with a reading every second.
    fn kept(rows: &[Row]) -> Vec<Row> {
        let mut thinner = Thinner::new(Keeping::usual());
        let forgotten: BTreeSet<u32> =
            rows.iter().flat_map(|row| thinner.take(row)).flatten().collect();
        rows.iter().filter(|row| !forgotten.contains(&row.sequence)).copied().collect()
    }

    fn soak(currents: impl IntoIterator<Item = f64>) -> Vec<Row> {
        let row = |(sequence, ampere)| Row {
            time: seconds(f64::from(sequence)),
            current: RecordedCurrent::Value(amperes(ampere)),
            ..reading(sequence)
        };
        (0_u32..).zip(currents).map(row).collect()
    }

    /// A day of a current that falls as 1/t.
    fn falling_day() -> Vec<Row> {
        soak((0..86_400).map(|second| 1e-6 / f64::from(second + 1)))
    }

    #[test]
    fn the_first_ten_minutes_are_complete_and_a_day_is_a_few_thousand_readings() {
        let rows = falling_day();
        let kept = kept(&rows);
        assert_eq!(kept[..601], rows[..601]);
        // 600 dense ones, and ln(86400/600)/ln 1.005 = 996 stretches of five at most.
        assert!((1500..600 + 5 * 997 + 500).contains(&kept.len()), "{}", kept.len());
    }

    #[test]
    fn a_spike_and_a_dip_of_one_reading_stay() {
        let mut rows = falling_day();
        rows[40_000].current = RecordedCurrent::Value(amperes(5e-6));
        rows[50_123].current = RecordedCurrent::Value(amperes(-5e-9));
        rows[60_001].voltage = Some(volts(11.0));
        let kept = kept(&rows);
        for sequence in [40_000, 50_123, 60_001] {
            assert!(kept.contains(&rows[sequence]), "{sequence}");
        }
    }

    #[rstest]
    #[case::overload(Row { current: RecordedCurrent::Overload { negative: false }, ..reading(0) })]
    #[case::no_number(Row { current: RecordedCurrent::NotANumber, ..reading(0) })]
    #[case::in_the_window(Row { flags: Flags::IN_WINDOW, ..reading(0) })]
    #[case::settling(Row { flags: Flags::SETTLING, ..reading(0) })]
    #[case::bleeding(Row { phase: Phase::Bleed, ..reading(0) })]
    fn what_is_no_plain_reading_of_a_soak_always_stays(#[case] odd: Row) {
        let mut rows = falling_day();
        for (row, sequence) in rows.iter_mut().zip(0..).skip(30_000).take(500) {
            *row = Row { sequence, time: row.time, ..odd };
        }
        let odd = kept(&rows).iter().filter(|row| (30_000..30_500).contains(&row.sequence)).count();
        assert_eq!(odd, 500);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Whatever flowed, the least and the greatest stay, and every reading still has one that
        /// stayed close before it.
        #[test]
        fn extremes_survive_and_no_hole_is_wide(
            currents in prop::collection::vec(-1.0..1.0f64, 1200..4000),
        ) {
            let rows = soak(currents.iter().copied());
            let kept = kept(&rows);
            let value = |row: &Row| match row.current {
                RecordedCurrent::Value(current) => current.value,
                RecordedCurrent::Overload { .. } | RecordedCurrent::NotANumber => 0.0,
            };
            let most = |rows: &[Row]| rows.iter().map(value).fold(f64::MIN, f64::max);
            let least = |rows: &[Row]| rows.iter().map(value).fold(f64::MAX, f64::min);
            prop_assert_eq!(most(&kept).to_bits(), most(&rows).to_bits());
            prop_assert_eq!(least(&kept).to_bits(), least(&rows).to_bits());
            for pair in kept.windows(2) {
                let hole = pair[1].time - pair[0].time;
                prop_assert!(hole <= pair[0].time * 0.0101 + seconds(1.0));
            }
        }
    }
}
