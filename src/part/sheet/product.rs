//! Formulas of C·U: products, roots and powers, with what is added.

use super::doubt::Why;
use super::item::{Amount, Item, Of, Stated, Term, TermUnit, What};
use super::scan::Scan;
use super::token::{Kind, Mark, Symbol, Unit, Word};

/// A product of symbols.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Product {
    pub(super) has_capacitance: bool,
    pub(super) has_voltage: bool,
}

/// What stands before a product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Leading {
    Factor,
    Nothing,
}

/// How a formula goes by the rating.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Shape {
    of: Of,
    bare_root: bool,
}

impl Scan<'_> {
    /// `C·V`, `CR × UR`, `(C U)`, `CR/µF · VR/V`; each symbol once.
    pub(super) fn product(&mut self) -> Option<Product> {
        if self.is_mark(0, Mark::Open) && self.opens_product() {
            self.at += 1;
            let product = self.symbols();
            self.at += usize::from(self.is_mark(0, Mark::Close));
            return product;
        }
        self.symbols()
    }

    fn symbols(&mut self) -> Option<Product> {
        let mut product = Product { has_capacitance: false, has_voltage: false };
        loop {
            let start = self.at;
            let joined = self.take_mark(Mark::Times) || self.take_mark(Mark::Dot);
            self.take_mark(Mark::Root);
            let found = match self.kind(0) {
                Some(Kind::Symbol(Symbol::Capacitance | Symbol::LoneC)) => {
                    &mut product.has_capacitance
                }
                Some(Kind::Symbol(Symbol::Voltage | Symbol::LoneV)) => &mut product.has_voltage,
                _ => {
                    self.at = start;
                    break;
                }
            };
            if *found || (joined && start == self.at) {
                self.at = start;
                break;
            }
            *found = true;
            self.at += 1;
            self.unit_of_symbol();
        }
        (product.has_capacitance).then_some(product)
    }

    /// The unit that a symbol in a product is counted in: `C(µF)`, `CR/µF`.
    fn unit_of_symbol(&mut self) {
        let slash = self.is_mark(0, Mark::Over);
        let bracket = self.is_mark(0, Mark::Open) && self.is_mark(2, Mark::Close);
        if !slash && !bracket {
            return;
        }
        match self.kind(1) {
            Some(Kind::Unit(Unit::Capacitance(scale))) => self.name_capacitance_unit(scale),
            Some(Kind::Unit(Unit::Voltage(_)) | Kind::Symbol(Symbol::LoneV)) => {}
            _ => return,
        }
        self.at += if bracket { 3 } else { 2 };
    }

    /// Whether a bracket here holds a product of symbols and nothing else.
    pub(super) fn opens_product(&self) -> bool {
        if !self.is_mark(0, Mark::Open) {
            return false;
        }
        let (mut ahead, mut capacitance) = (1, false);
        loop {
            match self.kind(ahead) {
                Some(Kind::Symbol(symbol)) => {
                    capacitance |= matches!(symbol, Symbol::Capacitance | Symbol::LoneC);
                    if matches!(symbol, Symbol::Current | Symbol::Resistance | Symbol::TimeConstant)
                    {
                        return false;
                    }
                }
                Some(
                    Kind::Mark(Mark::Times | Mark::Over | Mark::Dot)
                    | Kind::Unit(Unit::Capacitance(_) | Unit::Voltage(_)),
                ) => {}
                Some(Kind::Mark(Mark::Close)) => return capacitance && 2 < ahead,
                _ => return false,
            }
            ahead += 1;
        }
    }

    /// Whether a formula of the rating begins here.
    pub(super) fn at_formula(&self) -> bool {
        match self.kind(0) {
            Some(
                Kind::Mark(Mark::Root)
                | Kind::Word(Word::Root)
                | Kind::Symbol(Symbol::Capacitance | Symbol::LoneC),
            ) => true,
            Some(Kind::Mark(Mark::Open)) => self.opens_product(),
            Some(Kind::Symbol(Symbol::Voltage | Symbol::LoneV)) => self.voltage_leads(),
            _ => false,
        }
    }

    /// `V·C`: the voltage first.
    fn voltage_leads(&self) -> bool {
        let ahead = 1 + usize::from(self.is_mark(1, Mark::Times));
        matches!(self.kind(ahead), Some(Kind::Symbol(Symbol::Capacitance | Symbol::LoneC)))
            && (ahead == 2 || !self.tokens[self.at + ahead].apart)
    }

    /// A formula with no factor before it: `CV/100`, `C·V × 0.01`, `√(CV)`.
    pub(super) fn bare_product(&mut self) {
        let at = self.place();
        let before = self.said.doubts.len();
        if !self.formula_with(1.0, Leading::Nothing, TermUnit::None, at)
            && self.said.doubts.len() == before
        {
            self.doubt(Why::Stray);
            self.at += 1;
        }
    }

    /// Reads the formula here with the factor before it.
    pub(super) fn formula(&mut self, factor: f64, unit: TermUnit, at: usize) -> bool {
        self.formula_with(factor, Leading::Factor, unit, at)
    }

    fn formula_with(&mut self, factor: f64, leading: Leading, unit: TermUnit, at: usize) -> bool {
        let start = self.at;
        let Some(shape) = self.shape() else {
            self.at = start;
            return false;
        };
        let mut term =
            Term { factor, of: shape.of, unit, addend: None, bare_root: shape.bare_root };
        self.scaled(&mut term, leading);
        if term.unit == TermUnit::None {
            term.unit = self.unit_after().map_or(TermUnit::None, TermUnit::Current);
        }
        term.addend = self.addend();
        let sense = self.take_sense();
        self.say(Item::Stated(Stated { what: What::Term(term), sense, at }));
        self.note_addend(&term);
        true
    }

    /// A division or multiplication after a product that has no factor before it.
    fn scaled(&mut self, term: &mut Term, leading: Leading) {
        let over = self.is_mark(0, Mark::Over);
        let factor = matches!(self.kind(1), Some(Kind::Number(_)));
        if !factor || !(over || self.is_mark(0, Mark::Times)) || self.condition_at(2) {
            return;
        }
        if leading == Leading::Factor {
            return self.doubt(Why::Calculation);
        }
        self.at += 1;
        let number = self.number().unwrap_or(f64::NAN);
        term.factor = if over { term.factor / number } else { term.factor * number };
    }

    /// A unit of time, voltage or temperature: its number is no factor.
    fn condition_at(&self, ahead: usize) -> bool {
        matches!(
            self.kind(ahead),
            Some(
                Kind::Unit(Unit::Time(_) | Unit::Voltage(_) | Unit::Celsius)
                    | Kind::Word(Word::Min)
                    | Kind::Symbol(Symbol::LoneV)
            )
        )
    }

    fn shape(&mut self) -> Option<Shape> {
        let rooted = self.take_mark(Mark::Root) || self.take_word(Word::Root);
        if rooted {
            while self.take_word(Word::Of) || self.take_word(Word::Filler) {}
        }
        let bracket = self.is_mark(0, Mark::Open);
        let product = self.product()?;
        let mut of = match (product.has_voltage, rooted) {
            (true, true) => Of::Power(0.5),
            (true, false) => Of::Product,
            (false, false) => Of::Capacitance,
            (false, true) => {
                self.doubt(Why::NoVoltage);
                return None;
            }
        };
        if self.take_mark(Mark::Power) {
            let exponent = self.exponent()?;
            if !bracket || rooted {
                self.doubt(Why::Exponent);
            }
            of = Of::Power(exponent);
        }
        Some(Shape { of, bare_root: rooted && !bracket })
    }

    /// `0.7`, `1/2`, `(0.5)`.
    fn exponent(&mut self) -> Option<f64> {
        let bracket = self.take_mark(Mark::Open);
        let mut exponent = self.number()?;
        if self.take_mark(Mark::Over) {
            exponent /= self.number()?;
        }
        if bracket {
            self.take_mark(Mark::Close);
        }
        Some(exponent)
    }

    /// The unit directly after a formula, bare or in brackets.
    pub(super) fn unit_after(&mut self) -> Option<f64> {
        if let Some(Kind::Unit(Unit::Current(scale))) = self.kind(0) {
            self.at += 1;
            return Some(scale);
        }
        match (self.kind(0), self.kind(1), self.kind(2)) {
            (
                Some(Kind::Mark(Mark::Open)),
                Some(Kind::Unit(Unit::Current(scale))),
                Some(Kind::Mark(Mark::Close)),
            ) => {
                self.at += 3;
                Some(scale)
            }
            _ => None,
        }
    }

    /// `+ 3 µA`, `plus 3`; not `+20 °C`.
    fn addend(&mut self) -> Option<Amount> {
        let plus = self.is_mark(0, Mark::Plus) || self.is_word(0, Word::Plus);
        if !plus {
            return None;
        }
        let start = self.at;
        self.at += 1;
        let amount = self.number().and_then(|value| match self.kind(0) {
            Some(Kind::Unit(Unit::Current(_)) | Kind::Mark(Mark::Open)) | None => {
                Some(Amount { value, unit: self.unit_after() })
            }
            Some(
                Kind::Unit(_)
                | Kind::Symbol(_)
                | Kind::Number(_)
                | Kind::Garbled
                | Kind::Word(Word::Min)
                | Kind::Mark(
                    Mark::Times
                    | Mark::Root
                    | Mark::Over
                    | Mark::Power
                    | Mark::Percent
                    | Mark::PlusMinus,
                ),
            ) => None,
            Some(Kind::Word(_) | Kind::Mark(_)) => Some(Amount { value, unit: None }),
        });
        if amount.is_none() {
            self.at = start;
        }
        amount
    }

    /// A unit printed with the addend alone stands for the whole sum in brackets only.
    fn note_addend(&mut self, term: &Term) {
        let after_bracket = self.at > 0 && self.tokens[self.at - 1].kind == Kind::Mark(Mark::Close);
        if let Some(Amount { unit: Some(scale), .. }) = term.addend
            && term.unit == TermUnit::None
            && after_bracket
        {
            self.say(Item::Note(scale));
        }
    }
}
