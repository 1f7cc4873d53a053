//! How far the axes reach: always to the limit and the reading, never at the mercy of one outlier.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::time::second;

use crate::plan::Phase;

use super::scale::{Kind, Range, floor_log, round_step};
use super::{Axes, Curve, Point, Sample};

/// Most decades a current axis shows; from 1 pA to 10 mA.
const MOST_DECADES: i32 = 10;
/// Share of the highest voltage from which on a part stands at full voltage.
const FULL: f64 = 0.98;
/// A soak that goes on for less than this after its window only looks for contact.
const LOOK: f64 = 30.0; // s
/// How much farther than usual a single reading may stretch an axis.
const STRETCH: f64 = 3.0;

/// The ranges of the three axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Extent {
    pub(super) time: Range,
    pub(super) current: Range,
    pub(super) voltage: Range,
}

impl Extent {
    /// The ranges that suit a curve.
    pub(super) fn of(curve: &Curve, axes: Axes) -> Self {
        let current = match axes {
            Axes::LogLog => log_current(curve),
            Axes::Linear => linear_current(curve),
        };
        Self { time: time(curve, axes), current, voltage: voltage(curve) }
    }
}

/// When the limit's reading is due, in s since switch-on, if its clock ever began.
pub(super) fn reading_due(curve: &Curve) -> Option<f64> {
    let (began, limit) = (curve.full_voltage_at?, curve.limit?);
    Some((began + limit.reading_time).get::<second>()).filter(|due| due.is_finite())
}

/// The last moment anything is known of, in s; 0 if nothing is.
pub(super) fn last_moment(curve: &Curve) -> f64 {
    let points = curve.points.iter().map(|point| point.at);
    let spans = curve.phases.iter().map(|span| span.to);
    let others = curve.events.iter().map(|event| event.at).chain(curve.full_voltage_at);
    let all = points.chain(spans).chain(others).map(|time| time.get::<second>());
    all.filter(|time| time.is_finite()).fold(0.0, f64::max)
}

/// From the first reading (or zero) to the last moment, and to the time of the reading unless it
/// lies so far ahead that it would squeeze what was measured.
fn time(curve: &Curve, axes: Axes) -> Range {
    let last = last_moment(curve);
    let due = reading_due(curve).filter(|&due| due < STRETCH * last);
    let end = if last > 0.0 { last.max(due.unwrap_or(0.0)) } else { 1.0 };
    match axes {
        Axes::Linear => Range { kind: Kind::Linear, low: 0.0, high: end * 1.015 },
        Axes::LogLog => {
            let low = round_down(first_moment(curve, end));
            Range { kind: Kind::Log, low, high: end * (end / low).powf(0.015) }
        }
    }
}

/// The first reading after switch-on, in s, within six decades of the end and at least one.
fn first_moment(curve: &Curve, end: f64) -> f64 {
    let times = curve.points.iter().map(|point| point.at.get::<second>());
    let first = times.filter(|&time| time > 0.0).fold(f64::INFINITY, f64::min);
    first.clamp(end / 1e6, end / 10.0)
}

/// The greatest of 1, 2, 5 times a power of ten that is not above a value above zero.
pub(super) fn round_down(value: f64) -> f64 {
    let decade = 10f64.powi(floor_log(value));
    let factors = [5.0, 2.0];
    factors.into_iter().find(|factor| factor * decade <= value).unwrap_or(1.0) * decade
}

/// Decades around all currents above zero, the limit and the reading.
fn log_current(curve: &Curve) -> Range {
    log_range(currents(curve, |_| true), &musts(curve))
}

/// Decades around the values above zero; `musts` are shown in any case.
pub(super) fn log_range(values: Vec<f64>, musts: &[f64]) -> Range {
    let musts = above_zero(musts.to_vec());
    let mut values = above_zero(values);
    values.sort_by(f64::total_cmp);
    let usual = quantile(&values, 0.02).into_iter().chain(musts.iter().copied());
    let usual = usual.fold(f64::INFINITY, f64::min);
    let most = values.iter().chain(&musts).copied().fold(0.0, f64::max);
    if most == 0.0 {
        return Range { kind: Kind::Log, low: 1e-9, high: 1e-6 };
    }
    let least = values.first().copied().filter(|least| *least > usual / 10.0).unwrap_or(usual);
    let high = floor_log(most * 1.25) + 1;
    let needed = musts.into_iter().map(floor_log).fold(high - 2, i32::min);
    let low = floor_log(least.min(usual) * 0.95).max(high - MOST_DECADES).min(needed);
    Range { kind: Kind::Log, low: 10f64.powi(low), high: 10f64.powi(high) }
}

/// The values that a logarithmic axis can show.
fn above_zero(values: Vec<f64>) -> Vec<f64> {
    values.into_iter().filter(|&value| value > 0.0).collect()
}

/// Zero, the limit, the reading and the settled currents; the charging surge may run out.
fn linear_current(curve: &Curve) -> Range {
    let settled = currents(curve, settled(curve));
    let values = if settled.is_empty() { currents(curve, |_| true) } else { settled };
    linear_range(values, &musts(curve))
}

/// The points at which the current settles at full voltage; not those of the look for contact, which
/// steps the voltage once the reading is done.
pub(super) fn settled(curve: &Curve) -> impl Fn(&Point) -> bool {
    let volts = |point: &Point| point.voltage.map(|voltage| voltage.get::<volt>());
    let full = curve.points.iter().filter_map(volts).fold(0.0, f64::max) * FULL;
    let soak = curve.points.iter().rfind(|point| point.phase == Phase::Soak);
    let read = curve.reading.map(|reading| reading.window.1);
    let look = read.zip(soak).filter(|(read, last)| (last.at - *read).get::<second>() < LOOK);
    move |point: &Point| {
        matches!(point.phase, Phase::Settle | Phase::Soak)
            && volts(point).is_none_or(|v| full <= v)
            && look.is_none_or(|(read, _)| point.at <= read)
    }
}

/// Zero and the values but for outliers; `musts` are shown in any case.
pub(super) fn linear_range(mut values: Vec<f64>, musts: &[f64]) -> Range {
    values.sort_by(f64::total_cmp);
    let usual = |share| quantile(&values, share).into_iter().chain(musts.iter().copied());
    let (low, high) = (usual(0.005).fold(0.0, f64::min), usual(0.995).fold(0.0, f64::max));
    let span = high - low;
    let near = |value: &&f64| value.abs() < STRETCH * span;
    let high = values.iter().rfind(near).copied().unwrap_or(high).max(high);
    let low = values.iter().find(near).copied().unwrap_or(low).min(low);
    rounded(low, high + (high - low) * 0.04, 1e-6)
}

/// Zero and all voltages at the part.
fn voltage(curve: &Curve) -> Range {
    let values = curve.points.iter().filter_map(|point| point.voltage);
    let values = values.map(|voltage| voltage.get::<volt>()).filter(|volts| volts.is_finite());
    let (low, high) = values.fold((0.0f64, 0.0f64), |(low, high), v| (low.min(v), high.max(v)));
    rounded(low, high * 1.08, 1.0)
}

/// A linear range widened to whole ticks; `usual` high if there is nothing to show.
fn rounded(low: f64, high: f64, usual: f64) -> Range {
    let high = if high > low { high } else { low + usual };
    let step = round_step((high - low) / 6.0) / 2.0;
    let (low, high) = ((low / step).floor() * step, (high / step).ceil() * step);
    Range { kind: Kind::Linear, low, high }
}

/// The currents that no picture may leave out, in A: the limit, and the reading with the upper end
/// of its interval. A reading far below its own uncertainty counts as a tenth of that: decades of
/// mere noise would say nothing.
fn musts(curve: &Curve) -> Vec<f64> {
    let limit = curve.limit.map(|limit| limit.current.get::<ampere>());
    let reading = curve.reading.into_iter().flat_map(|reading| {
        let (value, half) = (reading.current.get::<ampere>(), reading.uncertainty.get::<ampere>());
        let shown = if value > 0.0 { value.max(half / 10.0) } else { value };
        [shown, value + half]
    });
    limit.into_iter().chain(reading).filter(|amperes| amperes.is_finite()).collect()
}

/// The currents of some points, in A.
fn currents(curve: &Curve, wanted: impl Fn(&Point) -> bool) -> Vec<f64> {
    let value = |sample| match sample {
        Sample::Value(current) => Some(current.get::<ampere>()),
        Sample::Overload { .. } | Sample::Missing => None,
    };
    let points = curve.points.iter().filter(|point| wanted(point));
    points.filter_map(|point| value(point.current)).filter(|value| value.is_finite()).collect()
}

/// The value below which this share of sorted values lies.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "an index within the list"
)]
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    sorted.get((last as f64 * share).round() as usize).copied()
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::{Reading, example};
    use super::*;
    use crate::quantity::{amperes, seconds};

    fn holds(range: Range, value: f64) -> bool {
        (range.low..=range.high).contains(&value)
    }

    #[rstest]
    #[case::healthy(example::healthy())]
    #[case::leaky(example::leaky())]
    #[case::empty_clip(example::empty_clip())]
    #[case::film(example::film())]
    #[case::long_soak(example::long_soak())]
    fn limit_and_reading_are_always_on_the_picture(#[case] curve: Curve) {
        for axes in [Axes::LogLog, Axes::Linear] {
            let extent = Extent::of(&curve, axes);
            assert!(holds(extent.current, curve.limit.unwrap().current.get::<ampere>()));
            assert!(holds(extent.time, reading_due(&curve).unwrap()));
            let reading = curve.reading.unwrap().current.get::<ampere>();
            assert!(holds(extent.current, reading) || reading <= 0.0 && axes == Axes::LogLog);
        }
    }

    #[test]
    fn one_tiny_reading_does_not_stretch_the_decades() {
        let mut curve = example::healthy();
        let before = Extent::of(&curve, Axes::LogLog).current;
        curve.points[400].current = Sample::Value(amperes(3e-15));
        assert_eq!(Extent::of(&curve, Axes::LogLog).current, before);
    }

    #[test]
    fn a_reading_lost_in_its_uncertainty_does_not_stretch_the_decades() {
        let mut curve = example::film();
        let before = Extent::of(&curve, Axes::LogLog).current;
        curve.reading = curve.reading.map(|r| Reading { current: amperes(1e-18), ..r });
        assert_eq!(Extent::of(&curve, Axes::LogLog).current, before);
    }

    #[test]
    fn the_charging_surge_does_not_flatten_a_linear_picture() {
        let range = Extent::of(&example::healthy(), Axes::Linear).current;
        // The limit is 5.5 µA, the surge is 10 mA.
        assert!(holds(Range { low: 5.5e-6, high: 8e-6, ..range }, range.high), "{range:?}");
    }

    #[test]
    fn a_spike_of_twice_the_limit_stays_on_a_linear_picture() {
        let mut curve = example::long_soak();
        curve.points[5000].current = Sample::Value(amperes(12e-6));
        assert!(holds(Extent::of(&curve, Axes::Linear).current, 12e-6));
    }

    #[test]
    fn a_reading_time_far_ahead_does_not_squeeze_a_run_that_was_cut_short() {
        let mut curve = example::broken_down();
        curve.full_voltage_at = Some(seconds(1.3));
        let last = last_moment(&curve);
        assert!(Extent::of(&curve, Axes::Linear).time.high < 1.1 * last);
    }

    #[test]
    fn a_curve_without_any_reading_still_has_axes() {
        let empty = Curve { points: vec![], limit: None, reading: None, ..example::empty_clip() };
        for axes in [Axes::LogLog, Axes::Linear] {
            let Extent { time, current, voltage } = Extent::of(&empty, axes);
            for range in [time, current, voltage] {
                assert!(range.low < range.high, "{range:?}");
            }
        }
    }
}
