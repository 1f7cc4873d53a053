//! A relay on a control line. Lines fall when a program dies, so low is the safe state: a bleeder
//! then bleeds, and a bypass is open, with the series resistor in the path.
//!
//! Opening a port lifts its lines for a moment and closing lets them fall, so the port is opened
//! before the output may be on, and a bleeder counts only once the falling voltage has shown it.

use std::time::Duration;

use tokio_serial::SerialPort;

use super::wiring::{ControlLine, RelayLine};

/// The two lines that can be set on a serial port.
pub trait ControlLines: Send {
    /// Sets a line high (`true`) or low.
    ///
    /// # Errors
    ///
    /// The system's, for example on a port without control lines.
    fn set(&mut self, line: ControlLine, high: bool) -> Result<(), tokio_serial::Error>;
}

impl ControlLines for Box<dyn SerialPort> {
    fn set(&mut self, line: ControlLine, high: bool) -> Result<(), tokio_serial::Error> {
        match line {
            ControlLine::Rts => self.write_request_to_send(high),
            ControlLine::Dtr => self.write_data_terminal_ready(high),
        }
    }
}

/// A relay.
pub struct Relay<L = Box<dyn SerialPort>> {
    lines: L,
    line: ControlLine,
}

/// A relay that does not obey.
#[derive(Debug, thiserror::Error)]
#[error("{port}: the relay's control line can't be set: {source}")]
pub struct RelayError {
    /// Its port.
    pub port: String,
    /// The system's reason.
    pub source: tokio_serial::Error,
}

impl Relay {
    /// Opens the relay's port and lets the line fall.
    ///
    /// The port is shared with the keeper, which opens it by name as well.
    ///
    /// # Errors
    ///
    /// [`RelayError`] names the port.
    pub fn open(wired: &RelayLine) -> Result<Self, RelayError> {
        let failed = |source| RelayError { port: wired.port.clone(), source };
        let port = tokio_serial::new(&wired.port, 9600)
            .timeout(Duration::from_millis(10))
            .exclusive(false)
            .open()
            .map_err(failed)?;
        let mut relay = Self { lines: port, line: wired.line };
        relay.fall().map_err(failed)?;
        Ok(relay)
    }
}

impl<L: ControlLines> Relay<L> {
    /// Lets the line fall, into the state that is safe.
    ///
    /// # Errors
    ///
    /// The system's; the state of the relay is then unknown.
    pub fn fall(&mut self) -> Result<(), tokio_serial::Error> {
        self.lines.set(self.line, false)
    }

    /// Pulls the relay: no bleeder across the terminals, or a bridged resistor.
    ///
    /// # Errors
    ///
    /// As [`Relay::fall`].
    pub fn pull(&mut self) -> Result<(), tokio_serial::Error> {
        self.lines.set(self.line, true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default)]
    struct Written(Vec<(ControlLine, bool)>);

    impl ControlLines for Written {
        fn set(&mut self, line: ControlLine, high: bool) -> Result<(), tokio_serial::Error> {
            self.0.push((line, high));
            Ok(())
        }
    }

    #[test]
    fn the_dead_state_of_the_line_is_the_safe_one() {
        let mut relay = Relay { lines: Written::default(), line: ControlLine::Rts };
        relay.fall().unwrap();
        relay.pull().unwrap();
        assert_eq!(relay.lines.0, [(ControlLine::Rts, false), (ControlLine::Rts, true)]);
    }

    #[test]
    fn a_relay_on_a_missing_port_is_named() {
        let wired = RelayLine { port: "/dev/no-such-port".into(), line: ControlLine::Dtr };
        let Err(error) = Relay::open(&wired) else { panic!("opened") };
        assert!(error.to_string().starts_with("/dev/no-such-port: the relay"), "{error}");
    }
}
