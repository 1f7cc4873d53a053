//! A meter's driver: its words, its ranges and what it can do.

use std::path::Path;

use schemars::JsonSchema;
use serde::Deserialize;

use super::super::file::{self, FileError};
use super::super::picture::Picture;
use super::super::written::{Written, written, written_if_given};
use super::{FrameStream, LineSettings, Stream, TextStream, check_numbers, text_of, wrong};
use crate::quantity::{Current, Resistance, Time, Voltage, seconds};

/// A line that is kept awake is written to at most this often.
const SHORTEST_AWAKE: f64 = 0.1; // s

/// A meter's driver.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterDriver {
    /// What it is for, for people.
    pub describes: String,
    /// Settings of the line.
    pub line: LineSettings,
    /// How it gives its readings.
    pub talk: MeterTalk,
    /// What keeps the line of a meter that streams awake, if it falls asleep.
    pub awake: Option<Awake>,
    /// What it can do; a station may say better.
    pub ability: MeterAbility,
}

/// A line without effect, for an adapter that saves power while nothing is written to it.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Awake {
    /// The line, without its end mark; it may be empty.
    pub words: String,
    /// How often it is written: well within the time after which the adapter falls asleep.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub every: Time,
}

/// How a meter gives its readings.
#[derive(Debug, Clone, PartialEq)]
pub enum MeterTalk {
    /// It is asked for each, with these words.
    Asked(MeterWords),
    /// It sends them unasked, on the range that it was put on by hand.
    Streams(Stream),
}

/// As the file gives it: one of the three ways of talking.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::station) struct MeterFile {
    /// Always `meter`.
    #[serde(rename = "kind")]
    _kind: Kind,
    /// What it is for, for people.
    describes: String,
    /// Settings of the line.
    line: LineSettings,
    /// Words for each act, of a meter that is asked.
    words: Option<MeterWords>,
    /// Of a meter that streams text.
    text: Option<TextStream>,
    /// Of a meter that streams frames.
    frames: Option<FrameStream>,
    /// What keeps the line of a meter that streams awake, if it falls asleep.
    awake: Option<Awake>,
    /// What it can do; a station may say better.
    ability: MeterAbility,
}

#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
enum Kind {
    #[serde(rename = "meter")]
    Meter,
}

/// A meter's words. `{}` stands for a number in volts, amperes or power-line cycles.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
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
    /// How a reading is written, if not in SCPI-1999's way: `{,}` with a decimal comma.
    #[serde(default)]
    pub reading: Picture,
}

/// What a meter can do.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MeterAbility {
    /// Integration time in power-line cycles, for a meter that can be told.
    pub integration_cycles: Option<f64>,
    /// Time from one reading to the next.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub interval: Time,
    /// Readings to leave unused after a range change.
    pub settling_readings: u8,
    /// Input resistance on the voltage ranges.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
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
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CurrentRange {
    /// Largest current.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub full_scale: Current,
    /// Last digit.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub resolution: Current,
    /// Error: this fraction of the reading …
    pub fraction: f64,
    /// … plus this.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub fixed: Current,
    /// Resistance of the shunt.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub burden: Resistance,
}

/// A voltage range, for reading across a sense resistor.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct VoltageRange {
    /// Largest voltage.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub full_scale: Voltage,
    /// Last digit.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub resolution: Voltage,
    /// Error: this fraction of the reading …
    pub fraction: f64,
    /// … plus this.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub fixed: Voltage,
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

/// Reads and checks the text of a meter's driver.
///
/// # Errors
///
/// [`FileError`] with the place, what was expected and what came.
pub fn read_meter(file: &str, text: &str) -> Result<MeterDriver, FileError> {
    let MeterFile { describes, line, words, text, frames, awake, ability, .. } =
        file::parse(file, text)?;
    let talk = match (words, text, frames) {
        (Some(words), None, None) => asked(file, words, &ability)?,
        (None, Some(text), None) => MeterTalk::Streams(Stream::Text(text)),
        (None, None, Some(frames)) => MeterTalk::Streams(Stream::Frames(frames)),
        _ => return Err(wrong(file, "expected one of [words], [text] and [frames]".into())),
    };
    if let MeterTalk::Streams(stream) = &talk
        && let Some(what) = stream.fault(&ability)
    {
        return Err(wrong(file, what));
    }
    check_awake(file, awake.as_ref(), &talk)?;
    let driver = MeterDriver { describes, line, talk, awake, ability };
    driver.line.check(file)?;
    let scales: Vec<f64> =
        driver.ability.current_range.iter().map(|range| range.full_scale.value).collect();
    check_order(file, "current_range", &scales)?;
    let scales: Vec<f64> =
        driver.ability.voltage_range.iter().map(|range| range.full_scale.value).collect();
    check_order(file, "voltage_range", &scales)?;
    Ok(driver)
}

fn check_awake(file: &str, awake: Option<&Awake>, talk: &MeterTalk) -> Result<(), FileError> {
    let Some(awake) = awake else { return Ok(()) };
    if matches!(talk, MeterTalk::Asked(_)) {
        let what = "[awake] is for a meter that streams: one that is asked is written to anyway";
        return Err(wrong(file, what.into()));
    }
    if awake.every < seconds(SHORTEST_AWAKE) {
        let what = format!("awake.every: expected {SHORTEST_AWAKE} s or more");
        return Err(wrong(file, what));
    }
    Ok(())
}

fn asked(file: &str, words: MeterWords, ability: &MeterAbility) -> Result<MeterTalk, FileError> {
    let with_number = [
        ("select_current_range", &words.select_current_range),
        ("set_current_integration", &words.set_current_integration),
        ("select_voltage_range", &words.select_voltage_range),
        ("set_voltage_integration", &words.set_voltage_integration),
    ];
    check_numbers(file, &with_number)?;
    if ability.integration_cycles.is_none() {
        let what = "ability.integration_cycles: expected the cycles to set, got none";
        return Err(wrong(file, what.into()));
    }
    Ok(MeterTalk::Asked(words))
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
