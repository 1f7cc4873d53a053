//! The program itself beside a simulated bench, run as a person runs it: a station file in a
//! folder of its own, commands as processes, deadlines instead of sleeps.
//!
//! Nothing outlives a test: whatever was started with this rig's folder is killed with it.

#![allow(dead_code, unreachable_pub, reason = "each test program uses its own part of the rig")]

mod running;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use reststrom::quantity::{farads, seconds, volts};
use reststrom::simbench::{
    Absorption, Bench, BenchOptions, Instrument, Leakage, Physics, Serve, SimPart, Speaker,
    scenario,
};
use rustix::process::{Pid, Signal, kill_process};

pub use running::{Ended, Running};

/// Longest wait for what no rule sets a time for.
pub const PATIENCE: Duration = Duration::from_mins(1);
/// In this time the output must be off after the daemon died or hung.
pub const CUT_OUT: Duration = Duration::from_millis(1500);
/// How often something awaited is looked at.
const LOOK: Duration = Duration::from_millis(4);
/// Name of the station.
pub const STATION: &str = "terne-rig";

/// Waits until `done`, and fails with `what` at the deadline.
#[track_caller]
pub fn until(patience: Duration, what: &str, mut done: impl FnMut() -> bool) {
    let start = Instant::now();
    while !done() {
        assert!(start.elapsed() < patience, "not within {patience:?}: {what}");
        std::thread::sleep(LOOK);
    }
}

/// A simulated bench and a folder with its station file.
pub struct Rig {
    /// The bench.
    pub bench: Bench,
    /// Station file, record, locks.
    folder: tempfile::TempDir,
}

impl Rig {
    /// A bench of which `lapse` seconds pass in a second, with `part` in its clip.
    pub fn new(lapse: f64, part: &SimPart) -> Self {
        Self::on(BenchOptions { lapse, ..BenchOptions::default() }, part)
    }

    /// A bench with a part of the pilot boat in its clip.
    pub fn holding(lapse: f64, clip: &str) -> Self {
        Self::new(lapse, &part(clip))
    }

    /// A bench built to order.
    pub fn on(options: BenchOptions, part: &SimPart) -> Self {
        let (lapse, serve) = (options.lapse, options.serve);
        let bench = Bench::start(options).expect("a bench");
        bench.clip_in(part);
        let rig = Self { bench, folder: tempfile::tempdir().expect("a folder") };
        let wired = |port: String| match serve {
            Serve::Terminals => port,
            Serve::Loopback => format!("tcp:{port}"),
        };
        let (supply, meter) = (wired(rig.bench.supply_port()), wired(rig.bench.meter_port()));
        let mut file = station_file(lapse, &supply, &meter);
        if let Some(port) = rig.bench.switch_port() {
            file.push_str(&scanner_table(&wired(port)));
        }
        rig.write("station.toml", &file);
        std::fs::create_dir(rig.path("run")).expect("a runtime folder");
        rig
    }

    /// A file of this rig.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file of this rig.
    pub fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("a written file");
    }

    /// Replaces text in the station file, which must be there.
    #[track_caller]
    pub fn rewire(&self, from: &str, to: &str) {
        let text = std::fs::read_to_string(self.path("station.toml")).expect("a station file");
        let changed = text.replacen(from, to, 1);
        assert_ne!(text, changed, "{from} is not in the station file");
        self.write("station.toml", &changed);
    }

    /// The program with these words, at this rig's station and on this rig's record.
    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_reststrom"));
        command
            .args(words)
            .current_dir(self.folder.path())
            .env("XDG_RUNTIME_DIR", self.path("run"))
            .env("XDG_DATA_HOME", self.path("data"))
            .env("XDG_CONFIG_HOME", self.path("config"))
            .env("RESTSTROM_STATION", self.path("station.toml"))
            .env_remove("RESTSTROM_LOG")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }

    /// Starts the program.
    pub fn start(&self, words: &[&str]) -> Running {
        Running::start(self.command(words))
    }

    /// Runs the program to its end.
    #[track_caller]
    pub fn run(&self, words: &[&str]) -> Ended {
        self.start(words).ends()
    }

    /// Runs the program, which must succeed, for its JSON.
    #[track_caller]
    pub fn json(&self, words: &[&str]) -> serde_json::Value {
        let ended = self.run(words);
        assert_eq!(ended.code, Some(0), "{ended:?}");
        ended.json()
    }

    /// Voltage at the part, in volts.
    pub fn part_volt(&self) -> f64 {
        self.bench.look().part_voltage.value
    }

    /// Waits until the output is on.
    #[track_caller]
    pub fn comes_on(&self) {
        until(PATIENCE, "output on", || self.bench.look().output_on);
    }

    /// Waits until the output is off.
    #[track_caller]
    pub fn goes_off_within(&self, patience: Duration) {
        until(patience, "output off", || !self.bench.look().output_on);
    }

    /// Waits until the output is off and the part may be touched, within a minute of bench time.
    #[track_caller]
    pub fn empties(&self) {
        self.bench.advance(seconds(60.0));
        let look = self.bench.look();
        assert!(!look.output_on, "{look:?}");
        assert!(look.part_voltage.abs() < volts(5.0), "{look:?}");
    }

    /// Fails unless output and part are as a person may find them.
    #[track_caller]
    pub fn is_left_safe(&self) {
        let look = self.bench.look();
        assert!(!look.output_on, "{look:?}");
        assert!(look.part_voltage.abs() < volts(5.0), "{look:?}");
        assert_eq!(self.bench.violations(), Vec::<String>::new());
    }

    /// How often the output was ordered on.
    pub fn times_on(&self) -> usize {
        self.heard_by_supply("OUTP ON")
    }

    /// How often the supply heard a line.
    pub fn heard_by_supply(&self, line: &str) -> usize {
        let log = self.bench.log();
        let heard = log.iter().filter(|logged| {
            logged.instrument == Instrument::Supply
                && logged.speaker == Speaker::Client
                && logged.line == line
        });
        heard.count()
    }

    /// The keepers of this rig that live.
    pub fn keepers(&self) -> Vec<Pid> {
        self.processes().into_iter().filter(|pid| is_keeper(*pid)).collect()
    }

    /// Waits for the keeper of a run that is under way.
    #[track_caller]
    pub fn keeper(&self) -> Pid {
        until(PATIENCE, "a keeper", || self.keepers().len() == 1);
        self.keepers()[0]
    }

    /// Waits until the keeper has ended by itself, and with it the lock of the port.
    #[track_caller]
    pub fn keeper_ends(&self) {
        until(PATIENCE, "the keeper's end", || self.keepers().is_empty());
    }

    /// Processes that were started with this rig's folder in their environment.
    fn processes(&self) -> Vec<Pid> {
        let mark = format!("XDG_RUNTIME_DIR={}\0", self.path("run").display());
        let Ok(entries) = std::fs::read_dir("/proc") else { return Vec::new() };
        entries
            .flatten()
            .filter(|entry| {
                std::fs::read(entry.path().join("environ"))
                    .is_ok_and(|environ| String::from_utf8_lossy(&environ).contains(&mark))
            })
            .filter_map(|entry| Pid::from_raw(entry.file_name().to_str()?.parse().ok()?))
            .collect()
    }
}

impl Drop for Rig {
    fn drop(&mut self) {
        for pid in self.processes() {
            // One that has just ended by itself is as good.
            if kill_process(pid, Signal::KILL).is_err() {
                eprintln!("{pid:?} had ended");
            }
        }
    }
}

fn is_keeper(pid: Pid) -> bool {
    let path = Path::new("/proc").join(pid.as_raw_nonzero().to_string()).join("cmdline");
    std::fs::read(path).is_ok_and(|line| line.ends_with(b"\0keeper\0"))
}

/// A part of the pilot boat's radio room.
pub fn part(clip: &str) -> SimPart {
    scenario().expect("the scenario").part(clip).expect("a part of this name").clone()
}

/// A sound tantalum of this capacitance and rating, which leaks a tenth of a hundredth of C·U.
pub fn sound(farad: f64, volt: f64) -> SimPart {
    let rated_ua = 1e-3 * farad * volt * 1e6;
    SimPart::bare(Physics {
        leakage: Some(Leakage::Exponential { rated_ua, b: 4.0 }),
        absorption: Some(Absorption { beta: 6e-3, n: 1.0 }),
        ..Physics::capacitor(farads(farad), volts(volt))
    })
}

/// A scanner with clips C1, C2 and C3 on its first channels.
fn scanner_table(port: &str) -> String {
    format!(
        "
[scanner]
driver = \"scpi-switch\"
port = \"{port}\"
identity = \"SKARVIK,SIMULATED-SWITCH\"
channels = {{ C1 = 101, C2 = 102, C3 = 103 }}
"
    )
}

fn station_file(lapse: f64, supply: &str, meter: &str) -> String {
    format!(
        "\
name = \"{STATION}\"
simulated = true
lapse = {lapse}
room = \"25 °C\"
room_tolerance_kelvin = 1
series_resistor = \"1 kΩ\"

[supply]
driver = \"scpi-supply\"
port = \"{supply}\"
identity = \"SKARVIK,SIMULATED-SUPPLY\"

[meter]
driver = \"scpi-meter\"
port = \"{meter}\"
identity = \"SKARVIK,SIMULATED-METER\"

[bleeder]
kind = \"fitted\"
resistance = \"10 kΩ\"
"
    )
}
