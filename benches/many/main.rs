//! Sixty-four stations in one process: is any reading asked for late, and how long does a cut-out take
//! while all of them run?
//!
//! Each station is the daemon's own: actor, keeper, record and all, on two pseudo-terminals. On the other
//! ends a few threads play supplies and meters that answer at once and cost next to nothing. A meter
//! takes one period for a reading; how late a reading is, is the time from its answer to the next
//! question, while the output is on. In its soak each station is struck once, one after the other: an
//! over-current in the place of a reading, and the time until output-off stands on the supply's line is
//! taken.
//!
//! `cargo bench --bench many -- ROUNDS` repeats it so many times (1 if not given).

#![expect(clippy::print_stdout, reason = "a benchmark prints its numbers")]

mod instruments;
mod station;

#[path = "../cut_out/terminal.rs"]
mod terminal;
#[path = "../wired/mod.rs"]
mod wired;

use std::error::Error;
use std::time::Duration;

type Result<T> = std::result::Result<T, Box<dyn Error + Send + Sync>>;

/// Stations at once.
const STATIONS: usize = 64;
/// Bench seconds per second: a period of 100 ms is 25 ms here, which is the harder for it.
const LAPSE: f64 = 4.0;
/// Time from one reading to the next.
const PERIOD: Duration = Duration::from_millis(25);
/// Time from one station's over-current to the next one's, if they began to soak together.
const APART: Duration = Duration::from_millis(30);
/// Stations that one thread plays the instruments of.
const PER_THREAD: usize = 16;

fn main() -> Result<()> {
    let rounds = std::env::args().skip(1).find_map(|word| word.parse().ok()).unwrap_or(1);
    let (mut late, mut cut_outs) = (Vec::new(), Vec::new());
    for _ in 0..rounds {
        let measured = round()?;
        late.extend(measured.late);
        cut_outs.extend(measured.cut_outs);
    }
    late.sort_unstable();
    cut_outs.sort_unstable();
    let beyond = late.iter().filter(|time| PERIOD < **time).count();
    println!(
        "{STATIONS} stations: {} readings, asked for after {:.2} ms at the median, {:.2} ms at the 99.9th \
         percentile, {:.2} ms at most; {beyond} late by more than a period of {} ms (aim 0)",
        late.len(),
        milliseconds(&late, 0.5),
        milliseconds(&late, 0.999),
        milliseconds(&late, 1.0),
        PERIOD.as_millis()
    );
    println!(
        "cut-out: median {:.2} ms, 99.9th percentile {:.2} ms (aim below 5 ms), longest {:.2} ms, of {}",
        milliseconds(&cut_outs, 0.5),
        milliseconds(&cut_outs, 0.999),
        milliseconds(&cut_outs, 1.0),
        cut_outs.len()
    );
    Ok(())
}

/// The value that this share of all lies at or below.
fn milliseconds(sorted: &[Duration], share: f64) -> f64 {
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "an index into some ten thousand values"
    )]
    let index = ((sorted.len() as f64 * share).ceil() as usize).clamp(1, sorted.len().max(1)) - 1;
    sorted.get(index).map_or(f64::NAN, |time| time.as_secs_f64() * 1e3)
}

/// Every station through one run.
fn round() -> Result<instruments::Measured> {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let folder = tempfile::tempdir()?;
    let mut players = Vec::new();
    let mut runs = Vec::new();
    for group in 0..STATIONS / PER_THREAD {
        let mut played = Vec::new();
        for within in 0..PER_THREAD {
            let number = group * PER_THREAD + within;
            let rig =
                instruments::Rig::new(Duration::from_secs(3) + APART * u32::try_from(number)?)?;
            let (supply, meter) = rig.ports();
            let record = folder.path().join(format!("{number}.db"));
            runs.push(station::soak(number, &supply, &meter, record, rig.soaking())?);
            played.push(rig);
        }
        players.push(std::thread::spawn(move || instruments::play(played)));
    }
    let ended: Vec<Result<()>> = runtime.block_on(async {
        let tasks: Vec<_> = runs.into_iter().map(tokio::spawn).collect();
        let mut ended = Vec::new();
        for task in tasks {
            ended.push(task.await.map_err(Into::into).and_then(|ended| ended));
        }
        ended
    });
    ended.into_iter().collect::<Result<Vec<()>>>()?;
    let mut all = instruments::Measured::default();
    for player in players {
        let measured = player.join().map_err(|_| "a player ended in a panic")??;
        all.late.extend(measured.late);
        all.cut_outs.extend(measured.cut_outs);
    }
    if all.cut_outs.len() != STATIONS {
        return Err(format!("{} of {STATIONS} stations were cut out", all.cut_outs.len()).into());
    }
    Ok(all)
}
