//! Conditions that begin with a value: chains, ranges, lists, and values with a comparison after.

use super::compare::Compare;
use super::item::{Edge, Guard, Item, On};
use super::scan::Scan;
use super::symbol::put_edge;
use super::token::{Kind, Mark, Symbol, Unit, Word};

impl Scan<'_> {
    /// `0.33 µF < C ≤ 10 µF`, `1000 < CV`: the value first.
    pub(super) fn chain(&mut self, at: usize) -> bool {
        let start = self.at;
        let doubts = self.said.doubts.len();
        if let Some(guard) = self.chain_here(at) {
            self.say(Item::Guard(guard));
            return true;
        }
        self.at = start;
        self.said.doubts.truncate(doubts);
        false
    }

    fn chain_here(&mut self, at: usize) -> Option<Guard> {
        let value = self.number()?;
        let (mut scale, mut unit_of) = (1e-6, On::Charge);
        match self.kind(0)? {
            Kind::Unit(Unit::Capacitance(farads)) => {
                (scale, unit_of) = (farads, On::Capacitance);
                self.at += 1;
            }
            Kind::Unit(Unit::Voltage(volts)) => {
                (scale, unit_of) = (volts, On::Voltage);
                self.at += 1;
            }
            Kind::Symbol(Symbol::LoneV) => {
                (scale, unit_of) = (1.0, On::Voltage);
                self.at += 1;
            }
            _ => {}
        }
        let compare = self.take_compare()?;
        let on =
            match self.kind(0)? {
                Kind::Symbol(Symbol::Voltage | Symbol::LoneV) => {
                    self.at += 1;
                    On::Voltage
                }
                Kind::Symbol(Symbol::Capacitance | Symbol::LoneC) => {
                    if self.product()?.has_voltage { On::Charge } else { On::Capacitance }
                }
                _ => return None,
            };
        if on != unit_of {
            return None;
        }
        let mut guard = Guard { on, low: None, high: None, only: Vec::new(), at };
        put_edge(&mut guard, mirrored(compare), value * scale);
        let after = self.at;
        if let Some(compare) = self.take_compare() {
            match self.plain_value(on) {
                Some(value) => put_edge(&mut guard, compare, value),
                None => self.at = after,
            }
        }
        Some(guard)
    }

    /// Voltages that say for which parts: `6.3 V to 25 V`, `160 to 450 V`, `35 V and 50 V`, `≤100 V`,
    /// `100 V:`, `100V以下`.
    pub(super) fn voltages(&mut self, at: usize) -> bool {
        self.range_of(On::Voltage, at)
    }

    pub(super) fn capacitances(&mut self, at: usize) -> bool {
        self.range_of(On::Capacitance, at)
    }

    fn range_of(&mut self, on: On, at: usize) -> bool {
        let start = self.at;
        let doubts = self.said.doubts.len();
        if let Some(guard) = self.range_here(on, at) {
            self.pending = None;
            self.say(Item::Guard(guard));
            return true;
        }
        self.at = start;
        self.said.doubts.truncate(doubts);
        false
    }

    fn range_here(&mut self, on: On, at: usize) -> Option<Guard> {
        let mut guard = Guard { on, low: None, high: None, only: Vec::new(), at };
        let start = self.at;
        let from = if let Some(value) = self.plain_value(on) {
            value
        } else {
            // The unit stands after the second number only: `160 to 450 V`.
            self.at = start;
            let number = self.number()?;
            if !self.range_sign() {
                return None;
            }
            let unit = self.unit_ahead(on)?;
            number * unit
        };
        self.direct_current_word();
        if self.range_sign() {
            let to = {
                self.skip_range_sign();
                self.plain_value(on)?
            };
            self.direct_current_word();
            guard.low = Some(Edge { value: from, included: true });
            guard.high = Some(Edge { value: to, included: true });
            return Some(guard);
        }
        if let Some(compare) = self.pending {
            put_edge(&mut guard, compare, from);
            return Some(guard);
        }
        if let Some((compare, length)) = self.compare_after() {
            self.at += length;
            put_edge(&mut guard, compare, from);
            return Some(guard);
        }
        guard.only = vec![from];
        while self.is_word(0, Word::And)
            || self.is_word(0, Word::Or)
            || self.is_mark(0, Mark::Comma)
        {
            let before = self.at;
            self.at += 1;
            if let Some(value) = self.plain_value(on) {
                guard.only.push(value);
            } else {
                self.at = before;
                break;
            }
        }
        let named = self.at > 1 && guard.only.len() > 1 || self.is_mark(0, Mark::Colon);
        let after_symbol = self.follows_symbol(start);
        (named || after_symbol && on == On::Capacitance).then_some(guard)
    }

    fn follows_symbol(&self, start: usize) -> bool {
        start > 1
            && matches!(self.tokens[start - 1].kind, Kind::Mark(Mark::Equal | Mark::Colon))
            && matches!(
                self.tokens[start - 2].kind,
                Kind::Symbol(Symbol::Voltage | Symbol::LoneV | Symbol::Capacitance | Symbol::LoneC)
            )
    }

    /// `V.DC`, `V DC`.
    fn direct_current_word(&mut self) {
        while self.is_mark(0, Mark::Dot)
            || self.is_word(0, Word::Filler) && !self.is_mark(1, Mark::Colon) && self.range_after(1)
        {
            self.at += 1;
        }
        if self.is_word(0, Word::Filler) && self.is_mark(1, Mark::Colon) {
            self.at += 1;
        }
    }

    fn range_after(&self, ahead: usize) -> bool {
        matches!(
            self.kind(ahead),
            Some(Kind::Word(Word::To) | Kind::Mark(Mark::Range | Mark::Minus))
        )
    }

    fn range_sign(&self) -> bool {
        self.range_after(0)
            || self.is_word(0, Word::UpTo)
            || self.is_mark(0, Mark::Dot) && self.is_mark(1, Mark::Dot)
    }

    fn skip_range_sign(&mut self) {
        while self.range_sign() || self.is_mark(0, Mark::Dot) {
            self.at += 1;
        }
    }

    /// The scale of the unit after the second number of a range.
    fn unit_ahead(&self, on: On) -> Option<f64> {
        let ahead = (0..4).find(|ahead| matches!(self.kind(*ahead), Some(Kind::Number(_))))? + 1;
        match (on, self.kind(ahead)?) {
            (On::Voltage, Kind::Unit(Unit::Voltage(scale)))
            | (On::Capacitance, Kind::Unit(Unit::Capacitance(scale))) => Some(scale),
            (On::Voltage, Kind::Symbol(Symbol::LoneV)) => Some(1.0),
            _ => None,
        }
    }

    /// A comparison after its value.
    fn compare_after(&self) -> Option<(Compare, usize)> {
        match self.kind(0)? {
            Kind::Word(Word::OrLess) => Some((Compare::UpTo, 1)),
            Kind::Word(Word::OrMore) => Some((Compare::From, 1)),
            Kind::Word(Word::LessThan) => Some((Compare::Below, 1)),
            Kind::Word(Word::MoreThan) => Some((Compare::Above, 1)),
            Kind::Word(Word::Or | Word::And) => match self.kind(1)? {
                Kind::Word(Word::Smaller | Word::Less | Word::Below) => Some((Compare::UpTo, 2)),
                Kind::Word(Word::Greater | Word::More | Word::Above) => Some((Compare::From, 2)),
                _ => None,
            },
            _ => None,
        }
    }
}

fn mirrored(compare: Compare) -> Compare {
    match compare {
        Compare::Below => Compare::Above,
        Compare::UpTo | Compare::NeedNotExceed => Compare::From,
        Compare::Above => Compare::Below,
        Compare::From => Compare::UpTo,
    }
}
