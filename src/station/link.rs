//! The line itself: a serial port or a raw TCP socket.
//!
//! Reading waits; writing never does. What the system does not take at once stays here and is
//! offered again, and a cut-out throws it away, flushes what the driver holds and goes first. No
//! blocking drain anywhere. A link can hand out a duplicate of its handle for the keeper, which
//! shares the lock, so that the port stays owned until the last holder is gone.

use std::fs::{File, OpenOptions};
use std::io;
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::fs::{FlockOperation, flock};
use rustix::termios::{QueueSelector, ioctl_tiocexcl, tcflush};
use tokio::io::AsyncReadExt;
use tokio::net::TcpStream;
use tokio_serial::{SerialPort, SerialPortBuilderExt, SerialStream};

use super::driver::{Flow, LineSettings, Parity};
use super::wiring::Port;

/// Bytes kept for a line that takes none; more means that it is dead.
const MOST_PENDING: usize = 4096;

/// A lock that another holder is about to let go of is tried again: so many times …
const LOCK_TRIES: u8 = 6;
/// … after this pause each.
const LOCK_PAUSE: Duration = Duration::from_millis(50);

/// Why a port can't be used.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// There is no such device.
    #[error("{port}: there is no such port")]
    NotThere {
        /// The port.
        port: String,
    },
    /// No right to open it.
    #[error("{port}: no permission to open it: it belongs to group {group}")]
    NoRight {
        /// The port.
        port: String,
        /// Its owning group.
        group: String,
    },
    /// Another program owns it.
    #[error("{port}: another program owns this port")]
    Owned {
        /// The port.
        port: String,
    },
    /// Anything else that the system says.
    #[error("{port}: can't be opened: {source}")]
    Unusable {
        /// The port.
        port: String,
        /// The system's reason.
        source: io::Error,
    },
}

impl LinkError {
    /// What to do next.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::NotThere { .. } => {
                "plug the instrument in, or correct the port in the station file; \
                 /dev/serial/by-id has names that stay"
                    .into()
            }
            Self::NoRight { group, .. } => {
                format!("sudo usermod -aG {group} \"$USER\", then log out and in again")
            }
            Self::Owned { .. } => {
                "end the other program; after a crash the keeper frees the port once the part is \
                 discharged"
                    .into()
            }
            Self::Unusable { .. } => {
                "check cable, power and the line settings of the driver".into()
            }
        }
    }
}

/// An open line.
#[derive(Debug)]
pub struct Link {
    line: Line,
    lock: File,
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
        match port {
            Port::Serial(path) => Self::open_serial(path, settings).await,
            Port::Tcp(address) => Self::open_tcp(address).await,
        }
    }

    async fn open_serial(path: &str, settings: &LineSettings) -> Result<Self, LinkError> {
        let failed = |error| explain(path, error);
        let lock = own(path).await?;
        let flags = rustix::fs::OFlags::NOCTTY | rustix::fs::OFlags::NONBLOCK;
        let device = OpenOptions::new()
            .read(true)
            .write(true)
            .custom_flags(flags.bits().cast_signed())
            .open(path)
            .map_err(failed)?;
        let mut stream =
            open_stream(path, settings).map_err(|error| explain_serial(path, error))?;
        set_control_lines(&mut stream, settings).map_err(|error| explain_serial(path, error))?;
        ioctl_tiocexcl(&device).map_err(|error| failed(error.into()))?;
        // What lies in the buffers is from before: it answers no question of ours.
        tcflush(&device, QueueSelector::IOFlush).map_err(|error| failed(error.into()))?;
        let (line, port) = (Line::Serial { stream, device }, path.to_owned());
        Ok(Self { line, lock, pending: Vec::new(), port })
    }

    async fn open_tcp(address: &str) -> Result<Self, LinkError> {
        let port = format!("tcp:{address}");
        let failed = |error| explain(&port, error);
        let lock = own(&port).await?;
        let stream = TcpStream::connect(address).await.map_err(failed)?;
        stream.set_nodelay(true).map_err(failed)?;
        Ok(Self { line: Line::Tcp(stream), lock, pending: Vec::new(), port })
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
        };
        if count == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        Ok(count)
    }

    /// Writes what the line takes and keeps the rest for [`Link::push`].
    ///
    /// # Errors
    ///
    /// Any error of the system, and a line that has taken nothing for far too long.
    pub fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
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
        if let Line::Serial { device, .. } = &self.line {
            // A driver without a queue to flush takes the bytes all the same.
            if let Err(error) = tcflush(device, QueueSelector::OFlush) {
                tracing::debug!(port = %self.port, %error, "output queue not flushed");
            }
        }
        self.write(bytes)
    }

    /// Handles for the keeper.
    ///
    /// # Errors
    ///
    /// The system's, if it is out of handles.
    pub fn duplicate(&self) -> io::Result<Duplicate> {
        let line = self.as_fd().try_clone_to_owned()?;
        Ok(Duplicate { line, lock: self.lock.as_fd().try_clone_to_owned()? })
    }
}

impl AsFd for Link {
    fn as_fd(&self) -> BorrowedFd<'_> {
        match &self.line {
            Line::Serial { device, .. } => device.as_fd(),
            Line::Tcp(stream) => stream.as_fd(),
        }
    }
}

fn open_stream(path: &str, settings: &LineSettings) -> tokio_serial::Result<SerialStream> {
    use tokio_serial::{DataBits, FlowControl, StopBits};
    let data_bits = match settings.data_bits {
        5 => DataBits::Five,
        6 => DataBits::Six,
        7 => DataBits::Seven,
        _ => DataBits::Eight,
    };
    let parity = match settings.parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Even => tokio_serial::Parity::Even,
        Parity::Odd => tokio_serial::Parity::Odd,
    };
    let flow = match settings.flow {
        Flow::None => FlowControl::None,
        Flow::Software => FlowControl::Software,
        Flow::Hardware => FlowControl::Hardware,
    };
    let stop_bits = if settings.stop_bits == 2 { StopBits::Two } else { StopBits::One };
    // Our own handle holds the lock; the port is made exclusive once both are open.
    tokio_serial::new(path, settings.baud)
        .data_bits(data_bits)
        .parity(parity)
        .stop_bits(stop_bits)
        .flow_control(flow)
        .exclusive(false)
        .open_native_async()
}

fn set_control_lines(
    stream: &mut SerialStream,
    settings: &LineSettings,
) -> Result<(), tokio_serial::Error> {
    if let Some(level) = settings.dtr {
        stream.write_data_terminal_ready(level)?;
    }
    if let Some(level) = settings.rts {
        stream.write_request_to_send(level)?;
    }
    Ok(())
}

/// Takes the lock of a port. A device goes by its real name, however the station file calls it.
async fn own(port: &str) -> Result<File, LinkError> {
    let real =
        std::fs::canonicalize(port).map_or(port.to_owned(), |path| path.display().to_string());
    let lock = lock_file(&real).map_err(|error| explain(port, error))?;
    for _ in 0..LOCK_TRIES {
        match flock(&lock, FlockOperation::NonBlockingLockExclusive) {
            Ok(()) => return Ok(lock),
            Err(rustix::io::Errno::WOULDBLOCK) => tokio::time::sleep(LOCK_PAUSE).await,
            Err(error) => {
                return Err(LinkError::Unusable { port: port.to_owned(), source: error.into() });
            }
        }
    }
    Err(LinkError::Owned { port: port.to_owned() })
}

fn explain_serial(port: &str, error: tokio_serial::Error) -> LinkError {
    match error.kind {
        // The device is there, since our own handle is open: somebody else has locked it.
        tokio_serial::ErrorKind::NoDevice => LinkError::Owned { port: port.to_owned() },
        tokio_serial::ErrorKind::InvalidInput
        | tokio_serial::ErrorKind::Unknown
        | tokio_serial::ErrorKind::Io(_) => explain(port, error.into()),
    }
}

fn explain(port: &str, error: io::Error) -> LinkError {
    let port = port.to_owned();
    if error.kind() == io::ErrorKind::NotFound {
        return LinkError::NotThere { port };
    }
    if error.kind() == io::ErrorKind::PermissionDenied {
        let group = group_of(Path::new(&port));
        return LinkError::NoRight { port, group };
    }
    if error.raw_os_error() == Some(rustix::io::Errno::BUSY.raw_os_error()) {
        return LinkError::Owned { port };
    }
    LinkError::Unusable { port, source: error }
}

/// Name of the group that owns a file, or its number.
fn group_of(path: &Path) -> String {
    let Ok(meta) = std::fs::metadata(path) else { return "of its folder".into() };
    let gid = meta.gid().to_string();
    let groups = std::fs::read_to_string("/etc/group").unwrap_or_default();
    group_name(&groups, &gid).unwrap_or(gid)
}

/// The name of group number `gid` in the text of `/etc/group`.
fn group_name(groups: &str, gid: &str) -> Option<String> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)? == gid).then(|| name.to_owned())
    })
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

    #[test]
    fn the_group_of_a_port_has_a_name() {
        let groups = "root:x:0:\ndialout:x:20:anna\n";
        assert_eq!(group_name(groups, "20"), Some("dialout".into()));
        assert_eq!(group_name(groups, "21"), None);
    }
}
