//! The two panels: their frames, bands, grids and what is drawn in them.

use uom::si::electric_current::ampere;
use uom::si::time::second;

use super::Curve;
use super::curve::{EventKind, Part};
use super::extent::{Extent, reading_due};
use super::scale::{Scale, Tick};
use super::scene::{Anchor, At, Ink, Scene, Type, ink};
use super::tally::{Fate, Tally};
use super::trace::{self, Trace};
use crate::quantity::Current;

/// Height of a row beside the axis, for readings that have no place on it.
const ROW: f64 = 34.0;
/// Height of the voltage panel.
const VOLTAGE_HEIGHT: f64 = 118.0;
/// Height of the strip between the panels.
const STRIP: f64 = 66.0;
/// Height of the labels of the time axis.
const TIME_LABELS: f64 = 52.0;
/// Left and right edge of the panels.
pub(super) const SIDES: (f64, f64) = (124.0, 1196.0);
/// Size of labels on axes.
const LABEL: f64 = 14.0;

/// Where everything stands on the page.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sheet {
    pub(super) time: Scale,
    pub(super) current: Scale,
    pub(super) voltage: Scale,
    /// Upper and lower edge of the current panel, rows included.
    pub(super) upper: (f64, f64),
    /// Upper and lower edge of the voltage panel.
    pub(super) lower: (f64, f64),
    /// Middle of the row for overloads, if there are any.
    overload: Option<f64>,
    /// Middle of the floor row, if anything lies on it.
    pub(super) floor: Option<f64>,
    /// Middle of the row for overloads the other way, if there are any.
    negative_overload: Option<f64>,
}

impl Sheet {
    /// Lays the panels out between two heights of the page.
    pub(super) fn lay(extent: Extent, needs: Rows, top: f64, bottom: f64) -> Self {
        let low = bottom - TIME_LABELS;
        let lower = (low - VOLTAGE_HEIGHT, low);
        let upper = (top, lower.0 - STRIP);
        let row = |needed: bool| if needed { ROW } else { 0.0 };
        let axis_top = upper.0 + row(needs.overload);
        let floor_bottom = upper.1 - row(needs.negative_overload);
        let axis_bottom = floor_bottom - row(needs.floor);
        let (start, end) = SIDES;
        Self {
            time: Scale { range: extent.time, start, end },
            current: Scale { range: extent.current, start: axis_bottom, end: axis_top },
            voltage: Scale { range: extent.voltage, start: lower.1, end: lower.0 },
            upper,
            lower,
            overload: needs.overload.then_some(upper.0 + ROW / 2.0),
            floor: needs.floor.then_some(floor_bottom - ROW / 2.0),
            negative_overload: needs.negative_overload.then_some(upper.1 - ROW / 2.0),
        }
    }

    /// Where a moment stands.
    pub(super) fn x(&self, at: crate::quantity::Time) -> f64 {
        self.time.place(at.get::<second>())
    }

    /// Where a current stands; on the floor if the axis does not go so low.
    pub(super) fn y(&self, amperes: f64) -> f64 {
        let floor = self.floor.filter(|_| amperes <= 0.0);
        floor.unwrap_or_else(|| self.current.place(amperes))
    }
}

/// Which rows the current panel needs beside its axis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rows {
    overload: bool,
    floor: bool,
    negative_overload: bool,
}

impl Rows {
    /// The rows for these readings; the reading itself may lie on the floor too.
    pub(super) fn of(curve: &Curve, extent: &Extent, tally: &Tally) -> Self {
        let reading = curve.reading.map(|reading| reading.current.get::<ampere>());
        let under = reading.is_some_and(|amperes| amperes <= 0.0 && extent.current.low > 0.0);
        Self {
            overload: tally.overloads > 0,
            floor: tally.floor > 0 || under,
            negative_overload: tally.negative_overloads > 0,
        }
    }
}

/// Both panels with everything in them.
pub(super) fn draw(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    bands(scene, curve, sheet);
    window(scene, curve, sheet);
    if curve.simulated {
        watermark(scene, sheet);
    }
    grids(scene, curve, sheet);
    rows(scene, sheet);
    interval(scene, curve, sheet);
    moments(scene, curve, sheet);
    limit(scene, curve, sheet);
    parts(scene, curve, sheet);
    currents(scene, &trace::current(curve, &sheet.time, &sheet.current), sheet);
    voltages(scene, curve, sheet);
    reading(scene, curve, sheet);
    for (top, bottom) in [sheet.upper, sheet.lower] {
        scene.edge((SIDES.0, top), (SIDES.1, bottom), 1.4, ink::TEXT);
    }
}

/// Every other phase on a tinted ground, in both panels.
fn bands(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    for (index, span) in curve.phases.iter().enumerate() {
        let (from, to) = (sheet.x(span.from), sheet.x(span.to));
        for (top, bottom) in [sheet.upper, sheet.lower] {
            if index % 2 == 0 {
                scene.block((from, top), (to, bottom), ink::BAND);
            }
            scene.stroke(&[(to, top), (to, bottom)], 0.8, ink::BAND_EDGE);
        }
    }
}

/// The window the reading was taken in.
fn window(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let Some(reading) = curve.reading else { return };
    let (from, to) = (sheet.x(reading.window.0), sheet.x(reading.window.1));
    let (top, bottom) = sheet.upper;
    scene.block((from, top), (to.max(from + 3.0), bottom), ink::WINDOW);
    scene.stroke(&[(from, top), (from, bottom)], 1.0, ink::WINDOW_EDGE);
}

/// One word across the panel, which a cut-out of the picture keeps.
fn watermark(scene: &mut Scene, sheet: &Sheet) {
    let look = Type::plain(150.0, ink::WATERMARK).bold().hung(Anchor::Middle);
    let middle = f64::midpoint(sheet.upper.0, sheet.upper.1);
    scene.text("simulated", (f64::midpoint(SIDES.0, SIDES.1), middle + 50.0), look);
}

/// Grid lines and labels of all three axes.
fn grids(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    for tick in sheet.time.range.time_ticks() {
        let x = sheet.time.place(tick.value);
        for (top, bottom) in [sheet.upper, sheet.lower] {
            scene.stroke(&[(x, top), (x, bottom)], 0.8, shade(&tick));
        }
    }
    time_labels(scene, sheet);
    grid(scene, &sheet.current, "A");
    if curve.points.iter().any(|point| point.voltage.is_some()) {
        grid(scene, &sheet.voltage, "V");
    }
    let title = Type::plain(LABEL, ink::TEXT).bold().hung(Anchor::Right);
    scene.text("current", (SIDES.0 - 10.0, sheet.upper.0 - 12.0), title);
    scene.text("voltage", (SIDES.0 - 10.0, sheet.lower.0 - 28.0), title);
    scene.text("at the part", (SIDES.0 - 10.0, sheet.lower.0 - 12.0), title);
}

/// Grid lines and labels of an upright axis.
fn grid(scene: &mut Scene, scale: &Scale, unit: &str) {
    let look = Type::plain(LABEL, ink::TEXT).hung(Anchor::Right);
    for tick in scale.range.ticks(unit) {
        let y = scale.place(tick.value);
        scene.stroke(&[(SIDES.0, y), (SIDES.1, y)], 0.8, shade(&tick));
        scene.text(tick.label.unwrap_or_default(), (SIDES.0 - 10.0, y + 5.0), look);
    }
}

/// A labelled grid line is darker than the others.
fn shade(tick: &Tick) -> Ink {
    if tick.label.is_some() { ink::GRID } else { ink::FAINT }
}

/// Labels below the time axis: decades, and below them the times a person thinks in.
fn time_labels(scene: &mut Scene, sheet: &Sheet) {
    let below = sheet.lower.1;
    row_of_times(scene, sheet, &sheet.time.range.time_ticks(), below + 20.0, ink::TEXT);
    let spoken = sheet.time.range.spoken_times();
    for tick in &spoken {
        let x = sheet.time.place(tick.value);
        scene.stroke(&[(x, below), (x, below + 5.0)], 1.2, ink::QUIET);
    }
    row_of_times(scene, sheet, &spoken, below + 38.0, ink::QUIET);
    let title = Type::plain(LABEL, ink::TEXT).bold();
    scene.text("time since", (SIDES.1 + 44.0, below + 20.0), title);
    scene.text("switch-on", (SIDES.1 + 44.0, below + 37.0), title);
}

/// A row of labels; one that would touch the one before is left out.
fn row_of_times(scene: &mut Scene, sheet: &Sheet, ticks: &[Tick], y: f64, ink: Ink) {
    let look = Type::plain(LABEL, ink).hung(Anchor::Middle);
    let mut taken = 0.0;
    for (text, value) in ticks.iter().filter_map(|tick| Some((tick.label.as_ref()?, tick.value))) {
        let x = sheet.time.place(value);
        let half = look.width(text) / 2.0;
        if x - half >= taken {
            taken = x + half + 8.0;
            scene.text(text.as_str(), (x, y), look);
        }
    }
}

/// Lines and labels of the rows beside the current axis.
fn rows(scene: &mut Scene, sheet: &Sheet) {
    let look = Type::plain(LABEL, ink::ALARM).hung(Anchor::Right);
    let rows = [
        (sheet.overload, "overload", look),
        (sheet.floor, "≤ 0", Type { ink: ink::TEXT, ..look }),
        (sheet.negative_overload, "overload −", look),
    ];
    for (middle, name, look) in rows {
        let Some(y) = middle else { continue };
        scene.block((SIDES.0, y - ROW / 2.0), (SIDES.1, y + ROW / 2.0), ink::PAPER);
        scene.stroke(&[(SIDES.0, y), (SIDES.1, y)], 0.8, ink::GRID);
        scene.text(name, (SIDES.0 - 10.0, y + 5.0), look);
    }
    for y in [sheet.current.start, sheet.current.end] {
        scene.stroke(&[(SIDES.0, y), (SIDES.1, y)], 1.0, ink::QUIET);
    }
}

/// Upright lines where full voltage was reached, where the reading was due, and at events.
fn moments(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    for event in &curve.events {
        let x = sheet.x(event.at);
        let ink = match event.kind {
            EventKind::End | EventKind::Burst => ink::ALARM,
            EventKind::Range | EventKind::Other => ink::QUIET,
        };
        scene.dashes((x, sheet.upper.0), (x, sheet.upper.1), 1.0, ink);
    }
    let began = curve.full_voltage_at.map(|at| at.get::<second>());
    let due = reading_due(curve).filter(|&due| due <= sheet.time.range.high);
    for (moment, width) in began.into_iter().map(|at| (at, 1.2)).chain(due.map(|at| (at, 2.0))) {
        let x = sheet.time.place(moment);
        scene.stroke(&[(x, sheet.upper.0), (x, sheet.lower.1)], width, ink::TEXT);
    }
}

/// The limit, across the whole panel.
fn limit(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let Some(limit) = curve.limit else { return };
    let y = sheet.y(limit.current.get::<ampere>());
    scene.dashes((SIDES.0, y), (SIDES.1, y), 2.6, ink::LIMIT);
}

/// The interval of the reading as a band from its window to the figures in the margin.
fn interval(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let Some(reading) = curve.reading else { return };
    let (value, half) = (reading.current.get::<ampere>(), reading.uncertainty.get::<ampere>());
    let (high, low) = (sheet.y(value + half), sheet.y(value - half));
    if low - high > 1.0 {
        scene.block((sheet.x(reading.window.0), high), (SIDES.1, low), ink::INTERVAL);
    }
}

/// How a fitted part is drawn: strokes and gaps.
pub(super) const LEAKAGE_DASH: (f64, f64) = (14.0, 5.0);
/// See [`LEAKAGE_DASH`].
pub(super) const ABSORPTION_DASH: (f64, f64) = (7.0, 4.0);
const CHARGING_DASH: (f64, f64) = (2.0, 4.0);
const SUM_DASH: (f64, f64) = (4.0, 7.0);

/// The parts that the current was fitted by, or only their sum where they can't be told apart.
fn parts(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let Some(parts) = &curve.parts else { return };
    let of = |part: fn(&Part) -> Current| -> Vec<(f64, f64)> {
        parts.at.iter().map(|at| (at.at.get::<second>(), part(at).get::<ampere>())).collect()
    };
    let sum = of(|part| part.charging + part.absorption + part.leakage);
    if !parts.separable {
        return fitted(scene, &sum, SUM_DASH, sheet);
    }
    fitted(scene, &of(|part| part.charging), CHARGING_DASH, sheet);
    fitted(scene, &of(|part| part.absorption), ABSORPTION_DASH, sheet);
    fitted(scene, &of(|part| part.leakage), LEAKAGE_DASH, sheet);
}

/// A fitted line, as far as it runs inside the panel.
fn fitted(scene: &mut Scene, line: &[(f64, f64)], dash: (f64, f64), sheet: &Sheet) {
    let inside = |amperes: f64| matches!(Fate::at(amperes, sheet.current.range), Fate::Value(_));
    for piece in line.split(|(_, amperes)| !inside(*amperes)).filter(|piece| 1 < piece.len()) {
        let path: Vec<At> =
            piece.iter().map(|&(at, amperes)| (sheet.time.place(at), sheet.y(amperes))).collect();
        scene.dashed(&path, dash, 1.8, ink::PARTS);
    }
}

/// The line of the current and the marks of what has no place on it.
fn currents(scene: &mut Scene, trace: &Trace, sheet: &Sheet) {
    for stroke in &trace.strokes {
        scene.stroke(stroke, 2.2, ink::CURVE);
    }
    for &dot in &trace.dots {
        scene.disc(dot, 2.7, ink::CURVE);
    }
    let place = |x: &f64, row: Option<f64>| row.map(|y| (*x, y));
    for at in trace.floor.iter().filter_map(|x| place(x, sheet.floor)) {
        scene.ring(at, 4.2, 1.4, ink::CURVE);
    }
    for &x in &trace.above {
        scene.triangle((x, sheet.current.end + 8.0), 11.0, ink::CURVE);
    }
    for &x in &trace.below {
        scene.triangle((x, sheet.current.start - 8.0), -11.0, ink::CURVE);
    }
    for at in trace.overloads.iter().filter_map(|x| place(x, sheet.overload)) {
        scene.triangle(at, 13.0, ink::ALARM);
    }
    for at in trace.negative_overloads.iter().filter_map(|x| place(x, sheet.negative_overload)) {
        scene.triangle(at, -13.0, ink::ALARM);
    }
}

/// The line of the voltage, or a word where none was measured.
fn voltages(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let strokes = trace::voltage(curve, &sheet.time, &sheet.voltage);
    for stroke in &strokes {
        scene.stroke(stroke, 2.2, ink::VOLTAGE);
    }
    if strokes.is_empty() {
        let (top, bottom) = sheet.lower;
        let at = (f64::midpoint(SIDES.0, SIDES.1), f64::midpoint(top, bottom) + 5.0);
        scene.block((at.0 - 60.0, at.1 - 18.0), (at.0 + 60.0, at.1 + 10.0), ink::PAPER);
        scene.text("not measured", at, Type::plain(LABEL, ink::QUIET).hung(Anchor::Middle));
    }
}

/// The reading: a diamond, and a bar over its interval.
fn reading(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let Some(reading) = curve.reading else { return };
    let x = sheet.x(reading.at);
    let (value, half) = (reading.current.get::<ampere>(), reading.uncertainty.get::<ampere>());
    let (low, middle, high) = (sheet.y(value - half), sheet.y(value), sheet.y(value + half));
    for (width, ink) in [(5.0, ink::PAPER), (2.2, ink::TEXT)] {
        scene.stroke(&[(x, low), (x, high)], width, ink);
        for y in [low, high] {
            scene.stroke(&[(x - 8.0, y), (x + 8.0, y)], width, ink);
        }
    }
    for (reach, ink) in [(11.0, ink::PAPER), (8.5, ink::TEXT), (4.5, ink::PAPER)] {
        scene.fill(&diamond((x, middle), reach), ink);
    }
}

/// A square on its corner.
fn diamond((x, y): At, reach: f64) -> [At; 4] {
    [(x - reach, y), (x, y - reach), (x + reach, y), (x, y + reach)]
}

#[cfg(test)]
mod tests {
    use super::super::scene::Mark;
    use super::super::{Axes, example};
    use super::*;

    fn sheet(curve: &Curve, axes: Axes) -> Sheet {
        let extent = Extent::of(curve, axes);
        let tally = Tally::of(curve, extent.time, extent.current);
        Sheet::lay(extent, Rows::of(curve, &extent, &tally), 200.0, 900.0)
    }

    /// The heights of all level strokes of an ink.
    fn levels(scene: &Scene, wanted: Ink) -> Vec<f64> {
        let level = |mark: &Mark| match mark {
            Mark::Stroke { path, ink, .. } if *ink == wanted => Some(path[0].1),
            Mark::Stroke { .. } | Mark::Fill { .. } | Mark::Disc { .. } | Mark::Text { .. } => None,
        };
        scene.marks.iter().filter_map(level).collect()
    }

    #[test]
    fn the_limit_is_a_dashed_line_at_its_height() {
        let (mut scene, curve) = (Scene::default(), example::healthy());
        let sheet = sheet(&curve, Axes::LogLog);
        limit(&mut scene, &curve, &sheet);
        let levels = levels(&scene, ink::LIMIT);
        assert!(levels.len() > 20);
        assert!(levels.iter().all(|y| (y - sheet.current.place(5.5e-6)).abs() < 1e-9));
    }

    #[test]
    fn a_negative_reading_stands_on_the_floor_below_the_axis() {
        let curve = example::empty_clip();
        let sheet = sheet(&curve, Axes::LogLog);
        let floor = sheet.y(-0.4e-10);
        assert!(sheet.current.start < floor && floor < sheet.upper.1, "{sheet:?}");
    }

    #[test]
    fn a_linear_axis_needs_no_floor() {
        let curve = example::empty_clip();
        let sheet = sheet(&curve, Axes::Linear);
        assert_eq!((sheet.floor, sheet.overload), (None, None));
        assert!(sheet.y(-1e-10) > sheet.y(1e-10));
    }

    #[test]
    fn overloads_stand_above_the_axis() {
        let curve = example::broken_down();
        let sheet = sheet(&curve, Axes::LogLog);
        let row = sheet.overload.unwrap();
        assert!(sheet.upper.0 < row && row < sheet.current.end);
    }

    #[test]
    fn a_voltage_that_was_not_measured_is_said_to_be_so() {
        let mut curve = example::healthy();
        for point in &mut curve.points {
            point.voltage = None;
        }
        let mut scene = Scene::default();
        draw(&mut scene, &curve, &sheet(&curve, Axes::Linear));
        assert!(scene.texts().contains(&"not measured"));
        assert!(!scene.texts().contains(&"20 V"));
    }
}
