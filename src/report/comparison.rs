//! Readings compared: a part with its equals, with itself earlier, with its family; in sentences.
//!
//! A difference counts in standard uncertainties of the difference, u = √(u₁² + u₂²) with u the
//! half-width of each reading's interval over its coverage factor (JCGM 100:2008, 5.1.2, for
//! readings that share nothing). Readings by the same instruments in the same room share a part of
//! their error, so the difference is then rather surer than is said. Below 2 nothing is shown, from
//! 3 on the difference is called real: the usual bounds of a control chart (ISO 7870-2).

mod course;
mod standing;

use crate::quantity::{Current, amperes, text};
use crate::record::Listed;

pub use course::Course;
pub use standing::{LEAST_FAMILY, Standing};

/// From so many standard uncertainties on a difference is hinted at, and called real.
const HINT: f64 = 2.0;
const REAL: f64 = 3.0;
/// Voltages and moments that differ by less than this share are the same.
const SAME: f64 = 0.02;

/// A reading with what it can be compared by.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Known {
    current: f64,
    /// Standard uncertainty.
    uncertainty: f64,
}

impl Known {
    fn of(run: &Listed) -> Option<Self> {
        let measured = run.current?;
        let uncertainty = measured.uncertainty.value / run.confidence.coverage();
        Some(Self { current: measured.value.value, uncertainty })
    }
}

/// How far two readings lie apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The first less the second.
    pub by: Current,
    /// The same in standard uncertainties of the difference.
    pub uncertainties: f64,
    /// The first over the second; none where one of them is lost in its uncertainty.
    pub factor: Option<f64>,
}

impl Difference {
    /// The difference between two readings; none if one of the runs has none.
    #[must_use]
    pub fn between(first: &Listed, second: &Listed) -> Option<Self> {
        let (a, b) = (Known::of(first)?, Known::of(second)?);
        let seen = |known: Known| HINT * known.uncertainty < known.current;
        let by = a.current - b.current;
        Some(Self {
            by: amperes(by),
            uncertainties: by / a.uncertainty.hypot(b.uncertainty),
            factor: (seen(a) && seen(b)).then(|| a.current / b.current),
        })
    }

    /// Whether the readings bear the difference out.
    #[must_use]
    pub fn is_real(&self) -> bool {
        REAL <= self.uncertainties.abs()
    }

    /// What it means, without the names.
    fn judged(&self) -> &'static str {
        match self.uncertainties.abs() {
            size if size < HINT => "the readings show no difference",
            size if size < REAL => "a hint of a difference, no proof",
            _ => "a real difference",
        }
    }

    fn in_words(&self) -> String {
        let more = if self.by.value < 0.0 { "less" } else { "more" };
        let by = text::current(rounded(self.by.abs()));
        let factor = self.factor.map(|factor| format!(", {}", times(factor))).unwrap_or_default();
        let size = self.uncertainties.abs();
        format!("{by} {more}{factor}; {size:.1} standard uncertainties: {}", self.judged())
    }
}

/// Two significant digits.
fn rounded(current: Current) -> Current {
    if current.value == 0.0 {
        return current;
    }
    let place = 10_f64.powf(current.value.abs().log10().floor() - 1.0);
    amperes((current.value / place).round() * place)
}

/// `1.3 times as much`, `a third` is said as `0.33 times as much`.
fn times(factor: f64) -> String {
    if (0.1..9.95).contains(&factor) {
        format!("{factor:.2} times as much")
    } else {
        format!("{} times as much", standing::digits(factor))
    }
}

/// With what a run is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relation {
    /// The same part before.
    Earlier,
    /// Another part with the same printed on it, tested alike.
    Sister,
    /// A run that somebody named.
    Named,
}

impl Relation {
    /// The word for it.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Self::Earlier => "earlier",
            Self::Sister => "sister",
            Self::Named => "named",
        }
    }
}

/// A run beside another.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside<'a> {
    /// What the other is to the first.
    pub relation: Relation,
    /// The other run.
    pub other: &'a Listed,
    /// How far apart they lie; none if one has no reading.
    pub difference: Option<Difference>,
    /// Why they do not quite compare.
    pub unlike: Vec<String>,
}

impl<'a> Beside<'a> {
    /// A run beside another.
    #[must_use]
    pub fn of(relation: Relation, run: &Listed, other: &'a Listed) -> Self {
        let difference = Difference::between(run, other);
        Self { relation, other, difference, unlike: unlike(run, other) }
    }

    /// What differs and by how many uncertainties, in a sentence.
    #[must_use]
    pub fn sentence(&self, run: &Listed) -> String {
        let then = match self.relation {
            Relation::Earlier => format!(" on {}", self.other.started.strftime("%Y-%m-%d")),
            Relation::Sister | Relation::Named => String::new(),
        };
        let (one, other) = (reading(run), reading(self.other));
        let Some(difference) = &self.difference else {
            return format!(
                "{} against {}{then}: {one} against {other}: nothing to compare.",
                name(run),
                name(self.other)
            );
        };
        let unlike = if self.unlike.is_empty() {
            String::new()
        } else {
            format!(" Take care: {}.", self.unlike.join("; "))
        };
        format!(
            "{} against {}{then}: {one} against {other}, {}.{unlike}",
            name(run),
            name(self.other),
            difference.in_words()
        )
    }
}

/// Part and run.
fn name(run: &Listed) -> String {
    if run.part.is_empty() { run.id.to_string() } else { format!("{} ({})", run.part, run.id) }
}

/// The reading, or why there is none.
fn reading(run: &Listed) -> String {
    match (run.current, run.findings.first()) {
        (Some(current), _) => text::with_uncertainty(current.value, current.uncertainty),
        (None, Some(finding)) => format!("no reading ({finding})"),
        (None, None) => "no reading".to_owned(),
    }
}

/// In what two runs differ that their readings depend on.
fn unlike(run: &Listed, other: &Listed) -> Vec<String> {
    let mut unlike = Vec::new();
    if run.family != other.family {
        unlike.push(format!("the families differ, {} and {}", run.family, other.family));
    }
    if apart(run.capacitance.value, other.capacitance.value) {
        let texts = [run, other].map(|run| text::capacitance(run.capacitance));
        unlike.push(format!("the values differ, {} and {}", texts[0], texts[1]));
    }
    if apart(run.test_voltage.value, other.test_voltage.value) {
        let texts = [run, other].map(|run| text::voltage(run.test_voltage));
        unlike.push(format!("the test voltages differ, {} and {}", texts[0], texts[1]));
    }
    if let (Some(one), Some(two)) = (run.current, other.current)
        && apart(one.at.value, two.at.value)
    {
        let texts = [one, two].map(|current| text::time(current.at));
        unlike.push(format!("they were read at {} and {} after full voltage", texts[0], texts[1]));
    }
    if run.simulated != other.simulated {
        unlike.push("one of them is simulated".to_owned());
    }
    unlike
}

fn apart(a: f64, b: f64) -> bool {
    SAME < (a / b - 1.0).abs()
}

/// Whether two runs are of parts with the same printed on them, tested alike.
#[must_use]
pub fn alike(run: &Listed, other: &Listed) -> bool {
    run.kind == other.kind
        && unlike(run, other).is_empty()
        && !apart(run.rated.value, other.rated.value)
}

/// The same part before, newest first.
#[must_use]
pub fn earlier<'a>(run: &Listed, all: &'a [Listed]) -> Vec<&'a Listed> {
    let same = |other: &&Listed| {
        !run.part.is_empty()
            && other.part == run.part
            && other.family == run.family
            && !apart(run.capacitance.value, other.capacitance.value)
            && other.started < run.started
            && other.current.is_some()
            && other.simulated == run.simulated
    };
    newest_first(all.iter().filter(same).collect())
}

/// The newest reading of each other part that is like this one.
#[must_use]
pub fn sisters<'a>(run: &Listed, all: &'a [Listed]) -> Vec<&'a Listed> {
    let mut found: Vec<&Listed> = Vec::new();
    let like = all.iter().filter(|other| {
        other.current.is_some()
            && other.part != run.part
            && !other.part.is_empty()
            && alike(run, other)
    });
    for other in newest_first(like.collect()) {
        if found.iter().all(|one| one.part != other.part) {
            found.push(other);
        }
    }
    found
}

/// By date: ids say nothing of runs that were imported. Of one date the later id is newer.
fn newest_first(mut runs: Vec<&Listed>) -> Vec<&Listed> {
    runs.sort_by_key(|run| std::cmp::Reverse((run.started, run.id)));
    runs
}

/// The median of the readings of some runs; none of none.
#[must_use]
pub fn median(runs: &[&Listed]) -> Option<Current> {
    let mut currents: Vec<f64> =
        runs.iter().filter_map(|run| Some(run.current?.value.value)).collect();
    currents.sort_by(f64::total_cmp);
    currents.get(currents.len() / 2).copied().map(amperes)
}

#[cfg(test)]
mod tests;
