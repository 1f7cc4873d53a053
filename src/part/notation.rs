//! The written form of a rule, as it is typed and as it is shown.
//!
//! ```text
//! rule      = current                                   2 µA
//!           | term [+ current] [floor current] [cap current]
//!           | R resistance                              R 10 GΩ
//!           | RC time                                   RC 500 s
//!           | smaller(rule, rule…) | greater(rule, rule…)
//!           | upto(threshold, rule, rule)               the second rule holds above the threshold
//!           | number x(rule)                            10x(0.01CU floor 0.5 µA)
//! term      = number CU                                 0.01CU: number in 1/s, as printed beside µF, V, µA
//!           | number sqrt(CU) | number (CU)^number      3sqrt(CU), 0.3(CU)^0.7: C in µF, result in µA
//!           | current per capacitance                   40 µA/µF
//! threshold = capacitance | voltage | charge            0.33 µF, 100 V, 1000 µC
//! ```
//!
//! `CV` may be written for `CU`. Between digits a comma is a decimal mark; elsewhere it parts the rules.
//! This is a form of our own with one meaning each: what data sheets print is not read here.

use uom::si::electric_current::ampere;
use uom::si::frequency::hertz;

use super::cursor::{Cursor, NotationError};
use super::formula::{Formula, Term};
use super::rule::{LeakageRule, Pick, RuleError, Shape, Threshold};
use crate::quantity::text::exact;
use crate::quantity::{Current, amperes, per_second, read};

/// Rules within rules that are read; deeper ones are refused before the stack ends.
const GREATEST_DEPTH: u8 = 8;

impl LeakageRule {
    /// Reads a rule in its written form: `0.01CU floor 0.5uA`, `R 10Gohm`.
    ///
    /// # Errors
    ///
    /// [`NotationError`] with the byte at which the text stops making sense.
    pub fn read(text: &str) -> Result<Self, NotationError> {
        let mut cursor = Cursor::new(text);
        let rule = rule(&mut cursor)?;
        cursor.end("the end of the rule")?;
        Ok(rule)
    }
}

/// Reads the rule at the cursor.
pub(super) fn rule(cursor: &mut Cursor<'_>) -> Result<LeakageRule, NotationError> {
    nested(cursor, GREATEST_DEPTH)
}

fn nested(cursor: &mut Cursor<'_>, depth: u8) -> Result<LeakageRule, NotationError> {
    let Some(depth) = depth.checked_sub(1) else {
        return Err(cursor.unexpected("fewer rules within rules"));
    };
    let start = cursor.position();
    let made = if cursor.at_number() {
        by_number(cursor, depth)?
    } else if cursor.take_word("RC") {
        LeakageRule::time_constant(cursor.quantity(read::time)?)
    } else if cursor.take_word("R") {
        LeakageRule::resistance(cursor.quantity(read::resistance)?)
    } else if cursor.take_word("smaller") {
        LeakageRule::pick(Pick::Smaller, list(cursor, depth)?)
    } else if cursor.take_word("greater") {
        LeakageRule::pick(Pick::Greater, list(cursor, depth)?)
    } else if cursor.take_word("upto") {
        switch(cursor, depth)?
    } else {
        return Err(cursor.unexpected("a rule such as 0.01CU floor 0.5uA, R 10Gohm or RC 500s"));
    };
    made.map_err(|source| cursor.no_rule(start, source))
}

type Made = Result<LeakageRule, RuleError>;

/// A rule that begins with a number: what follows the number says which.
fn by_number(cursor: &mut Cursor<'_>, depth: u8) -> Result<Made, NotationError> {
    let start = cursor.position();
    // Whether it was to be a plain number shows only after it, and so whether its error counts.
    let number = cursor.number();
    let term = if cursor.take_any(&["CU", "CV"]) {
        Term::Charge(per_second(number?))
    } else if cursor.take_any(&["sqrt(CU)", "sqrt(CV)", "√(CU)", "√(CV)", "√CU", "√CV"]) {
        Term::root(number?)
    } else if cursor.take_any(&["(CU)^", "(CV)^"]) {
        let exponent = cursor.number()?;
        Term::Power { factor: number?, exponent }
    } else if cursor.take_any(&["x(", "×("]) {
        let of = nested(cursor, depth)?;
        cursor.need(")")?;
        return Ok(LeakageRule::multiple(number?, of));
    } else {
        cursor.back_to(start);
        if !cursor.quantity_text().contains('/') {
            return Ok(LeakageRule::constant(cursor.quantity(read::current)?));
        }
        Term::PerFarad(cursor.quantity(read::current_of_a_farad)?)
    };
    bounds(cursor, term).map(LeakageRule::formula)
}

/// Addend, floor and cap of a term, each at most once, in any order.
fn bounds(cursor: &mut Cursor<'_>, term: Term) -> Result<Formula, NotationError> {
    let (mut addend, mut floor, mut cap) = (None, None, None);
    loop {
        let slot = if cursor.take_any(&["+"]) {
            &mut addend
        } else if cursor.take_word("floor") {
            &mut floor
        } else if cursor.take_word("cap") {
            &mut cap
        } else {
            break;
        };
        if slot.is_some() {
            return Err(cursor.unexpected("each of +, floor and cap once"));
        }
        *slot = Some(cursor.quantity(read::current)?);
    }
    let or_none = |current: Option<Current>| current.unwrap_or_default();
    Ok(Formula { term, addend: or_none(addend), floor: or_none(floor), cap })
}

/// Rules in brackets, parted by commas.
fn list(cursor: &mut Cursor<'_>, depth: u8) -> Result<Vec<LeakageRule>, NotationError> {
    cursor.need("(")?;
    let mut rules = vec![nested(cursor, depth)?];
    while cursor.take_any(&[","]) {
        rules.push(nested(cursor, depth)?);
    }
    cursor.need(")")?;
    Ok(rules)
}

fn switch(cursor: &mut Cursor<'_>, depth: u8) -> Result<Made, NotationError> {
    cursor.need("(")?;
    let at = threshold(cursor)?;
    cursor.need(",")?;
    let upto = nested(cursor, depth)?;
    cursor.need(",")?;
    let above = nested(cursor, depth)?;
    cursor.need(")")?;
    Ok(LeakageRule::switch(at, upto, above))
}

/// The unit says what the threshold is of.
fn threshold(cursor: &mut Cursor<'_>) -> Result<Threshold, NotationError> {
    // A bare prefix, as in `0.33u`, is a capacitance, as everywhere.
    match cursor.quantity_text().chars().last() {
        Some('V' | 'v') => cursor.quantity(read::voltage).map(Threshold::Voltage),
        Some('C') => cursor.quantity(read::charge).map(Threshold::Charge),
        _ => cursor.quantity(read::capacitance).map(Threshold::Capacitance),
    }
}

impl std::fmt::Display for LeakageRule {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.0 {
            Shape::Constant(limit) => f.write_str(&exact::current(*limit)),
            Shape::Formula(formula) => formula.fmt(f),
            Shape::Resistance(least) => write!(f, "R {}", exact::resistance(*least)),
            Shape::TimeConstant(least) => write!(f, "RC {}", exact::seconds(*least)),
            Shape::Pick { pick, of } => {
                let rules: Vec<String> = of.iter().map(ToString::to_string).collect();
                write!(f, "{pick}({})", rules.join(", "))
            }
            Shape::Switch { at, upto, above } => write!(f, "upto({at}, {upto}, {above})"),
            Shape::Multiple { factor, of } => write!(f, "{factor}x({of})"),
        }
    }
}

impl std::fmt::Display for Formula {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.term)?;
        if Current::default() < self.addend {
            write!(f, " + {}", exact::current(self.addend))?;
        }
        if Current::default() < self.floor {
            write!(f, " floor {}", exact::current(self.floor))?;
        }
        self.cap.map_or(Ok(()), |cap| write!(f, " cap {}", exact::current(cap)))
    }
}

impl std::fmt::Display for Term {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match *self {
            Self::Charge(rate) => write!(f, "{}CU", rate.get::<hertz>()),
            Self::Power { factor, exponent: 0.5 } => write!(f, "{factor}sqrt(CU)"),
            Self::Power { factor, exponent } => write!(f, "{factor}(CU)^{exponent}"),
            Self::PerFarad(current) if current < amperes(0.01) => {
                write!(f, "{}/F", exact::current(current))
            }
            // One A/F is one µA/µF, so that the number needs no change.
            Self::PerFarad(current) => write!(f, "{} µA/µF", current.get::<ampere>()),
        }
    }
}

impl std::fmt::Display for Pick {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Smaller => "smaller",
            Self::Greater => "greater",
        })
    }
}

impl std::fmt::Display for Threshold {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&match *self {
            Self::Capacitance(threshold) => exact::capacitance(threshold),
            Self::Voltage(threshold) => exact::voltage(threshold),
            Self::Charge(threshold) => exact::charge(threshold),
        })
    }
}

#[cfg(test)]
mod tests;
