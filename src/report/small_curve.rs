//! A curve small enough to stand in a row of a sheet: decades of current over decades of time.
//!
//! The line, the marks at the edges and the axes are those of the large picture (`trace`, `extent`);
//! only the page is smaller. Phases and voltage are left to it.

use maud::{Markup, html};
use uom::si::electric_current::ampere;
use uom::si::time::second;

use super::extent::{Extent, reading_due};
use super::scale::{Scale, Tick};
use super::scene::At;
use super::trace::{self, Trace};
use super::{Axes, Curve};

/// Width and height of the drawing, in its own units.
const SIZE: (f64, f64) = (220.0, 112.0);
/// Left, top, right and lower edge of the panel.
const PANEL: (f64, f64, f64, f64) = (35.0, 7.0, 215.0, 95.0);
/// Most labels along the current axis.
const MOST_LABELS: usize = 4;

/// Where things stand on the drawing.
struct Panel {
    time: Scale,
    current: Scale,
}

/// Draws a curve as SVG.
pub(super) fn svg(curve: &Curve) -> Markup {
    let Extent { time, current, .. } = Extent::of(curve, Axes::LogLog);
    let (left, top, right, foot) = PANEL;
    let panel = Panel {
        time: Scale { range: time, start: left, end: right },
        current: Scale { range: current, start: foot, end: top },
    };
    let trace = trace::current(curve, &panel.time, &panel.current);
    html! {
        svg .curve viewBox={ "0 0 " (SIZE.0) " " (SIZE.1) } role="img"
            aria-label="current over time, both in decades" {
            (panel.grid())
            (panel.limit(curve))
            @for stroke in &trace.strokes {
                polyline .current points=(points(stroke)) {}
            }
            @for (x, y) in &trace.dots {
                circle .dot cx=(short(*x)) cy=(short(*y)) r="1" {}
            }
            (edges(&trace))
            (panel.reading(curve))
        }
    }
}

impl Panel {
    fn grid(&self) -> Markup {
        let (left, top, right, foot) = PANEL;
        let labels = sparse(labelled(self.current.range.ticks("A")));
        let times = sparse(labelled(self.time.range.time_ticks()));
        html! {
            rect .panel x=(left) y=(top) width=(right - left) height=(foot - top) {}
            @for (value, label) in &labels {
                @let y = short(self.current.place(*value));
                line .grid x1=(left) x2=(right) y1=(y) y2=(y) {}
                text .axis x=(left - 3.0) y=(y) dy="2.6" text-anchor="end" { (label) }
            }
            @for (value, label) in &times {
                @let x = self.time.place(*value);
                line .grid x1=(short(x)) x2=(short(x)) y1=(top) y2=(foot) {}
                text .axis x=(short(x.min(right - 8.0))) y=(foot + 10.0) text-anchor="middle" {
                    (label)
                }
            }
        }
    }

    /// The limit, and the moment at which it is read.
    fn limit(&self, curve: &Curve) -> Markup {
        let (left, top, right, foot) = PANEL;
        let Some(limit) = curve.limit else { return html! {} };
        let y = self.current.place(limit.current.get::<ampere>());
        let above = if y - top < 9.0 { 8.0 } else { -2.5 };
        let due = reading_due(curve).map(|due| short(self.time.place(due)));
        html! {
            @if let Some(x) = due {
                line .due x1=(x) x2=(x) y1=(top) y2=(foot) {}
            }
            line .limit x1=(left) x2=(right) y1=(short(y)) y2=(short(y)) {}
            text .limit-name x=(left + 3.0) y=(short(y + above)) { "limit" }
        }
    }

    /// The reading and its interval.
    fn reading(&self, curve: &Curve) -> Markup {
        let Some(reading) = curve.reading else { return html! {} };
        let x = short(self.time.place(reading.at.get::<second>()));
        let place = |value: f64| short(self.current.place(value));
        let (value, half) = (reading.current.get::<ampere>(), reading.uncertainty.get::<ampere>());
        html! {
            line .interval x1=(x) x2=(x) y1=(place(value + half)) y2=(place(value - half)) {}
            circle .reading cx=(x) cy=(place(value)) r="2.6" {}
        }
    }
}

/// Marks at the edges, for readings that have no place on the axes.
fn edges(trace: &Trace) -> Markup {
    let (_, top, _, foot) = PANEL;
    let up = trace.above.iter().chain(&trace.overloads);
    let down = trace.floor.iter().chain(&trace.below).chain(&trace.negative_overloads);
    let triangle =
        |x: &f64, y: f64, height: f64| points(&[(x - 2.0, y), (x + 2.0, y), (*x, y + height)]);
    html! {
        @for x in up { polygon .edge points=(triangle(x, top + 4.0, -3.5)) {} }
        @for x in down { polygon .edge points=(triangle(x, foot - 4.0, 3.5)) {} }
    }
}

/// The ticks that have a label.
fn labelled(ticks: Vec<Tick>) -> Vec<(f64, String)> {
    ticks.into_iter().filter_map(|tick| Some((tick.value, tick.label?))).collect()
}

/// Every second or third label, where there would be too many.
fn sparse(labels: Vec<(f64, String)>) -> Vec<(f64, String)> {
    let step = labels.len().div_ceil(MOST_LABELS).max(1);
    labels.into_iter().step_by(step).collect()
}

fn points(all: &[At]) -> String {
    let one = |(x, y): &At| format!("{},{}", short(*x), short(*y));
    all.iter().map(one).collect::<Vec<_>>().join(" ")
}

/// A tenth of a unit is less than a dot of any printer.
fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::example;
    use super::*;

    #[rstest]
    #[case::healthy(example::healthy(), 1)]
    #[case::leaky(example::leaky(), 1)]
    #[case::an_empty_clip(example::empty_clip(), 1)]
    #[case::broken_down(example::broken_down(), 0)]
    fn a_small_curve_has_its_limit_and_the_reading_if_there_is_one(
        #[case] curve: Curve,
        #[case] readings: usize,
    ) {
        let readings = if curve.reading.is_some() { readings } else { 0 };
        let drawn = svg(&curve).into_string();
        assert_eq!(drawn.matches("class=\"limit\"").count(), usize::from(curve.limit.is_some()));
        assert_eq!(drawn.matches("class=\"reading\"").count(), readings);
        assert!(!drawn.contains("NaN") && !drawn.contains("inf"), "{drawn}");
    }

    #[test]
    fn a_ten_hour_soak_is_drawn_in_a_few_kilobytes() {
        let drawn = svg(&example::long_soak()).into_string();
        assert!((500..20_000).contains(&drawn.len()), "{} bytes", drawn.len());
    }

    #[test]
    fn a_curve_without_readings_is_an_empty_panel() {
        let nothing = Curve { points: Vec::new(), reading: None, ..example::healthy() };
        let drawn = svg(&nothing).into_string();
        assert!(drawn.contains("class=\"panel\"") && !drawn.contains("polyline"), "{drawn}");
    }
}
