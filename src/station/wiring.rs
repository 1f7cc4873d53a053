//! The station file: what is wired where, and how far this bench may go.

mod scanner;

use std::path::Path;

use schemars::JsonSchema;
use serde::Deserialize;

use super::driver::{
    self, Amount, LineChange, MeterAbility, MeterDriver, MeterTalk, Senses, SupplyAbility,
    SupplyDriver,
};
use super::file::{self, FileError};
use super::meter::{self, Sense, SensedBy};
use super::written::{Written, written, written_if_given};
use crate::part::{Room, TOLD_TOLERANCE};
use crate::plan::{Accuracy, Bench, Bleeder, HARMLESS, Sensing, SupplyFacts, TOUCH_SAFE};
use crate::quantity::{Celsius, Energy, Resistance, Voltage, joules, ohms, volts};

pub use scanner::WiredScanner;

/// A part may be touched below this (handbook §4.4: 5 V); a station may ask for less.
pub const SAFE_VOLTAGE: f64 = 5.0; // V
/// Tolerance of a sense resistor of which the file says none (handbook §3.12: 0.1 %).
const SENSE_TOLERANCE: f64 = 0.001;

/// A commented station file, for `station example`.
pub const EXAMPLE: &str = include_str!("../../fixtures/station-example.toml");

/// A station: its drivers, its ports and its bounds.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Name of the station.
    pub name: String,
    /// The bench is simulated, and says so on every result.
    pub simulated: bool,
    /// The supply and its port.
    pub supply: Wired<SupplyDriver>,
    /// The meter and its port.
    pub meter: Wired<MeterDriver>,
    /// How current is sensed.
    pub sensed_by: SensedBy,
    /// Line of the bleeder relay, if there is one.
    pub relay: Option<RelayLine>,
    /// Line of the relay that bridges the series resistor, if there is one.
    pub bypass: Option<RelayLine>,
    /// The scanner, if parts are wired to one.
    pub scanner: Option<WiredScanner>,
    /// The facts that planning needs.
    pub bench: Bench,
}

/// An instrument, its port and who is expected there.
#[derive(Debug, Clone, PartialEq)]
pub struct Wired<D> {
    /// Its driver.
    pub driver: D,
    /// Its port.
    pub port: Port,
    /// Beginning of the identity that it must answer with.
    pub identity: Option<String>,
}

/// A port as the station file writes it: a path, `tcp:host:port`, or `usbtmc:path`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Port {
    /// A serial device.
    Serial(String),
    /// A raw TCP socket.
    Tcp(String),
    /// A character device of the USB test-and-measurement class.
    Message(String),
}

impl Port {
    /// Reads a port as a station file writes it.
    #[must_use]
    pub fn read(text: &str) -> Self {
        match text.split_once(':') {
            Some(("tcp", address)) => Self::Tcp(address.to_owned()),
            Some(("usbtmc", path)) => Self::Message(path.to_owned()),
            Some(_) | None => Self::Serial(text.to_owned()),
        }
    }
}

impl std::fmt::Display for Port {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Serial(path) => f.write_str(path),
            Self::Tcp(address) => write!(f, "tcp:{address}"),
            Self::Message(path) => write!(f, "usbtmc:{path}"),
        }
    }
}

/// A relay on a control line. Lines fall when a program dies: low is the safe state.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RelayLine {
    /// Serial device whose line it is.
    pub port: String,
    /// Which line.
    pub line: ControlLine,
}

/// A control line of a serial port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ControlLine {
    /// Request to send.
    Rts,
    /// Data terminal ready.
    Dtr,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct StationFile {
    /// Name of the station.
    name: String,
    /// True only for a simulated bench.
    #[serde(default)]
    simulated: bool,
    /// Bench seconds per second, 1 to 1000; only on a simulated bench.
    lapse: Option<f64>,
    /// No part goes above this voltage; 60 V if not given.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    ceiling: Option<Voltage>,
    /// Most energy stored in a part, in joules; 10 if not given.
    energy_bound_joule: Option<f64>,
    /// A part below this voltage may be touched; 5 V at most, and if not given.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    safe_voltage: Option<Voltage>,
    /// Temperature at the part.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    room: Option<Celsius>,
    /// How far from it the true one may lie, in kelvin.
    room_tolerance_kelvin: Option<f64>,
    /// Resistor between the supply and the meter.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    series_resistor: Resistance,
    /// The supply.
    supply: SupplyTable,
    /// The meter.
    meter: MeterTable,
    /// What empties the part.
    bleeder: BleederTable,
    /// A relay that bridges the series resistor while a large part charges; low must mean open.
    bypass: Option<RelayLine>,
    /// A relay for each of several parts.
    scanner: Option<scanner::ScannerTable>,
}

/// The supply and where it is.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct SupplyTable {
    /// A driver by name, or a .toml file beside the station file.
    driver: String,
    /// A serial device, `tcp:host:port` or `usbtmc:device`.
    port: String,
    /// Beginning of the identity that must answer.
    identity: Option<String>,
    /// Where this unit's line differs from its driver's.
    line: Option<LineChange>,
    /// What this very unit can do, in place of its driver's.
    ability: Option<SupplyAbility>,
}

/// The meter and where it is.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct MeterTable {
    /// A driver by name, or a .toml file beside the station file.
    driver: String,
    /// A serial device, `tcp:host:port` or `usbtmc:device`.
    port: String,
    /// Beginning of the identity that must answer.
    identity: Option<String>,
    /// Read volts across this resistor, not the meter's own shunt.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    sense_resistor: Option<Resistance>,
    /// How far that resistor may be off, as a fraction.
    sense_tolerance: Option<f64>,
    /// The range that a meter which streams was put on by hand.
    #[schemars(with = "Option<Written>")]
    range: Option<Amount>,
    /// Where this unit's line differs from its driver's.
    line: Option<LineChange>,
    /// What this very unit can do, in place of its driver's.
    ability: Option<MeterAbility>,
}

/// What empties the part.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct BleederTable {
    /// What it is.
    kind: BleederKind,
    /// Its resistance, unless the supply sinks.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    resistance: Option<Resistance>,
    /// Serial port whose control line a relay hangs on.
    port: Option<String>,
    /// Which line; low must mean bleeding.
    line: Option<ControlLine>,
}

#[derive(Debug, Clone, Copy, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
enum BleederKind {
    SupplySinks,
    Fitted,
    Relay,
}

/// Loads a station file and the drivers that it names.
///
/// # Errors
///
/// [`FileError`] with file, place, what was expected and what came.
pub fn load(path: &Path) -> Result<Station, FileError> {
    read(path, &file::text_of(path)?)
}

/// Reads the text of the station file `path`.
///
/// # Errors
///
/// [`FileError`] with file, place, what was expected and what came.
pub fn read(path: &Path, text: &str) -> Result<Station, FileError> {
    let name = path.display().to_string();
    let file: StationFile = file::parse(&name, text)?;
    let wrong = |what: String| FileError::Contradiction { file: name.clone(), what };
    let lapse = lapse(&file).map_err(wrong)?;
    let (bleeder, relay) = bleeder(&file.bleeder).map_err(wrong)?;
    let bounds = bounds(&file).map_err(wrong)?;
    let sensed_by = sensed_by(&file.meter).map_err(wrong)?;
    let room = room(&file).map_err(wrong)?;
    let mut supply = driver::supply(&file.supply.driver, path)?;
    if let Some(ability) = file.supply.ability {
        supply.ability = ability;
    }
    if let Some(change) = &file.supply.line {
        supply.line = supply.line.changed(change, &format!("{name}: supply"))?;
    }
    let mut meter = driver::meter(&file.meter.driver, path)?;
    if let Some(ability) = file.meter.ability {
        meter.ability = ability;
    }
    if let Some(change) = &file.meter.line {
        meter.line = meter.line.changed(change, &format!("{name}: meter"))?;
    }
    check_input(&meter.ability).map_err(wrong)?;
    hold_range(&mut meter, file.meter.range).map_err(wrong)?;
    check_bypass(file.bypass.as_ref(), relay.as_ref()).map_err(wrong)?;
    let bench = Bench {
        supply: supply_facts(&supply.ability),
        meter: meter::facts(&meter.ability, sensed_by),
        series: file.series_resistor,
        bypass: file.bypass.is_some(),
        bleeder,
        ceiling: bounds.ceiling,
        energy_bound: bounds.energy,
        safe_voltage: bounds.safe_voltage,
        zero: None,
        room,
        lapse,
    };
    if bench.meter.ranges.is_empty() {
        return Err(wrong("the meter's driver has no range for this way of sensing".into()));
    }
    let (supply_port, meter_port) = (Port::read(&file.supply.port), Port::read(&file.meter.port));
    if supply_port == meter_port {
        return Err(wrong(format!("supply and meter are both on {supply_port}")));
    }
    let scanner = file.scanner.map(|table| table.wired(path, &bench)).transpose()?;
    if let Some(port) = scanner.as_ref().map(|scanner| &scanner.wired.port)
        && [&supply_port, &meter_port].contains(&port)
    {
        return Err(wrong(format!("the scanner and another instrument are both on {port}")));
    }
    Ok(Station {
        name: file.name,
        simulated: file.simulated,
        supply: Wired { driver: supply, port: supply_port, identity: file.supply.identity },
        meter: Wired { driver: meter, port: meter_port, identity: file.meter.identity },
        sensed_by,
        relay,
        bypass: file.bypass,
        scanner,
        bench,
    })
}

/// Lapsed time is for simulated benches only: a real part does not hurry.
fn lapse(file: &StationFile) -> Result<f64, String> {
    match file.lapse {
        None => Ok(1.0),
        Some(lapse) if !file.simulated => {
            Err(format!("lapse = {lapse} needs simulated = true: a real bench can't hurry"))
        }
        Some(lapse) if (1.0..=1000.0).contains(&lapse) => Ok(lapse),
        Some(lapse) => Err(format!("lapse: expected 1 to 1000, got {lapse}")),
    }
}

/// A tolerance is a fraction; beyond a tenth it is more likely a percentage.
fn check_fraction(key: &str, fraction: f64) -> Result<f64, String> {
    if (0.0..=0.1).contains(&fraction) {
        return Ok(fraction);
    }
    Err(format!(
        "{key}: expected a fraction from 0 to 0.1, such as 0.001 for 0.1 %, got {fraction}"
    ))
}

fn check_input(ability: &MeterAbility) -> Result<(), String> {
    check_fraction("input_tolerance", ability.input_tolerance).map(|_| ())
}

fn sensed_by(table: &MeterTable) -> Result<SensedBy, String> {
    match (table.sense_resistor, table.sense_tolerance) {
        (None, None) => Ok(SensedBy::Shunt),
        (None, Some(_)) => {
            Err("meter.sense_tolerance is there without meter.sense_resistor".into())
        }
        (Some(resistance), tolerance) if ohms(0.0) < resistance => {
            let tolerance = tolerance.unwrap_or(SENSE_TOLERANCE);
            let tolerance = check_fraction("meter.sense_tolerance", tolerance)?;
            Ok(SensedBy::Resistor(Sense { resistance, tolerance }))
        }
        (Some(_), _) => Err("meter.sense_resistor: expected more than 0 Ω".into()),
    }
}

fn room(file: &StationFile) -> Result<Option<Room>, String> {
    match (file.room, file.room_tolerance_kelvin) {
        (None, None) => Ok(None),
        (None, Some(_)) => Err("room_tolerance_kelvin is there without room".into()),
        (Some(at), tolerance) => Room::told(at, tolerance.unwrap_or(TOLD_TOLERANCE))
            .map(Some)
            .map_err(|error| format!("room: {error}")),
    }
}

fn bleeder(table: &BleederTable) -> Result<(Bleeder, Option<RelayLine>), String> {
    let resistance = || {
        let resistance = table.resistance.ok_or("bleeder.resistance is missing")?;
        if resistance <= ohms(0.0) {
            return Err("bleeder.resistance: expected more than 0 Ω");
        }
        Ok(resistance)
    };
    match table.kind {
        BleederKind::SupplySinks => Ok((Bleeder::SupplySinks, None)),
        BleederKind::Fitted => Ok((Bleeder::Fitted(resistance()?), None)),
        BleederKind::Relay => {
            let port = table.port.clone().ok_or("bleeder.port is missing for a relay")?;
            let line = table.line.ok_or("bleeder.line is missing: rts or dtr")?;
            Ok((Bleeder::Relay(resistance()?), Some(RelayLine { port, line })))
        }
    }
}

/// Opening a port lifts both of its lines, and the keeper holds the bleeder's open when the program
/// dies: on that port a bypass could close unasked, or stay closed.
fn check_bypass(bypass: Option<&RelayLine>, bleeder: Option<&RelayLine>) -> Result<(), String> {
    match (bypass, bleeder) {
        (Some(bypass), Some(bleeder)) if bypass.port == bleeder.port => Err(format!(
            "bypass.port: expected another port than the bleeder's, got {} for both",
            bypass.port
        )),
        _ => Ok(()),
    }
}

struct Bounds {
    ceiling: Voltage,
    energy: Energy,
    safe_voltage: Voltage,
}

fn bounds(file: &StationFile) -> Result<Bounds, String> {
    let safe_voltage = file.safe_voltage.unwrap_or(volts(SAFE_VOLTAGE));
    if !(volts(0.1)..=volts(SAFE_VOLTAGE)).contains(&safe_voltage) {
        return Err(format!("safe_voltage: expected 0.1 V to {SAFE_VOLTAGE} V"));
    }
    let energy = file.energy_bound_joule.unwrap_or(HARMLESS);
    if !(energy > 0.0 && energy.is_finite()) {
        return Err(format!("energy_bound_joule: expected more than 0, got {energy}"));
    }
    let ceiling = file.ceiling.unwrap_or(volts(TOUCH_SAFE));
    if ceiling <= safe_voltage {
        return Err("ceiling: expected more than safe_voltage".into());
    }
    if file.series_resistor < ohms(0.0) {
        return Err("series_resistor: expected 0 Ω or more".into());
    }
    Ok(Bounds { ceiling, energy: joules(energy), safe_voltage })
}

/// A meter that streams stands on one range, which a person has set and the station file names.
fn hold_range(meter: &mut MeterDriver, range: Option<Amount>) -> Result<(), String> {
    let range = match (&meter.talk, range) {
        (MeterTalk::Asked(_), None) => return Ok(()),
        (MeterTalk::Asked(_), Some(_)) => {
            return Err("meter.range: this meter is told its range, leave it out".into());
        }
        (MeterTalk::Streams(_), None) => {
            let what = "meter.range is missing: the range that the meter is put on by hand";
            return Err(format!("{what}, such as \"10 mA\""));
        }
        (MeterTalk::Streams(_), Some(range)) => range,
    };
    let same = |full: f64| (full / range.value() - 1.0).abs() < 1e-6;
    let ability = &mut meter.ability;
    match range {
        Amount::Current(_) => {
            ability.current_range.retain(|known| same(known.full_scale.value));
            ability.voltage_range.clear();
        }
        Amount::Voltage(_) => {
            ability.voltage_range.retain(|known| same(known.full_scale.value));
            ability.current_range.clear();
        }
    }
    if ability.current_range.len() + ability.voltage_range.len() != 1 {
        return Err("meter.range: expected one of the ranges in the meter's driver".into());
    }
    Ok(())
}

fn supply_facts(ability: &SupplyAbility) -> SupplyFacts {
    SupplyFacts {
        most_voltage: ability.most_voltage,
        most_current: ability.most_current,
        voltage_step: ability.voltage_step,
        current_step: ability.current_step,
        read_back: Accuracy {
            fraction: ability.read_back_fraction,
            fixed: ability.read_back_fixed,
        },
        senses: match ability.senses {
            Senses::AtTerminals => Sensing::AtTerminals,
            Senses::BeforeRelay => Sensing::BeforeRelay,
        },
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::driver::{LineSettings, Parity};
    use super::*;
    use crate::quantity::celsius;

    fn read_example() -> Station {
        read(Path::new("bench.toml"), EXAMPLE).unwrap()
    }

    #[test]
    fn the_example_is_a_station() {
        let station = read_example();
        assert_eq!(station.bench.ceiling, volts(60.0));
        assert!((station.bench.lapse - 1.0).abs() < f64::EPSILON);
        assert!(!station.simulated);
    }

    #[rstest]
    #[case::lapse_on_a_real_bench("name =", "lapse = 60\nname =", "needs simulated = true")]
    #[case::a_lapse_of_nothing(
        "name =",
        "simulated = true\nlapse = 0\nname =",
        "expected 1 to 1000"
    )]
    #[case::an_unknown_key("name =", "celing = \"60 V\"\nname =", "unknown field `celing`")]
    #[case::a_missing_driver("\"scpi-supply\"", "\"scpi-suply\"", "no driver \"scpi-suply\"")]
    #[case::one_port_for_two("usb-meter", "usb-supply", "are both on")]
    #[case::a_bleeder_without_resistance(
        "resistance = \"10 kΩ\"",
        "",
        "bleeder.resistance is missing"
    )]
    #[case::a_room_that_is_an_oven("name =", "room = \"125 °C\"\nname =", "room: expected a room")]
    #[case::a_tolerance_of_no_room(
        "name =",
        "room_tolerance_kelvin = 2\nname =",
        "room_tolerance_kelvin is there without room"
    )]
    #[case::a_percentage_for_a_fraction(
        "[bleeder]",
        "sense_resistor = \"1 kΩ\"\nsense_tolerance = 1\n[bleeder]",
        "such as 0.001 for 0.1 %"
    )]
    #[case::a_tolerance_of_no_resistor(
        "[bleeder]",
        "sense_tolerance = 0.01\n[bleeder]",
        "without meter.sense_resistor"
    )]
    #[case::a_scanner_on_the_meter_s_port(
        "[bleeder]",
        "[scanner]\ndriver = \"scpi-switch\"\nport = \"/dev/serial/by-id/usb-meter\"\n\
         channels = { C1 = 101 }\n[bleeder]",
        "the scanner and another instrument are both on"
    )]
    #[case::a_stream_on_no_range(
        "\"scpi-meter\"",
        "\"text-stream-meter\"",
        "meter.range is missing"
    )]
    #[case::a_stream_on_an_unknown_range(
        "\"scpi-meter\"",
        "\"text-stream-meter\"\nrange = \"2 A\"",
        "expected one of the ranges"
    )]
    #[case::a_stream_of_volts_without_a_resistor(
        "\"scpi-meter\"",
        "\"text-stream-meter\"\nrange = \"10 V\"",
        "no range for this way of sensing"
    )]
    #[case::a_range_for_a_meter_that_is_told(
        "\"scpi-meter\"",
        "\"scpi-meter\"\nrange = \"10 mA\"",
        "is told its range"
    )]
    #[case::a_line_of_nine_bits(
        "[bleeder]",
        "[meter.line]\ndata_bits = 9\n[bleeder]",
        "meter: line.data_bits: expected 5 to 8, got 9"
    )]
    #[case::a_line_with_words_of_a_driver(
        "[bleeder]",
        "[meter.line]\necho = true\n[bleeder]",
        "unknown field `echo`"
    )]
    #[case::a_careless_safe_voltage(
        "name =",
        "safe_voltage = \"40 V\"\nname =",
        "safe_voltage: expected"
    )]
    fn a_wrong_station_file_is_refused(
        #[case] from: &str,
        #[case] to: &str,
        #[case] message: &str,
    ) {
        let text = EXAMPLE.replacen(from, to, 1);
        assert_ne!(text, EXAMPLE, "nothing replaced");
        let error = read(Path::new("bench.toml"), &text).unwrap_err().to_string();
        assert!(error.starts_with("bench.toml") && error.contains(message), "{error}");
    }

    #[test]
    fn a_room_is_known_as_well_as_the_file_says() {
        assert_eq!(read_example().bench.room, None);
        let text = EXAMPLE.replace("name =", "room = \"21 °C\"\nroom_tolerance_kelvin = 1\nname =");
        let station = read(Path::new("bench.toml"), &text).unwrap();
        assert_eq!(station.bench.room, Some(Room::told(celsius(21.0), 1.0).unwrap()));
    }

    #[test]
    fn a_sense_resistor_is_good_to_a_thousandth_unless_the_file_says_otherwise() {
        let read = |line: &str| {
            let keys = format!("sense_resistor = \"100 kΩ\"\n{line}\n[bleeder]");
            let text = EXAMPLE.replacen("[bleeder]", &keys, 1);
            let station = read(Path::new("bench.toml"), &text).unwrap();
            let conversion = station.bench.meter.conversion;
            // 10 MΩ beside 100 kΩ take a share of 1/101 of the current.
            conversion.resistor * 101.0 / 100.0
        };
        assert!((read("") - 0.001).abs() < 1e-9);
        assert!((read("sense_tolerance = 0.01") - 0.01).abs() < 1e-9);
    }

    #[test]
    fn a_line_that_was_set_otherwise_differs_from_its_driver_s_in_that_alone() {
        let before = read_example().supply.driver.line;
        let keys = "[supply.line]\nbaud = 19200\nparity = \"mark\"\ndtr = true\n[bleeder]";
        let text = EXAMPLE.replacen("[bleeder]", keys, 1);
        let line = read(Path::new("bench.toml"), &text).unwrap().supply.driver.line;
        let expected =
            LineSettings { baud: 19200, parity: Parity::Mark, dtr: Some(true), ..before };
        assert_eq!(line, expected);
    }

    #[test]
    fn a_relay_names_its_line() {
        let text = EXAMPLE.replace(
            "kind = \"fitted\"",
            "kind = \"relay\"\nport = \"/dev/ttyS0\"\nline = \"rts\"",
        );
        let station = read(Path::new("bench.toml"), &text).unwrap();
        assert_eq!(
            station.relay,
            Some(RelayLine { port: "/dev/ttyS0".into(), line: ControlLine::Rts })
        );
    }

    #[test]
    fn a_bypass_names_its_line() {
        let text = format!("{EXAMPLE}\n[bypass]\nport = \"/dev/ttyS0\"\nline = \"dtr\"\n");
        let station = read(Path::new("bench.toml"), &text).unwrap();
        let line = RelayLine { port: "/dev/ttyS0".into(), line: ControlLine::Dtr };
        assert_eq!(station.bypass, Some(line));
        assert!(station.bench.bypass && !read_example().bench.bypass);
    }

    #[test]
    fn bleeder_and_bypass_hang_on_ports_of_their_own() {
        let text = EXAMPLE.replace(
            "kind = \"fitted\"",
            "kind = \"relay\"\nport = \"/dev/ttyS0\"\nline = \"rts\"",
        );
        let beside = |port: &str| format!("{text}\n[bypass]\nport = \"{port}\"\nline = \"dtr\"\n");
        assert!(read(Path::new("bench.toml"), &beside("/dev/ttyS1")).is_ok());
        let error = read(Path::new("bench.toml"), &beside("/dev/ttyS0")).unwrap_err().to_string();
        assert!(error.contains("expected another port than the bleeder's"), "{error}");
    }

    #[test]
    fn a_port_is_a_path_or_an_address() {
        assert_eq!(Port::read("tcp:10.0.0.7:5025"), Port::Tcp("10.0.0.7:5025".into()));
        assert_eq!(Port::read("/dev/ttyUSB0"), Port::Serial("/dev/ttyUSB0".into()));
        assert_eq!(Port::read("usbtmc:/dev/usbtmc0"), Port::Message("/dev/usbtmc0".into()));
    }
}
