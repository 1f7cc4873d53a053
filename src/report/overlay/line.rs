//! Runs on common axes: shifted in time, divided, with the ranges that hold them all.

use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::time::second;

use super::{Against, MOST_RUNS, Measure, Member, OverlayError, Since, View};
use crate::plan::Phase;
use crate::report::extent::{self, linear_range, log_range, round_down};
use crate::report::scale::{Kind, Range, Scale, Tick, floor_log};
use crate::report::tally::Fate;
use crate::report::trace::{self, Step, Trace};
use crate::report::{Point, Sample};

/// Most decades of time before the end.
const MOST_DECADES: f64 = 1e6;
/// So much of what comes after full voltage is shown of what came before it.
const LEAD: f64 = 0.12;

/// Runs on common axes.
#[derive(Debug)]
pub(in crate::report) struct Lines<'a> {
    pub(super) view: View,
    pub(super) all: Vec<Line<'a>>,
    pub(in crate::report) across: Range,
    pub(in crate::report) upwards: Range,
}

/// One run on them.
#[derive(Debug)]
pub(in crate::report) struct Line<'a> {
    pub(in crate::report) member: &'a Member,
    view: View,
    /// Where its time begins, in s since switch-on.
    zero: f64,
    /// What its currents are divided by, in A or in C.
    divisor: f64,
}

impl<'a> Lines<'a> {
    pub(in crate::report) fn of(members: &'a [Member], view: View) -> Result<Self, OverlayError> {
        match members.len() {
            0 => return Err(OverlayError::None),
            count if MOST_RUNS < count => return Err(OverlayError::TooMany(count)),
            _ => {}
        }
        let all: Vec<Line<'_>> =
            members.iter().map(|member| Line::of(member, view)).collect::<Result<_, _>>()?;
        let across = across(&all, view);
        let upwards = upwards(&all, view, across);
        Ok(Self { view, all, across, upwards })
    }

    pub(in crate::report) fn all(&self) -> &[Line<'a>] {
        &self.all
    }

    pub(super) fn simulated(&self) -> bool {
        self.all.iter().any(|line| line.member.curve.simulated)
    }

    /// How many strips of phases there are; over voltage none.
    pub(super) fn strips(&self) -> usize {
        if self.view.against == Against::Voltage { 0 } else { self.all.len() }
    }

    /// Whether there are overloads, and values that a logarithmic axis does not have.
    pub(super) fn rows(&self) -> (bool, bool) {
        let mut rows = (false, false);
        for fate in self.all.iter().flat_map(|line| line.fates(self.upwards)) {
            match fate {
                Fate::Overload | Fate::NegativeOverload => rows.0 = true,
                Fate::Floor => rows.1 = true,
                Fate::Value(_) | Fate::Above(_) | Fate::Below(_) | Fate::Missing => {}
            }
        }
        let reads = |line: &Line<'_>| line.reading().is_some_and(|(_, value, _)| value <= 0.0);
        rows.1 |= self.upwards.kind == Kind::Log && self.all.iter().any(reads);
        rows
    }

    /// The limit, if it is one line for all.
    pub(in crate::report) fn limit(&self) -> Option<f64> {
        let limits: Vec<f64> = self.all.iter().map(Line::limit).collect::<Option<_>>()?;
        let first = *limits.first()?;
        let same = |limit: &f64| (limit / first - 1.0).abs() < 1e-6;
        limits.iter().all(same).then_some(first)
    }

    /// The window of the readings, if it is one for all.
    pub(super) fn window(&self) -> Option<(f64, f64)> {
        if self.view.against == Against::Voltage {
            return None;
        }
        let windows: Vec<(f64, f64)> = self.all.iter().filter_map(Line::window).collect();
        let first = *windows.first()?;
        let same = |window: &(f64, f64)| (window.0 - first.0).abs() < 1.0;
        (windows.len() == self.all.len() && windows.iter().all(same)).then_some(first)
    }

    pub(in crate::report) fn ticks_across(&self) -> Vec<Tick> {
        match self.view.against {
            Against::LogTime | Against::Time => self.across.time_ticks(),
            Against::Voltage => self.across.ticks("V"),
        }
    }

    pub(super) fn spoken_times(&self) -> Vec<Tick> {
        if self.view.against == Against::LogTime { self.across.spoken_times() } else { Vec::new() }
    }

    pub(in crate::report) fn ticks_upwards(&self) -> Vec<Tick> {
        match self.view.measure {
            Measure::Current => self.upwards.ticks("A"),
            Measure::OfLimit => self.upwards.named_ticks(&share),
            Measure::OfCharge => self.upwards.named_ticks(&factor),
        }
    }

    /// Readings that come before the time axis begins.
    pub(super) fn before(&self) -> usize {
        let before = |line: &Line<'_>| {
            let moments = line.shown().filter_map(|point| line.across(point));
            moments.filter(|x| !begun(self.across, *x)).count()
        };
        self.all.iter().map(before).sum()
    }
}

impl<'a> Line<'a> {
    fn of(member: &'a Member, view: View) -> Result<Self, OverlayError> {
        let full = member.curve.full_voltage_at.map(|at| at.get::<second>());
        let zero = match (view.since, view.against) {
            (Since::SwitchOn, _) | (_, Against::Voltage) => 0.0,
            (Since::FullVoltage, Against::LogTime | Against::Time) => {
                full.ok_or(OverlayError::NoFullVoltage(member.run))?
            }
        };
        let limit = member.curve.limit.map(|limit| limit.current.get::<ampere>());
        let divisor = match view.measure {
            Measure::Current => 1.0,
            Measure::OfLimit => limit.ok_or(OverlayError::NoLimit(member.run))?,
            Measure::OfCharge => member.charge.get::<coulomb>(),
        };
        Ok(Self { member, view, zero, divisor })
    }

    /// The readings that are drawn: those up to the end of the soak.
    pub(in crate::report) fn shown(&self) -> impl Iterator<Item = &'a Point> {
        let shown = |point: &&Point| {
            !matches!(point.phase, Phase::Bleed | Phase::Safe | Phase::LockedOut | Phase::Idle)
        };
        self.member.curve.points.iter().filter(shown)
    }

    /// Where a reading stands across, in s or V; none if that is not known.
    pub(in crate::report) fn across(&self, point: &Point) -> Option<f64> {
        let x = match self.view.against {
            Against::LogTime | Against::Time => point.at.get::<second>() - self.zero,
            Against::Voltage => point.voltage?.get::<volt>(),
        };
        Some(x).filter(|x| x.is_finite())
    }

    /// What a current comes to upwards.
    fn upwards(&self, amperes: f64) -> f64 {
        amperes / self.divisor
    }

    fn fate(&self, sample: Sample, axis: Range) -> Fate {
        match sample {
            Sample::Value(current) => Fate::at(self.upwards(current.get::<ampere>()), axis),
            Sample::Overload { .. } | Sample::Missing => Fate::of(sample, axis),
        }
    }

    fn fates(&self, axis: Range) -> impl Iterator<Item = Fate> {
        self.shown().map(move |point| self.fate(point.current, axis))
    }

    /// What the currents come to that have a place on the axis across.
    fn values(&self, axis: Range) -> impl Iterator<Item = (&'a Point, f64)> {
        let placed = move |point: &&Point| self.across(point).is_some_and(|x| begun(axis, x));
        self.shown().filter(placed).filter_map(|point| match point.current {
            Sample::Value(current) => Some((point, self.upwards(current.get::<ampere>()))),
            Sample::Overload { .. } | Sample::Missing => None,
        })
    }

    pub(in crate::report) fn limit(&self) -> Option<f64> {
        Some(self.upwards(self.member.curve.limit?.current.get::<ampere>()))
    }

    /// Where the reading stands: across, upwards, half of its interval.
    pub(in crate::report) fn reading(&self) -> Option<(f64, f64, f64)> {
        let reading = self.member.curve.reading?;
        let x = match self.view.against {
            Against::LogTime | Against::Time => reading.at.get::<second>() - self.zero,
            Against::Voltage => self.voltage_at(reading.at.get::<second>())?,
        };
        let [value, half] = [reading.current, reading.uncertainty];
        let of = |current: crate::quantity::Current| self.upwards(current.get::<ampere>());
        Some((x, of(value), of(half)))
    }

    fn voltage_at(&self, moment: f64) -> Option<f64> {
        let before = self.shown().take_while(|point| point.at.get::<second>() <= moment);
        before.filter_map(|point| point.voltage).last().map(|voltage| voltage.get::<volt>())
    }

    fn window(&self) -> Option<(f64, f64)> {
        let (from, to) = self.member.curve.reading?.window;
        Some((from.get::<second>() - self.zero, to.get::<second>() - self.zero))
    }

    /// A moment since switch-on, in s, on the axis across; none over voltage.
    pub(super) fn moment(&self, seconds: f64) -> Option<f64> {
        (self.view.against != Against::Voltage).then_some(seconds - self.zero)
    }

    /// The line and the marks of what has no place on it.
    pub(in crate::report) fn trace(&self, x: &Scale, y: &Scale) -> Trace {
        let step = |point: &'a Point| {
            let across = self.across(point)?;
            let fate = self.fate(point.current, y.range);
            let moment = point.at.get::<second>();
            begun(x.range, across).then(|| Step { moment, x: x.place(across), fate })
        };
        let steps: Vec<Step> = self.shown().filter_map(step).collect();
        trace::through(&steps, y, trace::dense(&self.member.curve))
    }
}

fn across(all: &[Line<'_>], view: View) -> Range {
    let values: Vec<f64> = all
        .iter()
        .flat_map(|line| line.shown().filter_map(|point| line.across(point)))
        .chain(all.iter().filter_map(|line| Some(line.reading()?.0)))
        .collect();
    let most = values.iter().copied().fold(0.0, f64::max);
    let high = if 0.0 < most { most } else { 1.0 };
    let low = values.iter().copied().fold(0.0, f64::min).max(high * -LEAD);
    match view.against {
        Against::Time => Range { kind: Kind::Linear, low, high: high + (high - low) * 0.015 },
        Against::Voltage => Range { kind: Kind::Linear, low: low.min(0.0), high: high * 1.04 },
        Against::LogTime => {
            let positive = values.into_iter().filter(|value| 0.0 < *value);
            let first = positive.fold(f64::INFINITY, f64::min);
            let low = round_down(first.clamp(high / MOST_DECADES, high / 10.0));
            Range { kind: Kind::Log, low, high: high * (high / low).powf(0.015) }
        }
    }
}

/// Whether a place across lies on an axis or behind its end.
fn begun(axis: Range, x: f64) -> bool {
    match axis.kind {
        Kind::Log => 0.0 < x,
        Kind::Linear => axis.low <= x,
    }
}

fn upwards(all: &[Line<'_>], view: View, across: Range) -> Range {
    let musts: Vec<f64> = all
        .iter()
        .filter_map(Line::limit)
        .chain(all.iter().flat_map(|line| {
            line.reading().into_iter().flat_map(|(_, value, half)| {
                let shown = if value > 0.0 { value.max(half / 10.0) } else { value };
                [shown, value + half]
            })
        }))
        .filter(|value| value.is_finite())
        .collect();
    let values = |settled: bool| -> Vec<f64> {
        let of = |line: &Line<'_>| -> Vec<f64> {
            let calm = extent::settled(&line.member.curve);
            let values = line.values(across).filter(|(point, _)| !settled || calm(point));
            values.map(|(_, value)| value).filter(|value| value.is_finite()).collect()
        };
        all.iter().flat_map(of).collect()
    };
    match view.against {
        Against::LogTime | Against::Voltage => log_range(values(false), &musts),
        Against::Time => {
            let settled = values(true);
            let values = if settled.is_empty() { values(false) } else { settled };
            linear_range(values, &musts)
        }
    }
}

/// A share of the limit: in per cent below it, as a multiple from it on.
fn share(value: f64) -> String {
    if value == 0.0 {
        "0".to_owned()
    } else if value.abs() < 0.995 {
        factor(value * 100.0) + " %"
    } else {
        factor(value) + " ×"
    }
}

/// A factor of C·U as sheets print it, µA for each µF·V.
fn factor(value: f64) -> String {
    let power = floor_log(value.abs().max(f64::MIN_POSITIVE));
    if value == 0.0 || (-4..3).contains(&power) {
        let places = usize::try_from(2 - power).unwrap_or(0);
        let text = format!("{value:.places$}");
        let whole = text.trim_end_matches('0').trim_end_matches('.');
        return if text.contains('.') { whole.to_owned() } else { text };
    }
    let lead = (value / 10f64.powi(power)).round();
    let raised: String = power.to_string().chars().map(raised).collect();
    if lead < 1.5 { format!("10{raised}") } else { format!("{lead:.0}·10{raised}") }
}

/// A digit or sign above the line.
fn raised(letter: char) -> char {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let digit = letter.to_digit(10).and_then(|digit| DIGITS.get(digit as usize));
    digit.copied().unwrap_or('⁻')
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::a_hundredth(0.01, "1 %")]
    #[case::a_thousandth_of_a_per_cent(1e-5, "0.001 %")]
    #[case::the_limit(1.0, "1 ×")]
    #[case::a_hundred_times(100.0, "100 ×")]
    #[case::nothing(0.0, "0")]
    fn a_share_reads_as_per_cent_or_as_a_multiple(#[case] value: f64, #[case] text: &str) {
        assert_eq!(share(value), text);
    }

    #[rstest]
    #[case::of_a_sheet(0.01, "0.01")]
    #[case::of_a_root(3e-4, "0.0003")]
    #[case::between_two(0.015, "0.015")]
    #[case::tens(20.0, "20")]
    #[case::small(1e-6, "10⁻⁶")]
    #[case::five(5e-7, "5·10⁻⁷")]
    fn a_factor_reads_as_sheets_print_it(#[case] value: f64, #[case] text: &str) {
        assert_eq!(factor(value), text);
    }
}
