//! Pictures of several runs: nothing over another, nothing lost, the same everywhere.

use rstest::rstest;

use super::examples::{few, film, twelve};
use super::*;
use crate::quantity::{amperes, seconds};
use crate::report::scene::Mark;
use crate::report::{Format, Point, Sample, draw_together};

const USUAL: View =
    View { against: Against::LogTime, since: Since::SwitchOn, measure: Measure::Current };

fn view(against: Against, since: Since, measure: Measure) -> View {
    View { against, since, measure }
}

#[rstest]
fn no_text_lies_over_another_or_off_the_page(
    #[values(twelve(), twelve()[..1].to_vec(), few()[..2].to_vec())] members: Vec<Member>,
    #[values(Against::LogTime, Against::Time, Against::Voltage)] against: Against,
    #[values(Since::SwitchOn, Since::FullVoltage)] since: Since,
    #[values(Measure::Current, Measure::OfLimit, Measure::OfCharge)] measure: Measure,
) {
    let scene = compose(&members, view(against, since, measure)).unwrap();
    assert_eq!(scene.clashes(), Vec::<String>::new());
}

#[test]
fn every_run_is_named_on_its_curve_and_beside_it() {
    let scene = compose(&twelve(), USUAL).unwrap();
    let texts = scene.texts();
    for number in 1..=12 {
        let count = texts.iter().filter(|text| **text == number.to_string()).count();
        assert!(3 <= count, "{number} stands {count} times: strip, margin, curve");
        assert!(texts.contains(&format!("C{} · r{number}", 400 + number).as_str()), "{texts:?}");
    }
}

#[test]
fn aligned_runs_share_their_reading_window() {
    let members = twelve();
    let aligned = view(Against::Time, Since::FullVoltage, Measure::Current);
    assert!(Lines::of(&members, aligned).unwrap().window().is_some());
    assert!(Lines::of(&members, USUAL).unwrap().window().is_none());
}

#[test]
fn parts_with_unlike_limits_meet_at_one_line_when_divided_by_them() {
    let members = [few().remove(0), film()];
    assert_eq!(Lines::of(&members, USUAL).unwrap().limit(), None);
    let notes = legend::notes(&Lines::of(&members, USUAL).unwrap());
    assert!(notes.contains("the limits differ: 5.5\u{a0}µA of 1, 600\u{a0}pA of 2"), "{notes}");
    let shares = view(Against::LogTime, Since::SwitchOn, Measure::OfLimit);
    assert_eq!(Lines::of(&members, shares).unwrap().limit(), Some(1.0));
    // 5.5 µA of 22 µF · 25 V and 0.6 nA of 0.1 µF · 100 V: 0.01 and 6·10⁻⁵ for each µF·V.
    let charges = view(Against::LogTime, Since::SwitchOn, Measure::OfCharge);
    let lines = Lines::of(&members, charges).unwrap();
    let limits: Vec<f64> = lines.all.iter().filter_map(line::Line::limit).collect();
    assert!((limits[0] / 0.01 - 1.0).abs() < 1e-9 && (limits[1] / 6e-5 - 1.0).abs() < 1e-9);
}

#[test]
fn what_cannot_be_aligned_or_divided_is_refused_by_name() {
    let aligned = view(Against::Time, Since::FullVoltage, Measure::Current);
    let error = compose(&few(), aligned).unwrap_err();
    insta::assert_snapshot!(error, @"r5 never reached full voltage, so it can't be aligned there");
    let mut members = few();
    members[1].curve.limit = None;
    let shares = view(Against::Time, Since::SwitchOn, Measure::OfLimit);
    insta::assert_snapshot!(compose(&members, shares).unwrap_err(), @"r4 has no limit, so it can't be drawn as a share of one");
    let many = [twelve(), few()].concat();
    insta::assert_snapshot!(compose(&many, USUAL).unwrap_err(), @"15 runs in one picture, expected at most 12");
}

#[test]
fn every_labelled_decade_of_time_has_its_label() {
    let scene = compose(&twelve(), USUAL).unwrap();
    for label in ["100 ms", "1 s", "10 s", "100 s"] {
        assert!(scene.texts().contains(&label), "{label}: {:?}", scene.texts());
    }
}

#[test]
fn readings_before_the_zero_of_decades_are_counted() {
    let aligned = view(Against::LogTime, Since::FullVoltage, Measure::Current);
    let members = twelve();
    let lines = Lines::of(&members, aligned).unwrap();
    let notes = legend::notes(&lines);
    let early = |member: &Member| {
        let full = member.curve.full_voltage_at.unwrap();
        member.curve.points.iter().filter(|point| point.at <= full).count()
    };
    let count: usize = members.iter().map(early).sum();
    assert!(
        0 < count && notes.contains(&format!("{count} readings before the axis begins")),
        "{notes}"
    );
}

#[test]
fn one_spike_of_one_of_two_runs_reaches_its_height() {
    let mut members = vec![twelve().remove(3), few().remove(0)];
    let shape = members[0].curve.points[400];
    let reading = |i: u32| {
        let current = if i == 123_456 { 5e-3 } else { 1e-7 };
        Point {
            at: seconds(0.01 * f64::from(i)),
            current: Sample::Value(amperes(current)),
            ..shape
        }
    };
    members[0].curve.points = (1..300_000).map(reading).collect();
    let lines = Lines::of(&members, USUAL).unwrap();
    let panel = Panel::lay(&lines, 200.0, 900.0);
    let top = panel.y.place(5e-3);
    let strokes = lines.all[0].trace(&panel.x, &panel.y).strokes.concat();
    assert_eq!(strokes.iter().filter(|at| (at.1 - top).abs() < 1e-6).count(), 1);
}

#[test]
fn a_run_that_was_cut_out_is_crossed_at_its_end() {
    let crosses = |members: &[Member]| {
        let scene = compose(members, USUAL).unwrap();
        let cross = |mark: &&Mark| matches!(mark, Mark::Stroke { width, ink, .. } if *width > 2.5 && *ink == ink::TEXT);
        scene.marks.iter().filter(cross).count()
    };
    assert_eq!((crosses(&few()), crosses(&few()[..2])), (2, 0));
}

#[test]
fn against_voltage_a_curve_ends_at_the_test_voltage() {
    let members = few();
    let across = view(Against::Voltage, Since::SwitchOn, Measure::Current);
    let lines = Lines::of(&members, across).unwrap();
    assert!((25.0..27.0).contains(&lines.across.high), "{:?}", lines.across);
    let (volts, ..) = lines.all[0].reading().unwrap();
    assert!((volts - 25.0).abs() < 1e-9);
}

/// The same text on every machine: fonts, locale and clock have no part in it.
#[rstest]
#[case::twelve_over_decades("twelve", twelve(), USUAL)]
#[case::two_as_shares(
    "shares",
    vec![few().remove(0), film()],
    View { against: Against::Time, since: Since::FullVoltage, measure: Measure::OfLimit }
)]
fn a_picture_is_the_same_on_every_machine(
    #[case] name: &str,
    #[case] mut members: Vec<Member>,
    #[case] view: View,
) {
    for member in &mut members {
        let mut index = 0;
        member.curve.points.retain(|_| {
            index += 1;
            index % 16 == 0
        });
    }
    let svg = String::from_utf8(draw_together(&members, view, Format::Svg).unwrap()).unwrap();
    insta::assert_snapshot!(name, svg);
}
