//! Readings as lines of text.

use std::borrow::Cow;

use super::{Shown, outline, shown_value, widest};
use crate::station::driver::{Field, TextStream};
use crate::station::reply;

/// How the micro sign is written: in Latin-1, and as either letter in UTF-8.
const MICROS: [&[u8]; 3] = [b"\xc2\xb5", b"\xce\xbc", b"\xb5"];

/// The next line that is not blank, and what it shows.
pub(super) fn next(form: &TextStream, pending: &mut Vec<u8>) -> Option<Result<Shown, Vec<u8>>> {
    loop {
        let end = pending.iter().position(|byte| matches!(byte, b'\r' | b'\n'))?;
        let line: Vec<u8> = pending.drain(..=end).collect();
        if !line.trim_ascii().is_empty() {
            return Some(shown(form, &line).ok_or(line));
        }
    }
}

/// The bytes with `u` for each micro sign.
fn plain(line: &[u8]) -> Cow<'_, [u8]> {
    if line.is_ascii() {
        return Cow::Borrowed(line);
    }
    let (mut left, mut plain) = (line, Vec::with_capacity(line.len()));
    while let Some((first, rest)) = left.split_first() {
        if let Some(sign) = MICROS.iter().find(|sign| left.starts_with(sign)) {
            plain.push(b'u');
            left = &left[sign.len()..];
        } else {
            plain.push(*first);
            left = rest;
        }
    }
    Cow::Owned(plain)
}

fn shown(form: &TextStream, line: &[u8]) -> Option<Shown> {
    let line = plain(line);
    let text = std::str::from_utf8(&line).ok().filter(|text| text.is_ascii())?;
    let words: Vec<&str> = text.split_ascii_whitespace().collect();
    if words.len() != form.line.len() {
        return None;
    }
    let word = |field| form.line.iter().position(|given| *given == field).map(|at| words[at]);
    let (value, unit) = (word(Field::Value)?, word(Field::Unit)?);
    let is_live = word(Field::Kind)? == form.kind
        && form.live.iter().any(|state| Some(state.as_str()) == word(Field::State));
    if !is_live {
        return Some(Shown::Idle);
    }
    let (negative, digits) = match value.split_at_checked(1)? {
        ("-", digits) => (true, digits),
        ("+", digits) => (false, digits),
        _ => (false, value),
    };
    let ranges =
        form.range.iter().filter(|range| plain(range.unit.as_bytes()).as_ref() == unit.as_bytes());
    if digits == form.overload || reply::overload_word(digits.as_bytes()).is_some() {
        let widest = widest(ranges.map(|range| range.full_scale))?;
        return Some(Shown::Overload { negative, widest });
    }
    let range = ranges.into_iter().find(|range| range.digits == outline(digits))?;
    Some(Shown::Value(shown_value(negative, digits, range.one)?, range.full_scale))
}
