//! One soak from open ports to a record that is closed.
//!
//! Order: own the ports, know who is there, start the keeper, make safe what an earlier run left,
//! begin the record, run, close the record. Nothing is energised before all of that stands.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::{mpsc, watch};

use super::Stop;
use super::actor::{Actor, Surroundings};
use super::begun::Begun;
use super::check::{Checked, check};
use super::clock::Clock;
use super::ending::ending;
use super::keeper::{Duties, Keeper, KeeperError};
use super::plug::Plug;
use super::progress::Progress;
use crate::judge::Left;
use crate::plan::{Plan, Sensing};
use crate::procedure::{Outcome, Procedure};
use crate::quantity::Time;
use crate::record::{InstrumentOnRecord, NewRun, Record, RecordError, RunId, Writer};
use crate::station::wiring::{ControlLine, Station, Wired};
use crate::station::{
    Link, LinkError, Meter, MeterSays, Relay, RelayError, Supply, SupplyPace, SupplySays,
};

/// Why a run could not be begun or kept.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// A port can't be used.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// A relay of the station can't be used.
    #[error(transparent)]
    Relay(#[from] RelayError),
    /// There is no keeper.
    #[error(transparent)]
    Keeper(#[from] KeeperError),
    /// An instrument does not answer.
    #[error("{port}: {role} does not answer: {why}")]
    Silent {
        /// Its port.
        port: String,
        /// Supply, meter or scanner.
        role: &'static str,
        /// What was sent and what came.
        why: String,
    },
    /// Another instrument answers.
    #[error("{port}: {role} answers \"{got}\", expected \"{expected}\"")]
    Stranger {
        /// Its port.
        port: String,
        /// Supply, meter or scanner.
        role: &'static str,
        /// As the station file has it.
        expected: String,
        /// As it answered.
        got: String,
    },
    /// What an earlier run left could not be made safe.
    #[error("the bench that {run} left could not be made safe: {why}")]
    LeftUnsafe {
        /// The earlier run.
        run: RunId,
        /// Why.
        why: String,
    },
    /// The record can't be kept.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The system failed.
    #[error("{what}: {source}")]
    System {
        /// What was tried.
        what: &'static str,
        /// The system's reason.
        source: std::io::Error,
    },
}

impl RunError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Link(error) => error.help(),
            Self::Relay(_) => "name a serial port with control lines under [bleeder]".into(),
            Self::Keeper(_) => "nothing is energised without the keeper: see the reason".into(),
            Self::Silent { .. } => {
                "check power, cable, baud rate and the end mark in the driver file; some USB ports \
                 need `dtr = true`"
                    .into()
            }
            Self::Stranger { .. } => {
                "swap the ports or the cables, or correct `identity` in the station file".into()
            }
            Self::LeftUnsafe { .. } => {
                "treat the part as charged: switch the supply off by hand, discharge the part, \
                 then start again"
                    .into()
            }
            Self::Record(error) => error.help().into(),
            Self::System { .. } => "see the reason".into(),
        }
    }
}

/// A station whose ports are owned and whose instruments have answered.
pub struct OpenStation {
    /// On the heap: the futures that carry it would be large.
    actor: Box<Actor>,
    /// Who answered, for the record.
    pub instruments: Vec<InstrumentOnRecord>,
}

impl std::fmt::Debug for OpenStation {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("OpenStation")
            .field("instruments", &self.instruments)
            .finish_non_exhaustive()
    }
}

/// Where a run reports to and how it is asked to end.
#[derive(Debug)]
pub struct Line<'a> {
    /// Newest state of the run.
    pub progress: &'a watch::Sender<Progress>,
    /// Wishes to stop.
    pub stops: &'a mut mpsc::UnboundedReceiver<Stop>,
}

/// What a run left behind.
#[derive(Debug, Clone)]
pub struct Finished {
    /// Its number on record.
    pub id: RunId,
    /// What it came to.
    pub outcome: Outcome,
    /// What was said on the way: faults, refusals, stops.
    pub notes: Vec<String>,
}

impl OpenStation {
    /// Owns the ports, asks who is there, starts `keeper_program` as keeper.
    ///
    /// # Errors
    ///
    /// [`RunError`]: nothing has been energised.
    pub async fn open(station: &Station, keeper_program: &Path) -> Result<Self, RunError> {
        let supply_link = Link::open(&station.supply.port, &station.supply.driver.line).await?;
        let meter_link = Link::open(&station.meter.port, &station.meter.driver.line).await?;
        let relay = station.relay.as_ref().map(Relay::open).transpose()?;
        let bypass = station.bypass.as_ref().map(Relay::open).transpose()?;
        let duplicate = supply_link.duplicate().map_err(|source| RunError::System {
            what: "the supply's line can't be shared with the keeper",
            source,
        })?;
        let duties = duties(station);
        let keeper = Keeper::start(keeper_program, duplicate, &duties)?;
        let clock = Clock::start(station.bench.lapse);
        let now = clock.host();
        let pace = SupplyPace::at_lapse(station.bench.lapse);
        let actor = Box::new(Actor {
            supply: Supply::open(station.supply.driver.clone(), pace, now),
            supply_link: Some(supply_link),
            supply_plug: Plug::new(&station.supply.port, &station.supply.driver.line),
            meter: Meter::open(&station.meter.driver, station.sensed_by, now),
            meter_link: Some(meter_link),
            meter_plug: Plug::new(&station.meter.port, &station.meter.driver.line),
            relay,
            bypass,
            keeper,
            clock,
        });
        let mut open = Self { actor, instruments: Vec::new() };
        open.identify(station).await?;
        Ok(open)
    }

    /// Waits until both instruments have said who they are.
    async fn identify(&mut self, station: &Station) -> Result<(), RunError> {
        let supply = self.supply_identity(&station.supply).await?;
        let meter = self.meter_identity(&station.meter).await?;
        for (role, identity) in [("supply", supply), ("meter", meter)] {
            self.instruments.push(InstrumentOnRecord { role: role.into(), identity });
        }
        self.settle(station).await
    }

    async fn supply_identity<D>(&mut self, wired: &Wired<D>) -> Result<String, RunError> {
        loop {
            for said in self.supply_says(wired).await? {
                if let SupplySays::Identity(got) = said {
                    return known(wired, "supply", got);
                }
            }
        }
    }

    async fn meter_identity<D>(&mut self, wired: &Wired<D>) -> Result<String, RunError> {
        loop {
            for said in self.meter_says(wired).await? {
                if let MeterSays::Identity(got) = said {
                    return known(wired, "meter", got);
                }
            }
        }
    }

    /// Waits until it is known too whether each has an error queue: one that has none would keep its
    /// line out of step when the run begins.
    async fn settle(&mut self, station: &Station) -> Result<(), RunError> {
        while !self.actor.supply.is_settled() {
            self.supply_says(&station.supply).await?;
        }
        while !self.actor.meter.is_settled() {
            self.meter_says(&station.meter).await?;
        }
        Ok(())
    }

    async fn supply_says<D>(&mut self, wired: &Wired<D>) -> Result<Vec<SupplySays>, RunError> {
        let actor = &mut self.actor;
        let bytes = actor.supply.write(actor.clock.host());
        let receive = |bytes: &[u8], now| actor.supply.receive(bytes, now);
        let says = exchange(&mut actor.supply_link, bytes, receive, &actor.clock).await;
        let mut says = says.map_err(|error| silent(wired, "supply", &error.to_string()))?;
        says.extend(actor.supply.pass(actor.clock.host()));
        for said in &says {
            if let SupplySays::Lost(why) = said {
                return Err(silent(wired, "supply", why));
            }
        }
        Ok(says)
    }

    async fn meter_says<D>(&mut self, wired: &Wired<D>) -> Result<Vec<MeterSays>, RunError> {
        let actor = &mut self.actor;
        let bytes = actor.meter.write(actor.clock.host());
        let receive = |bytes: &[u8], now| actor.meter.receive(bytes, now);
        let says = exchange(&mut actor.meter_link, bytes, receive, &actor.clock).await;
        let mut says = says.map_err(|error| silent(wired, "meter", &error.to_string()))?;
        says.extend(actor.meter.pass(actor.clock.host()));
        for said in &says {
            if let MeterSays::Lost(why) = said {
                return Err(silent(wired, "meter", why));
            }
        }
        Ok(says)
    }

    /// Makes safe what interrupted runs left, and marks them; says which.
    ///
    /// # Errors
    ///
    /// [`RunError::LeftUnsafe`] if the part could not be measured empty.
    pub async fn recover(
        &mut self,
        record: &mut Record,
        station: &str,
        plan: &Arc<Plan>,
        line: &mut Line<'_>,
    ) -> Result<Vec<RunId>, RunError> {
        let left: Vec<RunId> = record.open_runs(station)?.into_iter().map(|run| run.id).collect();
        let Some(latest) = left.last().copied() else { return Ok(left) };
        let around =
            Surroundings { writer: None, progress: line.progress, stops: &mut *line.stops };
        let begin = Procedure::start_making_safe;
        let ended = self.actor.run(plan.clone(), begin, around).await;
        if ended.outcome.left == Left::LockedOut {
            return Err(RunError::LeftUnsafe { run: latest, why: ended.notes.join("; ") });
        }
        for run in &left {
            let note = "found open at the next start; the bench was made safe first";
            record.mark_interrupted(*run, Timestamp::now(), note)?;
        }
        Ok(left)
    }

    /// Carries out a run and keeps its record.
    ///
    /// # Errors
    ///
    /// [`RunError`] if the record can't be begun or closed; the bench has then been left as safe
    /// as the run could make it.
    pub async fn run(
        &mut self,
        record: Record,
        begun: NewRun,
        plan: Arc<Plan>,
        line: Line<'_>,
    ) -> Result<Finished, RunError> {
        self.run_begun(Begun::on(record, &begun)?, plan, line).await
    }

    /// Carries out a run that is on record already.
    ///
    /// # Errors
    ///
    /// As [`Self::run`].
    pub async fn run_begun(
        &mut self,
        begun: Begun,
        plan: Arc<Plan>,
        line: Line<'_>,
    ) -> Result<Finished, RunError> {
        let Begun { record, id, follows } = begun;
        let writer = Writer::start(record, id)?;
        let around =
            Surroundings { writer: Some(&writer), progress: line.progress, stops: line.stops };
        let known = plan.clone();
        let ended = self.actor.run(plan, Procedure::start, around).await;
        let ending = ending(&ended, &known, follows);
        tokio::task::spawn_blocking(move || writer.finish(ending)).await.map_err(|error| {
            RunError::System { what: "the record's thread", source: error.into() }
        })??;
        Ok(Finished { id, outcome: ended.outcome, notes: ended.notes })
    }

    /// Looks at the clip by `plan` until a part goes in or a stop comes; keeps no record.
    pub async fn watch_clip(&mut self, plan: Arc<Plan>, line: Line<'_>) -> Outcome {
        let around = Surroundings { writer: None, progress: line.progress, stops: line.stops };
        self.actor.run(plan, Procedure::start, around).await.outcome
    }

    /// Empties what may be in the clip, with the output off; keeps no record.
    pub async fn make_safe(&mut self, plan: Arc<Plan>, line: Line<'_>) -> Left {
        let around = Surroundings { writer: None, progress: line.progress, stops: line.stops };
        self.actor.run(plan, Procedure::start_making_safe, around).await.outcome.left
    }

    /// Looks at the station with its output off; energises nothing.
    pub async fn check(&mut self, station: &Station) -> Vec<Checked> {
        check(&mut self.actor, station, &self.instruments).await
    }

    /// Sends the keeper home and frees the ports.
    ///
    /// # Errors
    ///
    /// The system's, if the keeper can't be waited for.
    pub async fn close(self) -> std::io::Result<()> {
        let Actor { keeper, supply_link, .. } = *self.actor;
        drop(supply_link);
        tokio::task::spawn_blocking(move || keeper.dismiss()).await?
    }
}

/// Writes bytes and waits a moment for an answer.
pub(super) async fn exchange<T>(
    link: &mut Option<Link>,
    bytes: Option<Vec<u8>>,
    mut take: impl FnMut(&[u8], Time) -> Vec<T>,
    clock: &Clock,
) -> std::io::Result<Vec<T>> {
    let Some(link) = link else { return Err(std::io::ErrorKind::NotConnected.into()) };
    if let Some(bytes) = bytes {
        link.write(&bytes)?;
    }
    let mut buffer = [0; 1024];
    let wait = Duration::from_millis(20);
    match tokio::time::timeout(wait, link.read(&mut buffer)).await {
        Ok(count) => Ok(take(&buffer[..count?], clock.host())),
        Err(_elapsed) => Ok(Vec::new()),
    }
}

pub(super) fn silent<D>(wired: &Wired<D>, role: &'static str, why: &str) -> RunError {
    RunError::Silent { port: wired.port.to_string(), role, why: why.to_owned() }
}

pub(super) fn known<D>(
    wired: &Wired<D>,
    role: &'static str,
    got: String,
) -> Result<String, RunError> {
    match &wired.identity {
        Some(expected) if !got.starts_with(expected) => Err(RunError::Stranger {
            port: wired.port.to_string(),
            role,
            expected: expected.clone(),
            got,
        }),
        Some(_) | None => Ok(got),
    }
}

fn duties(station: &Station) -> Duties {
    let driver = &station.supply.driver;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "milliseconds")]
    let gap_ms = (driver.line.gap.value * 1e3).max(0.0) as u64;
    Duties {
        end: driver.line.end.clone(),
        output_off: driver.words.output_off.clone(),
        ask_output: driver.words.ask_output.clone(),
        output_form: driver.replies.output.clone(),
        measure_voltage: driver.words.measure_voltage.clone(),
        voltage_form: driver.replies.measure_voltage.clone(),
        echo: driver.line.echo,
        gap_ms,
        // The procedure itself gives up after 2 s without a value; the keeper leaves it that much
        // and a little more.
        stale_ms: 2500,
        safe_volt: station.bench.safe_voltage.value,
        sees_part: station.bench.supply.senses == Sensing::AtTerminals,
        relay: station.relay.as_ref().map(|relay| {
            let line = match relay.line {
                ControlLine::Rts => "rts",
                ControlLine::Dtr => "dtr",
            };
            (relay.port.clone(), line.to_owned())
        }),
    }
}
