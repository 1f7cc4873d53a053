//! What can be seen of a run while it goes on.

use crate::judge::Forecast;
use crate::plan::{Phase, Sample};
use crate::quantity::{Current, Time, Voltage, seconds};

/// The newest state of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Where it stands.
    pub phase: Phase,
    /// Bench time since it began.
    pub time: Time,
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
            current: None,
            voltage: None,
            full_voltage_at: None,
            forecast: None,
        }
    }
}
