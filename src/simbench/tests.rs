//! The bench as a client and a physicist see it.

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Write};

use super::*;

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
        let mut reply = String::new();
        self.lines.read_line(&mut reply).unwrap();
        reply.trim_end().to_owned()
    }
}

fn bench(lapse: f64) -> Bench {
    Bench::start(BenchOptions { lapse, ..BenchOptions::default() }).unwrap()
}

#[test]
fn instruments_name_themselves_on_their_ports() {
    let bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    let mut meter = Client::open(&bench.meter_port());
    assert_eq!(supply.ask("*IDN?"), "SKARVIK,SIMULATED-SUPPLY,0001,1.0");
    assert_eq!(meter.ask("*IDN?"), "SKARVIK,SIMULATED-METER,0001,1.0");
}
