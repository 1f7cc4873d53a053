//! Reads a TOML file strictly and says where it is wrong.

use std::path::{Path, PathBuf};
use std::{fs, io};

use serde::de::DeserializeOwned;

/// What is wrong in a station or driver file, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FileError {
    /// The file can't be read.
    #[error("{file}: {why}")]
    Unreadable {
        /// The file.
        file: String,
        /// The system's reason.
        why: String,
    },
    /// The text does not say what such a file must say.
    #[error("{file}:{line}:{column}: {what}")]
    Wrong {
        /// The file.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// Expected and found.
        what: String,
    },
    /// The file is well formed but its values don't go together.
    #[error("{file}: {what}")]
    Contradiction {
        /// The file.
        file: String,
        /// Expected and found.
        what: String,
    },
}

impl FileError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::Unreadable { .. } => "check the path and that you may read the file",
            Self::Wrong { .. } | Self::Contradiction { .. } => {
                "`reststrom station example` prints a commented station file"
            }
        }
    }
}

/// Reads the text of `path`.
///
/// # Errors
///
/// [`FileError::Unreadable`] names the file and the system's reason.
pub(super) fn text_of(path: &Path) -> Result<String, FileError> {
    fs::read_to_string(path).map_err(|error| FileError::Unreadable {
        file: path.display().to_string(),
        why: error.to_string(),
    })
}

/// The TOML files in a folder, in the order of their names; none where there is no folder.
///
/// # Errors
///
/// [`FileError::Unreadable`] names the folder and the system's reason.
pub(super) fn toml_files_in(folder: &Path) -> Result<Vec<PathBuf>, FileError> {
    let failed = |error: io::Error| FileError::Unreadable {
        file: folder.display().to_string(),
        why: error.to_string(),
    };
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(failed(error)),
    };
    let paths: io::Result<Vec<PathBuf>> =
        entries.map(|entry| entry.map(|entry| entry.path())).collect();
    let mut paths = paths.map_err(failed)?;
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
    paths.sort();
    Ok(paths)
}

/// This program's folder for configuration: XDG base directories.
#[must_use]
pub fn configuration_folder() -> Option<PathBuf> {
    let base = std::env::var_os("XDG_CONFIG_HOME")
        .map(PathBuf::from)
        .or_else(|| std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".config")))?;
    Some(base.join("reststrom"))
}

/// Reads `text`, which is that of `file`.
///
/// # Errors
///
/// [`FileError::Wrong`] with line and column; an unknown key is an error.
pub(super) fn parse<T: DeserializeOwned>(file: &str, text: &str) -> Result<T, FileError> {
    toml::from_str(text).map_err(|error| {
        let (line, column) = error.span().map_or((1, 1), |span| place(text, span.start));
        let what = error.message().replace('\n', " ");
        FileError::Wrong { file: file.to_owned(), line, column, what }
    })
}

/// Line and column, from 1, of a byte in a text.
fn place(text: &str, byte: usize) -> (usize, usize) {
    let before = &text[..byte.min(text.len())];
    let line = before.matches('\n').count() + 1;
    let start = before.rfind('\n').map_or(0, |newline| newline + 1);
    (line, before[start..].chars().count() + 1)
}

#[cfg(test)]
mod tests {
    use serde::Deserialize;

    use super::*;

    #[derive(Debug, Deserialize, PartialEq)]
    #[serde(deny_unknown_fields)]
    struct Sheet {
        #[serde(rename = "name")]
        _name: String,
    }

    #[test]
    fn an_unknown_key_is_named_with_its_place() {
        let error = parse::<Sheet>("bench.toml", "name = \"a\"\n  celing = 3\n").unwrap_err();
        insta::assert_snapshot!(error, @"bench.toml:2:3: unknown field `celing`, expected `name`");
    }

    #[test]
    fn a_missing_key_is_named() {
        let error = parse::<Sheet>("bench.toml", "").unwrap_err();
        insta::assert_snapshot!(error, @"bench.toml:1:1: missing field `name`");
    }

    #[test]
    fn a_missing_file_is_named() {
        let error = text_of(Path::new("no/such/file.toml")).unwrap_err();
        assert!(error.to_string().starts_with("no/such/file.toml: "), "{error}");
    }
}
