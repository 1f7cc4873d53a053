//! How much a sound part may leak, as a function of its rating. Source: handbook §1.1.
//!
//! A rule states either a current (shapes a to g and k) or an insulation resistance (h to j), which
//! becomes a current at the measuring voltage. Sheets print factors beside µF, V and µA. One µF·V is
//! one µC, so that `k` of a `k·C·U` rule is a rate in 1/s and needs no power of ten; roots and powers
//! do (§1.1: `kSI = kµ · 10^(6p-6)`).
//!
//! The written form is in `notation`. Every rule here keeps its bounds: none gives a limit of zero
//! or none at all.

use uom::si::electric_current::ampere;
use uom::si::electrical_resistance::ohm;
use uom::si::ratio::ratio;
use uom::si::time::second;

use super::formula::{Formula, GREATEST_FACTOR, LEAST_FACTOR};
use super::rating::{MeasuringVoltage, Rating};
use crate::quantity::{
    Capacitance, Charge, Current, Resistance, Time, Voltage, coulombs, farads, volts,
};

/// How much a sound part may leak.
#[derive(Debug, Clone, PartialEq)]
pub struct LeakageRule(pub(super) Shape);

/// The forms that a rule takes. Invariant: values are such as the constructors accept.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    Constant(Current),
    Formula(Formula),
    Resistance(Resistance),
    TimeConstant(Time),
    Pick { pick: Pick, of: Vec<LeakageRule> },
    Switch { at: Threshold, upto: Box<LeakageRule>, above: Box<LeakageRule> },
    Multiple { factor: f64, of: Box<LeakageRule> },
}

/// Which of several rules holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pick {
    /// The smaller value: of resistances it allows the larger current (handbook §1.3).
    Smaller,
    /// The greater value: of resistances it allows the smaller current.
    Greater,
}

/// Up to where the first of two rules holds; the value itself belongs to the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Threshold {
    /// A rated capacitance.
    Capacitance(Capacitance),
    /// A rated voltage.
    Voltage(Voltage),
    /// A product C·U of the rated values.
    Charge(Charge),
}

/// What a rule states: a smaller value is the stricter of currents and the milder of resistances.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum States {
    Current,
    Resistance,
}

impl Threshold {
    /// Whether the first rule holds for this rating.
    ///
    /// A part in ten to the ninth is forgiven: 10 µF at 100 V are 1000 µC, but not in binary.
    fn covers(self, rating: &Rating) -> bool {
        let part = match self {
            Self::Capacitance(threshold) => rating.capacitance() / threshold,
            Self::Voltage(threshold) => rating.voltage() / threshold,
            Self::Charge(threshold) => rating.charge() / threshold,
        };
        part.get::<ratio>() <= 1.0 + 1e-9
    }

    fn is_positive(self) -> bool {
        let value = match self {
            Self::Capacitance(threshold) => threshold / farads(1.0),
            Self::Voltage(threshold) => threshold / volts(1.0),
            Self::Charge(threshold) => threshold / coulombs(1.0),
        };
        is_positive(value.get::<ratio>())
    }
}

impl LeakageRule {
    /// The same current for every rating.
    ///
    /// # Errors
    ///
    /// [`RuleError::NotPositive`] unless it is a number above zero.
    pub fn constant(current: Current) -> Result<Self, RuleError> {
        positive("a current", current.get::<ampere>())?;
        Ok(Self(Shape::Constant(current)))
    }

    /// A current that grows with the part.
    ///
    /// # Errors
    ///
    /// [`RuleError`] names the value that no sheet can mean.
    pub fn formula(formula: Formula) -> Result<Self, RuleError> {
        formula.check()?;
        Ok(Self(Shape::Formula(formula)))
    }

    /// A least insulation resistance.
    ///
    /// # Errors
    ///
    /// [`RuleError::NotPositive`] unless it is a number above zero.
    pub fn resistance(least: Resistance) -> Result<Self, RuleError> {
        positive("a resistance", least.get::<ohm>())?;
        Ok(Self(Shape::Resistance(least)))
    }

    /// A least product of insulation resistance and capacitance: s = Ω·F = MΩ·µF.
    ///
    /// # Errors
    ///
    /// [`RuleError::NotPositive`] unless it is a number above zero.
    pub fn time_constant(least: Time) -> Result<Self, RuleError> {
        positive("a time constant", least.get::<second>())?;
        Ok(Self(Shape::TimeConstant(least)))
    }

    /// The smaller or greater of several rules.
    ///
    /// # Errors
    ///
    /// [`RuleError::Few`] below two rules; [`RuleError::Mixed`] if some state currents and some
    /// resistances, since "smaller" would then mean two things.
    pub fn pick(pick: Pick, of: Vec<Self>) -> Result<Self, RuleError> {
        if of.len() < 2 {
            return Err(RuleError::Few);
        }
        // "Smaller" would be stricter of the one and milder of the other.
        let first = of[0].states();
        if of.iter().any(|rule| rule.states() != first) {
            return Err(RuleError::Mixed);
        }
        Ok(Self(Shape::Pick { pick, of }))
    }

    /// One rule up to a threshold and another above it.
    ///
    /// # Errors
    ///
    /// [`RuleError::Threshold`] unless the threshold is a number above zero; [`RuleError::Mixed`] if
    /// one rule states a current and the other a resistance.
    pub fn switch(at: Threshold, upto: Self, above: Self) -> Result<Self, RuleError> {
        if !at.is_positive() {
            return Err(RuleError::Threshold);
        }
        if upto.states() != above.states() {
            return Err(RuleError::Mixed);
        }
        Ok(Self(Shape::Switch { at, upto: Box::new(upto), above: Box::new(above) }))
    }

    /// So many times the current that another rule allows.
    ///
    /// # Errors
    ///
    /// [`RuleError::NotPositive`] unless the factor is a number above zero.
    pub fn multiple(factor: f64, of: Self) -> Result<Self, RuleError> {
        positive("a multiple", factor)?;
        Ok(Self(Shape::Multiple { factor, of: Box::new(of) }))
    }

    /// The highest current at which a part of this rating is still within.
    ///
    /// Formulas go by the rated values, whatever the measuring voltage (handbook §1.3); resistances
    /// by the measuring voltage (§1.1).
    #[must_use]
    pub fn limit(&self, rating: &Rating, measured_at: MeasuringVoltage) -> Current {
        match &self.0 {
            Shape::Constant(current) => *current,
            Shape::Formula(formula) => formula.limit(rating),
            Shape::Resistance(least) => measured_at.get() / *least,
            Shape::TimeConstant(least) => measured_at.get() / (*least / rating.capacitance()),
            Shape::Pick { pick, of } => {
                let limits = of.iter().map(|rule| rule.limit(rating, measured_at));
                self.picked(*pick, limits)
            }
            Shape::Switch { at, upto, above } => {
                let rule = if at.covers(rating) { upto } else { above };
                rule.limit(rating, measured_at)
            }
            Shape::Multiple { factor, of } => *factor * of.limit(rating, measured_at),
        }
    }

    fn picked(&self, pick: Pick, limits: impl Iterator<Item = Current>) -> Current {
        // At one voltage the smaller resistance lets through the larger current.
        let smallest_current = match self.states() {
            States::Current => pick == Pick::Smaller,
            States::Resistance => pick == Pick::Greater,
        };
        let pick = if smallest_current { Current::min } else { Current::max };
        limits.reduce(pick).unwrap_or_default()
    }

    /// Whether it is stated as an insulation resistance.
    pub(super) fn states_resistance(&self) -> bool {
        self.states() == States::Resistance
    }

    fn states(&self) -> States {
        match &self.0 {
            Shape::Constant(_) | Shape::Formula(_) | Shape::Multiple { .. } => States::Current,
            Shape::Resistance(_) | Shape::TimeConstant(_) => States::Resistance,
            Shape::Pick { of, .. } => of.first().map_or(States::Current, Self::states),
            Shape::Switch { upto, .. } => upto.states(),
        }
    }
}

/// Why values from a sheet make no rule.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RuleError {
    /// A value must be a number above zero.
    #[error("expected {what} above zero, came {value}")]
    NotPositive {
        /// What it is, with its article.
        what: &'static str,
        /// What came, in SI units.
        value: f64,
    },
    /// A value must be a number from zero up.
    #[error("expected {what} from zero up, came {value}")]
    Negative {
        /// What it is, with its article.
        what: &'static str,
        /// What came, in SI units.
        value: f64,
    },
    /// No sheet means this factor (1/s) of C·U.
    #[error(
        "expected a factor of CU from {LEAST_FACTOR} to {GREATEST_FACTOR} per second, came {0}"
    )]
    Factor(f64),
    /// No sheet means this exponent of C·U.
    #[error("expected an exponent between 0 and 1, came {0}")]
    Exponent(f64),
    /// The cap would always hold.
    #[error("expected a cap above the floor, came one below it")]
    CapBelowFloor,
    /// A threshold must be a number above zero.
    #[error("expected a threshold above zero, came one that is not")]
    Threshold,
    /// There is nothing to choose from.
    #[error("expected two rules or more to choose from, came fewer")]
    Few,
    /// Smaller and greater have no meaning between a current and a resistance.
    #[error("expected currents or resistances throughout, came both")]
    Mixed,
}

impl RuleError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::Factor(_) => {
                "a root sign may be lost, as in 3sqrt(CU); a percentage of CU is 0.01CU for 1 %"
            }
            Self::Exponent(_) => "write CU for the product itself and sqrt(CU) for its root",
            Self::Mixed => "give both as a current or both as a resistance",
            Self::NotPositive { .. }
            | Self::Negative { .. }
            | Self::CapBelowFloor
            | Self::Threshold
            | Self::Few => "look at the sheet again",
        }
    }
}

pub(super) fn positive(what: &'static str, value: f64) -> Result<(), RuleError> {
    if is_positive(value) { Ok(()) } else { Err(RuleError::NotPositive { what, value }) }
}

pub(super) fn not_negative(what: &'static str, current: Current) -> Result<(), RuleError> {
    let value = current.get::<ampere>();
    if value == 0.0 || is_positive(value) {
        Ok(())
    } else {
        Err(RuleError::Negative { what, value })
    }
}

fn is_positive(value: f64) -> bool {
    value.is_normal() && 0.0 < value
}

#[cfg(test)]
mod tests;
