//! The bench as its threads and its owner share it: behind one lock, with the clock.

use std::os::fd::OwnedFd;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use rustix::event::{EventfdFlags, eventfd};

use crate::simbench::desk::Instrument;
use crate::simbench::world::World;

/// Bench time out of real time.
#[derive(Debug)]
struct Clock {
    start: Instant,
    lapse: f64,
    skipped: f64,
}

impl Clock {
    fn now(&self) -> f64 {
        self.start.elapsed().as_secs_f64() * self.lapse + self.skipped
    }
}

/// What the threads share.
#[derive(Debug)]
pub(crate) struct Shared {
    bench: Mutex<(World, Clock)>,
    wakers: [OwnedFd; 3],
    stopping: AtomicBool,
}

/// What an instrument's thread does next.
#[derive(Debug)]
pub(crate) struct Turn {
    /// Bytes to say.
    pub(crate) replies: Vec<Vec<u8>>,
    /// Real seconds until something is due; nothing if nothing is.
    pub(crate) wait: Option<f64>,
    /// Whether the instrument leaves the port unread.
    pub(crate) stalled: bool,
}

impl Shared {
    /// A bench whose clock starts now.
    pub(crate) fn new(world: World, lapse: f64) -> std::io::Result<Self> {
        let waker = || eventfd(0, EventfdFlags::CLOEXEC | EventfdFlags::NONBLOCK);
        Ok(Self {
            bench: Mutex::new((world, Clock { start: Instant::now(), lapse, skipped: 0.0 })),
            wakers: [waker()?, waker()?, waker()?],
            stopping: AtomicBool::new(false),
        })
    }

    /// Does something with the bench, moved up to now.
    pub(crate) fn with<T>(&self, act: impl FnOnce(&mut World) -> T) -> T {
        let mut bench = self.lock();
        let now = bench.1.now();
        bench.0.advance_to(now);
        act(&mut bench.0)
    }

    /// Jumps ahead in time.
    pub(crate) fn skip(&self, seconds: f64) {
        self.lock().1.skipped += seconds;
        self.with(|_| ());
        self.wake();
    }

    /// What an instrument's thread does next; nothing if it has to end.
    pub(crate) fn turn(&self, which: Instrument) -> Option<Turn> {
        if self.stopping.load(Ordering::Acquire) {
            return None;
        }
        let mut bench = self.lock();
        let (world, clock) = &mut *bench;
        // Looking often keeps each catch-up short, however long nobody asks anything.
        world.advance_to(clock.now());
        if world.desk(which).hung_up {
            return None;
        }
        let replies = world.say(which);
        let wait = world.alarm(which).filter(|_| 0.0 < clock.lapse);
        let wait = wait.map(|at| (at - clock.now()).max(0.0) / clock.lapse);
        Some(Turn { replies, wait, stalled: world.desk(which).stalled })
    }

    /// An instrument hears a line.
    pub(crate) fn hear(&self, which: Instrument, line: &str) {
        self.with(|world| world.hear(which, line));
    }

    /// An instrument threw a line away.
    pub(crate) fn overrun(&self, which: Instrument) {
        self.with(|world| world.overrun(which));
    }

    /// What wakes an instrument's thread.
    pub(crate) fn waker(&self, which: Instrument) -> &OwnedFd {
        let [supply, meter, switch] = &self.wakers;
        match which {
            Instrument::Supply => supply,
            Instrument::Meter => meter,
            Instrument::Switch => switch,
        }
    }

    /// Wakes all threads.
    pub(crate) fn wake(&self) {
        for waker in &self.wakers {
            // A counter that is already full wakes just as well.
            if let Err(error) = rustix::io::write(waker, &1_u64.to_ne_bytes()) {
                tracing::debug!(%error, "a thread of the bench is awake already");
            }
        }
    }

    /// Ends all threads.
    pub(crate) fn stop(&self) {
        self.stopping.store(true, Ordering::Release);
        self.wake();
    }

    fn lock(&self) -> MutexGuard<'_, (World, Clock)> {
        self.bench.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
