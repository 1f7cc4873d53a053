//! Finds out what stands at a port, without energising anything: it listens, then asks.
//!
//! Only questions go out, those of `crate::station::interview`. What the questions left in an error
//! queue is read out again.

use std::time::Duration;

use super::clock::Clock;
use super::run::exchange;
use crate::plan::OutputState;
use crate::station::driver::{Amount, Driver, LineSettings, MeterTalk};
use crate::station::interview::{self, Greeting, Question};
use crate::station::reply::{self, QueueEntry};
use crate::station::stream::{self, Seen};
use crate::station::wiring::Port;
use crate::station::{Heard, Link, LinkError, Outgoing, Session};

/// Readings of one form by which a stream counts as known.
const KNOWN_BY: usize = 2;
/// Entries after which an error queue that never empties is given up.
const QUEUE_CAP: usize = 20;
/// Questions in a row without a fitting answer, after which a driver is not asked any further.
const PATIENCE: usize = 3;

/// What stands at a port.
#[derive(Debug, Clone, PartialEq)]
pub struct Identified {
    /// The line on which it was understood.
    pub line: LineSettings,
    /// How it was greeted; none for one that streams.
    pub greeting: Option<Greeting>,
    /// As it named itself.
    pub identity: Option<String>,
    /// The drivers that suit it, by their place in the list, the best first.
    pub suits: Vec<Suits>,
    /// Whether its output is on, of a supply.
    pub output: Option<OutputState>,
    /// What its error queue held before anything was asked.
    pub errors: Vec<String>,
    /// The range that it shows, of one that streams.
    pub shows: Option<Amount>,
}

/// How well a driver suits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Suits {
    /// The driver, by its place in the list.
    pub driver: usize,
    /// Answers of the form that it expects …
    pub answered: usize,
    /// … of so many questions.
    pub asked: usize,
}

/// Why nothing could be said of a port.
#[derive(Debug, thiserror::Error)]
pub enum IdentifyError {
    /// The port can't be used.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The line went away.
    #[error("{port}: the line is gone: {source}")]
    Gone {
        /// The port.
        port: String,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Something streams in a form that no driver knows.
    #[error("{port}: something sends readings unasked, in a form that no driver knows: {came}")]
    UnknownStream {
        /// The port.
        port: String,
        /// What came, readable.
        came: String,
    },
    /// Nobody answered.
    #[error("{port}: nobody answered {tries} ways of asking; {came}")]
    Nobody {
        /// The port.
        port: String,
        /// Ways that were tried.
        tries: usize,
        /// What came instead.
        came: String,
    },
}

impl IdentifyError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Link(error) => error.help(),
            Self::Gone { .. } => "check the cable, and plug it in again".into(),
            Self::UnknownStream { .. } => {
                "write a driver for it (DEVELOPERS.md, \"Add a driver\"), or check its manual for \
                 another baud rate"
                    .into()
            }
            Self::Nobody { .. } => {
                "check power and cable (crossed or straight), that its remote interface is on, and \
                 its manual for line settings; some adapters need `dtr = true`"
                    .into()
            }
        }
    }
}

/// Finds out what stands at `port`; `tell` hears what is being tried.
///
/// # Errors
///
/// [`IdentifyError`], which says what came.
pub async fn identify(
    port: &Port,
    drivers: &[Driver],
    mut tell: impl FnMut(&str),
) -> Result<Identified, IdentifyError> {
    if !matches!(port, Port::Message(_))
        && let Some(streaming) = listen(port, drivers, &mut tell).await?
    {
        return Ok(streaming);
    }
    let has_settings = matches!(port, Port::Serial(_));
    let greetings = interview::greetings(drivers, has_settings);
    let mut came = "nothing came back".to_owned();
    for greeting in &greetings {
        tell(&format!("asking \"{}\" at {}", greeting.words, greeting.settings()));
        let mut guest = Guest::meet(port, greeting).await?;
        match guest.named().await? {
            Ok(identity) => return guest.interview(identity, greeting, drivers).await,
            Err(why) if !why.contains("\"\" came") => came = why,
            Err(_silence) => {}
        }
    }
    Err(IdentifyError::Nobody { port: port.to_string(), tries: greetings.len(), came })
}

/// Listens for one that sends unasked, on each line that a driver of such a meter names.
async fn listen(
    port: &Port,
    drivers: &[Driver],
    tell: &mut impl FnMut(&str),
) -> Result<Option<Identified>, IdentifyError> {
    let mut lines: Vec<&LineSettings> = Vec::new();
    let streams = || {
        drivers.iter().enumerate().filter_map(|(index, driver)| match driver {
            Driver::Meter(meter) => match &meter.talk {
                MeterTalk::Streams(stream) => Some((index, &meter.line, stream)),
                MeterTalk::Asked(_) => None,
            },
            Driver::Supply(_) | Driver::Scanner(_) => None,
        })
    };
    let mut strange = None;
    for (_, line, _) in streams() {
        if lines.iter().any(|heard| heard.baud == line.baud && heard.parity == line.parity) {
            continue;
        }
        lines.push(line);
        tell(&format!("listening at {} baud", line.baud));
        let bytes = hear(port, line).await?;
        let looks = streams().map(|(index, _, stream)| (index, stream::look(stream, &bytes)));
        let best = looks.max_by_key(|(_, seen)| seen.fitting);
        if let Some((driver, seen)) = best.filter(|(_, seen)| KNOWN_BY <= seen.fitting) {
            return Ok(Some(streaming(driver, seen, line)));
        }
        if !bytes.is_empty() {
            strange = Some(reply::readable(&bytes));
        }
    }
    match strange {
        Some(came) => Err(IdentifyError::UnknownStream { port: port.to_string(), came }),
        None => Ok(None),
    }
}

fn streaming(driver: usize, seen: Seen, line: &LineSettings) -> Identified {
    let asked = seen.fitting + seen.other;
    Identified {
        line: line.clone(),
        greeting: None,
        identity: None,
        suits: vec![Suits { driver, answered: seen.fitting, asked }],
        output: None,
        errors: Vec::new(),
        shows: seen.full_scale,
    }
}

/// What comes by itself.
async fn hear(port: &Port, settings: &LineSettings) -> Result<Vec<u8>, IdentifyError> {
    let mut link = Link::open(port, settings).await?;
    let gone = |source| IdentifyError::Gone { port: port.to_string(), source };
    let end =
        tokio::time::Instant::now() + Duration::from_secs_f64(interview::listening_time().value);
    let (mut heard, mut buffer) = (Vec::new(), [0; 1024]);
    while let Ok(read) = tokio::time::timeout_at(end, link.read(&mut buffer)).await {
        heard.extend_from_slice(&buffer[..read.map_err(gone)?]);
    }
    Ok(heard)
}

/// One that is talked to.
struct Guest {
    link: Option<Link>,
    session: Session<usize>,
    clock: Clock,
    port: String,
}

impl Guest {
    async fn meet(port: &Port, greeting: &Greeting) -> Result<Self, IdentifyError> {
        let link = Link::open(port, &greeting.line).await?;
        let clock = Clock::start(1.0);
        let session = Session::open(greeting.timing(), &greeting.words, clock.host());
        Ok(Self { link: Some(link), session, clock, port: port.to_string() })
    }

    /// What is heard next.
    async fn hears(&mut self) -> Result<Heard<usize>, IdentifyError> {
        loop {
            let bytes = self.session.write(self.clock.host());
            let session = &mut self.session;
            let take = |bytes: &[u8], now| session.receive(bytes, now);
            let heard = exchange(&mut self.link, bytes, take, &self.clock).await;
            let heard =
                heard.map_err(|source| IdentifyError::Gone { port: self.port.clone(), source })?;
            let late = self.session.pass(self.clock.host());
            if let Some(first) = heard.into_iter().chain(late).next() {
                return Ok(first);
            }
        }
    }

    /// Its name, or what came instead.
    async fn named(&mut self) -> Result<Result<String, String>, IdentifyError> {
        loop {
            match self.hears().await? {
                Heard::InStep(identity) => return Ok(Ok(identity)),
                Heard::Lost(why) => return Ok(Err(why)),
                Heard::Answer(..) | Heard::Missed(_) => {}
            }
        }
    }

    /// The answer to a question; none if it did not come. The line is in step again after it.
    async fn answer(&mut self, question: &Question) -> Result<Option<Vec<u8>>, IdentifyError> {
        let Question { words, ends, .. } = question;
        self.session.say(Outgoing { words: words.clone(), question: Some(0), ends: *ends });
        loop {
            match self.hears().await? {
                Heard::Answer(_, line) => return Ok(Some(line)),
                // Nothing more is asked until it has said again who it is.
                Heard::Missed(_) => {}
                Heard::InStep(_) => return Ok(None),
                Heard::Lost(_) => {
                    self.session.begin_again(self.clock.host());
                    return Ok(None);
                }
            }
        }
    }

    /// Asks what the drivers that suit its name would ask.
    async fn interview(
        &mut self,
        identity: String,
        greeting: &Greeting,
        drivers: &[Driver],
    ) -> Result<Identified, IdentifyError> {
        let suiting = || drivers.iter().enumerate().filter(|(_, driver)| greeting.suits(driver));
        let queue = suiting().find_map(|(_, driver)| interview::error_question(driver));
        let errors = self.drain(queue.as_deref()).await?;
        let (mut suits, mut output) = (Vec::new(), None);
        for (index, driver) in suiting() {
            let (fits, state) = self.try_driver(index, driver).await?;
            suits.push(fits);
            output = output.or(state);
        }
        // Questions that it did not understand may have left something behind.
        self.drain(queue.as_deref()).await?;
        suits.retain(|fits| 0 < fits.answered);
        suits.sort_by_key(|fits| std::cmp::Reverse((fits.answered * 100 / fits.asked, fits.asked)));
        let line = greeting.line.clone();
        let (greeting, identity) = (Some(greeting.clone()), Some(identity));
        Ok(Identified { line, greeting, identity, suits, output, errors, shows: None })
    }

    async fn try_driver(
        &mut self,
        index: usize,
        driver: &Driver,
    ) -> Result<(Suits, Option<OutputState>), IdentifyError> {
        let questions = interview::questions(driver);
        let (mut fits, mut output) =
            (Suits { driver: index, answered: 0, asked: questions.len() }, None);
        for (number, question) in questions.iter().enumerate() {
            if PATIENCE <= number && fits.answered == 0 {
                break;
            }
            let Some(line) = self.answer(question).await? else { continue };
            if question.is_answered_by(&line) {
                fits.answered += 1;
                output = output.or(question.output(&line));
            }
        }
        Ok((fits, output))
    }

    /// Reads an error queue until it is empty.
    async fn drain(&mut self, words: Option<&str>) -> Result<Vec<String>, IdentifyError> {
        let mut errors = Vec::new();
        let Some(words) = words else { return Ok(errors) };
        let question = Question::of_queue(words);
        while errors.len() < QUEUE_CAP {
            let Some(line) = self.answer(&question).await? else { break };
            match reply::queue_entry(&line) {
                Ok(QueueEntry::Error(_, text)) => errors.push(text),
                Ok(QueueEntry::None) | Err(_) => break,
            }
        }
        Ok(errors)
    }
}
