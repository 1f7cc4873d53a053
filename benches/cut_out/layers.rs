//! Over-current readings through the layers of the daemon, one after another.
//!
//! One side is the daemon's: a task that waits on both lines and on time as the station's actor
//! does, and hands what comes to [`Meter`], [`Procedure`] and [`Supply`]. The other side is a
//! thread that plays both instruments. It answers a reading only after a pause, so that the task
//! sleeps when the bytes come.

use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use reststrom::plan::{Phase, RangeIndex};
use reststrom::procedure::{Input, Order, Orders, Procedure};
use reststrom::quantity::{Time, seconds};
use reststrom::station::driver::{self, MeterDriver, SupplyDriver};
use reststrom::station::wiring::Port;
use reststrom::station::{Link, Meter, MeterSays, SensedBy, Supply, SupplyPace};
use tokio::runtime::Runtime;

use super::follower::Follower;
use super::terminal::Terminal;
use super::{OVER_CURRENT, Result, is_output_off, plant};

/// Between a question and the reading that answers it.
const PAUSE: Duration = Duration::from_millis(1);

/// The times of cut-outs.
pub(crate) struct Times {
    /// From the reading written to output-off read, at the instruments' ends.
    pub(crate) line_to_line: Vec<Duration>,
    /// From the reading's bytes read to output-off written, at the daemon's ends.
    pub(crate) own: Vec<Duration>,
}

/// The times of `count` cut-outs.
pub(crate) fn measure(runtime: &Runtime, count: usize) -> Result<Times> {
    let (supply, meter) = (Terminal::open()?, Terminal::open()?);
    let ports = [&supply, &meter].map(|terminal| Port::Serial(terminal.name.clone()));
    let mut side = runtime.block_on(DaemonSide::open(ports))?;
    let instruments = thread::spawn(move || play(supply, meter, count));
    let own = runtime.block_on(side.serve(count))?;
    let played = instruments.join().map_err(|_| "the instruments' thread ended in a panic")?;
    Ok(Times { line_to_line: played?, own })
}

/// What the daemon does with a reading.
struct DaemonSide {
    supply: Supply,
    supply_link: Link,
    meter: Meter,
    meter_link: Link,
    /// A run in its soak, and the moment at which it stands.
    soaking: (Procedure, Time),
    began: Instant,
}

impl DaemonSide {
    async fn open([supply, meter]: [Port; 2]) -> Result<Self> {
        let (for_supply, for_meter) = drivers()?;
        let (soaking, range) = soaking();
        let supply_link = Link::open(&supply, &for_supply.line).await?;
        let meter_link = Link::open(&meter, &for_meter.line).await?;
        let mut meter = Meter::open(&for_meter, SensedBy::Shunt, seconds(0.0));
        meter.select(range);
        let supply = Supply::open(for_supply, SupplyPace::at_lapse(1.0), seconds(0.0));
        Ok(Self { supply, supply_link, meter, meter_link, soaking, began: Instant::now() })
    }

    fn now(&self) -> Time {
        seconds(self.began.elapsed().as_secs_f64())
    }

    /// Cuts out `count` times; gives its own share of each.
    async fn serve(&mut self, count: usize) -> Result<Vec<Duration>> {
        let mut own = Vec::with_capacity(count);
        while own.len() < count {
            while let Some(bytes) = self.meter.write(self.now()) {
                self.meter_link.write(&bytes)?;
            }
            let (mut from_supply, mut from_meter) = ([0; 1024], [0; 1024]);
            let heard = tokio::select! {
                biased;
                read = self.supply_link.read(&mut from_supply) => {
                    return Err(format!("the supply spoke unasked: {read:?}").into());
                }
                read = self.meter_link.read(&mut from_meter) => Some(read?),
                () = tokio::time::sleep(Duration::from_millis(50)) => None,
            };
            let begun = Instant::now();
            let says = match heard {
                Some(count) => self.meter.receive(&from_meter[..count], self.now()),
                None => self.meter.pass(self.now()),
            };
            for said in says {
                if self.hear(said)? {
                    own.push(begun.elapsed());
                }
            }
        }
        Ok(own)
    }

    /// Whether what was said led to a cut-out.
    fn hear(&mut self, said: MeterSays) -> Result<bool> {
        match said {
            MeterSays::Current(sample, range) => {
                let (run, since) = &self.soaking;
                let mut run = run.clone();
                let orders = run.step(*since, Input::Current { sample, range });
                self.carry_out(&orders)
            }
            MeterSays::Identity(_) => Ok(false),
            MeterSays::Disturbed(what) | MeterSays::Complains(what) | MeterSays::Lost(what) => {
                Err(what.into())
            }
        }
    }

    fn carry_out(&mut self, orders: &Orders) -> Result<bool> {
        if orders.first() != Some(&Order::CutOut) {
            return Err(format!("no cut-out came first, but {orders:?}").into());
        }
        // Each cut-out is a first one, as in a run: a copy takes it, which costs about a microsecond.
        let bytes = self.supply.clone().cut_out(self.now()).ok_or("no output-off to write")?;
        self.supply_link.cut_out(&bytes)?;
        Ok(true)
    }
}

fn drivers() -> Result<(SupplyDriver, MeterDriver)> {
    let station = std::path::Path::new("benchmark");
    Ok((driver::supply("scpi-supply", station)?, driver::meter("scpi-meter", station)?))
}

/// A run in its soak at the moment of its newest reading, and the range that it reads on.
fn soaking() -> ((Procedure, Time), RangeIndex) {
    let mut bench = Follower::start(Arc::new(plant::plan()));
    loop {
        let read = bench.read();
        bench.take(read);
        if bench.run.phase() == Phase::Soak {
            return ((bench.run, read.at), read.range);
        }
    }
}

/// Plays both instruments; gives the time of each cut-out.
fn play(mut supply: Terminal, mut meter: Terminal, count: usize) -> Result<Vec<Duration>> {
    let mut times = Vec::with_capacity(count);
    let (mut buffer, mut heard) = ([0; 1024], Vec::new());
    let mut scale = String::new();
    while times.len() < count {
        heard.extend_from_slice(meter.read(&mut buffer)?);
        while let Some(end) = heard.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = heard.drain(..=end).collect();
            let line = String::from_utf8_lossy(&line);
            match line.trim_end() {
                "*IDN?" => meter.write(b"SKARVIK,PLAYED-METER,0001,1.0\n")?,
                "SYST:ERR?" => meter.write(b"0,\"No error\"\n")?,
                "CURR:DC:RANG?" => meter.write(format!("{scale}\n").as_bytes())?,
                "READ?" => times.push(strike(&mut supply, &mut meter)?),
                order => {
                    if let Some(asked) = order.strip_prefix("CONF:CURR:DC ") {
                        asked.clone_into(&mut scale);
                    }
                }
            }
        }
    }
    Ok(times)
}

/// Writes an over-current reading and waits for output-off.
pub(crate) fn strike(supply: &mut Terminal, meter: &mut Terminal) -> Result<Duration> {
    thread::sleep(PAUSE);
    let mut buffer = [0; 64];
    let begun = Instant::now();
    meter.write(OVER_CURRENT)?;
    let bytes = supply.read(&mut buffer)?;
    let took = begun.elapsed();
    if is_output_off(bytes) { Ok(took) } else { Err("not output-off on the line".into()) }
}
