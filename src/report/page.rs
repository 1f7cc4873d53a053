//! The page: head, phases, two panels, and below them events and notes.

use uom::si::time::second;

use super::extent::{Extent, last_moment, reading_due};
use super::label::{counted, duration};
use super::lettering::{fit, wrap};
use super::panel::{self, Rows, SIDES, Sheet};
use super::scale::Scale;
use super::scene::{PAGE_HEIGHT, PAGE_WIDTH, Scene, Type, ink};
use super::strip::{self, Names};
use super::tally::Tally;
use super::{Axes, Curve, header, margin, trace};

/// Upper edge of the current panel.
const TOP: f64 = 212.0;
/// Lower edge of everything.
const BOTTOM: f64 = PAGE_HEIGHT - 26.0;
/// How events and notes are set.
const SMALL: Type = Type::plain(13.5, ink::TEXT);
/// Height of their lines.
const LINE: f64 = 19.0;
/// From the upper edge of the first line to its base line.
const FIRST: f64 = 14.0;
/// Left edge and width of the events.
const EVENTS: (f64, f64) = (40.0, 590.0);
/// Left edge and width of the notes.
const NOTES: (f64, f64) = (670.0, PAGE_WIDTH - 40.0 - 670.0);

/// A curve as a page of marks.
pub(super) fn compose(curve: &Curve, axes: Axes) -> Scene {
    let extent = Extent::of(curve, axes);
    let tally = Tally::of(curve, extent.time, extent.current);
    let time = Scale { range: extent.time, start: SIDES.0, end: SIDES.1 };
    let names = Names::of(curve, &time);
    let notes = wrap(&notes(curve, &extent, &tally, &names), SMALL.size, SMALL.weight, NOTES.1);
    let listed = strip::numbered(curve).len() + usize::from(unnumbered(curve) > 0);
    #[expect(clippy::cast_precision_loss, reason = "a few lines")]
    let foot = BOTTOM - LINE * listed.max(notes.len()) as f64;
    let needs = Rows::of(curve, &extent, &tally);
    let sheet = Sheet::lay(extent, needs, TOP, foot);
    let mut scene = Scene::default();
    scene.block((0.0, 0.0), (PAGE_WIDTH, PAGE_HEIGHT), ink::PAPER);
    panel::draw(&mut scene, curve, &sheet);
    names.draw(&mut scene, curve, &sheet, TOP);
    strip::flags(&mut scene, curve, &sheet);
    strip::clock(&mut scene, curve, &sheet);
    margin::draw(&mut scene, curve, &sheet);
    header::draw(&mut scene, curve);
    events(&mut scene, curve, foot);
    column(&mut scene, &notes, NOTES.0, foot);
    scene
}

/// Lines under each other.
fn column(scene: &mut Scene, lines: &[String], left: f64, top: f64) {
    let mut y = top + FIRST;
    for line in lines {
        scene.text(line.as_str(), (left, y), SMALL);
        y += LINE;
    }
}

/// The numbered events, a line each, and how many more there are.
fn events(scene: &mut Scene, curve: &Curve, top: f64) {
    let (left, width) = EVENTS;
    let (time, text) = (left + 28.0, left + 122.0);
    let mut y = top + FIRST;
    for (number, event) in strip::numbered(curve) {
        scene.text(number.to_string(), (left, y), SMALL.bold());
        scene.text(duration(event.at.get::<second>()), (time, y), SMALL);
        let words = fit(&event.text, SMALL.size, SMALL.weight, left + width - text);
        scene.text(words, (text, y), SMALL);
        y += LINE;
    }
    let rest = unnumbered(curve);
    if rest > 0 {
        let more = counted(rest, "more event", "more events");
        scene.text(format!("{more} between these, marked without a number"), (time, y), SMALL);
    }
}

/// How many events have no number.
fn unnumbered(curve: &Curve) -> usize {
    curve.events.len() - strip::numbered(curve).len()
}

/// Everything a reader must know to read the picture right, in sentences.
fn notes(curve: &Curve, extent: &Extent, tally: &Tally, names: &Names<'_>) -> String {
    let mut notes = clock_notes(curve, extent);
    notes.extend(tally.notes(extent.time, extent.current));
    let pauses = trace::count_pauses(curve);
    if pauses > 0 {
        notes.push(format!("line broken at {}", counted(pauses, "pause", "pauses")));
    }
    if names.left_out > 0 {
        let names = counted(names.left_out, "short phase", "short phases");
        notes.push(format!("{names} drawn without a name"));
    }
    notes.extend(fit_note(curve));
    notes.push(count_note(curve));
    notes.join("; ")
}

/// What the dashed lines along the curve are.
fn fit_note(curve: &Curve) -> Option<String> {
    let parts = curve.parts.as_ref()?;
    Some(if parts.separable {
        "dashed: the fitted parts of the current, leakage in long strokes, absorption in short ones, \
         charging in dots"
            .to_owned()
    } else {
        "dashed: the fitted sum of absorption and leakage, which can't be told apart yet".to_owned()
    })
}

/// How many readings there are, and how many of them are drawn.
pub(super) fn count_note(curve: &Curve) -> String {
    let drawn = curve.points.len();
    if curve.left_out == 0 {
        return counted(drawn, "reading in all", "readings in all");
    }
    let all = counted(drawn + curve.left_out as usize, "reading", "readings");
    format!("of {all} {drawn} are drawn and counted here, every extreme among them")
}

/// What is to be said about the limit's clock and the reading window.
fn clock_notes(curve: &Curve, extent: &Extent) -> Vec<String> {
    let mut notes = Vec::new();
    if curve.full_voltage_at.is_none() {
        notes.push("full voltage was never reached".to_owned());
    }
    if let Some(due) = reading_due(curve).filter(|&due| due > extent.time.high) {
        let ended = duration(last_moment(curve));
        notes.push(format!("reading due at {}, the run ended at {ended}", duration(due)));
    }
    if let Some(reading) = curve.reading {
        let ends = [reading.window.0, reading.window.1].map(|at| duration(at.get::<second>()));
        notes.push(format!("reading taken in the shaded window from {} to {}", ends[0], ends[1]));
    }
    notes
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::super::{Event, EventKind, Point, Sample, Span, example};
    use super::*;
    use crate::judge::{Finding, Verdict};
    use crate::plan::Phase;
    use crate::quantity::{amperes, seconds, volts};

    #[rstest]
    fn no_text_lies_over_another_or_off_the_page(
        #[values(
            example::healthy(),
            example::leaky(),
            example::empty_clip(),
            example::broken_down(),
            example::film(),
            example::long_soak()
        )]
        curve: Curve,
        #[values(Axes::LogLog, Axes::Linear)] axes: Axes,
    ) {
        assert_eq!(compose(&curve, axes).clashes(), Vec::<String>::new());
    }

    #[track_caller]
    fn says(scene: &Scene, expected: &[&str]) {
        let texts = scene.texts();
        for text in expected {
            assert!(texts.contains(text), "{text} is not among {texts:?}");
        }
    }

    #[test]
    fn a_page_names_part_verdict_finding_limit_reading_and_every_phase() {
        let scene = compose(&example::healthy(), Axes::LogLog);
        says(&scene, &["C417 · tantalum 22 µF 25 V", "✓ within", "settled"]);
        says(&scene, &["5.5 µA", "0.171 ± 0.012 µA", "5 min at full voltage"]);
        says(&scene, &["probe", "ramp", "charge", "settle", "soak", "bleed"]);
        says(&scene, &["1", "2.5 s", "meter range 10 mA to 100 µA"]);
    }

    #[rstest]
    #[case::simulated(true, 2)]
    #[case::real(false, 0)]
    fn a_simulated_run_says_so_above_and_across_the_curve(
        #[case] simulated: bool,
        #[case] count: usize,
    ) {
        let curve = Curve { simulated, ..example::healthy() };
        let scene = compose(&curve, Axes::LogLog);
        let said = scene.marks.iter().filter(|mark| format!("{mark:?}").contains("simulated"));
        assert_eq!(said.count(), count);
    }

    #[test]
    fn a_breakdown_in_the_ramp_is_told_in_words() {
        let scene = compose(&example::broken_down(), Axes::LogLog);
        says(&scene, &["✗ over", "broke\u{a0}down", "overload", "broke down at 20 V", "1.31 s"]);
        let notes = scene.texts().join(" ");
        assert!(notes.contains("full voltage was never reached; "), "{notes}");
        assert!(notes.contains("8 overloads drawn beside the axis"), "{notes}");
    }

    #[test]
    fn a_run_still_going_has_no_verdict_yet() {
        let curve = Curve { verdict: None, findings: vec![], ..example::healthy() };
        says(&compose(&curve, Axes::Linear), &["no verdict yet"]);
    }

    #[test]
    fn events_beyond_those_listed_are_counted() {
        let event = |at: u32| Event {
            at: seconds(f64::from(at) * 9.0),
            text: "range".to_owned(),
            kind: EventKind::Range,
        };
        let curve = Curve { events: (0..30).map(event).collect(), ..example::healthy() };
        let scene = compose(&curve, Axes::Linear);
        says(&scene, &["22 more events between these, marked without a number"]);
        assert_eq!(scene.clashes(), Vec::<String>::new());
    }

    #[test]
    fn a_third_of_a_million_readings_leave_a_small_picture() {
        let mut curve = example::long_soak();
        let shape = curve.points[0];
        let noisy = |i: i32| {
            let sign = if i % 7 < 3 { -1.0 } else { 1.0 };
            let current = amperes(sign * 1e-9 * f64::from(1 + i % 101));
            Point { at: seconds(0.1 * f64::from(i)), current: Sample::Value(current), ..shape }
        };
        curve.points = (0..360_000).map(noisy).collect();
        for axes in [Axes::LogLog, Axes::Linear] {
            let marks = compose(&curve, axes).marks.len();
            assert!(marks < 9000, "{marks}");
        }
    }

    fn any_sample() -> impl Strategy<Value = Sample> {
        let value = |(size, decade)| Sample::Value(amperes(size * 10f64.powi(decade)));
        prop_oneof![
            6 => (-1e-3..1e-2f64, -9..0i32).prop_map(value),
            1 => Just(Sample::Value(amperes(0.0))),
            1 => any::<bool>().prop_map(|negative| Sample::Overload { negative }),
            1 => Just(Sample::Missing),
            1 => Just(Sample::Value(amperes(f64::INFINITY))),
        ]
    }

    prop_compose! {
        fn any_points()(
            steps in prop::collection::vec(
                (0.001..30.0f64, any_sample(), prop::option::of(-1.0..80.0f64)), 0..60),
        ) -> Vec<Point> {
            let mut at = 0.0;
            let point = |(step, current, voltage): (f64, Sample, Option<f64>)| {
                at += step;
                let voltage = voltage.map(volts);
                Point { at: seconds(at), current, voltage, phase: Phase::Soak }
            };
            steps.into_iter().map(point).collect()
        }
    }

    prop_compose! {
        fn any_phases()(
            lengths in prop::collection::vec((0..Phase::ALL.len(), 0.0..200.0f64), 0..14),
        ) -> Vec<Span> {
            let mut from = 0.0;
            let span = |(index, length): (usize, f64)| {
                let to = from + length;
                let span = Span { phase: Phase::ALL[index], from: seconds(from), to: seconds(to) };
                from = to;
                span
            };
            lengths.into_iter().map(span).collect()
        }
    }

    prop_compose! {
        fn any_outcome()(
            (limit, after) in (1e-12..1e-2f64, 1.0..5000.0f64),
            (current, half) in (-1e-3..1e-2f64, 0.0..1e-3f64),
            (limited, read, verdict, findings) in
                (any::<bool>(), any::<bool>(), 0usize..5, 0..Finding::ALL.len()),
        ) -> Curve {
            let shape = example::healthy();
            let limit =
                super::super::Limit { current: amperes(limit), reading_time: seconds(after) };
            let (current, uncertainty) = (amperes(current), amperes(half));
            let reading = shape.reading
                .map(|shape| super::super::Reading { current, uncertainty, ..shape });
            Curve {
                limit: limited.then_some(limit),
                reading: reading.filter(|_| read),
                verdict: Verdict::ALL.get(verdict).copied(),
                findings: Finding::ALL[..findings].to_vec(),
                ..shape
            }
        }
    }

    prop_compose! {
        fn any_curve()(
            outcome in any_outcome(),
            points in any_points(),
            phases in any_phases(),
            began in prop::option::of(0.0..400.0f64),
            events in prop::collection::vec((0.0..500.0f64, "[a-z µ]{0,120}"), 0..20),
            title in "[A-Za-z0-9µ ·]{0,120}",
            simulated in any::<bool>(),
        ) -> Curve {
            let event = |(at, text)| Event { at: seconds(at), text, kind: EventKind::Other };
            let events = events.into_iter().map(event).collect();
            let full_voltage_at = began.map(seconds);
            let subtitle = title.clone();
            let (left_out, parts) = (0, None);
            Curve { title, subtitle, simulated, points, left_out, phases, full_voltage_at, events, parts, ..outcome }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(96))]

        /// However odd the run, the page stays readable and every coordinate is a number.
        #[test]
        fn any_run_gives_a_readable_page(curve in any_curve()) {
            for axes in [Axes::LogLog, Axes::Linear] {
                let scene = compose(&curve, axes);
                prop_assert_eq!(scene.clashes(), Vec::<String>::new());
                let drawn = format!("{:?}", scene.marks);
                prop_assert!(!drawn.contains("NaN") && !drawn.contains("inf,"));
            }
        }
    }
}
