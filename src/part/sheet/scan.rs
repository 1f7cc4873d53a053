//! Walks over the tokens and says what each piece states.

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

/// A comparison that waits for its value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Compare {
    Below,
    UpTo,
    Above,
    From,
    NeedNotExceed,
}

impl Compare {
    pub(super) fn sense(self) -> Sense {
        match self {
            Self::Below | Self::UpTo => Sense::AtMost,
            Self::Above | Self::From => Sense::AtLeast,
            Self::NeedNotExceed => Sense::NeedNotExceed,
        }
    }
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

    /// Reads a comparison and keeps it for the value after it, or gives it to the one before.
    fn comparison(&mut self) -> bool {
        let Some((compare, length, reach)) = self.compare_here() else { return false };
        let postfix = reach == Reach::Back || reach == Reach::Either && !self.value_follows(length);
        let start = self.at;
        self.at += length;
        if postfix && self.give_back(compare.sense()) {
            return true;
        }
        if reach == Reach::Back {
            // A value of another kind, as in `100V以下`, has taken its word already.
            return true;
        }
        self.pending = Some(compare);
        debug_assert!(start < self.at);
        true
    }

    /// Whether a value stands directly after so many tokens.
    fn value_follows(&self, length: usize) -> bool {
        let mut ahead = length;
        while matches!(
            self.kind(ahead),
            Some(
                Kind::Mark(Mark::Dot | Mark::Open | Mark::Colon | Mark::Equal | Mark::Plus)
                    | Kind::Word(Word::Filler | Word::Of)
            )
        ) {
            ahead += 1;
        }
        matches!(self.kind(ahead), Some(Kind::Number(_)))
    }

    /// Gives a sense to the value before, across its unit.
    fn give_back(&mut self, sense: Sense) -> bool {
        let skip = |item: &&mut Item| matches!(item, Item::Note(_) | Item::Comma | Item::Pick(_));
        match self.said.items.iter_mut().rev().find(|item| !skip(item)) {
            Some(Item::Stated(stated)) => {
                stated.sense = Some(sense);
                true
            }
            _ => false,
        }
    }

    fn compare_here(&self) -> Option<(Compare, usize, Reach)> {
        let prefix = |compare, length| Some((compare, length, Reach::Forward));
        match self.kind(0)? {
            Kind::Mark(Mark::Below) => prefix(Compare::Below, 1),
            Kind::Mark(Mark::UpTo) => prefix(Compare::UpTo, 1),
            Kind::Mark(Mark::Above) => prefix(Compare::Above, 1),
            Kind::Mark(Mark::From) => prefix(Compare::From, 1),
            Kind::Word(word) => self.compare_word(word),
            Kind::Number(_) | Kind::Unit(_) | Kind::Symbol(_) | Kind::Mark(_) | Kind::Garbled => {
                None
            }
        }
    }

    fn compare_word(&self, word: Word) -> Option<(Compare, usize, Reach)> {
        let (compare, length, reach) = match word {
            Word::OrLess => (Compare::UpTo, 1, Reach::Back),
            Word::OrMore => (Compare::From, 1, Reach::Back),
            Word::LessThan => (Compare::Below, 1, Reach::Back),
            Word::MoreThan => (Compare::Above, 1, Reach::Back),
            Word::Min | Word::AtLeast => (Compare::From, 1, Reach::Either),
            Word::Max | Word::AtMost => (Compare::UpTo, 1, Reach::Either),
            Word::Least if self.value_follows(1) => (Compare::From, 1, Reach::Forward),
            Word::UpTo => {
                (Compare::UpTo, 1 + usize::from(self.is_word(1, Word::To)), Reach::Forward)
            }
            Word::Below => (Compare::Below, 1, Reach::Forward),
            Word::Need => return self.need_not(),
            Word::Not => return self.negated(),
            Word::Above | Word::Exceed => (Compare::Above, 1, Reach::Forward),
            Word::Or => return self.or_less(),
            Word::Greater | Word::More => return self.than(Compare::Above, Compare::From),
            Word::Smaller | Word::Less => return self.than(Compare::Below, Compare::UpTo),
            _ => return None,
        };
        Some((compare, length, reach))
    }

    /// `greater than`, `less than or equal to`, `kleiner gleich`.
    fn than(&self, strict: Compare, weak: Compare) -> Option<(Compare, usize, Reach)> {
        let mut length = 1;
        let mut compare = None;
        if self.is_word(length, Word::Or) && self.is_word(length + 1, Word::Equal) {
            length += 2;
            compare = Some(weak);
        } else if self.is_word(length, Word::Equal) {
            length += 1;
            compare = Some(weak);
        }
        if self.is_word(length, Word::Than) || self.is_word(length, Word::To) {
            length += 1;
            compare = compare.or(Some(strict));
        }
        let compare = compare?;
        if self.is_word(length, Word::Or) && self.is_word(length + 1, Word::Equal) {
            length += 2 + usize::from(self.is_word(length + 2, Word::To));
            return Some((weak, length, Reach::Forward));
        }
        Some((compare, length, Reach::Forward))
    }

    /// `or less`, `or more` after a value; not `or, whichever is less`.
    fn or_less(&self) -> Option<(Compare, usize, Reach)> {
        if self.is_word(2, Word::Of) || self.is_word(2, Word::Than) {
            return None;
        }
        match self.kind(1)? {
            Kind::Word(Word::Smaller | Word::Less) => Some((Compare::UpTo, 2, Reach::Back)),
            Kind::Word(Word::Greater | Word::More) => Some((Compare::From, 2, Reach::Back)),
            _ => None,
        }
    }

    fn skip_fillers(&self, mut ahead: usize) -> usize {
        while self.is_word(ahead, Word::Filler) || self.is_word(ahead, Word::To) {
            ahead += 1;
        }
        ahead
    }

    fn need_not(&self) -> Option<(Compare, usize, Reach)> {
        let not = self.skip_fillers(1);
        let exceed = self.skip_fillers(not + 1);
        (self.is_word(not, Word::Not) && self.is_word(exceed, Word::Exceed)).then_some((
            Compare::NeedNotExceed,
            exceed + 1,
            Reach::Forward,
        ))
    }

    /// `not more than`, `not less than`, `not to exceed`, `не более`, `nicht überschreiten`.
    fn negated(&self) -> Option<(Compare, usize, Reach)> {
        let next = self.skip_fillers(1);
        let compare = match self.kind(next)? {
            Kind::Word(Word::Greater | Word::More | Word::Above | Word::Exceed | Word::Plus) => {
                Compare::UpTo
            }
            Kind::Mark(Mark::Above) => Compare::UpTo,
            Kind::Word(Word::Smaller | Word::Less | Word::Below) | Kind::Mark(Mark::Below) => {
                Compare::From
            }
            _ => return None,
        };
        let than = [Word::Than, Word::Of, Word::To];
        let more = usize::from(than.iter().any(|word| self.is_word(next + 1, *word)));
        Some((compare, next + 1 + more, Reach::Either))
    }
}

/// Where the value of a comparison stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reach {
    Forward,
    Back,
    Either,
}

impl Scan<'_> {
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
