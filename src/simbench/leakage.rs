//! How the current through a part's dielectric follows the voltage across it.
//!
//! Each law gives a current and its slope, because the integrator linearises at every step.
//! Numbers are SI (volts, amperes, siemens): this is the inner loop of the simulator.
//! Forms: handbook §2.3, and §2.9 for a part the wrong way round.

use serde::Deserialize;

/// Exponents are held at this size: e^60 is already far beyond any current that can flow here,
/// and the linearised step must not meet an infinity.
const LARGEST_EXPONENT: f64 = 60.0;

/// The exponential law is faded out below this share of the rating: an empty part is no source.
const FADE: f64 = 0.03;

/// Leakage current against voltage, as a parts file gives it. Currents are in microamperes.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(tag = "law", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Leakage {
    /// In proportion to the voltage: film, mica, surface films, most faults.
    Ohmic {
        /// Current at the rating (µA).
        rated_ua: f64,
    },
    /// `I·x·exp(s·(√x − 1))` with `x` the share of the rating: tantalum, ceramics.
    PooleFrenkel {
        /// Current at the rating (µA).
        rated_ua: f64,
        /// Steepness, 6 to 8 for tantalum.
        s: f64,
    },
    /// `I·exp(b·(x − 1))`, faded out near zero volts: wet aluminium.
    Exponential {
        /// Current at the rating (µA).
        rated_ua: f64,
        /// Steepness, 3 to 6.
        b: f64,
    },
    /// `I·exp((u − at)/slope)`: hard conduction above a knee. It holds a supply in current limit,
    /// and with a knee near one volt it is a wet aluminium part the wrong way round.
    Steep {
        /// Current at the knee (µA).
        there_ua: f64,
        /// Voltage of the knee (V).
        at_v: f64,
        /// Voltage that multiplies the current by e (V).
        slope_v: f64,
    },
}

impl Leakage {
    /// Voltage and slope (V) of the knee of hard conduction.
    pub(crate) fn knee(&self) -> Option<(f64, f64)> {
        match *self {
            Self::Steep { at_v, slope_v, .. } => Some((at_v, slope_v)),
            Self::Ohmic { .. } | Self::PooleFrenkel { .. } | Self::Exponential { .. } => None,
        }
    }

    /// Current (A) and slope (S) at `u` volts for a part rated `rated` volts.
    pub(crate) fn at(&self, u: f64, rated: f64) -> (f64, f64) {
        let size = u.abs();
        let (current_ua, slope_ua) = match *self {
            Self::Ohmic { rated_ua } => (rated_ua * size / rated, rated_ua / rated),
            Self::PooleFrenkel { rated_ua, s } => poole_frenkel(rated_ua, s, size / rated, rated),
            Self::Exponential { rated_ua, b } => {
                let grown = rated_ua * exp(b * (size / rated - 1.0));
                faded(grown, b / rated, size, FADE * rated)
            }
            Self::Steep { there_ua, at_v, slope_v } => {
                let grown = there_ua * exp((size - at_v) / slope_v);
                faded(grown, 1.0 / slope_v, size, FADE * at_v)
            }
        };
        (current_ua * 1e-6 * u.signum(), slope_ua * 1e-6)
    }
}

fn exp(exponent: f64) -> f64 {
    exponent.min(LARGEST_EXPONENT).exp()
}

fn poole_frenkel(rated_ua: f64, s: f64, share: f64, rated: f64) -> (f64, f64) {
    let root = share.sqrt();
    let factor = rated_ua * exp(s * (root - 1.0));
    (factor * share, factor * (1.0 + s * root / 2.0) / rated)
}

/// `grown` (with relative slope `rate` per volt) times `1 − exp(−u/width)`, and its slope.
fn faded(grown: f64, rate: f64, u: f64, width: f64) -> (f64, f64) {
    let rest = (-u / width).exp();
    (grown * (1.0 - rest), grown * (rate * (1.0 - rest) + rest / width))
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::a_quarter_of_the_rating(0.25, 0.0075)]
    #[case::half_the_rating(0.5, 0.064)]
    #[case::four_fifths_of_the_rating(0.8, 0.38)]
    #[case::nine_tenths_of_the_rating(0.9, 0.63)]
    #[case::the_rating_itself(1.0, 1.0)]
    #[case::ten_per_cent_above(1.1, 1.55)]
    fn tantalum_follows_the_handbook_row_for_s_of_seven(#[case] share: f64, #[case] ratio: f64) {
        let law = Leakage::PooleFrenkel { rated_ua: 1.0, s: 7.0 };
        let (current, _) = law.at(25.0 * share, 25.0);
        assert!((current * 1e6 / ratio - 1.0).abs() < 0.02, "{current} against {ratio} µA");
    }

    #[rstest]
    #[case::half_the_rating(0.5, 0.135_335)]
    #[case::the_rating_itself(1.0, 1.0)]
    #[case::a_tenth_above(1.1, 1.491_825)]
    fn aluminium_follows_exp_of_four_times_the_excess(#[case] share: f64, #[case] ratio: f64) {
        let law = Leakage::Exponential { rated_ua: 3.0, b: 4.0 };
        let (current, _) = law.at(50.0 * share, 50.0);
        assert!((current * 1e6 / (3.0 * ratio) - 1.0).abs() < 1e-5, "{current}");
    }

    #[test]
    fn a_reversed_aluminium_part_grows_by_e_every_four_tenths_of_a_volt() {
        let law = Leakage::Steep { there_ua: 1.0, at_v: 1.2, slope_v: 0.4 };
        let (knee, _) = law.at(1.2, 25.0);
        let (above, _) = law.at(1.6, 25.0);
        assert!((above / knee - std::f64::consts::E).abs() < 1e-6);
    }

    #[rstest]
    #[case::ohmic(Leakage::Ohmic { rated_ua: 2.0 })]
    #[case::poole_frenkel(Leakage::PooleFrenkel { rated_ua: 2.0, s: 7.0 })]
    #[case::exponential(Leakage::Exponential { rated_ua: 2.0, b: 4.0 })]
    #[case::steep(Leakage::Steep { there_ua: 5000.0, at_v: 21.0, slope_v: 0.3 })]
    fn the_slope_is_the_derivative_and_zero_volts_carry_nothing(#[case] law: Leakage) {
        for u in [0.4, 3.0, 12.0, 20.5, 27.0] {
            let (low, high) = (law.at(u - 1e-6, 25.0).0, law.at(u + 1e-6, 25.0).0);
            let slope = (high - low) / 2e-6;
            let said = law.at(u, 25.0).1;
            assert!((slope - said).abs() <= 1e-4 * said + 1e-16, "{slope} against {said} at {u} V");
        }
        assert!(law.at(0.0, 25.0).0.abs() < f64::EPSILON);
        assert!((law.at(-7.0, 25.0).0 + law.at(7.0, 25.0).0).abs() < f64::EPSILON);
    }
}
