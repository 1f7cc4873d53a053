//! The conversation on one line, without the line: bytes and moments in, bytes and replies out.
//!
//! One question is open at a time. A missed deadline, a line nobody asked for or a reply that does
//! not fit its question puts the line out of step: it stays quiet for the worst answer time, drops
//! everything, and asks for the identity, whose answer is known, before it trusts a reply again.
//! So no late answer is ever taken for the answer to the next question. A cut-out passes by all of
//! this: see [`Session::cut_out`].
//!
//! Time here is that of the host, since lines do not lapse.

use std::collections::VecDeque;

use super::driver::IdentityForm;
use super::reply;
use crate::quantity::{Time, seconds};

/// Longest line that is taken in; a longer one is noise.
const LONGEST_LINE: usize = 512;
/// Missed answers in a row that mean a lost line.
const MISSES_ALLOWED: u8 = 2;
/// Lines in the place of an identity, in a row, that mean that none will come.
const STRANGERS_ALLOWED: u8 = 4;
/// Cut-outs that are written into one drain: a first one, one after the gap that may have swallowed
/// it, and one more. What an instrument says to each keeps the drain from its end, and only behind
/// that end it can be proven that they worked.
const CUT_OUTS_IN_A_DRAIN: u8 = 3;

/// How long a line waits, and what ends its lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Timing {
    /// Bytes that end a line to the instrument.
    pub end: String,
    /// Pause that the instrument needs between two lines.
    pub gap: Time,
    /// Longest time for an answer.
    pub deadline: Time,
    /// Longest time for the first answer after opening.
    pub first_deadline: Time,
    /// The instrument sends back each line that it is told, ahead of its answer.
    pub echo: bool,
    /// What the instrument answers to each order, if it answers.
    pub acknowledgement: Option<String>,
    /// What the instrument puts in front of its lines when it is ready for the next one.
    pub prompt: Option<String>,
    /// The form of its identity.
    pub identity: IdentityForm,
}

/// Where a reply ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// At an end mark: CR, LF or any run of them.
    Mark,
    /// After so many bytes.
    After(usize),
}

/// Something to say.
#[derive(Debug, Clone, PartialEq)]
pub struct Outgoing<Q> {
    /// The words, without an end mark.
    pub words: String,
    /// The question that the words ask, or none for an order.
    pub question: Option<Q>,
    /// Where the answer ends.
    pub ends: Ends,
}

impl<Q> Outgoing<Q> {
    /// An order.
    #[must_use]
    pub fn order(words: String) -> Self {
        Self { words, question: None, ends: Ends::Mark }
    }

    /// A question whose answer is a line.
    #[must_use]
    pub fn asking(words: String, question: Q) -> Self {
        Self { words, question: Some(question), ends: Ends::Mark }
    }
}

/// What the line has to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum Heard<Q> {
    /// A line that came while this question was open; it may still not fit its grammar.
    Answer(Q, Vec<u8>),
    /// No answer came, or none that can be trusted. Ask again if it still matters.
    Missed(Q),
    /// The line is in step, with this identity at the other end.
    InStep(String),
    /// The line is lost: why, in words.
    Lost(String),
}

/// The state of the conversation.
#[derive(Debug, Clone)]
enum State<Q> {
    /// Nothing is open.
    Quiet,
    /// A question is open.
    Open { question: Q, words: String, ends: Ends, until: Time },
    /// Out of step: silent until nothing has come for a while.
    Draining { until: Time, cut_outs: u8 },
    /// Out of step: the identity was asked for.
    Proving { until: Time },
    /// Given up.
    Lost,
}

/// One line's conversation.
#[derive(Debug, Clone)]
pub struct Session<Q> {
    timing: Timing,
    identity_words: String,
    known_identity: Option<String>,
    state: State<Q>,
    buffer: Vec<u8>,
    overlong: bool,
    queue: VecDeque<Outgoing<Q>>,
    /// Lines that the instrument has yet to send of itself: echoes and acknowledgements.
    echoes: VecDeque<String>,
    next_write: Time,
    misses: u8,
    /// Lines in a row that came in the place of an identity.
    strangers: u8,
    resyncs: u32,
}

impl<Q: Copy + std::fmt::Debug> Session<Q> {
    /// A conversation that begins at `now` by proving who is there.
    #[must_use]
    pub fn open(timing: Timing, identity_words: &str, now: Time) -> Self {
        let quiet = timing.gap.max(seconds(0.02));
        Self {
            identity_words: identity_words.to_owned(),
            known_identity: None,
            state: State::Draining { until: now + quiet, cut_outs: 0 },
            buffer: Vec::new(),
            overlong: false,
            queue: VecDeque::new(),
            echoes: VecDeque::new(),
            next_write: now,
            misses: 0,
            strangers: 0,
            resyncs: 0,
            timing,
        }
    }

    /// Puts something to say at the end of the queue.
    pub fn say(&mut self, outgoing: Outgoing<Q>) {
        self.queue.push_back(outgoing);
    }

    /// Puts something to say ahead of the queue, so that what follows it still does.
    pub fn say_first(&mut self, outgoing: Outgoing<Q>) {
        self.queue.push_front(outgoing);
    }

    /// Whether what is said goes out as soon as the gap allows.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        matches!(self.state, State::Quiet)
    }

    /// Takes back what was to be said and has not been.
    pub fn forget(&mut self, which: impl Fn(&Outgoing<Q>) -> bool) {
        self.queue.retain(|outgoing| !which(outgoing));
    }

    /// Whether nothing is open and nothing waits.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        matches!(self.state, State::Quiet) && self.queue.is_empty()
    }

    /// Whether such a question is open or waits to be asked.
    #[must_use]
    pub fn is_to_answer(&self, which: impl Fn(&Q) -> bool) -> bool {
        let open = matches!(&self.state, State::Open { question, .. } if which(question));
        open || self.queue.iter().filter_map(|waiting| waiting.question.as_ref()).any(which)
    }

    /// Whether a question is open.
    #[must_use]
    pub fn awaits_answer(&self) -> bool {
        matches!(self.state, State::Open { .. } | State::Proving { .. })
    }

    /// Whether the line was given up.
    #[must_use]
    pub fn is_lost(&self) -> bool {
        matches!(self.state, State::Lost)
    }

    /// Tries a line again that was given up: quiet first, then the identity.
    pub fn begin_again(&mut self, now: Time) {
        (self.misses, self.strangers) = (0, 0);
        self.lose_step(now);
    }

    /// How often the line had to be brought back into step.
    #[must_use]
    pub fn resyncs(&self) -> u32 {
        self.resyncs
    }

    /// The bytes of a cut-out, to be written at once and before anything else.
    ///
    /// They begin with an end mark, so that a half-sent line cannot swallow them. Everything that
    /// waited is dropped: an old order must not come after. An instrument may drop the answer to
    /// an open question when a line comes in between, so the line is then out of step. What the
    /// instrument says to it must be over before a drain is.
    pub fn cut_out(&mut self, words: &str, now: Time) -> Vec<u8> {
        self.queue.clear();
        if self.awaits_answer() {
            self.lose_step(now);
        }
        if let State::Draining { until, cut_outs } = &mut self.state {
            *until = until.max(now + self.timing.deadline);
            *cut_outs = cut_outs.saturating_add(1);
        }
        let line = self.line(words, Says::Order, now);
        [self.timing.end.as_bytes(), &line].concat()
    }

    /// Whether a drain is under way that another cut-out would only lengthen.
    #[must_use]
    pub fn has_cut_out_enough(&self) -> bool {
        matches!(self.state, State::Draining { cut_outs: CUT_OUTS_IN_A_DRAIN.., .. })
    }

    /// What is to be written at `now`, if anything.
    pub fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        if now < self.next_write {
            return None;
        }
        match self.state {
            State::Draining { until, .. } if until <= now => {
                self.buffer.clear();
                self.overlong = false;
                let deadline = self.identity_deadline();
                self.state = State::Proving { until: now + deadline };
                let words = self.identity_words.clone();
                // Echoes that were awaited before the drain will not come any more.
                self.echoes.clear();
                Some(self.line(&words, Says::Question, now))
            }
            State::Quiet => {
                let outgoing = self.queue.pop_front()?;
                let says = if outgoing.question.is_some() { Says::Question } else { Says::Order };
                let bytes = self.line(&outgoing.words, says, now);
                if let Some(question) = outgoing.question {
                    let until = now + self.timing.deadline;
                    let Outgoing { words, ends, .. } = outgoing;
                    self.state = State::Open { question, words, ends, until };
                }
                Some(bytes)
            }
            State::Draining { .. } | State::Open { .. } | State::Proving { .. } | State::Lost => {
                None
            }
        }
    }

    fn identity_deadline(&self) -> Time {
        if self.known_identity.is_some() {
            self.timing.deadline
        } else {
            self.timing.first_deadline
        }
    }

    fn line(&mut self, words: &str, says: Says, now: Time) -> Vec<u8> {
        self.next_write = now + self.timing.gap;
        if self.timing.echo {
            self.echoes.push_back(words.trim().to_owned());
        }
        if let (Says::Order, Some(word)) = (says, &self.timing.acknowledgement) {
            self.echoes.push_back(word.trim().to_owned());
        }
        format!("{words}{}", self.timing.end).into_bytes()
    }

    /// The next moment at which [`Session::write`] or [`Session::pass`] has something to do.
    #[must_use]
    pub fn wakes_at(&self) -> Option<Time> {
        match &self.state {
            State::Quiet if self.queue.is_empty() => None,
            State::Quiet => Some(self.next_write),
            State::Open { until, .. } | State::Proving { until } => Some(*until),
            State::Draining { until, .. } => Some((*until).max(self.next_write)),
            State::Lost => None,
        }
    }

    /// Takes bytes that came at `now`.
    pub fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<Heard<Q>> {
        let lines = self.cut(bytes);
        match &mut self.state {
            State::Lost => Vec::new(),
            State::Draining { until, .. } => {
                *until = until.max(now + self.timing.deadline);
                Vec::new()
            }
            State::Quiet if lines.is_empty() => Vec::new(),
            State::Quiet => {
                self.lose_step(now);
                Vec::new()
            }
            State::Open { question, .. } => {
                let question = *question;
                self.answered(question, lines, now)
            }
            State::Proving { .. } => self.proven(&lines, now),
        }
    }

    fn answered(&mut self, question: Q, mut lines: Vec<Vec<u8>>, now: Time) -> Vec<Heard<Q>> {
        // The question's own echo comes first: what comes in its place is no answer.
        let alone = lines.len() == 1 && self.echoes.is_empty();
        match lines.pop() {
            None => Vec::new(),
            Some(line) if alone => {
                self.state = State::Quiet;
                self.misses = 0;
                vec![Heard::Answer(question, line)]
            }
            Some(_) => {
                // Two lines for one question: neither can be trusted.
                self.lose_step(now);
                vec![Heard::Missed(question)]
            }
        }
    }

    fn proven(&mut self, lines: &[Vec<u8>], now: Time) -> Vec<Heard<Q>> {
        let [line] = lines else {
            return match lines.first() {
                Some(line) => self.stranger(line, now),
                None => Vec::new(),
            };
        };
        // An echo that nobody awaits is no name either.
        let echoed = line.trim_ascii() == self.identity_words.trim().as_bytes();
        let identity = reply::identity(line, self.timing.identity);
        let (Ok(identity), true, false) = (identity, self.echoes.is_empty(), echoed) else {
            return self.stranger(line, now);
        };
        match &self.known_identity {
            Some(known) if *known != identity => {
                let why = format!("another instrument answers: expected {known}, got {identity}");
                self.give_up(why)
            }
            Some(_) | None => {
                self.known_identity = Some(identity.clone());
                self.state = State::Quiet;
                (self.misses, self.strangers) = (0, 0);
                vec![Heard::InStep(identity)]
            }
        }
    }

    /// What came in the place of an identity is none: a banner, a rest of before, or one that will
    /// never say who it is.
    fn stranger(&mut self, line: &[u8], now: Time) -> Vec<Heard<Q>> {
        self.strangers += 1;
        if STRANGERS_ALLOWED <= self.strangers {
            let (words, end) = (&self.identity_words, self.timing.end.escape_default());
            let why = format!("\"{words}{end}\" is answered with {}, no identity", seen(line));
            return self.give_up(why);
        }
        self.lose_step(now);
        Vec::new()
    }

    /// Time has passed: notices missed deadlines.
    pub fn pass(&mut self, now: Time) -> Vec<Heard<Q>> {
        match &self.state {
            State::Open { question, words, until, .. } if *until <= now => {
                let (question, words) = (*question, words.clone());
                self.missed(&words, Some(question), now)
            }
            State::Proving { until } if *until <= now => {
                let words = self.identity_words.clone();
                self.missed(&words, None, now)
            }
            State::Quiet
            | State::Open { .. }
            | State::Draining { .. }
            | State::Proving { .. }
            | State::Lost => Vec::new(),
        }
    }

    fn missed(&mut self, words: &str, question: Option<Q>, now: Time) -> Vec<Heard<Q>> {
        self.misses += 1;
        if MISSES_ALLOWED <= self.misses {
            let partial = seen(&self.buffer);
            let end = self.timing.end.escape_default().to_string();
            let why = format!("no answer to \"{words}{end}\", {partial} came");
            return self.give_up(why);
        }
        self.lose_step(now);
        question.map(Heard::Missed).into_iter().collect()
    }

    fn give_up(&mut self, why: String) -> Vec<Heard<Q>> {
        self.state = State::Lost;
        self.queue.clear();
        vec![Heard::Lost(why)]
    }

    /// The caller found that an answer does not fit its question's grammar.
    pub fn misfit(&mut self, now: Time) {
        if !matches!(self.state, State::Lost) {
            self.lose_step(now);
        }
    }

    fn lose_step(&mut self, now: Time) {
        self.resyncs = self.resyncs.saturating_add(1);
        self.buffer.clear();
        self.echoes.clear();
        self.state = State::Draining { until: now + self.timing.deadline, cut_outs: 0 };
    }

    /// Cuts whole replies off. CR, LF and any run of them end a line; blank lines are no lines, and
    /// NULs between lines are dropped. Lines that were awaited as echoes are not given, nor is a
    /// prompt in front of a line.
    fn cut(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut lines = Vec::new();
        for &byte in bytes {
            let between = self.buffer.is_empty();
            match (byte, self.bare_length()) {
                // Left over from a line before: no answer without an end mark begins so.
                (b'\r' | b'\n' | 0, Some(_)) | (0, None) if between => {}
                (b'\r' | b'\n', None) => lines.extend(self.end_line()),
                _ if LONGEST_LINE <= self.buffer.len() => self.overlong = true,
                (_, None) => {
                    self.buffer.push(byte);
                    self.drop_prompt();
                }
                (_, Some(length)) => {
                    self.buffer.push(byte);
                    self.drop_prompt();
                    if length <= self.buffer.len() {
                        lines.push(std::mem::take(&mut self.buffer));
                    }
                }
            }
        }
        lines
    }

    /// A prompt is no part of a line, whether the line comes with it or later. Only the very words
    /// that the driver gives are taken away, and only in front.
    fn drop_prompt(&mut self) {
        if self.timing.prompt.as_ref().is_some_and(|prompt| prompt.as_bytes() == self.buffer) {
            self.buffer.clear();
        }
    }

    /// Length of the answer that is awaited, if it has no end mark and no echo comes before it.
    fn bare_length(&self) -> Option<usize> {
        match self.state {
            State::Open { ends: Ends::After(length), .. } if self.echoes.is_empty() => Some(length),
            State::Open { .. }
            | State::Quiet
            | State::Draining { .. }
            | State::Proving { .. }
            | State::Lost => None,
        }
    }

    fn end_line(&mut self) -> Option<Vec<u8>> {
        let line = std::mem::take(&mut self.buffer);
        let overlong = std::mem::take(&mut self.overlong);
        if line.trim_ascii().is_empty() || overlong {
            return None;
        }
        let echo = self.echoes.front().is_some_and(|echo| echo.as_bytes() == line.trim_ascii());
        if echo {
            self.echoes.pop_front();
            return None;
        }
        Some(line)
    }
}

/// What is said on a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Says {
    Question,
    Order,
}

/// What came, in readable form, with its likely cause where the bytes tell one.
fn seen(bytes: &[u8]) -> String {
    let hint = if bytes.iter().any(|byte| 0x80 <= *byte) {
        " (top bits are set: look at data bits, parity and baud rate)"
    } else {
        ""
    };
    format!("{}{hint}", reply::readable(bytes))
}

#[cfg(test)]
mod tests;
