//! A scanner on its line: one relay closed at a time, and nothing believed that was not read back.
//!
//! Still without the line, as [`super::Supply`]. Before a relay closes, every channel of the station
//! is read as open; after an order and the time that relays take to move, every channel is read
//! again. What is not clear counts as closed. No order is ever repeated: a relay that was not seen
//! to move is told, and whoever ordered it decides.

mod channel;

pub use channel::Channel;

use super::driver::ScannerDriver;
use super::reply::{self, QueueEntry, ReplyError};
use super::session::{Heard, Outgoing, Session};
use crate::quantity::{Time, seconds};

/// Entries after which an error queue that never empties is given up.
const QUEUE_CAP: u8 = 20;

/// How the relays stand, as far as it was read back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Contacts {
    /// Not read since something happened: any of them may be closed.
    Unknown,
    /// All are open.
    AllOpen,
    /// This one is closed and all others are open.
    Only(Channel),
    /// Several are closed.
    Several,
}

/// What the scanner has to tell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ScannerSays {
    /// Who is there.
    Identity(String),
    /// What was asked for is done and read back; or, after a look, how the relays stand.
    Stands(Contacts),
    /// The relays do not stand as was ordered: ordered and found, in words.
    Refused(String),
    /// An entry of its error queue.
    Complains(String),
    /// The line is lost, in words.
    Lost(String),
}

/// Why a relay is not told to close.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotClosed {
    /// Another one is.
    #[error(
        "channel {wanted} stays open: channel {closed} is closed, and one part is connected at a time"
    )]
    Occupied {
        /// The channel that was to be closed.
        wanted: Channel,
        /// The channel that is closed.
        closed: Channel,
    },
    /// The others were not read as open.
    #[error("channel {wanted} stays open: the others are not proven open")]
    Unproven {
        /// The channel that was to be closed.
        wanted: Channel,
    },
    /// It is none of the station's.
    #[error("channel {wanted} is none of this station's")]
    Foreign {
        /// The channel that was to be closed.
        wanted: Channel,
    },
}

/// The questions that a scanner is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Ask {
    /// Drain the error queue; the count of entries so far.
    Error(u8),
    /// The state of one group of channels, for the look of this number.
    Group(u32, usize),
}

/// How the relays are wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Aim {
    /// As they are.
    Look,
    AllOpen,
    Only(Channel),
}

/// What follows a look at all channels.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Then {
    Tell(Aim),
    Close(Channel),
}

#[derive(Debug, Clone, PartialEq)]
enum Step {
    Rest,
    Looks(Then),
    /// An order waits for the line, or for its turn on it.
    Orders(String, Aim),
    /// Relays are moving.
    Moves(Time, Aim),
}

/// A scanner on its line.
#[derive(Debug, Clone)]
pub struct Scanner {
    session: Session<Ask>,
    driver: ScannerDriver,
    channels: Vec<Channel>,
    contacts: Contacts,
    step: Step,
    /// Closed channels found by the look under way.
    found: Vec<Channel>,
    /// Its number: an answer that was asked for by an earlier one is not taken.
    looks: u32,
}

impl Scanner {
    /// A scanner on a line that was opened at `now`; `channels` are all that the station uses.
    #[must_use]
    pub fn begin(driver: ScannerDriver, channels: &[Channel], now: Time) -> Self {
        let session = Session::open(driver.line.timing(), &driver.words.identity, now);
        let mut channels = channels.to_vec();
        channels.sort_unstable();
        channels.dedup();
        let (contacts, step) = (Contacts::Unknown, Step::Rest);
        Self { session, driver, channels, contacts, step, found: Vec::new(), looks: 0 }
    }

    /// How the relays stand, as last read back.
    #[must_use]
    pub fn contacts(&self) -> Contacts {
        self.contacts
    }

    /// Reads how all relays stand.
    pub fn look(&mut self) {
        self.begin_look(Then::Tell(Aim::Look));
    }

    /// Opens every relay and reads them back.
    pub fn open_all(&mut self) {
        self.order(self.driver.words.open_all.clone(), Aim::AllOpen);
    }

    /// Opens one relay and reads all of them back.
    pub fn open(&mut self, channel: Channel) {
        self.order(with_channels(&self.driver.words.open, &[channel]), Aim::AllOpen);
    }

    /// Closes one relay: reads all as open, closes it, reads all back.
    ///
    /// # Errors
    ///
    /// [`NotClosed`] if another relay is closed, or may be: nothing is then said to the scanner.
    pub fn close(&mut self, channel: Channel) -> Result<(), NotClosed> {
        let wanted = channel;
        if !self.channels.contains(&wanted) {
            return Err(NotClosed::Foreign { wanted });
        }
        match self.contacts {
            Contacts::AllOpen if self.step == Step::Rest => {
                self.begin_look(Then::Close(wanted));
                Ok(())
            }
            Contacts::Only(closed) => Err(NotClosed::Occupied { wanted, closed }),
            Contacts::AllOpen | Contacts::Several | Contacts::Unknown => {
                Err(NotClosed::Unproven { wanted })
            }
        }
    }

    /// An order takes the place of whatever was to be said: an older one must not come after it.
    fn order(&mut self, words: String, aim: Aim) {
        self.session.forget(|_| true);
        self.contacts = Contacts::Unknown;
        self.step = Step::Orders(words, aim);
    }

    /// Whether nothing is being done.
    #[must_use]
    pub fn rests(&self) -> bool {
        self.step == Step::Rest
    }

    /// What is to be written at `now`.
    pub fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        if self.session.is_idle() {
            match &self.step {
                Step::Orders(words, _) => {
                    self.session.say(Outgoing::order(words.clone()));
                }
                Step::Moves(until, aim) if *until <= now => {
                    let aim = *aim;
                    self.drain_errors();
                    self.begin_look(Then::Tell(aim));
                }
                Step::Rest | Step::Looks(_) | Step::Moves(..) => {}
            }
        }
        let bytes = self.session.write(now)?;
        if let Step::Orders(words, aim) = &self.step
            && bytes.starts_with(words.as_bytes())
        {
            self.step = Step::Moves(now + self.driver.ability.settle, *aim);
        }
        Some(bytes)
    }

    /// The next moment at which this scanner has something to do.
    #[must_use]
    pub fn wakes_at(&self) -> Option<Time> {
        match &self.step {
            Step::Moves(until, _) if self.session.is_idle() => Some(*until),
            Step::Orders(..) if self.session.is_idle() => Some(seconds(0.0)),
            Step::Rest | Step::Looks(_) | Step::Orders(..) | Step::Moves(..) => {
                self.session.wakes_at()
            }
        }
    }

    /// Takes bytes that came at `now`.
    pub fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<ScannerSays> {
        let heard = self.session.receive(bytes, now);
        heard.into_iter().filter_map(|heard| self.understand(heard, now)).collect()
    }

    /// Time has passed.
    pub fn pass(&mut self, now: Time) -> Vec<ScannerSays> {
        let heard = self.session.pass(now);
        heard.into_iter().filter_map(|heard| self.understand(heard, now)).collect()
    }

    fn understand(&mut self, heard: Heard<Ask>, now: Time) -> Option<ScannerSays> {
        match heard {
            Heard::Answer(ask, line) => self.answer(ask, &line).unwrap_or_else(|_misfit| {
                self.session.misfit(now);
                self.again(ask);
                None
            }),
            Heard::Missed(ask) => {
                self.again(ask);
                None
            }
            Heard::InStep(identity) => {
                // It may have restarted: what was read of its relays is worth nothing now.
                self.contacts = Contacts::Unknown;
                if self.rests() {
                    self.drain_errors();
                    self.look();
                }
                Some(ScannerSays::Identity(identity))
            }
            Heard::Lost(why) => {
                self.contacts = Contacts::Unknown;
                self.step = Step::Rest;
                Some(ScannerSays::Lost(why))
            }
        }
    }

    /// A look without a trusted answer begins again from the first channel.
    fn again(&mut self, ask: Ask) {
        if let (Ask::Group(..), Step::Looks(then)) = (ask, &self.step) {
            self.begin_look(*then);
        }
    }

    fn answer(&mut self, ask: Ask, line: &[u8]) -> Result<Option<ScannerSays>, ReplyError> {
        match ask {
            Ask::Error(count) => {
                let QueueEntry::Error(_, text) = reply::queue_entry(line)? else { return Ok(None) };
                if count < QUEUE_CAP {
                    self.ask(Ask::Error(count + 1));
                }
                Ok(Some(ScannerSays::Complains(text)))
            }
            Ask::Group(look, index) => self.looked_at(look, index, line),
        }
    }

    fn looked_at(
        &mut self,
        look: u32,
        index: usize,
        line: &[u8],
    ) -> Result<Option<ScannerSays>, ReplyError> {
        let group = self.group(index);
        let flags = reply::flags(line, group.len())?;
        // What was ordered or asked in between makes an earlier look worthless.
        let (Step::Looks(then), true) = (&self.step, look == self.looks) else { return Ok(None) };
        let then = *then;
        let closed = group.iter().zip(flags).filter_map(|(channel, flag)| flag.then_some(*channel));
        let closed: Vec<Channel> = closed.collect();
        self.found.extend(closed);
        if !self.group(index + 1).is_empty() {
            self.ask(Ask::Group(look, index + 1));
            return Ok(None);
        }
        self.step = Step::Rest;
        self.contacts = match self.found[..] {
            [] => Contacts::AllOpen,
            [channel] => Contacts::Only(channel),
            [..] => Contacts::Several,
        };
        Ok(self.go_on(then))
    }

    fn go_on(&mut self, then: Then) -> Option<ScannerSays> {
        let wanted = match then {
            Then::Close(channel) if self.contacts == Contacts::AllOpen => {
                let words = with_channels(&self.driver.words.close, &[channel]);
                self.order(words, Aim::Only(channel));
                return None;
            }
            Then::Tell(Aim::Look) => self.contacts,
            Then::Tell(Aim::Only(channel)) => Contacts::Only(channel),
            Then::Tell(Aim::AllOpen) | Then::Close(_) => Contacts::AllOpen,
        };
        if self.contacts == wanted {
            return Some(ScannerSays::Stands(self.contacts));
        }
        let wanted = match then {
            Then::Tell(Aim::Only(channel)) => format!("channel {channel} was to be closed"),
            Then::Tell(Aim::AllOpen | Aim::Look) => "all channels were to be open".into(),
            Then::Close(channel) => format!("all were to be open before channel {channel} closes"),
        };
        Some(ScannerSays::Refused(format!("{wanted}, the scanner says: {}", self.told())))
    }

    /// What the last look found, in words.
    fn told(&self) -> String {
        match &self.found[..] {
            [] => "all open".into(),
            found => format!("closed {}", listed(found)),
        }
    }

    fn begin_look(&mut self, then: Then) {
        self.found.clear();
        self.contacts = Contacts::Unknown;
        self.step = Step::Looks(then);
        self.looks = self.looks.wrapping_add(1);
        self.session.forget(|waiting| matches!(waiting.question, Some(Ask::Group(..))));
        self.ask(Ask::Group(self.looks, 0));
    }

    fn drain_errors(&mut self) {
        if self.driver.words.next_error.is_some() {
            self.ask(Ask::Error(0));
        }
    }

    fn ask(&mut self, ask: Ask) {
        let words = match ask {
            Ask::Error(_) => self.driver.words.next_error.clone().unwrap_or_default(),
            Ask::Group(_, index) => with_channels(&self.driver.words.ask_closed, self.group(index)),
        };
        self.session.say(Outgoing::asking(words, ask));
    }

    /// The channels of one question; none after the last.
    fn group(&self, index: usize) -> &[Channel] {
        let at_once = usize::from(self.driver.ability.channels_at_once.max(1));
        self.channels.chunks(at_once).nth(index).unwrap_or_default()
    }
}

fn with_channels(words: &str, channels: &[Channel]) -> String {
    words.replacen("{}", &listed(channels), 1)
}

fn listed(channels: &[Channel]) -> String {
    let numbers: Vec<String> = channels.iter().map(Channel::to_string).collect();
    numbers.join(",")
}

#[cfg(test)]
mod tests;
