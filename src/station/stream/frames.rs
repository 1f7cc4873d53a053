//! Readings as frames of bytes that show what the display shows.

use super::{Shown, outline, shown_value, widest};
use crate::station::driver::FrameStream;

/// The next frame, and what it shows. Bytes that begin no whole frame are dropped one by one, so
/// that a start that is none costs no frame behind it.
pub(super) fn next(form: &FrameStream, pending: &mut Vec<u8>) -> Option<Result<Shown, Vec<u8>>> {
    let skipped = bytes_before_a_start(form, pending);
    pending.drain(..skipped);
    if pending.len() < form.length {
        return None;
    }
    if !form.check.holds(&pending[..form.length]) {
        return Some(Err(pending.drain(..1).collect()));
    }
    let frame: Vec<u8> = pending.drain(..form.length).collect();
    Some(shown(form, &frame).ok_or(frame))
}

/// Number of bytes in front of what may be a start, whole or not.
fn bytes_before_a_start(form: &FrameStream, pending: &[u8]) -> usize {
    let may_begin = |at: &usize| {
        let rest = &pending[*at..];
        let known = rest.len().min(form.start.len());
        rest[..known] == form.start[..known]
    };
    (0..pending.len()).find(may_begin).unwrap_or(pending.len())
}

fn shown(form: &FrameStream, frame: &[u8]) -> Option<Shown> {
    if !form.live.iter().all(|bits| bits.hold(frame)) {
        return Some(Shown::Idle);
    }
    let digits = digits(form, frame)?;
    let negative = form.negative.hold(frame);
    let ranges = form.range.iter().filter(|range| range.unit.hold(frame));
    if digits.contains(form.overload) {
        let widest = widest(ranges.map(|range| range.full_scale))?;
        return Some(Shown::Overload { negative, widest });
    }
    let range = ranges.into_iter().find(|range| range.digits == outline(&digits))?;
    Some(Shown::Value(shown_value(negative, &digits, range.one)?, range.full_scale))
}

/// The display as text, point included; nothing if segments are lit that make no character.
fn digits(form: &FrameStream, frame: &[u8]) -> Option<String> {
    let place = form.digits;
    let mut text = String::new();
    for byte in frame.get(place.first..place.first + place.count)? {
        if byte & place.point != 0 {
            text.push('.');
        }
        let lit = byte & place.mask;
        text.push(*form.glyphs.iter().find(|(_, code)| **code == lit)?.0);
    }
    Some(text)
}
