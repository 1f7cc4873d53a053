//! The supply that speaks in letters and numbers of fixed width.
//!
//! It confirms nothing, and what it does not understand it ignores. Settings are told without an
//! end mark, the state as one byte, name and measured voltage with CR.

use crate::simbench::world::World;

/// Bits of the state.
const ALWAYS: u8 = 0x40;
const TRIPPED: u8 = 0x04;
const ON: u8 = 0x01;

/// Does what a line says; gives the bytes of the answer, if it is a question.
pub(super) fn answer(world: &mut World, line: &str) -> Option<Vec<u8>> {
    let mut letters = line.chars();
    match (letters.next()?, letters.as_str()) {
        (letter, "?") => {
            told(world, letter).map(String::into_bytes).or_else(|| state(world, letter))
        }
        ('E', "") => switched(world, true),
        ('D', "") => switched(world, false),
        (letter, digits) => {
            set(world, letter, digits);
            None
        }
    }
}

fn switched(world: &mut World, on: bool) -> Option<Vec<u8>> {
    // A latched protection keeps the output off, and nobody is told.
    super::supply::switch(world, on).ok()?;
    None
}

/// Sets something; what is out of range stays as it was, and nobody is told.
fn set(world: &mut World, letter: char, digits: &str) -> Option<()> {
    let (width, last) = match letter {
        'U' | 'P' => (4, 1e-2),
        'I' | 'L' => (5, 1e-4),
        _ => return None,
    };
    let right = digits.len() == width && digits.bytes().all(|byte| byte.is_ascii_digit());
    let value = f64::from(digits.parse::<u32>().ok().filter(|_| right)?) * last;
    match letter {
        'U' => {
            world.check_set_voltage(value);
            world.supply.set_voltage(value)
        }
        'P' => world.supply.set_over_voltage(value),
        'I' => world.supply.set_current(value),
        _ => world.supply.set_over_current(value),
    }
    .ok()
}

fn told(world: &mut World, letter: char) -> Option<String> {
    let supply = &world.supply;
    Some(match letter {
        'N' => format!("{}\r", world.speaker().identity),
        'U' => format!("{:04.0}", supply.voltage * 1e2),
        'P' => format!("{:04.0}", supply.over_voltage * 1e2),
        'I' => format!("{:05.0}", supply.current * 1e4),
        'L' => format!("{:05.0}", supply.over_current * 1e4),
        'M' => {
            let volts = world.supply.measured_voltage(&world.state, &mut world.dice);
            let sign = if volts < 0.0 { '-' } else { '+' };
            format!("{sign}{:05.0}\r", volts.abs() * 1e3)
        }
        _ => return None,
    })
}

fn state(world: &World, letter: char) -> Option<Vec<u8>> {
    let on = if world.supply.tells_on() { ON } else { 0 };
    let tripped = if world.supply.trip.is_some() { TRIPPED } else { 0 };
    (letter == 'S').then(|| vec![ALWAYS | tripped | on])
}
