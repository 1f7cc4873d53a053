//! Shares with their intervals, and quantiles.

/// z of a two-sided interval of 95 %.
const Z: f64 = 1.959_964;

/// So many of so many.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Share {
    /// How many had it.
    pub(crate) hits: u64,
    /// Of how many.
    pub(crate) of: u64,
}

impl Share {
    /// Counts one more.
    pub(crate) fn add(&mut self, hit: bool) {
        self.hits += u64::from(hit);
        self.of += 1;
    }

    /// The share of those that have something among those of a kind.
    pub(crate) fn count<T>(of: impl IntoIterator<Item = T>, hit: impl Fn(&T) -> bool) -> Self {
        let mut share = Self::default();
        of.into_iter().for_each(|one| share.add(hit(&one)));
        share
    }

    /// The share in per cent, as it stands in a table.
    pub(crate) fn percent_text(self, digits: usize) -> String {
        if self.of == 0 { "–".to_owned() } else { format!("{:.digits$}", 100.0 * self.value()) }
    }

    #[expect(clippy::cast_precision_loss, reason = "counts below 2⁵³")]
    fn value(self) -> f64 {
        if self.of == 0 { f64::NAN } else { self.hits as f64 / self.of as f64 }
    }

    /// The 95 % interval in per cent (Wilson's, without correction for continuity).
    #[expect(clippy::cast_precision_loss, reason = "counts below 2⁵³")]
    pub(crate) fn interval(self) -> (f64, f64) {
        let (n, p) = (self.of as f64, self.value());
        let centre = p + Z * Z / (2.0 * n);
        let half = Z * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt();
        let scale = 100.0 / (1.0 + Z * Z / n);
        ((centre - half).max(0.0) * scale, (centre + half) * scale)
    }

    /// The same as it stands in a table.
    pub(crate) fn interval_text(self) -> String {
        if self.of == 0 {
            return "–".to_owned();
        }
        let (least, most) = self.interval();
        format!("{least:.3}–{most:.3}")
    }
}

/// The value below which so large a share lies; none of an empty list.
pub(crate) fn quantile(mut values: Vec<f64>, share: f64) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "an index into a list in memory"
    )]
    let index = (share * values.len() as f64) as usize;
    values.get(index.min(values.len().checked_sub(1)?)).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_interval_of_nothing_seen_ends_near_the_rule_of_three() {
        // Wilson at 0 of 1000: z²/(n + z²) = 0.3827 %; the rule of three says 0.3 %.
        let (least, most) = Share { hits: 0, of: 1000 }.interval();
        assert!(least.abs() < 1e-9 && (most - 0.3827).abs() < 1e-3, "{most}");
    }

    #[test]
    fn half_of_a_hundred_lies_between_forty_and_sixty() {
        // Wilson at 50 of 100: 40.38 % to 59.62 %.
        let (least, most) = Share { hits: 50, of: 100 }.interval();
        assert!((least - 40.38).abs() < 0.01 && (most - 59.62).abs() < 0.01, "{least} {most}");
    }

    #[test]
    fn a_quantile_is_one_of_the_values() {
        let values: Vec<f64> = (1..=10).rev().map(f64::from).collect();
        assert_eq!(quantile(values.clone(), 0.5), Some(6.0));
        assert_eq!(quantile(values, 0.9), Some(10.0));
        assert_eq!(quantile(Vec::new(), 0.5), None);
    }
}
