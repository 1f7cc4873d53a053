//! Driver files: an instrument as data.
//!
//! A driver names the line settings, the words for each act, the instrument's ranges with their
//! errors, and its limits. A new instrument is a new file in `drivers/`, never new code.

use std::path::Path;

use serde::Deserialize;

use super::file::{self, FileError};
use super::session::Timing;
use super::written::{written, written_if_given};
use crate::quantity::{Current, Resistance, Time, Voltage};

/// The drivers that come with the program: name and text.
pub const SHIPPED: &[(&str, &str)] = &[
    ("scpi-supply", include_str!("../../drivers/scpi-supply.toml")),
    ("scpi-meter", include_str!("../../drivers/scpi-meter.toml")),
];

/// A supply's driver.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SupplyDriver {
    /// Always `supply`.
    kind: SupplyKind,
    /// What it is for, for people.
    pub describes: String,
    /// Settings of the line.
    pub line: LineSettings,
    /// Words for each act.
    pub words: SupplyWords,
    /// What it can do; a station may say better.
    pub ability: SupplyAbility,
}

/// A meter's driver.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeterDriver {
    /// Always `meter`.
    kind: MeterKind,
    /// What it is for, for people.
    pub describes: String,
    /// Settings of the line.
    pub line: LineSettings,
    /// Words for each act.
    pub words: MeterWords,
    /// What it can do; a station may say better.
    pub ability: MeterAbility,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
enum SupplyKind {
    #[serde(rename = "supply")]
    Supply,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
enum MeterKind {
    #[serde(rename = "meter")]
    Meter,
}

/// Settings of a line.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LineSettings {
    /// Bits per second.
    pub baud: u32,
    /// Data bits: 5 to 8.
    pub data_bits: u8,
    /// Parity.
    pub parity: Parity,
    /// Stop bits: 1 or 2.
    pub stop_bits: u8,
    /// Flow control.
    pub flow: Flow,
    /// Bytes that end each line to the instrument.
    pub end: String,
    /// Pause that the instrument needs between two lines.
    #[serde(deserialize_with = "written")]
    pub gap: Time,
    /// Longest time for an answer.
    #[serde(deserialize_with = "written")]
    pub deadline: Time,
    /// Longest time for the first answer after opening.
    #[serde(deserialize_with = "written")]
    pub first_deadline: Time,
    /// State of DTR after opening; as the system leaves it if not given.
    pub dtr: Option<bool>,
    /// State of RTS after opening; as the system leaves it if not given.
    pub rts: Option<bool>,
}

impl LineSettings {
    /// The timing of a conversation on this line.
    #[must_use]
    pub fn timing(&self) -> Timing {
        Timing {
            end: self.end.clone(),
            gap: self.gap,
            deadline: self.deadline,
            first_deadline: self.first_deadline,
        }
    }
}

/// Parity of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even parity.
    Even,
    /// Odd parity.
    Odd,
}

/// Flow control of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flow {
    /// None.
    None,
    /// XON and XOFF.
    Software,
    /// RTS and CTS.
    Hardware,
}

/// A supply's words. `{}` stands for a number in volts or amperes.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SupplyWords {
    /// Asks who is there.
    pub identity: String,
    /// Asks for the next entry of the error queue.
    pub next_error: Option<String>,
    /// Sets the voltage.
    pub set_voltage: String,
    /// Asks for the voltage that is set.
    pub ask_set_voltage: String,
    /// Sets the current limit.
    pub set_current_limit: String,
    /// Asks for the current limit.
    pub ask_current_limit: String,
    /// Sets the over-voltage protection.
    pub set_over_voltage: String,
    /// Asks for the over-voltage protection.
    pub ask_over_voltage: String,
    /// Sets the over-current protection.
    pub set_over_current: String,
    /// Asks for the over-current protection.
    pub ask_over_current: String,
    /// Output on.
    pub output_on: String,
    /// Output off.
    pub output_off: String,
    /// Asks for the output state.
    pub ask_output: String,
    /// Measures the voltage.
    pub measure_voltage: String,
}

/// What a supply can do.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SupplyAbility {
    /// Highest voltage.
    #[serde(deserialize_with = "written")]
    pub most_voltage: Voltage,
    /// Highest current limit.
    #[serde(deserialize_with = "written")]
    pub most_current: Current,
    /// Step of the voltage setting.
    #[serde(deserialize_with = "written")]
    pub voltage_step: Voltage,
    /// Step of the current-limit setting.
    #[serde(deserialize_with = "written")]
    pub current_step: Current,
    /// Error of the measured voltage: this fraction of it …
    pub read_back_fraction: f64,
    /// … plus this.
    #[serde(deserialize_with = "written")]
    pub read_back_fixed: Voltage,
    /// Where it measures.
    pub senses: Senses,
}

/// Where a supply measures its voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Senses {
    /// Behind the output relay.
    AtTerminals,
    /// Before the output relay.
    BeforeRelay,
}

/// A meter's words. `{}` stands for a number in volts, amperes or power-line cycles.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeterWords {
    /// Asks who is there.
    pub identity: String,
    /// Asks for the next entry of the error queue.
    pub next_error: Option<String>,
    /// Selects DC current and a range.
    pub select_current_range: String,
    /// Asks for the current range.
    pub ask_current_range: String,
    /// Sets the integration time on current.
    pub set_current_integration: String,
    /// Selects DC voltage and a range.
    pub select_voltage_range: String,
    /// Asks for the voltage range.
    pub ask_voltage_range: String,
    /// Sets the integration time on voltage.
    pub set_voltage_integration: String,
    /// Takes one reading.
    pub read: String,
}

/// What a meter can do.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeterAbility {
    /// Integration time in power-line cycles.
    pub integration_cycles: f64,
    /// Time from one reading to the next.
    #[serde(deserialize_with = "written")]
    pub interval: Time,
    /// Readings to leave unused after a range change.
    pub settling_readings: u8,
    /// Input resistance on the voltage ranges.
    #[serde(default, deserialize_with = "written_if_given")]
    pub input_resistance: Option<Resistance>,
    /// How far it may be off, as a fraction (handbook §3.3: 1 to 2 %).
    #[serde(default = "usual_input_tolerance")]
    pub input_tolerance: f64,
    /// Current ranges, most sensitive first.
    #[serde(default)]
    pub current_range: Vec<CurrentRange>,
    /// Voltage ranges, most sensitive first.
    #[serde(default)]
    pub voltage_range: Vec<VoltageRange>,
}

/// The worse of what meters have (handbook §3.3).
fn usual_input_tolerance() -> f64 {
    0.02
}

/// A current range.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CurrentRange {
    /// Largest current.
    #[serde(deserialize_with = "written")]
    pub full_scale: Current,
    /// Last digit.
    #[serde(deserialize_with = "written")]
    pub resolution: Current,
    /// Error: this fraction of the reading …
    pub fraction: f64,
    /// … plus this.
    #[serde(deserialize_with = "written")]
    pub fixed: Current,
    /// Resistance of the shunt.
    #[serde(deserialize_with = "written")]
    pub burden: Resistance,
}

/// A voltage range, for reading across a sense resistor.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VoltageRange {
    /// Largest voltage.
    #[serde(deserialize_with = "written")]
    pub full_scale: Voltage,
    /// Last digit.
    #[serde(deserialize_with = "written")]
    pub resolution: Voltage,
    /// Error: this fraction of the reading …
    pub fraction: f64,
    /// … plus this.
    #[serde(deserialize_with = "written")]
    pub fixed: Voltage,
}

/// Where a driver's text comes from: shipped, or a file beside the station's.
fn text_of(name: &str, beside: &Path) -> Result<(String, String), FileError> {
    if let Some((name, text)) = SHIPPED.iter().find(|(shipped, _)| *shipped == name) {
        return Ok(((*name).to_owned() + ".toml", (*text).to_owned()));
    }
    let is_file = Path::new(name).extension().is_some_and(|ending| ending == "toml");
    if !is_file {
        let shipped: Vec<&str> = SHIPPED.iter().map(|(name, _)| *name).collect();
        let what = format!(
            "no driver \"{name}\": expected one of {} or the path of a .toml file",
            shipped.join(", ")
        );
        return Err(FileError::Contradiction { file: beside.display().to_string(), what });
    }
    let path = beside.parent().unwrap_or(Path::new("")).join(name);
    Ok((path.display().to_string(), file::text_of(&path)?))
}

/// The supply's driver called `name` in the station file `station`.
///
/// # Errors
///
/// [`FileError`] if there is none, or if its file is wrong.
pub fn supply(name: &str, station: &Path) -> Result<SupplyDriver, FileError> {
    let (file, text) = text_of(name, station)?;
    read_supply(&file, &text)
}

/// The meter's driver called `name` in the station file `station`.
///
/// # Errors
///
/// [`FileError`] if there is none, or if its file is wrong.
pub fn meter(name: &str, station: &Path) -> Result<MeterDriver, FileError> {
    let (file, text) = text_of(name, station)?;
    read_meter(&file, &text)
}

/// Reads and checks the text of a supply's driver.
///
/// # Errors
///
/// [`FileError`] with the place, what was expected and what came.
pub fn read_supply(file: &str, text: &str) -> Result<SupplyDriver, FileError> {
    let driver: SupplyDriver = file::parse(file, text)?;
    let words = &driver.words;
    let with_number = [
        ("set_voltage", &words.set_voltage),
        ("set_current_limit", &words.set_current_limit),
        ("set_over_voltage", &words.set_over_voltage),
        ("set_over_current", &words.set_over_current),
    ];
    check_numbers(file, &with_number)?;
    check_line(file, &driver.line)?;
    Ok(driver)
}

/// Reads and checks the text of a meter's driver.
///
/// # Errors
///
/// [`FileError`] with the place, what was expected and what came.
pub fn read_meter(file: &str, text: &str) -> Result<MeterDriver, FileError> {
    let driver: MeterDriver = file::parse(file, text)?;
    let words = &driver.words;
    let with_number = [
        ("select_current_range", &words.select_current_range),
        ("set_current_integration", &words.set_current_integration),
        ("select_voltage_range", &words.select_voltage_range),
        ("set_voltage_integration", &words.set_voltage_integration),
    ];
    check_numbers(file, &with_number)?;
    check_line(file, &driver.line)?;
    let scales: Vec<f64> =
        driver.ability.current_range.iter().map(|range| range.full_scale.value).collect();
    check_order(file, "current_range", &scales)?;
    let scales: Vec<f64> =
        driver.ability.voltage_range.iter().map(|range| range.full_scale.value).collect();
    check_order(file, "voltage_range", &scales)?;
    Ok(driver)
}

fn wrong(file: &str, what: String) -> FileError {
    FileError::Contradiction { file: file.to_owned(), what }
}

/// Set orders hold exactly one place for a number.
fn check_numbers(file: &str, words: &[(&str, &String)]) -> Result<(), FileError> {
    match words.iter().find(|(_, words)| words.matches("{}").count() != 1) {
        None => Ok(()),
        Some((key, words)) => Err(wrong(
            file,
            format!("words.{key}: expected one {{}} for the number in \"{words}\""),
        )),
    }
}

fn check_line(file: &str, line: &LineSettings) -> Result<(), FileError> {
    if !(5..=8).contains(&line.data_bits) {
        return Err(wrong(
            file,
            format!("line.data_bits: expected 5 to 8, got {}", line.data_bits),
        ));
    }
    if !(1..=2).contains(&line.stop_bits) {
        return Err(wrong(
            file,
            format!("line.stop_bits: expected 1 or 2, got {}", line.stop_bits),
        ));
    }
    if line.end.is_empty() {
        return Err(wrong(file, "line.end: expected the bytes that end a line, got none".into()));
    }
    Ok(())
}

fn check_order(file: &str, key: &str, scales: &[f64]) -> Result<(), FileError> {
    let most = crate::plan::MOST_RANGES;
    if most < scales.len() {
        return Err(wrong(file, format!("ability.{key}: {} given, {most} allowed", scales.len())));
    }
    if !scales.is_sorted() {
        return Err(wrong(file, format!("ability.{key}: expected the most sensitive first")));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_driver_loads() {
        for (name, text) in SHIPPED {
            let loaded = read_supply(name, text).map(|_| ()).or(read_meter(name, text).map(|_| ()));
            assert_eq!(loaded, Ok(()), "{name}");
        }
    }

    fn spoiled(from: &str, to: &str) -> String {
        let text = SHIPPED[0].1;
        assert!(text.contains(from), "{from}");
        read_supply("my.toml", &text.replace(from, to)).unwrap_err().to_string()
    }

    #[test]
    fn a_missing_word_is_named() {
        let message = spoiled("output_off = \"OUTP OFF\"\n", "");
        assert!(message.contains("missing field `output_off`"), "{message}");
    }

    #[test]
    fn a_misspelt_word_is_named_with_its_line() {
        let message = spoiled("ask_output =", "ask_outptu =");
        assert!(message.starts_with("my.toml:31:1: unknown field `ask_outptu`"), "{message}");
    }

    #[test]
    fn a_set_order_without_a_place_for_the_number_is_refused() {
        insta::assert_snapshot!(
            spoiled("VOLT {}", "VOLT"),
            @r#"my.toml: words.set_voltage: expected one {} for the number in "VOLT""#
        );
    }

    #[test]
    fn a_quantity_without_its_unit_is_refused() {
        let message = spoiled("most_voltage = \"60 V\"", "most_voltage = \"60\"");
        assert!(message.starts_with("my.toml:35:16: "), "{message}");
    }

    #[test]
    fn an_unknown_driver_lists_the_known_ones() {
        let message = supply("scpi-suply", Path::new("bench.toml")).unwrap_err().to_string();
        assert!(
            message.contains("no driver \"scpi-suply\": expected one of scpi-supply"),
            "{message}"
        );
    }
}
