//! A line that went away in the middle of a run, and may come back: pulled and plugged in again, or a
//! connection that swallowed everything.
//!
//! The port is found again by the name that the station file gives it, whatever the system calls it
//! now. It stays this program's own: the lock is kept while the line is gone.

use std::time::Duration;

use crate::quantity::{Time, seconds};
use crate::station::driver::LineSettings;
use crate::station::wiring::Port;
use crate::station::{Link, Lock};

/// A line that is gone is tried again this often, in host time.
const AGAIN: f64 = 1.0; // s
/// Longest wait for a port that may be coming back: the rest of the bench waits with it.
const OPENING: Duration = Duration::from_millis(300);

/// Where a line belongs.
#[derive(Debug)]
pub(crate) struct Plug {
    port: Port,
    settings: LineSettings,
    /// The lock of the line that is gone; none while it is there.
    pulled: Option<Lock>,
    tried: Time,
}

impl Plug {
    /// The place of a line that is there.
    pub(crate) fn new(port: &Port, settings: &LineSettings) -> Self {
        Self { port: port.clone(), settings: settings.clone(), pulled: None, tried: seconds(0.0) }
    }

    /// The line is gone: what it still holds must never be delivered.
    pub(crate) fn pull(&mut self, link: Link, now: Time) {
        self.pulled = Some(link.give_up());
        self.tried = now;
    }

    /// Opens the line again if it is gone and the port has come back.
    pub(crate) async fn open_again(&mut self, now: Time) -> Option<Link> {
        let lock = self.pulled.as_ref()?;
        if now - self.tried < seconds(AGAIN) {
            return None;
        }
        self.tried = now;
        let opened = Link::open_again(&self.port, &self.settings, lock);
        match tokio::time::timeout(OPENING, opened).await {
            Ok(Ok(link)) => {
                self.pulled = None;
                Some(link)
            }
            Ok(Err(error)) => {
                tracing::debug!(%error, "the line is still gone");
                None
            }
            Err(_elapsed) => None,
        }
    }
}
