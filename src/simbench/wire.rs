//! What an instrument is plugged into: a pseudo-terminal or a TCP port, and the thread behind it.
//!
//! The thread sleeps in `poll` until bytes come, until a reply is due or until it is woken; so an
//! idle bench costs one look a second. The simulator keeps the client's side of a pseudo-terminal
//! open as well: a client may come and go without the master end reporting a hang-up that would
//! have to be polled away. When the simulator hangs up it closes both, and the client sees it.

use std::io::{ErrorKind, Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};
use std::sync::Arc;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::OFlags;
use rustix::pty::{OpenptFlags, grantpt, ioctl_tiocgptpeer, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};

use crate::simbench::desk::Instrument;
use crate::simbench::options::Serve;
use crate::simbench::shared::{Shared, Turn};

/// A line longer than this is thrown away.
const LONGEST_LINE: usize = 1024;
/// A thread looks at the bench at least this often (s), so that it never falls far behind.
const LONGEST_WAIT: f64 = 1.0;

/// One end of a connection.
#[derive(Debug)]
pub(crate) enum Wire {
    /// A pseudo-terminal.
    Terminal {
        /// Our end.
        master: std::fs::File,
        /// The client's end, kept open.
        client: OwnedFd,
        /// Path of the client's end.
        name: String,
    },
    /// A TCP port.
    Loopback {
        /// Where clients come in.
        listener: TcpListener,
        /// The client that is connected.
        client: Option<TcpStream>,
        /// Address and port.
        name: String,
    },
}

impl Wire {
    /// Opens a connection for clients.
    pub(crate) fn open(serve: Serve) -> std::io::Result<Self> {
        match serve {
            Serve::Terminals => Self::open_terminal(),
            Serve::Loopback => Self::open_loopback(),
        }
    }

    /// What a client opens.
    pub(crate) fn name(&self) -> &str {
        match self {
            Self::Terminal { name, .. } | Self::Loopback { name, .. } => name,
        }
    }

    fn open_terminal() -> std::io::Result<Self> {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let name = ptsname(&master, Vec::new())?.to_string_lossy().into_owned();
        let client = ioctl_tiocgptpeer(&master, flags)?;
        let mut settings = tcgetattr(&client)?;
        settings.make_raw();
        tcsetattr(&client, OptionalActions::Now, &settings)?;
        rustix::fs::fcntl_setfl(&master, OFlags::NONBLOCK)?;
        Ok(Self::Terminal { master: master.into(), client, name })
    }

    fn open_loopback() -> std::io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        listener.set_nonblocking(true)?;
        let name = listener.local_addr()?.to_string();
        Ok(Self::Loopback { listener, client: None, name })
    }

    /// What to wait on.
    fn waits_on(&self) -> BorrowedFd<'_> {
        match self {
            Self::Terminal { master, .. } => master.as_fd(),
            Self::Loopback { client: Some(client), .. } => client.as_fd(),
            Self::Loopback { listener, .. } => listener.as_fd(),
        }
    }

    /// Reads what has come, or lets a client in; nothing if there is nothing.
    fn take(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        match self {
            Self::Terminal { master, .. } => ready(master.read(buffer)),
            Self::Loopback { client: Some(stream), .. } => {
                let taken = stream.read(buffer);
                if matches!(&taken, Ok(0)) || taken.as_ref().is_err_and(is_gone) {
                    self.let_go();
                    return Ok(0);
                }
                ready(taken)
            }
            Self::Loopback { listener, client, .. } => {
                let (stream, _) = listener.accept()?;
                stream.set_nonblocking(true)?;
                stream.set_nodelay(true)?;
                *client = Some(stream);
                Ok(0)
            }
        }
    }

    /// Writes bytes. What a client does not take away is lost, as on a line without flow control.
    fn put(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        let written = match self {
            Self::Terminal { master, .. } => master.write(bytes),
            Self::Loopback { client: Some(stream), .. } => stream.write(bytes),
            Self::Loopback { client: None, .. } => Ok(0),
        };
        if written.as_ref().is_err_and(is_gone) {
            self.let_go();
            return Ok(());
        }
        ready(written).map(|_| ())
    }

    /// Lets the next client in even if the last one claimed the port for itself and was killed:
    /// the kernel drops such a claim only when nobody has the port open, and we always do.
    fn lift_claim(&self) -> std::io::Result<()> {
        match self {
            Self::Terminal { client, .. } => Ok(ioctl_tiocnxcl(client)?),
            Self::Loopback { .. } => Ok(()),
        }
    }

    fn let_go(&mut self) {
        if let Self::Loopback { client, .. } = self {
            *client = None;
        }
    }
}

/// A call that would have to wait did nothing.
fn ready(outcome: std::io::Result<usize>) -> std::io::Result<usize> {
    match outcome {
        Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => {
            Ok(0)
        }
        other => other,
    }
}

fn is_gone(error: &std::io::Error) -> bool {
    matches!(error.kind(), ErrorKind::ConnectionReset | ErrorKind::BrokenPipe)
}

/// Serves one instrument until the bench stops or the port hangs up.
///
/// # Errors
///
/// The operating system's error, if the port cannot be used any more.
pub(crate) fn serve(
    shared: &Arc<Shared>,
    which: Instrument,
    mut wire: Wire,
) -> std::io::Result<()> {
    let mut line = Vec::new();
    let mut buffer = [0; 512];
    while let Some(turn) = shared.turn(which) {
        for reply in &turn.replies {
            wire.put(reply)?;
        }
        if !wait(&wire, shared.waker(which), &turn)? {
            continue;
        }
        wire.lift_claim()?;
        let taken = wire.take(&mut buffer)?;
        if taken == 0 && matches!(wire, Wire::Loopback { .. }) {
            line.clear();
        }
        for byte in buffer.iter().take(taken) {
            match collect(&mut line, *byte) {
                Some(Piece::Line(text)) => shared.hear(which, &text),
                Some(Piece::Overrun) => shared.overrun(which),
                None => {}
            }
        }
    }
    Ok(())
}

/// What a byte has made whole.
pub(crate) enum Piece {
    /// A line for the instrument.
    Line(String),
    /// A line that was too long, and is thrown away.
    Overrun,
}

/// Adds a byte to the line and gives what that makes whole. CR and LF end a line alike.
pub(crate) fn collect(line: &mut Vec<u8>, byte: u8) -> Option<Piece> {
    if matches!(byte, b'\r' | b'\n') {
        return Some(Piece::Line(String::from_utf8_lossy(&std::mem::take(line)).into_owned()));
    }
    if line.len() < LONGEST_LINE {
        line.push(byte);
        return None;
    }
    line.clear();
    Some(Piece::Overrun)
}

/// Waits for the wire, for the waker, or for the turn's time; tells whether the wire has something.
fn wait(wire: &Wire, waker: &OwnedFd, turn: &Turn) -> std::io::Result<bool> {
    let seconds = turn.wait.unwrap_or(LONGEST_WAIT).min(LONGEST_WAIT);
    let span = std::time::Duration::from_secs_f64(seconds);
    let limit = Timespec::try_from(span).map_err(std::io::Error::other)?;
    let mut watched = [
        PollFd::new(waker, PollFlags::IN),
        PollFd::from_borrowed_fd(wire.waits_on(), PollFlags::IN),
    ];
    let [for_waker, _] = &mut watched;
    let polled = if turn.stalled {
        poll(std::slice::from_mut(for_waker), Some(&limit))
    } else {
        poll(&mut watched, Some(&limit))
    };
    match polled {
        Ok(_) | Err(rustix::io::Errno::INTR) => {}
        Err(error) => return Err(error.into()),
    }
    let [on_waker, on_wire] = watched.map(|it| !it.revents().is_empty());
    if on_waker {
        rustix::io::read(waker, &mut [0; 8])?;
    }
    // Woken means that something has changed: the next turn says whether to read at all.
    Ok(on_wire && !on_waker)
}
