//! The picture of a staircase: current against voltage, with the limit and the range in which the
//! highest voltage lies at which the part is within.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;

use super::header::{self, Head};
use super::label::engineering;
use super::lettering::wrap;
use super::scale::{Kind, Range, Scale, floor_log};
use super::scene::{Anchor, At, PAGE_HEIGHT, PAGE_WIDTH, Scene, Type, ink};
use crate::judge::{Finding, HighestWithin, Verdict};
use crate::quantity::{Current, Voltage};
use crate::record::{Run, RunState, StairOnRecord};

/// Edges of the panel: left, top, right, bottom.
const PANEL: (f64, f64, f64, f64) = (124.0, 190.0, 1196.0, 838.0);
/// Size of labels.
const LABEL: f64 = 14.0;
/// Half of the width of the ends of a bar.
const BAR: f64 = 7.0;

/// A staircase as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Steps {
    /// The part and the run.
    pub title: String,
    /// Family, rating, station, date, in one line.
    pub subtitle: String,
    /// Whether the part was a simulated one.
    pub simulated: bool,
    /// The steps from the lowest up.
    pub steps: Vec<StairOnRecord>,
    /// What the part may leak, if a rule is known.
    pub limit: Option<Current>,
    /// The range of the highest voltage at which it is within.
    pub highest: HighestWithin,
    /// What was said of the part.
    pub verdict: Verdict,
    /// Why.
    pub findings: Vec<Finding>,
    /// The sentence to act on.
    pub advice: String,
}

/// The staircase of a run on record; none if it climbed none.
#[must_use]
pub fn steps(run: &Run) -> Option<Steps> {
    let RunState::Ended(ending) = &run.state else { return None };
    let staircase = ending.staircase.as_ref()?;
    Some(Steps {
        title: super::from_record::title(run),
        subtitle: super::from_record::subtitle(run),
        simulated: run.begun.simulated,
        steps: staircase.steps.clone(),
        limit: run.begun.limit.as_ref().map(|limit| limit.current),
        highest: staircase.highest,
        verdict: ending.verdict,
        findings: ending.findings.clone(),
        advice: ending.advice.clone(),
    })
}

/// The two axes on the page.
struct Axes {
    voltage: Scale,
    current: Scale,
}

/// A staircase as a page of marks.
pub(super) fn compose(steps: &Steps) -> Scene {
    let axes = Axes::of(steps);
    let mut scene = Scene::default();
    scene.block((0.0, 0.0), (PAGE_WIDTH, PAGE_HEIGHT), ink::PAPER);
    axes.range(&mut scene, steps);
    if steps.simulated {
        watermark(&mut scene);
    }
    axes.grid(&mut scene);
    axes.limit(&mut scene, steps);
    axes.readings(&mut scene, steps);
    let (left, top, right, bottom) = PANEL;
    scene.edge((left, top), (right, bottom), 1.4, ink::TEXT);
    header::set(&mut scene, &head(steps));
    foot(&mut scene, steps);
    scene
}

fn head(steps: &Steps) -> Head<'_> {
    let limit = steps.limit.map_or_else(
        || "no limit known".to_owned(),
        |limit| format!("limit {}", engineering(limit.get::<ampere>(), "A")),
    );
    Head {
        title: &steps.title,
        subtitle: &steps.subtitle,
        summary: format!("staircase of {} steps\u{2003}·\u{2003}{limit}", steps.steps.len()),
        verdict: Some(steps.verdict),
        findings: &steps.findings,
        simulated: steps.simulated,
    }
}

fn watermark(scene: &mut Scene) {
    let (left, top, right, bottom) = PANEL;
    let look = Type::plain(150.0, ink::WATERMARK).bold().hung(Anchor::Middle);
    let middle = (f64::midpoint(left, right), f64::midpoint(top, bottom) + 50.0);
    scene.text("simulated", middle, look);
}

impl Axes {
    fn of(steps: &Steps) -> Self {
        let (left, top, right, bottom) = PANEL;
        let volts = steps.steps.iter().map(|step| step.voltage.get::<volt>());
        let highest = volts.fold(0.0, f64::max).max(1e-3);
        let voltage = Range { kind: Kind::Linear, low: 0.0, high: highest * 1.06 };
        Self {
            voltage: Scale { range: voltage, start: left, end: right },
            current: Scale { range: decades(steps), start: bottom, end: top },
        }
    }

    fn x(&self, voltage: Voltage) -> f64 {
        self.voltage.place(voltage.get::<volt>())
    }

    /// The range between the last step that is within and the next, and the estimate in it.
    fn range(&self, scene: &mut Scene, steps: &Steps) {
        let (left, top, right, bottom) = PANEL;
        let HighestWithin { within, beyond, estimate } = steps.highest;
        let from = within.map_or(left, |voltage| self.x(voltage));
        let to = beyond.map_or(right, |voltage| self.x(voltage));
        if beyond.is_some() {
            scene.block((from, top), (to, bottom), ink::WINDOW);
        }
        for at in [within.map(|_| from), beyond.map(|_| to)].into_iter().flatten() {
            scene.stroke(&[(at, top), (at, bottom)], 1.2, ink::WINDOW_EDGE);
        }
        if let Some(estimate) = estimate {
            let at = self.x(estimate);
            scene.dashes((at, top), (at, bottom), 1.6, ink::WINDOW_EDGE);
        }
        let look = Type::plain(LABEL, ink::TEXT).hung(Anchor::Middle);
        let text = range_text(&steps.highest);
        let half = look.width(&text) / 2.0;
        let middle = f64::midpoint(from, to).clamp(left + half, right - half);
        scene.text(text, (middle, top - 9.0), look);
    }

    fn grid(&self, scene: &mut Scene) {
        let (left, top, right, bottom) = PANEL;
        let shade = |label: &Option<String>| if label.is_some() { ink::GRID } else { ink::FAINT };
        let across = Type::plain(LABEL, ink::TEXT).hung(Anchor::Middle);
        for tick in self.voltage.range.ticks("V") {
            let x = self.voltage.place(tick.value);
            scene.stroke(&[(x, top), (x, bottom)], 0.8, shade(&tick.label));
            scene.text(tick.label.unwrap_or_default(), (x, bottom + 20.0), across);
        }
        let upright = Type::plain(LABEL, ink::TEXT).hung(Anchor::Right);
        for tick in self.current.range.ticks("A") {
            let y = self.current.place(tick.value);
            scene.stroke(&[(left, y), (right, y)], 0.8, shade(&tick.label));
            scene.text(tick.label.unwrap_or_default(), (left - 10.0, y + 5.0), upright);
        }
        scene.text("current", (left - 10.0, top - 12.0), upright.bold());
        let title = Type::plain(LABEL, ink::TEXT).bold();
        scene.text("voltage", (right + 24.0, bottom + 5.0), title);
        scene.text("of the step", (right + 24.0, bottom + 22.0), title);
    }

    fn limit(&self, scene: &mut Scene, steps: &Steps) {
        let Some(limit) = steps.limit.map(|limit| limit.get::<ampere>()) else { return };
        let (left, _, right, _) = PANEL;
        let y = self.current.place(limit);
        scene.dashes((left, y), (right, y), 2.6, ink::LIMIT);
        scene.text("limit", (right + 24.0, y - 3.0), Type::plain(LABEL, ink::LIMIT));
        let figures = Type::plain(16.0, ink::LIMIT).bold();
        scene.text(engineering(limit, "A"), (right + 24.0, y + 16.0), figures);
    }

    /// The readings, joined by a line, each with the bar of its interval.
    fn readings(&self, scene: &mut Scene, steps: &Steps) {
        let read: Vec<(At, f64, f64, Verdict)> = steps
            .steps
            .iter()
            .filter_map(|step| {
                let current = step.current?;
                let (value, half) =
                    (current.value.get::<ampere>(), current.uncertainty.get::<ampere>());
                let at = (self.x(step.voltage), self.current.place(value));
                let ends = [value + half, value - half].map(|end| self.current.place(end));
                Some((at, ends[0], ends[1], step.verdict))
            })
            .collect();
        let line: Vec<At> = read.iter().map(|(at, ..)| *at).collect();
        scene.stroke(&line, 1.6, ink::CURVE);
        for (at, high, low, verdict) in read {
            scene.stroke(&[(at.0, high), (at.0, low)], 2.0, ink::TEXT);
            for end in [high, low] {
                scene.stroke(&[(at.0 - BAR, end), (at.0 + BAR, end)], 2.0, ink::TEXT);
            }
            sign(scene, at, verdict);
        }
    }
}

/// The sign of a reading by its verdict: a dot, a ring or a triangle.
fn sign(scene: &mut Scene, at: At, verdict: Verdict) {
    match verdict {
        Verdict::Within => scene.disc(at, 6.0, ink::GOOD),
        Verdict::Over => scene.triangle(at, 16.0, ink::ALARM),
        Verdict::Undecided | Verdict::Untested => scene.ring(at, 6.5, 2.2, ink::TEXT),
    }
}

/// Decades around all readings above zero and the limit.
fn decades(steps: &Steps) -> Range {
    let read = steps.steps.iter().filter_map(|step| step.current);
    let values = read.map(|current| current.value).chain(steps.limit);
    let above: Vec<f64> =
        values.map(|current| current.get::<ampere>()).filter(|value| 0.0 < *value).collect();
    let least = above.iter().copied().fold(f64::INFINITY, f64::min);
    let most = above.iter().copied().fold(0.0, f64::max);
    if most <= 0.0 {
        return Range { kind: Kind::Log, low: 1e-9, high: 1e-6 };
    }
    let (low, high) = (floor_log(least * 0.8), floor_log(most * 1.25) + 1);
    Range { kind: Kind::Log, low: 10f64.powi(low.min(high - 2)), high: 10f64.powi(high) }
}

/// The range in a few words.
fn range_text(highest: &HighestWithin) -> String {
    let volts = |voltage: Voltage| engineering(voltage.get::<volt>(), "V");
    let between = match (highest.within, highest.beyond) {
        (Some(within), Some(beyond)) => {
            format!("within up to {}, not clearly at {}", volts(within), volts(beyond))
        }
        (Some(within), None) => format!("within up to {}, the last step", volts(within)),
        (None, Some(beyond)) => format!("not clearly within even at {}", volts(beyond)),
        (None, None) => "no step was read".to_owned(),
    };
    let about = |voltage| format!("; limit met at about {} (estimate)", volts(voltage));
    between + &highest.estimate.map(about).unwrap_or_default()
}

/// The signs, what a reader must know, and the sentence to act on.
fn foot(scene: &mut Scene, steps: &Steps) {
    let (left, _, _, bottom) = PANEL;
    let small = Type::plain(13.5, ink::TEXT);
    let mut x = left;
    for (verdict, word) in
        [(Verdict::Within, "within"), (Verdict::Undecided, "undecided"), (Verdict::Over, "over")]
    {
        sign(scene, (x, bottom + 47.0), verdict);
        scene.text(word, (x + 14.0, bottom + 52.0), small);
        x += 34.0 + small.width(word) + 14.0;
    }
    let notes = notes(steps);
    scene.text(notes, (x + 20.0, bottom + 52.0), Type { ink: ink::QUIET, ..small });
    let look = Type::plain(16.0, ink::TEXT);
    let mut y = bottom + 84.0;
    for line in wrap(&steps.advice, look.size, look.weight, PAGE_WIDTH - 2.0 * left) {
        scene.text(line, (left, y), look);
        y += 21.0;
    }
}

fn notes(steps: &Steps) -> String {
    let count = |matches: fn(&StairOnRecord) -> bool| {
        steps.steps.iter().filter(|step| matches(step)).count()
    };
    let unread = count(|step| step.current.is_none());
    let floor =
        count(|step| step.current.is_some_and(|current| current.value <= Current::default()));
    let mut notes =
        vec!["each read at the end of its dwell, with the interval of its doubt".to_owned()];
    if 0 < unread {
        notes.push(format!("{unread} without a reading"));
    }
    if 0 < floor {
        notes.push(format!("{floor} at or below zero, drawn at the foot"));
    }
    notes.join("; ")
}

#[cfg(test)]
mod tests {
    use super::super::scene::Ink;
    use super::*;
    use crate::quantity::{amperes, seconds, volts};
    use crate::record::MeasuredCurrent;

    /// Ten steps of 2.5 V of a part that passes its limit of 5.5 µA between 20 V and 22.5 V.
    fn climbed() -> Steps {
        let step = |number: u32| {
            let at = 2.5 * f64::from(number);
            let value = amperes(12e-6 * (5.0 * (at / 25.0 - 1.0)).exp() * at / 25.0);
            let uncertainty = value * 0.04 + amperes(20e-9);
            let current = MeasuredCurrent { value, raw: value, uncertainty, at: seconds(60.0) };
            let verdict = if number < 9 { Verdict::Within } else { Verdict::Over };
            StairOnRecord { voltage: volts(at), verdict, current: Some(current) }
        };
        Steps {
            title: "C14 · run r3".to_owned(),
            subtitle: "ta-mno2 · 22 µF 25 V · skarvik-bench · 2026-03-14".to_owned(),
            simulated: true,
            steps: (1..=9).map(step).collect(),
            limit: Some(amperes(5.5e-6)),
            highest: HighestWithin {
                within: Some(volts(20.0)),
                beyond: Some(volts(22.5)),
                estimate: Some(volts(21.8)),
            },
            verdict: Verdict::Undecided,
            findings: vec![Finding::Settled],
            advice: "Within its limit of 5.5 µA up to 20 V, no longer clearly so at 22.5 V.".into(),
        }
    }

    fn inks(scene: &Scene, wanted: Ink) -> usize {
        let drawn = format!("{:?}", scene.marks);
        drawn.matches(&format!("ink: {wanted:?}")).count()
    }

    #[test]
    fn the_page_names_limit_range_estimate_and_what_to_do() {
        let scene = compose(&climbed());
        let texts = scene.texts().join("\n");
        for words in [
            "staircase of 9 steps",
            "5.5 µA",
            "within up to 20 V, not clearly at 22.5 V; limit met at about 21.8 V (estimate)",
            "no longer clearly so at 22.5 V.",
        ] {
            assert!(texts.contains(words), "{words} is not in {texts}");
        }
        assert_eq!(scene.clashes(), Vec::<String>::new());
    }

    #[test]
    fn a_step_within_and_one_over_have_different_signs() {
        let all_within =
            Steps { steps: climbed().steps.into_iter().take(8).collect(), ..climbed() };
        let (with, without) = (compose(&climbed()), compose(&all_within));
        assert_eq!(inks(&with, ink::ALARM), inks(&without, ink::ALARM) + 1);
    }

    #[test]
    fn a_step_without_a_reading_or_below_zero_is_told() {
        let mut steps = climbed();
        steps.steps[0].current = None;
        if let Some(current) = &mut steps.steps[1].current {
            current.value = amperes(-1e-9);
        }
        let texts = compose(&steps).texts().join("\n");
        assert!(texts.contains("1 without a reading; 1 at or below zero"), "{texts}");
    }

    #[test]
    fn a_part_over_at_the_first_step_still_has_a_readable_page() {
        let mut steps = climbed();
        steps.steps.truncate(1);
        steps.highest = HighestWithin { within: None, beyond: Some(volts(2.5)), estimate: None };
        let scene = compose(&steps);
        assert_eq!(scene.clashes(), Vec::<String>::new());
        let drawn = format!("{:?}", scene.marks);
        assert!(!drawn.contains("NaN") && !drawn.contains("inf,"));
    }
}
