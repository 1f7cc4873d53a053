//! The scanner in a station file: which channel leads to which clip.

use std::collections::BTreeMap;
use std::path::Path;

use schemars::JsonSchema;
use serde::Deserialize;

use super::super::driver::{self, LineChange, ScannerAbility, ScannerDriver};
use super::super::file::FileError;
use super::super::scanner::Channel;
use super::{Port, Wired};
use crate::plan::Bench;
use crate::quantity::text;

/// A scanner, its port and its channels by name.
#[derive(Debug, Clone, PartialEq)]
pub struct WiredScanner {
    /// The scanner and its port.
    pub wired: Wired<ScannerDriver>,
    /// Names of clips and their channels.
    pub channels: BTreeMap<String, Channel>,
}

impl WiredScanner {
    /// The channel of a clip, by its name or its number.
    #[must_use]
    pub fn channel(&self, clip: &str) -> Option<Channel> {
        let by_number = || {
            let digits = !clip.is_empty() && clip.bytes().all(|byte| byte.is_ascii_digit());
            let channel = Channel::numbered(clip.parse().ok().filter(|_| digits)?);
            self.channels.values().any(|known| *known == channel).then_some(channel)
        };
        self.channels.get(clip).copied().or_else(by_number)
    }

    /// The name of the clip on a channel.
    #[must_use]
    pub fn clip(&self, channel: Channel) -> Option<&str> {
        self.channels.iter().find(|(_, known)| **known == channel).map(|(name, _)| name.as_str())
    }
}

/// As the station file gives it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ScannerTable {
    /// A driver by name, or a .toml file beside the station file.
    driver: String,
    /// A serial device, `tcp:host:port` or `usbtmc:device`.
    port: String,
    /// Beginning of the identity that must answer.
    identity: Option<String>,
    /// Names of the clips, and the channel that leads to each.
    channels: BTreeMap<String, u32>,
    /// Where this unit's line differs from its driver's.
    line: Option<LineChange>,
    /// What this very unit can do, in place of its driver's.
    ability: Option<ScannerAbility>,
}

impl ScannerTable {
    /// The scanner, once its channels and contacts are known to do for `bench`.
    pub(super) fn wired(self, station: &Path, bench: &Bench) -> Result<WiredScanner, FileError> {
        let mut driver = driver::scanner(&self.driver, station)?;
        if let Some(ability) = self.ability {
            driver.ability = ability;
        }
        if let Some(change) = &self.line {
            let place = format!("{}: scanner", station.display());
            driver.line = driver.line.changed(change, &place)?;
        }
        let wrong = |what| FileError::Contradiction { file: station.display().to_string(), what };
        driver::check_scanner(&driver.ability).map_err(wrong)?;
        bears(&driver.ability, bench).map_err(wrong)?;
        let channels = channels(&self.channels).map_err(wrong)?;
        let port = Port::read(&self.port);
        Ok(WiredScanner { wired: Wired { driver, port, identity: self.identity }, channels })
    }
}

/// A contact must bear all that the bench may put across it.
fn bears(ability: &ScannerAbility, bench: &Bench) -> Result<(), String> {
    if ability.most_voltage < bench.ceiling {
        return Err(format!(
            "scanner: its contacts bear {}, less than the ceiling of {}",
            text::voltage(ability.most_voltage),
            text::voltage(bench.ceiling)
        ));
    }
    Ok(())
}

fn channels(given: &BTreeMap<String, u32>) -> Result<BTreeMap<String, Channel>, String> {
    if given.is_empty() {
        return Err("scanner.channels: expected at least one, such as C1 = 101".into());
    }
    let mut names: BTreeMap<u32, &str> = BTreeMap::new();
    for (name, number) in given {
        if let Some(other) = names.insert(*number, name) {
            return Err(format!("scanner.channels: {other} and {name} are both on {number}"));
        }
    }
    Ok(given.iter().map(|(name, number)| (name.clone(), Channel::numbered(*number))).collect())
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::{EXAMPLE, Station, read};
    use super::*;

    const SCANNER: &str = "[scanner]\ndriver = \"scpi-switch\"\nport = \"tcp:10.0.0.9:5025\"\n\
                           channels = { C1 = 101, C2 = 102 }\n";

    fn with(scanner: &str) -> Result<Station, FileError> {
        read(Path::new("bench.toml"), &format!("{EXAMPLE}\n{scanner}"))
    }

    #[test]
    fn a_clip_is_found_by_name_or_number_and_no_other_is() {
        let scanner = with(SCANNER).unwrap().scanner.unwrap();
        let channel = Some(Channel::numbered(102));
        assert_eq!((scanner.channel("C2"), scanner.channel("102")), (channel, channel));
        for unknown in ["C3", "103", "", "+101", "10 1"] {
            assert_eq!(scanner.channel(unknown), None, "{unknown}");
        }
        assert_eq!(scanner.clip(Channel::numbered(101)), Some("C1"));
    }

    #[rstest]
    #[case::two_clips_on_one_channel("C2 = 102", "C2 = 101", "C1 and C2 are both on 101")]
    #[case::no_channel("C1 = 101, C2 = 102", "", "expected at least one, such as C1 = 101")]
    #[case::no_number("101", "\"101\"", "invalid type: string")]
    #[case::weak_contacts(
        "channels =",
        "ability = { settle = \"20 ms\", channels_at_once = 8, most_voltage = \"30 V\", \
         most_current = \"1 A\" }\nchannels =",
        "its contacts bear 30 V, less than the ceiling of 60 V"
    )]
    fn a_scanner_that_cannot_be_is_refused(
        #[case] from: &str,
        #[case] to: &str,
        #[case] message: &str,
    ) {
        let error = with(&SCANNER.replacen(from, to, 1)).unwrap_err().to_string();
        assert!(error.starts_with("bench.toml") && error.contains(message), "{error}");
    }
}
