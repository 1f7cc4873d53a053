//! Differences in uncertainties, equals found, courses followed.

use rstest::rstest;

use super::*;
use crate::judge::{Finding, Verdict};
use crate::quantity::{Confidence, farads, seconds, volts};
use crate::record::MeasuredCurrent;

/// A 22 µF 25 V tantalum read at five minutes, in nA, with the half-width of a 95 % interval.
fn run(id: u32, part: &str, nanoampere: f64, half: f64) -> Listed {
    Listed {
        id: format!("r{id}").parse().unwrap(),
        station: "skarvik-bench".into(),
        simulated: false,
        kind: "soak".into(),
        tray: None,
        part: part.into(),
        family: "ta-mno2".into(),
        capacitance: farads(22e-6),
        rated: volts(25.0),
        test_voltage: volts(25.0),
        limit: Some(amperes(5.5e-6)),
        reading_time: Some(seconds(300.0)),
        confidence: Confidence::USUAL,
        started: format!("2026-03-{:02}T08:00:00Z", id.min(31)).parse().unwrap(),
        state: "ended",
        verdict: Some(Verdict::Within),
        findings: vec![Finding::Settled],
        current: Some(MeasuredCurrent {
            value: amperes(nanoampere * 1e-9),
            raw: amperes(nanoampere * 1e-9),
            uncertainty: amperes(half * 1e-9),
            at: seconds(300.0),
        }),
        left: None,
    }
}

// Half-widths of 15 and 12 nA at a coverage of 1.96 are u = 7.65 and 6.12 nA; together 9.80 nA.
// 45 nA over that is 4.59.
#[test]
fn a_difference_counts_in_standard_uncertainties_of_both() {
    let (new, old) = (run(7, "C14", 193.0, 15.0), run(2, "C14", 148.0, 12.0));
    let difference = Difference::between(&new, &old).unwrap();
    assert!((difference.uncertainties - 4.59).abs() < 0.01, "{difference:?}");
    assert!((difference.factor.unwrap() - 193.0 / 148.0).abs() < 1e-9);
    let beside = Beside::of(Relation::Earlier, &new, &old);
    insta::assert_snapshot!(beside.sentence(&new), @"C14 (r7) against C14 (r2) on 2026-03-02: 193 ± 15 nA against 148 ± 12 nA, 45 nA more, 1.30 times as much; 4.6 standard uncertainties: a real difference.");
}

#[rstest]
#[case::the_same(150.0, "the readings show no difference")]
#[case::a_little(170.0, "a hint of a difference, no proof")]
#[case::much_less(
    100.0,
    "48 nA less, 0.68 times as much; 4.9 standard uncertainties: a real difference"
)]
fn what_the_readings_bear_out_is_said_in_words(#[case] nanoampere: f64, #[case] words: &str) {
    let (new, old) = (run(7, "C14", nanoampere, 15.0), run(2, "C14", 148.0, 12.0));
    let sentence = Beside::of(Relation::Earlier, &new, &old).sentence(&new);
    assert!(sentence.contains(words), "{sentence}");
}

#[test]
fn a_small_part_of_the_other_is_said_in_plain_digits() {
    let (new, old) = (run(7, "C14", 1.0, 0.1), run(2, "C14", 148.0, 12.0));
    let sentence = Beside::of(Relation::Earlier, &new, &old).sentence(&new);
    assert!(sentence.contains("150 nA less, 0.0068 times as much; 24.0 standard"), "{sentence}");
}

#[test]
fn another_coverage_gives_the_same_standard_uncertainty() {
    let sure = Confidence::of(0.99).unwrap();
    let wide =
        Listed { confidence: sure, ..run(7, "C14", 193.0, 15.0 * sure.coverage() / 1.959_964) };
    let old = run(2, "C14", 148.0, 12.0);
    let counts = [run(7, "C14", 193.0, 15.0), wide]
        .map(|new| Difference::between(&new, &old).unwrap().uncertainties);
    assert!((counts[0] - counts[1]).abs() < 1e-4, "{counts:?}");
}

#[test]
fn what_makes_runs_compare_badly_is_said() {
    let new = run(7, "C14", 193.0, 15.0);
    let mut other = Listed { test_voltage: volts(20.0), ..run(3, "C15", 148.0, 12.0) };
    if let Some(current) = &mut other.current {
        current.at = seconds(60.0);
    }
    let sentence = Beside::of(Relation::Named, &new, &other).sentence(&new);
    assert!(sentence.ends_with("Take care: the test voltages differ, 25 V and 20 V; they were read at 5 min and 1 min after full voltage."), "{sentence}");
}

#[test]
fn a_run_without_a_reading_is_not_compared() {
    let new = run(7, "C14", 193.0, 15.0);
    let shorted =
        Listed { current: None, findings: vec![Finding::Shorted], ..run(3, "C15", 0.0, 1.0) };
    let sentence = Beside::of(Relation::Named, &new, &shorted).sentence(&new);
    insta::assert_snapshot!(sentence, @"C14 (r7) against C15 (r3): 193 ± 15 nA against no reading (shorted): nothing to compare.");
}

#[test]
fn earlier_runs_are_of_the_same_part_and_sisters_of_others_alike() {
    let all = [
        run(9, "C14", 200.0, 15.0),
        run(7, "C14", 193.0, 15.0),
        run(6, "C15", 150.0, 12.0),
        run(5, "C15", 160.0, 12.0),
        Listed { test_voltage: volts(20.0), ..run(4, "C16", 150.0, 12.0) },
        Listed { simulated: true, ..run(3, "C14", 150.0, 12.0) },
        run(2, "C14", 148.0, 12.0),
    ];
    let ids = |runs: Vec<&Listed>| runs.iter().map(|run| run.id.to_string()).collect::<Vec<_>>();
    assert_eq!(ids(earlier(&all[1], &all)), ["r2"]);
    assert_eq!(ids(sisters(&all[1], &all)), ["r6"]);
}

#[test]
fn a_family_of_few_parts_makes_no_band() {
    let all: Vec<Listed> = (1..6).map(|id| run(id, &format!("C{id}"), 100.0, 5.0)).collect();
    insta::assert_snapshot!(Standing::of(&all[0], &all).sentence(), @"ta-mno2: 4 other parts on record, a band of the family takes 5.");
}

// C·U is 550 µC: 110 nA to 1.1 µA are 0.0002 to 0.002 for each µF·V. Of ten values the tenth and
// ninetieth percentiles are the second and the ninth plus a tenth of a step: 0.00038 and 0.00182.
#[rstest]
#[case::inside(600.0, "this one 0.0011, inside that band, 0.99 times that of their middle.")]
#[case::above(5500.0, "this one 0.010, above that band, 9.1 times that of their middle.")]
#[case::below(55.0, "this one 0.00010, below that band, 0.091 times that of their middle.")]
fn a_part_stands_inside_or_outside_the_band_of_its_family(
    #[case] nanoampere: f64,
    #[case] place: &str,
) {
    let mut all: Vec<Listed> =
        (1..11).map(|id| run(id, &format!("C{id}"), 110.0 * f64::from(id), 5.0)).collect();
    all.push(run(20, "C99", nanoampere, 5.0));
    let standing = Standing::of(&all[10], &all);
    let [low, middle, high] = standing.band.unwrap();
    assert!((low - 0.000_38).abs() < 1e-9 && (high - 0.001_82).abs() < 1e-9, "{standing:?}");
    assert!((middle - 0.0011).abs() < 1e-9);
    assert!(standing.sentence().ends_with(place), "{}", standing.sentence());
}

#[test]
fn a_course_tells_how_a_part_went_over_the_year() {
    let at = |date: &str, id: u32, nanoampere: f64| Listed {
        started: format!("{date}T08:00:00Z").parse().unwrap(),
        ..run(id, "C14", nanoampere, 10.0)
    };
    let all = [
        at("2026-11-01", 30, 250.0),
        Listed { current: None, ..at("2026-06-01", 20, 0.0) },
        at("2026-05-01", 15, 200.0),
        at("2025-11-01", 3, 150.0),
    ];
    let course = Course::of(&all);
    assert_eq!(
        course.runs.iter().map(|run| run.id.to_string()).collect::<Vec<_>>(),
        ["r3", "r15", "r30"]
    );
    // 100 nA in 365 days, on a straight line but for the days of the months: 100 nA a year.
    insta::assert_snapshot!(course.sentence(), @"in 12 months from 150 ± 10 nA to 250 ± 10 nA: 100 nA more, 1.67 times as much; 13.9 standard uncertainties: a real difference; over all 3 readings it rises by 100 nA a year. One run is left out: no reading, or read otherwise.");
}

#[test]
fn one_reading_makes_no_course() {
    let course = Course::of(&[run(3, "C14", 150.0, 10.0)]);
    assert_eq!(course.sentence(), "one reading, 150 ± 10 nA: a trend takes two.");
}
