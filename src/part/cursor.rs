//! Walks through a written rule or limit, and says where it stops making sense.

use super::rule::RuleError;
use crate::quantity::read::{self, ReadError};

/// A place in a text.
pub(super) struct Cursor<'a> {
    text: &'a str,
    at: usize,
}

/// Where and why a written rule or limit makes no sense.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotationError {
    /// Something else should stand here.
    #[error("byte {position} of {text:?}: expected {expected}, came {came}")]
    Unexpected {
        /// The whole text.
        text: String,
        /// The byte at which it stops making sense.
        position: usize,
        /// What should stand there.
        expected: &'static str,
        /// What stands there.
        came: String,
    },
    /// A quantity or number that does not read.
    #[error("byte {position} of {text:?}: a value does not read")]
    Value {
        /// The whole text.
        text: String,
        /// The byte at which the value begins.
        position: usize,
        /// What is wrong with it.
        source: Box<ReadError>,
    },
    /// Values that make no rule.
    #[error("byte {position} of {text:?}: no sheet can mean this rule")]
    Rule {
        /// The whole text.
        text: String,
        /// The byte at which the rule begins.
        position: usize,
        /// What is wrong with it.
        source: RuleError,
    },
}

impl NotationError {
    /// The byte at which the text stops making sense.
    #[must_use]
    pub fn position(&self) -> usize {
        match self {
            Self::Unexpected { position, .. }
            | Self::Value { position, .. }
            | Self::Rule { position, .. } => *position,
        }
    }

    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Unexpected { .. } => "write it as in 0.01CU floor 0.5uA @ 5min 25C, \
                 3sqrt(CU) cap 5mA or smaller(R 10Gohm, RC 500s)"
                .to_owned(),
            Self::Value { source, .. } => source.help(),
            Self::Rule { source, .. } => source.help().to_owned(),
        }
    }
}

impl<'a> Cursor<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        Self { text, at: 0 }
    }

    /// The byte of the next letter that is no blank.
    pub(super) fn position(&self) -> usize {
        self.text.len() - self.rest().len()
    }

    /// What is still to be read, from the next letter that is no blank.
    fn rest(&self) -> &'a str {
        self.text[self.at..].trim_start()
    }

    /// Goes back to a byte that [`Cursor::position`] gave.
    pub(super) fn back_to(&mut self, position: usize) {
        self.at = position;
    }

    /// Whether a number comes next.
    pub(super) fn at_number(&self) -> bool {
        self.rest().starts_with(|letter: char| letter.is_ascii_digit() || "+-−.".contains(letter))
    }

    /// Takes the first of these that comes next.
    pub(super) fn take_any(&mut self, wanted: &[&str]) -> bool {
        let rest = self.rest();
        let Some(after) = wanted.iter().find_map(|wanted| rest.strip_prefix(wanted)) else {
            return false;
        };
        self.at = self.text.len() - after.len();
        true
    }

    /// Takes this word if it comes next and no letter follows it.
    pub(super) fn take_word(&mut self, word: &str) -> bool {
        let ends = self
            .rest()
            .strip_prefix(word)
            .is_some_and(|after| !after.starts_with(char::is_alphabetic));
        ends && self.take_any(&[word])
    }

    /// Takes what must come next.
    pub(super) fn need(&mut self, wanted: &'static str) -> Result<(), NotationError> {
        if self.take_any(&[wanted]) { Ok(()) } else { Err(self.unexpected(wanted)) }
    }

    /// Nothing may come next.
    pub(super) fn end(&self, expected: &'static str) -> Result<(), NotationError> {
        if self.is_at_end() { Ok(()) } else { Err(self.unexpected(expected)) }
    }

    pub(super) fn is_at_end(&self) -> bool {
        self.rest().is_empty()
    }

    /// Takes a number that needs no unit.
    pub(super) fn number(&mut self) -> Result<f64, NotationError> {
        let written = &self.rest()[..number_length(self.rest())];
        self.take(written, read::number)
    }

    /// Takes a number with its unit.
    pub(super) fn quantity<Q>(
        &mut self,
        reader: fn(&str) -> Result<Q, ReadError>,
    ) -> Result<Q, NotationError> {
        self.take(self.quantity_text(), reader)
    }

    /// The number with its unit that comes next, not taken.
    pub(super) fn quantity_text(&self) -> &'a str {
        let rest = self.rest();
        let number = number_length(rest);
        let after = &rest[number..];
        let blanks = after.len() - after.trim_start().len();
        let is_unit = |letter: char| letter.is_alphanumeric() || "/°℃\u{2126}".contains(letter);
        let unit = after[blanks..].find(|letter| !is_unit(letter)).unwrap_or(after.len() - blanks);
        rest[..number + blanks + unit].trim_end()
    }

    fn take<Q>(
        &mut self,
        written: &str,
        reader: fn(&str) -> Result<Q, ReadError>,
    ) -> Result<Q, NotationError> {
        let position = self.position();
        self.at = position + written.len();
        let text = || self.text.to_owned();
        reader(written).map_err(|fault| NotationError::Value {
            text: text(),
            position,
            source: Box::new(fault),
        })
    }

    /// Something else should come next.
    pub(super) fn unexpected(&self, expected: &'static str) -> NotationError {
        let came = match self.rest().split_whitespace().next() {
            Some(word) => format!("{word:?}"),
            None => "nothing more".to_owned(),
        };
        let (text, position) = (self.text.to_owned(), self.position());
        NotationError::Unexpected { text, position, expected, came }
    }

    /// The values from `position` on make no rule.
    pub(super) fn no_rule(&self, position: usize, source: RuleError) -> NotationError {
        NotationError::Rule { text: self.text.to_owned(), position, source }
    }
}

/// How many bytes of `text` are a number: sign, digits, marks and exponent.
///
/// A comma belongs to it only between digits, and an `e` only before digits.
fn number_length(text: &str) -> usize {
    let is_sign = |letter: char| "+-−".contains(letter);
    let digit_after = |at: usize| text[at..].starts_with(|letter: char| letter.is_ascii_digit());
    let mut previous = None;
    for (at, letter) in text.char_indices() {
        let next = at + letter.len_utf8();
        let belongs = match letter {
            '0'..='9' | '.' => true,
            ',' => {
                previous.is_some_and(|letter: char| letter.is_ascii_digit()) && digit_after(next)
            }
            'e' | 'E' => at > 0 && exponent_follows(&text[next..]),
            sign if is_sign(sign) => matches!(previous, None | Some('e' | 'E')),
            _ => false,
        };
        if !belongs {
            return at;
        }
        previous = Some(letter);
    }
    text.len()
}

fn exponent_follows(text: &str) -> bool {
    let unsigned = text.strip_prefix(['+', '-']).unwrap_or(text);
    unsigned.starts_with(|letter: char| letter.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::plain("0.01CU", "0.01")]
    #[case::decimal_comma("0,5uA", "0,5")]
    #[case::comma_that_parts_rules("2, 3uA", "2")]
    #[case::comma_at_the_end("2,", "2")]
    #[case::exponent("2.5e-6 A", "2.5e-6")]
    #[case::letter_that_is_no_exponent("2e", "2")]
    #[case::sign("-5V", "-5")]
    #[case::addend("0.06+10uA", "0.06")]
    #[case::no_number("CU", "")]
    fn a_number_ends_where_its_digits_do(#[case] text: &str, #[case] number: &str) {
        assert_eq!(&text[..number_length(text)], number);
    }

    #[rstest]
    #[case::no_blank("0.5uA cap 5mA", "0.5uA")]
    #[case::blank_before_the_unit("0.5 µA, R 1G", "0.5 µA")]
    #[case::letter_as_mark("4k7)", "4k7")]
    #[case::per_capacitance("40uA/uF + 0.3mA", "40uA/uF")]
    #[case::degrees("25 °C 5min", "25 °C")]
    #[case::no_unit("5 + 3", "5")]
    fn a_quantity_ends_with_its_unit(#[case] text: &str, #[case] quantity: &str) {
        assert_eq!(Cursor::new(text).quantity_text(), quantity);
    }

    #[test]
    fn a_word_is_not_the_beginning_of_a_longer_one() {
        let mut cursor = Cursor::new("  RC 5s");
        assert!(!cursor.take_word("R"));
        assert!(cursor.take_word("RC"));
        assert_eq!(cursor.position(), 5);
    }
}
