//! What is drawn of several runs: lines with their numbers on them, readings, limit, events.

use super::line::Line;
use super::{Lines, Panel};
use crate::report::EventKind;
use crate::report::panel::SIDES;
use crate::report::scene::{Anchor, At, Ink, Scene, Type, ink};
use crate::report::trace::Trace;

/// Inks of the curves. Beside each other they differ in lightness as well; what tells them apart
/// without colour are the numbers on them.
const INKS: [Ink; 6] = [
    Ink(0, 84, 147),
    Ink(201, 76, 8),
    Ink(0, 128, 96),
    Ink(122, 30, 96),
    Ink(64, 156, 214),
    Ink(168, 124, 0),
];
/// Numbers along each curve.
const BADGES: usize = 3;
/// Radius of a number's disc.
const RADIUS: f64 = 8.5;
/// Two discs stand at least so far apart.
const APART: f64 = 2.0 * RADIUS + 3.0;

/// The ink of a curve.
pub(super) fn ink_of(index: usize) -> Ink {
    INKS[index % INKS.len()]
}

/// All that stands in the panel.
pub(super) fn draw(scene: &mut Scene, lines: &Lines<'_>, panel: &Panel) {
    if let Some(limit) = lines.limit() {
        let y = panel.y.place(limit);
        scene.dashes((SIDES.0, y), (SIDES.1, y), 2.6, ink::LIMIT);
    }
    let traces: Vec<Trace> = lines.all.iter().map(|line| line.trace(&panel.x, &panel.y)).collect();
    for (index, trace) in traces.iter().enumerate() {
        curve(scene, trace, panel, ink_of(index));
    }
    for (index, line) in lines.all.iter().enumerate() {
        reading(scene, line, panel, ink_of(index));
        events(scene, line, &traces[index], panel);
    }
    badges(scene, &traces);
}

/// A line and the marks of what has no place on it.
fn curve(scene: &mut Scene, trace: &Trace, panel: &Panel, ink: Ink) {
    for stroke in &trace.strokes {
        scene.stroke(stroke, 1.9, ink);
    }
    for &dot in &trace.dots {
        scene.disc(dot, 2.2, ink);
    }
    let place = |x: &f64, row: Option<f64>| row.map(|y| (*x, y));
    for at in trace.floor.iter().filter_map(|x| place(x, panel.floor)) {
        scene.ring(at, 3.6, 1.4, ink);
    }
    let overloads = trace.overloads.iter().chain(&trace.negative_overloads);
    for at in overloads.filter_map(|x| place(x, panel.overload)) {
        scene.triangle(at, 12.0, ink);
    }
    for &x in &trace.above {
        scene.triangle((x, panel.y.end + 8.0), 10.0, ink);
    }
    for &x in &trace.below {
        scene.triangle((x, panel.y.start - 8.0), -10.0, ink);
    }
}

/// The reading: a diamond and a bar over its interval.
fn reading(scene: &mut Scene, line: &Line<'_>, panel: &Panel, ink: Ink) {
    let Some((x, value, half)) = line.reading() else { return };
    let x = panel.x.place(x);
    let place = |value: f64| {
        let floor = panel.floor.filter(|_| value <= 0.0);
        floor.unwrap_or_else(|| panel.y.place(value))
    };
    let (low, middle, high) = (place(value - half), place(value), place(value + half));
    scene.stroke(&[(x, low), (x, high)], 2.0, ink);
    for y in [low, high] {
        scene.stroke(&[(x - 6.0, y), (x + 6.0, y)], 2.0, ink);
    }
    for (reach, ink) in [(8.5, ink::PAPER), (6.5, ink), (3.0, ink::PAPER)] {
        let corners =
            [(x - reach, middle), (x, middle - reach), (x + reach, middle), (x, middle + reach)];
        scene.fill(&corners, ink);
    }
}

/// A cross where a run ended before its time, a small upright stroke at a change of range, a star
/// at a burst: on the curve.
fn events(scene: &mut Scene, line: &Line<'_>, trace: &Trace, panel: &Panel) {
    for event in &line.member.curve.events {
        let Some(moment) = line.moment(event.at.value) else { return };
        let x = panel.x.place(moment);
        let Some((x, y)) = nearest(trace, x, 12.0) else { continue };
        match event.kind {
            EventKind::End => {
                scene.stroke(&[(x - 7.0, y - 7.0), (x + 7.0, y + 7.0)], 2.6, ink::TEXT);
                scene.stroke(&[(x - 7.0, y + 7.0), (x + 7.0, y - 7.0)], 2.6, ink::TEXT);
            }
            EventKind::Burst => {
                scene.ring((x, y), 6.0, 1.8, ink::ALARM);
            }
            EventKind::Range => scene.stroke(&[(x, y - 6.0), (x, y + 6.0)], 1.4, ink::TEXT),
            EventKind::Other => {}
        }
    }
}

/// Numbers on the curves: some along each, one where it ends, none over another.
fn badges(scene: &mut Scene, traces: &[Trace]) {
    let mut taken: Vec<At> = Vec::new();
    let wished = |index: usize| -> Vec<At> {
        let trace = &traces[index];
        let points = || trace.strokes.iter().flatten().chain(&trace.dots);
        let (Some(first), Some(last)) = (
            points().map(|at| at.0).reduce(f64::min),
            points().copied().max_by(|a, b| a.0.total_cmp(&b.0)),
        ) else {
            return Vec::new();
        };
        #[expect(clippy::cast_precision_loss, reason = "a few numbers")]
        let place = |badge: usize| {
            let staggered =
                (badge as f64 + (index as f64 + 0.5) / traces.len() as f64) / BADGES as f64;
            first + (last.0 - first) * staggered
        };
        let along = (0..BADGES).filter_map(|badge| nearest(trace, place(badge), f64::INFINITY));
        along.chain((last.0 < SIDES.1 - 40.0).then_some(last)).collect()
    };
    for index in 0..traces.len() {
        for at in wished(index) {
            let far = |other: &At| APART <= (other.0 - at.0).hypot(other.1 - at.1);
            if taken.iter().all(far) {
                taken.push(at);
                badge(scene, at, index);
            }
        }
    }
}

/// A number on its disc.
pub(super) fn badge(scene: &mut Scene, at: At, index: usize) {
    scene.disc(at, RADIUS + 1.6, ink::PAPER);
    scene.disc(at, RADIUS, ink_of(index));
    let look = Type::plain(11.0, ink::PAPER).bold().hung(Anchor::Middle);
    scene.text((index + 1).to_string(), (at.0, at.1 + 4.0), look);
}

/// The drawn point nearest to a place across, within a reach.
fn nearest(trace: &Trace, x: f64, reach: f64) -> Option<At> {
    let points = trace.strokes.iter().flatten().chain(&trace.dots);
    let nearest = points.min_by(|a, b| (a.0 - x).abs().total_cmp(&(b.0 - x).abs()))?;
    ((nearest.0 - x).abs() <= reach).then_some(*nearest)
}
