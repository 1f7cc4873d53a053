//! Each shipped driver through a recorded conversation: it says what was said then, and understands
//! what came back.

#![expect(
    clippy::wildcard_enum_match_arm,
    reason = "what no conversation awaits is shown as it is"
)]

use std::path::Path;

use reststrom::plan::{OutputState, RangeIndex, Sample};
use reststrom::quantity::{Time, read, seconds, text};
use reststrom::station::driver::{SHIPPED, read_meter, read_scanner, read_supply, shipped};
use reststrom::station::{
    Channel, Contacts, Meter, MeterSays, Scanner, ScannerSays, SensedBy, Settings, Supply,
    SupplyPace, SupplySays,
};

/// What all instruments have in common towards a conversation.
trait Partner {
    /// Wants something, in the words of a recorded wish; gives what must be said at once.
    fn wants(&mut self, wish: &str, now: Time) -> Option<Vec<u8>>;
    fn write(&mut self, now: Time) -> Option<Vec<u8>>;
    /// What is understood of bytes, in the words of a recorded outcome.
    fn hears(&mut self, bytes: &[u8], now: Time) -> Vec<String>;
}

impl Partner for Supply {
    fn wants(&mut self, wish: &str, now: Time) -> Option<Vec<u8>> {
        match wish.split_once(' ').unwrap_or((wish, "")) {
            ("arm", values) => {
                let values: Vec<&str> = values.split(", ").collect();
                self.arm(Settings {
                    current_limit: read::current(values[0]).expect("a current"),
                    over_voltage: read::voltage(values[1]).expect("a voltage"),
                    over_current: read::current(values[2]).expect("a current"),
                });
                None
            }
            ("on", _) => {
                self.switch_on();
                None
            }
            ("voltage", value) => {
                self.set_voltage(read::voltage(value).expect("a voltage"));
                None
            }
            ("off", _) => self.cut_out(now),
            _ => panic!("no such wish: {wish}"),
        }
    }

    fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        self.write(now)
    }

    fn hears(&mut self, bytes: &[u8], now: Time) -> Vec<String> {
        let says = self.receive(bytes, now);
        says.into_iter()
            .map(|said| match said {
                SupplySays::Identity(name) => format!("identity {name}"),
                SupplySays::Armed => "armed".into(),
                SupplySays::Output(OutputState::On) => "output on".into(),
                SupplySays::Output(OutputState::Off) => "output off".into(),
                SupplySays::Voltage(Sample::Value(value)) => {
                    format!("voltage {:.3} V", value.value)
                }
                other => format!("{other:?}"),
            })
            .collect()
    }
}

impl Partner for Meter {
    fn wants(&mut self, wish: &str, _: Time) -> Option<Vec<u8>> {
        let index = wish.strip_prefix("range ").expect("a range").parse().expect("a number");
        self.select(RangeIndex(index));
        None
    }

    fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        self.write(now)
    }

    fn hears(&mut self, bytes: &[u8], now: Time) -> Vec<String> {
        let says = self.receive(bytes, now);
        says.into_iter()
            .map(|said| match said {
                MeterSays::Identity(name) => format!("identity {name}"),
                MeterSays::Current(Sample::Value(value), _) => {
                    format!("current {}", text::current(value))
                }
                MeterSays::Current(Sample::Overload { .. }, _) => "overload".into(),
                other => format!("{other:?}"),
            })
            .collect()
    }
}

impl Partner for Scanner {
    fn wants(&mut self, wish: &str, _: Time) -> Option<Vec<u8>> {
        match wish.strip_prefix("close ") {
            Some(channel) => {
                let channel = Channel::numbered(channel.parse().expect("a number"));
                self.close(channel).expect("all others open");
            }
            None => self.open_all(),
        }
        None
    }

    fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        self.write(now)
    }

    fn hears(&mut self, bytes: &[u8], now: Time) -> Vec<String> {
        let says = self.receive(bytes, now);
        says.into_iter()
            .map(|said| match said {
                ScannerSays::Identity(name) => format!("identity {name}"),
                ScannerSays::Stands(Contacts::AllOpen) => "all open".into(),
                ScannerSays::Stands(Contacts::Only(channel)) => format!("only {channel}"),
                other => format!("{other:?}"),
            })
            .collect()
    }
}

/// An instrument of this driver on a line that has just been opened; a stream is held on 10 mA.
fn partner(name: &str, text: &str) -> Box<dyn Partner> {
    let start = seconds(0.0);
    // Nothing is asked by itself in the time of a conversation, save what a cut-out is followed by.
    let pace = SupplyPace { voltage: seconds(1e4), output: seconds(1e4), settings: seconds(1e4) };
    if let Ok(driver) = read_supply(name, text) {
        return Box::new(Supply::open(driver, pace, start));
    }
    if let Ok(driver) = read_scanner(name, text) {
        let channels = [101, 102, 103].map(Channel::numbered);
        return Box::new(Scanner::begin(driver, &channels, start));
    }
    let mut driver = read_meter(name, text).expect("a driver");
    if name.contains("stream") {
        driver.ability.current_range.retain(|range| text::current(range.full_scale) == "10 mA");
    }
    Box::new(Meter::open(&driver, SensedBy::Shunt, start))
}

/// Bytes written with escapes.
fn bytes(written: &str) -> Vec<u8> {
    let (mut bytes, mut rest) = (Vec::new(), written.as_bytes());
    while let [first, behind @ ..] = rest {
        let (byte, length) = match (first, behind) {
            (b'\\', [b'r', ..]) => (b'\r', 2),
            (b'\\', [b'n', ..]) => (b'\n', 2),
            (b'\\', [b'\\', ..]) => (b'\\', 2),
            (b'\\', [b'x', high, low, ..]) => {
                let digits = [*high, *low];
                let digits = std::str::from_utf8(&digits).expect("two digits");
                (u8::from_str_radix(digits, 16).expect("a byte"), 4)
            }
            _ => (*first, 1),
        };
        bytes.push(byte);
        rest = &rest[length..];
    }
    bytes
}

fn replay(name: &str, text: &str, conversation: &str) {
    let mut partner = partner(name, text);
    let mut now = seconds(0.1);
    let (mut heard, mut lines, mut at_once) = (Vec::new(), 0, None);
    for line in conversation.lines().filter(|line| !line.starts_with('#')) {
        let (mark, what) = line.split_at(2);
        match mark {
            "> " => {
                // Gaps and the time that relays take pass by before it is said.
                let said = at_once.take().or_else(|| {
                    (0..100).find_map(|_| {
                        now += seconds(0.01);
                        partner.write(now)
                    })
                });
                let said = said.unwrap_or_else(|| panic!("{name}: not said: {what}"));
                let (said, what) = (said.escape_ascii(), bytes(what));
                assert_eq!(said.to_string(), what.escape_ascii().to_string(), "{name}");
            }
            "< " => heard.extend(partner.hears(&bytes(what), now)),
            "! " => at_once = partner.wants(what, now),
            "= " => assert_eq!(std::mem::take(&mut heard), [what], "{name}"),
            _ => panic!("{name}: a line begins with one of > < ! =, not {line}"),
        }
        lines += 1;
    }
    assert!(heard.is_empty() && 8 < lines, "{name}: {heard:?} at the end of {lines} lines");
}

#[test]
fn every_driver_says_and_understands_its_recorded_conversation() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/conversations");
    for (name, text) in SHIPPED {
        let file = folder.join(format!("{name}.txt"));
        let conversation = std::fs::read_to_string(&file).unwrap_or_else(|error| {
            panic!("{}: {error}", file.display());
        });
        replay(name, text, &conversation);
    }
    let files = std::fs::read_dir(folder).expect("a folder").count();
    assert_eq!(files, SHIPPED.len(), "a conversation without its driver");
}

#[test]
#[should_panic(expected = "terse-supply")]
fn a_driver_that_says_something_else_is_found() {
    let text =
        shipped("terse-supply").expect("a driver").replacen("\"U{00_00}\"", "\"V{00_00}\"", 1);
    let conversation = include_str!("../fixtures/conversations/terse-supply.txt");
    replay("terse-supply", &text, conversation);
}
