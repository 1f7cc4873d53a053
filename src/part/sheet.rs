//! Reads the leakage line of a data sheet as it is printed.
//!
//! A line is folded to one typography, cut into tokens, scanned for what each piece states, grouped
//! with its conditions, and resolved to the rules of this part. Whatever could be read in two ways, or
//! can't be meant, becomes a [`Question`] with the possible readings: the worst that could happen is a
//! wrong number that nobody notices. Source of the forms and bounds: handbook §1.

mod bounds;
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "a grammar names what it takes; all else is refused alike"
)]
mod compare;
mod convention;
mod doubt;
mod fold;
mod group;
mod grown;
mod item;
mod lex;
mod number;
mod product;
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "a grammar names what it takes; all else is refused alike"
)]
mod range;
mod resolve;
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "a grammar names what it takes; all else is refused alike"
)]
mod scan;
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "a grammar names what it takes; all else is refused alike"
)]
mod symbol;
mod token;
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "a grammar names what it takes; all else is refused alike"
)]
mod value;
mod words;
mod worth;

pub use convention::Convention;

use super::family::{Dielectric, Family};
use super::limit::Limit;
use super::rating::Rating;
use crate::quantity::Current;

/// The longest line that is read, in bytes: no leakage limit is longer.
pub const LONGEST_LINE: usize = 2000;

/// What a printed line says about a part.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Its limits; several if the line gives several reading times or temperatures.
    Limits(Printed),
    /// The line can't be relied on as it stands.
    Question(Question),
}

/// Limits as printed.
#[derive(Debug, Clone, PartialEq)]
pub struct Printed {
    /// The limits, in the order of the line; at least one.
    pub limits: Vec<Limit>,
    /// What the line leaves to convention.
    pub conventions: Vec<Convention>,
}

/// Why a line is asked about.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// The reasons, the first first.
    pub why: Vec<String>,
    /// The byte of the line at which the first reason stands.
    pub place: Option<usize>,
    /// What may be meant.
    pub readings: Vec<Reading>,
}

/// A way to read a line.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The limit in the written form that has one meaning.
    pub formula: String,
    /// What it gives for the part.
    pub current: Current,
}

/// Reads a printed line for a part of this rating; ceramics may need to be told apart.
#[must_use]
pub fn read(line: &str, rating: &Rating, dielectric: Option<Dielectric>) -> Answer {
    if LONGEST_LINE < line.len() {
        let why = vec![doubt::Why::TooLong.to_string()];
        return Answer::Question(Question { why, place: None, readings: Vec::new() });
    }
    let tokens = lex::lex(&fold::fold(line));
    let said = scan::scan(&tokens);
    resolve::resolve(said, rating, dielectric)
}

/// The dielectric that a family tag or a word of the trade names, as far as a line can depend on it.
///
/// Words that several families share, such as `film`, are enough here.
#[must_use]
pub fn dielectric_of(word: &str) -> Option<Dielectric> {
    match Family::read(word) {
        Ok(family) => Some(family.dielectric()),
        Err(_) => match word {
            "film" => Some(Dielectric::Film),
            "al-solid" | "polymer" => Some(Dielectric::PolymerAluminium),
            _ => None,
        },
    }
}

#[cfg(test)]
mod misprint;
#[cfg(test)]
mod random;
#[cfg(test)]
mod rows;
#[cfg(test)]
mod unseen;
#[cfg(test)]
mod variation;
