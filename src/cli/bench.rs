//! A simulated bench for `demo` and `simulate`, and the station file that goes with it.

use super::Exit;
use super::failure::{Failure, chain};
use crate::simbench::{Bench, BenchOptions, Scenario, scenario};

/// The invented parts of the pilot boat's radio room.
pub(crate) fn parts() -> Result<Scenario, Failure> {
    scenario().map_err(|error| Failure::new(Exit::Fault, chain(&error), "report this: it is ours"))
}

/// Starts a bench.
pub(crate) fn start(options: BenchOptions) -> Result<Bench, Failure> {
    Bench::start(options).map_err(|error| {
        Failure::new(Exit::Fault, chain(&error), "pseudo-terminals or loopback are needed")
    })
}

/// The station file of a simulated bench.
pub(crate) fn station_file(name: &str, lapse: f64, supply: &str, meter: &str) -> String {
    format!(
        "\
# A simulated bench: every result says so.
name = \"{name}\"
simulated = true
lapse = {lapse}
room = \"23 °C\"
room_tolerance_kelvin = 1
series_resistor = \"1 kΩ\"

[supply]
driver = \"scpi-supply\"
port = \"{supply}\"
identity = \"SKARVIK,SIMULATED-SUPPLY\"

[meter]
driver = \"scpi-meter\"
port = \"{meter}\"
identity = \"SKARVIK,SIMULATED-METER\"

[bleeder]
kind = \"fitted\"
resistance = \"10 kΩ\"
"
    )
}
