//! Where the record lives when nobody says where.

use std::env;
use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};

use super::RecordError;

/// The record file of this user, after the environment of this process.
///
/// # Errors
///
/// [`RecordError::NoHome`] when neither `XDG_DATA_HOME` nor `HOME` names a folder.
pub fn default_path() -> Result<PathBuf, RecordError> {
    let value = |name| env::var_os(name);
    path_after(value("XDG_DATA_HOME"), value("HOME"))
}

/// The record file for these values of `XDG_DATA_HOME` and `HOME`: the XDG base directory
/// specification lets a relative or empty `XDG_DATA_HOME` count as none.
///
/// # Errors
///
/// [`RecordError::NoHome`] when neither value is an absolute path.
pub fn path_after(
    data_home: Option<OsString>,
    home: Option<OsString>,
) -> Result<PathBuf, RecordError> {
    let absolute = |value: Option<OsString>| value.map(PathBuf::from).filter(|p| p.is_absolute());
    let data = absolute(data_home)
        .or_else(|| absolute(home).map(|home| home.join(".local").join("share")))
        .ok_or(RecordError::NoHome)?;
    Ok(data.join("reststrom").join("record.db"))
}

/// The file that SQLite keeps beside `path` under this suffix.
pub(super) fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(OsStr::new(suffix));
    PathBuf::from(name)
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::data_home_first(Some("/data"), Some("/home/bench"), "/data/reststrom/record.db")]
    #[case::home_else(None, Some("/home/b"), "/home/b/.local/share/reststrom/record.db")]
    #[case::empty_counts_as_none(Some(""), Some("/h"), "/h/.local/share/reststrom/record.db")]
    #[case::relative_counts_as_none(
        Some("data"),
        Some("/h"),
        "/h/.local/share/reststrom/record.db"
    )]
    #[case::no_home_needed(Some("/data"), None, "/data/reststrom/record.db")]
    fn the_record_lives_in_the_data_folder_of_its_user(
        #[case] data_home: Option<&str>,
        #[case] home: Option<&str>,
        #[case] expected: &str,
    ) {
        let path = path_after(data_home.map(OsString::from), home.map(OsString::from));
        assert_eq!(path.unwrap(), Path::new(expected));
    }

    #[test]
    fn without_any_home_the_user_is_told_what_to_set() {
        let error = path_after(None, None).unwrap_err();
        insta::assert_snapshot!(error.to_string(), @"no folder for the record: neither XDG_DATA_HOME nor HOME is an absolute path");
        insta::assert_snapshot!(error.help(), @"set XDG_DATA_HOME to the folder that shall keep the record");
        let relative = path_after(None, Some(OsString::from("bench"))).unwrap_err();
        assert!(matches!(relative, RecordError::NoHome));
    }
}
