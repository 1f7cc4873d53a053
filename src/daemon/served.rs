//! A station that this program serves: its own thread, one actor, one run at a time.
//!
//! Whoever asks talks to the [`Served`] handle: it never waits for the station, and a stop goes
//! from it straight into the actor's queue of wishes. The ports belong to the station's thread
//! while a run goes on, and to nobody in between: instruments may be switched off overnight.

mod starts;
mod thread;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::Instant;

use tokio::sync::{mpsc, oneshot, watch};

use super::Stop;
use super::asked::Asked;
use super::control::{ask_to_stop, socket_path};
use super::progress::Progress;
use super::refused::{Ground, Refused};
use super::standing::{Doing, Going, Standing};
use crate::judge::Left;
use crate::plan::{Drawn, Wish};
use crate::record::{Record, RecordError, RunFilter, RunId};
use crate::station::wiring::Station;
use starts::{Answer, Starts};

/// A run that is asked for, with the token that makes it one and the same however often it is sent.
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    /// What is asked for, as it was asked.
    pub asked: Asked,
    /// What that means.
    pub wish: Wish,
    /// What will be done.
    pub drawn: Drawn,
    /// The asker's own name for this start.
    pub token: String,
    /// A person has looked at the bench that the last run left locked out.
    pub unlock: bool,
}

/// What a stop came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stopped {
    /// The run is ending: output off, discharge.
    Stopping,
    /// There was no run.
    NoRun,
}

/// What the station's thread is asked to do.
enum Job {
    Run(Box<RunJob>),
    Lend { ready: oneshot::Sender<()>, until: oneshot::Receiver<()> },
    Close,
}

/// A run for the station's thread.
struct RunJob {
    start: Start,
    /// How often a stop had been asked for when it was accepted.
    stops_seen: u64,
    answer: watch::Sender<Option<Answer>>,
}

/// What handle and thread share.
struct Desk {
    station: Station,
    record: PathBuf,
    standing: watch::Sender<Standing>,
    progress: watch::Sender<Progress>,
    jobs: mpsc::UnboundedSender<Job>,
    stops: mpsc::UnboundedSender<Stop>,
    asked_to_stop: AtomicU64,
    began: Instant,
    /// Milliseconds since `began` at which the thread last turned.
    turned: AtomicU64,
    starts: Starts,
}

/// The handle of a served station.
#[derive(Clone)]
pub struct Served {
    desk: Arc<Desk>,
}

impl std::fmt::Debug for Served {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Served").field("station", &self.desk.station.name).finish_non_exhaustive()
    }
}

impl Served {
    /// Serves a station from now on, with its runs in the record at `record`.
    ///
    /// # Errors
    ///
    /// The record's, or the system's if there can be no thread or no control socket.
    pub fn begin(
        station: Station,
        record: &Path,
        keeper_program: PathBuf,
    ) -> Result<(Self, JoinHandle<()>), Refused> {
        let last = newest_run(&Record::open(record)?, &station.name)?;
        let (jobs, received) = mpsc::unbounded_channel();
        let (stops, wishes) = mpsc::unbounded_channel();
        let desk = Arc::new(Desk {
            station,
            record: record.to_owned(),
            standing: watch::Sender::new(Standing::after(last.as_ref())),
            progress: watch::Sender::new(Progress::default()),
            jobs,
            stops,
            asked_to_stop: AtomicU64::new(0),
            began: Instant::now(),
            turned: AtomicU64::new(0),
            starts: Starts::default(),
        });
        let served = Self { desk: desk.clone() };
        let thread = thread::begin(desk, received, wishes, keeper_program)?;
        Ok((served, thread))
    }

    /// The station.
    #[must_use]
    pub fn station(&self) -> &Station {
        &self.desk.station
    }

    /// The record that its runs go to.
    #[must_use]
    pub fn record(&self) -> &Path {
        &self.desk.record
    }

    /// How it stands, now and from now on.
    #[must_use]
    pub fn standing(&self) -> watch::Receiver<Standing> {
        self.desk.standing.subscribe()
    }

    /// The newest state of its run, now and from now on.
    #[must_use]
    pub fn progress(&self) -> watch::Receiver<Progress> {
        self.desk.progress.subscribe()
    }

    /// Host time since the station's thread last gave a sign of life.
    #[must_use]
    pub fn silent_for(&self) -> std::time::Duration {
        let turned = std::time::Duration::from_millis(self.desk.turned.load(Ordering::Relaxed));
        self.desk.began.elapsed().saturating_sub(turned)
    }

    /// Begins a run; the same token gives the same run, and never a second one.
    ///
    /// # Errors
    ///
    /// [`Refused`]: nothing was energised.
    pub async fn start(&self, start: Start) -> Result<RunId, Refused> {
        if let Some(run) = self.begun_by(&start).await? {
            return Ok(run);
        }
        let mut answer = self.desk.admit(start)?;
        let closed = || Refused::new(Ground::Fault, "the station's thread has ended", "start anew");
        let answer = answer.wait_for(Option::is_some).await.map_err(|_closed| closed())?;
        answer.clone().unwrap_or_else(|| Err(closed()))
    }

    /// The run that this token began, perhaps before this program was started again.
    async fn begun_by(&self, start: &Start) -> Result<Option<RunId>, Refused> {
        let (path, token) = (self.desk.record.clone(), start.token.clone());
        let found = tokio::task::spawn_blocking(move || {
            Record::open_for_reading(path).and_then(|record| record.run_of_token(&token))
        });
        let found = found.await.map_err(|error| {
            Refused::new(Ground::Fault, format!("the record: {error}"), "try again")
        })?;
        match found? {
            Some((_, asked)) if asked != start.asked.in_json() => Err(starts::used()),
            found => Ok(found.map(|(run, _)| run)),
        }
    }

    /// Output off, discharge: ahead of everything, waiting for nothing.
    #[must_use]
    pub fn stop(&self, why: &str) -> Stopped {
        self.desk.stop(why)
    }

    /// Lends the station to a command of its own, until the lender is dropped.
    ///
    /// # Errors
    ///
    /// [`Refused`] if it has other work.
    pub async fn lend(&self) -> Result<oneshot::Sender<()>, Refused> {
        self.desk.take(Doing::Lent, None)?;
        let (ready, is_ready) = oneshot::channel();
        let (lender, until) = oneshot::channel();
        let gone = || Refused::new(Ground::Fault, "the station's thread has ended", "start anew");
        self.desk.jobs.send(Job::Lend { ready, until }).map_err(|_closed| gone())?;
        is_ready.await.map_err(|_closed| gone())?;
        Ok(lender)
    }

    /// Ends a run safely and takes no other; the thread ends when the part is safe.
    pub fn close(&self, why: &str) {
        let stopped = self.desk.stop(why);
        tracing::info!(station = self.desk.station.name, ?stopped, "closing");
        if self.desk.jobs.send(Job::Close).is_err() {
            tracing::debug!(station = self.desk.station.name, "had ended already");
        }
    }
}

impl Desk {
    /// Accepts a start, or finds the answer to one that was sent before.
    fn admit(&self, start: Start) -> Result<watch::Receiver<Option<Answer>>, Refused> {
        let (asked, token) = (start.asked.clone(), start.token.clone());
        self.starts.once(&token, &asked, |answer| {
            let stops_seen = self.asked_to_stop.load(Ordering::SeqCst);
            let going = Going { run: None, wish: start.wish.clone(), drawn: start.drawn.clone() };
            self.take(Doing::Starting, Some(going))?;
            let job = Job::Run(Box::new(RunJob { start, stops_seen, answer }));
            self.jobs.send(job).map_err(|_closed| self.has("ended"))
        })
    }

    /// Takes the idle station for other work.
    fn take(&self, doing: Doing, going: Option<Going>) -> Result<(), Refused> {
        let mut was = Doing::Idle;
        let taken = self.standing.send_if_modified(|standing| {
            was = standing.doing;
            if was != Doing::Idle {
                return false;
            }
            standing.doing = doing;
            standing.going = going.map(Arc::new);
            standing.trouble = None;
            true
        });
        if taken { Ok(()) } else { Err(self.has(was.tag())) }
    }

    fn has(&self, what: &str) -> Refused {
        Refused::new(
            Ground::Busy,
            format!("station {} has other work: {what}", self.station.name),
            "wait for its end, or stop it first",
        )
    }

    fn stop(&self, why: &str) -> Stopped {
        self.asked_to_stop.fetch_add(1, Ordering::SeqCst);
        match self.standing.borrow().doing {
            Doing::Idle | Doing::Closing => Stopped::NoRun,
            Doing::Lent => {
                stop_borrower(self.station.name.clone());
                Stopped::Stopping
            }
            Doing::Starting | Doing::Running | Doing::MakingSafe => {
                match self.stops.send(Stop(why.to_owned())) {
                    Ok(()) => Stopped::Stopping,
                    Err(_closed) => Stopped::NoRun,
                }
            }
        }
    }

    fn is_stopped_since(&self, seen: u64) -> bool {
        self.asked_to_stop.load(Ordering::SeqCst) != seen
    }

    /// A sign of life of the station's thread.
    fn turn(&self) {
        let since = u64::try_from(self.began.elapsed().as_millis()).unwrap_or(u64::MAX);
        self.turned.store(since, Ordering::Relaxed);
    }
}

/// The command that has the station listens on its own socket; nobody waits for its answer.
fn stop_borrower(station: String) {
    std::thread::spawn(move || match socket_path(&station).and_then(|path| ask_to_stop(&path)) {
        Ok(reply) => tracing::info!(station, reply, "the command that has the station"),
        Err(error) => tracing::error!(station, %error, "the command that has it does not listen"),
    });
}

/// The newest run of a station on record.
fn newest_run(record: &Record, station: &str) -> Result<Option<crate::record::Run>, RecordError> {
    let filter =
        RunFilter { limit: Some(1), station: Some(station.to_owned()), ..RunFilter::default() };
    Ok(record.runs(&filter)?.into_iter().next())
}

/// The run that left a station locked out, if its newest one did.
///
/// # Errors
///
/// [`RecordError`] if the record can't be read.
pub fn locked_out_by(record: &Record, station: &str) -> Result<Option<RunId>, RecordError> {
    let newest = newest_run(record, station)?;
    Ok(newest.filter(|run| run.left() == Some(Left::LockedOut)).map(|run| run.id))
}

/// A station that was left locked out needs a person's word before anything is energised again.
#[must_use]
pub fn refusal_of_lock_out(station: &str, run: RunId) -> Refused {
    Refused::new(
        Ground::LockedOut,
        format!("station {station} is locked out: {run} could not prove its part empty"),
        "switch the supply off by hand, measure the part and discharge it through a resistor, \
         then repeat with --unlock",
    )
}
