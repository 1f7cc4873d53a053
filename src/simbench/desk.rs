//! What all instruments have in common towards the line: status, error queue, replies to come.

use std::collections::VecDeque;

use crate::simbench::spoil::Way;
use scpi::error::{Error, ErrorCode};

/// Errors that the queue holds; what comes then turns the last into "queue overflow".
const QUEUE: usize = 16;
/// Bit of the event status register: the instrument was switched on.
const POWER_ON: u8 = 0x80;
/// Bit of the event status register: operation complete.
pub(crate) const COMPLETE: u8 = 0x01;

/// Which instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Instrument {
    /// The supply.
    Supply,
    /// The meter.
    Meter,
    /// The switch.
    Switch,
}

/// The face of one instrument.
#[derive(Debug, Clone)]
pub(crate) struct Desk {
    /// Answer to `*IDN?`.
    pub(crate) identity: String,
    /// Event status register of IEEE 488.2.
    pub(crate) events: u8,
    /// Takes lines and does nothing with them.
    pub(crate) silent: bool,
    /// Seconds by which each reply is late.
    pub(crate) late: f64,
    /// Until then replies wait on their way, and all come at once (s).
    pub(crate) held_until: f64,
    /// Nothing is read from the port.
    pub(crate) stalled: bool,
    /// The port is gone.
    pub(crate) hung_up: bool,
    /// Lines that come before this time are lost (s).
    pub(crate) deaf_until: f64,
    /// Lines that come sooner than this after another are lost (s).
    pub(crate) gap: f64,
    /// What becomes of its replies.
    pub(crate) way: Way,
    heard: f64,
    queue: VecDeque<Error>,
    replies: Vec<(f64, Vec<u8>)>,
}

impl Desk {
    /// An instrument just switched on.
    pub(crate) fn new(identity: &str) -> Self {
        Self {
            identity: identity.to_owned(),
            events: POWER_ON,
            silent: false,
            late: 0.0,
            held_until: 0.0,
            stalled: false,
            hung_up: false,
            deaf_until: 0.0,
            gap: 0.0,
            way: Way::default(),
            heard: f64::NEG_INFINITY,
            queue: VecDeque::new(),
            replies: Vec::new(),
        }
    }

    /// Switched off and on again: deaf for a while, then with a clean status.
    pub(crate) fn restart(&mut self, deaf_until: f64) {
        self.clear();
        self.events = POWER_ON;
        self.replies.clear();
        self.deaf_until = deaf_until;
    }

    /// Nothing is wrong any more, save with the port.
    pub(crate) fn mend(&mut self, identity: String) {
        self.identity = identity;
        self.silent = false;
        self.late = 0.0;
        self.stalled = false;
        self.gap = 0.0;
    }

    /// Whether a line that comes at `now` is heard.
    pub(crate) fn hears(&mut self, now: f64) -> bool {
        let soon = now - self.heard < self.gap;
        self.heard = now;
        !(self.silent || self.hung_up || soon || now < self.deaf_until)
    }

    /// Clears events and errors.
    pub(crate) fn clear(&mut self) {
        self.queue.clear();
        self.events = 0;
    }

    /// Queues an error and notes its event.
    pub(crate) fn push(&mut self, error: Error) {
        self.events |= error.esr_mask();
        if self.queue.len() < QUEUE {
            self.queue.push_back(error);
        } else if let Some(last) = self.queue.back_mut() {
            *last = ErrorCode::QueueOverflow.into();
        }
    }

    /// Takes the oldest error, "no error" if there is none.
    pub(crate) fn pop(&mut self) -> Error {
        self.queue.pop_front().unwrap_or_default()
    }

    /// A reply of one line that goes out at `now`, later if the instrument is slow, never if it is
    /// silent.
    pub(crate) fn reply(&mut self, now: f64, text: &str) {
        self.send(now, format!("{text}\n").into_bytes());
    }

    /// The same for bytes that have their end with them, if they have one.
    pub(crate) fn send(&mut self, now: f64, bytes: Vec<u8>) {
        if self.silent {
            return;
        }
        for (delay, piece) in self.way.carry(bytes) {
            let at = (now + self.late + delay).max(self.held_until);
            self.replies.push((at, piece));
        }
    }

    /// Takes the replies that are due at `now`.
    pub(crate) fn due(&mut self, now: f64) -> Vec<Vec<u8>> {
        let (due, rest) = self.replies.drain(..).partition(|(at, _)| *at <= now);
        self.replies = rest;
        due.into_iter().map(|(_, bytes): (f64, Vec<u8>)| bytes).collect()
    }

    /// When the next reply goes out (s).
    pub(crate) fn next_reply(&self) -> Option<f64> {
        self.replies.iter().map(|(at, _)| *at).min_by(f64::total_cmp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replies_go_out_when_they_are_due_and_only_once() {
        let mut desk = Desk::new("NAME");
        desk.late = 0.5;
        desk.reply(1.0, "one");
        desk.send(2.0, b"two".to_vec());
        assert_eq!(desk.next_reply(), Some(1.5));
        assert!(desk.due(1.4).is_empty());
        assert_eq!(desk.due(1.5), [b"one\n"]);
        assert_eq!(desk.due(3.0), [b"two"]);
        assert_eq!(desk.next_reply(), None);
    }

    #[test]
    fn a_line_too_soon_also_starts_the_gap_again() {
        let mut desk = Desk::new("NAME");
        desk.gap = 0.1;
        assert!(desk.hears(1.0));
        assert!(!desk.hears(1.09));
        assert!(!desk.hears(1.18));
        assert!(desk.hears(1.29));
    }

    #[test]
    fn a_restart_forgets_errors_and_answers_and_sets_the_power_on_bit() {
        let mut desk = Desk::new("NAME");
        desk.push(ErrorCode::UndefinedHeader.into());
        desk.reply(0.0, "lost");
        desk.restart(4.0);
        assert!(desk.due(9.0).is_empty());
        assert_eq!(desk.pop(), ErrorCode::NoError);
        assert_eq!(desk.events, POWER_ON);
        assert!(!desk.hears(3.9));
        assert!(desk.hears(4.0));
    }
}
