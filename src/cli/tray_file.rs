//! A tray's file from the disk: read, checked whole, refused with all of its faults.

use std::path::Path;

use super::failure::Failure;
use crate::tray::{Form, Position, Slot, Tray, read};

/// A tray and the text that it came from.
#[derive(Debug)]
pub(crate) struct TrayFile {
    /// The parts.
    pub(crate) tray: Tray,
    /// Name of the file.
    pub(crate) name: String,
    /// Text of the file, whole.
    pub(crate) text: String,
}

impl TrayFile {
    /// Reads a file: TOML by its name's ending, else CSV.
    pub(crate) fn load(path: &Path) -> Result<Self, Failure> {
        let place = path.display();
        let bytes = std::fs::read(path).map_err(|error| {
            Failure::usage(format!("{place}: {error}"), "name a file that can be read")
        })?;
        let text = String::from_utf8(bytes).map_err(|error| {
            let read = error.utf8_error().valid_up_to();
            let line = String::from_utf8_lossy(&error.as_bytes()[..read]).matches('\n').count() + 1;
            Failure::usage(
                format!("{place}, line {line}: expected text in UTF-8, came another encoding"),
                "save it as UTF-8; spreadsheets ask for the character set when they export",
            )
        })?;
        let is_toml = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml"));
        let form = if is_toml { Form::Toml } else { Form::Csv };
        let tray = read(&text, form).map_err(|faults| {
            let said = |fault: &crate::tray::Fault| (format!("{place}, {fault}"), fault.help());
            Failure::all(faults.iter().map(said).collect())
        })?;
        Ok(Self { tray, name: place.to_string(), text })
    }

    /// The name of a slot's position.
    pub(crate) fn position(&self, slot: Slot) -> &str {
        self.tray.part(slot).map_or("?", |part| Position::as_str(&part.position))
    }

    /// The positions of slots, a run of them as `3-7`; `all` where it is all of them.
    pub(crate) fn positions(&self, slots: &[Slot]) -> String {
        if slots.len() == self.tray.parts().len() {
            return "all".to_owned();
        }
        let mut runs: Vec<(Slot, Slot)> = Vec::new();
        for slot in slots {
            match runs.last_mut() {
                Some((_, last)) if last.0 + 1 == slot.0 => *last = *slot,
                _ => runs.push((*slot, *slot)),
            }
        }
        let run = |(first, last): &(Slot, Slot)| match last.0 - first.0 {
            0 => self.position(*first).to_owned(),
            1 => format!("{}, {}", self.position(*first), self.position(*last)),
            _ => format!("{}–{}", self.position(*first), self.position(*last)),
        };
        runs.iter().map(run).collect::<Vec<_>>().join(", ")
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    fn file(parts: usize) -> TrayFile {
        let text = format!("family;value;rating\n{}", "tantalum;10u;35V\n".repeat(parts));
        TrayFile { tray: read(&text, Form::Csv).unwrap(), name: "tray.csv".into(), text }
    }

    #[rstest]
    #[case::one(&[4], "5")]
    #[case::neighbours(&[0, 1], "1, 2")]
    #[case::a_run_and_one(&[0, 1, 2, 3, 6], "1–4, 7")]
    #[case::all_of_them(&[0, 1, 2, 3, 4, 5, 6, 7], "all")]
    fn positions_are_told_by_runs(#[case] slots: &[usize], #[case] told: &str) {
        let slots: Vec<Slot> = slots.iter().copied().map(Slot).collect();
        assert_eq!(file(8).positions(&slots), told);
    }

    #[test]
    fn another_encoding_is_refused_with_its_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tray.csv");
        std::fs::write(&path, b"family;value;rating\ntantalum;22 \xb5F;25 V\n").unwrap();
        let said = TrayFile::load(&path).unwrap_err().text();
        assert!(said.contains("line 2: expected text in UTF-8, came another encoding"), "{said}");
    }

    #[test]
    fn a_fault_names_its_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tray.toml");
        std::fs::write(&path, "[[part]]\nvalue = 1.5\n").unwrap();
        let said = TrayFile::load(&path).unwrap_err().text();
        assert!(said.contains("tray.toml, line 2, column 1 (value): expected text"), "{said}");
        assert!(
            said.contains("tray.toml, line 1, column 1 (family): expected something"),
            "{said}"
        );
    }
}
