//! One owner for each port: a lock file in the user's runtime folder.

use std::fs::{File, OpenOptions};
use std::io;
use std::path::PathBuf;
use std::time::Duration;

use rustix::fs::{FlockOperation, flock};

use super::error::{LinkError, explain};

/// A lock that another holder is about to let go of is tried again: so many times …
const LOCK_TRIES: u8 = 6;
/// … after this pause each.
const LOCK_PAUSE: Duration = Duration::from_millis(50);

/// The lock of a port, which may outlast its line.
#[derive(Debug)]
pub struct Lock {
    file: File,
    real: String,
}

impl Lock {
    /// Another handle of the same lock.
    pub(super) fn duplicate(&self) -> io::Result<Self> {
        Ok(Self { file: self.file.try_clone()?, real: self.real.clone() })
    }

    /// The handle to hand on.
    pub(super) fn file(&self) -> &File {
        &self.file
    }

    /// The lock of a port that may be the one this is the lock of already.
    pub(super) async fn for_port(&self, port: &str) -> Result<Self, LinkError> {
        if self.real == real_name(port) {
            return self.duplicate().map_err(|error| explain(port, error));
        }
        own(port).await
    }
}

/// A device's own name, whatever names lead to it.
fn real_name(port: &str) -> String {
    std::fs::canonicalize(port).map_or(port.to_owned(), |path| path.display().to_string())
}

/// Takes the lock of a port. A device goes by its real name, however the station file calls it.
pub(super) async fn own(port: &str) -> Result<Lock, LinkError> {
    let real = real_name(port);
    let file = lock_file(&real).map_err(|error| explain(port, error))?;
    for _ in 0..LOCK_TRIES {
        match flock(&file, FlockOperation::NonBlockingLockExclusive) {
            Ok(()) => return Ok(Lock { file, real }),
            Err(rustix::io::Errno::WOULDBLOCK) => tokio::time::sleep(LOCK_PAUSE).await,
            Err(error) => {
                return Err(LinkError::Unusable { port: port.to_owned(), source: error.into() });
            }
        }
    }
    Err(LinkError::Owned { port: port.to_owned() })
}

/// Folder for locks and sockets of this user.
///
/// # Errors
///
/// The system's, if it can't be made.
pub fn runtime_folder() -> io::Result<PathBuf> {
    let base = std::env::var_os("XDG_RUNTIME_DIR").map_or_else(
        || {
            let user = rustix::process::getuid().as_raw();
            std::env::temp_dir().join(format!("reststrom-{user}"))
        },
        |base| PathBuf::from(base).join("reststrom"),
    );
    std::fs::create_dir_all(&base)?;
    Ok(base)
}

/// The lock file of a port. The device's own lock is left to the serial library.
fn lock_file(port: &str) -> io::Result<File> {
    let name: String = port
        .chars()
        .map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '-' })
        .collect();
    let path = runtime_folder()?.join(format!("{name}.lock"));
    OpenOptions::new().create(true).truncate(false).write(true).open(path)
}
