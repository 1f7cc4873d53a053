//! The meter's words.

use scpi::error::{ErrorCode, Result};
use scpi::tree::prelude::{Node, Parameters};
use scpi::{Branch, Leaf};

use super::{
    CLEAR, ERROR, EVENTS, IDENTITY, OPERATION_COMPLETE, Order, PANEL, RESET, VERSION, nr3, number,
    only, spelled, words,
};
use crate::simbench::meter::Function;
use crate::simbench::world::World;

/// Shortest and longest aperture in power-line cycles.
const CYCLES: std::ops::RangeInclusive<f64> = 0.02..=100.0;

const CONFIGURED: Order = Order::ask(|world| {
    let function = world.meter.function;
    let word = match function {
        Function::Current => "CURR",
        Function::Voltage => "VOLT",
    };
    Ok(Some(format!("\"{word} {}\"", nr3(world.meter.range(function)))))
});
const CONFIGURE_CURRENT: Order =
    Order::act(|world, params| configure(world, params, Function::Current));
const CONFIGURE_VOLTAGE: Order =
    Order::act(|world, params| configure(world, params, Function::Voltage));
const CURRENT_RANGE: Order = Order::both(
    |world, params| choose(world, Function::Current, number(params)?),
    |world| Ok(Some(nr3(world.meter.range(Function::Current)))),
);
const VOLTAGE_RANGE: Order = Order::both(
    |world, params| choose(world, Function::Voltage, number(params)?),
    |world| Ok(Some(nr3(world.meter.range(Function::Voltage)))),
);
const AUTOMATIC: Order = Order::both(
    |world, params| {
        world.meter.automatic = only(params)?;
        Ok(())
    },
    |world| Ok(Some(u8::from(world.meter.automatic).to_string())),
);
const APERTURE: Order = Order::both(
    |world, params| {
        let cycles = number(params)?;
        if !CYCLES.contains(&cycles) {
            return Err(ErrorCode::DataOutOfRange.into());
        }
        world.meter.choose_cycles(cycles);
        Ok(())
    },
    |world| Ok(Some(nr3(world.meter.cycles))),
);
const READ: Order = Order::ask(|world| {
    begin(world);
    world.meter.awaited = true;
    Ok(None)
});
const FETCH: Order = Order::ask(|world| {
    if world.meter.is_converting() {
        world.meter.awaited = true;
        return Ok(None);
    }
    let told = world.meter.tell().ok_or(ErrorCode::DataCorruptOrStale)?;
    Ok(Some(spelled(told)))
});
const INITIATE: Order = Order::act(|world, _| {
    begin(world);
    Ok(())
});
const ABORT: Order = Order::act(|world, _| {
    world.meter.abort();
    Ok(())
});

/// Everything the meter understands.
pub(super) const WORDS: Node<World> = words![
    Branch![b"CONFigure" => &CONFIGURED;
        Branch![b"CURRent" => &CONFIGURE_CURRENT; Leaf!(b"DC" => &CONFIGURE_CURRENT)],
        Branch![b"VOLTage" => &CONFIGURE_VOLTAGE; Leaf!(b"DC" => &CONFIGURE_VOLTAGE)]
    ],
    Leaf!(b"READ" => &READ),
    Leaf!(b"FETCh" => &FETCH),
    Branch![b"INITiate" => &INITIATE; Leaf!(b"IMMediate" => &INITIATE)],
    Leaf!(b"ABORt" => &ABORT),
    Branch![default b"SENSe";
        Branch![b"CURRent";
            Branch![default b"DC";
                Branch![b"RANGe" => &CURRENT_RANGE;
                    Leaf!(b"UPPer" => &CURRENT_RANGE),
                    Leaf!(b"AUTO" => &AUTOMATIC)
                ],
                Leaf!(b"NPLCycles" => &APERTURE)
            ]
        ],
        Branch![b"VOLTage";
            Branch![default b"DC";
                Branch![b"RANGe" => &VOLTAGE_RANGE;
                    Leaf!(b"UPPer" => &VOLTAGE_RANGE),
                    Leaf!(b"AUTO" => &AUTOMATIC)
                ],
                Leaf!(b"NPLCycles" => &APERTURE)
            ]
        ]
    ]
];

/// Starts a conversion; the meter sees the charge at once if it starts now.
pub(super) fn begin(world: &mut World) {
    let now = world.now();
    world.meter.start(now);
    world.meter.see(now, world.state.through_part, &mut world.dice);
}

/// Selects function and range; without a range, automatic ranging.
fn configure(world: &mut World, params: &mut Parameters, function: Function) -> Result<()> {
    let full: Option<f64> = params.next_optional_data()?;
    world.meter.choose_function(function, world.now());
    let Some(full) = full else {
        world.meter.automatic = true;
        return Ok(());
    };
    choose(world, function, full)
}

fn choose(world: &mut World, function: Function, full: f64) -> Result<()> {
    let chosen = world.meter.choose_range(function, full, world.now());
    chosen.ok_or(ErrorCode::DataOutOfRange.into())
}
