//! Current sensed as volts across a resistor, with the meter's input beside it, on the whole
//! program.

mod rig;

use reststrom::quantity::ohms;
use reststrom::simbench::{BenchOptions, Sensing};
use rig::{Rig, part};

fn across(kiloohm: f64, clip: &str) -> Rig {
    let sensing = Sensing::Resistor(ohms(kiloohm * 1e3));
    let rig =
        Rig::on(BenchOptions { lapse: 25.0, sensing, ..BenchOptions::default() }, &part(clip));
    let name = "identity = \"SKARVIK,SIMULATED-METER\"";
    rig.rewire(name, &format!("{name}\nsense_resistor = \"{kiloohm} kΩ\""));
    rig
}

#[test]
fn a_sound_part_is_within_across_a_resistor_as_it_is_by_the_shunt() {
    let rig = across(10.0, "C14");
    let ended = rig.run(&["soak", "C14", "22µF", "25V", "tantalum", "--json"]);
    let object = ended.json();
    assert_eq!(object["verdict"], "within", "{ended:?}");
    // 0.165 µA leaks, and β·C·U/t = 6e-3 · 535 µC / 300 s = 10.7 nA of absorption beside it.
    let (got, spread) = (
        object["current"]["ampere"].as_f64().unwrap_or_default(),
        object["current"]["uncertainty_ampere"].as_f64().unwrap_or_default(),
    );
    assert!((got - 175.7e-9).abs() <= spread, "{got} ± {spread}");
    rig.is_left_safe();
}

#[test]
fn a_leaky_part_is_over_across_a_resistor() {
    let rig = across(10.0, "C15");
    let ended = rig.run(&["soak", "C15", "22µF", "25V", "tantalum", "--json"]);
    assert_eq!(ended.json()["verdict"], "over", "{ended:?}");
    rig.is_left_safe();
}

#[test]
fn a_short_is_found_across_a_resistor() {
    let rig = across(10.0, "C32");
    let ended = rig.run(&["soak", "C32", "100µF", "16V", "aluminium", "--json"]);
    assert_eq!(ended.json()["findings"][0], "shorted", "{ended:?}");
    rig.is_left_safe();
}
