//! The thread behind a writer: takes items in order, writes them, tries again.

use std::ops::RangeInclusive;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Instant;

use tokio::sync::watch;
use tracing::{error, warn};

use super::super::thin::Thinner;
use super::super::{Ending, EventRow, LOG_ROOM, Record, RecordError, Row, RunId, patiently};
use super::Pace;
use crate::plan::Keeping;

/// Transactions between two looks at the write-ahead log: a few minutes' worth.
const COMMITS_PER_LOOK: u32 = 256;

/// What a writer may hand over.
#[derive(Debug)]
pub(super) enum Item {
    Reading(Row),
    Event(EventRow),
    Finish(Box<Ending>),
}

/// What was written, and the first failure.
#[derive(Debug, Default)]
pub(super) struct Kept {
    pub(super) rows: u64,
    pub(super) failure: Option<Arc<RecordError>>,
}

/// What woke the thread up.
enum Wake {
    Item(Item),
    Due,
    Closed,
}

#[derive(Debug)]
pub(super) struct Scribe {
    record: Record,
    run: RunId,
    pace: Pace,
    inbox: Receiver<Item>,
    waiting: Arc<AtomicUsize>,
    progress: watch::Sender<Kept>,
    rows: Vec<Row>,
    events: Vec<EventRow>,
    thinner: Thinner,
    forget: Vec<RangeInclusive<u32>>,
    due: Option<Instant>,           // Invariant: set while rows or events wait.
    failing_since: Option<Instant>, // Set while the last try failed.
    commits: u32,
}

impl Scribe {
    pub(super) fn new(
        record: Record,
        run: RunId,
        pace: Pace,
        inbox: Receiver<Item>,
        waiting: Arc<AtomicUsize>,
        progress: watch::Sender<Kept>,
    ) -> Self {
        let (rows, events) = (Vec::new(), Vec::new());
        let (due, failing_since, commits) = (None, None, 0);
        Self {
            record,
            run,
            pace,
            inbox,
            waiting,
            progress,
            rows,
            events,
            thinner: Thinner::new(Keeping::usual()),
            forget: Vec::new(),
            due,
            failing_since,
            commits,
        }
    }

    /// Works until the run is finished or the writer is dropped.
    pub(super) fn work(mut self) -> Result<(), RecordError> {
        // While SQLite waits for a lock nothing is taken from the inbox: so not for long.
        self.record.wait_for_locks(self.pace.commit_every)?;
        loop {
            match self.next() {
                Wake::Item(Item::Reading(row)) => self.take_reading(row),
                Wake::Item(Item::Event(event)) => self.take_event(event),
                Wake::Item(Item::Finish(ending)) => return self.finish(&ending),
                Wake::Due => self.try_to_commit(),
                Wake::Closed => return patiently(self.pace.patience, || self.commit()),
            }
        }
    }

    fn next(&self) -> Wake {
        let Some(due) = self.due else {
            return self.inbox.recv().map_or(Wake::Closed, Wake::Item);
        };
        match self.inbox.recv_timeout(due.saturating_duration_since(Instant::now())) {
            Ok(item) => Wake::Item(item),
            Err(RecvTimeoutError::Timeout) => Wake::Due,
            Err(RecvTimeoutError::Disconnected) => Wake::Closed,
        }
    }

    fn take_reading(&mut self, row: Row) {
        self.forget.extend(self.thinner.take(&row));
        self.rows.push(row);
        self.due.get_or_insert_with(|| Instant::now() + self.pace.commit_every);
        // After a failure the clock alone says when to try again, not the next reading.
        let enough = self.pace.rows_per_commit <= self.rows.len();
        if self.is_due() || (enough && self.failing_since.is_none()) {
            self.try_to_commit();
        }
    }

    fn take_event(&mut self, event: EventRow) {
        self.events.push(event);
        self.try_to_commit();
    }

    /// Readings that keep coming must not put off the moment at which they are written.
    fn is_due(&self) -> bool {
        self.due.is_some_and(|due| due <= Instant::now())
    }

    fn finish(mut self, ending: &Ending) -> Result<(), RecordError> {
        patiently(self.pace.patience, || self.commit())?;
        patiently(self.pace.patience, || self.record.finish(self.run, ending))?;
        // The end is on the disk; an overview can be made again at any time.
        if let Err(error) = self.record.summarise(self.run) {
            warn!(%error, "no overview of the run was kept; its pictures take longer");
        }
        Ok(())
    }

    fn commit(&mut self) -> Result<(), RecordError> {
        if self.rows.is_empty() && self.events.is_empty() {
            return Ok(());
        }
        self.record.keep(self.run, &self.rows, &self.events, &self.forget)?;
        let written = self.rows.len();
        self.rows.clear();
        self.events.clear();
        self.forget.clear();
        self.due = None;
        self.failing_since = None;
        self.waiting.fetch_sub(written, Ordering::Relaxed);
        self.progress.send_modify(|kept| kept.rows += written as u64);
        Ok(())
    }

    fn try_to_commit(&mut self) {
        match self.commit() {
            Ok(()) => self.look_at_log_now_and_then(),
            Err(error) => self.put_off(error),
        }
    }

    /// Keeps what waits for another try, and reports what is more than a passing lock.
    fn put_off(&mut self, error: RecordError) {
        let now = Instant::now();
        self.due = Some(now + self.pace.commit_every);
        let first = self.failing_since.is_none();
        let since = *self.failing_since.get_or_insert(now);
        if !error.is_locked() || self.pace.patience <= since.elapsed() {
            self.report(error);
        } else if first {
            warn!(%error, waiting = self.rows.len(), "readings wait for the record");
        }
    }

    fn report(&self, failure: RecordError) {
        self.progress.send_if_modified(|kept| {
            let first = kept.failure.is_none();
            if first {
                error!(error = %failure, waiting = self.rows.len(), "cannot record the run");
                kept.failure = Some(Arc::new(failure));
            }
            first
        });
    }

    /// A log that stays long has a reader that never lets go, or a disk that does not take it.
    fn look_at_log_now_and_then(&mut self) {
        self.commits = (self.commits + 1) % COMMITS_PER_LOOK;
        if self.commits != 0 {
            return;
        }
        match self.record.empty_log() {
            Ok(bytes) if LOG_ROOM < bytes => {
                warn!(bytes, "the write-ahead log of the record grows: a reader holds it");
            }
            Ok(_) => {}
            Err(error) => warn!(%error, "the write-ahead log of the record was not emptied"),
        }
    }
}
