//! The token file: who may look, who may act.

use std::path::{Path, PathBuf};

/// The shortest token that is taken.
const SHORTEST_TOKEN: usize = 16;

/// A right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Right {
    /// Look at everything, and cut out.
    Read,
    /// Start runs as well.
    Act,
}

/// The tokens of a token file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tokens(Vec<(Right, String)>);

/// Why a token file can't be used.
#[derive(Debug, thiserror::Error)]
pub enum TokensError {
    /// It can't be read.
    #[error("{}: {source}", path.display())]
    Unread {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Others may read it.
    #[error("{}: others may read it (mode {mode:o}), expected 600", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Its mode.
        mode: u32,
    },
    /// A line says something else.
    #[error("{}:{line}: expected `read TOKEN` or `act TOKEN`", path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// Number of the line.
        line: usize,
    },
    /// A token could be guessed.
    #[error("{}:{line}: the token is shorter than {SHORTEST_TOKEN} characters", path.display())]
    Short {
        /// The file.
        path: PathBuf,
        /// Number of the line.
        line: usize,
    },
    /// There is none.
    #[error("{}: no token in it", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
}

impl TokensError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::Unread { .. } => "name a file with lines `read TOKEN` and `act TOKEN`",
            Self::Open { .. } => "chmod 600 it, and choose new tokens if somebody may have read it",
            Self::Line { .. } | Self::Empty { .. } => {
                "write a line for each token: `read` lets look and cut out, `act` lets start as well"
            }
            Self::Short { .. } => "make one with `head -c 24 /dev/urandom | base64`",
        }
    }
}

impl Tokens {
    /// Reads a token file, which nobody else may read.
    ///
    /// # Errors
    ///
    /// [`TokensError`] with file, line and what was expected.
    pub fn load(path: &Path) -> Result<Self, TokensError> {
        use std::os::unix::fs::PermissionsExt;
        let unread = |source| TokensError::Unread { path: path.to_owned(), source };
        let mode = std::fs::metadata(path).map_err(unread)?.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            return Err(TokensError::Open { path: path.to_owned(), mode });
        }
        Self::read(path, &std::fs::read_to_string(path).map_err(unread)?)
    }

    pub(super) fn read(path: &Path, text: &str) -> Result<Self, TokensError> {
        let mut tokens = Vec::new();
        for (number, line) in (1..).zip(text.lines()) {
            let line = line.trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (right, token) = match line.split_once(char::is_whitespace) {
                Some(("read", token)) => (Right::Read, token.trim()),
                Some(("act", token)) => (Right::Act, token.trim()),
                _ => return Err(TokensError::Line { path: path.to_owned(), line: number }),
            };
            if token.len() < SHORTEST_TOKEN {
                return Err(TokensError::Short { path: path.to_owned(), line: number });
            }
            tokens.push((right, token.to_owned()));
        }
        if tokens.is_empty() {
            return Err(TokensError::Empty { path: path.to_owned() });
        }
        Ok(Self(tokens))
    }

    /// The highest right of a token. Each one is looked at whole, so that time tells nothing.
    pub(super) fn right(&self, token: &str) -> Option<Right> {
        self.0.iter().filter(|(_, known)| is_same(known, token)).map(|(right, _)| *right).max()
    }
}

fn is_same(known: &str, token: &str) -> bool {
    let differences = known.bytes().zip(token.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b));
    known.len() == token.len() && differences == 0
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::a_word("watch 0123456789abcdef", "tokens:1: expected `read TOKEN` or `act TOKEN`")]
    #[case::short("\nact 0123", "tokens:2: the token is shorter than 16 characters")]
    #[case::nothing("# none\n", "tokens: no token in it")]
    fn a_token_file_that_says_something_else_is_refused(#[case] text: &str, #[case] says: &str) {
        let error = Tokens::read(Path::new("tokens"), text).unwrap_err();
        assert_eq!(error.to_string(), says);
    }

    #[test]
    fn a_token_file_that_others_may_read_is_refused() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tokens");
        std::fs::write(&path, "act 0123456789abcdef\n").unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
        assert!(matches!(Tokens::load(&path), Err(TokensError::Open { mode: 0o640, .. })));
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        assert!(Tokens::load(&path).is_ok());
    }
}
