//! How long a cut-out takes: from the last byte of an over-current reading on the meter's line to
//! the first byte of output-off on the supply's line, both lines real pseudo-terminals.
//!
//! Measured three times. [`bare`] has no daemon at all, only a thread that waits for bytes on one
//! line and writes output-off on the other: that is this machine at this hour, and no software can
//! be quicker. [`layers`] sends ten thousand readings through the layers that a reading passes
//! in the daemon (link, meter, procedure, supply, link) under the daemon's kind of runtime, with
//! the run put back into its soak after each. [`whole`] carries out some whole runs in the daemon's
//! own actor, with keeper, record and all, and strikes each once in its soak: the actor has then
//! never cut out before, and shares the processors with the simulated bench, so it takes longer.
//!
//! The clock starts just before the reading is written and stops when the bytes of output-off have
//! been read, so it holds both system calls of this side, the terminals' way through the kernel and
//! the wake-ups besides. Baud rate and the instruments' own time are no part of it. The daemon
//! side's own share, from the reading's bytes in hand to the return of the call that writes
//! output-off, stands in a line of its own. On a busy machine the bare thread shows how much of
//! the rest is waiting for a processor.

#![expect(clippy::print_stdout, reason = "a benchmark prints its numbers")]

mod bare;
mod layers;
mod terminal;
mod whole;

#[path = "../follower/mod.rs"]
mod follower;
#[path = "../../tests/plant/mod.rs"]
mod plant;
#[path = "../wired/mod.rs"]
mod wired;

use std::error::Error;
use std::time::Duration;

/// Readings through the layers.
const READINGS: usize = 10_000;
/// Whole runs.
const RUNS: usize = 30;
/// What median and 99.9th percentile should be.
const AIM: [&str; 2] = [" (aim below 0.2 ms)", " (aim below 1 ms)"];
/// A line for comparison.
const NO_AIM: [&str; 2] = ["", ""];
/// A reading of 10 mA where the meter stands on 100 µA.
const OVER_CURRENT: &[u8] = b"+1.000000E-02\n";
/// What must appear on the supply's line.
const OUTPUT_OFF: &[u8] = b"OUTP OFF";

type Result<T> = std::result::Result<T, Box<dyn Error + Send + Sync>>;

fn main() -> Result<()> {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    tell("cut-out by a bare thread", bare::measure(READINGS)?, NO_AIM);
    let layers = layers::measure(&runtime, READINGS)?;
    tell("cut-out through the layers", layers.line_to_line, AIM);
    tell("    of it in our own code", layers.own, NO_AIM);
    tell("cut-out in whole runs", whole::measure(&runtime, RUNS)?, AIM);
    Ok(())
}

/// One line with the numbers, each with its aim behind it. Fewer than a thousand times have no
/// 99.9th percentile.
fn tell(what: &str, mut times: Vec<Duration>, [median, rare]: [&str; 2]) {
    times.sort_unstable();
    let count = times.len();
    let at = |thousandth: usize| {
        let index = (count * thousandth / 1000).min(count.saturating_sub(1));
        times.get(index).map_or(f64::NAN, |time| time.as_secs_f64() * 1e3)
    };
    print!("{what}: median {:.3} ms{median}, ", at(500));
    if 1000 <= count {
        print!("99.9th percentile {:.3} ms{rare}, ", at(999));
    }
    println!("longest {:.3} ms, of {count}", at(1000));
}

/// Whether `bytes` hold the words of output-off.
fn is_output_off(bytes: &[u8]) -> bool {
    bytes.windows(OUTPUT_OFF.len()).any(|window| window == OUTPUT_OFF)
}
