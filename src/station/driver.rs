//! Driver files: an instrument as data.
//!
//! A driver names the line settings, the words for each act, the instrument's ranges with their
//! errors, and its limits. A new instrument is a new file in `drivers/`, never new code.

mod line;
mod meter;
mod replies;
mod scanner;
mod stream;
mod supply;

use std::path::Path;

pub use line::{Flow, LineSettings, Parity};
pub use meter::{
    CurrentRange, MeterAbility, MeterDriver, MeterTalk, MeterWords, VoltageRange, meter, read_meter,
};
pub use replies::{IdentityForm, NumberForm, OutputForm, SupplyReplies};
pub(super) use scanner::check_ability as check_scanner;
pub use scanner::{ScannerAbility, ScannerDriver, ScannerWords, read_scanner, scanner};
pub use stream::{
    Amount, Bits, Check, Digits, Field, FrameRange, FrameStream, Stream, TextRange, TextStream,
};
pub use supply::{Senses, SupplyAbility, SupplyDriver, SupplyWords, read_supply, supply};

use super::file::{self, FileError};

/// The drivers that come with the program: name and text.
pub const SHIPPED: &[(&str, &str)] = &[
    ("scpi-supply", include_str!("../../drivers/scpi-supply.toml")),
    ("scpi-meter", include_str!("../../drivers/scpi-meter.toml")),
    ("text-stream-meter", include_str!("../../drivers/text-stream-meter.toml")),
    ("frame-stream-meter", include_str!("../../drivers/frame-stream-meter.toml")),
    ("terse-supply", include_str!("../../drivers/terse-supply.toml")),
    ("echoing-supply", include_str!("../../drivers/echoing-supply.toml")),
    ("scpi-switch", include_str!("../../drivers/scpi-switch.toml")),
];

/// The text of a shipped driver.
#[must_use]
pub fn shipped(name: &str) -> Option<&'static str> {
    SHIPPED.iter().find(|(shipped, _)| *shipped == name).map(|(_, text)| *text)
}

/// Where a driver's text comes from: shipped, or a file beside the station's.
fn text_of(name: &str, beside: &Path) -> Result<(String, String), FileError> {
    if let Some(text) = shipped(name) {
        return Ok((format!("{name}.toml"), text.to_owned()));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_driver_loads() {
        for (name, text) in SHIPPED {
            let loaded = read_supply(name, text)
                .map(|_| ())
                .or(read_meter(name, text).map(|_| ()))
                .or(read_scanner(name, text).map(|_| ()));
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
            @r#"my.toml:21:15: expected one number such as {}, {00.00} or {+00_00} in "VOLT""#
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
