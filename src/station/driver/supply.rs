//! A supply's driver: its words and what it can do.

use std::path::Path;

use schemars::JsonSchema;
use serde::Deserialize;

use super::super::file::{self, FileError};
use super::super::picture::Picture;
use super::super::written::{Written, written};
use super::{LineSettings, SupplyReplies, text_of, wrong};
use crate::quantity::{Current, Voltage};

/// A supply's driver.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyDriver {
    /// Always `supply`.
    kind: Kind,
    /// What it is for, for people.
    pub describes: String,
    /// Settings of the line.
    pub line: LineSettings,
    /// Words for each act.
    pub words: SupplyWords,
    /// Forms of its replies.
    #[serde(default)]
    pub replies: SupplyReplies,
    /// What it can do; a station may say better.
    pub ability: SupplyAbility,
}

#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
enum Kind {
    #[serde(rename = "supply")]
    Supply,
}

/// A supply's words; a [`Picture`] holds a number in volts or amperes.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyWords {
    /// Asks who is there.
    pub identity: String,
    /// Asks for the next entry of the error queue.
    pub next_error: Option<String>,
    /// Sets the voltage.
    pub set_voltage: Picture,
    /// Asks for the voltage that is set.
    pub ask_set_voltage: String,
    /// Sets the current limit.
    pub set_current_limit: Picture,
    /// Asks for the current limit.
    pub ask_current_limit: String,
    /// Sets the over-voltage protection.
    pub set_over_voltage: Picture,
    /// Asks for the over-voltage protection.
    pub ask_over_voltage: String,
    /// Sets the over-current protection.
    pub set_over_current: Picture,
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
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyAbility {
    /// Highest voltage.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub most_voltage: Voltage,
    /// Highest current limit.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub most_current: Current,
    /// Step of the voltage setting.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub voltage_step: Voltage,
    /// Step of the current-limit setting.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub current_step: Current,
    /// Error of the measured voltage: this fraction of it …
    pub read_back_fraction: f64,
    /// … plus this.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub read_back_fixed: Voltage,
    /// Where it measures.
    pub senses: Senses,
}

/// Where a supply measures its voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Senses {
    /// Behind the output relay.
    AtTerminals,
    /// Before the output relay.
    BeforeRelay,
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

/// Reads and checks the text of a supply's driver.
///
/// # Errors
///
/// [`FileError`] with the place, what was expected and what came.
pub fn read_supply(file: &str, text: &str) -> Result<SupplyDriver, FileError> {
    let driver: SupplyDriver = file::parse(file, text)?;
    let fault = too_narrow(&driver).or_else(|| driver.replies.fault());
    if let Some(what) = fault {
        return Err(wrong(file, what));
    }
    driver.line.check(file)?;
    Ok(driver)
}

/// The protections go beyond the most that can be set (handbook §4.2: 1.05 of it and 0.5 V); the
/// words must have room for that.
fn too_narrow(driver: &SupplyDriver) -> Option<String> {
    let (words, ability) = (&driver.words, &driver.ability);
    let (volt, ampere) = (ability.most_voltage.value, ability.most_current.value);
    let numbers = [
        ("set_voltage", &words.set_voltage, volt),
        ("set_current_limit", &words.set_current_limit, ampere),
        ("set_over_voltage", &words.set_over_voltage, volt * 1.05 + 0.5),
        ("set_over_current", &words.set_over_current, ampere),
    ];
    let narrow = numbers.iter().find(|(_, picture, most)| !picture.holds(*most));
    narrow.map(|(key, _, most)| format!("words.{key}: has no room for {most}"))
}
