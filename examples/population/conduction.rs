//! What flows through a part for good: leakage over voltage, time and temperature, and what a
//! fault adds to it.

/// How leakage rises with voltage (handbook §2.3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Law {
    /// With U.
    Ohmic,
    /// With U·exp(s·√U).
    PooleFrenkel(f64),
    /// With exp(b·U).
    Exponential(f64),
    /// With a power of U.
    Power(f64),
}

impl Law {
    /// Current and its slope at a share of the voltage, both 1 and in proportion at the full one.
    fn at(self, share: f64) -> (f64, f64) {
        let x = share.abs().max(1e-6);
        let (value, slope) = match self {
            Self::Ohmic => (x, 1.0),
            Self::PooleFrenkel(s) => {
                let value = x * (s * (x.sqrt() - 1.0)).exp();
                (value, value * (1.0 / x + s / (2.0 * x.sqrt())))
            }
            Self::Exponential(b) => {
                let whole = b.exp_m1();
                ((b * x).exp_m1() / whole, b * (b * x).exp() / whole)
            }
            Self::Power(power) => (x.powf(power), power * x.powf(power - 1.0)),
        };
        (value.copysign(share), slope)
    }
}

/// How leakage falls in the first minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Settling {
    /// Not at all.
    Steady,
    /// A share of it is spent on mending the oxide: `(1−f) + f·((1+t_r/τ)/(1+t/τ))^0.8`
    /// (handbook §2.9).
    Reforming {
        /// f.
        share: f64,
        /// τ, s.
        constant: f64,
        /// `t_r`, s.
        reading_time: f64,
    },
    /// A dry or freshly soldered polymer: 1 + x·exp(−(t/τ)^b), a stretched exponential.
    Dry {
        /// x.
        excess: f64,
        /// τ, s.
        constant: f64,
        /// b.
        stretch: f64,
    },
    /// Stored for years: from x times what it ends at, falling as 1/(1+t/τ).
    Unformed {
        /// x.
        excess: f64,
        /// τ, s.
        constant: f64,
    },
}

impl Settling {
    fn factor(self, time: f64) -> f64 {
        match self {
            Self::Steady => 1.0,
            Self::Reforming { share, constant, reading_time } => {
                let fall = (1.0 + reading_time / constant) / (1.0 + time / constant);
                (1.0 - share) + share * fall.powf(0.8)
            }
            Self::Dry { excess, constant, stretch } => {
                1.0 + excess * (-(time / constant).powf(stretch)).exp()
            }
            Self::Unformed { excess, constant } => 1.0 + excess / (1.0 + time / constant),
        }
    }
}

/// How leakage rises with time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Climb {
    /// Not at all.
    Never,
    /// From `start` on: 1 + ((t−start)/span)^power.
    Late {
        /// When it begins, s after full voltage.
        start: f64,
        /// Time to the double, s.
        span: f64,
        /// How it curves.
        power: f64,
    },
    /// From the beginning: exp(t/τ), up to a factor at which the part burns.
    Runaway {
        /// τ, s.
        constant: f64,
    },
}

/// A runaway ends when there is no more to run away.
const BURNT: f64 = 1e4;

impl Climb {
    /// What leakage is multiplied by, a time after full voltage.
    pub(crate) fn factor(self, time: f64) -> f64 {
        match self {
            Self::Never => 1.0,
            Self::Late { start, .. } if time <= start => 1.0,
            Self::Late { start, span, power } => 1.0 + ((time - start) / span).powf(power),
            Self::Runaway { constant } => (time / constant).exp().min(BURNT),
        }
    }
}

/// A polarised part in the clip the wrong way round (handbook §2.9).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Reversal {
    /// Aluminium: steep above 1.2 V until the cathode foil has formed.
    Aluminium {
        /// Time in which it forms, s.
        constant: f64,
    },
    /// Tantalum: steep from the start, growing, and a short above some voltage.
    Tantalum {
        /// Voltage at which it gives way, V.
        breaks_at: f64,
    },
}

/// Resistance of a part that gave way, Ω.
const BROKEN: f64 = 10.0;
/// Exponents are cut off here: the supply's current limit has long taken over.
const STEEPEST: f64 = 40.0;

/// All that a part conducts.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Conduction {
    /// Leakage at full voltage, reading time and reference temperature, climbs apart, A.
    pub(crate) base: f64,
    /// The voltage that this is for, V.
    pub(crate) volt: f64,
    /// How it rises with voltage.
    pub(crate) law: Law,
    /// Kelvins that double it.
    pub(crate) doubling: f64,
    /// How it falls.
    pub(crate) settling: Settling,
    /// How it rises.
    pub(crate) climb: Climb,
    /// Resistance beside it, S.
    pub(crate) siemens: f64,
    /// How it conducts the wrong way round, with its capacitance in F.
    pub(crate) reversed: Option<(Reversal, f64)>,
}

impl Conduction {
    /// Current (A) and slope (S) at a voltage, a time after full voltage and a room warmer than
    /// the reference; `scar` is what bursts have left.
    pub(crate) fn at(&self, volt: f64, time: f64, warmer: f64, scar: f64) -> (f64, f64) {
        let time = time.max(0.0);
        let warmth = (warmer / self.doubling).exp2();
        let size = self.base * scar * warmth;
        let size = size * self.settling.factor(time) * self.climb.factor(time);
        let (value, slope) = self.law.at(volt / self.volt);
        let (reversed, steep) = self.backwards(volt, time);
        let current = size * value + self.siemens * volt + reversed;
        (current, size * slope / self.volt + self.siemens + steep)
    }

    fn backwards(&self, volt: f64, time: f64) -> (f64, f64) {
        match self.reversed {
            None => (0.0, 0.0),
            Some((Reversal::Aluminium { constant }, farad)) => {
                let formed = (-time / constant).exp().max(1e-3);
                let exponent = ((volt - 1.2) / 0.4).min(STEEPEST);
                let current = 0.01 * farad * exponent.exp() * formed;
                (current, current / 0.4)
            }
            Some((Reversal::Tantalum { breaks_at }, _)) if breaks_at <= volt => {
                (volt / BROKEN, 1.0 / BROKEN)
            }
            Some((Reversal::Tantalum { .. }, farad)) => {
                let scale = 0.06 * self.volt;
                let exponent = (volt / scale).min(STEEPEST);
                let current = 0.01 * farad * self.volt * exponent.exp_m1();
                let current = current * (1.0 + time / 60.0).sqrt();
                (current, (current / scale).max(0.0))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    // Handbook §2.3: s = 7 gives 0.064, 0.38 and 0.63 at 50, 80 and 90 %.
    #[rstest]
    #[case::half(0.5, 0.064)]
    #[case::four_fifths(0.8, 0.38)]
    #[case::nine_tenths(0.9, 0.63)]
    fn tantalum_follows_the_worked_voltages(#[case] share: f64, #[case] factor: f64) {
        let (value, _) = Law::PooleFrenkel(7.0).at(share);
        assert!((value / factor - 1.0).abs() < 0.02, "{value}");
    }

    #[rstest]
    #[case::ohmic(Law::Ohmic)]
    #[case::poole_frenkel(Law::PooleFrenkel(6.0))]
    #[case::exponential(Law::Exponential(4.0))]
    #[case::power(Law::Power(1.5))]
    fn the_slope_of_a_law_is_that_of_its_value(#[case] law: Law) {
        let difference = (law.at(0.7 + 1e-6).0 - law.at(0.7 - 1e-6).0) / 2e-6;
        assert!((law.at(0.7).1 / difference - 1.0).abs() < 1e-6);
        assert!((law.at(1.0).0 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_reforming_part_is_at_its_own_value_at_the_reading_time() {
        let settling = Settling::Reforming { share: 0.5, constant: 20.0, reading_time: 120.0 };
        assert!((settling.factor(120.0) - 1.0).abs() < 1e-12);
        assert!(1.5 < settling.factor(1.0));
    }
}
