//! Words with one number in them, as an instrument writes or expects them.
//!
//! `{}` stands for a number of any length, `{00.00}` for one of just so many digits, `{+0.000}` for
//! one with its sign always written, and `{00_00}` for digits without the point, which is thought
//! where the low line stands. `{,}` and `{00,00}` have a decimal comma. What is around the braces is written and expected as it is.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::reply::{self, ReplyError, Unit};
use crate::plan::Sample;

/// Digits that a picture may have: more would not fit a number of the program.
const MOST_DIGITS: usize = 12;

/// Words with one number in them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
pub struct Picture {
    before: String,
    figures: Figures,
    after: String,
}

/// How a number is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Figures {
    Free(Mark),
    Fixed { signed: bool, whole: usize, decimals: usize, mark: Mark },
}

/// What stands between whole digits and decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mark {
    /// Nothing, as there are no decimals.
    None,
    Point,
    /// A decimal comma.
    Comma,
    /// Nothing: the point is thought.
    Thought,
}

/// A text that is no picture.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("expected one number such as {{}}, {{00.00}} or {{+00_00}} in \"{0}\"")]
pub struct PictureError(String);

impl Default for Picture {
    fn default() -> Self {
        Self { before: String::new(), figures: Figures::Free(Mark::Point), after: String::new() }
    }
}

impl TryFrom<String> for Picture {
    type Error = PictureError;

    fn try_from(text: String) -> Result<Self, PictureError> {
        let parts = || {
            let (before, rest) = text.split_once('{')?;
            let (inside, after) = rest.split_once('}')?;
            let plain = !before.contains('}') && !after.contains(['{', '}']);
            let figures = figures(inside).filter(|_| plain)?;
            Some(Self { before: before.into(), figures, after: after.into() })
        };
        parts().ok_or_else(|| PictureError(text.clone()))
    }
}

impl From<Picture> for String {
    fn from(picture: Picture) -> Self {
        let inside = match picture.figures {
            Figures::Free(Mark::Comma) => ",".into(),
            Figures::Free(_) => Self::new(),
            Figures::Fixed { signed, whole, decimals, mark } => {
                let sign = if signed { "+" } else { "" };
                let (whole, decimals) = ("0".repeat(whole), "0".repeat(decimals));
                let mark = match mark {
                    Mark::None => "",
                    Mark::Point => ".",
                    Mark::Comma => ",",
                    Mark::Thought => "_",
                };
                format!("{sign}{whole}{mark}{decimals}")
            }
        };
        format!("{}{{{inside}}}{}", picture.before, picture.after)
    }
}

fn figures(inside: &str) -> Option<Figures> {
    match inside {
        "" => return Some(Figures::Free(Mark::Point)),
        "," => return Some(Figures::Free(Mark::Comma)),
        _ => {}
    }
    let (signed, digits) = inside.strip_prefix('+').map_or((false, inside), |rest| (true, rest));
    let marks = [('.', Mark::Point), (',', Mark::Comma), ('_', Mark::Thought)];
    let split = marks.into_iter().find_map(|(sign, mark)| {
        digits.split_once(sign).map(|(whole, decimals)| (whole, decimals, mark))
    });
    let (whole, decimals, mark) = split.unwrap_or((digits, "", Mark::None));
    let zeros = whole.bytes().chain(decimals.bytes()).all(|byte| byte == b'0');
    let decimal = mark == Mark::None || !decimals.is_empty();
    let fits = !whole.is_empty() && whole.len() + decimals.len() <= MOST_DIGITS;
    (zeros && decimal && fits).then_some(Figures::Fixed {
        signed,
        whole: whole.len(),
        decimals: decimals.len(),
        mark,
    })
}

impl Picture {
    /// The words with `value` in them; a free number gets as many decimals as `step` has.
    ///
    /// A number that is too long is written all the same: the instrument refuses it, and what is
    /// read back tells.
    #[must_use]
    pub fn write(&self, value: f64, step: f64) -> String {
        let Self { before, figures, after } = self;
        let number = match *figures {
            Figures::Free(mark) => mark.put(format!("{value:.*}", decimals_of(step))),
            Figures::Fixed { signed, whole, decimals, mark } => {
                let width = whole + decimals + usize::from(0 < decimals);
                let digits = format!("{:0width$.decimals$}", value.abs());
                let digits = mark.put(digits);
                let sign = match (signed, value < 0.0) {
                    (_, true) => "-",
                    (true, false) => "+",
                    (false, false) => "",
                };
                format!("{sign}{digits}")
            }
        };
        format!("{before}{number}{after}")
    }

    /// Whether a number as large as `value` can be written.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        match self.figures {
            Figures::Free(_) => true,
            Figures::Fixed { whole, decimals, .. } => {
                let ends = i32::try_from(whole).unwrap_or(i32::MAX);
                let last = i32::try_from(decimals).unwrap_or(i32::MAX);
                (value.abs() + 0.5 * 0.1_f64.powi(last)) < 10_f64.powi(ends)
            }
        }
    }

    /// Number of bytes, if it is always the same.
    #[must_use]
    pub fn length(&self) -> Option<usize> {
        match self.figures {
            Figures::Free(_) => None,
            Figures::Fixed { signed, whole, decimals, mark } => {
                let marks =
                    usize::from(signed) + usize::from(matches!(mark, Mark::Point | Mark::Comma));
                Some(self.before.len() + marks + whole + decimals + self.after.len())
            }
        }
    }

    /// Reads a reply of this form.
    ///
    /// # Errors
    ///
    /// [`ReplyError`] for anything else: a digit too few or too many is no number.
    pub fn read(&self, bytes: &[u8], unit: Unit) -> Result<Sample<f64>, ReplyError> {
        let inside = || {
            let text = bytes.trim_ascii();
            let rest = text.strip_prefix(self.before.trim_start().as_bytes())?;
            rest.strip_suffix(self.after.trim_end().as_bytes())
        };
        let refused = || ReplyError {
            expected: "a number of the driver's form",
            got: reply::readable(bytes),
        };
        let inside = inside().ok_or_else(refused)?;
        match self.figures {
            Figures::Free(Mark::Comma) if inside.contains(&b'.') => Err(refused()),
            Figures::Free(Mark::Comma) => reply::number(&pointed(inside), unit),
            Figures::Free(_) => reply::number(inside, unit),
            Figures::Fixed { signed, whole, decimals, mark } => {
                let (sign, digits) = match inside.split_first() {
                    Some((b'+', rest)) if signed => (1.0, rest),
                    Some((b'-', rest)) if signed => (-1.0, rest),
                    _ if signed => return Err(refused()),
                    _ => (1.0, inside),
                };
                let value = fixed(digits, whole, decimals, mark).ok_or_else(refused)?;
                Ok(Sample::Value(sign * value + 0.0))
            }
        }
    }
}

impl Mark {
    /// A number with a point, written in this way.
    fn put(self, number: String) -> String {
        match self {
            Self::Comma => number.replace('.', ","),
            Self::Thought => number.replace('.', ""),
            Self::None | Self::Point => number,
        }
    }
}

/// The same with a point for the first comma.
fn pointed(bytes: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    if let Some(comma) = bytes.iter_mut().find(|byte| **byte == b',') {
        *comma = b'.';
    }
    bytes
}

/// Just so many digits, with the mark where it belongs.
fn fixed(bytes: &[u8], whole: usize, decimals: usize, mark: Mark) -> Option<f64> {
    let (first, rest) = bytes.split_at_checked(whole)?;
    let last = match mark {
        Mark::Point => rest.strip_prefix(b".")?,
        Mark::Comma => rest.strip_prefix(b",")?,
        Mark::None | Mark::Thought => rest,
    };
    let right = last.len() == decimals && first.iter().chain(last).all(u8::is_ascii_digit);
    let digits = first.iter().chain(last).filter(|_| right);
    let sum = digits.fold(0.0, |sum, digit| sum * 10.0 + f64::from(digit - b'0'));
    let places = i32::try_from(decimals).ok().filter(|_| right)?;
    Some(sum / 10_f64.powi(places))
}

/// Decimals of a step: two for 10 mV.
fn decimals_of(step: f64) -> usize {
    let decimals = (0..9).find(|decimals| {
        let scaled = step * 10_f64.powi(*decimals);
        (scaled - scaled.round()).abs() < 1e-6 && 0.5 < scaled
    });
    usize::try_from(decimals.unwrap_or(9)).unwrap_or(9)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;

    fn picture(text: &str) -> Picture {
        Picture::try_from(text.to_owned()).unwrap()
    }

    #[rstest]
    #[case::free("VOLT {}", 0.01, 25.0, "VOLT 25.00")]
    #[case::free_in_whole_steps("VOLT {}", 1.0, 25.0, "VOLT 25")]
    #[case::a_step_of_half_a_decade("CURR {}", 0.0005, 0.0105, "CURR 0.0105")]
    #[case::fixed("U{00.00}", 0.01, 2.5, "U02.50")]
    #[case::no_decimals("U{000}V", 1.0, 25.0, "U025V")]
    #[case::a_point_that_is_thought("I{0_0000}", 1e-4, 0.0045, "I00045")]
    #[case::signed("{+0.0}", 0.1, 2.0, "+2.0")]
    #[case::a_decimal_comma("U{00,00}", 0.01, 2.5, "U02,50")]
    #[case::too_long_for_its_width("U{0.0}", 0.1, 25.0, "U25.0")]
    fn a_number_is_written(
        #[case] text: &str,
        #[case] step: f64,
        #[case] value: f64,
        #[case] words: &str,
    ) {
        assert_eq!(picture(text).write(value, step), words);
    }

    #[rstest]
    #[case::fixed("{00.00}", b"25.00", 25.0)]
    #[case::a_point_that_is_thought("{00_000}", b"24998", 24.998)]
    #[case::words_around("U={+00.00}V", b"U=-00.01V", -0.01)]
    #[case::free_with_a_unit("{} V", b" 25.003 V", 25.003)]
    #[case::free_with_words("at {}", b"at 2.5E1V", 25.0)]
    #[case::a_decimal_comma("{00,00}", b"25,00", 25.0)]
    #[case::a_free_decimal_comma("{,} V", b"+1,234E-03 V", 1.234e-3)]
    fn a_reply_is_read(#[case] text: &str, #[case] bytes: &[u8], #[case] value: f64) {
        assert_eq!(picture(text).read(bytes, Unit::Volt), Ok(Sample::Value(value)));
    }

    #[rstest]
    #[case::a_digit_too_few("{00.00}", b"5.00")]
    #[case::a_digit_too_many("{00.00}", b"025.00")]
    #[case::a_letter("{00_00}", b"2O00")]
    #[case::a_comma("{00.00}", b"25,00")]
    #[case::no_sign("{+00.00}", b"25.00")]
    #[case::a_sign_not_asked_for("{00.00}", b"-5.00")]
    #[case::no_unit("{} V", b"25.00")]
    #[case::the_wrong_unit("{} V", b"25.00 A V")]
    #[case::other_words("U{00.00}", b"I25.00")]
    #[case::nothing("{00.00}", b"")]
    #[case::a_point_where_a_comma_belongs("{00,00}", b"25.00")]
    #[case::two_commas("{,}", b"1,2,3")]
    #[case::a_comma_for_thousands("{,}", b"1,234.5")]
    fn anything_else_is_no_reading(#[case] text: &str, #[case] bytes: &[u8]) {
        assert!(picture(text).read(bytes, Unit::Volt).is_err());
    }

    #[rstest]
    #[case("VOLT")]
    #[case("{00.00")]
    #[case("{} {}")]
    #[case("{12.00}")]
    #[case("{.00}")]
    #[case("{00.}")]
    #[case("{0000000000000}")]
    fn a_text_that_is_no_picture_is_refused(#[case] text: &str) {
        assert!(Picture::try_from(text.to_owned()).is_err(), "{text}");
    }

    #[test]
    fn a_width_tells_what_it_holds() {
        let picture = picture("{00.00}");
        assert_eq!(
            (picture.length(), picture.holds(99.99), picture.holds(100.0)),
            (Some(5), true, false)
        );
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_back(
            hundredths in 0_u32..10_000, text in prop::sample::select(vec!["{00.00}", "U{00_00}", "{+00.00} V", "{}"])
        ) {
            let value = f64::from(hundredths) / 100.0;
            let picture = picture(text);
            let words = picture.write(value, 0.01);
            let Ok(Sample::Value(read)) = picture.read(words.as_bytes(), Unit::Volt) else {
                return Err(TestCaseError::fail(words));
            };
            prop_assert!((read - value).abs() < 1e-9);
            prop_assert_eq!(String::from(picture), text);
        }

        #[test]
        fn no_bytes_give_a_number_that_is_not_finite(bytes in prop::collection::vec(any::<u8>(), 0..12)) {
            for text in ["{}", "{00.00}", "{+0_0000}"] {
                if let Ok(Sample::Value(value)) = picture(text).read(&bytes, Unit::Volt) {
                    prop_assert!(value.is_finite());
                }
            }
        }
    }
}
