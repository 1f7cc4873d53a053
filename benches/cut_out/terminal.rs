//! A pseudo-terminal: the instrument's end, and the path of the other.

use std::fs::File;
use std::io::{self, Read, Write};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

/// The instrument's end of a line.
#[derive(Debug)]
pub(crate) struct Terminal {
    /// Blocks until bytes come; an error once the other end is closed.
    pub(crate) master: File,
    /// Path that the daemon opens.
    pub(crate) name: String,
}

impl Terminal {
    /// A new line that nobody has opened yet.
    pub(crate) fn open() -> io::Result<Self> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let name = ptsname(&master, Vec::new())?.to_string_lossy().into_owned();
        Ok(Self { master: master.into(), name })
    }

    /// Waits for bytes.
    pub(crate) fn read<'a>(&mut self, buffer: &'a mut [u8]) -> io::Result<&'a [u8]> {
        let count = self.master.read(buffer)?;
        Ok(&buffer[..count])
    }

    /// Writes all of `bytes` at once.
    pub(crate) fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.master.write_all(bytes)
    }
}
