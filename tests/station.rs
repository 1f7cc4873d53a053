//! The `station` commands and the trace of the lines, over pseudo-terminals.

#![expect(clippy::unwrap_used, reason = "what a test's hands find missing fails the test")]

mod rig;

use std::os::fd::OwnedFd;

use reststrom::plan::RangeIndex;
use reststrom::quantity::{amperes, farads, seconds, volts};
use reststrom::simbench::{
    BenchOptions, Fault, Instrument, Leakage, MeterModel, MeterTongue, Physics, Serve, SimPart,
    Speaker, SupplyModel, Tongue,
};
use reststrom::station::driver::{SHIPPED, read_meter, shipped};
use reststrom::station::{Meter, MeterSays, SensedBy};
use rig::Rig;
use rstest::rstest;

/// A line of a trace: port, way and bytes as they were written down.
struct Passed {
    port: String,
    told: bool,
    bytes: String,
}

/// Reads a trace back; each line must be whole, and time must not go back.
fn passed(trace: &str) -> Vec<Passed> {
    let mut last = 0.0;
    let lines = trace.lines().filter(|line| !line.starts_with('#'));
    lines
        .map(|line| {
            let words: Vec<&str> = line.trim_start().splitn(4, ' ').collect();
            let [time, port, way, bytes] = words[..] else { panic!("not whole: {line}") };
            let time: f64 = time.parse().unwrap();
            assert!(last <= time && [">", "<"].contains(&way), "{line}");
            last = time;
            Passed { port: port.into(), told: way == ">", bytes: bytes.into() }
        })
        .collect()
}

/// Bytes of a trace, for an instrument that sends only text and end marks.
fn bytes(written: &str) -> Vec<u8> {
    written.replace("\\r", "\r").replace("\\n", "\n").replace("\\\"", "\"").into_bytes()
}

#[test]
fn a_trace_of_a_look_is_a_conversation_that_can_be_held_again() {
    let rig = Rig::holding(15.0, "C14");
    let ended = rig.run(&["station", "check", "--trace", "trace.txt"]);
    assert_eq!(ended.code, Some(0), "{ended:?}");
    let trace = passed(&std::fs::read_to_string(rig.path("trace.txt")).unwrap());
    let (supply, meter) = (rig.bench.supply_port(), rig.bench.meter_port());
    assert!(trace.iter().any(|line| line.port == supply && line.bytes == "\\nOUTP OFF\\n"));

    // A meter asks by itself: what it was told then it is told again, in the same order.
    let driver = read_meter("scpi-meter", shipped("scpi-meter").unwrap()).unwrap();
    let mut now = seconds(0.0);
    let mut partner = Meter::open(&driver, SensedBy::Shunt, now);
    let (mut readings, mut selected) = (0, false);
    for line in trace.iter().filter(|line| line.port == meter) {
        now += seconds(0.03);
        if line.told {
            // The widest range is its own beginning; the check then asks for one after the other.
            let range = line.bytes.strip_prefix("CONF:CURR:DC 1E").map(|rest| &rest[..2]);
            if let Some(range) = range.filter(|_| selected) {
                let index = ["-5", "-4", "-3", "-2", "-1"].iter().position(|it| *it == range);
                partner.select(RangeIndex(u8::try_from(index.unwrap()).unwrap()));
            }
            selected |= range.is_some();
            assert_eq!(partner.write(now).unwrap(), bytes(&line.bytes));
        } else {
            let says = partner.receive(&bytes(&line.bytes), now);
            readings += says.iter().filter(|said| matches!(said, MeterSays::Current(..))).count();
        }
    }
    assert!(3 < readings, "{readings}");
}

#[test]
fn nothing_is_written_down_unless_it_is_asked_for() {
    let rig = Rig::holding(15.0, "C14");
    let before = std::fs::read_dir(rig.path("")).unwrap().count();
    let ended = rig.run(&["station", "check"]);
    assert_eq!((ended.code, ended.stderr.as_str()), (Some(0), ""), "{ended:?}");
    assert_eq!(std::fs::read_dir(rig.path("")).unwrap().count(), before);
}

#[test]
fn a_trace_that_can_t_be_begun_stops_the_command_before_anything() {
    let rig = Rig::holding(15.0, "C14");
    let ended = rig.run(&["station", "check", "--trace", "no/such/folder/trace.txt"]);
    assert_eq!(ended.code, Some(64), "{ended:?}");
    assert!(ended.stderr.contains("no/such/folder/trace.txt: the trace can't be begun"));
    assert_eq!(rig.heard_by_supply("*IDN?"), 0);
}

#[test]
fn a_driver_of_the_user_s_is_listed_and_speaks_in_place_of_the_shipped_one() {
    let rig = Rig::holding(15.0, "C14");
    let listed = rig.json(&["station", "drivers", "--json"]);
    assert_eq!(listed.as_array().unwrap().len(), SHIPPED.len());

    std::fs::create_dir_all(rig.path("config/reststrom/drivers")).unwrap();
    let mine = SHIPPED[0].1.replace("\"OUTP OFF\"", "\"OUTP:STAT OFF\"");
    rig.write("config/reststrom/drivers/scpi-supply.toml", &mine);
    let listed = rig.json(&["station", "drivers", "--json"]);
    let listed = listed.as_array().unwrap();
    assert_eq!(listed.len(), SHIPPED.len());
    let own = listed.iter().find(|driver| driver["name"] == "scpi-supply").unwrap();
    assert!(own["file"].as_str().unwrap().ends_with("drivers/scpi-supply.toml"), "{own}");
    assert_eq!(rig.run(&["station", "check"]).code, Some(0));
    assert!(0 < rig.heard_by_supply("OUTP:STAT OFF"));
    assert_eq!(rig.heard_by_supply("OUTP OFF"), 0);
}

#[test]
fn a_driver_that_is_wrong_is_listed_with_its_fault() {
    let rig = Rig::holding(15.0, "C14");
    std::fs::create_dir_all(rig.path("config/reststrom/drivers")).unwrap();
    rig.write("config/reststrom/drivers/attic.toml", "kind = \"supply\"\n");
    let ended = rig.run(&["station", "drivers"]);
    assert_eq!(ended.code, Some(64), "{ended:?}");
    assert!(ended.stdout.contains("CAN'T BE USED"), "{}", ended.stdout);
    assert!(ended.stdout.contains("missing field `describes`"), "{}", ended.stdout);
}

#[test]
fn the_schemas_are_those_of_the_files() {
    let rig = Rig::holding(15.0, "C14");
    let station = rig.json(&["station", "schema"]);
    assert!(station["properties"].get("series_resistor").is_some(), "{station}");
    let driver = rig.json(&["station", "schema", "driver"]);
    assert_eq!(driver["anyOf"].as_array().unwrap().len(), 3, "{driver}");
}

/// Clips with nothing in them, on leads of 50 pF that let so many microamperes through at 60 V.
fn open_fixture(rated_ua: f64) -> SimPart {
    SimPart::bare(Physics {
        leakage: Some(Leakage::Ohmic { rated_ua }),
        ..Physics::capacitor(farads(50e-12), volts(60.0))
    })
}

#[test]
fn a_zero_is_measured_kept_and_taken_off_what_a_part_reads() {
    // 60 V across 0.6 GΩ: 100 nA, and 41.7 nA at 25 V.
    let rig = Rig::new(20.0, &open_fixture(0.1));
    let zero = rig.json(&["station", "zero", "--voltage", "25V", "--json"]);
    let ampere = zero["ampere"].as_f64().unwrap();
    assert!((ampere / 41.67e-9 - 1.0).abs() < 0.05, "{zero}");
    assert_eq!(zero["voltage_volt"], 25.0, "{zero}");
    assert!(zero["uncertainty_ampere"].as_f64().unwrap() < 5e-9, "{zero}");
    rig.is_left_safe();

    let plan = rig.json(&["plan", "C14", "22µF", "25V", "tantalum", "--json"]);
    assert_eq!(plan["zero_ampere"], zero["ampere"], "{plan}");
    let plan = rig.run(&["plan", "C14", "22µF", "25V", "tantalum"]);
    assert!(plan.stdout.contains("by itself, taken off every reading"), "{}", plan.stdout);

    // The part in the clip leaks 0.55 µA and more; the fixture's 42 nA are no longer in it.
    rig.bench.clip_in(&rig::sound(22e-6, 25.0));
    let run = rig.json(&["soak", "--json", "C14", "22µF", "25V", "tantalum", "--soak", "60s"]);
    let sources: Vec<&str> = run["budget"]
        .as_array()
        .unwrap()
        .iter()
        .map(|part| part["source"].as_str().unwrap())
        .collect();
    assert!(sources.contains(&"fixture-zero"), "{run}");
    // Below the zero's voltage nothing more is to be told; above it the plan says so.
    let plan = rig.run(&["plan", "C1", "1µF", "50V", "tantalum", "--limit", "100nA @ 1min"]);
    assert!(plan.stdout.contains("taken at 25 V and tells nothing at"), "{}", plan.stdout);
}

#[test]
fn a_fixture_that_is_not_open_gives_no_zero_and_is_left_safe() {
    let rig = Rig::holding(60.0, "C14");
    let ended = rig.run(&["station", "zero", "--voltage", "25V"]);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert!(ended.stderr.contains("take everything out of the clips"), "{ended:?}");
    rig.is_left_safe();
}

#[test]
fn above_what_may_be_touched_a_zero_needs_a_word_for_it() {
    let rig = Rig::new(20.0, &open_fixture(0.01));
    rig.rewire("series_resistor", "ceiling = \"100 V\"\nseries_resistor");
    let ended = rig.run(&["station", "zero", "--voltage", "90V"]);
    assert_eq!(ended.code, Some(64), "{ended:?}");
    assert_eq!(rig.times_on(), 0);
}

fn point<'a>(checked: &'a serde_json::Value, what: &str) -> &'a serde_json::Value {
    let points = checked.as_array().unwrap();
    points.iter().find(|point| point["what"] == what).unwrap_or_else(|| panic!("no {what}"))
}

#[test]
fn a_station_in_order_passes_every_point_of_the_check() {
    let rig = Rig::new(20.0, &open_fixture(0.01));
    let checked = rig.json(&["station", "check", "--open-fixture", "--voltage", "25V", "--json"]);
    for what in [
        "supply identity",
        "meter identity",
        "output",
        "terminals",
        "supply pace",
        "error queues",
        "conversation",
        "response",
        "protections",
        "meter pace",
        "meter zero",
        "ranges",
        "clip voltage",
        "fixture zero",
        "bleeder",
    ] {
        assert_eq!(point(&checked, what)["good"], true, "{checked}");
    }
    rig.is_left_safe();
}

#[test]
fn nothing_is_switched_on_by_a_check_that_does_not_say_so() {
    let rig = Rig::holding(15.0, "C14");
    assert_eq!(rig.run(&["station", "check"]).code, Some(0));
    assert_eq!(rig.times_on(), 0);
}

#[test]
fn a_check_that_finds_a_fault_energises_nothing_after_it() {
    let rig = Rig::new(20.0, &open_fixture(0.01));
    // Bench seconds, of which twenty pass in a second: 0.4 s of the supply's own.
    rig.bench.inject(Fault::Late(Instrument::Supply, seconds(8.0)));
    let ended = rig.run(&["station", "check", "--open-fixture", "--voltage", "25V", "--json"]);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    let response = point(&ended.json(), "response").clone();
    assert_eq!(response["good"], false, "{response}");
    assert!(response["remedy"].as_str().unwrap().contains("deadline"), "{response}");
    assert_eq!(rig.times_on(), 0);
}

#[test]
fn a_protection_that_is_not_taken_fails_the_check() {
    let rig = Rig::holding(15.0, "C14");
    std::fs::create_dir_all(rig.path("config/reststrom/drivers")).unwrap();
    let wrong = SHIPPED[0].1.replace("\"VOLT:PROT {}\"", "\"VOLT:PORT {}\"");
    rig.write("config/reststrom/drivers/scpi-supply.toml", &wrong);
    let ended = rig.run(&["station", "check", "--json"]);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert_eq!(point(&ended.json(), "protections")["good"], false, "{ended:?}");
    rig.is_left_safe();
}

/// Fails unless all that an instrument was told was a question.
#[track_caller]
fn was_only_asked(rig: &Rig, instrument: Instrument) {
    let log = rig.bench.log();
    let told = log
        .iter()
        .filter(|logged| logged.instrument == instrument && logged.speaker == Speaker::Client);
    for logged in told {
        let line = logged.line.trim();
        assert!(line.is_empty() || line.contains('?'), "told \"{line}\"");
    }
}

#[rstest]
#[case::scpi(Tongue::Scpi, "scpi-supply")]
#[case::terse(Tongue::Terse, "terse-supply")]
#[case::echoing(Tongue::Echoing, "echoing-supply")]
fn a_supply_is_found_by_questions_alone(#[case] tongue: Tongue, #[case] driver: &str) {
    let supply = SupplyModel { tongue, ..SupplyModel::default() };
    let rig = Rig::on(BenchOptions { supply, ..BenchOptions::default() }, &rig::part("C14"));
    let port = rig.bench.supply_port();
    let found = rig.json(&["station", "identify", &port, "--json"]);
    assert_eq!(found["drivers"][0]["driver"], driver, "{found}");
    assert_eq!(found["drivers"][0]["answered"], 6, "{found}");
    assert_eq!(found["output"], "off", "{found}");
    let snippet = found["snippet"].as_str().unwrap();
    assert!(snippet.starts_with(&format!("[supply]\ndriver = \"{driver}\"\n")), "{snippet}");
    assert!(snippet.contains(&format!("port = \"{port}\"")), "{snippet}");
    was_only_asked(&rig, Instrument::Supply);
    assert_eq!(rig.bench.violations(), Vec::<String>::new());
}

#[test]
fn a_meter_that_is_asked_is_found_over_tcp_too() {
    let options = BenchOptions { serve: Serve::Loopback, ..BenchOptions::default() };
    let rig = Rig::on(options, &rig::part("C14"));
    let port = format!("tcp:{}", rig.bench.meter_port());
    let found = rig.json(&["station", "identify", &port, "--json"]);
    assert_eq!(found["drivers"][0]["driver"], "scpi-meter", "{found}");
    assert_eq!(found["identity"].as_str().unwrap().split(',').count(), 4, "{found}");
    was_only_asked(&rig, Instrument::Meter);
}

#[rstest]
#[case::text(MeterTongue::Text, "text-stream-meter")]
#[case::frames(MeterTongue::Frames, "frame-stream-meter")]
fn a_meter_that_streams_is_found_without_a_word(#[case] tongue: MeterTongue, #[case] driver: &str) {
    let meter = MeterModel { tongue, wakes_on: Some(amperes(1e-2)), ..MeterModel::default() };
    let rig = Rig::on(BenchOptions { meter, ..BenchOptions::default() }, &rig::part("C14"));
    let found = rig.json(&["station", "identify", &rig.bench.meter_port(), "--json"]);
    assert_eq!(found["drivers"][0]["driver"], driver, "{found}");
    assert!(found["snippet"].as_str().unwrap().contains("range = \"10 mA\""), "{found}");
    let log = rig.bench.log();
    let told = log.iter().filter(|logged| {
        logged.instrument == Instrument::Meter && logged.speaker == Speaker::Client
    });
    assert_eq!(told.count(), 0);
}

#[test]
fn a_port_at_which_nobody_answers_is_told_with_what_to_try() {
    let options = BenchOptions { serve: Serve::Loopback, ..BenchOptions::default() };
    let rig = Rig::on(options, &rig::part("C14"));
    rig.bench.inject(Fault::SupplySilent);
    let port = format!("tcp:{}", rig.bench.supply_port());
    let ended = rig.run(&["station", "identify", &port]);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert!(ended.stderr.contains("nobody answered"), "{ended:?}");
    assert!(ended.stderr.contains("power and cable"), "{ended:?}");
    assert_eq!(rig.times_on(), 0);
}

#[test]
fn an_output_that_is_on_is_shouted_and_left_alone() {
    let rig = Rig::holding(1.0, "C14");
    rig.bench.inject(Fault::SupplyOutputComesOn);
    let ended = rig.run(&["station", "identify", &rig.bench.supply_port()]);
    assert!(ended.stdout.contains("ITS OUTPUT IS ON"), "{ended:?}");
    was_only_asked(&rig, Instrument::Supply);
}

/// A supply on a pseudo-terminal that understands only lines sent at this speed, until it is hung up.
fn answers_at(speed: u32) -> (String, std::thread::JoinHandle<()>) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let master: OwnedFd = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
    let held = std::fs::OpenOptions::new().read(true).write(true).open(&name).unwrap();
    let speaker = std::thread::spawn(move || {
        let _held = held;
        let mut line = Vec::new();
        loop {
            let mut byte = [0];
            if !matches!(rustix::io::read(&master, &mut byte), Ok(1)) {
                return;
            }
            let right = rustix::termios::tcgetattr(&master).unwrap().output_speed() == speed;
            line.push(if right { byte[0] } else { b'~' });
            if byte[0] != b'\n' {
                continue;
            }
            let told = String::from_utf8(std::mem::take(&mut line)).unwrap();
            let answer = match told.trim() {
                "*IDN?" => "SKARVIK,ATTIC-SUPPLY,7,1.0\n",
                "OUTP?" => "0\n",
                "MEAS:VOLT?" | "VOLT?" | "VOLT:PROT?" => "0.00\n",
                "CURR?" | "CURR:PROT?" => "0.1\n",
                "SYST:ERR?" => "0,\"No error\"\n",
                "END" => return,
                _ => continue,
            };
            rustix::io::write(&master, answer.as_bytes()).unwrap();
        }
    });
    (name, speaker)
}

#[test]
fn another_speed_than_the_driver_s_is_found_and_proposed() {
    let rig = Rig::holding(15.0, "C14");
    let (port, _speaker) = answers_at(19200);
    let found = rig.json(&["station", "identify", &port, "--json"]);
    assert_eq!(found["drivers"][0]["driver"], "scpi-supply", "{found}");
    let snippet = found["snippet"].as_str().unwrap();
    assert!(snippet.ends_with("\n[supply.line]\nbaud = 19200\n"), "{snippet}");
}
