//! Walks over the tokens and says what each piece states.

use super::compare::Compare;
use super::doubt::{Doubt, Why};
use super::item::{Item, Label, Sense, What};
use super::token::{Kind, Mark, Symbol, Token, Unit, Word};
use crate::part::Pick;

/// Everything that a line says.
#[derive(Debug, Default)]
pub(super) struct Said {
    pub(super) items: Vec<Item>,
    /// The unit of C in farads, where the line names it.
    pub(super) capacitance_unit: Option<f64>,
    /// The rated voltage is named as the measuring one.
    pub(super) rated: bool,
    pub(super) doubts: Vec<Doubt>,
}

/// Says what the tokens state.
pub(super) fn scan(tokens: &[Token]) -> Said {
    let mut scan = Scan { tokens, at: 0, pending: None, after: false, said: Said::default() };
    while scan.at < tokens.len() {
        let before = scan.at;
        scan.step();
        // Every step goes forward, so that no line can hold the reader up.
        scan.at = scan.at.max(before + 1);
    }
    scan.said
}

pub(super) struct Scan<'a> {
    pub(super) tokens: &'a [Token],
    pub(super) at: usize,
    pub(super) pending: Option<Compare>,
    pub(super) after: bool,
    pub(super) said: Said,
}

impl Scan<'_> {
    pub(super) fn kind(&self, ahead: usize) -> Option<Kind> {
        self.tokens.get(self.at + ahead).map(|token| token.kind)
    }

    pub(super) fn place(&self) -> usize {
        self.tokens.get(self.at).or(self.tokens.last()).map_or(0, |token| token.at)
    }

    pub(super) fn is_mark(&self, ahead: usize, mark: Mark) -> bool {
        self.kind(ahead) == Some(Kind::Mark(mark))
    }

    pub(super) fn is_word(&self, ahead: usize, word: Word) -> bool {
        self.kind(ahead) == Some(Kind::Word(word))
    }

    pub(super) fn take_mark(&mut self, mark: Mark) -> bool {
        let taken = self.is_mark(0, mark);
        self.at += usize::from(taken);
        taken
    }

    pub(super) fn take_word(&mut self, word: Word) -> bool {
        let taken = self.is_word(0, word);
        self.at += usize::from(taken);
        taken
    }

    pub(super) fn doubt(&mut self, why: Why) {
        let at = Some(self.place());
        self.said.doubts.push(Doubt { why, at });
    }

    pub(super) fn doubt_at(&mut self, why: Why, at: usize) {
        self.said.doubts.push(Doubt { why, at: Some(at) });
    }

    pub(super) fn say(&mut self, item: Item) {
        self.said.items.push(item);
    }

    fn step(&mut self) {
        let Some(kind) = self.kind(0) else { return };
        match kind {
            Kind::Number(_) => self.value(),
            Kind::Unit(unit) => self.lone_unit(unit),
            Kind::Symbol(symbol) => self.symbol(symbol),
            Kind::Mark(mark) => self.mark(mark),
            Kind::Word(word) => self.word(word),
            Kind::Garbled => {
                self.doubt(Why::Garbled);
                self.at += 1;
            }
        }
    }

    fn lone_unit(&mut self, unit: Unit) {
        match unit {
            Unit::Current(scale) => self.say(Item::Note(scale)),
            Unit::Doubtful => self.doubt(Why::Unit),
            // A unit repeated in words or brackets, as in `3000 sec (MΩ x µF)`.
            Unit::Resistance(ohms) => return self.lone_product(ohms),
            Unit::Voltage(_) | Unit::Time(_) => {}
            Unit::Capacitance(_) | Unit::Charge(_) | Unit::Celsius => self.doubt(Why::Stray),
        }
        self.at += 1;
    }

    fn lone_product(&mut self, ohms: f64) {
        self.at += 1;
        while self.take_mark(Mark::Times) || self.take_mark(Mark::Minus) {}
        match self.kind(0) {
            Some(Kind::Unit(Unit::Capacitance(farads))) if (ohms * farads - 1.0).abs() < 1e-9 => {
                self.at += 1;
            }
            _ => self.doubt(Why::Unit),
        }
    }

    fn mark(&mut self, mark: Mark) {
        match mark {
            Mark::Open if self.skips_bracket() => return self.skip_bracket(),
            Mark::Comma => {
                self.pending = None;
                self.after = false;
                self.say(Item::Comma);
            }
            Mark::Semicolon | Mark::Bar => {
                self.pending = None;
                self.after = false;
                self.say(Item::Break);
            }
            Mark::Colon => self.pending = None,
            Mark::Below | Mark::UpTo | Mark::Above | Mark::From => {
                self.comparison();
                return;
            }
            Mark::Root => return self.bare_product(),
            Mark::Plus if self.before_celsius() => {}
            Mark::Minus if self.before_celsius() => return self.negative_celsius(),
            Mark::Open if self.opens_product() => return self.bare_product(),
            Mark::Plus | Mark::PlusMinus | Mark::Power | Mark::Times => {
                self.doubt(Why::Calculation);
            }
            Mark::Percent | Mark::Range => self.doubt(Why::Stray),
            Mark::Minus if self.between_amounts() => self.doubt(Why::Calculation),
            Mark::At
            | Mark::Dot
            | Mark::Open
            | Mark::Close
            | Mark::Equal
            | Mark::Over
            | Mark::Minus => {}
        }
        self.at += 1;
    }

    /// A minus before a number, other than a hyphen in words.
    fn between_amounts(&self) -> bool {
        matches!(self.kind(1), Some(Kind::Number(_)))
    }

    fn before_celsius(&self) -> bool {
        matches!(self.kind(1), Some(Kind::Number(_)))
            && matches!(self.kind(2), Some(Kind::Unit(Unit::Celsius) | Kind::Symbol(Symbol::LoneC)))
    }

    fn negative_celsius(&mut self) {
        if let Some(Kind::Number(figure)) = self.kind(1) {
            self.say(Item::Celsius(-figure.value));
        }
        self.at += 3;
    }

    /// A bracket with a typical value limits nothing.
    fn skips_bracket(&self) -> bool {
        self.tokens[self.at..]
            .iter()
            .take_while(|token| token.kind != Kind::Mark(Mark::Close))
            .any(|token| token.kind == Kind::Word(Word::Typical))
    }

    fn skip_bracket(&mut self) {
        while self.kind(0).is_some() && !self.take_mark(Mark::Close) {
            self.at += 1;
        }
    }

    fn word(&mut self, word: Word) {
        if self.comparison() {
            return;
        }
        match word {
            Word::Or => self.say(Item::Or),
            Word::And => self.say(Item::And),
            Word::Greater => self.say(Item::Pick(Pick::Greater)),
            Word::Smaller | Word::Least => self.say(Item::Pick(Pick::Smaller)),
            Word::After => self.after = true,
            Word::Root => return self.bare_product(),
            Word::Typical => self.doubt(Why::Typical),
            Word::Refers => self.doubt(Why::Refers),
            Word::Case => self.doubt(Why::Case),
            Word::Class => return self.class(),
            Word::Family(kin) => self.say_kin(kin),
            Word::Humidity | Word::Other => return self.other(),
            Word::Rated => self.said.rated = true,
            // `non-polar` negates nothing here.
            Word::Not if self.is_mark(1, Mark::Minus) => {}
            Word::Exceed | Word::Need | Word::Not => self.doubt(Why::Garbled),
            Word::Percent | Word::Per => self.doubt(Why::Calculation),
            _ => {}
        }
        self.at += 1;
    }

    /// Another property with its value: `ESR 2.2 Ω`, `rel. humidity ≤ 65 %`.
    fn other(&mut self) {
        self.at += 1;
        while let Some(kind) = self.kind(0) {
            let between = matches!(
                kind,
                Kind::Word(Word::Filler | Word::Max | Word::Of | Word::Humidity)
                    | Kind::Mark(
                        Mark::UpTo
                            | Mark::Below
                            | Mark::Equal
                            | Mark::Colon
                            | Mark::From
                            | Mark::Dot
                    )
            );
            if !between {
                break;
            }
            self.at += 1;
        }
        if matches!(self.kind(0), Some(Kind::Number(_))) {
            self.at += 1;
            if self.take_mark(Mark::PlusMinus) {
                self.at += 1;
            }
            if matches!(self.kind(0), Some(Kind::Unit(_) | Kind::Mark(Mark::Percent))) {
                self.at += 1;
            }
        }
        self.take_word(Word::Humidity);
    }

    pub(super) fn label(&mut self, label: Label) {
        self.say(Item::Label(label));
    }

    /// Takes the comparison that waits for a value.
    pub(super) fn take_sense(&mut self) -> Option<Sense> {
        self.pending.take().map(Compare::sense)
    }

    /// Whether the last piece is a stated formula, for a sum.
    pub(super) fn last_term(&mut self) -> Option<&mut super::item::Term> {
        match self.said.items.last_mut() {
            Some(Item::Stated(stated)) => match &mut stated.what {
                What::Term(term) => Some(term),
                What::Amount(_) | What::Resistance(_) | What::TimeConstant(_) => None,
            },
            _ => None,
        }
    }
}
