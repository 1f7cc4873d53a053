//! From readings to lines: where the line breaks, and how a long one is thinned.
//!
//! A line joins readings only where joining says nothing false: not over a missing sample, an
//! overload, a reading off the axis, or a pause much longer than the usual step. Thinning keeps the
//! first, least, greatest and last point of each column, so no spike is lost.

use uom::si::electric_potential::volt;
use uom::si::time::second;

use super::scale::Scale;
use super::scene::At;
use super::tally::Fate;
use super::{Curve, Point};
use crate::plan::Keeping;

/// A pause this many times the usual step breaks the line.
const PAUSE: f64 = 5.0;
/// Steps on each side that say what is usual.
const NEIGHBOURS: usize = 5;
/// Width of a column for thinning, in page units: about one and a half dots of the PNG.
const COLUMN: f64 = 1.0;
/// Readings at least this far apart each get a dot.
const SPARSE: f64 = 6.0;
/// Pieces of fewer readings than this are dots without a line: around zero on a logarithmic axis,
/// lines between the readings that happen to be above it would mean nothing.
const SHORTEST: usize = 8;
/// Marks at an edge stand at least this far apart.
const MARKS_APART: f64 = 6.0;

/// What is drawn of the current.
#[derive(Debug, Default)]
pub(super) struct Trace {
    /// The line, in pieces.
    pub(super) strokes: Vec<Vec<At>>,
    /// Readings that stand alone, or far enough apart to be seen one by one.
    pub(super) dots: Vec<At>,
    /// Places along the axis of readings at or below zero.
    pub(super) floor: Vec<f64>,
    /// The same of readings above the axis.
    pub(super) above: Vec<f64>,
    /// The same of readings below the axis.
    pub(super) below: Vec<f64>,
    /// The same of overloads.
    pub(super) overloads: Vec<f64>,
    /// The same of overloads the other way.
    pub(super) negative_overloads: Vec<f64>,
}

/// One move of the pen.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Pen {
    To(At),
    /// To an edge of the axis, beyond which the reading lies; not along the edge to the next one.
    Edge(At),
    Lift,
}

/// A reading on its way to the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Step {
    /// When it was taken, in s; what comes long after the one before is not joined to it.
    pub(super) moment: f64,
    /// Its place along the axis.
    pub(super) x: f64,
    /// What becomes of it in the current panel.
    pub(super) fate: Fate,
}

/// Lines and marks of the current of a curve.
pub(super) fn current(curve: &Curve, time: &Scale, current: &Scale) -> Trace {
    let step = |point: &Point| {
        let moment = point.at.get::<second>();
        let fate = Fate::of(point.current, current.range);
        Step { moment, x: time.place(moment), fate }
    };
    let steps: Vec<Step> = timed(&curve.points).map(step).collect();
    through(&steps, current, dense(curve))
}

/// Lines and marks through readings in the order they were taken; up to the moment `dense` (s)
/// every one of them is there.
pub(super) fn through(steps: &[Step], current: &Scale, dense: f64) -> Trace {
    let mut trace = Trace::default();
    let moments: Vec<f64> = steps.iter().map(|step| step.moment).collect();
    let mut pens = Vec::with_capacity(steps.len());
    for (step, pause) in steps.iter().zip(pauses(&moments, dense)) {
        pens.extend(pause.then_some(Pen::Lift));
        pens.push(pen(step.fate, step.x, current));
        trace.mark(step.fate, step.x);
    }
    let strokes = strokes(&pens);
    trace.dots = dots(&strokes);
    trace.strokes = thinned(&strokes);
    trace
}

/// The line of the voltage at the part.
pub(super) fn voltage(curve: &Curve, time: &Scale, voltage: &Scale) -> Vec<Vec<At>> {
    let pauses = pauses(&moments(&curve.points), dense(curve));
    let mut pens = Vec::with_capacity(curve.points.len());
    for (point, pause) in timed(&curve.points).zip(&pauses) {
        let x = time.place(point.at.get::<second>());
        let volts = point.voltage.map(|voltage| voltage.get::<volt>()).filter(|v| v.is_finite());
        pens.extend(pause.then_some(Pen::Lift));
        pens.push(volts.map_or(Pen::Lift, |volts| Pen::To((x, voltage.place(volts)))));
    }
    thinned(&strokes(&pens))
}

/// How many pauses break the line.
pub(super) fn count_pauses(curve: &Curve) -> usize {
    pauses(&moments(&curve.points), dense(curve)).into_iter().filter(|&pause| pause).count()
}

/// Up to when every reading of a curve is there, in s: a record of a long soak is thinned after
/// that, and a picture from an overview may lack some anywhere.
pub(super) fn dense(curve: &Curve) -> f64 {
    if curve.left_out == 0 { Keeping::usual().dense.get::<second>() } else { 0.0 }
}

impl Trace {
    /// Notes a reading that has no place on the axes.
    fn mark(&mut self, fate: Fate, x: f64) {
        let row = match fate {
            Fate::Value(_) | Fate::Missing => return,
            Fate::Floor => &mut self.floor,
            Fate::Above(_) => &mut self.above,
            Fate::Below(_) => &mut self.below,
            Fate::Overload => &mut self.overloads,
            Fate::NegativeOverload => &mut self.negative_overloads,
        };
        if row.last().is_none_or(|last| (x - last).abs() >= MARKS_APART) {
            row.push(x);
        }
    }
}

/// The move that draws a reading.
fn pen(fate: Fate, x: f64, current: &Scale) -> Pen {
    match fate {
        Fate::Value(value) => Pen::To((x, current.place(value))),
        Fate::Above(value) | Fate::Below(value) => Pen::Edge((x, current.place(value))),
        Fate::Floor | Fate::Overload | Fate::NegativeOverload | Fate::Missing => Pen::Lift,
    }
}

/// The points that have a moment.
fn timed(points: &[Point]) -> impl Iterator<Item = &Point> {
    points.iter().filter(|point| point.at.get::<second>().is_finite())
}

/// Their moments, in s.
fn moments(points: &[Point]) -> Vec<f64> {
    timed(points).map(|point| point.at.get::<second>()).collect()
}

/// For each moment, whether the step to it is much longer than the usual step before and after.
///
/// Looking at both sides lets the pace change, as it does from ramp to soak. What may be the work of
/// thinning is no pause: of a long soak each stretch keeps a few readings, wherever they lie in it.
fn pauses(moments: &[f64], dense: f64) -> Vec<bool> {
    let steps: Vec<f64> = moments.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let pause = |index: usize| {
        let before = &steps[index.saturating_sub(NEIGHBOURS)..index];
        let after = &steps[index + 1..(index + 1 + NEIGHBOURS).min(steps.len())];
        let usual = median(before).max(median(after));
        usual > 0.0
            && steps[index] > PAUSE * usual
            && steps[index] > thinned_step(moments[index + 1], dense)
    };
    let first = (!moments.is_empty()).then_some(false);
    first.into_iter().chain((0..steps.len()).map(pause)).collect()
}

/// The longest step that thinning can leave before a moment: two stretches.
fn thinned_step(moment: f64, dense: f64) -> f64 {
    if moment <= dense { 0.0 } else { moment * Keeping::usual().share * 2.02 }
}

/// The middle one of at most [`NEIGHBOURS`] values; 0 for none.
fn median(values: &[f64]) -> f64 {
    let mut sorted = [f64::INFINITY; NEIGHBOURS];
    sorted[..values.len()].copy_from_slice(values);
    sorted.sort_unstable_by(f64::total_cmp);
    if values.is_empty() { 0.0 } else { sorted[values.len() / 2] }
}

/// The pieces of a line between the lifts of the pen.
fn strokes(pens: &[Pen]) -> Vec<Vec<At>> {
    let joined = |a: &Pen, b: &Pen| {
        !matches!((a, b), (Pen::Lift, _) | (_, Pen::Lift) | (Pen::Edge(_), Pen::Edge(_)))
    };
    let at = |pen: &Pen| match pen {
        Pen::To(at) | Pen::Edge(at) => Some(*at),
        Pen::Lift => None,
    };
    // A piece of the edge alone is not drawn: a triangle stands there.
    let drawn = |piece: &&[Pen]| piece.iter().any(|pen| matches!(pen, Pen::To(_)));
    let pieces = pens.chunk_by(joined).filter(drawn);
    pieces.map(|piece| piece.iter().filter_map(at).collect()).collect()
}

/// Dots for readings that stand apart from both neighbours of their piece, or in a short piece.
fn dots(strokes: &[Vec<At>]) -> Vec<At> {
    let apart = |a: Option<&At>, b: &At| a.is_none_or(|a| (a.0 - b.0).abs() >= SPARSE);
    let mut dots = Vec::new();
    for stroke in strokes {
        for (index, at) in stroke.iter().enumerate() {
            let before = index.checked_sub(1).and_then(|index| stroke.get(index));
            let short = stroke.len() < SHORTEST;
            if short || apart(before, at) && apart(stroke.get(index + 1), at) {
                dots.push(*at);
            }
        }
    }
    thin(&dots)
}

/// Thinned pieces, without the short ones; many pieces within one column become one.
fn thinned(strokes: &[Vec<At>]) -> Vec<Vec<At>> {
    let within = |stroke: &[At]| {
        let column = stroke.first().map(column);
        column.filter(|_| stroke.last().map(self::column) == column)
    };
    let crumbs = |a: &Vec<At>, b: &Vec<At>| within(a).is_some() && within(a) == within(b);
    let long: Vec<Vec<At>> =
        strokes.iter().filter(|stroke| stroke.len() >= SHORTEST).cloned().collect();
    long.chunk_by(crumbs).map(|pieces| thin(&pieces.concat())).collect()
}

/// First, least, greatest and last of each run of points in one column, in their order.
fn thin(points: &[At]) -> Vec<At> {
    points.chunk_by(|a, b| column(a) == column(b)).flat_map(extremes).collect()
}

/// The column a point stands in.
#[expect(clippy::cast_possible_truncation, reason = "a page is 1400 wide")]
fn column(at: &At) -> i64 {
    (at.0 / COLUMN).floor() as i64
}

/// The points that a column keeps.
fn extremes(points: &[At]) -> Vec<At> {
    let lower = |a: &&usize, b: &&usize| points[**a].1.total_cmp(&points[**b].1);
    let all: Vec<usize> = (0..points.len()).collect();
    let ends = [all.first(), all.iter().min_by(lower), all.iter().max_by(lower), all.last()];
    let mut kept: Vec<usize> = ends.into_iter().flatten().copied().collect();
    kept.sort_unstable();
    kept.dedup();
    kept.into_iter().map(|index| points[index]).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::super::scale::{Kind, Range};
    use super::super::{Sample, example};
    use super::*;
    use crate::quantity::{amperes, seconds};

    fn axis(kind: Kind, low: f64, high: f64, start: f64, end: f64) -> Scale {
        Scale { range: Range { kind, low, high }, start, end }
    }

    /// A linear time axis of 0..100 s on 0..1000, a current axis of 1 nA..1 µA on 300..0.
    fn traced(samples: &[(f64, Sample)]) -> Trace {
        let mut curve = example::healthy();
        let shape = curve.points[0];
        curve.points = samples
            .iter()
            .map(|&(at, current)| Point { at: seconds(at), current, ..shape })
            .collect();
        let time = axis(Kind::Linear, 0.0, 100.0, 0.0, 1000.0);
        current(&curve, &time, &axis(Kind::Log, 1e-9, 1e-6, 300.0, 0.0))
    }

    fn steady(count: u32) -> Vec<(f64, Sample)> {
        (0..count).map(|at| (f64::from(at), Sample::Value(amperes(1e-8)))).collect()
    }

    #[rstest]
    #[case::silence(Sample::Missing)]
    #[case::overload(Sample::Overload { negative: false })]
    #[case::zero(Sample::Value(amperes(0.0)))]
    #[case::negative(Sample::Value(amperes(-1e-9)))]
    fn the_line_breaks_where_nothing_can_be_joined(#[case] sample: Sample) {
        let mut samples = steady(20);
        samples[9].1 = sample;
        let trace = traced(&samples);
        let lengths: Vec<usize> = trace.strokes.iter().map(Vec::len).collect();
        assert_eq!(lengths, [9, 10]);
    }

    #[test]
    fn the_line_breaks_over_a_pause_but_not_where_the_pace_changes() {
        let at = |times: &[f64]| pauses(times, 600.0).iter().filter(|&&pause| pause).count();
        let slow: Vec<f64> = (0..20).map(f64::from).collect();
        let fast_then_slow: Vec<f64> =
            (0..20).map(|i| f64::from(i) / 50.0).chain((1..20).map(f64::from)).collect();
        let decades: Vec<f64> = (0..40).map(|i| 10f64.powf(f64::from(i) / 10.0)).collect();
        let paused: Vec<f64> = (0..20).chain(30..50).map(f64::from).collect();
        let thinned: Vec<f64> =
            (200..240).flat_map(|i| [0.0, 0.1, 0.2].map(|at| f64::from(i) * 18.0 + at)).collect();
        let alone: Vec<f64> = (0..20).chain(30..31).chain(41..60).map(f64::from).collect();
        assert_eq!(
            [slow, fast_then_slow, decades, thinned, paused, alone].map(|times| at(&times)),
            [0, 0, 0, 0, 1, 2]
        );
    }

    #[test]
    fn neither_current_nor_voltage_is_drawn_across_a_pause() {
        let mut curve = example::long_soak();
        curve.points.retain(|point| point.at > seconds(1000.0) && point.at < seconds(30_000.0));
        let time = axis(Kind::Linear, 0.0, 36_000.0, 0.0, 1000.0);
        let drawn = current(&curve, &time, &axis(Kind::Linear, 0.0, 1e-4, 300.0, 0.0)).strokes;
        let volts = voltage(&curve, &time, &axis(Kind::Linear, 0.0, 30.0, 300.0, 0.0));
        for strokes in [drawn, volts] {
            // The meter is silent from 20 000 s to 20 900 s.
            let ends: Vec<f64> = strokes.iter().flat_map(|s| [s[0].0, s[s.len() - 1].0]).collect();
            assert_eq!(ends.len(), 4);
            assert!((ends[1] - 555.6).abs() < 0.5 && (ends[2] - 580.6).abs() < 0.5, "{ends:?}");
        }
    }

    #[test]
    fn a_reading_between_two_gaps_is_a_dot() {
        let mut samples = steady(200);
        for sample in &mut samples {
            sample.0 /= 10.0;
        }
        samples[99].1 = Sample::Missing;
        samples[101].1 = Sample::Missing;
        let dots = traced(&samples).dots;
        assert_eq!(dots.len(), 1);
        assert!((dots[0].0 - 100.0).abs() < 1e-6, "{dots:?}");
    }

    #[test]
    fn overloads_and_readings_off_the_axis_are_marked() {
        let mut samples = steady(10);
        samples[2].1 = Sample::Overload { negative: false };
        samples[3].1 = Sample::Overload { negative: true };
        samples[4].1 = Sample::Value(amperes(1e-3));
        samples[5].1 = Sample::Value(amperes(1e-12));
        samples[6].1 = Sample::Value(amperes(-1e-12));
        let trace = traced(&samples);
        assert_eq!(
            [trace.overloads, trace.negative_overloads, trace.above, trace.below, trace.floor],
            [[20.0], [30.0], [40.0], [50.0], [60.0]]
        );
    }

    #[test]
    fn one_spike_among_a_third_of_a_million_readings_stays_visible() {
        let spike = Sample::Value(amperes(1e-6));
        let mut samples: Vec<(f64, Sample)> =
            (0..360_000).map(|i| (f64::from(i) / 3600.0, Sample::Value(amperes(1e-8)))).collect();
        samples[123_456].1 = spike;
        let trace = traced(&samples);
        let kept: usize = trace.strokes.iter().map(Vec::len).sum();
        assert!(kept < 4100, "{kept}");
        let top: Vec<f64> =
            trace.strokes.concat().iter().filter(|at| at.1 < 1.0).map(|at| at.0).collect();
        assert_eq!(top.len(), 1);
        assert!((top[0] - 123_456.0 / 360.0).abs() < 1e-6, "{top:?}");
    }

    #[test]
    fn noise_around_zero_does_not_shatter_into_thousands_of_strokes() {
        let samples: Vec<(f64, Sample)> = (0..100_000)
            .map(|i| {
                let sign = if i % 3 == 0 { -1.0 } else { 1.0 };
                (f64::from(i) / 1000.0, Sample::Value(amperes(sign * 1e-8)))
            })
            .collect();
        let trace = traced(&samples);
        assert!(trace.strokes.len() + trace.dots.len() + trace.floor.len() < 4000);
    }

    proptest! {
        /// In every column the thinned line reaches exactly as high and as low as the readings.
        #[test]
        fn thinning_keeps_the_envelope(heights in prop::collection::vec(0.0..300.0f64, 1..400)) {
            let points: Vec<At> =
                (0u32..).zip(&heights).map(|(i, &y)| (f64::from(i) / 37.0, y)).collect();
            let bounds = |points: &[At]| -> Vec<(i64, f64, f64)> {
                let columns = points.chunk_by(|a, b| column(a) == column(b));
                let fold = |c: &[At]| c.iter().fold((column(&c[0]), f64::MAX, f64::MIN),
                    |(x, low, high), at| (x, low.min(at.1), high.max(at.1)));
                columns.map(fold).collect()
            };
            prop_assert_eq!(bounds(&thin(&points)), bounds(&points));
        }
    }
}
