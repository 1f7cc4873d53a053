//! What `serve` costs and how fresh its page is: idle, with twenty pages open, by the byte.
//!
//! The program runs as a person runs it, beside a simulated bench at the pace of a real one.

#![expect(clippy::print_stdout, reason = "a benchmark prints its numbers")]

mod clients;
mod process;
#[path = "../wired/mod.rs"]
mod wired;

use std::error::Error;
use std::time::{Duration, Instant};

use reststrom::simbench::{Bench, BenchOptions, scenario};

use clients::{Client, freshness};
use process::Served;

/// Pages that are open at once.
const PAGES: usize = 20;
/// How long they are watched; `RESTSTROM_BENCH_SECONDS` asks for longer.
const WATCHED: Duration = Duration::from_mins(1);
/// How long the idle program is watched.
const IDLE: Duration = Duration::from_secs(10);
/// What a page fetches.
const PARTS: [&str; 6] = [
    "/",
    "/assets/page.css",
    "/assets/page.js",
    "/assets/live.js",
    "/assets/uplot.js",
    "/assets/uplot.css",
];

type Result<T> = std::result::Result<T, Box<dyn Error + Send + Sync>>;

fn main() -> Result<()> {
    let bench = Bench::start(BenchOptions { lapse: 1.0, ..BenchOptions::default() })?;
    bench.clip_in(scenario()?.part("C14").ok_or("C14 is in the scenario")?);
    let served = Served::start(&bench.supply_port(), &bench.meter_port())?;
    idle(&served)?;
    bytes(&served)?;
    watched(&served)
}

/// Resident memory, and the share of a core while nothing goes on.
fn idle(served: &Served) -> Result<()> {
    std::thread::sleep(Duration::from_secs(2));
    let before = served.cpu_seconds()?;
    std::thread::sleep(IDLE);
    let share = (served.cpu_seconds()? - before) / IDLE.as_secs_f64();
    println!("idle: {:.1} MB resident, {:.2} % of a core", served.resident_mb()?, share * 100.0);
    Ok(())
}

/// What a page fetches in all, and how long the server takes for it.
fn bytes(served: &Served) -> Result<()> {
    let client = Client::of(&served.base);
    let mut sum = 0;
    let begun = Instant::now();
    for part in PARTS {
        sum += client.get(part)?.len();
    }
    let all = begun.elapsed();
    println!("page: {sum} bytes in {} parts, served in {all:.1?}", PARTS.len());
    Ok(())
}

/// Twenty pages beside a run: freshness of what they show, memory, the share of a core.
fn watched(served: &Served) -> Result<()> {
    let client = Client::of(&served.base);
    client.start_soak()?;
    let seconds = std::env::var("RESTSTROM_BENCH_SECONDS").ok().and_then(|text| text.parse().ok());
    let time = seconds.map_or(WATCHED, Duration::from_secs);
    std::thread::sleep(Duration::from_secs(3));
    let unwatched = share_during(served, Duration::from_secs(10), || Ok(Vec::new()))?.0;
    let resident = served.resident_mb()?;
    let (share, mut late) = share_during(served, time, || freshness(&served.base, PAGES, time))?;
    late.sort_by(f64::total_cmp);
    // Of a thousand, sorted, the one at this place.
    let at = |place: usize| late.get(late.len() * place / 1000).or(late.last()).copied();
    let at = |place| at(place).unwrap_or(f64::NAN) * 1e3;
    println!(
        "{PAGES} pages for {time:?}: {:.1} % of a core ({:.1} % by the run alone), {resident:.1} MB \
         resident before, {:.1} MB after",
        share * 100.0,
        unwatched * 100.0,
        served.resident_mb()?
    );
    println!(
        "reading to page: {:.1} ms median, {:.1} ms in 99 of 100, {:.1} ms at most, of {}",
        at(500),
        at(990),
        at(1000),
        late.len()
    );
    client.stop()
}

fn share_during(
    served: &Served,
    time: Duration,
    work: impl FnOnce() -> Result<Vec<f64>>,
) -> Result<(f64, Vec<f64>)> {
    let (before, begun) = (served.cpu_seconds()?, Instant::now());
    let result = work()?;
    std::thread::sleep(time.saturating_sub(begun.elapsed()));
    let spent = served.cpu_seconds()? - before;
    Ok((spent / begun.elapsed().as_secs_f64(), result))
}
