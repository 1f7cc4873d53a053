//! Whole runs in the daemon's own actor, each struck once in its soak.
//!
//! The instruments are those of the simulated bench. Between them and the daemon sits a tap: it
//! passes every byte on, both ways, until a run is in its soak; then it puts an over-current
//! reading in the place of the meter's next one and waits for output-off on the supply's line.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use reststrom::daemon::{Finished, Line, OpenStation, Progress};
use reststrom::judge::{Left, Verdict};
use reststrom::part::Part;
use reststrom::plan::{Phase, Wish, draw_up};
use reststrom::quantity::{farads, seconds, volts};
use reststrom::record::Record;
use reststrom::simbench::{Bench, BenchOptions, Physics, Serve, SimPart};
use reststrom::station::wiring::{self, Station};
use rustix::event::{PollFd, PollFlags, poll};
use tokio::runtime::Runtime;
use tokio::sync::{mpsc, watch};

use super::terminal::Terminal;
use super::wired::{new_run, station_file};
use super::{OVER_CURRENT, Result, is_output_off};

/// Bench seconds per second, as in the demo.
const LAPSE: f64 = 60.0;

/// The times of `count` cut-outs, one a run.
pub(crate) fn measure(runtime: &Runtime, count: usize) -> Result<Vec<Duration>> {
    let folder = tempfile::tempdir()?;
    let options = BenchOptions { lapse: LAPSE, serve: Serve::Loopback, ..BenchOptions::default() };
    let bench = Bench::start(options)?;
    bench.clip_in(&SimPart::bare(Physics::capacitor(farads(22e-6), volts(25.0))));
    let record = folder.path().join("record.db");
    let times = (0..count).map(|_| one(runtime, &bench, &record)).collect::<Result<Vec<_>>>()?;
    let broken = bench.violations();
    if broken.is_empty() { Ok(times) } else { Err(broken.join("; ").into()) }
}

fn one(runtime: &Runtime, bench: &Bench, record: &Path) -> Result<Duration> {
    let (supply, meter) = (Terminal::open()?, Terminal::open()?);
    let station = station(&supply.name, &meter.name)?;
    let strike = Arc::new(AtomicBool::new(false));
    let tap = Tap {
        supply,
        meter,
        to_supply: TcpStream::connect(bench.supply_port())?,
        to_meter: TcpStream::connect(bench.meter_port())?,
        strike: strike.clone(),
        reading: false,
        struck: None,
        took: None,
    };
    let tap = thread::spawn(move || tap.pass_on());
    let finished = runtime.block_on(soak(&station, Record::open(record)?, strike))?;
    let took = tap.join().map_err(|_| "the tap ended in a panic")??;
    let outcome = finished.outcome;
    // One reading alone condemns no part that then gives its charge back; it cuts out all the same.
    if outcome.ruling.verdict == Verdict::Within || outcome.left != Left::Safe {
        return Err(format!("the run was not cut out: {:?} {:?}", outcome, finished.notes).into());
    }
    took.ok_or_else(|| "the run was never struck".into())
}

fn station(supply: &str, meter: &str) -> Result<Station> {
    let text = station_file("benchmark", LAPSE, supply, meter);
    Ok(wiring::read(Path::new("benchmark"), &text)?)
}

/// A soak of a sound tantalum, with `strike` set once it soaks.
async fn soak(station: &Station, record: Record, strike: Arc<AtomicBool>) -> Result<Finished> {
    let part = Part::read("22µF 25V tantalum")?;
    let limit = part.default_limit()?;
    let soak = Some(seconds(60.0));
    let wish = Wish { soak, ..Wish::of(part, limit) };
    let drawn = draw_up(&wish, &station.bench).map_err(|refused| format!("{refused:?}"))?;
    let plan = Arc::new(drawn.plan);
    let keeper = Path::new(env!("CARGO_BIN_EXE_reststrom"));
    let mut open = OpenStation::open(station, keeper).await?;
    let (progress, watched) = watch::channel(Progress::default());
    let (_wishes, mut stops) = mpsc::unbounded_channel();
    let aimed = tokio::spawn(aim(watched, strike));
    let begun = new_run(station, &plan);
    let line = Line { progress: &progress, stops: &mut stops };
    let finished = open.run(record, begun, plan, line).await?;
    drop(progress);
    aimed.await?;
    open.close().await?;
    Ok(finished)
}

/// Sets `strike` when the run soaks.
async fn aim(mut watched: watch::Receiver<Progress>, strike: Arc<AtomicBool>) {
    while watched.changed().await.is_ok() {
        let phase = watched.borrow_and_update().phase;
        strike.store(phase == Phase::Soak, Ordering::Release);
    }
}

/// Sits on both lines.
struct Tap {
    supply: Terminal,
    meter: Terminal,
    to_supply: TcpStream,
    to_meter: TcpStream,
    strike: Arc<AtomicBool>,
    /// The question that is open at the meter is that for a reading.
    reading: bool,
    struck: Option<Instant>,
    took: Option<Duration>,
}

impl Tap {
    /// Passes bytes on until the daemon has closed its lines.
    fn pass_on(mut self) -> Result<Option<Duration>> {
        let mut buffer = [0; 1024];
        loop {
            let [from_supply, from_meter, supply_says, meter_says] = self.wait()?;
            let open = (!from_supply || self.order_supply(&mut buffer)?)
                && (!from_meter || self.ask_meter(&mut buffer)?);
            if !open {
                return Ok(self.took);
            }
            if supply_says {
                let count = self.to_supply.read(&mut buffer)?;
                self.supply.write(&buffer[..count])?;
            }
            if meter_says {
                self.answer(&mut buffer)?;
            }
        }
    }

    /// Which of the four ends have something.
    fn wait(&self) -> Result<[bool; 4]> {
        let mut ends = [
            PollFd::new(&self.supply.master, PollFlags::IN),
            PollFd::new(&self.meter.master, PollFlags::IN),
            PollFd::new(&self.to_supply, PollFlags::IN),
            PollFd::new(&self.to_meter, PollFlags::IN),
        ];
        poll(&mut ends, None)?;
        Ok(ends.map(|end| !end.revents().is_empty()))
    }

    /// From the daemon to the supply, with an eye on output-off; false once the line is closed.
    fn order_supply(&mut self, buffer: &mut [u8]) -> Result<bool> {
        // A closed line is an input/output error at this end of a pseudo-terminal.
        let Ok(bytes) = self.supply.read(buffer) else { return Ok(false) };
        if let Some(struck) = self.struck
            && self.took.is_none()
            && is_output_off(bytes)
        {
            self.took = Some(struck.elapsed());
        }
        self.to_supply.write_all(bytes)?;
        Ok(true)
    }

    /// From the daemon to the meter; false once the line is closed.
    fn ask_meter(&mut self, buffer: &mut [u8]) -> Result<bool> {
        let Ok(bytes) = self.meter.read(buffer) else { return Ok(false) };
        self.reading = bytes.ends_with(b"READ?\n");
        self.to_meter.write_all(bytes)?;
        Ok(true)
    }

    /// From the meter to the daemon, or the strike in its place.
    fn answer(&mut self, buffer: &mut [u8]) -> Result<()> {
        let count = self.to_meter.read(buffer)?;
        let strikes = self.struck.is_none() && self.reading && self.strike.load(Ordering::Acquire);
        if strikes {
            self.struck = Some(Instant::now());
            return Ok(self.meter.write(OVER_CURRENT)?);
        }
        Ok(self.meter.write(&buffer[..count])?)
    }
}
