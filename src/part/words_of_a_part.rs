//! Reads a part from words in any order: `22µF 25V tantalum`, `470u/63V al-wet`.
//!
//! Words stand apart by blanks or a stroke; a number and its unit may be two words. What begins
//! with a digit or sign is a voltage if it ends in `V` (or holds one, as `6V3`), a tolerance if it
//! ends in `%`, else a capacitance. Of the rest, what names no family and looks like a place on a
//! board (one to three letters, then a number: `C14`) is the name.

use super::Part;
use super::family::{Dielectric, Family, FamilyError};
use super::rating::{Rating, RatingError};
use super::tolerance::{Tolerance, ToleranceError};
use crate::quantity::read::{self, ReadError};
use crate::quantity::{Capacitance, Voltage};

/// What a word says of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Its place on the board.
    Name,
    /// What it is made of.
    Family,
    /// The printed capacitance.
    Capacitance,
    /// The printed voltage.
    Voltage,
    /// The tolerance of its capacitance.
    Tolerance,
}

/// Why words are no part.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PartError {
    /// A needed word is not there.
    #[error("expected a {kind} in {text:?}, came none")]
    Missing {
        /// What is not there.
        kind: Kind,
        /// All the words.
        text: String,
    },
    /// Two words say the same thing.
    #[error("expected one {kind}, came {first:?} and {second:?}")]
    Twice {
        /// What they say.
        kind: Kind,
        /// The word that came first.
        first: String,
        /// The word that came second.
        second: String,
    },
    /// A word that begins with a number does not read.
    #[error("the word {word:?} does not read")]
    Value {
        /// The word.
        word: String,
        /// What is wrong with it.
        source: Box<ReadError>,
    },
    /// A tolerance does not read.
    #[error(transparent)]
    Tolerance(#[from] ToleranceError),
    /// A word names no family, or several.
    #[error(transparent)]
    Family(#[from] FamilyError),
    /// No part has this rating.
    #[error("no part is {text:?}")]
    Rating {
        /// All the words.
        text: String,
        /// What is wrong with the rating.
        source: RatingError,
    },
}

impl PartError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Missing { .. } | Self::Twice { .. } | Self::Tolerance(_) => {
                "write it as in C14 22µF 25V tantalum 10%".to_owned()
            }
            Self::Value { source, .. } => source.help(),
            Self::Family(source) => source.help(),
            Self::Rating { source, .. } => source.help().to_owned(),
        }
    }
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Name => "name",
            Self::Family => "family",
            Self::Capacitance => "capacitance",
            Self::Voltage => "voltage",
            Self::Tolerance => "tolerance",
        })
    }
}

impl Part {
    /// Reads a part from words in any order: `C14 22µF 25V tantalum 10%`.
    ///
    /// # Errors
    ///
    /// [`PartError`] names the word that is missing, double or not understood.
    pub fn read(text: &str) -> Result<Self, PartError> {
        let mut found = Found::default();
        for word in words(text) {
            found.take(word)?;
        }
        found.part(text)
    }
}

/// A rating with whatever else is said of the part: enough for a limit that the sheet states.
#[derive(Debug, Clone, PartialEq)]
pub struct Loose {
    /// What is printed on it.
    pub rating: Rating,
    /// What it is made of, as far as the words tell.
    pub dielectric: Option<Dielectric>,
    /// The family, where the words name one.
    pub family: Option<Family>,
}

impl Loose {
    /// Reads a part from words in any order, of which only capacitance and voltage are needed.
    ///
    /// # Errors
    ///
    /// [`PartError`] names the word that does not read or is not there.
    pub fn read(text: &str) -> Result<Self, PartError> {
        let mut found = Found::default();
        let mut dielectric = None;
        for word in words(text) {
            match (kind(&word), super::sheet::dielectric_of(&word)) {
                (Kind::Family, Some(named)) => {
                    dielectric = Some(named);
                    if Family::read(&word).is_ok() {
                        found.take(word)?;
                    }
                }
                _ => found.take(word)?,
            }
        }
        let (rating, family) = found.rating(text)?;
        Ok(Self { rating, dielectric, family })
    }
}

/// What was found, each with its word.
#[derive(Default)]
struct Found {
    name: Option<(String, String)>,
    family: Option<(Family, String)>,
    capacitance: Option<(Capacitance, String)>,
    voltage: Option<(Voltage, String)>,
    tolerance: Option<(Tolerance, String)>,
}

impl Found {
    fn take(&mut self, word: String) -> Result<(), PartError> {
        match kind(&word) {
            Kind::Tolerance => {
                put(&mut self.tolerance, Kind::Tolerance, Tolerance::read(&word)?, word)
            }
            Kind::Voltage => {
                put(&mut self.voltage, Kind::Voltage, value(read::voltage, &word)?, word)
            }
            Kind::Capacitance => put(
                &mut self.capacitance,
                Kind::Capacitance,
                value(read::capacitance, &word)?,
                word,
            ),
            Kind::Name => put(&mut self.name, Kind::Name, word.clone(), word),
            Kind::Family => put(&mut self.family, Kind::Family, Family::read(&word)?, word),
        }
    }

    fn rating(self, text: &str) -> Result<(Rating, Option<Family>), PartError> {
        let capacitance = needed(self.capacitance, Kind::Capacitance, text)?;
        let voltage = needed(self.voltage, Kind::Voltage, text)?;
        let rating = Rating::new(capacitance, voltage)
            .map_err(|source| PartError::Rating { text: text.to_owned(), source })?;
        Ok((rating, self.family.map(|(family, _)| family)))
    }

    fn part(self, text: &str) -> Result<Part, PartError> {
        let capacitance = needed(self.capacitance, Kind::Capacitance, text)?;
        let voltage = needed(self.voltage, Kind::Voltage, text)?;
        let family = needed(self.family, Kind::Family, text)?;
        let rating = Rating::new(capacitance, voltage)
            .map_err(|source| PartError::Rating { text: text.to_owned(), source })?;
        let name = self.name.map(|(name, _)| name);
        Ok(Part { name, family, rating, tolerance: self.tolerance.map(|(found, _)| found) })
    }
}

fn put<T>(
    slot: &mut Option<(T, String)>,
    kind: Kind,
    value: T,
    word: String,
) -> Result<(), PartError> {
    if let Some((_, first)) = slot.take() {
        return Err(PartError::Twice { kind, first, second: word });
    }
    *slot = Some((value, word));
    Ok(())
}

fn needed<T>(slot: Option<(T, String)>, kind: Kind, text: &str) -> Result<T, PartError> {
    let missing = || PartError::Missing { kind, text: text.to_owned() };
    slot.map(|(value, _)| value).ok_or_else(missing)
}

fn value<Q>(reader: fn(&str) -> Result<Q, ReadError>, word: &str) -> Result<Q, PartError> {
    reader(word)
        .map_err(|fault| PartError::Value { word: word.to_owned(), source: Box::new(fault) })
}

fn kind(word: &str) -> Kind {
    let begins_as_number =
        word.starts_with(|letter: char| letter.is_ascii_digit() || "+-−.±".contains(letter));
    if !begins_as_number {
        return if Family::read(word).is_err() && is_place(word) {
            Kind::Name
        } else {
            Kind::Family
        };
    }
    // The last sign decides, so that a slip in the number is reported as one of its own kind.
    if word.ends_with('%') {
        Kind::Tolerance
    } else if word.contains(['V', 'v']) {
        Kind::Voltage
    } else {
        Kind::Capacitance
    }
}

/// One to three letters, then a number and at most one letter: `C14`, `C101a`.
fn is_place(word: &str) -> bool {
    let letters = word.chars().take_while(char::is_ascii_alphabetic).count();
    let rest = &word[letters..];
    let number = rest.trim_end_matches(|letter: char| letter.is_ascii_alphabetic());
    let is_number = !number.is_empty() && number.chars().all(|letter| letter.is_ascii_digit());
    (1..=3).contains(&letters) && is_number && rest.len() - number.len() <= 1
}

/// The words, a bare number joined with the unit after it.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in strokes_to_blanks(text).split_whitespace() {
        let unit_of_last = words.last().is_some_and(|last| is_bare_number(last)) && is_unit(word);
        match words.last_mut() {
            Some(last) if unit_of_last => *last = format!("{last} {word}"),
            _ => words.push(word.to_owned()),
        }
    }
    words
}

/// Strokes part words, but not the two sides of `-10/+50%`, which is the same as `-10+50%`.
fn strokes_to_blanks(text: &str) -> String {
    text.replace("/+", "+").replace('/', " ")
}

fn is_bare_number(word: &str) -> bool {
    word.ends_with(|letter: char| letter.is_ascii_digit())
        && read::number(word.trim_start_matches('±')).is_ok()
}

fn is_unit(word: &str) -> bool {
    let no_number = !word.chars().any(|letter| letter.is_ascii_digit());
    no_number && word.chars().count() <= 4 && Family::read(word).is_err()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;
    use crate::quantity::{farads, volts};

    #[rstest]
    #[case::plain("22µF 25V tantalum", "22 µF 25 V ta-mno2")]
    #[case::with_a_stroke("470u/63V al-wet", "470 µF 63 V al-wet")]
    #[case::with_place_and_tolerance("C14 22µF 25V tantalum 10%", "C14 22 µF 25 V ta-mno2 ±10%")]
    #[case::in_another_order("tantalum 10% 25V C14 22µF", "C14 22 µF 25 V ta-mno2 ±10%")]
    #[case::units_apart("22 µF 25 V elko", "22 µF 25 V al-wet")]
    #[case::letters_as_marks("4n7 6V3 X7R", "4.7 nF 6.3 V cer-2")]
    #[case::decimal_comma("0,47 µF 400 V paper", "470 nF 400 V paper")]
    #[case::two_sided_tolerance("8 mfd 450V al-vintage -10/+50%", "8 µF 450 V al-vintage -10+50%")]
    #[case::old_tolerance_apart("8MFD 450V al-vintage ±20 %", "8 µF 450 V al-vintage ±20%")]
    #[case::a_code_that_looks_like_a_place("100n 50V C0G", "100 nF 50 V cer-1")]
    fn a_part_reads_from_its_words(#[case] text: &str, #[case] part: &str) {
        let read = Part::read(text).unwrap();
        assert_eq!(read.to_string(), part);
        assert_eq!(Part::read(part), Ok(read));
    }

    #[rstest]
    #[case::no_capacitance("25V tantalum", Kind::Capacitance)]
    #[case::no_voltage("22µF tantalum", Kind::Voltage)]
    #[case::no_family("22µF 25V", Kind::Family)]
    #[case::nothing("", Kind::Capacitance)]
    fn a_missing_word_is_named(#[case] text: &str, #[case] expected: Kind) {
        let error = Part::read(text).unwrap_err();
        assert!(matches!(error, PartError::Missing { kind, .. } if kind == expected), "{error}");
    }

    #[rstest]
    #[case::capacitance("22µF 25V tantalum 33µF", Kind::Capacitance)]
    #[case::voltage("22µF 25V 35V tantalum", Kind::Voltage)]
    #[case::family("22µF 25V tantalum elko", Kind::Family)]
    #[case::name("C14 C15 22µF 25V tantalum", Kind::Name)]
    #[case::tolerance("22µF 25V tantalum 10% 20%", Kind::Tolerance)]
    fn a_double_word_is_named(#[case] text: &str, #[case] expected: Kind) {
        let error = Part::read(text).unwrap_err();
        assert!(matches!(error, PartError::Twice { kind, .. } if kind == expected), "{error}");
    }

    #[rstest]
    #[case::zero_voltage("22µF 0V tantalum")]
    #[case::negative_voltage("22µF -25V tantalum")]
    #[case::zero_capacitance("0µF 25V tantalum")]
    #[case::negative_capacitance("-22µF 25V tantalum")]
    fn a_rating_that_no_part_has_is_refused(#[case] text: &str) {
        assert!(matches!(Part::read(text), Err(PartError::Rating { .. })));
    }

    #[rstest]
    #[case::no_unit("22 25V tantalum")]
    #[case::doubtful_unit("22MF 25V tantalum")]
    #[case::garbage_after_a_number("22xyz 25V tantalum")]
    #[case::comma_that_may_part_thousands("1,000 µF 25V tantalum")]
    fn a_word_that_does_not_read_is_refused(#[case] text: &str) {
        let error = Part::read(text).unwrap_err();
        assert!(matches!(error, PartError::Value { .. }), "{error:?}");
    }

    #[rstest]
    #[case::place_on_a_board("C14", Kind::Name)]
    #[case::place_with_a_letter("C101a", Kind::Name)]
    #[case::ceramic_code("X7R", Kind::Family)]
    #[case::mains_code("X2", Kind::Family)]
    #[case::word("wood", Kind::Family)]
    #[case::letters_alone("CAP", Kind::Family)]
    #[case::capacitance("4n7", Kind::Capacitance)]
    #[case::voltage_with_a_mark("6V3", Kind::Voltage)]
    #[case::tolerance("±10%", Kind::Tolerance)]
    fn a_word_shows_its_kind(#[case] word: &str, #[case] expected: Kind) {
        assert_eq!(kind(word), expected);
    }

    #[rstest]
    #[case::missing("22µF 25V")]
    #[case::double("22µF 25V 35V elko")]
    #[case::unread_value("22MF 25V elko")]
    #[case::unread_tolerance("22µF 25V elko -10%")]
    #[case::unknown_family("22µF 25V wood")]
    #[case::ambiguous_family("22µF 25V film")]
    #[case::no_rating("22µF 0V elko")]
    fn every_refusal_says_what_to_do(#[case] text: &str) {
        let error = Part::read(text).unwrap_err();
        assert!(error.help().starts_with("write"), "{}", error.help());
        assert!(!error.to_string().contains('\n'), "{error}");
    }

    proptest! {
        #[test]
        fn every_part_reads_back_as_it_is_written(
            family in prop::sample::select(Family::ALL),
            picofarad in 1.0..1e12_f64,
            voltage in 0.5..1000.0_f64,
            name in prop::option::of("C[1-9][0-9]{0,2}"),
            percent in prop::option::of(1_u8..99),
        ) {
            let rating = Rating::new(farads(picofarad * 1e-12), volts(voltage)).unwrap();
            let tolerance = percent.map(|percent| Tolerance::read(&format!("{percent}%")).unwrap());
            let part = Part { name, family, rating, tolerance };
            prop_assert_eq!(Part::read(&part.to_string()), Ok(part));
        }

        #[test]
        fn the_order_of_the_words_does_not_matter(
            words in Just(vec!["C14", "22µF", "25V", "tantalum", "10%"]).prop_shuffle(),
        ) {
            let expected = Part::read("C14 22µF 25V tantalum 10%");
            prop_assert_eq!(Part::read(&words.join(" ")), expected);
        }

        #[test]
        fn reading_a_part_never_panics(text in "([0-9]{1,3}|µF|V|%|/|-|\\+| |C|elko|\\PC){0,10}") {
            let read = Part::read(&text);
            prop_assert!(read.is_ok() || !read.unwrap_err().to_string().is_empty());
        }
    }

    #[test]
    fn the_message_names_the_word() {
        let message = |text| Part::read(text).unwrap_err().to_string();
        insta::assert_snapshot!(message("22µF 25V"), @r#"expected a family in "22µF 25V", came none"#);
        insta::assert_snapshot!(message("22µF 25V 35V elko"), @r#"expected one voltage, came "25V" and "35V""#);
        insta::assert_snapshot!(message("22µF 25V wood"), @r#"expected a family of capacitors, came "wood""#);
        insta::assert_snapshot!(message("22MF 25V elko"), @r#"the word "22MF" does not read"#);
    }
}
