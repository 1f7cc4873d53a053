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

use super::reply;
use crate::quantity::{Time, seconds};

/// Longest line that is taken in; a longer one is noise.
const LONGEST_LINE: usize = 512;
/// Missed answers in a row that mean a lost line.
const MISSES_ALLOWED: u8 = 2;

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
}

/// Something to say.
#[derive(Debug, Clone, PartialEq)]
pub struct Outgoing<Q> {
    /// The words, without an end mark.
    pub words: String,
    /// The question that the words ask, or none for an order.
    pub question: Option<Q>,
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
    Open { question: Q, words: String, until: Time },
    /// Out of step: silent until nothing has come for a while.
    Draining { until: Time },
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
    next_write: Time,
    misses: u8,
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
            state: State::Draining { until: now + quiet },
            buffer: Vec::new(),
            overlong: false,
            queue: VecDeque::new(),
            next_write: now,
            misses: 0,
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
        self.misses = 0;
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
    /// an open question when a line comes in between, so the line is then out of step.
    pub fn cut_out(&mut self, words: &str, now: Time) -> Vec<u8> {
        self.queue.clear();
        if self.awaits_answer() {
            self.lose_step(now);
        }
        self.next_write = now + self.timing.gap;
        let end = &self.timing.end;
        format!("{end}{words}{end}").into_bytes()
    }

    /// What is to be written at `now`, if anything.
    pub fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        if now < self.next_write {
            return None;
        }
        match self.state {
            State::Draining { until } if until <= now => {
                self.buffer.clear();
                self.overlong = false;
                let deadline = self.identity_deadline();
                self.state = State::Proving { until: now + deadline };
                let words = self.identity_words.clone();
                Some(self.line(&words, now))
            }
            State::Quiet => {
                let outgoing = self.queue.pop_front()?;
                let bytes = self.line(&outgoing.words, now);
                if let Some(question) = outgoing.question {
                    let until = now + self.timing.deadline;
                    self.state = State::Open { question, words: outgoing.words, until };
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

    fn line(&mut self, words: &str, now: Time) -> Vec<u8> {
        self.next_write = now + self.timing.gap;
        format!("{words}{}", self.timing.end).into_bytes()
    }

    /// The next moment at which [`Session::write`] or [`Session::pass`] has something to do.
    #[must_use]
    pub fn wakes_at(&self) -> Option<Time> {
        match &self.state {
            State::Quiet if self.queue.is_empty() => None,
            State::Quiet => Some(self.next_write),
            State::Open { until, .. } | State::Proving { until } => Some(*until),
            State::Draining { until } => Some(until.max(self.next_write)),
            State::Lost => None,
        }
    }

    /// Takes bytes that came at `now`.
    pub fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<Heard<Q>> {
        let lines = self.cut(bytes);
        match &self.state {
            State::Lost => Vec::new(),
            State::Draining { .. } => {
                self.state = State::Draining { until: now + self.timing.deadline };
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
        match (lines.pop(), lines.is_empty()) {
            (None, _) => Vec::new(),
            (Some(line), true) => {
                self.state = State::Quiet;
                self.misses = 0;
                vec![Heard::Answer(question, line)]
            }
            (Some(_), false) => {
                // Two lines for one question: neither can be trusted.
                self.lose_step(now);
                vec![Heard::Missed(question)]
            }
        }
    }

    fn proven(&mut self, lines: &[Vec<u8>], now: Time) -> Vec<Heard<Q>> {
        let [line] = lines else {
            if !lines.is_empty() {
                self.lose_step(now);
            }
            return Vec::new();
        };
        let Ok(identity) = reply::identity(line) else {
            self.lose_step(now);
            return Vec::new();
        };
        match &self.known_identity {
            Some(known) if *known != identity => {
                let why = format!("another instrument answers: expected {known}, got {identity}");
                self.give_up(why)
            }
            Some(_) | None => {
                self.known_identity = Some(identity.clone());
                self.state = State::Quiet;
                self.misses = 0;
                vec![Heard::InStep(identity)]
            }
        }
    }

    /// Time has passed: notices missed deadlines.
    pub fn pass(&mut self, now: Time) -> Vec<Heard<Q>> {
        match &self.state {
            State::Open { question, words, until } if *until <= now => {
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
            let partial = reply::readable(&self.buffer);
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
        self.state = State::Draining { until: now + self.timing.deadline };
    }

    /// Cuts whole lines off. CR, LF and any run of them end a line; blank lines are no lines, and
    /// NULs between lines are dropped.
    fn cut(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut lines = Vec::new();
        for &byte in bytes {
            match byte {
                b'\r' | b'\n' => {
                    let line = std::mem::take(&mut self.buffer);
                    let overlong = std::mem::take(&mut self.overlong);
                    if !line.trim_ascii().is_empty() && !overlong {
                        lines.push(line);
                    }
                }
                0 if self.buffer.is_empty() => {}
                _ if LONGEST_LINE <= self.buffer.len() => self.overlong = true,
                _ => self.buffer.push(byte),
            }
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[derive(Debug, Clone, Copy, PartialEq)]
    enum Ask {
        Voltage,
        Current,
    }

    const IDENTITY: &[u8] = b"MAKER,SUPPLY,0001,1.0\n";

    fn timing() -> Timing {
        Timing {
            end: "\n".into(),
            gap: seconds(0.0),
            deadline: seconds(1.0),
            first_deadline: seconds(5.0),
        }
    }

    fn ask(question: Ask) -> Outgoing<Ask> {
        let words = match question {
            Ask::Voltage => "MEAS:VOLT?",
            Ask::Current => "MEAS:CURR?",
        };
        Outgoing { words: words.into(), question: Some(question) }
    }

    /// A session in step at t = 1 s.
    fn in_step() -> Session<Ask> {
        let mut session = Session::open(timing(), "*IDN?", seconds(0.0));
        assert_eq!(session.write(seconds(0.5)), Some(b"*IDN?\n".to_vec()));
        let heard = session.receive(IDENTITY, seconds(1.0));
        assert_eq!(heard, [Heard::InStep("MAKER,SUPPLY,0001,1.0".into())]);
        session
    }

    fn asked(question: Ask) -> Session<Ask> {
        let mut session = in_step();
        session.say(ask(question));
        assert!(session.write(seconds(1.0)).is_some());
        session
    }

    #[test]
    fn nothing_is_asked_before_the_identity_is_known() {
        let mut session = Session::open(timing(), "*IDN?", seconds(0.0));
        session.say(ask(Ask::Voltage));
        assert_eq!(session.write(seconds(0.5)), Some(b"*IDN?\n".to_vec()));
        assert_eq!(session.write(seconds(0.6)), None);
        session.receive(IDENTITY, seconds(0.7));
        assert_eq!(session.write(seconds(0.7)), Some(b"MEAS:VOLT?\n".to_vec()));
    }

    #[test]
    fn only_one_question_is_open_at_a_time() {
        let mut session = asked(Ask::Voltage);
        session.say(ask(Ask::Current));
        assert_eq!(session.write(seconds(1.1)), None);
        let heard = session.receive(b"25.0\n", seconds(1.2));
        assert_eq!(heard, [Heard::Answer(Ask::Voltage, b"25.0".to_vec())]);
        assert_eq!(session.write(seconds(1.2)), Some(b"MEAS:CURR?\n".to_vec()));
    }

    #[test]
    fn a_late_answer_is_never_taken_for_the_next() {
        let mut session = asked(Ask::Voltage);
        session.say(ask(Ask::Current));
        assert_eq!(session.pass(seconds(2.0)), [Heard::Missed(Ask::Voltage)]);
        assert_eq!(session.write(seconds(2.05)), None, "must stay silent");
        assert_eq!(session.receive(b"25.012\n", seconds(2.3)), []);
        assert_eq!(session.write(seconds(3.2)), None, "quiet time starts again");
        assert_eq!(session.write(seconds(3.3)), Some(b"*IDN?\n".to_vec()));
        assert_eq!(session.receive(IDENTITY, seconds(3.4)).len(), 1);
        assert_eq!(session.write(seconds(3.4)), Some(b"MEAS:CURR?\n".to_vec()));
        let heard = session.receive(b"0.00213\n", seconds(3.5));
        assert_eq!(heard, [Heard::Answer(Ask::Current, b"0.00213".to_vec())]);
    }

    #[test]
    fn two_lines_for_one_question_are_both_refused() {
        let mut session = asked(Ask::Current);
        let heard = session.receive(b"25.001\n0.0021\n", seconds(1.1));
        assert_eq!(heard, [Heard::Missed(Ask::Current)]);
        assert_eq!(session.resyncs(), 1);
    }

    #[test]
    fn a_line_that_nobody_asked_for_loses_step() {
        let mut session = in_step();
        assert_eq!(session.receive(b"?\r", seconds(1.1)), []);
        session.say(ask(Ask::Voltage));
        assert_eq!(session.write(seconds(1.2)), None);
        assert_eq!(session.write(seconds(2.2)), Some(b"*IDN?\n".to_vec()));
    }

    #[test]
    fn two_misses_in_a_row_are_a_lost_line() {
        let mut session = asked(Ask::Voltage);
        session.pass(seconds(2.0));
        assert_eq!(session.write(seconds(3.0)), Some(b"*IDN?\n".to_vec()));
        let heard = session.pass(seconds(4.0));
        assert!(matches!(&heard[..], [Heard::Lost(why)] if why.contains("*IDN?\\n")), "{heard:?}");
        session.say(ask(Ask::Voltage));
        assert_eq!(session.write(seconds(9.0)), None);
    }

    #[test]
    fn another_instrument_on_the_line_is_a_lost_line() {
        let mut session = asked(Ask::Voltage);
        session.pass(seconds(2.0));
        session.write(seconds(3.0));
        let heard = session.receive(b"MAKER,METER,0002,1.0\n", seconds(3.1));
        assert!(matches!(&heard[..], [Heard::Lost(_)]), "{heard:?}");
    }

    #[test]
    fn a_cut_out_ends_a_half_sent_line_and_drops_what_waits() {
        let mut session = in_step();
        session.say(Outgoing { words: "VOLT 25".into(), question: None });
        assert_eq!(session.cut_out("OUTP OFF", seconds(1.0)), b"\nOUTP OFF\n");
        assert_eq!(session.write(seconds(1.1)), None);
        assert!(session.is_idle());
    }

    #[test]
    fn a_cut_out_over_an_open_question_takes_no_answer_to_it() {
        let mut session = asked(Ask::Voltage);
        session.cut_out("OUTP OFF", seconds(1.1));
        assert_eq!(session.receive(b"25.0\n", seconds(1.2)), []);
        assert_eq!(session.write(seconds(2.2)), Some(b"*IDN?\n".to_vec()));
    }

    #[test]
    fn a_cut_out_needs_no_open_line() {
        let mut session = Session::<Ask>::open(timing(), "*IDN?", seconds(0.0));
        session.pass(seconds(100.0));
        assert_eq!(session.cut_out("OUTP OFF", seconds(100.0)), b"\nOUTP OFF\n");
    }

    #[test]
    fn the_gap_is_kept_between_lines() {
        let mut session = in_step();
        session.timing.gap = seconds(0.12);
        for words in ["CURR 0.01", "VOLT 25"] {
            session.say(Outgoing { words: words.into(), question: None });
        }
        assert!(session.write(seconds(2.0)).is_some());
        assert_eq!(session.write(seconds(2.1)), None);
        assert_eq!(session.write(seconds(2.12)), Some(b"VOLT 25\n".to_vec()));
    }

    #[test]
    fn a_line_without_end_stays_small_and_is_no_answer() {
        let mut session = asked(Ask::Voltage);
        for _ in 0..100 {
            assert_eq!(session.receive(&[b'1'; 100], seconds(1.1)), []);
        }
        assert!(session.buffer.len() <= LONGEST_LINE);
        assert_eq!(session.receive(b"\n", seconds(1.2)), []);
    }

    #[test]
    fn a_port_flush_empties_the_half_line_too() {
        let mut session = asked(Ask::Voltage);
        session.receive(b"1.2", seconds(1.5));
        session.pass(seconds(2.0));
        session.write(seconds(3.0));
        session.receive(IDENTITY, seconds(3.1));
        session.say(ask(Ask::Current));
        session.write(seconds(3.2));
        let heard = session.receive(b"3.4E-06\n", seconds(3.3));
        assert_eq!(heard, [Heard::Answer(Ask::Current, b"3.4E-06".to_vec())]);
    }

    proptest! {
        #[test]
        fn any_cut_of_the_bytes_gives_the_same_answer(
            cuts in prop::collection::vec(0_usize..18, 0..6), end in prop::sample::select(vec!["\n", "\r", "\r\n", "\n\r"])
        ) {
            let bytes = format!("+1012.34E-09{end}").into_bytes();
            let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(bytes.len())).collect();
            cuts.extend([0, bytes.len()]);
            cuts.sort_unstable();
            let mut session = asked(Ask::Current);
            let mut heard = Vec::new();
            for pair in cuts.windows(2) {
                heard.extend(session.receive(&bytes[pair[0]..pair[1]], seconds(1.1)));
            }
            prop_assert_eq!(heard, [Heard::Answer(Ask::Current, b"+1012.34E-09".to_vec())]);
        }

        #[test]
        fn noise_never_stops_a_cut_out(noise in prop::collection::vec(any::<u8>(), 0..300)) {
            let mut session = asked(Ask::Voltage);
            session.receive(&noise, seconds(1.1));
            prop_assert_eq!(session.cut_out("OUTP OFF", seconds(1.2)), b"\nOUTP OFF\n".to_vec());
        }
    }
}
