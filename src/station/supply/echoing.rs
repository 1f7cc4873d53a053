//! Output off at a supply that sends back each line: cut-outs in the middle of anything it says.

use std::collections::VecDeque;

use rstest::rstest;

use super::*;
use crate::station::driver::{SHIPPED, read_supply};

/// How often an off that is not proven is written again.
const REPEAT: f64 = 0.25; // s
/// In this time the output must be proven off, whatever was said when it was ordered: quiet for
/// a deadline after the last off that may be written over it, identity and state.
const PROOF: f64 = 4.0; // s
/// A step of the simulated line.
const STEP: f64 = 0.001; // s

/// An instrument that echoes, a while after it heard something and byte by byte.
struct Echoing {
    line: Vec<u8>,
    sending: VecDeque<(f64, u8)>,
    on: bool,
    latency: f64,
    per_byte: f64,
}

impl Echoing {
    fn hear(&mut self, bytes: &[u8], now: f64) {
        for &byte in bytes {
            if byte != b'\r' {
                self.line.push(byte);
                continue;
            }
            let line = String::from_utf8(std::mem::take(&mut self.line)).unwrap();
            let said = match &line[..] {
                "output off" => {
                    self.on = false;
                    String::new()
                }
                "name ?" => "ECHO 60\r\n".into(),
                "output ?" if self.on => "output is on\r\n".into(),
                "output ?" => "output is off\r\n".into(),
                "measure ?" => "25.00 V\r\n".into(),
                "" => String::new(),
                other => panic!("{other} is not said here"),
            };
            self.send(&format!("{line}\r\n{said}"), now);
        }
    }

    fn send(&mut self, text: &str, now: f64) {
        let mut at = now + self.latency;
        at = self.sending.back().map_or(at, |(last, _)| at.max(*last));
        for byte in text.bytes() {
            at += self.per_byte;
            self.sending.push_back((at, byte));
        }
    }

    fn due(&mut self, now: f64) -> Vec<u8> {
        let mut bytes = Vec::new();
        while let Some((_, byte)) = self.sending.pop_front_if(|(at, _)| *at <= now) {
            bytes.push(byte);
        }
        bytes
    }
}

/// Supply and instrument on one line.
struct Line {
    supply: Supply,
    instrument: Echoing,
    now: f64,
    came: usize,
    says: Vec<SupplySays>,
}

impl Line {
    fn new(latency: f64, per_byte: f64) -> Self {
        let (name, text) =
            SHIPPED.iter().find(|(name, _)| name.starts_with("echoing")).copied().unwrap();
        let driver = read_supply(name, text).unwrap();
        let mut line = Self {
            supply: Supply::open(driver, SupplyPace::at_lapse(1.0), seconds(0.0)),
            instrument: Echoing {
                line: Vec::new(),
                sending: VecDeque::new(),
                on: true,
                latency,
                per_byte,
            },
            now: 0.0,
            came: 0,
            says: Vec::new(),
        };
        line.until(10.0, |line| line.tells(&SupplySays::Output(OutputState::On)));
        line
    }

    fn tells(&self, said: &SupplySays) -> bool {
        self.says.contains(said)
    }

    fn turn(&mut self) {
        self.now += STEP;
        let now = seconds(self.now);
        let bytes = self.instrument.due(self.now);
        self.came += bytes.len();
        if !bytes.is_empty() {
            self.says.extend(self.supply.receive(&bytes, now));
        }
        self.says.extend(self.supply.pass(now));
        if let Some(bytes) = self.supply.write(now) {
            self.instrument.hear(&bytes, self.now);
        }
    }

    fn order_off(&mut self) {
        if let Some(bytes) = self.supply.cut_out(seconds(self.now)) {
            self.instrument.hear(&bytes, self.now);
        }
    }

    #[track_caller]
    fn until(&mut self, patience: f64, done: impl Fn(&Self) -> bool) {
        let since = self.now;
        while !done(self) {
            self.turn();
            assert!(self.now - since < patience, "after {patience} s: {:?}", self.says);
        }
    }

    /// Orders off as a bleed does: again and again until it is proven.
    #[track_caller]
    fn is_proven_off(&mut self) {
        let (since, mut written) = (self.now, f64::NEG_INFINITY);
        self.says.clear();
        while !self.tells(&SupplySays::Output(OutputState::Off)) {
            if REPEAT <= self.now - written {
                written = self.now;
                self.order_off();
            }
            self.turn();
            assert!(self.now - since < PROOF, "not proven off in {PROOF} s: {:?}", self.says);
        }
        let wrong = self.says.iter().find(|said| !is_true(said));
        assert_eq!(wrong, None);
    }
}

/// Whether this supply may tell such a thing after its output was ordered off.
fn is_true(said: &SupplySays) -> bool {
    match said {
        SupplySays::Identity(name) => name == "ECHO 60",
        SupplySays::Voltage(sample) => *sample == Sample::Value(volts(25.0)),
        SupplySays::Output(state) => *state == OutputState::Off,
        SupplySays::Armed
        | SupplySays::Refused(_)
        | SupplySays::Disturbed(_)
        | SupplySays::Complains(_)
        | SupplySays::Lost(_) => false,
    }
}

#[rstest]
#[case::at_once(0.0, 0.0)]
#[case::at_line_rate(0.0, 0.001)]
#[case::after_a_while(0.1, 0.001)]
#[case::after_the_next_off(0.3, 0.002)]
fn an_off_that_is_repeated_does_not_keep_its_own_proof_away(
    #[case] latency: f64,
    #[case] per_byte: f64,
) {
    // One cut-out at each byte of a round of questions and answers, echoes and gaps between.
    for bytes in 0..90 {
        let mut line = Line::new(latency, per_byte);
        let from = line.came;
        line.until(5.0, |line| from + bytes <= line.came);
        line.is_proven_off();
        assert!(!line.instrument.on);
    }
}

#[test]
fn an_off_at_the_end_of_a_drain_is_not_mistaken_for_an_identity() {
    // A stray line makes the supply drain; the cut-out falls into any moment of that.
    for step in 0..60 {
        let mut line = Line::new(0.05, 0.001);
        line.instrument.send("stray\r\n", line.now);
        let at = line.now + 0.02 * f64::from(step);
        line.until(5.0, |line| at <= line.now);
        line.is_proven_off();
    }
}
