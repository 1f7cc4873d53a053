//! Numbers as sheets print them: decimal points and commas, marks of thousands, exponents.

use super::fold::Glyph;
use super::token::{Figure, Print};

/// Whether a number begins at this sign.
pub(super) fn begins(glyphs: &[Glyph], at: usize) -> bool {
    let digit = |at: usize| glyphs.get(at).is_some_and(|glyph| glyph.sign.is_ascii_digit());
    digit(at) || (glyphs[at].sign == '.' && digit(at + 1) && (at == 0 || !digit(at - 1)))
}

/// Takes the number that begins here, with its length in signs.
pub(super) fn take(glyphs: &[Glyph]) -> (Figure, usize) {
    let mut reader = Reader { glyphs, at: 0, text: String::with_capacity(12), print: Print::Plain };
    reader.whole();
    reader.fraction();
    reader.exponent();
    // Digits with at most one point and an exponent always parse; a huge exponent is no number.
    let value = reader.text.parse().unwrap_or(f64::NAN);
    (Figure { value, print: reader.print }, reader.at)
}

/// Whether a number is exactly this one.
pub(super) fn is(value: f64, wanted: f64) -> bool {
    value.total_cmp(&wanted).is_eq()
}

struct Reader<'a> {
    glyphs: &'a [Glyph],
    at: usize,
    text: String,
    print: Print,
}

impl Reader<'_> {
    fn sign(&self, ahead: usize) -> Option<char> {
        self.glyphs.get(self.at + ahead).map(|glyph| glyph.sign)
    }

    fn digit(&self, ahead: usize) -> bool {
        self.sign(ahead).is_some_and(|sign| sign.is_ascii_digit())
    }

    fn digits(&mut self) -> usize {
        let start = self.at;
        while let Some(sign) = self.sign(0).filter(char::is_ascii_digit) {
            self.text.push(sign);
            self.at += 1;
        }
        self.at - start
    }

    /// Exactly three digits after a mark of thousands.
    fn three(&self) -> bool {
        (1..=3).all(|ahead| self.digit(ahead)) && !self.digit(4)
    }

    fn whole(&mut self) {
        let lead = self.digits();
        let zero = self.text.starts_with('0');
        if zero && lead > 1 {
            self.print = Print::LeadingZero;
        }
        if zero || lead == 0 || lead > 3 {
            return;
        }
        let Some(mark) = self.sign(0).filter(|mark| " ,.'".contains(*mark)) else { return };
        if !self.three() {
            return;
        }
        // A point is a mark of thousands for sure only when it comes twice.
        if mark == '.' && !self.twice(mark) {
            return;
        }
        let mut groups = 0;
        while self.sign(0) == Some(mark) && self.three() {
            self.at += 1;
            self.digits();
            groups += 1;
        }
        if mark == ',' && groups == 1 {
            self.print = Print::CommaBeforeThree;
        }
    }

    fn twice(&self, mark: char) -> bool {
        self.sign(4) == Some(mark) && (5..=7).all(|ahead| self.digit(ahead))
    }

    fn fraction(&mut self) {
        let Some(mark) = self.sign(0).filter(|mark| ".,".contains(*mark)) else { return };
        if !self.digit(1) {
            return;
        }
        let lead = self.text.clone();
        self.at += 1;
        self.text.push('.');
        let count = self.digits();
        if mark == ',' {
            self.print = Print::DecimalComma;
        } else if count == 3 && (1..=3).contains(&lead.len()) && !lead.starts_with('0') {
            self.print = Print::PointBeforeThree;
        }
        if self.print == Print::LeadingZero && lead.len() > 1 {
            self.print = Print::LeadingZero;
        }
    }

    fn exponent(&mut self) {
        if !matches!(self.sign(0), Some('e' | 'E')) {
            return;
        }
        let signed = usize::from(matches!(self.sign(1), Some('+' | '-')));
        if !self.digit(1 + signed) {
            return;
        }
        self.text.push('e');
        if signed == 1 && self.sign(1) == Some('-') {
            self.text.push('-');
        }
        self.at += 1 + signed;
        self.digits();
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::fold::fold;
    use super::*;

    #[rstest]
    #[case::point("0.01CV", 0.01, Print::Plain, 4)]
    #[case::no_leading_zero(".01 CV", 0.01, Print::Plain, 3)]
    #[case::decimal_comma("0,002 µA", 0.002, Print::DecimalComma, 5)]
    #[case::comma_thousands("10,000 MΩ", 10_000.0, Print::CommaBeforeThree, 6)]
    #[case::blank_thousands("100 000 MΩ", 100_000.0, Print::Plain, 7)]
    #[case::narrow_blank("25\u{202f}000 MΩ", 25_000.0, Print::Plain, 6)]
    #[case::point_before_three("10.000 MΩ", 10.0, Print::PointBeforeThree, 6)]
    #[case::points_twice("1.000.000", 1e6, Print::Plain, 9)]
    #[case::comma_twice("1,000,000", 1e6, Print::Plain, 9)]
    #[case::exponent("1e-6 A", 1e-6, Print::Plain, 4)]
    #[case::lost_point("001CV", 1.0, Print::LeadingZero, 3)]
    #[case::comma_that_parts("3, 20", 3.0, Print::Plain, 1)]
    #[case::not_thousands("60 5000", 60.0, Print::Plain, 2)]
    fn a_number_is_read_as_printed(
        #[case] text: &str,
        #[case] value: f64,
        #[case] print: Print,
        #[case] length: usize,
    ) {
        assert_eq!(take(&fold(text)), (Figure { value, print }, length));
    }
}
