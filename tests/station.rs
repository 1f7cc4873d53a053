//! The `station` commands and the trace of the lines, over pseudo-terminals.

#![expect(clippy::unwrap_used, reason = "what a test's hands find missing fails the test")]

mod rig;

use reststrom::quantity::seconds;
use reststrom::station::driver::{SHIPPED, read_meter, shipped};
use reststrom::station::{Meter, MeterSays, SensedBy};
use rig::Rig;

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
    let mut readings = 0;
    for line in trace.iter().filter(|line| line.port == meter) {
        now += seconds(0.03);
        if line.told {
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
