//! A scanner's driver: its words and what its relays bear.

use std::path::Path;

use schemars::JsonSchema;
use serde::Deserialize;

use super::super::file::{self, FileError};
use super::super::written::{Written, written};
use super::{LineSettings, check_numbers, text_of};
use crate::quantity::{Current, Time, Voltage};

/// A scanner's driver.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScannerDriver {
    /// Always `scanner`.
    kind: Kind,
    /// What it is for, for people.
    pub describes: String,
    /// Settings of the line.
    pub line: LineSettings,
    /// Words for each act.
    pub words: ScannerWords,
    /// What it can do; a station may say better.
    pub ability: ScannerAbility,
}

#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
enum Kind {
    #[serde(rename = "scanner")]
    Scanner,
}

/// A scanner's words. `{}` stands for a channel number, or several with commas between.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScannerWords {
    /// Asks who is there.
    pub identity: String,
    /// Asks for the next entry of the error queue.
    pub next_error: Option<String>,
    /// Closes the relay of a channel.
    pub close: String,
    /// Opens the relay of a channel.
    pub open: String,
    /// Opens every relay.
    pub open_all: String,
    /// Asks of one or more channels whether they are closed: 0 or 1 for each, commas between.
    pub ask_closed: String,
}

/// What a scanner can do.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScannerAbility {
    /// Time from an order to a relay until its contact is steady.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub settle: Time,
    /// Channels in one question at most.
    pub channels_at_once: u8,
    /// Highest voltage across a contact.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub most_voltage: Voltage,
    /// Highest current through a contact.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub most_current: Current,
}

/// The scanner's driver called `name` in the station file `station`.
///
/// # Errors
///
/// [`FileError`] if there is none, or if its file is wrong.
pub fn scanner(name: &str, station: &Path) -> Result<ScannerDriver, FileError> {
    let (file, text) = text_of(name, station)?;
    read_scanner(&file, &text)
}

/// Reads and checks the text of a scanner's driver.
///
/// # Errors
///
/// [`FileError`] with the place, what was expected and what came.
pub fn read_scanner(file: &str, text: &str) -> Result<ScannerDriver, FileError> {
    let driver: ScannerDriver = file::parse(file, text)?;
    let words = &driver.words;
    let with_channel =
        [("close", &words.close), ("open", &words.open), ("ask_closed", &words.ask_closed)];
    check_numbers(file, &with_channel)?;
    driver.line.check(file)?;
    check_ability(&driver.ability).map_err(|what| super::wrong(file, what))?;
    Ok(driver)
}

/// A station may give abilities of its own: they are checked alike.
pub(in super::super) fn check_ability(ability: &ScannerAbility) -> Result<(), String> {
    if ability.channels_at_once == 0 {
        return Err("ability.channels_at_once: expected 1 or more, got 0".into());
    }
    if ability.settle.value < 0.0 {
        return Err("ability.settle: expected 0 s or more".into());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::station::driver::shipped;

    #[rstest]
    #[case::no_place_for_the_channel(
        "(@{})\"",
        "(@101)\"",
        "words.close: expected one {} for the number"
    )]
    #[case::no_channel_at_once("at_once = 16", "at_once = 0", "expected 1 or more, got 0")]
    #[case::no_word_to_ask_by("ask_closed = \"ROUT:CLOS? (@{})\"", "", "`ask_closed`")]
    fn a_driver_that_could_prove_nothing_is_refused(
        #[case] from: &str,
        #[case] to: &str,
        #[case] message: &str,
    ) {
        let text = shipped("scpi-switch").unwrap().replacen(from, to, 1);
        let error = read_scanner("my.toml", &text).unwrap_err().to_string();
        assert!(error.contains(message), "{error}");
    }
}
