//! Pieces that begin with a number.

use super::compare::Compare;
use super::doubt::Why;
use super::item::{Amount, Item, Of, Span, Stated, Term, TermUnit, What};
use super::number::is;
use super::scan::Scan;
use super::token::{Kind, Mark, Print, Symbol, Unit, Word};

impl Scan<'_> {
    /// A number, powers of ten included; what is doubtful about its print is noted.
    pub(super) fn number(&mut self) -> Option<f64> {
        let Kind::Number(figure) = self.kind(0)? else { return None };
        if figure.print == Print::LeadingZero {
            self.doubt(Why::LostPoint);
        } else if figure.print == Print::Unsettled {
            self.doubt(Why::Thousands);
        }
        self.at += 1;
        let mut value = figure.value;
        if is(value, 10.0) && self.is_mark(0, Mark::Power) {
            self.at += 1;
            value = 10_f64.powf(self.signed()?);
        } else if self.is_mark(0, Mark::Times) && matches!(self.kind(1), Some(Kind::Number(_))) {
            value *= self.power_of_ten()?;
        }
        Some(value)
    }

    /// `× 10^4`; `× 104` may have lost the raised place.
    fn power_of_ten(&mut self) -> Option<f64> {
        self.at += 1;
        let Some(Kind::Number(figure)) = self.kind(0) else { return None };
        if is(figure.value, 10.0) && self.is_mark(1, Mark::Power) {
            self.at += 2;
            return Some(10_f64.powf(self.signed()?));
        }
        self.doubt(Why::FlatExponent);
        self.at += 1;
        Some(figure.value)
    }

    fn signed(&mut self) -> Option<f64> {
        let negative = self.take_mark(Mark::Minus);
        self.take_mark(Mark::Plus);
        let Some(Kind::Number(figure)) = self.kind(0) else {
            self.doubt(Why::Garbled);
            return None;
        };
        self.at += 1;
        Some(if negative { -figure.value } else { figure.value })
    }

    /// What begins with a number.
    pub(super) fn value(&mut self) {
        let at = self.place();
        let start = self.at;
        if self.chain(at) || self.voltages(at) || self.capacitances(at) {
            return;
        }
        let Some(mut value) = self.number() else {
            self.doubt_at(Why::Garbled, at);
            return;
        };
        let exact = self.at;
        self.tolerance();
        if exact < self.at && self.at_formula() {
            self.doubt_at(Why::Calculation, at);
        }
        let mut unit = TermUnit::None;
        if self.take_mark(Mark::Percent) || self.take_word(Word::Percent) {
            self.take_word(Word::Of);
            if !self.at_formula() {
                self.percentage(at);
                return;
            }
            value /= 100.0;
        } else if self.is_mark(0, Mark::Over) && matches!(self.kind(1), Some(Kind::Number(_))) {
            self.at += 1;
            value /= self.number().unwrap_or(f64::NAN);
            // `1/100 CV` divides; `1/2 min` gives two times.
            if !self.at_formula() {
                self.doubt_at(Why::Calculation, at);
            }
        } else if let Some(Kind::Unit(Unit::Current(scale))) = self.kind(0) {
            self.at += 1;
            if let Some(()) = self.own_unit(value, scale, at) {
                return;
            }
            if self.is_mark(0, Mark::Over)
                && matches!(self.kind(1), Some(Kind::Unit(_) | Kind::Symbol(_) | Kind::Garbled))
            {
                self.doubt_at(Why::Calculation, at);
            }
            let times = self.is_mark(0, Mark::Times);
            self.at += usize::from(times);
            if !(times && self.at_formula()) {
                self.at -= usize::from(times);
                self.amount(value, Some(scale), at);
                return;
            }
            unit = TermUnit::Current(scale);
        }
        self.after_number(value, unit, at, start);
    }

    fn percentage(&mut self, at: usize) {
        let refers = (0..4).any(|ahead| self.is_word(ahead, Word::Refers));
        self.doubt_at(if refers { Why::Refers } else { Why::Stray }, at);
        self.pending = None;
    }

    /// `± 5` or `±5 °C` after a value.
    fn tolerance(&mut self) {
        let unit = usize::from(matches!(self.kind(0), Some(Kind::Unit(_))));
        if self.is_mark(unit, Mark::PlusMinus)
            && matches!(self.kind(unit + 1), Some(Kind::Number(_)))
            && unit == 0
        {
            self.at += 2;
            if self.is_mark(0, Mark::Percent) {
                self.at += 1;
            }
        }
    }

    fn tolerance_of_temperature(&mut self) {
        if self.is_mark(0, Mark::PlusMinus) && matches!(self.kind(1), Some(Kind::Number(_))) {
            self.at += 2;
            if matches!(
                self.kind(0),
                Some(
                    Kind::Unit(_)
                        | Kind::Mark(Mark::Percent)
                        | Kind::Symbol(Symbol::LoneC | Symbol::LoneV)
                )
            ) {
                self.at += 1;
            }
        }
    }

    fn after_number(&mut self, value: f64, unit: TermUnit, at: usize, start: usize) {
        match self.kind(0) {
            Some(Kind::Unit(found)) if unit == TermUnit::None => {
                self.at += 1;
                return self.with_unit(value, found, at);
            }
            Some(Kind::Word(Word::Min)) => {
                self.at += 1;
                return self.span(value * 60.0, false, at);
            }
            Some(Kind::Symbol(Symbol::LoneC)) if self.is_temperature(value, start) => {
                self.at += 1;
                return self.celsius(value);
            }
            Some(Kind::Symbol(Symbol::LoneV)) if !self.at_formula() => {
                self.at += 1;
                self.tolerance_of_temperature();
                self.pending = None;
                self.say(Item::Measured(value));
                return;
            }
            _ => {}
        }
        if self.is_mark(0, Mark::Dot) && matches!(self.kind(1), Some(Kind::Unit(_))) {
            // `3.µA` may have lost a digit.
            self.doubt_at(Why::Garbled, at);
        }
        let times = self.take_mark(Mark::Times);
        if self.at_formula() {
            self.formula(value, unit, at);
        } else if times {
            self.doubt_at(Why::Calculation, at);
        } else if self.is_mark(0, Mark::Plus) && self.sum_follows() {
            self.at += 1;
            self.reversed_sum(value, at);
        } else {
            let bracket = self.is_mark(0, Mark::Open);
            let unit = self.unit_after();
            self.amount(value, unit, at);
            // A unit in brackets belongs to every value before it.
            if let Some(scale) = unit.filter(|_| bracket) {
                self.say(Item::Note(scale));
            }
        }
    }

    /// `12.5 uA MAX @ 25C`: degrees with the ring lost; `0.5C` is a formula.
    fn is_temperature(&self, value: f64, start: usize) -> bool {
        let whole = value.fract() == 0.0 && (15.0..=175.0).contains(&value);
        let product = match self.kind(1) {
            Some(Kind::Symbol(Symbol::Voltage | Symbol::LoneV) | Kind::Mark(Mark::Times)) => true,
            Some(Kind::Mark(Mark::Dot)) => matches!(self.kind(2), Some(Kind::Symbol(_))),
            _ => false,
        };
        let stated = self.said.items.iter().any(|item| matches!(item, Item::Stated(_)));
        let at_sign = start > 0
            && matches!(
                self.tokens[start - 1].kind,
                Kind::Mark(Mark::At | Mark::Comma | Mark::Plus | Mark::Semicolon)
                    | Kind::Word(Word::Filler)
            );
        whole && !product && (stated || at_sign)
    }

    fn sum_follows(&self) -> bool {
        matches!(self.kind(1), Some(Kind::Number(_)))
            && (2..5).any(|ahead| {
                matches!(
                    self.kind(ahead),
                    Some(
                        Kind::Symbol(Symbol::Capacitance | Symbol::LoneC) | Kind::Mark(Mark::Root)
                    )
                )
            })
            && !matches!(self.kind(3), Some(Kind::Unit(_)))
            && !self.before_celsius_at(1)
    }

    fn before_celsius_at(&self, ahead: usize) -> bool {
        matches!(self.kind(ahead + 1), Some(Kind::Unit(Unit::Celsius)))
    }

    /// `3 + 0.01CV`: the addend first.
    fn reversed_sum(&mut self, value: f64, at: usize) {
        self.add_before(Amount { value, unit: None }, at);
    }

    fn add_before(&mut self, amount: Amount, at: usize) {
        let count = self.said.items.len();
        self.value();
        let added = self.said.items.len() > count;
        match self.last_stated_term() {
            Some(term) if added && term.addend.is_none() => term.addend = Some(amount),
            _ => self.doubt_at(Why::Calculation, at),
        }
    }

    fn last_stated_term(&mut self) -> Option<&mut Term> {
        if matches!(self.said.items.last(), Some(Item::Note(_))) {
            return None;
        }
        self.last_term()
    }

    fn with_unit(&mut self, value: f64, unit: Unit, at: usize) {
        match unit {
            Unit::Current(scale) => self.amount(value, Some(scale), at),
            Unit::Resistance(ohms) => self.resistance(value * ohms, ohms, at),
            Unit::Time(seconds) => self.span(value * seconds, is(seconds, 1.0), at),
            Unit::Celsius => self.celsius(value),
            Unit::Voltage(scale) => {
                self.tolerance_of_temperature();
                self.pending = None;
                self.say(Item::Measured(value * scale));
            }
            Unit::Doubtful => {
                self.doubt_at(Why::Unit, at);
                self.pending = None;
            }
            Unit::Capacitance(_) | Unit::Charge(_) => self.doubt_at(Why::Stray, at),
        }
    }

    fn celsius(&mut self, value: f64) {
        self.tolerance_of_temperature();
        self.pending = None;
        self.say(Item::Celsius(value));
    }

    fn span(&mut self, seconds: f64, in_seconds: bool, at: usize) {
        self.tolerance_of_temperature();
        let sense = self.pending.take().map(Compare::sense);
        let after = std::mem::take(&mut self.after);
        self.say(Item::Time(Span { seconds, in_seconds, sense, after, at }));
    }

    fn amount(&mut self, value: f64, unit: Option<f64>, at: usize) {
        if unit.is_some() && self.is_mark(0, Mark::Plus) && self.sum_follows() {
            self.at += 1;
            return self.add_before(Amount { value, unit }, at);
        }
        let sense = self.take_sense();
        self.say(Item::Stated(Stated { what: What::Amount(Amount { value, unit }), sense, at }));
    }

    /// A resistance, or its product with a capacitance in any of the ways that it is joined.
    fn resistance(&mut self, ohms: f64, ohms_of_unit: f64, at: usize) {
        let start = self.at;
        let bracket = self.is_mark(0, Mark::Open) && self.product_unit_in(1);
        self.at += usize::from(bracket);
        let over = self.take_mark(Mark::Over) || self.take_word(Word::Per);
        while self.take_mark(Mark::Times)
            || self.take_mark(Mark::Minus)
            || self.take_mark(Mark::Dot)
        {}
        let what = match self.kind(0) {
            Some(Kind::Unit(Unit::Capacitance(_))) if over => {
                self.doubt_at(Why::Quotient, at);
                self.at += 1;
                What::TimeConstant(ohms * 1e-6)
            }
            Some(Kind::Unit(Unit::Capacitance(farads))) => {
                self.at += 1;
                // A millifarad beside an ohm is a µ that became an m.
                // Beside MΩ a plain F is a µF that lost its µ (handbook §1.3).
                if is(farads, 1e-3) || is(farads, 1.0) && 1.0 < ohms_of_unit {
                    self.doubt_at(Why::Unit, at);
                }
                What::TimeConstant(ohms * farads)
            }
            Some(Kind::Unit(Unit::Doubtful)) => {
                self.doubt(Why::Unit);
                self.at += 1;
                What::Resistance(ohms)
            }
            _ => {
                self.at = start;
                What::Resistance(ohms)
            }
        };
        let sense = self.take_sense();
        self.say(Item::Stated(Stated { what, sense, at }));
    }

    fn product_unit_in(&self, ahead: usize) -> bool {
        matches!(self.kind(ahead), Some(Kind::Mark(Mark::Times)))
            && matches!(self.kind(ahead + 1), Some(Kind::Unit(Unit::Capacitance(_))))
    }

    /// `µA/µF·V`, `nA/(µF·V)`, `µA/µC`, `µA per µF`: the factor has its own unit.
    fn own_unit(&mut self, value: f64, scale: f64, at: usize) -> Option<()> {
        if !(self.is_mark(0, Mark::Over) || self.is_word(0, Word::Per)) {
            return None;
        }
        let start = self.at;
        self.at += 1;
        let bracket = self.take_mark(Mark::Open);
        let found = self.basis();
        if bracket {
            self.take_mark(Mark::Close);
        }
        let Some((per, of)) = found else {
            self.at = start;
            return None;
        };
        // `0.01 µA/µF·V × C × V` repeats what it is a factor of.
        let after = self.at;
        self.take_mark(Mark::Times);
        if !(self.at_formula() && self.product().is_some()) {
            self.at = after;
        }
        let sense = self.take_sense();
        let factor = value * scale / per;
        let term = Term { factor, of, unit: TermUnit::Own, addend: None, bare_root: false };
        self.say(Item::Stated(Stated { what: What::Term(term), sense, at }));
        self.sum_own();
        Some(())
    }

    fn sum_own(&mut self) {
        if self.is_mark(0, Mark::Plus)
            && matches!(self.kind(1), Some(Kind::Number(_)))
            && let (Some(Kind::Number(figure)), Some(Kind::Unit(Unit::Current(scale)))) =
                (self.kind(1), self.kind(2))
        {
            self.at += 3;
            let amount = Amount { value: figure.value, unit: Some(scale) };
            if let Some(term) = self.last_term() {
                term.addend = Some(amount);
            }
        }
    }

    /// What stands below the stroke of a unit: farads times volts, coulombs, or farads alone.
    fn basis(&mut self) -> Option<(f64, Of)> {
        match self.kind(0)? {
            Kind::Unit(Unit::Charge(scale)) => {
                self.at += 1;
                Some((scale, Of::Product))
            }
            Kind::Unit(Unit::Capacitance(scale)) => {
                self.at += 1;
                let start = self.at;
                while self.take_mark(Mark::Times)
                    || self.take_mark(Mark::Over)
                    || self.take_mark(Mark::Minus)
                    || self.take_mark(Mark::Dot)
                {}
                let volts = matches!(
                    self.kind(0),
                    Some(Kind::Symbol(Symbol::LoneV) | Kind::Unit(Unit::Voltage(_)))
                );
                self.at = if volts { self.at + 1 } else { start };
                Some((scale, if volts { Of::Product } else { Of::Capacitance }))
            }
            _ => None,
        }
    }
}
