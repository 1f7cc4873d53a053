//! The keeper: a second process that switches off when the daemon dies or hangs.
//!
//! It is this program run again. Before the first output-on it is given a duplicate of the
//! supply's line (its standard output), a pipe with the daemon's heartbeat (its standard input)
//! and the lock of the port, so that it never has to open anything. The beat is made by the
//! station's actor itself and carries the age of the last judged reading: an actor that hangs
//! while the rest of the daemon lives is noticed too.
//!
//! When the beat stops, the keeper writes output-off, again and again. Once the daemon is dead it
//! also reads what the supply says, until the output is off and the part is measured empty; then
//! it ends, and with it the lock of the port: that is the hand-over to the next daemon.

mod watch;
mod work;

use std::io;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};

use command_fds::CommandFdExt;
use serde::{Deserialize, Serialize};

pub use work::keep;

use crate::quantity::Time;
use crate::station::Duplicate;
use crate::station::driver::{NumberForm, OutputForm};

/// What the keeper must know of the station, handed over as its first line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Duties {
    /// Ends a line to the supply.
    pub end: String,
    /// Words of output-off.
    pub output_off: String,
    /// Words that ask for the output state.
    pub ask_output: String,
    /// Form of the answer to that.
    pub output_form: OutputForm,
    /// Words that measure the voltage.
    pub measure_voltage: String,
    /// Form of the answer to that.
    pub voltage_form: NumberForm,
    /// The supply sends back each line that it is told.
    pub echo: bool,
    /// Pause that the supply needs between two lines.
    pub gap_ms: u64,
    /// Oldest judged reading that the daemon may go on with.
    pub stale_ms: u64,
    /// Below this voltage the part may be touched.
    pub safe_volt: f64,
    /// The supply sees the part with its output off: what it measures can prove the part empty.
    pub sees_part: bool,
    /// Port and line (`rts` or `dtr`) of a bleeder relay.
    pub relay: Option<(String, String)>,
}

/// The daemon's end of its keeper.
#[derive(Debug)]
pub struct Keeper {
    program: PathBuf,
    duties: Duties,
    child: Child,
    pipe: ChildStdin,
    armed: bool,
}

/// Why there is no keeper.
#[derive(Debug, thiserror::Error)]
pub enum KeeperError {
    /// It can't be started.
    #[error("the keeper can't be started: {0}")]
    Start(#[source] io::Error),
    /// It no longer listens.
    #[error("the keeper is gone: {0}")]
    Gone(#[source] io::Error),
}

impl Keeper {
    /// Starts `program` as keeper of a supply's line.
    ///
    /// # Errors
    ///
    /// [`KeeperError::Start`] with the system's reason.
    pub fn start(program: &Path, line: Duplicate, duties: &Duties) -> Result<Self, KeeperError> {
        let first = serde_json::to_string(duties).map_err(io::Error::from);
        let first = first.map_err(KeeperError::Start)?;
        let mut command = Command::new(program);
        command
            .arg("keeper")
            .stdin(Stdio::piped())
            .stdout(Stdio::from(line.line))
            // A group of its own: Ctrl-C at the terminal is for the daemon.
            .process_group(0)
            .preserved_fds(vec![line.lock]);
        let mut child = command.spawn().map_err(KeeperError::Start)?;
        let pipe = child
            .stdin
            .take()
            .ok_or_else(|| KeeperError::Start(io::Error::other("its pipe is missing")))?;
        let flags = rustix::fs::OFlags::NONBLOCK;
        rustix::fs::fcntl_setfl(&pipe, flags).map_err(|error| KeeperError::Start(error.into()))?;
        let (program, duties) = (program.to_owned(), duties.clone());
        let mut keeper = Self { program, duties, child, pipe, armed: false };
        keeper.say(&first)?;
        Ok(keeper)
    }

    /// Another keeper in this one's place, for a line that came back: the handle that this one holds is
    /// dead. What was kept is kept on; gives the one of before, which has nothing to keep any more.
    ///
    /// # Errors
    ///
    /// [`KeeperError`], if there is no other: the one of before stays.
    pub fn follow(&mut self, line: Duplicate) -> Result<Self, KeeperError> {
        let mut next = Self::start(&self.program, line, &self.duties)?;
        if self.armed {
            next.arm()?;
        }
        let mut before = std::mem::replace(self, next);
        if let Err(error) = before.release() {
            tracing::warn!(%error, "the keeper of before was gone already");
        }
        Ok(before)
    }

    /// From now on silence means trouble.
    ///
    /// # Errors
    ///
    /// [`KeeperError::Gone`]: nothing may be energised without a keeper.
    pub fn arm(&mut self) -> Result<(), KeeperError> {
        self.armed = true;
        self.say("arm")
    }

    /// The actor has turned once more; its last judged reading is this old.
    ///
    /// # Errors
    ///
    /// [`KeeperError::Gone`]: the run must end.
    pub fn beat(&mut self, age: Time) -> Result<(), KeeperError> {
        self.say(&format!("beat {:.0}", age.value * 1e3))
    }

    /// The part is measured empty and the output off: nothing to keep.
    ///
    /// # Errors
    ///
    /// [`KeeperError::Gone`].
    pub fn release(&mut self) -> Result<(), KeeperError> {
        self.armed = false;
        self.say("release")
    }

    fn say(&mut self, line: &str) -> Result<(), KeeperError> {
        let bytes = format!("{line}\n").into_bytes();
        match rustix::io::write(&self.pipe, &bytes) {
            Ok(count) if count == bytes.len() => Ok(()),
            Ok(_) => Err(KeeperError::Gone(io::ErrorKind::WriteZero.into())),
            Err(error) => Err(KeeperError::Gone(error.into())),
        }
    }

    /// Sends it home and waits until it has ended. One that still has a bench to make safe stays,
    /// silently and with the port's lock: a person waits for the word that it is locked out.
    ///
    /// # Errors
    ///
    /// The system's, if the process can't be waited for.
    pub fn dismiss(mut self) -> io::Result<()> {
        if self.armed {
            // One that is gone has nothing to tell either.
            return self.say("hush").or(Ok(()));
        }
        let Self { mut child, pipe, .. } = self;
        drop(pipe);
        child.wait().map(|_| ())
    }
}
