//! What can be seen of a run while it goes on.

use jiff::Timestamp;

use crate::judge::Forecast;
use crate::plan::{Phase, Sample};
use crate::quantity::{Current, Time, Voltage, amperes, seconds, text};

/// The newest state of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Where it stands.
    pub phase: Phase,
    /// Bench time since it began.
    pub time: Time,
    /// How many readings have come.
    pub readings: u32,
    /// When the newest came, by the wall clock.
    pub read_at: Option<Timestamp>,
    /// Newest reading.
    pub current: Option<Sample<Current>>,
    /// Voltage at the part, where it is known.
    pub voltage: Option<Voltage>,
    /// When the part reached the test voltage.
    pub full_voltage_at: Option<Time>,
    /// What will be read at the moment that is judged, if the curve goes on as it went.
    pub forecast: Option<Forecast>,
}

impl Default for Progress {
    fn default() -> Self {
        Self {
            phase: Phase::Idle,
            time: seconds(0.0),
            readings: 0,
            read_at: None,
            current: None,
            voltage: None,
            full_voltage_at: None,
            forecast: None,
        }
    }
}

impl Progress {
    /// The newest reading as a person reads it, without digits that dance.
    #[must_use]
    pub fn reads(&self) -> String {
        match self.current {
            Some(Sample::Value(current)) => text::current(three_digits(current)),
            Some(Sample::Overload { .. }) => "overload".into(),
            Some(Sample::NotANumber) | None => "no reading".into(),
        }
    }
}

fn three_digits(current: Current) -> Current {
    let value = current.value;
    if value.abs() < 1e-15 {
        return amperes(0.0);
    }
    let place = 10_f64.powf(value.abs().log10().floor() - 2.0);
    amperes((value / place).round() * place)
}
