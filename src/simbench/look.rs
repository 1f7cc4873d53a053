//! What a test or a demo can see of the bench.

use crate::quantity::{Current, Time, Voltage, amperes, seconds, volts};
use crate::simbench::desk::Instrument;
use crate::simbench::meter::Function;
use crate::simbench::part::{Part, PartState};
use crate::simbench::world::World;

/// The true state of the bench at one moment, whatever the instruments tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Bench time.
    pub time: Time,
    /// Whether the output relay is closed.
    pub output_on: bool,
    /// Whether a protection has tripped.
    pub tripped: bool,
    /// Whether a clip holds a part and has not fallen off.
    pub contact: bool,
    /// Voltage set-point.
    pub supply_set: Voltage,
    /// Current limit.
    pub supply_limit: Current,
    /// Current that the supply gives.
    pub supply_current: Current,
    /// Voltage across the terminals, behind the relay.
    pub terminal_voltage: Voltage,
    /// Voltage across the part, also of one whose clip fell off; zero without a part.
    pub part_voltage: Voltage,
    /// Current into the part.
    pub part_current: Current,
    /// Share of that current that leaks: neither charges nor soaks in.
    pub part_leakage: Current,
    /// The meter's current range.
    pub meter_range: Current,
}

/// Who said a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speaker {
    /// The instrument heard it.
    Client,
    /// The instrument said it.
    Instrument,
}

/// A line on the wire.
#[derive(Debug, Clone, PartialEq)]
pub struct Logged {
    /// Bench time.
    pub time: Time,
    /// At which instrument.
    pub instrument: Instrument,
    /// Who said it.
    pub speaker: Speaker,
    /// The line without its end.
    pub line: String,
}

impl World {
    /// The state of the bench now.
    pub(crate) fn look(&self) -> Look {
        self.look_upon(self.circuit.part.as_ref(), &self.state.part, true)
    }

    /// The state of the bench, with this part in view: in the circuit, or behind an open relay.
    pub(crate) fn look_upon(&self, part: Option<&Part>, held: &PartState, connected: bool) -> Look {
        let leakage = part.map_or(0.0, |part| part.conduction(held.u, held.under).0);
        let current = if connected { self.circuit.branch_current(&self.state) } else { 0.0 };
        Look {
            time: seconds(self.now()),
            output_on: self.supply.relay_closed(),
            tripped: self.supply.trip.is_some(),
            contact: connected && part.is_some() && !self.circuit.gap,
            supply_set: volts(self.supply.voltage),
            supply_limit: amperes(self.supply.current),
            supply_current: amperes(self.given_now),
            terminal_voltage: volts(self.state.terminals),
            part_voltage: volts(held.u),
            part_current: amperes(current),
            part_leakage: amperes(leakage),
            meter_range: amperes(self.meter.range(Function::Current)),
        }
    }
}
