//! Parts compared with their equals: which leaks within its limit, and yet unlike its siblings.
//!
//! A limit catches faults, not quality: a sound part usually lies far below it. Twelve equal parts
//! of one board that leak alike and a thirteenth that leaks ten times as much, still within, say
//! something about the thirteenth. Compared is ln I, as leakage scatters by factors (handbook §2.9),
//! against median and MAD, which the odd part itself cannot shift (handbook §5.2).

use super::Slot;
use crate::judge::Verdict;
use crate::part::{Family, Rating};
use crate::quantity::{Current, Time, Voltage, amperes};

/// Least number of equal parts that are compared (handbook §5.2).
pub const LEAST_SIBLINGS: usize = 4;
/// Modified z-score above which a part is unlike its siblings (Iglewicz and Hoaglin, *How to Detect
/// and Handle Outliers*, 1993; handbook §5.2).
const GREATEST_SCORE: f64 = 3.5;
/// MAD to standard deviation of a normal distribution: 1/Φ⁻¹(¾) = 1/0.6745.
const MAD_TO_SIGMA: f64 = 1.4826;
/// Half-width of a 95 % interval to standard uncertainty.
const HALF_WIDTH_TO_SIGMA: f64 = 1.0 / 1.96;
/// Least factor from the median that deserves a second look (handbook §5.2: twice its siblings).
const LEAST_FACTOR: f64 = 2.0;

/// What makes parts siblings: their leakage is comparable only if all of it is equal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kin {
    /// The family.
    pub family: Family,
    /// What is printed on them.
    pub rating: Rating,
    /// Voltage at which they were measured.
    pub test_voltage: Voltage,
    /// Time after full voltage at which they were read.
    pub read_at: Time,
}

/// The leakage of one part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Whose it is.
    pub slot: Slot,
    /// With which others it is compared.
    pub kin: Kin,
    /// What is said of the part. Only one that is within can be pointed out; others count.
    pub verdict: Verdict,
    /// The current.
    pub current: Current,
    /// Half-width of its 95 % interval.
    pub uncertainty: Current,
}

/// A part that is within its limit and unlike its siblings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unlike {
    /// Which part.
    pub slot: Slot,
    /// How many parts were compared, itself among them.
    pub compared: usize,
    /// The median of all of them.
    pub median: Current,
    /// Its current over the median: above 2 or below one half.
    pub factor: f64,
    /// Its modified z-score.
    pub score: f64,
}

/// The parts that are within their limit and unlike their siblings, in the order of their slots.
#[must_use]
pub fn siblings(all: &[Measured]) -> Vec<Unlike> {
    let within = all.iter().filter(|part| part.verdict == Verdict::Within);
    let mut unlike: Vec<Unlike> = within.filter_map(|part| compare(part, all)).collect();
    unlike.sort_by_key(|unlike| unlike.slot);
    unlike
}

fn compare(part: &Measured, all: &[Measured]) -> Option<Unlike> {
    let family: Vec<Log> =
        all.iter().filter(|other| other.kin == part.kin).filter_map(Log::of).collect();
    if family.len() < LEAST_SIBLINGS {
        return None;
    }
    let own = Log::of(part)?;
    let middle = median(family.iter().map(|log| log.value))?;
    let spread = median(family.iter().map(|log| (log.value - middle).abs()))? * MAD_TO_SIGMA;
    // Readings that agree better than they are known would make every part an outlier.
    let least = own.sigma.hypot(median(family.iter().map(|log| log.sigma))?);
    let score = (own.value - middle) / spread.max(least);
    let factor = (own.value - middle).exp();
    let is_far = LEAST_FACTOR <= factor.max(1.0 / factor) && GREATEST_SCORE < score.abs();
    let is_known_to_be = own.is_resolved || 0.0 < score;
    (is_far && is_known_to_be).then(|| Unlike {
        slot: part.slot,
        compared: family.len(),
        median: amperes(middle.exp()),
        factor,
        score,
    })
}

/// The logarithm of a current in amperes.
#[derive(Clone, Copy)]
struct Log {
    value: f64,
    /// Its standard uncertainty.
    sigma: f64,
    /// Whether the current stands out of its uncertainty. One that does not counts as that
    /// uncertainty: it may be any less.
    is_resolved: bool,
}

impl Log {
    /// None for what is no reading: an uncertainty or a current that is no number.
    fn of(part: &Measured) -> Option<Self> {
        let (current, half_width) = (part.current.value, part.uncertainty.value);
        let known = current.max(half_width);
        let log = Self {
            value: known.ln(),
            sigma: half_width * HALF_WIDTH_TO_SIGMA / known,
            is_resolved: half_width < current,
        };
        (current.is_finite() && log.value.is_finite() && log.sigma.is_finite()).then_some(log)
    }
}

/// The middle value, or the mean of the two in the middle.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let upper = values.get(values.len() / 2)?;
    let lower = values.get((values.len() - 1) / 2)?;
    Some(f64::midpoint(*lower, *upper))
}

impl std::fmt::Display for Unlike {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let equals = format!(
            "the median of {} equal parts ({})",
            self.compared,
            crate::quantity::text::current(round(self.median))
        );
        if 1.0 < self.factor {
            let factor = two_digits(self.factor);
            write!(
                f,
                "within its limit, but it leaks {factor} times as much as {equals}: take a spare \
                 if it matters"
            )
        } else {
            let factor = two_digits(1.0 / self.factor);
            write!(
                f,
                "it leaks {factor} times less than {equals}: check that it is what it should be"
            )
        }
    }
}

/// Two digits, as far as a factor is worth them.
fn two_digits(factor: f64) -> String {
    if factor < 10.0 { format!("{factor:.1}") } else { format!("{factor:.0}") }
}

/// Three digits of a current.
fn round(current: Current) -> Current {
    let place = 10_f64.powf(current.value.log10().floor() - 2.0);
    amperes((current.value / place).round() * place)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;
    use crate::part::Part;
    use crate::quantity::{seconds, volts};

    fn kin(words: &str) -> Kin {
        let part = Part::read(words).unwrap();
        let (test_voltage, read_at) = (part.rating.voltage(), seconds(300.0));
        Kin { family: part.family, rating: part.rating, test_voltage, read_at }
    }

    /// Equal tantalums with these currents, each good to ±`half_width`, all within.
    fn tantalums(nanoamperes: &[f64], half_width: f64) -> Vec<Measured> {
        let kin = kin("22µF 25V tantalum");
        let part = |(index, nanoampere): (usize, &f64)| Measured {
            slot: Slot(index),
            kin,
            verdict: Verdict::Within,
            current: amperes(nanoampere * 1e-9),
            uncertainty: amperes(half_width * 1e-9),
        };
        nanoamperes.iter().enumerate().map(part).collect()
    }

    fn slots(all: &[Measured]) -> Vec<usize> {
        siblings(all).iter().map(|unlike| unlike.slot.0).collect()
    }

    #[test]
    fn an_odd_part_has_the_score_that_was_worked_out_by_hand() {
        // ln of 90, 100, 105, 110, 1000 in nA: 4.49981, 4.60517, 4.65396, 4.70048, 6.90776. Median
        // 4.65396, deviations 0.15415, 0.04879, 0, 0.04652, 2.25380, MAD 0.04879. Score
        // 2.25380 / (1.4826 · 0.04879) = 31.16; 90 nA has −2.13.
        let all = tantalums(&[100.0, 110.0, 90.0, 105.0, 1000.0], 0.1);
        let [odd] = siblings(&all)[..] else { panic!("{:?}", siblings(&all)) };
        assert_eq!((odd.slot, odd.compared), (Slot(4), 5));
        assert!((odd.score - 31.16).abs() < 0.02, "{odd:?}");
        assert!((odd.factor - 1000.0 / 105.0).abs() < 1e-9, "{odd:?}");
        assert!((odd.median.value - 105e-9).abs() < 1e-15, "{odd:?}");
    }

    #[test]
    fn of_an_even_number_the_median_lies_between_the_two_in_the_middle() {
        // √(100·110) = 104.88 nA.
        let all = tantalums(&[90.0, 100.0, 110.0, 1000.0], 0.1);
        let [odd] = siblings(&all)[..] else { panic!("{:?}", siblings(&all)) };
        assert!((odd.median.value - 104.881e-9).abs() < 1e-12, "{odd:?}");
    }

    // Half-width 20 nA: the logarithm of 100 nA is good to 20/1.96/100 = 0.102, that of 130 nA to
    // 0.0785, that of 300 nA to 0.034. Least scales √(0.0785² + 0.102²) = 0.1288 and 0.1076; scores
    // ln 1.3 / 0.1288 = 2.04 and ln 3 / 0.1076 = 10.2.
    #[rstest]
    #[case::not_known_to_differ(130.0, &[])]
    #[case::known_to_differ(300.0, &[4])]
    fn equal_readings_are_not_taken_for_better_known_than_they_are(
        #[case] last: f64,
        #[case] expected: &[usize],
    ) {
        assert_eq!(slots(&tantalums(&[100.0, 100.0, 100.0, 100.0, last], 20.0)), expected);
    }

    #[rstest]
    #[case::too_few(&[100.0, 100.0, 5000.0], &[])]
    #[case::less_than_twice(&[100.0, 101.0, 99.0, 100.0, 180.0], &[])]
    #[case::far_below(&[100.0, 110.0, 90.0, 105.0, 4.0], &[4])]
    #[case::two_of_seven(&[100.0, 110.0, 90.0, 105.0, 95.0, 900.0, 1200.0], &[5, 6])]
    #[case::scattered(&[10.0, 30.0, 100.0, 300.0, 1000.0], &[])]
    #[case::lost_in_the_noise(&[100.0, 110.0, 90.0, 105.0, 0.02], &[])]
    #[case::below_zero(&[100.0, 110.0, 90.0, 105.0, -3.0], &[])]
    fn only_what_is_far_from_enough_siblings_is_pointed_out(
        #[case] nanoamperes: &[f64],
        #[case] expected: &[usize],
    ) {
        assert_eq!(slots(&tantalums(nanoamperes, 0.1)), expected);
    }

    #[test]
    fn a_part_over_its_limit_counts_and_needs_no_remark() {
        let mut all = tantalums(&[100.0, 110.0, 90.0, 9000.0], 0.1);
        all[3].verdict = Verdict::Over;
        assert_eq!(slots(&all), [0_usize; 0]);
    }

    #[rstest]
    #[case::of_another_family("22µF 25V ta-polymer", 25.0, 300.0)]
    #[case::of_another_value("10µF 25V tantalum", 25.0, 300.0)]
    #[case::of_another_rating("22µF 35V tantalum", 25.0, 300.0)]
    #[case::measured_lower("22µF 25V tantalum", 20.0, 300.0)]
    #[case::read_earlier("22µF 25V tantalum", 25.0, 120.0)]
    fn unequal_parts_are_not_compared(#[case] words: &str, #[case] volt: f64, #[case] second: f64) {
        let mut all = tantalums(&[100.0, 110.0, 90.0, 9000.0], 0.1);
        all[0].kin = Kin { test_voltage: volts(volt), read_at: seconds(second), ..kin(words) };
        assert_eq!(siblings(&all), []);
    }

    #[test]
    fn a_remark_says_how_far_and_what_to_do() {
        let high = siblings(&tantalums(&[100.0, 110.0, 90.0, 105.0, 1000.0], 0.1));
        insta::assert_snapshot!(high[0], @"within its limit, but it leaks 9.5 times as much as the median of 5 equal parts (105 nA): take a spare if it matters");
        let low = siblings(&tantalums(&[100.0, 110.0, 90.0, 105.0, 5.0], 0.1));
        insta::assert_snapshot!(low[0], @"it leaks 20 times less than the median of 5 equal parts (100 nA): check that it is what it should be");
    }

    proptest! {
        /// The scale is in the ratio, so the unit of all currents together must not matter.
        #[test]
        fn a_thousand_times_as_much_of_everything_changes_nothing(
            currents in prop::collection::vec(1.0..1e4_f64, 4..12),
        ) {
            let large: Vec<f64> = currents.iter().map(|current| current * 1000.0).collect();
            prop_assert_eq!(slots(&tantalums(&currents, 0.5)), slots(&tantalums(&large, 500.0)));
        }

        /// A median is no outlier: at most half of the parts are pointed out.
        #[test]
        fn never_more_than_half_are_unlike_the_rest(
            currents in prop::collection::vec(1.0..1e4_f64, 4..12),
        ) {
            prop_assert!(slots(&tantalums(&currents, 0.5)).len() * 2 <= currents.len());
        }
    }
}
