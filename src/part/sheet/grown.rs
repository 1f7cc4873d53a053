//! What of a limit grows with the part: the factor of its formula in SI units, if it is plausible.

use super::bounds;
use super::doubt::Why;
use super::item::{Of, Term, TermUnit};
use super::worth::Worth;
use super::{Convention, Reading};
use crate::part::LeakageRule;
use crate::part::formula::{Formula, Term as Grown};
use crate::quantity::{amperes, per_second};

/// What sheets count in.
pub(super) const MICRO: f64 = 1e-6;

impl Worth<'_> {
    pub(super) fn grown(&mut self, term: &Term, at: usize) -> Option<Grown> {
        if !self.line.rated {
            self.convention(Convention::RatedValues);
        }
        let unit = match term.unit {
            TermUnit::Own => 1.0,
            TermUnit::Current(scale) => scale,
            TermUnit::None => self.line.note.unwrap_or_else(|| {
                self.convention(Convention::ResultInMicroamperes);
                MICRO
            }),
        };
        let farads = match (term.unit, self.line.capacitance_unit) {
            (TermUnit::Own, _) => 1.0,
            (_, Some(scale)) => scale,
            (_, None) => {
                if term.of != Of::Capacitance {
                    self.convention(Convention::CapacitanceInMicrofarads);
                }
                MICRO
            }
        };
        // Milliamperes beside microfarads are three places off: C would have to be in mF.
        let coarse =
            MICRO < unit && term.unit != TermUnit::Own && self.line.capacitance_unit.is_none();
        if coarse {
            self.doubt_at(Why::Unit, at);
            self.as_factor(scaled(term.factor, MICRO / farads));
            self.as_factor(scaled(term.factor, unit / farads));
            return None;
        }
        let factor = scaled(term.factor, unit / farads);
        match term.of {
            Of::Product => self.factor(factor, term.factor, at),
            Of::Power(exponent) => {
                self.power(scaled(term.factor, unit / MICRO), exponent, farads, at)
            }
            Of::Capacitance => self.per_farad(factor, term, at),
        }
    }

    fn factor(&mut self, factor: f64, printed: f64, at: usize) -> Option<Grown> {
        let plausible = bounds::factor(self.line.dielectric);
        // The ends themselves are stated as decimals.
        if *plausible.end() * (1.0 + 1e-9) < factor {
            self.doubt_at(Why::LargeFactor, at);
            if let Ok(rule) = LeakageRule::formula(Formula::of(Grown::root(printed))) {
                self.read_as(&rule);
            }
            self.as_factor(factor);
            return None;
        }
        if factor < *plausible.start() * (1.0 - 1e-9) || factor.is_nan() {
            self.doubt_at(Why::SmallFactor, at);
            self.as_factor(factor);
            return None;
        }
        Some(Grown::Charge(per_second(factor)))
    }

    /// A reading that no sheet can mean but that the line says.
    fn as_factor(&mut self, factor: f64) {
        let current = amperes(factor * self.line.rating.charge().value);
        self.resolved.readings.push(Reading { formula: format!("{factor}CU"), current });
    }

    fn power(&mut self, factor: f64, exponent: f64, farads: f64, at: usize) -> Option<Grown> {
        if farads != MICRO
            || !bounds::POWER_FACTOR.contains(&factor)
            || !bounds::EXPONENT.contains(&exponent)
        {
            self.doubt_at(Why::OddPower, at);
            return None;
        }
        Some(Grown::Power { factor, exponent })
    }

    fn per_farad(&mut self, factor: f64, term: &Term, at: usize) -> Option<Grown> {
        if self.line.capacitance_unit.is_none() && term.unit != TermUnit::Own {
            self.doubt_at(Why::NoVoltage, at);
            self.as_factor(factor);
            return None;
        }
        if !bounds::PER_FARAD.contains(&factor) {
            self.doubt_at(Why::OddCurrent, at);
            return None;
        }
        Some(Grown::PerFarad(amperes(factor)))
    }
}

/// A printed number times a power of ten, without the odd last digits that 1e-6 would leave.
pub(super) fn scaled(value: f64, scale: f64) -> f64 {
    if scale < 1.0 { value / (1.0 / scale).round() } else { value * scale.round() }
}
