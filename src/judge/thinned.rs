//! Readings in constant memory: all of them at first, then every second, every fourth, and so on.

use arrayvec::ArrayVec;

use crate::quantity::{Current, amperes};

/// At most `N` readings, evenly spread over all that came.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Thinned<const N: usize> {
    kept: ArrayVec<Current, N>,
    stride: u32,
    taken: u32,
}

impl<const N: usize> Default for Thinned<N> {
    fn default() -> Self {
        Self { kept: ArrayVec::new(), stride: 1, taken: 0 }
    }
}

impl<const N: usize> Thinned<N> {
    /// Takes a reading; when full, every second one is dropped and only every second one kept.
    pub(super) fn add(&mut self, current: Current) {
        if self.taken.is_multiple_of(self.stride) {
            if self.kept.is_full() {
                self.halve();
            }
            self.kept.push(current);
        }
        self.taken = self.taken.saturating_add(1);
    }

    fn halve(&mut self) {
        let mut index = 0_usize;
        self.kept.retain(|_| {
            index += 1;
            index % 2 == 1
        });
        self.stride = self.stride.saturating_mul(2);
    }

    /// How many came.
    pub(super) fn count(&self) -> u32 {
        self.taken
    }

    /// The middle value; of an even number, the mean of the middle two.
    pub(super) fn median(&self) -> Option<Current> {
        let mut values = self.values();
        middle(&mut values).map(amperes)
    }

    /// Standard uncertainty of the median of readings that bursts may have hit.
    ///
    /// 1.4826 · MAD is the deviation of normal readings without their outliers, and √(π/2) what a
    /// median is more uncertain than a mean.
    pub(super) fn robust_scatter(&self) -> Current {
        let mut values = self.values();
        let Some(median) = middle(&mut values) else { return amperes(0.0) };
        values.iter_mut().for_each(|value| *value = (*value - median).abs());
        let count = self.kept.len();
        let deviation = middle(&mut values).unwrap_or(0.0) * 1.4826;
        amperes(deviation * (std::f64::consts::FRAC_PI_2 / in_number(count)).sqrt())
    }

    fn values(&self) -> ArrayVec<f64, N> {
        self.kept.iter().map(|current| current.value).collect()
    }

    /// Standard uncertainty of the mean of correlated readings.
    ///
    /// s/√n · √((1 + r)/(1 − r)) with r the correlation of neighbours, taken as 0 where negative:
    /// the variance of the mean of a first-order autoregressive series.
    pub(super) fn scatter(&self) -> Current {
        let values = &self.kept;
        if values.len() < 2 {
            return amperes(0.0);
        }
        let n = in_number(values.len());
        let mean = values.iter().map(|current| current.value).sum::<f64>() / n;
        let squares = values.iter().map(|current| (current.value - mean).powi(2)).sum::<f64>();
        if squares <= 0.0 {
            return amperes(0.0);
        }
        let products =
            values.windows(2).map(|pair| (pair[0].value - mean) * (pair[1].value - mean));
        let neighbours = (products.sum::<f64>() / squares).clamp(0.0, 0.99);
        let widening = ((1.0 + neighbours) / (1.0 - neighbours)).sqrt();
        amperes((squares / (n - 1.0) / n).sqrt() * widening)
    }
}

/// The middle value, or the mean of the middle two; leaves the values in another order.
fn middle(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(values.len() / 2, f64::total_cmp);
    let lower = if even { below.iter().copied().fold(f64::MIN, f64::max) } else { *upper };
    Some(f64::midpoint(lower, *upper))
}

#[expect(clippy::cast_precision_loss, reason = "a count of readings that are in memory")]
fn in_number(count: usize) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(values: &[f64]) -> Thinned<8> {
        let mut thinned = Thinned::default();
        for value in values {
            thinned.add(amperes(*value));
        }
        thinned
    }

    #[test]
    fn the_middle_of_an_even_number_is_the_mean_of_two() {
        assert_eq!(kept(&[4.0, 1.0, 3.0, 2.0]).median(), Some(amperes(2.5)));
        assert_eq!(kept(&[5.0, 1.0, 3.0]).median(), Some(amperes(3.0)));
        assert_eq!(kept(&[]).median(), None);
    }

    #[test]
    fn what_is_kept_is_spread_over_all_that_came() {
        // 0 to 31 in a memory of eight: every fourth, 0 to 28, whose middle is 14.
        let values: Vec<f64> = (0..32).map(f64::from).collect();
        let thinned = kept(&values);
        assert_eq!((thinned.count(), thinned.median()), (32, Some(amperes(14.0))));
    }

    #[test]
    fn an_outlier_does_not_widen_the_robust_scatter() {
        // Deviations from the median 3 are 2, 1, 0, 1, 997: MAD 1; 1.4826·√(1.5708/5) = 0.831.
        let scatter = kept(&[1.0, 2.0, 3.0, 4.0, 1000.0]).robust_scatter();
        assert!((scatter.value - 0.831).abs() < 0.001, "{scatter:?}");
    }
}
