//! Limits that are a formula of C·U, with floor, addend and cap. Source: handbook §1.1, a to g and k.

use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::frequency::hertz;
use uom::si::ratio::ratio;

use super::rating::Rating;
use super::rule::{RuleError, not_negative, positive};
use crate::quantity::{Current, Rate, amperes, farads, per_second};

/// Least factor `k` of a `k·C·U` rule that a sheet can mean (handbook §1.3, plausibility gate).
pub const LEAST_FACTOR: f64 = 1e-7;
/// Greatest such factor, in 1/s: a larger one is most likely a root that lost its sign.
pub const GREATEST_FACTOR: f64 = 1.0;

/// A current from the rating: `min(cap, max(floor, term + addend))`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Formula {
    /// What grows with the part.
    pub term: Term,
    /// Added to the term; zero for none.
    pub addend: Current,
    /// The limit is at least this; zero for none.
    pub floor: Current,
    /// The limit is at most this.
    pub cap: Option<Current>,
}

/// What of a formula grows with the part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Term {
    /// `k·C·U` with `k` in 1/s.
    Charge(Rate),
    /// `k·(C·U)^p` with C in µF, U in V and the result in µA, as sheets print it; p = 0.5 is the root.
    Power {
        /// The factor `k` as printed.
        factor: f64,
        /// The exponent `p`, between 0 and 1.
        exponent: f64,
    },
    /// A current for each farad, whatever the voltage: the current of a part of 1 F.
    PerFarad(Current),
}

impl Formula {
    /// A term alone.
    #[must_use]
    pub fn of(term: Term) -> Self {
        Self { term, addend: Current::default(), floor: Current::default(), cap: None }
    }

    /// Whether a sheet can mean it.
    pub(super) fn check(&self) -> Result<(), RuleError> {
        match self.term {
            Term::Charge(rate) => check_rate(rate)?,
            Term::Power { factor, exponent } => check_power(factor, exponent)?,
            Term::PerFarad(current) => positive("a current per farad", current.get::<ampere>())?,
        }
        not_negative("an addend", self.addend)?;
        not_negative("a floor", self.floor)?;
        if let Some(cap) = self.cap {
            positive("a cap", cap.get::<ampere>())?;
            if cap < self.floor {
                return Err(RuleError::CapBelowFloor);
            }
        }
        Ok(())
    }

    /// The limit for a part of this rating.
    pub(super) fn limit(&self, rating: &Rating) -> Current {
        let sum = self.term.current(rating) + self.addend;
        // Floor, addend and cap are three things (handbook §1.3): 18.8 µA against 21.8 µA.
        let limit = sum.max(self.floor);
        self.cap.map_or(limit, |cap| limit.min(cap))
    }
}

impl Term {
    /// `k·√(C·U)` with C in µF, U in V and the result in µA.
    #[must_use]
    pub fn root(factor: f64) -> Self {
        Self::Power { factor, exponent: 0.5 }
    }

    fn current(self, rating: &Rating) -> Current {
        match self {
            Self::Charge(rate) => rate * rating.charge(),
            Self::Power { factor, exponent } => {
                let charge = rating.charge().get::<coulomb>();
                // Handbook §1.1: C in F, U in V and the result in A.
                amperes(factor * 10_f64.powf(6.0 * exponent - 6.0) * charge.powf(exponent))
            }
            Self::PerFarad(current) => {
                current * (rating.capacitance() / farads(1.0)).get::<ratio>()
            }
        }
    }
}

fn check_rate(rate: Rate) -> Result<(), RuleError> {
    if per_second(LEAST_FACTOR) <= rate && rate <= per_second(GREATEST_FACTOR) {
        Ok(())
    } else {
        Err(RuleError::Factor(rate.get::<hertz>()))
    }
}

fn check_power(factor: f64, exponent: f64) -> Result<(), RuleError> {
    positive("a factor", factor)?;
    if 0.0 < exponent && exponent < 1.0 { Ok(()) } else { Err(RuleError::Exponent(exponent)) }
}
