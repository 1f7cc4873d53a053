//! The clock of a run: monotonic, lapsed on a simulated bench, and aware of a host that slept.

use std::time::Instant;

use rustix::time::{ClockId, clock_gettime};

use crate::quantity::{Time, seconds};

/// An actor that did not turn for this long has stood still.
const STALL: f64 = 0.9; // s
/// A difference between boot time and running time that grows by this much is a sleep.
const SLEEP: f64 = 0.3; // s

/// Two looks at a clock this close together count as one.
const CLOSE: f64 = 1e-3; // s
/// Looks at the clocks before the last is taken as it is.
const MOST_LOOKS: u8 = 5;

/// Host time and bench time since a run began.
#[derive(Debug, Clone)]
pub(crate) struct Clock {
    start: Instant,
    lapse: f64,
    turned: Time,
    slept: f64,
}

impl Clock {
    /// A clock that starts now, on a bench of which `lapse` seconds pass in a second.
    pub(crate) fn start(lapse: f64) -> Self {
        Self { start: Instant::now(), lapse, turned: seconds(0.0), slept: time_asleep() }
    }

    /// Host time since the start.
    pub(crate) fn host(&self) -> Time {
        seconds(self.start.elapsed().as_secs_f64())
    }

    /// Bench time since the start.
    pub(crate) fn bench(&self) -> Time {
        self.host() * self.lapse
    }

    /// How long a span of bench time lasts at the host.
    pub(crate) fn lasts(&self, bench: Time) -> Time {
        bench / self.lapse
    }

    /// The moment at which host time is `at`.
    pub(crate) fn instant(&self, at: Time) -> Instant {
        self.start + std::time::Duration::from_secs_f64(at.value.max(0.0))
    }

    /// Marks a turn of the actor; says how long it stood still if that was too long.
    pub(crate) fn turn(&mut self) -> Option<Time> {
        let now = self.host();
        let slept = time_asleep();
        let stood = (now - self.turned).max(seconds(slept - self.slept));
        let stalled = seconds(STALL) < now - self.turned || SLEEP < slept - self.slept;
        self.turned = now;
        self.slept = slept;
        stalled.then_some(stood)
    }
}

/// How long the host has slept since it was started: boot time less running time, s.
///
/// A program that is held up between two looks at its clocks would take that for sleep: running
/// time is looked at before and after, and again if the two are far apart.
fn time_asleep() -> f64 {
    let mut tries = 0;
    loop {
        let before = since(ClockId::Monotonic);
        let boot = since(ClockId::Boottime);
        let after = since(ClockId::Monotonic);
        tries += 1;
        if after - before < CLOSE || MOST_LOOKS <= tries {
            return (boot - after).max(0.0);
        }
    }
}

fn since(clock: ClockId) -> f64 {
    let time = clock_gettime(clock);
    #[expect(clippy::cast_precision_loss, reason = "seconds since boot are far below 2^52")]
    let value = time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9;
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bench_time_lapses_and_host_time_does_not() {
        let clock = Clock::start(60.0);
        let (host, bench) = (clock.host(), clock.bench());
        assert!(host * 60.0 <= bench && bench.value < host.value * 60.0 + 60.0);
    }

    #[test]
    fn a_clock_that_turns_is_not_stalled() {
        let mut clock = Clock::start(1.0);
        assert_eq!(clock.turn(), None);
        clock.turned = seconds(-1.0);
        assert!(clock.turn().is_some_and(|stood| seconds(1.0) <= stood));
    }

    #[test]
    fn a_host_that_slept_is_noticed() {
        let mut clock = Clock::start(1.0);
        clock.slept -= 5.0;
        // The two clocks are not read at the same moment.
        assert!(clock.turn().is_some_and(|stood| seconds(4.9) <= stood));
    }
}
