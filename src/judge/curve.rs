//! The curve of a soak, separated while it runs: what still charges, what is absorption, what is
//! leakage.
//!
//! The model is handbook §2.1: i(t) = `I_L` + A·t^(−n) + B·exp(−t/τ). Readings go into bins that are
//! ten to a decade of time; a bin counts by its median, which bursts do not move (handbook §2.7).
//! For each exponent n of the family's range one set of weighted sums is kept, so that memory is
//! constant and a reading costs the same after three days as in the first second. What the
//! exponent leaves open is averaged over: each n counts by its likelihood.

mod squares;

use arrayvec::ArrayVec;

use super::thinned::Thinned;
use crate::quantity::{Current, Time, amperes};
use squares::{Solution, Sums, TERMS};

/// A bin ends at this multiple of the time it began at: ten to a decade (handbook §2.7: 8 or more).
const BIN_RATIO: f64 = 1.258_925_411_794_167_2; // 10^0.1
/// Fewest readings of a bin.
const FEWEST_IN_BIN: u32 = 5;
/// Readings kept of a bin.
const KEPT: usize = 64;
/// Exponents tried over the family's range.
const EXPONENTS: usize = 16;
/// Steps between them.
const EXPONENT_STEPS: f64 = 15.0;
/// Fewest bins from which anything is said: one more than the model has terms.
const FEWEST_BINS: u32 = 4;
/// Part of its value by which a bin may miss the model: no dielectric follows it to better.
const MODEL_SHARE: f64 = 0.005;
/// What a bin's weight falls to with each newer one: the model is good for a decade or two of time,
/// and it is the near past that tells the near future.
const FADING: f64 = 0.9;
/// Charging is told apart as long as its exponential is above this in a bin.
const LEAST_CHARGING: f64 = 1e-9;
/// Absorption and leakage are separable over this span of time and this fall (handbook §2.7).
const SEPARABLE_SPAN: f64 = 10.0;
const SEPARABLE_FALL: f64 = 1.5;
/// Expanded over standard uncertainty of what is told: 95 %.
const COVERAGE: f64 = 1.96;
/// Share of the fall yet to come that the forecast may miss by: real absorption is a sum of
/// branches and no power law, and re-forming slows down. With this, the next and the families'
/// settling the population study finds the reading in the interval in 94.5 % of runs at a tenth of
/// the reading time, 95.2 % at a fifth, 95.6 % at half.
const FALL_DOUBT: f64 = 0.15;
/// Share of the current, per factor e of time to come, that drift may add. Chosen likewise.
const DRIFT_DOUBT: f64 = 0.01;

/// How the curves of a family run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nature {
    /// Least and greatest exponent of the absorption (handbook §7, column n).
    pub exponents: (f64, f64),
    /// What looks constant still falls, with the time to the power −m, for oxide that grows back and
    /// for what dries or soaks slowly: mean of m.
    pub settling: f64,
    /// Standard deviation of m.
    pub settling_spread: f64,
}

/// The fit under way.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// From the middle of the ramp to full voltage: absorption counts from there (handbook §2.1).
    head_start: Time,
    charging: Time,
    /// Time that exponent sums are scaled by.
    scale: Time,
    exponents: [f64; EXPONENTS],
    nature: Nature,
    sums: [Sums; EXPONENTS],
    origin: Option<Time>,
    bin: Bin,
    bins: u32,
    first: Option<Point>,
    last: Option<Point>,
}

#[derive(Debug, Clone, PartialEq, Default)]
struct Bin {
    from: Option<Time>,
    until: Time,
    readings: Thinned<KEPT>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Point {
    at: Time,
    current: Current,
    uncertainty: Current,
}

/// A curve taken apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// What does not fall any more.
    pub leakage: Current,
    /// Half-width of its 95 % interval.
    pub leakage_uncertainty: Current,
    /// Absorption at the moment asked for.
    pub absorbing: Current,
    /// Half-width of its 95 % interval.
    pub absorbing_uncertainty: Current,
    /// Charging at the moment asked for.
    pub charging: Current,
    /// Exponent n of the absorption.
    pub exponent: f64,
    /// Leakage and absorption could be told apart: over a decade of time the current fell by half.
    pub separable: bool,
}

/// What will be read at a later moment, if the curve goes on as it went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// The reading expected.
    pub current: Current,
    /// Half-width of its 95 % interval.
    pub uncertainty: Current,
}

/// One exponent's solution and how likely it is beside the others.
struct Weighed {
    exponent: f64,
    solution: Solution,
    weight: f64,
}

impl Curve {
    /// A fit for a family whose absorption and constant part fall as `nature` says.
    ///
    /// `head_start` is the time from the middle of the ramp to full voltage, `charging` the time
    /// constant of path and part, `scale` a typical time of the soak.
    #[must_use]
    pub fn new(nature: Nature, head_start: Time, charging: Time, scale: Time) -> Self {
        let (least, most) = nature.exponents;
        let mut steps = (0_u32..).map(|step| f64::from(step) / EXPONENT_STEPS);
        let exponents =
            [(); EXPONENTS].map(|()| least + (most - least) * steps.next().unwrap_or_default());
        Self {
            head_start,
            charging,
            scale,
            exponents,
            nature,
            sums: [Sums::default(); EXPONENTS],
            origin: None,
            bin: Bin::default(),
            bins: 0,
            first: None,
            last: None,
        }
    }

    /// Adds a reading taken `at` after full voltage; `floor` is what its digits can't tell.
    pub fn add(&mut self, at: Time, current: Current, floor: Current) {
        let from = *self.bin.from.get_or_insert(at);
        self.origin.get_or_insert(at);
        self.bin.until = at;
        self.bin.readings.add(current);
        let ratio = (at + self.head_start).value / (from + self.head_start).value;
        if FEWEST_IN_BIN <= self.bin.readings.count() && BIN_RATIO <= ratio {
            self.close_bin(floor);
        }
    }

    fn close_bin(&mut self, floor: Current) {
        let bin = std::mem::take(&mut self.bin);
        let (Some(from), Some(current)) = (bin.from, bin.readings.median()) else { return };
        let at = (from + bin.until) / 2.0;
        let shares = [bin.readings.robust_scatter(), current * MODEL_SHARE, floor];
        let uncertainty = shares.iter().map(|share| share.value.powi(2)).sum::<f64>().sqrt();
        let point = Point { at, current, uncertainty: amperes(uncertainty) };
        for index in 0..EXPONENTS {
            let x = self.regressors(self.exponents[index], at);
            self.sums[index].fade(FADING);
            self.sums[index].add(x, current.value, uncertainty.powi(-2));
        }
        self.bins = self.bins.saturating_add(1);
        self.first.get_or_insert(point);
        self.last = Some(point);
    }

    /// Constant, absorption and charging at a moment.
    fn regressors(&self, exponent: f64, at: Time) -> [f64; TERMS] {
        let scaled = ((at + self.head_start) / self.scale).value.max(1e-9);
        let since = at - self.origin.unwrap_or(at);
        let charging = (-(since / self.charging).value).exp();
        let charging = if charging < LEAST_CHARGING { 0.0 } else { charging };
        [1.0, (-exponent * scaled.ln()).exp(), charging]
    }

    /// Solutions of all exponents with their likelihoods, none before there are bins enough.
    fn weighed(&self) -> ArrayVec<Weighed, EXPONENTS> {
        if self.bins < FEWEST_BINS {
            return ArrayVec::new();
        }
        let solved = self.exponents.iter().zip(&self.sums);
        let mut all: ArrayVec<Weighed, EXPONENTS> = solved
            .filter_map(|(exponent, sums)| {
                let solution = sums.solve()?;
                Some(Weighed { exponent: *exponent, solution, weight: 0.0 })
            })
            .collect();
        let best = all.iter().map(|one| one.solution.chi_square).fold(f64::INFINITY, f64::min);
        // Residuals larger than the uncertainties widen everything (Birge ratio).
        let lasting = (1.0 - FADING.powf(f64::from(self.bins))) / (1.0 - FADING);
        let freedom = (lasting - f64::from(FEWEST_BINS - 1)).max(1.0);
        let excess = (best / freedom).max(1.0);
        for one in &mut all {
            one.weight = (-(one.solution.chi_square - best) / (2.0 * excess)).exp();
            for row in &mut one.solution.covariance {
                for element in row {
                    *element *= excess;
                }
            }
        }
        all
    }

    /// The curve taken apart at a moment, none before there are bins enough.
    #[must_use]
    pub fn fit(&self, at: Time) -> Option<Fit> {
        let all = self.weighed();
        let term = |term: usize| {
            average(&all, |one| {
                let mut x = [0.0; TERMS];
                x[term] = self.regressors(one.exponent, at)[term];
                (one.solution.at(x), one.solution.variance_at(x))
            })
        };
        let (leakage, absorbing, charging) = (term(0)?, term(1)?, term(2)?);
        Some(Fit {
            leakage: amperes(leakage.0),
            leakage_uncertainty: amperes(leakage.1.sqrt() * COVERAGE),
            absorbing: amperes(absorbing.0),
            absorbing_uncertainty: amperes(absorbing.1.sqrt() * COVERAGE),
            charging: amperes(charging.0),
            exponent: average(&all, |one| (one.exponent, 0.0))?.0,
            separable: self.is_separable(),
        })
    }

    fn is_separable(&self) -> bool {
        let (Some(first), Some(last)) = (self.first, self.last) else { return false };
        let span = ((last.at + self.head_start) / (first.at + self.head_start)).value;
        SEPARABLE_SPAN <= span && last.current.abs() * SEPARABLE_FALL <= first.current.abs()
    }

    /// What will be read at `at`, none before there are bins enough.
    ///
    /// Information only, never a verdict (handbook §2.7): a part may still begin to climb.
    #[must_use]
    pub fn forecast(&self, at: Time) -> Option<Forecast> {
        let last = self.last?;
        let all = self.weighed();
        let (current, variance) = average(&all, |one| {
            let x = self.regressors(one.exponent, at);
            (one.solution.at(x), one.solution.variance_at(x))
        })?;
        let constant = average(&all, |one| (one.solution.coefficients[0], 0.0))?.0.max(0.0);
        let ahead = ((at + self.head_start) / (last.at + self.head_start)).value.max(1.0).ln();
        let settled = constant * (-self.nature.settling * ahead).exp();
        let fall = (last.current.value - current) * FALL_DOUBT;
        let current = current - constant + settled;
        let drift = current.abs() * DRIFT_DOUBT * ahead;
        let settling = settled * self.nature.settling_spread * ahead;
        let own = variance + last.uncertainty.value.powi(2);
        let doubt = own + fall.powi(2) + drift.powi(2) + settling.powi(2);
        let uncertainty = amperes(doubt.sqrt() * COVERAGE);
        Some(Forecast { current: amperes(current), uncertainty })
    }

    /// When its newest bin ended, if there is one.
    #[must_use]
    pub fn reaches(&self) -> Option<Time> {
        self.last.map(|point| point.at)
    }
}

/// Mean and variance of a value and its own variance over all exponents.
fn average(all: &[Weighed], value: impl Fn(&Weighed) -> (f64, f64)) -> Option<(f64, f64)> {
    let total: f64 = all.iter().map(|one| one.weight).sum();
    if all.is_empty() || total <= 0.0 {
        return None;
    }
    let mean = all.iter().map(|one| one.weight * value(one).0).sum::<f64>() / total;
    let spread = |one: &Weighed| {
        let (value, variance) = value(one);
        one.weight * (variance + (value - mean).powi(2))
    };
    Some((mean, all.iter().map(spread).sum::<f64>() / total))
}

#[cfg(test)]
mod tests;
