//! Pieces that begin with a symbol: formulas without a factor before them, conditions, legends.

use super::compare::Compare;
use super::doubt::Why;
use super::item::{Edge, Guard, Item, Label, On};
use super::number::is;
use super::scan::Scan;
use super::token::{Kin, Kind, Mark, Symbol, Unit, Word};

impl Scan<'_> {
    pub(super) fn symbol(&mut self, symbol: Symbol) {
        if self.legend(symbol) {
            return;
        }
        match symbol {
            Symbol::Current => self.current_symbol(),
            Symbol::Resistance => self.resistance_symbol(),
            Symbol::TimeConstant => {
                self.label(Label::TimeConstant);
                self.at += 1;
            }
            Symbol::Capacitance | Symbol::LoneC => self.capacitance_symbol(),
            Symbol::Voltage | Symbol::LoneV => self.voltage_symbol(),
        }
    }

    /// `I/(C·V) ≤ …` divides by the product; the limit carries its own unit.
    fn current_symbol(&mut self) {
        self.label(Label::Current);
        self.at += 1;
        if self.is_mark(0, Mark::Over) {
            self.at += 1;
            let start = self.at;
            if self.product().is_none() {
                self.at = start;
                self.doubt(Why::Calculation);
            }
        }
    }

    /// `R`, `R·C`, `Rins × CR`.
    fn resistance_symbol(&mut self) {
        self.at += 1;
        let start = self.at;
        while self.take_mark(Mark::Times)
            || self.take_mark(Mark::Minus)
            || self.take_mark(Mark::Dot)
        {}
        if matches!(self.kind(0), Some(Kind::Symbol(Symbol::Capacitance | Symbol::LoneC)))
            && !(self.at == start && self.tokens[self.at].apart)
        {
            self.at += 1;
            self.label(Label::TimeConstant);
        } else {
            self.at = start;
            self.label(Label::Resistance);
        }
    }

    fn capacitance_symbol(&mut self) {
        let at = self.place();
        if let Some((from, length)) = self.product_before_resistance() {
            self.at = from + length;
            self.label(Label::TimeConstant);
            return;
        }
        let start = self.at;
        let both = self.product().is_some_and(|product| product.has_voltage);
        let after = self.at;
        if let Some(compare) = self.take_compare() {
            let on = if both { On::Charge } else { On::Capacitance };
            if self.edge(on, compare, at) {
                return;
            }
            // `C·R ≥ 500 ΩF` and the like say a product of another kind.
            self.at = after;
            if !both {
                self.label(Label::TimeConstant);
                return;
            }
        }
        self.at = start;
        self.bare_product();
    }

    /// `C × R` with the capacitance first.
    fn product_before_resistance(&self) -> Option<(usize, usize)> {
        let times = usize::from(self.is_mark(1, Mark::Times));
        (self.kind(1 + times) == Some(Kind::Symbol(Symbol::Resistance)))
            .then_some((self.at, 2 + times))
    }

    fn voltage_symbol(&mut self) {
        let at = self.place();
        if matches!(
            self.kind(1),
            Some(Kind::Mark(Mark::Times) | Kind::Symbol(Symbol::Capacitance | Symbol::LoneC))
        ) {
            return self.bare_product();
        }
        self.at += 1;
        let after = self.at;
        if let Some(compare) = self.take_compare() {
            if self.edge(On::Voltage, compare, at) {
                return;
            }
            self.at = after;
            self.doubt(Why::Stray);
        } else if self.is_mark(0, Mark::Equal) || self.is_mark(0, Mark::Colon) {
            self.at += 1;
            if !matches!(self.kind(0), Some(Kind::Number(_))) {
                self.at = after;
                return;
            }
            if !self.voltages(at) {
                self.at = after;
            }
        } else {
            self.said.rated = true;
        }
    }

    /// A comparison right here, taken.
    pub(super) fn take_compare(&mut self) -> Option<Compare> {
        let compare = match self.kind(0)? {
            Kind::Mark(Mark::Below) | Kind::Word(Word::Below) => Compare::Below,
            Kind::Mark(Mark::UpTo) | Kind::Word(Word::UpTo) => Compare::UpTo,
            Kind::Mark(Mark::Above) | Kind::Word(Word::Above) => Compare::Above,
            Kind::Mark(Mark::From) => Compare::From,
            Kind::Word(Word::Greater | Word::More) => {
                return self.take_than(Compare::Above, Compare::From);
            }
            Kind::Word(Word::Smaller | Word::Less) => {
                return self.take_than(Compare::Below, Compare::UpTo);
            }
            Kind::Word(Word::Filler) if matches!(self.kind(1), Some(Kind::Word(_))) => {
                self.at += 1;
                let taken = self.take_compare();
                if taken.is_none() {
                    self.at -= 1;
                }
                return taken;
            }
            _ => return None,
        };
        self.at += 1;
        self.take_word(Word::To);
        Some(compare)
    }

    fn take_than(&mut self, strict: Compare, weak: Compare) -> Option<Compare> {
        let (compare, length) = self.than_length(strict, weak)?;
        self.at += length;
        Some(compare)
    }

    fn than_length(&self, strict: Compare, weak: Compare) -> Option<(Compare, usize)> {
        let than = |ahead| self.is_word(ahead, Word::Than) || self.is_word(ahead, Word::To);
        let or_equal =
            |ahead| self.is_word(ahead, Word::Or) && self.is_word(ahead + 1, Word::Equal);
        if than(1) && or_equal(2) {
            Some((weak, 4 + usize::from(self.is_word(4, Word::To))))
        } else if than(1) {
            Some((strict, 2))
        } else if or_equal(1) {
            Some((weak, 3 + usize::from(than(3))))
        } else {
            None
        }
    }

    /// The value of a condition after its comparison.
    fn edge(&mut self, on: On, compare: Compare, at: usize) -> bool {
        let start = self.at;
        let Some(value) = self.plain_value(on) else {
            self.at = start;
            return false;
        };
        let mut guard = Guard { on, low: None, high: None, only: Vec::new(), at };
        put_edge(&mut guard, compare, value);
        self.say(Item::Guard(guard));
        true
    }

    /// A number with the unit of a condition, in SI units.
    pub(super) fn plain_value(&mut self, on: On) -> Option<f64> {
        let value = self.number()?;
        let scale = match (on, self.kind(0)) {
            (On::Voltage, Some(Kind::Unit(Unit::Voltage(scale))))
            | (On::Capacitance, Some(Kind::Unit(Unit::Capacitance(scale))))
            | (On::Charge, Some(Kind::Unit(Unit::Charge(scale)))) => {
                self.at += 1;
                scale
            }
            (On::Voltage, Some(Kind::Symbol(Symbol::LoneV))) => {
                self.at += 1;
                1.0
            }
            (On::Charge, Some(Kind::Unit(Unit::Capacitance(scale)))) => {
                self.at += 1;
                while self.take_mark(Mark::Times) {}
                match self.kind(0) {
                    Some(Kind::Symbol(Symbol::LoneV) | Kind::Unit(Unit::Voltage(_))) => {
                        self.at += 1;
                    }
                    _ => return None,
                }
                scale
            }
            // C·U without a unit is counted in µF·V.
            (On::Charge, _) => 1e-6,
            _ => return None,
        };
        Some(value * scale)
    }

    pub(super) fn class(&mut self) {
        self.at += 1;
        let kin = match self.kind(0) {
            Some(Kind::Symbol(Symbol::Current) | Kind::Word(Word::One)) => Kin::CeramicOne,
            Some(Kind::Word(Word::Two)) => Kin::CeramicTwo,
            Some(Kind::Number(figure)) if is(figure.value, 1.0) => Kin::CeramicOne,
            Some(Kind::Number(figure)) if is(figure.value, 2.0) => Kin::CeramicTwo,
            _ => {
                self.doubt(Why::Class);
                return;
            }
        };
        self.say_kin(kin);
        self.at += 1;
    }

    pub(super) fn say_kin(&mut self, kin: Kin) {
        let at = self.place();
        let guard = Guard { on: On::Kin(kin), low: None, high: None, only: Vec::new(), at };
        self.say(Item::Guard(guard));
    }

    /// What a symbol is counted in: `C in µF`, `I: µA`, `C: rated capacitance (F)`, `V (V)`.
    fn legend(&mut self, symbol: Symbol) -> bool {
        let Some((unit, length)) = self.legend_unit() else { return false };
        let fits = match (symbol, unit) {
            (Symbol::Current, Kind::Unit(Unit::Current(scale))) => {
                self.say(Item::Note(scale));
                true
            }
            (Symbol::Capacitance | Symbol::LoneC, Kind::Unit(Unit::Capacitance(scale))) => {
                self.name_capacitance_unit(scale);
                true
            }
            (
                Symbol::Voltage | Symbol::LoneV,
                Kind::Symbol(Symbol::LoneV) | Kind::Unit(Unit::Voltage(_)),
            )
            | (
                Symbol::Resistance | Symbol::TimeConstant,
                Kind::Unit(Unit::Resistance(_) | Unit::Time(_)),
            ) => true,
            (_, Kind::Unit(Unit::Doubtful)) => {
                self.doubt(Why::Unit);
                true
            }
            _ => false,
        };
        if fits {
            self.at += length;
        }
        fits
    }

    pub(super) fn name_capacitance_unit(&mut self, scale: f64) {
        if self.said.capacitance_unit.is_some_and(|before| !is(before, scale)) {
            self.doubt(Why::TwoUnits);
        }
        self.said.capacitance_unit = Some(scale);
    }

    /// The unit that a legend names after the symbol here, and how many tokens it takes in all.
    fn legend_unit(&self) -> Option<(Kind, usize)> {
        let mut ahead = 1;
        let named = matches!(
            self.kind(1)?,
            Kind::Mark(Mark::Colon | Mark::Equal) | Kind::Word(Word::In | Word::Filler)
        );
        if named {
            while matches!(
                self.kind(ahead),
                Some(
                    Kind::Word(Word::Filler | Word::Rated | Word::In | Word::Of | Word::To)
                        | Kind::Mark(Mark::Colon | Mark::Equal)
                        | Kind::Symbol(Symbol::Current | Symbol::Resistance)
                )
            ) {
                ahead += 1;
            }
        }
        let bracket = self.is_mark(ahead, Mark::Open);
        ahead += usize::from(bracket);
        if bracket && self.is_word(ahead, Word::In) {
            ahead += 1;
        }
        let unit = self.kind(ahead)?;
        if !(named || bracket) || !matches!(unit, Kind::Unit(_) | Kind::Symbol(Symbol::LoneV)) {
            return None;
        }
        ahead += 1;
        if bracket {
            if !self.is_mark(ahead, Mark::Close) {
                return None;
            }
            ahead += 1;
        }
        Some((unit, ahead))
    }
}

/// Sets the end of a range that a comparison states.
pub(super) fn put_edge(guard: &mut Guard, compare: Compare, value: f64) {
    let edge = |included| Some(Edge { value, included });
    match compare {
        Compare::Below => guard.high = edge(false),
        Compare::UpTo | Compare::NeedNotExceed => guard.high = edge(true),
        Compare::Above => guard.low = edge(false),
        Compare::From => guard.low = edge(true),
    }
}
