//! Reads an instrument's reply: one grammar a question, bytes in, a meaning or a refusal out.
//!
//! Numbers are NR1, NR2 or NR3 of IEEE 488.2 with an optional unit suffix of SCPI-1999. Its marks
//! for infinity (9.9E37) and not-a-number (9.91E37) become variants, so that no number that means
//! "none" ever reaches a comparison. What is not understood is refused; nothing is guessed, and no
//! general number parser is used, since those take `nan`, `inf` and prefixes of a line.

use super::driver::IdentityForm;
use crate::plan::{OutputState, Sample};

/// Magnitude from which SCPI-1999 (vol. 1, §7.2.1) means infinity or not-a-number.
const MARKS_FROM: f64 = 9.8e37;
/// SCPI-1999's mark for not-a-number.
const NOT_A_NUMBER: f64 = 9.91e37;
/// Longest piece of a reply that is shown in a message.
const SHOWN: usize = 60;

/// Unit in which a number is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Volts.
    Volt,
    /// Amperes.
    Ampere,
}

impl Unit {
    /// The suffix of SCPI-1999 for this unit.
    #[must_use]
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Volt => "V",
            Self::Ampere => "A",
        }
    }
}

/// A reply that does not fit its question.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("expected {expected}, got {got}")]
pub struct ReplyError {
    /// What the question's grammar asks for.
    pub expected: &'static str,
    /// What came, in readable form.
    pub got: String,
}

/// The bytes of a line in readable form: printable ASCII as it is, the rest as escapes.
#[must_use]
pub fn readable(bytes: &[u8]) -> String {
    let shown = &bytes[..bytes.len().min(SHOWN)];
    let dots = if shown.len() < bytes.len() { "…" } else { "" };
    format!("\"{}\"{dots}", shown.escape_ascii())
}

fn refused(expected: &'static str, bytes: &[u8]) -> ReplyError {
    ReplyError { expected, got: readable(bytes) }
}

/// Reads a number in `unit`.
///
/// # Errors
///
/// [`ReplyError`] for anything that is not one whole number with that unit or none.
pub fn number(bytes: &[u8], unit: Unit) -> Result<Sample<f64>, ReplyError> {
    let expected = match unit {
        Unit::Volt => "a number of volts",
        Unit::Ampere => "a number of amperes",
    };
    if let Some(word) = word_for_none(bytes, unit) {
        return Ok(word);
    }
    let (value, rest) =
        leading_number(bytes.trim_ascii()).ok_or_else(|| refused(expected, bytes))?;
    if !rest.is_empty() && !rest.eq_ignore_ascii_case(unit.suffix().as_bytes()) {
        return Err(refused(expected, bytes));
    }
    if value.abs() < MARKS_FROM {
        return Ok(Sample::Value(value));
    }
    let is_no_number = (value.abs() / NOT_A_NUMBER - 1.0).abs() < 5e-4;
    Ok(if is_no_number { Sample::NotANumber } else { Sample::Overload { negative: value < 0.0 } })
}

/// Words that stand for an overload, blanks and point left out.
const OVERLOADS: [&str; 6] = ["OL", "0L", "OVLD", "OVRLD", "OVER", "OVERLOAD"];

/// Whether a word stands for an overload in place of digits, and whether it has a minus sign: `OL`
/// with a point anywhere, or written with a zero.
#[must_use]
pub fn overload_word(word: &[u8]) -> Option<bool> {
    let (sign, letters) = sign(word);
    let bare: Vec<u8> = letters.iter().copied().filter(|byte| *byte != b'.').collect();
    let known = OVERLOADS.iter().any(|word| bare.eq_ignore_ascii_case(word.as_bytes()));
    (known && letters.len() <= bare.len() + 1).then_some(sign == Some('-'))
}

/// An overload in letters, or the dashes of a display without a reading; a unit may follow.
fn word_for_none(bytes: &[u8], unit: Unit) -> Option<Sample<f64>> {
    let mut words = bytes.trim_ascii().split(|byte| *byte == b' ').filter(|it| !it.is_empty());
    let word = words.next()?;
    let is_unit = |word: &[u8]| {
        word.len() <= 3 && word.to_ascii_uppercase().ends_with(unit.suffix().as_bytes())
    };
    if !words.next().is_none_or(is_unit) || words.next().is_some() {
        return None;
    }
    if 2 <= word.len() && word.iter().all(|byte| *byte == b'-') {
        return Some(Sample::NotANumber);
    }
    overload_word(word).map(|negative| Sample::Overload { negative })
}

/// Reads an output state: NR1, NR2 or NR3 of 0 or 1, or the words ON and OFF.
#[must_use]
pub fn output_state(bytes: &[u8]) -> OutputState {
    match switch(bytes) {
        Some(true) => OutputState::On,
        Some(false) => OutputState::Off,
        None => OutputState::Unknown,
    }
}

/// Reads a yes or no.
///
/// # Errors
///
/// [`ReplyError`] for anything but 0, 1, ON or OFF.
pub fn flag(bytes: &[u8]) -> Result<bool, ReplyError> {
    switch(bytes).ok_or_else(|| refused("0 or 1", bytes))
}

/// Reads so many yeses or noes with commas between, no more and no fewer.
///
/// # Errors
///
/// [`ReplyError`] for anything else.
pub fn flags(bytes: &[u8], count: usize) -> Result<Vec<bool>, ReplyError> {
    let read: Option<Vec<bool>> = bytes.split(|byte| *byte == b',').map(switch).collect();
    read.filter(|flags| flags.len() == count)
        .ok_or_else(|| refused("0 or 1 for each channel asked about", bytes))
}

fn switch(bytes: &[u8]) -> Option<bool> {
    let word = bytes.trim_ascii();
    if word.eq_ignore_ascii_case(b"ON") {
        return Some(true);
    }
    if word.eq_ignore_ascii_case(b"OFF") {
        return Some(false);
    }
    let (value, rest) = leading_number(word)?;
    let whole = rest.is_empty();
    match value {
        0.0 if whole => Some(false),
        1.0 if whole => Some(true),
        _ => None,
    }
}

/// Reads an identity: printable text with at least the four fields of IEEE 488.2 §10.14, or with
/// a letter at least where the driver allows any text.
///
/// # Errors
///
/// [`ReplyError`] for anything else.
pub fn identity(bytes: &[u8], form: IdentityForm) -> Result<String, ReplyError> {
    let text = bytes.trim_ascii();
    let printable = text.iter().all(|byte| byte.is_ascii_graphic() || *byte == b' ');
    let (fits, expected) = match form {
        IdentityForm::Fields => {
            let fields = text.split(|byte| *byte == b',').count();
            (4 <= fields, "an identity of four fields")
        }
        IdentityForm::Text => {
            (text.iter().any(u8::is_ascii_alphabetic), "a name with a letter in it")
        }
    };
    if !printable || !fits {
        return Err(refused(expected, bytes));
    }
    Ok(text.escape_ascii().to_string())
}

/// An entry of the error queue; the leading integer decides.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum QueueEntry {
    /// The queue is empty.
    None,
    /// An error: its number and the whole line.
    Error(i64, String),
}

/// Reads an entry of the error queue.
///
/// # Errors
///
/// [`ReplyError`] for a line that does not begin with an integer.
pub fn queue_entry(bytes: &[u8]) -> Result<QueueEntry, ReplyError> {
    let text = bytes.trim_ascii();
    let (sign, digits) = match text.split_first() {
        Some((b'-', rest)) => (-1, rest),
        Some((b'+', rest)) => (1, rest),
        _ => (1, text),
    };
    let length = digits.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let number = digits[..length]
        .iter()
        .try_fold(0_i64, |sum, digit| sum.checked_mul(10)?.checked_add(i64::from(digit - b'0')));
    let ends = digits.get(length).is_none_or(|byte| matches!(byte, b',' | b' '));
    match number {
        Some(number) if 0 < length && ends => Ok(match number {
            0 => QueueEntry::None,
            number => QueueEntry::Error(sign * number, text.escape_ascii().to_string()),
        }),
        _ => Err(refused("an entry of the error queue", bytes)),
    }
}

/// A number at the start of `bytes`, and what follows it without blanks.
///
/// Sign, blanks, digits with one point, exponent. At least one digit in the mantissa, and in the
/// exponent if there is one.
fn leading_number(bytes: &[u8]) -> Option<(f64, &[u8])> {
    let mut text = String::new();
    let (sign, rest) = sign(bytes);
    text.extend(sign);
    let rest = rest.trim_ascii_start();
    let (whole, rest) = digits(rest);
    text.push_str(whole);
    let (fraction, rest) = match rest.strip_prefix(b".") {
        Some(rest) => digits(rest),
        None => ("", rest),
    };
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    text.push('.');
    text.push_str(fraction);
    let rest = exponent(rest, &mut text);
    // The text is digits, one point, sign and exponent by construction: nothing else can be read.
    let value: f64 = text.parse().ok().filter(|value: &f64| value.is_finite())?;
    Some((value + 0.0, rest.trim_ascii_start()))
}

fn sign(bytes: &[u8]) -> (Option<char>, &[u8]) {
    match bytes.split_first() {
        Some((b'-', rest)) => (Some('-'), rest),
        Some((b'+', rest)) => (Some('+'), rest),
        _ => (None, bytes),
    }
}

fn digits(bytes: &[u8]) -> (&str, &[u8]) {
    let length = bytes.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (digits, rest) = bytes.split_at(length);
    (std::str::from_utf8(digits).unwrap_or_default(), rest)
}

/// Takes an exponent, if one follows, over into `text`.
fn exponent<'a>(bytes: &'a [u8], text: &mut String) -> &'a [u8] {
    let Some((b'e' | b'E', rest)) = bytes.split_first() else { return bytes };
    let (sign, rest) = sign(rest);
    let (figures, rest) = digits(rest);
    if figures.is_empty() {
        return bytes;
    }
    text.push('E');
    text.extend(sign);
    text.push_str(figures);
    rest
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::nr1(b"25", 25.0)]
    #[case::nr2(b"+25.001", 25.001)]
    #[case::nr3(b"1.234E-06", 1.234e-6)]
    #[case::small_letter_and_no_sign(b"1.234e06", 1.234e6)]
    #[case::suffix_glued_on(b"1.234E-06A", 1.234e-6)]
    #[case::suffix_after_a_blank(b"0.6 a", 0.6)]
    #[case::sign_before_a_bare_point(b"-.5E-06", -0.5e-6)]
    #[case::blank_after_the_sign(b"+ 1.20E-06", 1.2e-6)]
    #[case::blanks_around(b" +0.0000 ", 0.0)]
    #[case::negative_zero(b"-0.00E+00", 0.0)]
    fn a_number_is_read_whole(#[case] bytes: &[u8], #[case] value: f64) {
        assert_eq!(number(bytes, Unit::Ampere), Ok(Sample::Value(value)));
    }

    #[test]
    fn negative_zero_is_plain_zero() {
        let Ok(Sample::Value(value)) = number(b"-0.00E+00", Unit::Volt) else { panic!("a value") };
        assert!(value.is_sign_positive());
    }

    #[rstest]
    #[case::infinity(b"+9.90000000E+37", Sample::Overload { negative: false })]
    #[case::negative_infinity(b"-9.9E+37", Sample::Overload { negative: true })]
    #[case::no_number(b"9.91E37", Sample::NotANumber)]
    #[case::negative_no_number(b"-9.91E37", Sample::NotANumber)]
    #[case::beyond_all(b"199.999E+99", Sample::Overload { negative: false })]
    #[case::letters(b"  OL  ", Sample::Overload { negative: false })]
    #[case::letters_with_a_zero(b"0L", Sample::Overload { negative: false })]
    #[case::letters_with_a_point_and_a_unit(b".OL uA", Sample::Overload { negative: false })]
    #[case::a_point_between_the_letters(b"O.L uA", Sample::Overload { negative: false })]
    #[case::letters_with_their_sign(b"-OL uA", Sample::Overload { negative: true })]
    #[case::dashes(b"----", Sample::NotANumber)]
    fn marks_become_variants(#[case] bytes: &[u8], #[case] sample: Sample<f64>) {
        assert_eq!(number(bytes, Unit::Ampere), Ok(sample));
    }

    #[rstest]
    #[case::nothing(b"")]
    #[case::a_word(b"nan")]
    #[case::infinity_in_words(b"-infinity")]
    #[case::too_large_for_a_float(b"1E400")]
    #[case::the_wrong_unit(b"0.6V")]
    #[case::a_prefix_that_changes_the_value(b"0.6mA")]
    #[case::a_decimal_comma(b"+1,234E-06")]
    #[case::two_numbers(b"25.0 0.002")]
    #[case::two_points(b"1.23.4E-06")]
    #[case::half_an_exponent(b"1.234E-")]
    #[case::a_byte_with_the_top_bit(b"\xb2\xb1.5")]
    #[case::a_nul_inside(b"+012\x00.34E-06")]
    #[case::only_a_sign(b"-")]
    #[case::letters_of_another_unit(b"OL V")]
    #[case::letters_and_more(b"OL 5")]
    #[case::only_a_point(b".")]
    fn anything_else_is_refused(#[case] bytes: &[u8]) {
        assert!(number(bytes, Unit::Ampere).is_err(), "{}", readable(bytes));
    }

    #[rstest]
    #[case(b"1", OutputState::On)]
    #[case(b"+1", OutputState::On)]
    #[case(b"1.0000E+00", OutputState::On)]
    #[case(b"on", OutputState::On)]
    #[case(b"01", OutputState::On)]
    #[case(b"0", OutputState::Off)]
    #[case(b"OFF", OutputState::Off)]
    #[case(b"", OutputState::Unknown)]
    #[case(b"2", OutputState::Unknown)]
    #[case(b"0.1", OutputState::Unknown)]
    #[case(b"0V", OutputState::Unknown)]
    fn only_a_clear_off_is_off(#[case] bytes: &[u8], #[case] state: OutputState) {
        assert_eq!(output_state(bytes), state);
    }

    #[test]
    fn flags_are_as_many_as_were_asked_about() {
        assert_eq!(flags(b"1,0, 0", 3), Ok(vec![true, false, false]));
        assert_eq!(flags(b"1", 1), Ok(vec![true]));
        for (reply, count) in [(&b"1,0"[..], 3), (b"1,0,0,0", 3), (b"1,2,0", 3), (b"1,,0", 3)] {
            assert!(flags(reply, count).is_err(), "{}", readable(reply));
        }
    }

    #[rstest]
    #[case(b"0 No Error")]
    #[case(b"+0,\"No error\"")]
    #[case(b"0,\"\"")]
    #[case(b"0")]
    #[case(b"-0,\"No error\"")]
    fn no_error_is_spelled_in_many_ways(#[case] bytes: &[u8]) {
        assert_eq!(queue_entry(bytes), Ok(QueueEntry::None));
    }

    #[test]
    fn an_error_keeps_its_number_and_text() {
        let entry = queue_entry(b"-113,\"Undefined header\"").unwrap();
        assert!(matches!(entry, QueueEntry::Error(-113, text) if text.contains("Undefined")));
        assert!(queue_entry(b"25.001").is_err());
        assert!(queue_entry(b"READY").is_err());
    }

    #[rstest]
    #[case(b"READY")]
    #[case(b"25.001")]
    #[case(b"A,B,C,\xff")]
    fn a_banner_is_no_identity(#[case] bytes: &[u8]) {
        assert!(identity(bytes, IdentityForm::Fields).is_err());
    }

    #[test]
    fn a_name_without_a_letter_is_no_name() {
        assert_eq!(identity(b"TERSE 60\r", IdentityForm::Text), Ok("TERSE 60".into()));
        for other in [&b"25.001"[..], b"", b"TERSE\xff"] {
            assert!(identity(other, IdentityForm::Text).is_err());
        }
    }

    #[test]
    fn the_message_shows_what_came() {
        let error = number(b"\xb2\xb1.5\xb1\r", Unit::Volt).unwrap_err();
        insta::assert_snapshot!(error, @r#"expected a number of volts, got "\xb2\xb1.5\xb1\r""#);
    }

    proptest! {
        #[test]
        fn no_bytes_give_a_number_that_is_not_finite(bytes in prop::collection::vec(any::<u8>(), 0..40)) {
            if let Ok(Sample::Value(value)) = number(&bytes, Unit::Ampere) {
                prop_assert!(value.is_finite() && value.abs() < 9.8e37);
            }
        }

        #[test]
        fn what_is_written_in_nr3_is_read_back(value in -1e30_f64..1e30) {
            let text = format!("{value:+.15E}");
            let Ok(Sample::Value(read)) = number(text.as_bytes(), Unit::Volt) else {
                return Err(TestCaseError::fail(text));
            };
            prop_assert!((read - value).abs() <= value.abs() * 1e-14);
        }
    }
}
