//! Driver files: an instrument as data.
//!
//! A driver names the line settings, the words for each act, the instrument's ranges with their
//! errors, and its limits. A new instrument is a new file in `drivers/`, never new code.

mod known;
mod line;
mod meter;
mod replies;
mod scanner;
mod stream;
mod supply;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

pub use known::Driver;
pub use line::{Flow, LineChange, LineSettings, Parity};
pub(super) use meter::MeterFile;
pub use meter::{
    Awake, CurrentRange, MeterAbility, MeterDriver, MeterTalk, MeterWords, VoltageRange, meter,
    read_meter,
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

/// A driver by name: who wrote it, and its text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Its name in a station file.
    pub name: String,
    /// The user's file, none for one that comes with the program.
    pub path: Option<PathBuf>,
    /// The text of its file.
    pub text: String,
}

impl Found {
    /// The file that an error names.
    #[must_use]
    pub fn file(&self) -> String {
        self.path
            .as_ref()
            .map_or_else(|| format!("{}.toml", self.name), |path| path.display().to_string())
    }
}

/// The user's own drivers: `drivers` in the XDG configuration folder of this program.
#[must_use]
pub fn user_folder() -> Option<PathBuf> {
    file::configuration_folder().map(|folder| folder.join("drivers"))
}

/// Every driver that a station file can name: the user's in `folder` and the shipped ones that none
/// of those shadows, in the order of their names.
///
/// # Errors
///
/// [`FileError`] if a file of the folder can't be read; a folder that is not there is empty.
pub fn all(folder: Option<&Path>) -> Result<Vec<Found>, FileError> {
    let mut found = BTreeMap::new();
    for (name, text) in SHIPPED {
        let shipped = Found { name: (*name).into(), path: None, text: (*text).into() };
        found.insert(shipped.name.clone(), shipped);
    }
    for path in folder.map(file::toml_files_in).transpose()?.unwrap_or_default() {
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let text = file::text_of(&path)?;
        found.insert(name.clone(), Found { name, path: Some(path), text });
    }
    Ok(found.into_values().collect())
}

/// Where a driver's text comes from: the user's folder, shipped, or a file beside the station's.
fn text_of(name: &str, beside: &Path) -> Result<(String, String), FileError> {
    text_from(user_folder().as_deref(), name, beside)
}

fn text_from(
    folder: Option<&Path>,
    name: &str,
    beside: &Path,
) -> Result<(String, String), FileError> {
    let is_file = Path::new(name).extension().is_some_and(|ending| ending == "toml");
    if is_file {
        let path = beside.parent().unwrap_or(Path::new("")).join(name);
        return Ok((path.display().to_string(), file::text_of(&path)?));
    }
    let all = all(folder)?;
    if let Some(found) = all.iter().find(|found| found.name == name) {
        return Ok((found.file(), found.text.clone()));
    }
    let known: Vec<&str> = all.iter().map(|found| found.name.as_str()).collect();
    let what = format!(
        "no driver \"{name}\": expected one of {} or the path of a .toml file",
        known.join(", ")
    );
    Err(FileError::Contradiction { file: beside.display().to_string(), what })
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
            message.contains("no driver \"scpi-suply\": expected one of echoing-supply, "),
            "{message}"
        );
    }

    #[test]
    fn a_driver_of_the_user_s_stands_in_front_of_a_shipped_one() {
        let folder = tempfile::tempdir().unwrap();
        let mine = SHIPPED[0].1.replace("OUTP?", "OUTP:STAT?");
        let path = folder.path().join("scpi-supply.toml");
        std::fs::write(&path, &mine).unwrap();
        std::fs::write(folder.path().join("notes.txt"), "no driver").unwrap();
        let beside = Path::new("bench.toml");
        let found = text_from(Some(folder.path()), "scpi-supply", beside).unwrap();
        assert_eq!(found, (path.display().to_string(), mine));
        assert_eq!(text_from(None, "scpi-supply", beside).unwrap().1, SHIPPED[0].1);
        assert_eq!(all(Some(folder.path())).unwrap().len(), SHIPPED.len());
        std::fs::rename(&path, folder.path().join("attic.toml")).unwrap();
        assert!(text_from(Some(folder.path()), "attic", beside).is_ok());
        assert_eq!(all(Some(folder.path())).unwrap().len(), SHIPPED.len() + 1);
    }
}
