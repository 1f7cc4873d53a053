//! One sitting at a station: its ports are owned once, for one run or for many.
//!
//! Signals and `stop` end the run that goes on, safely; nothing leaves before the part is safe.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;

use super::failure::Failure;
use super::served::{self, Loan};
use super::{live, screen};
use crate::daemon::control::Control;
use crate::daemon::served::{locked_out_by, refusal_of_lock_out};
use crate::daemon::{Finished, Line, OpenStation, Origin, Progress, Stop, new_run};
use crate::judge::Left;
use crate::plan::{Drawn, Phase, Plan, Purpose, Wish};
use crate::procedure::Outcome;
use crate::quantity::{Time, Voltage, text};
use crate::record::Record;
use crate::station::wiring::Station;

/// A station whose ports this program owns.
pub(crate) struct Sitting<'a> {
    station: &'a Station,
    path: PathBuf,
    open: OpenStation,
    stops: mpsc::UnboundedReceiver<Stop>,
    stopper: mpsc::UnboundedSender<Stop>,
    signals: JoinHandle<()>,
    control: Control,
    /// Held until the ports are free again.
    loan: Option<Loan>,
}

/// One thread drives the bench; the record and the screen have their own.
pub(crate) fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    Ok(tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?)
}

/// A station that was left locked out needs a person's word before anything is energised again.
pub(crate) fn refuse_locked_out(path: &std::path::Path, station: &str) -> Result<(), Failure> {
    if !path.exists() {
        return Ok(());
    }
    let found = locked_out_by(&Record::open(path)?, station)?;
    found.map_or(Ok(()), |run| Err(refusal_of_lock_out(station, run).into()))
}

/// One run at a station, with progress on the screen.
pub(crate) async fn one(
    wish: &Wish,
    drawn: &Drawn,
    station: &Station,
    path: &Path,
) -> Result<Finished, Failure> {
    let mut sitting = Sitting::begin(station, path, &drawn.plan).await?;
    let finished = sitting.run(wish, drawn, Origin::default()).await;
    sitting.end().await?;
    finished
}

impl<'a> Sitting<'a> {
    /// Owns the ports and makes safe what an earlier run left there, by `plan`.
    pub(crate) async fn begin(
        station: &'a Station,
        path: &Path,
        plan: &Plan,
    ) -> Result<Self, Failure> {
        let loan = served::borrow(&station.name).await?;
        let mut record = Record::open(path)?;
        let open = OpenStation::open(station, &std::env::current_exe()?).await?;
        let (sender, stops) = mpsc::unbounded_channel();
        let stops_by_socket = sender.clone();
        let control =
            Control::serve(&station.name, move |stop| stops_by_socket.send(stop).is_ok())?;
        let signals = tokio::spawn(listen_for_signals(sender.clone()));
        let path = path.to_owned();
        let stopper = sender;
        let mut sitting = Self { station, path, open, stops, stopper, signals, control, loan };
        match sitting.recover(&mut record, plan).await {
            Ok(()) => Ok(sitting),
            Err(failure) => {
                sitting.end().await?;
                Err(failure)
            }
        }
    }

    async fn recover(&mut self, record: &mut Record, plan: &Plan) -> Result<(), Failure> {
        let plan = Arc::new(plan.clone());
        let (progress, _watched) = watch::channel(Progress::default());
        // A stop ends no making safe: it is left for the run that would follow, before its output is on.
        let (_nobody, mut stops) = mpsc::unbounded_channel();
        let mut line = Line { progress: &progress, stops: &mut stops };
        let found = self.open.recover(record, &self.station.name, &plan, &mut line).await?;
        for run in found {
            screen::complain(&format!("{run} was cut off earlier; its bench has been made safe\n"));
        }
        Ok(())
    }

    /// Carries out one run and keeps its record.
    pub(crate) async fn run(
        &mut self,
        wish: &Wish,
        drawn: &Drawn,
        origin: Origin,
    ) -> Result<Finished, Failure> {
        let record = Record::open(&self.path)?;
        let begun = new_run(wish, drawn, self.station, &self.open.instruments, origin);
        let plan = Arc::new(drawn.plan.clone());
        let (progress, watched) = watch::channel(Progress::default());
        let screen = tokio::spawn(live::show_progress(watched, soak_time(&plan)));
        let line = Line { progress: &progress, stops: &mut self.stops };
        let finished = self.open.run(record, begun, plan, line).await;
        drop(progress);
        if let Err(error) = screen.await {
            tracing::debug!(%error, "the progress line ended early");
        }
        Ok(finished?)
    }

    /// Where to ask for the end of the run that goes on.
    pub(crate) fn stopper(&self) -> mpsc::UnboundedSender<Stop> {
        self.stopper.clone()
    }

    /// Waits for somebody to ask for the end while no run goes on.
    pub(crate) async fn stopped(&mut self) {
        if let Some(Stop(why)) = self.stops.recv().await {
            screen::complain(&format!("{why}\n"));
        }
    }

    /// Looks at the clip by `plan` until a part goes in; nothing of it is kept on record.
    pub(crate) async fn watch_clip(&mut self, plan: Plan) -> Outcome {
        let (progress, _watched) = watch::channel(Progress::default());
        let line = Line { progress: &progress, stops: &mut self.stops };
        self.open.watch_clip(Arc::new(plan), line).await
    }

    /// Energises the open fixture by `plan`, with progress on the screen.
    pub(crate) async fn read_fixture(&mut self, plan: &Plan) -> Fixture {
        let (progress, watched) = watch::channel(Progress::default());
        let screen = tokio::spawn(live::show_progress(watched, Some(plan.target.soak)));
        let seen = tokio::spawn(seen(progress.subscribe(), plan.discharge.safe_voltage));
        let line = Line { progress: &progress, stops: &mut self.stops };
        let outcome = self.open.watch_clip(Arc::new(plan.clone()), line).await;
        drop(progress);
        if let Err(error) = screen.await {
            tracing::debug!(%error, "the progress line ended early");
        }
        let seen = seen.await.unwrap_or_default();
        Fixture { outcome, at_full: seen.at_full, emptied_in: seen.emptied_in() }
    }

    /// Empties what may be in the clip, by `plan`.
    pub(crate) async fn make_safe(&mut self, plan: &Plan) -> Left {
        let (progress, _watched) = watch::channel(Progress::default());
        let line = Line { progress: &progress, stops: &mut self.stops };
        self.open.make_safe(Arc::new(plan.clone()), line).await
    }

    /// Lets the part rest with the output off; false if somebody asked for the end meanwhile.
    pub(crate) async fn rest(&mut self, time: Time) -> bool {
        screen::complain(&format!(
            "resting for {} with the output off; leave the part in the clip\n",
            text::time(time)
        ));
        let time = std::time::Duration::from_secs_f64(time.value / self.station.bench.lapse);
        tokio::select! {
            () = tokio::time::sleep(time) => true,
            stop = self.stops.recv() => {
                let why = stop.map_or_else(String::new, |Stop(why)| why);
                screen::complain(&format!("the rest was ended: {why}\n"));
                false
            }
        }
    }

    /// Sends the keeper home and frees the ports.
    pub(crate) async fn end(self) -> Result<(), Failure> {
        self.signals.abort();
        drop(self.control);
        self.open.close().await?;
        drop(self.loan);
        Ok(())
    }
}

/// What an open fixture came to.
#[derive(Debug, Clone)]
pub(crate) struct Fixture {
    /// The run.
    pub(crate) outcome: Outcome,
    /// Voltage across the clips at the end of the soak.
    pub(crate) at_full: Option<Voltage>,
    /// Time from the output's end to a voltage that may be touched.
    pub(crate) emptied_in: Option<Time>,
}

/// What is seen of the voltage while a run goes on.
#[derive(Debug, Clone, Copy, Default)]
struct Seen {
    at_full: Option<Voltage>,
    off_at: Option<Time>,
    empty_at: Option<Time>,
}

impl Seen {
    fn emptied_in(self) -> Option<Time> {
        self.off_at.zip(self.empty_at).map(|(off, empty)| empty - off)
    }
}

async fn seen(mut watched: watch::Receiver<Progress>, safe: Voltage) -> Seen {
    let mut seen = Seen::default();
    while watched.changed().await.is_ok() {
        let progress = *watched.borrow_and_update();
        let voltage = progress.voltage;
        if progress.phase == Phase::Soak {
            seen.at_full = voltage.or(seen.at_full);
        }
        if progress.phase == Phase::Bleed {
            seen.off_at.get_or_insert(progress.time);
            if voltage.is_some_and(|voltage| voltage.abs() < safe) {
                seen.empty_at.get_or_insert(progress.time);
            }
        }
    }
    seen
}

/// How long a soak lasts from full voltage on; other runs have no single such time.
fn soak_time(plan: &Plan) -> Option<Time> {
    let soaks = plan.purpose == Purpose::Soak;
    soaks.then(|| plan.target.soak + plan.target.window / 2.0)
}

/// Ctrl-C, SIGTERM and SIGHUP ask for the end; nothing leaves before the part is safe.
async fn listen_for_signals(stops: mpsc::UnboundedSender<Stop>) {
    use tokio::signal::unix::{SignalKind, signal};
    let kinds = [SignalKind::interrupt(), SignalKind::terminate(), SignalKind::hangup()];
    let [Ok(mut interrupt), Ok(mut terminate), Ok(mut hangup)] = kinds.map(signal) else {
        screen::complain("warning: signals can't be caught; stop with `reststrom stop`\n");
        return;
    };
    let mut asked = 0;
    loop {
        let name = tokio::select! {
            _ = interrupt.recv() => "Ctrl-C",
            _ = terminate.recv() => "SIGTERM",
            _ = hangup.recv() => "SIGHUP",
        };
        asked += 1;
        if asked == 1 {
            screen::complain(&format!("\n{name}: output off, discharging; please wait\n"));
        } else {
            screen::complain(
                "\nstill making safe; kill -9 would leave it to the keeper and the part may stay \
                 charged\n",
            );
        }
        if stops.send(Stop(format!("stopped by {name}"))).is_err() {
            return;
        }
    }
}
