//! The thread of a served station: takes its work, owns its ports while it lasts.

use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::{mpsc, oneshot};

use super::{Desk, Job, RunJob, Stopped, locked_out_by, newest_run, refusal_of_lock_out};
use crate::daemon::begun::{Begun, Origin, new_run, plan_after};
use crate::daemon::control::{Control, socket_path};
use crate::daemon::refused::{Ground, Refused};
use crate::daemon::standing::{Doing, Going, Last};
use crate::daemon::{Finished, Line, OpenStation, Progress, RunError, Stop};
use crate::plan::Plan;
use crate::quantity::seconds;
use crate::record::{EventRow, Record};

/// An idle thread turns this often, and looks for what an interrupted run left.
const TURN: Duration = Duration::from_secs(2);

/// Between two signs of life of the thread.
const SIGN_OF_LIFE: Duration = Duration::from_secs(1);

/// What the thread holds.
struct Host {
    desk: Arc<Desk>,
    stops: mpsc::UnboundedReceiver<Stop>,
    keeper_program: PathBuf,
    control: Option<Control>,
    /// A run of this station is open on record, and nobody carries it out.
    left_open: bool,
}

/// Starts the thread; it has its control socket when this returns.
pub(super) fn begin(
    desk: Arc<Desk>,
    jobs: mpsc::UnboundedReceiver<Job>,
    stops: mpsc::UnboundedReceiver<Stop>,
    keeper_program: PathBuf,
) -> Result<JoinHandle<()>, Refused> {
    let failed =
        |error: std::io::Error| Refused::new(Ground::Fault, error.to_string(), "see the reason");
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(failed)?;
    nobody_serves(&desk.station.name)?;
    let control = runtime.block_on(async { serve_control(&desk) }).map_err(failed)?;
    let name = desk.station.name.clone();
    let host = Host { desk, stops, keeper_program, control: Some(control), left_open: true };
    let thread = std::thread::Builder::new().name(name);
    thread.spawn(move || runtime.block_on(host.work(jobs))).map_err(failed)
}

/// One program to a station: another that listens has it.
fn nobody_serves(station: &str) -> Result<(), Refused> {
    let listens = socket_path(station).map(std::os::unix::net::UnixStream::connect);
    match listens {
        Ok(Ok(_listens)) => Err(Refused::new(
            Ground::Busy,
            format!("station {station} is in use by another reststrom"),
            "wait for its end, or end it with `reststrom stop` or Ctrl-C in its terminal",
        )),
        Ok(Err(_nobody)) => Ok(()),
        Err(error) => Err(Refused::new(Ground::Fault, error.to_string(), "see the reason")),
    }
}

fn serve_control(desk: &Arc<Desk>) -> std::io::Result<Control> {
    let stopped = desk.clone();
    Control::serve(&desk.station.name, move |Stop(why)| stopped.stop(&why) == Stopped::Stopping)
}

impl Host {
    async fn work(mut self, mut jobs: mpsc::UnboundedReceiver<Job>) {
        tokio::spawn(turn(self.desk.clone()));
        self.make_safe_what_was_left().await;
        loop {
            let job = tokio::time::timeout(TURN, jobs.recv()).await;
            match job {
                Err(_elapsed) => self.make_safe_what_was_left().await,
                Ok(Some(Job::Run(job))) => self.carry_out(*job).await,
                Ok(Some(Job::Lend { ready, until })) => self.lend(ready, until).await,
                Ok(Some(Job::Close) | None) => return self.desk.closed(),
            }
        }
    }

    /// A run, from the open ports to the closed record.
    async fn carry_out(&mut self, job: RunJob) {
        let RunJob { answer, .. } = &job;
        let plan = Arc::new(job.start.drawn.plan.clone());
        match self.prepare(&job, &plan).await {
            Err(refused) => {
                answer.send_replace(Some(Err(refused.clone())));
                self.desk.refused(refused);
            }
            Ok((mut open, begun)) => {
                answer.send_replace(Some(Ok(begun.id)));
                self.desk.runs(&job, &begun);
                let finished = self.run(&mut open, begun, plan).await;
                self.close(open).await;
                self.ended(finished);
            }
        }
        self.desk.progress.send_replace(Progress::default());
    }

    async fn run(
        &mut self,
        open: &mut OpenStation,
        begun: Begun,
        plan: Arc<Plan>,
    ) -> Result<Finished, RunError> {
        let desk = self.desk.clone();
        let line = Line { progress: &desk.progress, stops: &mut self.stops };
        open.run_begun(begun, plan, line).await
    }

    /// Everything that has to stand before the first output-on: nobody is locked out, the ports
    /// are owned, the keeper lives, the bench is safe, the run and its token are on record.
    async fn prepare(
        &mut self,
        job: &RunJob,
        plan: &Arc<Plan>,
    ) -> Result<(OpenStation, Begun), Refused> {
        let mut record = Record::open(&self.desk.record)?;
        let station = &self.desk.station;
        if !job.start.unlock {
            if let Some(run) = locked_out_by(&record, &station.name)? {
                return Err(refusal_of_lock_out(&station.name, run));
            }
            if let Some(why) = self.desk.standing.borrow().locked_out.clone() {
                return Err(Refused::new(Ground::LockedOut, why, "see to the bench, then unlock"));
            }
        }
        let mut open = OpenStation::open(station, &self.keeper_program).await?;
        match self.begin(job, plan, &mut open, &mut record).await {
            Ok(()) => {}
            Err(refused) => {
                self.close(open).await;
                return Err(refused);
            }
        }
        match self.put_on_record(job, &open, record) {
            Ok(begun) => Ok((open, begun)),
            Err(refused) => {
                self.close(open).await;
                Err(refused)
            }
        }
    }

    /// Makes safe what was left, unless somebody has asked for the end meanwhile.
    async fn begin(
        &mut self,
        job: &RunJob,
        plan: &Arc<Plan>,
        open: &mut OpenStation,
        record: &mut Record,
    ) -> Result<(), Refused> {
        let desk = self.desk.clone();
        let mut line = Line { progress: &desk.progress, stops: &mut self.stops };
        open.recover(record, &desk.station.name, plan, &mut line).await?;
        self.left_open = false;
        if desk.is_stopped_since(job.stops_seen) {
            return Err(Refused::new(
                Ground::Busy,
                "it was stopped before it began",
                "start it again if that is what is wanted",
            ));
        }
        Ok(())
    }

    fn put_on_record(
        &self,
        job: &RunJob,
        open: &OpenStation,
        record: Record,
    ) -> Result<Begun, Refused> {
        let station = &self.desk.station;
        let start = &job.start;
        let run = new_run(&start.wish, &start.drawn, station, &open.instruments, Origin::default());
        let mut begun = Begun::on(record, &run)?;
        let token = EventRow {
            time: seconds(0.0),
            wall: Timestamp::now(),
            kind: "token".into(),
            text: format!("{} {}", start.token, start.asked.in_json()),
        };
        begun.record.event(begun.id, &token)?;
        Ok(begun)
    }

    fn ended(&mut self, finished: Result<Finished, RunError>) {
        match finished {
            Ok(finished) => {
                tracing::info!(run = %finished.id, verdict = %finished.outcome.ruling.verdict, "ended");
                self.desk.idle(self.newest(), None);
            }
            Err(error) => {
                self.left_open = true;
                tracing::error!(%error, "a run has no end on record");
                self.desk.idle(self.newest(), Some(error.into()));
            }
        }
        while let Ok(Stop(why)) = self.stops.try_recv() {
            tracing::debug!(why, "came after the end");
        }
    }

    /// What the newest run on record came to.
    fn newest(&self) -> Option<Last> {
        let Desk { record, station, .. } = &*self.desk;
        let found =
            Record::open_for_reading(record).and_then(|record| newest_run(&record, &station.name));
        match found {
            Ok(run) => run.as_ref().map(Last::of),
            Err(error) => {
                tracing::error!(%error, "the newest run can't be read");
                None
            }
        }
    }

    async fn close(&self, open: OpenStation) {
        if let Err(error) = open.close().await {
            tracing::error!(%error, "the keeper can't be waited for");
        }
    }

    /// What an interrupted run left is made safe as soon as its ports can be had: the keeper of a
    /// program that died holds them until it has measured the part empty.
    async fn make_safe_what_was_left(&mut self) {
        if !self.left_open {
            return;
        }
        let found = Record::open(&self.desk.record)
            .and_then(|record| Ok((record.open_runs(&self.desk.station.name)?, record)));
        match found {
            Ok((runs, record)) => match runs.last() {
                None => self.left_open = false,
                Some(run) => self.make_safe(run, record).await,
            },
            Err(error) => self.desk.trouble(error.into()),
        }
    }

    async fn make_safe(&mut self, run: &crate::record::Run, mut record: Record) {
        if self.desk.take(Doing::MakingSafe, None).is_err() {
            return;
        }
        let made = self.recover(run, &mut record).await;
        let failed = match made {
            Ok(()) => None,
            // Looked at once: after that a person has to look.
            Err(error) if error.ground == Ground::LockedOut => {
                self.left_open = false;
                self.desk.lock_out(&error);
                Some(error)
            }
            Err(error) => Some(error),
        };
        self.left_open &= failed.is_some();
        self.desk.idle(self.newest(), failed);
    }

    async fn recover(
        &mut self,
        run: &crate::record::Run,
        record: &mut Record,
    ) -> Result<(), Refused> {
        let desk = self.desk.clone();
        let plan = Arc::new(plan_after(run, &desk.station)?.plan);
        let mut open = OpenStation::open(&desk.station, &self.keeper_program).await?;
        let mut line = Line { progress: &desk.progress, stops: &mut self.stops };
        let found = open.recover(record, &desk.station.name, &plan, &mut line).await;
        self.close(open).await;
        for run in found? {
            tracing::warn!(%run, "was cut off earlier; its bench has been made safe");
        }
        Ok(())
    }

    /// Lets a command have the station: it serves the control socket itself meanwhile.
    async fn lend(&mut self, ready: oneshot::Sender<()>, until: oneshot::Receiver<()>) {
        self.control = None;
        if ready.send(()).is_ok() {
            // It ends with an error in any case: nothing is ever sent, the lender is dropped.
            if until.await.is_err() {
                tracing::debug!("given back");
            }
        }
        match serve_control(&self.desk) {
            Ok(control) => self.control = Some(control),
            Err(error) => tracing::error!(%error, "no control socket: stop by the page"),
        }
        self.left_open = true;
        self.desk.idle(self.newest(), None);
    }
}

/// Signs of life, for as long as nothing blocks the thread.
async fn turn(desk: Arc<Desk>) {
    loop {
        desk.turn();
        tokio::time::sleep(SIGN_OF_LIFE).await;
    }
}

impl Desk {
    fn runs(&self, job: &RunJob, begun: &Begun) {
        let going = Going {
            run: Some(begun.id),
            wish: job.start.wish.clone(),
            drawn: job.start.drawn.clone(),
        };
        self.standing.send_modify(|standing| {
            standing.doing = Doing::Running;
            standing.going = Some(Arc::new(going));
            standing.locked_out = None;
        });
    }

    fn refused(&self, refused: Refused) {
        if refused.ground == Ground::LockedOut {
            self.lock_out(&refused);
        }
        self.standing.send_modify(|standing| {
            standing.doing = Doing::Idle;
            standing.going = None;
            standing.trouble = Some(refused);
        });
    }

    fn lock_out(&self, refused: &Refused) {
        let why = refused.to_string();
        self.standing.send_modify(|standing| standing.locked_out = Some(why));
    }

    fn trouble(&self, refused: Refused) {
        self.standing.send_modify(|standing| standing.trouble = Some(refused));
    }

    fn idle(&self, last: Option<Last>, trouble: Option<Refused>) {
        self.standing.send_modify(|standing| {
            standing.doing = Doing::Idle;
            standing.going = None;
            standing.locked_out =
                last.as_ref().and_then(Last::lock_out).or(standing.locked_out.take());
            standing.last = last;
            standing.trouble = trouble;
        });
    }

    fn closed(&self) {
        self.standing.send_modify(|standing| {
            standing.doing = Doing::Closing;
            standing.going = None;
        });
    }
}
