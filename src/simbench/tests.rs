//! The bench as a client and a physicist see it.

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Write};

use super::*;
use crate::quantity::{amperes, farads, ohms, seconds, volts};

mod conversation;
mod faults;
mod physics;
mod ports;
mod rules;
mod switch;
mod tray;

/// A client of one instrument on a pseudo-terminal.
struct Client {
    lines: BufReader<File>,
    port: File,
}

impl Client {
    fn open(path: &str) -> Self {
        let port = OpenOptions::new().read(true).write(true).open(path).unwrap();
        Self { lines: BufReader::new(port.try_clone().unwrap()), port }
    }

    fn tell(&mut self, line: &str) {
        self.port.write_all(format!("{line}\n").as_bytes()).unwrap();
    }

    fn ask(&mut self, line: &str) -> String {
        self.tell(line);
        self.hear()
    }

    fn hear(&mut self) -> String {
        let mut reply = String::new();
        self.lines.read_line(&mut reply).unwrap();
        reply.trim_end().to_owned()
    }
}

/// A served bench on which time goes `lapse` times as fast.
fn bench(lapse: f64) -> Bench {
    Bench::start(BenchOptions { lapse, ..BenchOptions::default() }).unwrap()
}

/// A bench without ports, whose time the test moves.
struct ByHand(World);

impl ByHand {
    fn new(options: BenchOptions) -> Self {
        Self(World::new(options))
    }

    /// A bench without noise, bleeder or output capacitor, with 1 kΩ between supply and part.
    fn ideal() -> Self {
        Self::new(ideal())
    }

    fn with(mut self, physics: &Physics) -> Self {
        self.0.clip_in(physics);
        self
    }

    /// Protections wide open, this current limit, zero volts, on.
    fn on(mut self, limit: &str) -> Self {
        self.supply("VOLT:PROT 66;:CURR:PROT 1.1");
        self.supply(&format!("CURR {limit};:VOLT 0;:OUTP ON"));
        self
    }

    fn after(&mut self, by: f64) -> Look {
        let now = self.0.now();
        self.0.advance_to(now + by);
        self.0.look()
    }

    fn supply(&mut self, line: &str) -> String {
        self.0.hear(Instrument::Supply, line);
        said(&self.0.say(Instrument::Supply))
    }

    fn meter(&mut self, line: &str) -> String {
        self.0.hear(Instrument::Meter, line);
        said(&self.0.say(Instrument::Meter))
    }

    fn switch(&mut self, line: &str) -> String {
        self.0.hear(Instrument::Switch, line);
        said(&self.0.say(Instrument::Switch))
    }

    /// A reading, waited for.
    fn read(&mut self) -> f64 {
        assert_eq!(self.meter("READ?"), "");
        while let Some(due) = self.0.alarm(Instrument::Meter) {
            self.0.advance_to(due);
            let reading = said(&self.0.say(Instrument::Meter));
            if !reading.is_empty() {
                return reading.parse().unwrap();
            }
        }
        panic!("no reading is under way");
    }
}

/// Lines without their ends.
fn said(replies: &[Vec<u8>]) -> String {
    let lines = replies.iter().map(|bytes| String::from_utf8_lossy(bytes).trim_end().to_owned());
    lines.collect::<Vec<_>>().join("|")
}

fn ideal() -> BenchOptions {
    let none = (volts(0.0), amperes(0.0));
    BenchOptions {
        supply: SupplyModel {
            output_capacitance: farads(0.0),
            read_noise: none,
            slew: volts(1e6),
            ..SupplyModel::default()
        },
        meter: MeterModel {
            current_ranges: [1e-5, 1e-4, 1e-3, 1e-2, 0.1]
                .iter()
                .map(|full| (amperes(*full), ohms(0.0)))
                .collect(),
            offset_counts: 0.0,
            noise_counts: 0.0,
            gain_error: 0.0,
            ..MeterModel::default()
        },
        contact: ohms(0.0),
        bleeder: None,
        ..BenchOptions::default()
    }
}

#[track_caller]
fn near(value: f64, expected: f64, share: f64) {
    let off = (value / expected - 1.0).abs();
    assert!(off <= share, "{value} is {off:.5} off {expected}, allowed {share}");
}
