//! The station file of a benchmark, and a run at such a station as it begins.

#![allow(dead_code, unreachable_pub, reason = "each benchmark uses its own part of it")]

use reststrom::plan::{Kind, Plan};
use reststrom::record::{Conditions, NewRun};
use reststrom::station::wiring::Station;

/// A simulated bench with SCPI instruments at these ports.
pub fn station_file(name: &str, lapse: f64, supply: &str, meter: &str) -> String {
    format!(
        "\
name = \"{name}\"
simulated = true
lapse = {lapse}
room = \"25 °C\"
series_resistor = \"1 kΩ\"

[supply]
driver = \"scpi-supply\"
port = \"{supply}\"

[meter]
driver = \"scpi-meter\"
port = \"{meter}\"

[bleeder]
kind = \"fitted\"
resistance = \"10 kΩ\"
"
    )
}

/// A soak of the part that `plan` is for.
pub fn new_run(station: &Station, plan: &Plan) -> NewRun {
    NewRun {
        station: station.name.clone(),
        simulated: station.simulated,
        lapse: station.bench.lapse,
        kind: Kind::Soak,
        follows: None,
        place: None,
        part_name: "Terne receiver C7".into(),
        family_tag: "ta-mno2".into(),
        capacitance: plan.part.capacitance,
        tolerance: None,
        rated: plan.part.rated,
        test_voltage: plan.test_voltage,
        limit: None,
        conditions: Conditions::default(),
        plan_json: "{}".into(),
        instruments: Vec::new(),
        software: "benchmark".into(),
        started: jiff::Timestamp::now(),
    }
}
