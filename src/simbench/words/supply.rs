//! The supply's words.

use scpi::error::{Error, ErrorCode, Result};
use scpi::tree::prelude::Node;
use scpi::{Branch, Leaf};

use super::{
    CLEAR, ERROR, EVENTS, IDENTITY, OPERATION_COMPLETE, Order, PANEL, RESET, VERSION, number, only,
    words,
};
use crate::simbench::supply::{OutOfRange, Trip};
use crate::simbench::world::World;

impl From<OutOfRange> for Error {
    fn from(_: OutOfRange) -> Self {
        ErrorCode::DataOutOfRange.into()
    }
}

const VOLTAGE: Order = Order::both(
    |world, params| {
        let volts = number(params)?;
        world.check_set_voltage(volts);
        Ok(world.supply.set_voltage(volts)?)
    },
    |world| Ok(Some(volts(world.supply.voltage))),
);
const CURRENT: Order = Order::both(
    |world, params| Ok(world.supply.set_current(number(params)?)?),
    |world| Ok(Some(amperes(world.supply.current))),
);
const OVER_VOLTAGE: Order = Order::both(
    |world, params| Ok(world.supply.set_over_voltage(number(params)?)?),
    |world| Ok(Some(volts(world.supply.over_voltage))),
);
const OVER_CURRENT: Order = Order::both(
    |world, params| Ok(world.supply.set_over_current(number(params)?)?),
    |world| Ok(Some(amperes(world.supply.over_current))),
);
const VOLTAGE_TRIPPED: Order =
    Order::ask(|world| Ok(Some(flag(world.supply.trip == Some(Trip::Voltage)))));
const CURRENT_TRIPPED: Order =
    Order::ask(|world| Ok(Some(flag(world.supply.trip == Some(Trip::Current)))));
const FORGIVE: Order = Order::act(|world, _| {
    world.supply.trip = None;
    Ok(())
});
const OUTPUT: Order = Order::both(
    |world, params| switch(world, only(params)?),
    |world| Ok(Some(flag(world.supply.tells_on()))),
);
const MEASURE_VOLTAGE: Order = Order::ask(|world| {
    let measured = world.supply.measured_voltage(&world.state, &mut world.dice);
    Ok(Some(volts(measured)))
});
const MEASURE_CURRENT: Order = Order::ask(|world| {
    let measured = world.supply.measured_current(world.given_now, &mut world.dice);
    Ok(Some(amperes(measured)))
});

/// Everything the supply understands.
pub(super) const WORDS: Node<World> = words![
    Branch![b"OUTPut" => &OUTPUT; Leaf!(b"STATe" => &OUTPUT)],
    Branch![b"MEASure";
        Branch![b"VOLTage" => &MEASURE_VOLTAGE; Leaf!(b"DC" => &MEASURE_VOLTAGE)],
        Branch![b"CURRent" => &MEASURE_CURRENT; Leaf!(b"DC" => &MEASURE_CURRENT)]
    ],
    Branch![default b"SOURce";
        Branch![b"VOLTage" => &VOLTAGE;
            Branch![b"LEVel" => &VOLTAGE;
                Branch![b"IMMediate" => &VOLTAGE; Leaf!(b"AMPLitude" => &VOLTAGE)]
            ],
            Branch![b"PROTection" => &OVER_VOLTAGE;
                Leaf!(b"LEVel" => &OVER_VOLTAGE),
                Leaf!(b"TRIPped" => &VOLTAGE_TRIPPED),
                Leaf!(b"CLEar" => &FORGIVE)
            ]
        ],
        Branch![b"CURRent" => &CURRENT;
            Branch![b"LEVel" => &CURRENT;
                Branch![b"IMMediate" => &CURRENT; Leaf!(b"AMPLitude" => &CURRENT)]
            ],
            Branch![b"PROTection" => &OVER_CURRENT;
                Leaf!(b"LEVel" => &OVER_CURRENT),
                Leaf!(b"TRIPped" => &CURRENT_TRIPPED),
                Leaf!(b"CLEar" => &FORGIVE)
            ]
        ]
    ]
];

/// Switches the output, if no protection is latched.
pub(super) fn switch(world: &mut World, on: bool) -> Result<()> {
    if !on {
        world.supply.switch_off();
        return Ok(());
    }
    if world.supply.trip.is_some() {
        return Err(ErrorCode::SettingsConflict.into());
    }
    world.check_switch_on();
    world.supply.switch_on(world.now());
    Ok(())
}

fn volts(value: f64) -> String {
    format!("{value:.3}")
}

fn amperes(value: f64) -> String {
    format!("{value:.4}")
}

fn flag(value: bool) -> String {
    u8::from(value).to_string()
}
