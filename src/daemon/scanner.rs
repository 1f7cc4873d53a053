//! The open scanner: one part connected at a time, by type and by what was read back.
//!
//! [`OpenScanner::close`] borrows the scanner for as long as its relay is closed, so that no other
//! can be closed in the meantime; what it gives back opens the relay again, and only with a run's
//! word that the part is empty. A relay that was left closed all the same, by a dropped handle or
//! an earlier run, is refused company by [`Scanner`] itself.
//!
//! Nothing here knows whether the output is on: whoever moves relays does it between runs, while
//! the station's actor holds the output proven off.

use std::time::Duration;

use super::check::Checked;
use super::clock::Clock;
use super::run::{RunError, exchange, known, silent};
use crate::judge::Left;
use crate::quantity::Time;
use crate::record::InstrumentOnRecord;
use crate::station::wiring::WiredScanner;
use crate::station::{Channel, Contacts, Link, LinkError, NotClosed, Scanner, ScannerSays};

/// Lines and relays do not lapse: they go by the time of the host.
const HOST: f64 = 1.0;
/// How often a closed relay is looked at while a part is behind it, in host time.
const WATCH: Duration = Duration::from_secs(1);

/// Why a scanner can't be used, or did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum ScannerError {
    /// Its port can't be used, or another instrument answers there.
    #[error(transparent)]
    Open(#[from] RunError),
    /// The relay is not told to close.
    #[error("{port}: {source}")]
    NotClosed {
        /// Its port.
        port: String,
        /// What is in the way.
        source: NotClosed,
    },
    /// The relay is not told to open.
    #[error("{port}: channel {channel} stays closed: the part behind it is not proven empty")]
    NotEmpty {
        /// Its port.
        port: String,
        /// The channel whose relay stays closed.
        channel: Channel,
    },
    /// The relays do not stand as ordered.
    #[error("{port}: {what}")]
    Refused {
        /// Its port.
        port: String,
        /// Ordered and found.
        what: String,
    },
    /// A relay changed without an order.
    #[error("{port}: channel {channel} was closed and is not any more, or not alone")]
    Moved {
        /// Its port.
        port: String,
        /// The channel whose relay was closed.
        channel: Channel,
    },
    /// It fell silent, or does not come to an end.
    #[error("{port}: the scanner does not answer: {why}")]
    Silent {
        /// Its port.
        port: String,
        /// What was sent and what came.
        why: String,
    },
}

impl ScannerError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Open(error) => error.help(),
            Self::NotClosed { .. } => {
                "bleed the part that is connected and open its relay first".into()
            }
            Self::NotEmpty { .. } => {
                "treat the part as charged: discharge it by hand before anything is switched".into()
            }
            Self::Refused { .. } | Self::Moved { .. } => {
                "a relay is worn or was moved by hand: treat every part on the scanner as charged, \
                 and look with `reststrom station check`"
                    .into()
            }
            Self::Silent { .. } => {
                "check power and cable; until it answers every channel counts as closed".into()
            }
        }
    }
}

impl From<LinkError> for ScannerError {
    fn from(error: LinkError) -> Self {
        Self::Open(error.into())
    }
}

/// A scanner whose port is owned, which has said who it is and how its relays stand.
#[derive(Debug)]
pub struct OpenScanner {
    scanner: Scanner,
    link: Option<Link>,
    clock: Clock,
    port: String,
    patience: Time,
    complaints: Vec<String>,
    /// Who answered, for the record.
    pub instrument: InstrumentOnRecord,
}

impl OpenScanner {
    /// Owns the port, asks who is there and how the relays stand; moves none.
    ///
    /// # Errors
    ///
    /// [`ScannerError::Open`] if the port can't be used or another instrument answers,
    /// [`ScannerError::Silent`] if none does.
    pub async fn open(wiring: &WiredScanner) -> Result<Self, ScannerError> {
        let settings = &wiring.wired.driver.line;
        let link = Link::open(&wiring.wired.port, settings).await?;
        let clock = Clock::start(HOST);
        let channels: Vec<Channel> = wiring.channels.values().copied().collect();
        let driver = wiring.wired.driver.clone();
        // Two misses in a row end a conversation; a line that chatters must not keep it for ever.
        let patience = settings.first_deadline + settings.deadline * 8.0 + driver.ability.settle;
        let mut open = Self {
            scanner: Scanner::begin(driver, &channels, clock.host()),
            link: Some(link),
            clock,
            port: wiring.wired.port.to_string(),
            patience,
            complaints: Vec::new(),
            instrument: InstrumentOnRecord { role: "scanner".into(), identity: String::new() },
        };
        let settled = open.settled().await;
        if let Err(ScannerError::Silent { why, .. }) = &settled {
            return Err(silent(&wiring.wired, "scanner", why).into());
        }
        settled?;
        known(&wiring.wired, "scanner", open.instrument.identity.clone())?;
        Ok(open)
    }

    /// How the relays stand, as last read back.
    #[must_use]
    pub fn contacts(&self) -> Contacts {
        self.scanner.contacts()
    }

    /// Reads how the relays stand; moves none.
    ///
    /// # Errors
    ///
    /// [`ScannerError::Silent`] if no answer comes.
    ///
    /// # Cancel safety
    ///
    /// Cancel safe: the conversation goes on with the next call.
    pub async fn look(&mut self) -> Result<Contacts, ScannerError> {
        self.scanner.look();
        self.settled().await
    }

    /// Opens every relay and proves all of them open. The output must be proven off, and the part
    /// that may be connected proven empty.
    ///
    /// # Errors
    ///
    /// [`ScannerError::Refused`] if a relay stays closed, [`ScannerError::Silent`] if no answer
    /// comes: every channel then counts as closed.
    pub async fn open_all(&mut self) -> Result<(), ScannerError> {
        self.scanner.open_all();
        self.settled().await.map(|_all_open| ())
    }

    /// Connects the part on a channel: proves all relays open, closes this one and proves it the
    /// only one. The output must be proven off.
    ///
    /// # Errors
    ///
    /// [`ScannerError::NotClosed`] if another relay is closed or may be, [`ScannerError::Refused`]
    /// if the relays do not stand as ordered, [`ScannerError::Silent`] if no answer comes.
    pub async fn close(&mut self, channel: Channel) -> Result<Connected<'_>, ScannerError> {
        self.scanner
            .close(channel)
            .map_err(|source| ScannerError::NotClosed { port: self.port.clone(), source })?;
        self.settled().await?;
        Ok(Connected { scanner: self, channel })
    }

    /// Takes a channel in hand that was found as the only closed one, as an earlier run leaves it.
    #[must_use]
    pub fn found_closed(&mut self) -> Option<Connected<'_>> {
        match self.contacts() {
            Contacts::Only(channel) => Some(Connected { scanner: self, channel }),
            Contacts::AllOpen | Contacts::Several | Contacts::Unknown => None,
        }
    }

    /// Looks at the relays for `station check`; moves none.
    pub async fn check(&mut self) -> Vec<Checked> {
        let looked = self.look().await;
        let (good, found) = match looked {
            Ok(Contacts::AllOpen) => (true, "all open".into()),
            Ok(Contacts::Only(channel)) => (false, format!("channel {channel} is closed")),
            Ok(Contacts::Several) => (false, "several are closed".into()),
            Ok(Contacts::Unknown) => (false, "unknown".into()),
            Err(error) => (false, error.to_string()),
        };
        let identity = Checked {
            what: "scanner identity",
            good: true,
            found: self.instrument.identity.clone(),
            remedy: "",
        };
        let relays = Checked {
            what: "relays",
            good,
            found,
            remedy: "prove the part behind it empty, then open it at the scanner",
        };
        let queue = Checked {
            what: "scanner errors",
            good: self.complaints.is_empty(),
            found: match &self.complaints[..] {
                [] => "empty".into(),
                complaints => format!("left over: {}", complaints.join("; ")),
            },
            remedy: "read it once more: errors from before are cleared by being read",
        };
        vec![identity, relays, queue]
    }

    /// Talks until nothing is being done any more.
    async fn settled(&mut self) -> Result<Contacts, ScannerError> {
        let end = self.clock.host() + self.patience;
        let mut identified = !self.instrument.identity.is_empty();
        loop {
            for said in self.turn().await? {
                match said {
                    ScannerSays::Stands(contacts) if identified => return Ok(contacts),
                    ScannerSays::Stands(_) => {}
                    ScannerSays::Identity(identity) => {
                        self.instrument.identity = identity;
                        identified = true;
                    }
                    ScannerSays::Complains(text) => {
                        tracing::info!(port = %self.port, text, "the scanner's error queue");
                        self.complaints.push(text);
                    }
                    ScannerSays::Refused(what) => {
                        return Err(ScannerError::Refused { port: self.port.clone(), what });
                    }
                    ScannerSays::Lost(why) => return Err(self.silence(why)),
                }
            }
            if end < self.clock.host() {
                return Err(self.silence("the conversation comes to no end".into()));
            }
        }
    }

    async fn turn(&mut self) -> Result<Vec<ScannerSays>, ScannerError> {
        let now = self.clock.host();
        let scanner = &mut self.scanner;
        let bytes = scanner.write(now);
        let receive = |bytes: &[u8], now| scanner.receive(bytes, now);
        let says = exchange(&mut self.link, bytes, receive, &self.clock).await;
        let mut says = says.map_err(|error| self.silence(error.to_string()))?;
        says.extend(self.scanner.pass(self.clock.host()));
        Ok(says)
    }

    fn silence(&self, why: String) -> ScannerError {
        ScannerError::Silent { port: self.port.clone(), why }
    }
}

/// The part on one channel is connected, and no other is.
#[derive(Debug)]
#[must_use = "a relay that is forgotten stays closed"]
pub struct Connected<'a> {
    scanner: &'a mut OpenScanner,
    channel: Channel,
}

impl Connected<'_> {
    /// The channel.
    #[must_use]
    pub fn channel(&self) -> Channel {
        self.channel
    }

    /// Reads the relays: this one must be closed, and no other.
    ///
    /// # Errors
    ///
    /// [`ScannerError::Moved`] if it is not so, [`ScannerError::Silent`] if no answer comes: what a
    /// run measured since the last look is then worth nothing, and its part counts as charged.
    ///
    /// # Cancel safety
    ///
    /// Cancel safe: the conversation goes on with the next call.
    pub async fn still(&mut self) -> Result<(), ScannerError> {
        match self.scanner.look().await? {
            Contacts::Only(channel) if channel == self.channel => Ok(()),
            Contacts::Only(_) | Contacts::AllOpen | Contacts::Several | Contacts::Unknown => {
                let port = self.scanner.port.clone();
                Err(ScannerError::Moved { port, channel: self.channel })
            }
        }
    }

    /// Looks at the relay for as long as it stays closed alone; for a run beside it, to be stopped
    /// by what this gives.
    ///
    /// # Cancel safety
    ///
    /// Cancel safe, as [`Connected::still`].
    pub async fn watch(&mut self) -> ScannerError {
        loop {
            if let Err(error) = self.still().await {
                return error;
            }
            tokio::time::sleep(WATCH).await;
        }
    }

    /// Opens the relay after a run that `left` its part so, and proves all relays open.
    ///
    /// # Errors
    ///
    /// [`ScannerError::NotEmpty`] if the part is not proven empty: the relay then stays closed, so
    /// that the bleeder stays on the part. [`ScannerError::Moved`] if the relay had opened before:
    /// what was measured was not this part. [`ScannerError::Refused`] if it stays closed,
    /// [`ScannerError::Silent`] if no answer comes.
    pub async fn open_after(mut self, left: Left) -> Result<(), ScannerError> {
        if left != Left::Safe {
            let port = self.scanner.port.clone();
            return Err(ScannerError::NotEmpty { port, channel: self.channel });
        }
        self.still().await?;
        self.scanner.scanner.open(self.channel);
        self.scanner.settled().await.map(|_all_open| ())
    }
}
