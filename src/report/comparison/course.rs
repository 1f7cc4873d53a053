//! The readings of one part over months and years.

use super::{Difference, HINT, Known, alike, newest_first, reading, rounded};
use crate::quantity::{amperes, text};
use crate::record::Listed;

/// Readings of one part over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Oldest first, read alike.
    pub runs: Vec<Listed>,
    /// How many runs of the part were read otherwise, or not at all, and are left out.
    pub left_out: usize,
    /// The newest reading beside the oldest.
    pub change: Option<Difference>,
    /// Weighted fit of a straight line: A for each day, and its standard uncertainty; none of fewer
    /// than three readings or within a day.
    pub slope: Option<(f64, f64)>,
}

impl Course {
    /// The course of the readings of one part, in any order; those that are like the newest.
    #[must_use]
    pub fn of(all: &[Listed]) -> Self {
        let newest = newest_first(all.iter().filter(|run| run.current.is_some()).collect());
        let Some(last) = newest.first().copied() else {
            return Self { runs: Vec::new(), left_out: all.len(), change: None, slope: None };
        };
        let mut runs: Vec<Listed> =
            newest.into_iter().filter(|run| alike(last, run)).cloned().collect();
        runs.reverse();
        let change = match runs.as_slice() {
            [first, .., last] => Difference::between(last, first),
            [] | [_] => None,
        };
        Self { left_out: all.len() - runs.len(), change, slope: slope(&runs), runs }
    }

    /// How it went, in a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let (Some(first), Some(last)) = (self.runs.first(), self.runs.last()) else {
            return "no reading to follow.".to_owned();
        };
        let Some(change) = &self.change else {
            return format!("one reading, {}: a trend takes two.", reading(last));
        };
        let span = days(first, last);
        let ended = format!("{} from {} to {}", span_text(span), reading(first), reading(last));
        let slope = match self.slope {
            Some((slope, uncertainty)) if HINT * uncertainty < slope.abs() => format!(
                "; over all {} readings it {} by {} a year",
                self.runs.len(),
                if slope < 0.0 { "falls" } else { "rises" },
                text::current(rounded(amperes(slope.abs() * 365.25)))
            ),
            Some(_) => format!("; over all {} readings no slope stands out", self.runs.len()),
            None => String::new(),
        };
        let left_out = if self.left_out == 0 {
            String::new()
        } else {
            format!(" {} left out: no reading, or read otherwise.", runs_text(self.left_out))
        };
        format!("{ended}: {}{slope}.{left_out}", change.in_words())
    }
}

fn runs_text(count: usize) -> String {
    if count == 1 { "One run is".to_owned() } else { format!("{count} runs are") }
}

fn span_text(days: f64) -> String {
    match days {
        days if days < 1.0 => "within a day".to_owned(),
        days if days < 60.0 => format!("in {days:.0} days"),
        days if days < 730.0 => format!("in {:.0} months", days / 30.44),
        days => format!("in {:.1} years", days / 365.25),
    }
}

/// Days from one run to another, by the wall clock.
fn days(from: &Listed, to: &Listed) -> f64 {
    let milliseconds = to.started.as_millisecond() - from.started.as_millisecond();
    #[expect(clippy::cast_precision_loss, reason = "exact to 285 000 years")]
    let days = milliseconds as f64 / 86_400_000.0;
    days
}

/// Slope of a straight line through readings weighted by 1/u², and its standard uncertainty.
fn slope(runs: &[Listed]) -> Option<(f64, f64)> {
    let (first, last) = (runs.first()?, runs.last()?);
    if runs.len() < 3 || days(first, last) < 1.0 {
        return None;
    }
    let points: Vec<(f64, f64, f64)> = runs
        .iter()
        .filter_map(|run| {
            let known = Known::of(run)?;
            Some((days(first, run), known.current, known.uncertainty.powi(-2)))
        })
        .collect();
    let weight: f64 = points.iter().map(|(.., weight)| weight).sum();
    let mean = |value: fn(&(f64, f64, f64)) -> f64| {
        points.iter().map(|point| point.2 * value(point)).sum::<f64>() / weight
    };
    let (day, current) = (mean(|point| point.0), mean(|point| point.1));
    let squares: f64 = points.iter().map(|(at, _, weight)| weight * (at - day).powi(2)).sum();
    let products: f64 =
        points.iter().map(|(at, value, weight)| weight * (at - day) * (value - current)).sum();
    (0.0 < squares).then(|| (products / squares, squares.recip().sqrt()))
}
