//! What becomes of a reply on its way: lost, cut, glued, garbled, echoed, late from before.

use std::collections::VecDeque;

use crate::quantity::Time;

/// Something that goes wrong with the next reply of an instrument.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LineFault {
    /// It gets lost.
    Missing,
    /// Its second half comes this much later.
    Split(Time),
    /// It comes together with the one after it.
    Glued,
    /// Its first byte turns into another.
    Garbled,
    /// Its last digits get lost.
    Cut,
    /// What was told comes back before it.
    Echoed,
    /// The reply before it comes again, ahead of it.
    Stale,
    /// Its end mark is missing.
    WithoutEnd,
    /// It ends with CR, LF and a blank line.
    OtherEnd,
    /// Its points are commas.
    DecimalComma,
    /// A word comes in its place.
    ErrorWord,
    /// It has the top bit set in every digit, as with other parity.
    TopBits,
}

/// The way of an instrument's replies.
#[derive(Debug, Clone, Default)]
pub(crate) struct Way {
    faults: VecDeque<LineFault>,
    held: Vec<u8>,
    last: Vec<u8>,
    /// The line that was told last.
    pub(crate) told: String,
}

impl Way {
    /// Something is to happen to the next reply.
    pub(crate) fn spoil(&mut self, fault: LineFault) {
        self.faults.push_back(fault);
    }

    /// What arrives of a reply, each piece with its delay (s).
    pub(crate) fn carry(&mut self, reply: Vec<u8>) -> Vec<(f64, Vec<u8>)> {
        let before = std::mem::replace(&mut self.last, reply.clone());
        let bytes = [std::mem::take(&mut self.held), reply].concat();
        let fault = self.faults.pop_front();
        match fault {
            None => vec![(0.0, bytes)],
            Some(LineFault::Missing) => Vec::new(),
            Some(LineFault::Glued) => {
                self.held = bytes;
                Vec::new()
            }
            Some(LineFault::Split(by)) => {
                let (first, rest) = bytes.split_at(bytes.len() / 2);
                vec![(0.0, first.to_vec()), (by.value, rest.to_vec())]
            }
            Some(LineFault::Echoed) => {
                vec![(0.0, [self.told.as_bytes(), b"\r\n", &bytes].concat())]
            }
            Some(LineFault::Stale) => vec![(0.0, [before, bytes].concat())],
            Some(fault) => vec![(0.0, changed(bytes, fault))],
        }
    }
}

/// The bytes of a reply as they arrive, where only they are changed.
fn changed(mut bytes: Vec<u8>, fault: LineFault) -> Vec<u8> {
    let body = bytes.iter().rposition(|byte| !matches!(byte, b'\r' | b'\n')).map_or(0, |at| at + 1);
    match fault {
        LineFault::Garbled => bytes.iter_mut().take(1).for_each(|byte| *byte = b'#'),
        LineFault::Cut => drop(bytes.drain(body.saturating_sub(3)..body)),
        LineFault::WithoutEnd => bytes.truncate(body),
        LineFault::OtherEnd => {
            bytes.truncate(body);
            bytes.extend_from_slice(b"\r\n\r\n");
        }
        LineFault::DecimalComma => {
            bytes.iter_mut().filter(|byte| **byte == b'.').for_each(|byte| *byte = b',');
        }
        LineFault::ErrorWord => bytes = b"Err\r\n".to_vec(),
        LineFault::TopBits => {
            bytes.iter_mut().filter(|byte| byte.is_ascii_digit()).for_each(|byte| *byte |= 0x80);
        }
        LineFault::Missing
        | LineFault::Split(_)
        | LineFault::Glued
        | LineFault::Echoed
        | LineFault::Stale => {}
    }
    bytes
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::seconds;

    #[rstest]
    #[case::missing(LineFault::Missing, b"")]
    #[case::split(LineFault::Split(seconds(0.5)), b"25|.0\n")]
    #[case::garbled(LineFault::Garbled, b"#5.0\n")]
    #[case::cut(LineFault::Cut, b"2\n")]
    #[case::echoed(LineFault::Echoed, b"VOLT?\r\n25.0\n")]
    #[case::stale(LineFault::Stale, b"1\n25.0\n")]
    #[case::without_end(LineFault::WithoutEnd, b"25.0")]
    #[case::other_end(LineFault::OtherEnd, b"25.0\r\n\r\n")]
    #[case::decimal_comma(LineFault::DecimalComma, b"25,0\n")]
    #[case::word(LineFault::ErrorWord, b"Err\r\n")]
    #[case::top_bits(LineFault::TopBits, b"\xb2\xb5.\xb0\n")]
    fn a_fault_meets_one_reply(#[case] fault: LineFault, #[case] arrives: &[u8]) {
        let mut way = Way { told: "VOLT?".into(), ..Way::default() };
        way.carry(b"1\n".to_vec());
        way.spoil(fault);
        let pieces: Vec<Vec<u8>> =
            way.carry(b"25.0\n".to_vec()).into_iter().map(|(_, piece)| piece).collect();
        assert_eq!(pieces.join(&b'|'), arrives);
        assert_eq!(way.carry(b"2\n".to_vec()), [(0.0, b"2\n".to_vec())]);
    }

    #[test]
    fn a_reply_that_is_held_back_comes_with_the_next() {
        let mut way = Way::default();
        way.spoil(LineFault::Glued);
        assert_eq!(way.carry(b"1\n".to_vec()), []);
        assert_eq!(way.carry(b"2\n".to_vec()), [(0.0, b"1\n2\n".to_vec())]);
    }
}
