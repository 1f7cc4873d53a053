//! A driver of any kind: for lists, and to find out which one fits an instrument.

use serde::Deserialize;

use super::super::file::{self, FileError};
use super::{
    Found, MeterDriver, MeterTalk, ScannerDriver, Senses, Stream, SupplyDriver, read_meter,
    read_scanner, read_supply, wrong,
};
use crate::quantity::text;

/// A driver of any kind.
#[derive(Debug, Clone, PartialEq)]
pub enum Driver {
    /// Of a supply.
    Supply(Box<SupplyDriver>),
    /// Of a meter.
    Meter(Box<MeterDriver>),
    /// Of a scanner.
    Scanner(Box<ScannerDriver>),
}

/// What every driver file says of itself.
#[derive(Debug, Deserialize)]
struct OfAKind {
    kind: String,
}

impl Driver {
    /// Reads and checks a driver of whatever kind it says that it is.
    ///
    /// # Errors
    ///
    /// [`FileError`] with the place, what was expected and what came.
    pub fn read(found: &Found) -> Result<Self, FileError> {
        let (file, text) = (found.file(), found.text.as_str());
        let OfAKind { kind } = file::parse(&file, text)?;
        match kind.as_str() {
            "supply" => Ok(Self::Supply(Box::new(read_supply(&file, text)?))),
            "meter" => Ok(Self::Meter(Box::new(read_meter(&file, text)?))),
            "scanner" => Ok(Self::Scanner(Box::new(read_scanner(&file, text)?))),
            other => {
                let what = format!("kind: expected supply, meter or scanner, got \"{other}\"");
                Err(wrong(&file, what))
            }
        }
    }

    /// Its kind, as its file and the station file have it.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Supply(_) => "supply",
            Self::Meter(_) => "meter",
            Self::Scanner(_) => "scanner",
        }
    }

    /// What it is for.
    #[must_use]
    pub fn describes(&self) -> &str {
        match self {
            Self::Supply(driver) => &driver.describes,
            Self::Meter(driver) => &driver.describes,
            Self::Scanner(driver) => &driver.describes,
        }
    }

    /// What such an instrument can do, in words.
    #[must_use]
    pub fn can(&self) -> String {
        match self {
            Self::Supply(driver) => supply_can(driver),
            Self::Meter(driver) => meter_can(driver),
            Self::Scanner(driver) => {
                let ability = &driver.ability;
                let (volt, ampere) = (ability.most_voltage, ability.most_current);
                format!("contacts for {}, {}", text::voltage(volt), text::current(ampere))
            }
        }
    }
}

fn supply_can(driver: &SupplyDriver) -> String {
    let ability = &driver.ability;
    let sees = match ability.senses {
        Senses::AtTerminals => "reads its terminals with the output off",
        Senses::BeforeRelay => "reads nothing of the part with the output off",
    };
    let (volt, ampere) = (text::voltage(ability.most_voltage), text::current(ability.most_current));
    let (step, fine) = (text::voltage(ability.voltage_step), text::current(ability.current_step));
    format!("to {volt} in {step}, {ampere} in {fine}; {sees}")
}

fn meter_can(driver: &MeterDriver) -> String {
    let talk = match &driver.talk {
        MeterTalk::Asked(_) => "takes its range",
        MeterTalk::Streams(Stream::Text(_)) => "streams text on one range set by hand",
        MeterTalk::Streams(Stream::Frames(_)) => "streams frames on one range set by hand",
    };
    let ability = &driver.ability;
    let currents =
        ability.current_range.first().zip(ability.current_range.last()).map(|(finest, widest)| {
            format!("{} to {}", text::current(finest.full_scale), text::current(widest.full_scale))
        });
    let volts =
        ability.voltage_range.first().zip(ability.voltage_range.last()).map(|(finest, widest)| {
            format!("{} to {}", text::voltage(finest.full_scale), text::voltage(widest.full_scale))
        });
    let ranges: Vec<String> = [currents, volts].into_iter().flatten().collect();
    format!("{}; {talk}", ranges.join(", "))
}

#[cfg(test)]
mod tests {
    use super::super::all;
    use super::*;

    #[test]
    fn every_shipped_driver_says_what_it_can_do() {
        for found in all(None).unwrap() {
            let driver = Driver::read(&found).unwrap();
            assert!(found.name.ends_with(if driver.kind() == "scanner" {
                "switch"
            } else {
                driver.kind()
            }));
            assert!(!driver.describes().is_empty() && driver.can().len() > 15, "{driver:?}");
        }
    }

    #[test]
    fn a_driver_of_no_known_kind_is_refused() {
        let found = Found { name: "attic".into(), path: None, text: "kind = \"lamp\"\n".into() };
        insta::assert_snapshot!(Driver::read(&found).unwrap_err(), @r#"attic.toml: kind: expected supply, meter or scanner, got "lamp""#);
    }
}
