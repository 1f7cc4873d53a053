//! The supply that speaks whole words, sends back each line and writes units behind its numbers.

use crate::simbench::world::World;

/// Does what a line says; gives its echo and, if it is a question, the answer behind it.
pub(super) fn answer(world: &mut World, line: &str) -> Vec<u8> {
    let said = match line.split_once(' ') {
        Some((key, "?")) => Some(told(world, key)),
        Some((key, value)) => set(world, key, value),
        None => None,
    };
    said.map_or(format!("{line}\r\n"), |said| format!("{line}\r\n{said}\r\n")).into_bytes()
}

/// Sets something; says so if it does not.
fn set(world: &mut World, key: &str, value: &str) -> Option<String> {
    let switch = match (key, value) {
        ("output", "on") => Some(true),
        ("output", "off") => Some(false),
        _ => None,
    };
    if let Some(on) = switch {
        return super::supply::switch(world, on).err().map(|_latched| "not now".to_owned());
    }
    let digits = value.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    let number: Option<f64> = value.parse().ok().filter(|_| digits);
    let done = number.and_then(|number| match key {
        "voltage" => {
            world.check_set_voltage(number);
            world.supply.set_voltage(number).ok()
        }
        "limit" => world.supply.set_current(number).ok(),
        "ovp" => world.supply.set_over_voltage(number).ok(),
        "ocp" => world.supply.set_over_current(number).ok(),
        _ => None,
    });
    if done.is_none() { Some("what?".to_owned()) } else { None }
}

fn told(world: &mut World, key: &str) -> String {
    let supply = &world.supply;
    match key {
        "name" => world.speaker().identity.clone(),
        "voltage" => format!("{:.2} V", supply.voltage),
        "limit" => format!("{:.4} A", supply.current),
        "ovp" => format!("{:.2} V", supply.over_voltage),
        "ocp" => format!("{:.4} A", supply.over_current),
        "output" => {
            let state = if supply.tells_on() { "on" } else { "off" };
            format!("output is {state}")
        }
        "measure" => {
            let volts = world.supply.measured_voltage(&world.state, &mut world.dice);
            format!("{volts:.3} V")
        }
        _ => "what?".to_owned(),
    }
}
