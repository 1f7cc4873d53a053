//! The number at the head of a quantity, kept as decimal digits.
//!
//! Digits stay text until the unit's power of ten is known, so that `22 µF` is the very number
//! that `22e-6` is, with no rounding in between.

use super::{Fault, ReadError};

/// A number as written, and what follows it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Number<'a> {
    negative: bool,
    whole: &'a str,
    fraction: &'a str,
    exponent: i32,
    /// The text after the number, blanks included.
    pub(super) rest: &'a str,
}

/// Reads a number that has no unit, by the rules of the quantities: `0.01`, `0,7`, `1e-3`.
///
/// # Errors
///
/// [`ReadError`] with what is wrong in `text`.
pub fn number(text: &str) -> Result<f64, ReadError> {
    let error =
        |fault| ReadError { text: text.to_owned(), quantity: "a number", example: "0.01", fault };
    let number = Number::scan(text).map_err(error)?;
    if !number.rest.is_empty() {
        return Err(error(Fault::Surplus(number.rest.trim().to_owned())));
    }
    number.value(0).map_err(error)
}

impl<'a> Number<'a> {
    /// Takes the number that `text` begins with.
    pub(super) fn scan(text: &'a str) -> Result<Self, Fault> {
        let text = text.trim();
        if text.is_empty() {
            return Err(Fault::Empty);
        }
        let unsigned = text.strip_prefix(['-', '\u{2212}']);
        let negative = unsigned.is_some();
        let (whole, rest) = digits(unsigned.or(text.strip_prefix('+')).unwrap_or(text));
        let (mark, fraction, rest) = marked(rest)?;
        if whole.is_empty() && fraction.is_empty() {
            return Err(Fault::NoNumber);
        }
        if mark == Some(',') && may_part_thousands(whole, fraction) {
            return Err(Fault::Thousands);
        }
        let (exponent, rest) = exponent(rest)?;
        Ok(Self { negative, whole, fraction, exponent, rest })
    }

    /// The same number with `fraction` after its mark, if it is a plain whole number.
    pub(super) fn with_fraction(self, fraction: &'a str, rest: &'a str) -> Option<Self> {
        let plain = self.fraction.is_empty() && self.exponent == 0 && !self.whole.is_empty();
        plain.then_some(Self { fraction, rest, ..self })
    }

    /// The number times a power of ten.
    pub(super) fn value(self, power: i32) -> Result<f64, Fault> {
        let Self { negative, whole, fraction, exponent, .. } = self;
        let sign = if negative { "-" } else { "" };
        let exponent = exponent.saturating_add(power);
        // The zeros make `.5` and `5` out of an empty side without changing the number.
        let value: f64 = format!("{sign}0{whole}.{fraction}0e{exponent}")
            .parse()
            .map_err(|_| Fault::NoNumber)?;
        // Digits that came out as zero or infinite would make every comparison one-sided.
        let zero = whole.chars().chain(fraction.chars()).all(|digit| digit == '0');
        if zero || value.is_normal() { Ok(value) } else { Err(Fault::OutOfRange) }
    }
}

/// The digits that `text` begins with, and the rest.
pub(super) fn digits(text: &str) -> (&str, &str) {
    let end = text.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(text.len());
    text.split_at(end)
}

/// The decimal mark that `text` begins with, the digits after it, and the rest.
fn marked(text: &str) -> Result<(Option<char>, &str, &str), Fault> {
    let Some(mark) = text.chars().next().filter(|letter| ['.', ','].contains(letter)) else {
        return Ok((None, "", text));
    };
    let (fraction, rest) = digits(&text[1..]);
    if fraction.is_empty() || rest.starts_with(['.', ',']) {
        return Err(Fault::Marks);
    }
    Ok((Some(mark), fraction, rest))
}

fn may_part_thousands(whole: &str, fraction: &str) -> bool {
    (1..=3).contains(&whole.len()) && !whole.starts_with('0') && fraction.len() == 3
}

/// The exponent that `text` begins with, or 0, and the rest.
fn exponent(text: &str) -> Result<(i32, &str), Fault> {
    let Some(signed) = text.strip_prefix(['e', 'E']) else {
        return Ok((0, text));
    };
    let unsigned = signed.strip_prefix(['+', '-']).unwrap_or(signed);
    let (found, rest) = digits(unsigned);
    if found.is_empty() {
        return Ok((0, text));
    }
    let written = &signed[..signed.len() - rest.len()];
    let exponent = written.parse().map_err(|_| Fault::OutOfRange)?;
    Ok((exponent, rest))
}
