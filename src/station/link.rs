//! The line itself: a serial port, a raw TCP socket, or a USB test-and-measurement device.
//!
//! Reading waits; writing never does. What the system does not take at once stays here and is
//! offered again, and a cut-out throws it away, flushes what the driver holds and goes first. No
//! blocking drain anywhere. A link can hand out a duplicate of its handle for the keeper, which
//! shares the lock, so that the port stays owned until the last holder is gone.

mod error;
mod lock;
mod message;
mod serial;

use std::fs::File;
use std::io;
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};

use rustix::termios::{Action, QueueSelector, tcflow, tcflush};
use tokio::io::AsyncReadExt;
use tokio::net::TcpStream;
use tokio_serial::SerialStream;

use super::driver::LineSettings;
use super::wiring::Port;
use error::explain;
use lock::own;
use message::MessageDevice;

pub use error::LinkError;
pub use lock::{Lock, runtime_folder};

/// The `tracing` target of what passes on lines: port, way (`>` told, `<` came back) and bytes.
pub const LINE_TARGET: &str = "reststrom::line";

/// Bytes kept for a line that takes none; more means that it is dead.
const MOST_PENDING: usize = 4096;

/// The name that a port is locked by.
fn name_of(port: &Port) -> String {
    match port {
        Port::Serial(path) | Port::Message(path) => path.clone(),
        Port::Tcp(_) => port.to_string(),
    }
}

/// An open line.
#[derive(Debug)]
pub struct Link {
    line: Line,
    lock: Lock,
    pending: Vec<u8>,
    port: String,
}

#[derive(Debug)]
enum Line {
    Serial {
        stream: SerialStream,
        /// A second handle of the device: written to without waiting, and duplicated.
        device: File,
    },
    Tcp(TcpStream),
    Message(MessageDevice),
}

/// Duplicates for the keeper.
#[derive(Debug)]
pub struct Duplicate {
    /// Writes to the same line.
    pub line: OwnedFd,
    /// Holds the lock of the port.
    pub lock: OwnedFd,
}

impl Link {
    /// Opens a port, owned by this program alone.
    ///
    /// # Errors
    ///
    /// [`LinkError`] names the port and what is in the way.
    pub async fn open(port: &Port, settings: &LineSettings) -> Result<Self, LinkError> {
        let lock = own(&name_of(port)).await?;
        Self::open_owned(port, settings, lock).await
    }

    /// Opens a port that was lost and may have come back, under whatever name the system gives it
    /// now. `lock` is that of the line that was lost.
    ///
    /// # Errors
    ///
    /// [`LinkError`] as long as the port is not there.
    pub async fn open_again(
        port: &Port,
        settings: &LineSettings,
        lock: &Lock,
    ) -> Result<Self, LinkError> {
        let lock = lock.for_port(&name_of(port)).await?;
        Self::open_owned(port, settings, lock).await
    }

    /// Lets a line go and keeps its lock. What a connection still holds is thrown away, here and at
    /// the keeper's handle of it: it must not be delivered when somebody mends the network.
    #[must_use]
    pub fn give_up(self) -> Lock {
        if let Line::Tcp(stream) = &self.line
            && let Err(error) = rustix::net::connect_unspec(stream)
        {
            tracing::debug!(port = %self.port, %error, "a connection was not broken off");
        }
        self.lock
    }

    /// Whether bytes may be on their way here for minutes and arrive all the same.
    #[must_use]
    pub fn may_hold_back(&self) -> bool {
        matches!(self.line, Line::Tcp(_))
    }

    async fn open_owned(
        port: &Port,
        settings: &LineSettings,
        lock: Lock,
    ) -> Result<Self, LinkError> {
        match port {
            Port::Serial(path) => {
                let (stream, device) = serial::open(path, settings)?;
                Ok(Self::on(Line::Serial { stream, device }, lock, path.clone()))
            }
            Port::Tcp(address) => {
                let name = port.to_string();
                let failed = |error| explain(&name, error);
                let stream = TcpStream::connect(address).await.map_err(failed)?;
                stream.set_nodelay(true).map_err(failed)?;
                Ok(Self::on(Line::Tcp(stream), lock, name))
            }
            Port::Message(path) => {
                let device = MessageDevice::open(path).map_err(|error| explain(path, error))?;
                Ok(Self::on(Line::Message(device), lock, port.to_string()))
            }
        }
    }

    fn on(line: Line, lock: Lock, port: String) -> Self {
        Self { line, lock, pending: Vec::new(), port }
    }

    /// The port's name.
    #[must_use]
    pub fn port(&self) -> &str {
        &self.port
    }

    /// Waits for bytes. Zero bytes read means that the line is gone, and is an error here.
    ///
    /// # Errors
    ///
    /// Any error of the system: the line is gone.
    ///
    /// # Cancel safety
    ///
    /// Cancel safe: no bytes are lost.
    pub async fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = match &mut self.line {
            Line::Serial { stream, .. } => stream.read(buffer).await?,
            Line::Tcp(stream) => stream.read(buffer).await?,
            Line::Message(device) => device.read(buffer).await?,
        };
        if count == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        self.passed("<", &buffer[..count]);
        Ok(count)
    }

    /// Writes what the line takes and keeps the rest for [`Link::push`].
    ///
    /// # Errors
    ///
    /// Any error of the system, and a line that has taken nothing for far too long.
    pub fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.passed(">", bytes);
        if let Line::Message(device) = &self.line {
            return device.write(bytes);
        }
        self.pending.extend_from_slice(bytes);
        self.push()
    }

    /// Offers the line what it has not taken yet.
    ///
    /// # Errors
    ///
    /// As [`Link::write`].
    pub fn push(&mut self) -> io::Result<()> {
        while !self.pending.is_empty() {
            match rustix::io::write(self.as_fd(), &self.pending) {
                Ok(count) => drop(self.pending.drain(..count)),
                Err(rustix::io::Errno::AGAIN) => break,
                Err(rustix::io::Errno::INTR) => {}
                Err(error) => return Err(error.into()),
            }
        }
        if MOST_PENDING < self.pending.len() {
            self.pending.clear();
            return Err(io::Error::new(io::ErrorKind::TimedOut, "the line takes no bytes"));
        }
        Ok(())
    }

    /// Writes `bytes` ahead of everything: drops what waits here and in the driver's queue.
    ///
    /// # Errors
    ///
    /// Any error of the system.
    pub fn cut_out(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.pending.clear();
        match &self.line {
            // A driver without a queue to flush takes the bytes all the same.
            Line::Serial { device, .. } => {
                if let Err(error) = tcflush(device, QueueSelector::OFlush) {
                    tracing::debug!(port = %self.port, %error, "output queue not flushed");
                }
                // A stop byte in what came may hold the output back for ever.
                // Only what was suspended by hand is resumed: suspended first, it lifts a stop byte too.
                let lifted =
                    tcflow(device, Action::OOff).and_then(|()| tcflow(device, Action::OOn));
                if let Err(error) = lifted {
                    tracing::debug!(port = %self.port, %error, "output not let go on");
                }
            }
            Line::Message(device) => device.clear(),
            Line::Tcp(_) => {}
        }
        self.write(bytes)
    }

    /// Tells whoever traces what passes.
    fn passed(&self, way: &str, bytes: &[u8]) {
        let bytes = bytes.escape_ascii();
        tracing::trace!(target: LINE_TARGET, port = %self.port, way = %way, bytes = %bytes);
    }

    /// Handles for the keeper.
    ///
    /// # Errors
    ///
    /// The system's, if it is out of handles.
    pub fn duplicate(&self) -> io::Result<Duplicate> {
        let line = self.as_fd().try_clone_to_owned()?;
        Ok(Duplicate { line, lock: self.lock.file().as_fd().try_clone_to_owned()? })
    }
}

impl AsFd for Link {
    fn as_fd(&self) -> BorrowedFd<'_> {
        match &self.line {
            Line::Serial { device, .. } => device.as_fd(),
            Line::Tcp(stream) => stream.as_fd(),
            Line::Message(device) => device.as_fd(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::driver::{SHIPPED, read_supply};

    fn settings() -> LineSettings {
        read_supply(SHIPPED[0].0, SHIPPED[0].1).unwrap().line
    }

    /// A pseudo-terminal: the instrument's end and the path of the other.
    fn terminal() -> (OwnedFd, String) {
        use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        (master, name)
    }

    #[tokio::test]
    async fn a_port_that_is_not_there_is_named() {
        let port = Port::Serial("/dev/no-such-port".into());
        let error = Link::open(&port, &settings()).await.unwrap_err();
        insta::assert_snapshot!(error, @"/dev/no-such-port: there is no such port");
    }

    #[tokio::test]
    async fn a_port_has_one_owner() {
        let (_master, name) = terminal();
        let port = Port::Serial(name);
        let first = Link::open(&port, &settings()).await.unwrap();
        assert!(matches!(Link::open(&port, &settings()).await, Err(LinkError::Owned { .. })));
        let duplicate = first.duplicate().unwrap();
        drop(first);
        // The keeper's handles keep the port owned until they are gone too.
        assert!(matches!(Link::open(&port, &settings()).await, Err(LinkError::Owned { .. })));
        drop(duplicate);
        assert!(Link::open(&port, &settings()).await.is_ok());
    }

    #[tokio::test]
    async fn a_cut_out_goes_ahead_of_a_line_that_nobody_reads() {
        let (master, name) = terminal();
        let mut link = Link::open(&Port::Serial(name), &settings()).await.unwrap();
        for _ in 0..40 {
            link.write(&[b'x'; 100]).unwrap();
        }
        link.cut_out(b"\nOUTP OFF\n").unwrap();
        // The terminal hands bytes on in its own time: what matters is that off comes at all.
        let mut seen = Vec::new();
        while !seen.ends_with(b"\nOUTP OFF\n") {
            let mut buffer = [0; 8192];
            let count = rustix::io::read(&master, &mut buffer).unwrap();
            seen.extend_from_slice(&buffer[..count]);
        }
        assert!(seen.len() <= 40 * 100 + 10, "{}", seen.len());
    }

    /// Whether something comes within a moment.
    fn comes(master: &OwnedFd) -> bool {
        let wait = rustix::event::Timespec { tv_sec: 0, tv_nsec: 100_000_000 };
        let mut ends = [rustix::event::PollFd::new(master, rustix::event::PollFlags::IN)];
        0 < rustix::event::poll(&mut ends, Some(&wait)).unwrap()
    }

    #[tokio::test]
    async fn a_stop_byte_in_what_came_does_not_hold_back_a_cut_out() {
        let (master, name) = terminal();
        let settings = LineSettings { flow: crate::station::driver::Flow::Software, ..settings() };
        let mut link = Link::open(&Port::Serial(name), &settings).await.unwrap();
        rustix::io::write(&master, b"\x13").unwrap();
        // The terminal takes the stop in its own time: until then what is written comes through.
        link.write(b"x").unwrap();
        while comes(&master) {
            rustix::io::read(&master, &mut [0; 64]).unwrap();
            link.write(b"x").unwrap();
        }
        link.cut_out(b"\nOUTP OFF\n").unwrap();
        let mut seen = Vec::new();
        while !seen.ends_with(b"\nOUTP OFF\n") {
            let mut buffer = [0; 64];
            let count = rustix::io::read(&master, &mut buffer).unwrap();
            seen.extend_from_slice(&buffer[..count]);
        }
    }

    #[tokio::test]
    async fn a_line_that_came_back_under_another_name_is_opened_with_the_lock_kept() {
        let folder = tempfile::tempdir().unwrap();
        let by_id = folder.path().join("by-id");
        let (master, name) = terminal();
        std::os::unix::fs::symlink(&name, &by_id).unwrap();
        let port = Port::Serial(by_id.display().to_string());
        let link = Link::open(&port, &settings()).await.unwrap();
        let keeper = link.duplicate().unwrap();
        let lock = link.give_up();
        // The keeper still holds the lock: only whoever kept it opens the same device again.
        assert!(matches!(Link::open(&port, &settings()).await, Err(LinkError::Owned { .. })));
        drop((keeper.line, master));
        let (_master, name) = terminal();
        std::fs::remove_file(&by_id).unwrap();
        std::os::unix::fs::symlink(&name, &by_id).unwrap();
        assert!(Link::open_again(&port, &settings(), &lock).await.is_ok());
    }

    #[tokio::test]
    async fn a_hung_up_line_is_an_error_and_not_silence() {
        let (master, name) = terminal();
        let mut link = Link::open(&Port::Serial(name), &settings()).await.unwrap();
        drop(master);
        assert!(link.read(&mut [0; 64]).await.is_err());
    }

    #[tokio::test]
    async fn bytes_go_both_ways_over_tcp() {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = Port::Tcp(listener.local_addr().unwrap().to_string());
        let mut link = Link::open(&port, &settings()).await.unwrap();
        let (mut peer, _) = listener.accept().await.unwrap();
        link.write(b"*IDN?\n").unwrap();
        let mut buffer = [0; 64];
        let count = peer.read(&mut buffer).await.unwrap();
        assert_eq!(&buffer[..count], b"*IDN?\n");
        assert!(matches!(Link::open(&port, &settings()).await, Err(LinkError::Owned { .. })));
    }

    /// A pseudo-terminal in raw mode stands in for a device of messages: both take a message with a
    /// write and give an answer with a read.
    #[tokio::test]
    async fn a_message_device_is_read_only_after_a_question() {
        use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
        let (master, name) = terminal();
        let mut modes = tcgetattr(&master).unwrap();
        modes.make_raw();
        tcsetattr(&master, OptionalActions::Now, &modes).unwrap();
        let port = Port::Message(name);
        let mut link = Link::open(&port, &settings()).await.unwrap();
        link.write(b"VOLT 5\n").unwrap();
        link.write(b"VOLT?\n").unwrap();
        let mut seen = Vec::new();
        while !seen.ends_with(b"VOLT 5\nVOLT?\n") {
            let mut buffer = [0; 64];
            let count = rustix::io::read(&master, &mut buffer).unwrap();
            seen.extend_from_slice(&buffer[..count]);
        }
        rustix::io::write(&master, b"5.000\n").unwrap();
        let mut buffer = [0; 4];
        assert_eq!(link.read(&mut buffer).await.unwrap(), 4);
        assert_eq!(link.read(&mut buffer).await.unwrap(), 2);
        // A cut-out goes out though nothing was asked since.
        link.cut_out(b"\nOUTP OFF\n").unwrap();
        let mut buffer = [0; 64];
        let count = rustix::io::read(&master, &mut buffer).unwrap();
        assert_eq!(&buffer[..count], b"\nOUTP OFF\n");
        assert!(matches!(Link::open(&port, &settings()).await, Err(LinkError::Owned { .. })));
    }
}
