//! Records a run on a thread of its own, so that nobody who measures ever waits for the disk.
//!
//! Readings go into memory and from there into the file in their order, some hundred
//! milliseconds' worth in each transaction. While the file cannot be written they wait, up to a
//! bound, and are tried again; the caller learns of it through [`Progress`] and ends the run
//! safely, and its last readings are still taken. No reading is ever left out: an end is stored
//! only after every reading before it. Of a long soak, what need not stay is taken
//! out again once its stretch is over.

mod scribe;

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{self, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use tokio::sync::watch;
use tracing::error;

use super::{Ending, EventRow, Record, RecordError, Row, RunId};
use scribe::{Item, Kept, Scribe};

/// How often a [`Writer`] writes, and how much it puts up with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// How long a reading may wait in memory, in real time.
    pub commit_every: Duration,
    /// So many readings waiting are written at once, before that time is over.
    pub rows_per_commit: usize,
    /// So many readings may wait in memory at all.
    pub rows_waiting: usize,
    /// How long another process may hold the record until that counts as a failure.
    pub patience: Duration,
}

impl Default for Pace {
    /// Half a second, so that the promise to lose at most the last second has the other half for
    /// the disk; ten readings a second can wait for almost three hours, in some 10 MB; patience
    /// for a backup of a large record.
    fn default() -> Self {
        Self {
            commit_every: Duration::from_millis(500),
            rows_per_commit: 512,
            rows_waiting: 100_000,
            patience: Duration::from_secs(30),
        }
    }
}

/// Records one run. Dropped without [`Writer::finish`] it writes what waits, and the run stays
/// open: the next start finds it.
#[derive(Debug)]
pub struct Writer {
    items: Option<Sender<Item>>,
    thread: Option<JoinHandle<Result<(), RecordError>>>,
    waiting: Arc<AtomicUsize>,
    rows_waiting: usize,
    kept: watch::Receiver<Kept>,
}

impl Writer {
    /// Starts to record an open run of this record.
    ///
    /// # Errors
    ///
    /// [`RecordError::NoThread`] when the operating system gives no thread.
    pub fn start(record: Record, run: RunId) -> Result<Self, RecordError> {
        Self::start_at_pace(record, run, Pace::default())
    }

    /// Starts to record an open run of this record at a pace of one's own.
    ///
    /// # Errors
    ///
    /// [`RecordError::NoThread`] when the operating system gives no thread.
    pub fn start_at_pace(record: Record, run: RunId, pace: Pace) -> Result<Self, RecordError> {
        let (items, inbox) = mpsc::channel();
        let (progress, kept) = watch::channel(Kept::default());
        let waiting = Arc::new(AtomicUsize::new(0));
        let scribe = Scribe::new(record, run, pace, inbox, Arc::clone(&waiting), progress);
        let thread = thread::Builder::new()
            .name(format!("record {run}"))
            .spawn(move || scribe.work())
            .map_err(RecordError::NoThread)?;
        let (items, thread) = (Some(items), Some(thread));
        Ok(Self { items, thread, waiting, rows_waiting: pace.rows_waiting, kept })
    }

    /// Takes a reading. Never waits.
    ///
    /// # Errors
    ///
    /// [`RecordError::Backlog`] when too many wait already, and [`RecordError::WriterGone`]: the
    /// reading was not taken, so it must not count.
    pub fn reading(&self, row: Row) -> Result<(), RecordError> {
        let waiting = self.waiting();
        if self.rows_waiting <= waiting {
            return Err(RecordError::Backlog { waiting });
        }
        self.waiting.fetch_add(1, Ordering::Relaxed);
        self.send(Item::Reading(row))
    }

    /// Takes an event, and has it written at once together with all readings before it. Never
    /// waits.
    ///
    /// # Errors
    ///
    /// [`RecordError::WriterGone`]: the event was not taken.
    pub fn event(&self, event: EventRow) -> Result<(), RecordError> {
        self.send(Item::Event(event))
    }

    /// How many readings wait for the disk.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.waiting.load(Ordering::Relaxed)
    }

    /// A view of what has been written, and of the failure if there was one.
    #[must_use]
    pub fn progress(&self) -> Progress {
        Progress(self.kept.clone())
    }

    /// Writes all that waits, then the end of the run. When this returns `Ok` they are on the
    /// disk, and the verdict may be shown.
    ///
    /// This waits for the disk, as long as [`Pace::patience`] at worst: not for an async task.
    ///
    /// # Errors
    ///
    /// Why readings or end could not be written. The run then stays open, and the next start
    /// marks it as interrupted.
    pub fn finish(mut self, ending: Ending) -> Result<(), RecordError> {
        self.send(Item::Finish(Box::new(ending)))?;
        self.join()
    }

    fn send(&self, item: Item) -> Result<(), RecordError> {
        let items = self.items.as_ref().ok_or(RecordError::WriterGone)?;
        items.send(item).map_err(|_| RecordError::WriterGone)
    }

    /// Lets the thread come to its end, and says how it ended.
    fn join(&mut self) -> Result<(), RecordError> {
        self.items = None;
        let Some(thread) = self.thread.take() else { return Ok(()) };
        thread.join().unwrap_or(Err(RecordError::WriterGone))
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        if let Err(error) = self.join() {
            error!(%error, waiting = self.waiting(), "readings are not on record");
        }
    }
}

/// What a [`Writer`] has written so far. It may be asked from another thread or task.
#[derive(Debug, Clone)]
pub struct Progress(watch::Receiver<Kept>);

impl Progress {
    /// How many readings have come to the disk; of a long soak not all of them stay.
    #[must_use]
    pub fn rows(&self) -> u64 {
        self.0.borrow().rows
    }

    /// The first failure to write, if there was one. Later success does not take it back.
    #[must_use]
    pub fn failure(&self) -> Option<Arc<RecordError>> {
        self.0.borrow().failure.clone()
    }

    /// Waits for the first failure to write: readings no longer count, and the run must end
    /// safely. A writer that is gone, finished or not, is [`RecordError::WriterGone`].
    ///
    /// # Cancel safety
    ///
    /// Nothing is lost when it is dropped and called again.
    pub async fn failed(&mut self) -> Arc<RecordError> {
        let failed = self.0.wait_for(|kept| kept.failure.is_some()).await;
        failed.ok().and_then(|kept| kept.failure.clone()).unwrap_or_else(gone)
    }

    /// Waits until so many readings are on the disk.
    ///
    /// # Errors
    ///
    /// The failure that came first, or [`RecordError::WriterGone`] when the writer went before.
    ///
    /// # Cancel safety
    ///
    /// Nothing is lost when it is dropped and called again.
    pub async fn reached(&mut self, rows: u64) -> Result<(), Arc<RecordError>> {
        let reached = self.0.wait_for(|kept| rows <= kept.rows || kept.failure.is_some()).await;
        match reached {
            Ok(kept) if rows <= kept.rows => Ok(()),
            Ok(kept) => Err(kept.failure.clone().unwrap_or_else(gone)),
            Err(_) => Err(gone()),
        }
    }
}

fn gone() -> Arc<RecordError> {
    Arc::new(RecordError::WriterGone)
}

#[cfg(test)]
mod tests;
