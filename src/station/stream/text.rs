//! Readings as lines of text.

use super::{Shown, outline, shown_value, widest};
use crate::station::driver::{Field, TextStream};

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

fn shown(form: &TextStream, line: &[u8]) -> Option<Shown> {
    let text = std::str::from_utf8(line).ok().filter(|text| text.is_ascii())?;
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
    let ranges = form.range.iter().filter(|range| range.unit == unit);
    if digits == form.overload {
        let widest = widest(ranges.map(|range| range.full_scale))?;
        return Some(Shown::Overload { negative, widest });
    }
    let range = ranges.into_iter().find(|range| range.digits == outline(digits))?;
    Some(Shown::Value(shown_value(negative, digits, range.one)?, range.full_scale))
}
