//! The line between host and instrument: bytes with moments, and what spoils them on the way.

use std::collections::VecDeque;

use crate::dice::Dice;
use crate::kinds::OnLine;

/// Time for a reply to begin, and for each of its bytes, s: 115 200 Bd.
const LATENCY: f64 = 1e-3;
const BYTE: f64 = 1e-4;

/// One instrument's line.
#[derive(Debug, Default)]
pub(crate) struct Wire {
    coming: VecDeque<(f64, u8)>,
    /// What is to happen to the next reply.
    replies: Vec<OnLine>,
    /// What is to happen to the next line that is told.
    told: Vec<OnLine>,
    /// A reply that waits for the next one.
    held: Vec<u8>,
    last: Vec<u8>,
    said: Vec<u8>,
}

impl Wire {
    /// Something is to happen to the next that passes, or at once.
    pub(crate) fn spoil(&mut self, how: OnLine, now: f64) {
        match how {
            OnLine::OrderLost | OnLine::OrderGarbled => self.told.push(how),
            OnLine::Unasked => self.send(b"?\r", now, 0.0),
            OnLine::Stale => {
                let last = self.last.clone();
                self.send(&last, now, 0.0);
            }
            _ => self.replies.push(how),
        }
    }

    /// What reaches the instrument of a line that is told.
    pub(crate) fn tell(&mut self, bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
        self.said = bytes.to_vec();
        let mut bytes = bytes.to_vec();
        for how in self.told.drain(..) {
            if how == OnLine::OrderLost {
                return Vec::new();
            }
            let at = dice.below(bytes.len());
            bytes[at] = dice.byte();
        }
        bytes
    }

    /// A reply sets out.
    pub(crate) fn carry(&mut self, reply: &[u8], now: f64, dice: &mut Dice) {
        let mut bytes = std::mem::take(&mut self.held);
        bytes.extend_from_slice(reply);
        self.last = reply.to_vec();
        let mut delay = 0.0;
        for how in std::mem::take(&mut self.replies) {
            if spoiled(&mut bytes, how, dice) {
                continue;
            }
            match how {
                OnLine::Late => delay += dice.between(0.05, 4.0),
                OnLine::Missing => return,
                OnLine::Glued => {
                    self.held = bytes;
                    return;
                }
                OnLine::Split => {
                    let cut = dice.below(bytes.len());
                    let rest = bytes.split_off(cut);
                    self.send(&bytes, now, delay);
                    delay += dice.between(0.05, 1.5);
                    bytes = rest;
                }
                OnLine::Echoed => {
                    let said = self.said.clone();
                    bytes.splice(..0, said);
                }
                _ => {}
            }
        }
        self.send(&bytes, now, delay);
    }

    fn send(&mut self, bytes: &[u8], now: f64, delay: f64) {
        let mut at = now + LATENCY + delay;
        at = self.coming.back().map_or(at, |(last, _)| at.max(*last));
        for byte in bytes {
            at += BYTE;
            self.coming.push_back((at, *byte));
        }
    }

    /// The next moment at which something arrives: the end of what comes in one go.
    pub(crate) fn next(&self) -> Option<f64> {
        let (mut at, _) = *self.coming.front()?;
        for (next, _) in &self.coming {
            if at + 2.0 * BYTE < *next {
                break;
            }
            at = *next;
        }
        Some(at)
    }

    /// What has arrived.
    pub(crate) fn arrived(&mut self, now: f64) -> Vec<u8> {
        let mut bytes = Vec::new();
        while self.coming.front().is_some_and(|(at, _)| *at <= now) {
            bytes.extend(self.coming.pop_front().map(|(_, byte)| byte));
        }
        bytes
    }

    /// Nothing comes any more.
    pub(crate) fn hang_up(&mut self) {
        self.coming.clear();
    }
}

/// Changes the bytes of a reply; tells whether that was all.
fn spoiled(bytes: &mut Vec<u8>, how: OnLine, dice: &mut Dice) -> bool {
    let at = dice.below(bytes.len());
    match how {
        OnLine::Garbled => {
            for _ in 0..=dice.below(3) {
                let at = dice.below(bytes.len());
                bytes[at] = dice.byte();
            }
        }
        OnLine::BitFlipped => bytes[at] ^= 1 << dice.below(8),
        OnLine::ByteLost => drop(bytes.remove(at)),
        OnLine::ByteAdded => bytes.insert(at, dice.byte()),
        OnLine::WithoutEnd => bytes.retain(|byte| !matches!(byte, b'\r' | b'\n')),
        OnLine::OtherEnd => {
            bytes.retain(|byte| !matches!(byte, b'\r' | b'\n'));
            bytes.extend_from_slice(dice.pick(&[
                &b"\r"[..],
                b"\r\n",
                b"\n\r",
                b"\r\n\r\n",
                b"\0\n",
            ]));
        }
        OnLine::DecimalComma => {
            for byte in bytes.iter_mut().filter(|byte| **byte == b'.') {
                *byte = b',';
            }
        }
        OnLine::OverloadMark => *bytes = b"+9.900000E+37\n".to_vec(),
        OnLine::NoNumberMark => *bytes = b"+9.910000E+37\n".to_vec(),
        OnLine::ErrorWord => *bytes = b"Err\r\n".to_vec(),
        _ => return false,
    }
    true
}
