//! Comparisons, before or after the value that they compare with.

use super::item::{Item, Sense};
use super::scan::Scan;
use super::token::{Kind, Mark, Word};

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

/// Where the value of a comparison stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reach {
    Forward,
    Back,
    Either,
}

impl Scan<'_> {
    /// Reads a comparison and keeps it for the value after it, or gives it to the one before.
    pub(super) fn comparison(&mut self) -> bool {
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
