//! What a simulated bench is made of: its instruments, its wiring, its clock.

use crate::quantity::{
    Capacitance, Current, Resistance, Time, Voltage, amperes, farads, ohms, seconds, volts,
};

/// How a bench is built; the default is the bench of the harbour museum in Skarvik.
#[derive(Debug, Clone)]
pub struct BenchOptions {
    /// Seconds of bench time to one real second: 1 for real time, 0 for a bench that moves only
    /// by [`Bench::advance`](crate::simbench::Bench::advance).
    pub lapse: f64,
    /// Seed of all noise and chance.
    pub seed: u64,
    /// The supply.
    pub supply: SupplyModel,
    /// The meter.
    pub meter: MeterModel,
    /// Series resistor between supply and part.
    pub series: Resistance,
    /// Bleeder across the supply's terminals, if fitted.
    pub bleeder: Option<Resistance>,
    /// Resistance of the clip's contacts.
    pub contact: Resistance,
    /// How the meter sees the current.
    pub sensing: Sensing,
    /// A switch with a clip on each channel, in place of the single clip.
    pub switch: Option<SwitchModel>,
    /// What the instruments are plugged into.
    pub serve: Serve,
}

impl Default for BenchOptions {
    fn default() -> Self {
        Self {
            lapse: 1.0,
            seed: 1976,
            supply: SupplyModel::default(),
            meter: MeterModel::default(),
            series: ohms(1e3),
            bleeder: Some(ohms(10e3)),
            contact: ohms(0.2),
            sensing: Sensing::Shunt,
            switch: None,
            serve: Serve::Terminals,
        }
    }
}

/// How the meter sees the current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sensing {
    /// The meter's own shunt is in the part's branch.
    Shunt,
    /// The meter measures volts across this resistor in the part's branch.
    Resistor(Resistance),
}

/// What the instruments are plugged into.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Serve {
    /// Pseudo-terminals: the ports are paths.
    Terminals,
    /// TCP on the loopback interface: the ports are `127.0.0.1:port`.
    Loopback,
}

/// How a supply talks. Each is described in the driver file of its kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tongue {
    /// SCPI-1999.
    Scpi,
    /// Letters and numbers of fixed width, a status byte, end marks left out.
    Terse,
    /// Whole words, each line sent back, units behind numbers.
    Echoing,
}

/// A programmable supply.
#[derive(Debug, Clone)]
pub struct SupplyModel {
    /// How it talks.
    pub tongue: Tongue,
    /// Answer to `*IDN?`, or to the question for its name.
    pub identity: String,
    /// Highest voltage it can be set to.
    pub most_voltage: Voltage,
    /// Highest current it can be set to.
    pub most_current: Current,
    /// Set-points after power-on and `*RST`.
    pub wakes_at: (Voltage, Current),
    /// Steps in which voltage and current can be set.
    pub set_step: (Voltage, Current),
    /// Steps in which measured voltage and current are told.
    pub read_step: (Voltage, Current),
    /// Noise of a measured voltage and current, one deviation.
    pub read_noise: (Voltage, Current),
    /// Output capacitor.
    pub output_capacitance: Capacitance,
    /// Whether that capacitor stays across the terminals when the output relay opens.
    pub capacitor_behind_relay: bool,
    /// Whether voltage is measured at the terminals; if not, it reads zero with the output off.
    pub measures_behind_relay: bool,
    /// Current it can take back while on.
    pub sink: Current,
    /// How fast the output moves: volts in one second.
    pub slew: Voltage,
    /// How long the current must stay at the over-current level before it trips.
    pub trip_delay: Time,
    /// Share of the set-point by which it overshoots at output-on, gone with 50 ms.
    pub overshoot: f64,
    /// Share of the set-point by which it drifts in an hour.
    pub drift_per_hour: f64,
}

impl Default for SupplyModel {
    fn default() -> Self {
        Self {
            tongue: Tongue::Scpi,
            identity: "SKARVIK,SIMULATED-SUPPLY,0001,1.0".to_owned(),
            most_voltage: volts(60.0),
            most_current: amperes(1.0),
            wakes_at: (volts(0.0), amperes(1.0)),
            set_step: (volts(0.01), amperes(1e-4)),
            read_step: (volts(1e-3), amperes(1e-4)),
            read_noise: (volts(2e-3), amperes(1e-4)),
            output_capacitance: farads(100e-6),
            capacitor_behind_relay: true,
            measures_behind_relay: true,
            sink: amperes(0.0),
            slew: volts(500.0),
            trip_delay: seconds(0.01),
            overshoot: 0.0,
            drift_per_hour: 0.0,
        }
    }
}

/// A switch: a relay for each channel, all open after power-on.
#[derive(Debug, Clone)]
pub struct SwitchModel {
    /// Answer to `*IDN?`.
    pub identity: String,
    /// Numbers of its channels.
    pub channels: Vec<u32>,
}

impl SwitchModel {
    /// A switch of so many channels, numbered from 101.
    #[must_use]
    pub fn of(channels: u32) -> Self {
        let identity = "SKARVIK,SIMULATED-SWITCH,0001,1.0".to_owned();
        Self { identity, channels: (101..101 + channels).collect() }
    }
}

/// How a meter gives its readings. Each is described in the driver file of its kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeterTongue {
    /// Asked for each, in SCPI-1999.
    Scpi,
    /// Unasked, as lines of text.
    Text,
    /// Unasked, as frames of its display.
    Frames,
}

/// A logging meter. Its accuracy is ±(0.05 % of reading + 10 counts).
#[derive(Debug, Clone)]
pub struct MeterModel {
    /// How it gives its readings.
    pub tongue: MeterTongue,
    /// Answer to `*IDN?`.
    pub identity: String,
    /// Current range that it is on after power-on; the highest if none is given.
    pub wakes_on: Option<Current>,
    /// Current ranges with their burden resistance, lowest first.
    pub current_ranges: Vec<(Current, Resistance)>,
    /// Voltage ranges, lowest first.
    pub voltage_ranges: Vec<Voltage>,
    /// One count, as a share of the range.
    pub count: f64,
    /// Offset, in counts.
    pub offset_counts: f64,
    /// Noise at an aperture of one power-line cycle, one deviation, in counts.
    pub noise_counts: f64,
    /// Error of the gain, as a share of the reading.
    pub gain_error: f64,
    /// Share of the range from which a reading is an overload.
    pub overload: f64,
    /// Length of a power-line cycle.
    pub line_cycle: Time,
    /// Pause after a change of range.
    pub range_gap: Time,
    /// Input resistance on volts.
    pub input_resistance: Resistance,
}

impl Default for MeterModel {
    /// Five ranges from 10 µA to 100 mA in counts of 1e-5 of the range. A feedback input burdens
    /// the two lowest with 10 Ω; the shunts above drop 100 mV at full scale.
    fn default() -> Self {
        let ranges = [(1e-5, 10.0), (1e-4, 10.0), (1e-3, 100.0), (1e-2, 10.0), (0.1, 1.0)];
        Self {
            tongue: MeterTongue::Scpi,
            identity: "SKARVIK,SIMULATED-METER,0001,1.0".to_owned(),
            wakes_on: None,
            current_ranges: ranges.iter().map(|it| (amperes(it.0), ohms(it.1))).collect(),
            voltage_ranges: [0.1, 1.0, 10.0, 100.0].iter().map(|full| volts(*full)).collect(),
            count: 1e-5,
            offset_counts: 3.0,
            noise_counts: 1.0,
            gain_error: 1e-4,
            overload: 1.2,
            line_cycle: seconds(0.02),
            range_gap: seconds(0.2),
            input_resistance: ohms(10e6),
        }
    }
}
