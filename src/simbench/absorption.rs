//! Dielectric absorption as a ladder of series R-C branches.
//!
//! A voltage step `U` on a part must draw `β·C·U·t^(−n)`. The power law is a continuous sum of
//! exponentials, `t^(−n) = 1/Γ(n) · ∫ τ^(−n)·exp(−t/τ) d(ln τ)`; taking it at two time constants
//! a decade leaves a ripple of some 0.2 % (the size of Γ(n + 2πi/Δ)/Γ(n) with Δ = ln(10)/2).
//! Each branch then has `C_k = β·C·Δ·τ_k^(1−n)/Γ(n)`. Source of the law: handbook §2.1.

use arrayvec::ArrayVec;

/// Branches to a decade of time.
const PER_DECADE: i32 = 2;
/// Fastest branch, as a power of ten of seconds: below, absorption is not told from capacitance.
const FASTEST: i32 = -1;
/// Slowest branch, as a power of ten of seconds: twelve days.
const SLOWEST: i32 = 6;
/// How many branches there are.
pub(crate) const BRANCHES: usize = 15;

/// One series R-C branch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Branch {
    /// Capacitance (F).
    pub(crate) farad: f64,
    /// Time constant (s).
    pub(crate) tau: f64,
}

/// The branches of a part.
pub(crate) type Ladder = ArrayVec<Branch, BRANCHES>;

/// The branches that together draw `beta·farad·U·t^(−n)`; `beta` is in s^(n−1).
pub(crate) fn ladder(farad: f64, beta: f64, n: f64) -> Ladder {
    let spacing = std::f64::consts::LN_10 / f64::from(PER_DECADE);
    let scale = beta * farad * spacing / gamma(n);
    (FASTEST * PER_DECADE..=SLOWEST * PER_DECADE)
        .map(|step| 10_f64.powf(f64::from(step) / f64::from(PER_DECADE)))
        .map(|tau| Branch { farad: scale * tau.powf(1.0 - n), tau })
        .collect()
}

/// The gamma function for arguments above zero: pushed up by six, then Stirling's series.
fn gamma(x: f64) -> f64 {
    let below: f64 = (0..6).map(|step| x + f64::from(step)).product();
    let z = x + 6.0;
    let series = 1.0 / (12.0 * z) - 1.0 / (360.0 * z.powi(3));
    (std::f64::consts::TAU / z).sqrt() * (z / std::f64::consts::E).powf(z) * series.exp() / below
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::one(1.0, 1.0)]
    #[case::a_half(0.5, 1.772_453_851)]
    #[case::seven_tenths(0.7, 1.298_055_333)]
    #[case::four(4.0, 6.0)]
    fn gamma_has_its_known_values(#[case] x: f64, #[case] value: f64) {
        assert!((gamma(x) / value - 1.0).abs() < 1e-7, "{}", gamma(x));
    }

    #[rstest]
    #[case::tantalum(0.006, 1.0)]
    #[case::aluminium(0.03, 0.8)]
    #[case::steep(0.005, 1.1)]
    fn a_step_draws_the_power_law_within_two_per_cent(#[case] beta: f64, #[case] n: f64) {
        let ladder = ladder(22e-6, beta, n);
        for t in [1.0, 2.0, 5.0, 12.0, 60.0, 120.0, 300.0, 1000.0_f64] {
            let drawn: f64 = ladder
                .iter()
                .map(|branch| 25.0 * branch.farad / branch.tau * (-t / branch.tau).exp())
                .sum();
            let law = beta * 22e-6 * 25.0 * t.powf(-n);
            assert!((drawn / law - 1.0).abs() < 0.02, "{drawn} against {law} at {t} s");
        }
    }
}
