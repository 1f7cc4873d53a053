//! What becomes of each reading on the picture, and what a reader must be told about it.
//!
//! No reading is dropped silently: one that has no place on the axes gets a mark at their edge and
//! is counted in a note.

use uom::si::electric_current::ampere;
use uom::si::time::second;

use super::label::{counted, duration, engineering};
use super::scale::{Kind, Range};
use super::{Curve, Sample};

/// Where a sample goes in the current panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Fate {
    /// On the axes, at so many A.
    Value(f64),
    /// At or below zero, which a logarithmic axis does not have: on the floor line.
    Floor,
    /// Above the axis, by the upper edge.
    Above(f64),
    /// Below the axis, by the lower edge.
    Below(f64),
    /// Overload, in the row above the panel.
    Overload,
    /// Overload the other way, in the row below the panel.
    NegativeOverload,
    /// Nowhere: a gap.
    Missing,
}

impl Fate {
    /// The fate of a sample on an axis.
    pub(super) fn of(sample: Sample, axis: Range) -> Self {
        let value = match sample {
            Sample::Value(current) => current.get::<ampere>(),
            Sample::Overload { negative: false } => return Self::Overload,
            Sample::Overload { negative: true } => return Self::NegativeOverload,
            Sample::Missing => return Self::Missing,
        };
        Self::at(value, axis)
    }

    /// The fate of a number on an axis.
    pub(super) fn at(value: f64, axis: Range) -> Self {
        if !value.is_finite() {
            Self::Missing
        } else if axis.kind == Kind::Log && value <= 0.0 {
            Self::Floor
        } else if value < axis.low {
            Self::Below(value)
        } else if value > axis.high {
            Self::Above(value)
        } else {
            Self::Value(value)
        }
    }
}

/// How many readings met which fate.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Tally {
    pub(super) floor: usize,
    above: usize,
    largest: f64,
    below: usize,
    least: f64,
    pub(super) overloads: usize,
    pub(super) negative_overloads: usize,
    missing: usize,
    early: usize,
    untimed: usize,
}

impl Tally {
    /// Counts the readings of a curve on these axes.
    pub(super) fn of(curve: &Curve, time: Range, current: Range) -> Self {
        let mut tally = Self::default();
        for point in &curve.points {
            tally.count_time(point.at.get::<second>(), time);
            tally.count(Fate::of(point.current, current));
        }
        tally
    }

    fn count_time(&mut self, at: f64, axis: Range) {
        if !at.is_finite() {
            self.untimed += 1;
        } else if at < axis.low {
            self.early += 1;
        }
    }

    fn count(&mut self, fate: Fate) {
        match fate {
            Fate::Value(_) => {}
            Fate::Floor => self.floor += 1,
            Fate::Above(value) => {
                self.above += 1;
                self.largest = self.largest.max(value);
            }
            Fate::Below(value) => {
                self.below += 1;
                self.least = if self.below == 1 { value } else { self.least.min(value) };
            }
            Fate::Overload => self.overloads += 1,
            Fate::NegativeOverload => self.negative_overloads += 1,
            Fate::Missing => self.missing += 1,
        }
    }

    /// What the page must say, a sentence each.
    pub(super) fn notes(&self, time: Range, current: Range) -> Vec<String> {
        let overloads = self.overloads + self.negative_overloads;
        let start = duration(time.low.max(0.0));
        let notes = [
            note(self.floor, "at or below zero drawn on the floor"),
            (overloads > 0).then(|| {
                format!("{} drawn beside the axis", counted(overloads, "overload", "overloads"))
            }),
            off_axis(self.above, "above", current.high, "upper edge, the largest", self.largest),
            off_axis(self.below, "below", current.low, "lower edge, the least", self.least),
            note(self.missing, "missing"),
            note(self.early, &format!("before {start} drawn at the left edge")),
            note(self.untimed, "without a time not drawn"),
        ];
        notes.into_iter().flatten().collect()
    }
}

/// So many readings and what became of them, if there are any.
fn note(count: usize, fate: &str) -> Option<String> {
    (count > 0).then(|| format!("{} {fate}", counted(count, "reading", "readings")))
}

/// The note on readings beyond one end of the current axis.
fn off_axis(count: usize, side: &str, end: f64, edge: &str, farthest: f64) -> Option<String> {
    let [end, farthest] = [end, farthest].map(|amperes| engineering(amperes, "A"));
    note(count, &format!("{side} {end} drawn at the {edge} {farthest}"))
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::{Axes, example, extent::Extent};
    use super::*;
    use crate::quantity::amperes;

    const LOG: Range = Range { kind: Kind::Log, low: 1e-9, high: 1e-5 };
    const LINEAR: Range = Range { kind: Kind::Linear, low: 0.0, high: 1e-5 };

    #[rstest]
    #[case::inside(Sample::Value(amperes(1e-6)), Fate::Value(1e-6), Fate::Value(1e-6))]
    #[case::zero(Sample::Value(amperes(0.0)), Fate::Floor, Fate::Value(0.0))]
    #[case::negative(Sample::Value(amperes(-1e-9)), Fate::Floor, Fate::Below(-1e-9))]
    #[case::tiny(Sample::Value(amperes(1e-12)), Fate::Below(1e-12), Fate::Value(1e-12))]
    #[case::surge(Sample::Value(amperes(1e-2)), Fate::Above(1e-2), Fate::Above(1e-2))]
    #[case::overload(Sample::Overload { negative: false }, Fate::Overload, Fate::Overload)]
    #[case::overload_out(Sample::Overload { negative: true }, Fate::NegativeOverload, Fate::NegativeOverload)]
    #[case::silence(Sample::Missing, Fate::Missing, Fate::Missing)]
    #[case::not_a_number(Sample::Value(amperes(f64::NAN)), Fate::Missing, Fate::Missing)]
    fn every_sample_has_a_fate_on_either_axis(
        #[case] sample: Sample,
        #[case] on_log: Fate,
        #[case] on_linear: Fate,
    ) {
        assert_eq!((Fate::of(sample, LOG), Fate::of(sample, LINEAR)), (on_log, on_linear));
    }

    #[test]
    fn an_empty_clip_says_how_many_readings_lie_on_the_floor() {
        let curve = example::empty_clip();
        let Extent { time, current, .. } = Extent::of(&curve, Axes::LogLog);
        let at_or_below = |sample| matches!(sample, Sample::Value(value) if value <= amperes(0.0));
        let floor = curve.points.iter().filter(|point| at_or_below(point.current)).count();
        let notes = Tally::of(&curve, time, current).notes(time, current);
        assert_eq!(notes[0], format!("{floor} readings at or below zero drawn on the floor"));
    }

    #[test]
    fn a_picture_that_shows_everything_has_nothing_to_confess() {
        let mut curve = example::healthy();
        curve
            .points
            .retain(|point| matches!(point.current, Sample::Value(value) if value > amperes(0.0)));
        let Extent { time, current, .. } = Extent::of(&curve, Axes::LogLog);
        assert_eq!(Tally::of(&curve, time, current).notes(time, current), Vec::<String>::new());
    }

    #[test]
    fn a_clipped_surge_is_confessed_with_its_peak() {
        let mut curve = example::healthy();
        curve.points.truncate(1);
        curve.points[0].current = Sample::Value(amperes(1e-2));
        let time = Extent::of(&curve, Axes::Linear).time;
        let note = &Tally::of(&curve, time, LINEAR).notes(time, LINEAR)[0];
        insta::assert_snapshot!(note, @"1 reading above 10 µA drawn at the upper edge, the largest 10 mA");
    }
}
