//! Supplies and meters that answer at once: enough SCPI for a run, and a part that follows its voltage.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, poll};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use super::terminal::Terminal;
use super::{LAPSE, PERIOD, Result};

/// The part: farads, and amperes for each volt.
const FARAD: f64 = 22e-6;
const LEAKAGE: f64 = 0.18e-6 / 25.0;
/// Series resistor and a meter's burden, and with them the bleeder, in ohms.
const PATH: f64 = 1010.0;
const BLEEDER: f64 = 10_000.0;
/// A reading that only a failed part can give.
const OVER_CURRENT: f64 = 10e-3;

/// What was measured at a group of stations.
#[derive(Debug, Default)]
pub(crate) struct Measured {
    /// From each answer of a meter to its next question, while the output is on.
    pub(crate) late: Vec<Duration>,
    /// From an over-current to output-off.
    pub(crate) cut_outs: Vec<Duration>,
}

/// Supply, meter and part of one station.
pub(crate) struct Rig {
    supply: Line,
    meter: Line,
    settings: HashMap<&'static str, String>,
    on: bool,
    volt: f64,
    /// Charge that went in since the last reading, and when that was.
    charge: f64,
    read_at: Instant,
    moved_at: Instant,
    /// The answer to `READ?` is due then.
    due: Option<Instant>,
    answered: Option<Instant>,
    soaking: Arc<AtomicBool>,
    soaks_since: Option<Instant>,
    into: Duration,
    struck: Option<Instant>,
    took: Option<Duration>,
    late: Vec<Duration>,
}

struct Line {
    terminal: Terminal,
    pending: Vec<u8>,
    closed: bool,
    opened: bool,
}

impl Line {
    fn new() -> Result<Self> {
        let terminal = Terminal::open()?;
        let mut modes = tcgetattr(&terminal.master)?;
        modes.make_raw();
        tcsetattr(&terminal.master, OptionalActions::Now, &modes)?;
        Ok(Self { terminal, pending: Vec::new(), closed: false, opened: false })
    }

    /// Whole lines that have come.
    fn lines(&mut self) -> Vec<String> {
        let mut buffer = [0; 1024];
        match self.terminal.read(&mut buffer) {
            Ok(bytes) => {
                self.opened = true;
                self.pending.extend_from_slice(bytes);
            }
            // Closed at the other end, once it had been open.
            Err(_hung_up) => self.closed = self.opened,
        }
        let mut lines = Vec::new();
        while let Some(end) = self.pending.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = self.pending.drain(..=end).collect();
            lines.push(String::from_utf8_lossy(&line).trim().to_owned());
        }
        lines
    }

    fn say(&mut self, text: &str) -> Result<()> {
        Ok(self.terminal.write(format!("{text}\n").as_bytes())?)
    }
}

impl Rig {
    /// Two new lines and an empty part, which fails `into` its soak.
    pub(crate) fn new(into: Duration) -> Result<Self> {
        let now = Instant::now();
        Ok(Self {
            supply: Line::new()?,
            meter: Line::new()?,
            settings: HashMap::new(),
            on: false,
            volt: 0.0,
            charge: 0.0,
            read_at: now,
            moved_at: now,
            due: None,
            answered: None,
            soaking: Arc::default(),
            soaks_since: None,
            into,
            struck: None,
            took: None,
            late: Vec::new(),
        })
    }

    /// The paths of the other ends: supply and meter.
    pub(crate) fn ports(&self) -> (String, String) {
        (self.supply.terminal.name.clone(), self.meter.terminal.name.clone())
    }

    /// Set by the run while it soaks.
    pub(crate) fn soaking(&self) -> Arc<AtomicBool> {
        self.soaking.clone()
    }

    fn setting(&self, name: &'static str) -> f64 {
        self.settings.get(name).and_then(|text| text.parse().ok()).unwrap_or(0.0)
    }

    /// Lets the part follow until now: one resistance, one capacitance.
    fn follow(&mut self, now: Instant) {
        let span = now.duration_since(self.moved_at).as_secs_f64() * LAPSE;
        self.moved_at = now;
        let (towards, path) =
            if self.on { (self.setting("VOLT"), PATH) } else { (0.0, PATH + BLEEDER) };
        let left = (-span / (path * FARAD)).exp();
        let before = self.volt;
        self.volt = towards + (before - towards) * left;
        self.charge += (self.volt - before) * FARAD + self.volt * LEAKAGE * span;
    }

    fn supply_hears(&mut self, line: &str, now: Instant) -> Result<()> {
        self.follow(now);
        let terminals =
            if self.on { self.setting("VOLT") } else { self.volt * BLEEDER / (PATH + BLEEDER) };
        match line {
            "" => Ok(()),
            "*IDN?" => self.supply.say("SKARVIK,BENCH-SUPPLY,1,1.0"),
            "SYST:ERR?" => self.supply.say("0,\"No error\""),
            "OUTP ON" => {
                self.on = true;
                Ok(())
            }
            "OUTP OFF" => {
                self.on = false;
                if let (Some(struck), None) = (self.struck, self.took) {
                    self.took = Some(now.duration_since(struck));
                }
                Ok(())
            }
            "OUTP?" => self.supply.say(if self.on { "1" } else { "0" }),
            "MEAS:VOLT?" => self.supply.say(&format!("{terminals:.4}")),
            _ => self.keep(line),
        }
    }

    /// `WORDS VALUE` is kept, `WORDS?` tells it again.
    fn keep(&mut self, line: &str) -> Result<()> {
        let names = ["VOLT:PROT", "CURR:PROT", "VOLT", "CURR"];
        for name in names {
            if line == format!("{name}?") {
                let held = self.settings.get(name).cloned().unwrap_or_else(|| "0".into());
                return self.supply.say(&held);
            }
            if let Some(value) = line.strip_prefix(name).and_then(|rest| rest.strip_prefix(' ')) {
                self.settings.insert(name, value.to_owned());
                return Ok(());
            }
        }
        Err(format!("the supply does not know \"{line}\"").into())
    }

    fn meter_hears(&mut self, line: &str, now: Instant) -> Result<()> {
        match line {
            "" => Ok(()),
            "*IDN?" => self.meter.say("SKARVIK,BENCH-METER,1,1.0"),
            "SYST:ERR?" => self.meter.say("0,\"No error\""),
            "CURR:DC:RANG?" => {
                let range = self.settings.get("RANGE").cloned().unwrap_or_else(|| "1E-1".into());
                self.meter.say(&range)
            }
            "READ?" => {
                // Before and after that nothing waits for a reading.
                if let Some(answered) = self.answered.take().filter(|_| self.on) {
                    self.late.push(now.duration_since(answered));
                }
                self.due = Some(now + PERIOD);
                Ok(())
            }
            _ => {
                if let Some(range) = line.strip_prefix("CONF:CURR:DC ") {
                    self.settings.insert("RANGE", range.to_owned());
                }
                self.answered = None;
                Ok(())
            }
        }
    }

    /// The reading that is due, or the strike in its place.
    fn answer(&mut self, now: Instant) -> Result<()> {
        if self.due.is_none_or(|due| now < due) {
            return Ok(());
        }
        self.due = None;
        self.follow(now);
        let span = now.duration_since(self.read_at).as_secs_f64() * LAPSE;
        let mean = std::mem::take(&mut self.charge) / span.max(1e-6);
        self.read_at = now;
        if self.soaking.load(Ordering::Acquire) {
            let since = *self.soaks_since.get_or_insert(now);
            if self.struck.is_none() && self.into < now.duration_since(since) {
                self.struck = Some(Instant::now());
                return self.meter.say(&format!("{OVER_CURRENT:E}"));
            }
        }
        self.meter.say(&format!("{mean:E}"))?;
        self.answered = Some(Instant::now());
        Ok(())
    }

    fn is_over(&self) -> bool {
        self.supply.closed && self.meter.closed
    }
}

/// Plays the instruments of some stations until all of them have hung up.
pub(crate) fn play(mut rigs: Vec<Rig>) -> Result<Measured> {
    while !rigs.iter().all(Rig::is_over) {
        let wait = next_due(&rigs);
        let ready = wait_for(&rigs, wait)?;
        for (rig, [supply, meter]) in rigs.iter_mut().zip(ready) {
            if supply {
                for line in rig.supply.lines() {
                    rig.supply_hears(&line, Instant::now())?;
                }
            }
            if meter {
                for line in rig.meter.lines() {
                    rig.meter_hears(&line, Instant::now())?;
                }
            }
            rig.answer(Instant::now())?;
        }
    }
    let mut measured = Measured::default();
    for rig in rigs {
        measured.late.extend(rig.late);
        measured.cut_outs.extend(rig.took);
    }
    Ok(measured)
}

fn next_due(rigs: &[Rig]) -> Duration {
    let now = Instant::now();
    let due = rigs.iter().filter_map(|rig| rig.due).min();
    due.map_or(PERIOD, |due| due.saturating_duration_since(now)).min(PERIOD)
}

/// Which lines have something, after at most so long.
fn wait_for(rigs: &[Rig], wait: Duration) -> Result<Vec<[bool; 2]>> {
    let lines: Vec<&Line> = rigs.iter().flat_map(|rig| [&rig.supply, &rig.meter]).collect();
    // A line that is not open reads as hung up at once: it is looked at only now and then.
    let idle = lines.iter().all(|line| !line.opened || line.closed);
    if idle {
        std::thread::sleep(Duration::from_millis(2));
    }
    let mut ends: Vec<PollFd<'_>> =
        lines.iter().map(|line| PollFd::new(&line.terminal.master, PollFlags::IN)).collect();
    let wait = rustix::event::Timespec { tv_sec: 0, tv_nsec: i64::from(wait.subsec_nanos()) };
    poll(&mut ends, Some(&wait))?;
    let ready: Vec<bool> = ends.iter().map(|end| !end.revents().is_empty()).collect();
    Ok(ready.chunks(2).map(|pair| [pair[0], pair[1]]).collect())
}
