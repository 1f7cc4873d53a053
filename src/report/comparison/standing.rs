//! Where a part stands among the parts of its family on record.

use super::newest_first;
use crate::record::Listed;

/// Fewest other parts of a family that make a band.
pub const LEAST_FAMILY: usize = 5;
/// The band of a family holds the parts between these shares.
const BAND: (f64, f64) = (0.1, 0.9);

/// Where a part stands among the parts of its family, by current over charge.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The family.
    pub family: String,
    /// How many other parts there are.
    pub others: usize,
    /// Ends of the band and its middle, in A for each C; none of fewer than [`LEAST_FAMILY`] parts.
    pub band: Option<[f64; 3]>,
    /// The part's own, in A for each C; none without a reading.
    pub own: Option<f64>,
}

impl Standing {
    /// Where a run's part stands among the newest readings of the other parts.
    #[must_use]
    pub fn of(run: &Listed, all: &[Listed]) -> Self {
        let mut newest: Vec<&Listed> = Vec::new();
        let family = all.iter().filter(|other| {
            other.family == run.family
                && other.current.is_some()
                && other.simulated == run.simulated
        });
        for other in newest_first(family.collect()) {
            let is_other = other.id != run.id && (other.part != run.part || run.part.is_empty());
            let new = newest.iter().all(|one| one.part.is_empty() || one.part != other.part);
            if is_other && new {
                newest.push(other);
            }
        }
        let mut values: Vec<f64> = newest.iter().filter_map(|other| over_charge(other)).collect();
        values.sort_by(f64::total_cmp);
        let band = (LEAST_FAMILY <= values.len())
            .then(|| [BAND.0, 0.5, BAND.1].map(|share| quantile(&values, share)));
        Self { family: run.family.clone(), others: values.len(), band, own: over_charge(run) }
    }

    /// Where it stands, in a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let Some([low, middle, high]) = self.band else {
            return format!(
                "{}: {} other {} on record, a band of the family takes {LEAST_FAMILY}.",
                self.family,
                self.others,
                if self.others == 1 { "part" } else { "parts" }
            );
        };
        let band = format!(
            "of {} other parts of {} on record four in five leak {} to {} µA for each µF·V",
            self.others,
            self.family,
            digits(low),
            digits(high)
        );
        let Some(own) = self.own else { return format!("{band}; this one has no reading.") };
        let place = match own {
            own if own < low => "below that band",
            own if high < own => "above that band",
            _ => "inside that band",
        };
        let times = if 0.0 < middle && 0.0 < own {
            format!(", {} times that of their middle", digits(own / middle))
        } else {
            String::new()
        };
        format!("{band}; this one {}, {place}{times}.", digits(own))
    }
}

/// Two significant digits, plain.
pub(super) fn digits(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let power = value.abs().log10().floor();
    if power < -5.0 {
        return format!("{value:.1e}");
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to 6")]
    let places = (1.0 - power).clamp(0.0, 6.0) as usize;
    format!("{value:.places$}")
}

/// A reading over C·U, in A for each C: the same number as µA for each µF·V.
fn over_charge(run: &Listed) -> Option<f64> {
    let charge = run.capacitance.value * run.test_voltage.value;
    Some(run.current?.value.value / charge).filter(|value| value.is_finite())
}

/// A quantile of sorted values, between them by their distance.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    reason = "an index within the list"
)]
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share * sorted.len().saturating_sub(1) as f64;
    let (below, rest) = (place.floor() as usize, place.fract());
    let at = |index: usize| sorted.get(index.min(sorted.len().saturating_sub(1))).copied();
    let (low, high) = (at(below).unwrap_or(0.0), at(below + 1).unwrap_or(0.0));
    low + (high - low) * rest
}
