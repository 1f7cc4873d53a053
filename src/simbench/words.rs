//! The words that the instruments understand: SCPI over IEEE 488.2.
//!
//! Each command is an [`Order`]: what it does and what its question answers. Parsing, short and
//! long forms, optional nodes and the error numbers are those of the `scpi` crate. A question that
//! must wait for a conversion (`READ?`, `FETC?`) gives no answer here; it comes when the aperture
//! ends, and must be the last on its line.

use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::format::Character;
use scpi::parser::tokenizer::Token;
use scpi::tree::prelude::{
    Command, CommandTypeMeta, Context, Device, Node, Parameters, ResponseUnit,
};

use crate::simbench::desk::{COMPLETE, Instrument};
use crate::simbench::look::Speaker;
use crate::simbench::meter::Told;
use crate::simbench::options::{MeterTongue, Tongue};
use crate::simbench::world::World;

mod echoing;
mod meter;
mod stream;
mod supply;
mod switch;
mod terse;

/// What a command does.
type Act = fn(&mut World, &mut Parameters) -> Result<()>;
/// What a question answers; nothing if the answer comes later.
type Ask = fn(&mut World) -> Result<Option<String>>;

/// A command, a question, or both.
struct Order {
    act: Option<Act>,
    ask: Option<Ask>,
}

impl Order {
    const fn act(act: Act) -> Self {
        Self { act: Some(act), ask: None }
    }

    const fn ask(ask: Ask) -> Self {
        Self { act: None, ask: Some(ask) }
    }

    const fn both(act: Act, ask: Ask) -> Self {
        Self { act: Some(act), ask: Some(ask) }
    }
}

impl Command<World> for Order {
    fn meta(&self) -> CommandTypeMeta {
        CommandTypeMeta::Unknown
    }

    fn event(&self, world: &mut World, _: &mut Context, mut params: Parameters) -> Result<()> {
        self.act.map_or(Err(ErrorCode::UndefinedHeader.into()), |act| act(world, &mut params))
    }

    fn query(
        &self,
        world: &mut World,
        _: &mut Context,
        _: Parameters,
        mut response: ResponseUnit,
    ) -> Result<()> {
        let ask = self.ask.ok_or(Error::new(ErrorCode::UndefinedHeader))?;
        match ask(world)? {
            Some(answer) => response.data(Character(answer.as_bytes())).finish(),
            None => Ok(()),
        }
    }
}

impl Device for World {
    fn handle_error(&mut self, error: Error) {
        self.speaker().push(error);
    }
}

impl World {
    /// An instrument hears a line, at the time up to which the bench has been moved.
    pub(crate) fn hear(&mut self, which: Instrument, line: &str) {
        self.note(which, Speaker::Client, line);
        let now = self.now();
        if !self.desk(which).hears(now) || line.trim().is_empty() {
            return;
        }
        self.speaking = which;
        line.clone_into(&mut self.desk(which).way.told);
        // IEEE 488.2: a message that comes before the answer was taken interrupts the question.
        if which == Instrument::Meter && self.meter.awaited {
            self.meter.abort();
            self.speaker().push(ErrorCode::QueryInterrupted.into());
        }
        if which == Instrument::Meter && self.meter.model.tongue != MeterTongue::Scpi {
            return;
        }
        if which == Instrument::Supply && self.supply.trouble.local && !line.contains('?') {
            self.speaker().push(ErrorCode::CommandProtected.into());
            return;
        }
        if which == Instrument::Supply && self.supply.model.tongue != Tongue::Scpi {
            self.answer_in_tongue(line.trim());
            return;
        }
        let mut response: Vec<u8> = Vec::new();
        let tree: Node<World> = match which {
            Instrument::Supply => supply::WORDS,
            Instrument::Meter => meter::WORDS,
            Instrument::Switch => switch::WORDS,
        };
        let outcome = tree.run(line.as_bytes(), self, &mut Context::new(), &mut response);
        let answer = String::from_utf8_lossy(&response);
        if outcome.is_ok() && !answer.trim().is_empty() {
            self.speaker().reply(now, answer.trim_end());
        }
    }

    /// A line that never ended was thrown away.
    pub(crate) fn overrun(&mut self, which: Instrument) {
        self.desk(which).push(ErrorCode::InputBufferOverrun.into());
    }

    fn answer_in_tongue(&mut self, line: &str) {
        let now = self.now();
        let said = match self.supply.model.tongue {
            Tongue::Terse => terse::answer(self, line),
            Tongue::Scpi | Tongue::Echoing => Some(echoing::answer(self, line)),
        };
        if let Some(said) = said {
            self.desk(Instrument::Supply).send(now, said);
        }
    }

    /// Takes what an instrument says by now.
    pub(crate) fn say(&mut self, which: Instrument) -> Vec<Vec<u8>> {
        if which == Instrument::Meter && self.meter.model.tongue != MeterTongue::Scpi {
            self.stream();
        }
        if which == Instrument::Meter && self.meter.awaited && !self.meter.is_converting() {
            self.meter.awaited = false;
            if let Some(told) = self.meter.tell() {
                let now = self.now();
                self.desk(which).reply(now, &spelled(told));
            }
        }
        let now = self.now();
        let said = self.desk(which).due(now);
        for bytes in &said {
            let line = bytes.trim_ascii().escape_ascii().to_string();
            self.note(which, Speaker::Instrument, &line);
        }
        said
    }

    fn speaker(&mut self) -> &mut crate::simbench::desk::Desk {
        self.desk(self.speaking)
    }
}

/// A command's only parameter. More are refused here, before the command acts on the first.
fn only<'a, T>(params: &mut Parameters<'a, '_>) -> Result<T>
where
    T: TryFrom<Token<'a>, Error = Error>,
{
    let value = params.next_data()?;
    match params.next_optional_token()? {
        None => Ok(value),
        Some(_) => Err(ErrorCode::ParameterNotAllowed.into()),
    }
}

/// A finite number, alone.
fn number(params: &mut Parameters) -> Result<f64> {
    let value: f64 = only(params)?;
    if value.is_finite() { Ok(value) } else { Err(ErrorCode::DataOutOfRange.into()) }
}

/// A number in NR3 form: `+1.234500E-06`.
fn nr3(value: f64) -> String {
    let plain = format!("{value:+.6E}");
    let Some((mantissa, exponent)) = plain.split_once('E') else { return plain };
    let (sign, digits) = exponent.strip_prefix('-').map_or(('+', exponent), |digits| ('-', digits));
    format!("{mantissa}E{sign}{digits:0>2}")
}

fn spelled(told: Told) -> String {
    match told {
        Told::Number(value) => nr3(value),
        Told::Word => "Err".to_owned(),
    }
}

const IDENTITY: Order = Order::ask(|world| Ok(Some(world.speaker().identity.clone())));
const CLEAR: Order = Order::act(|world, _| {
    world.speaker().clear();
    Ok(())
});
const RESET: Order = Order::act(|world, _| {
    match world.speaking {
        Instrument::Supply => world.supply.reset(),
        Instrument::Meter => world.meter.reset(),
        Instrument::Switch => {
            for channel in world.switch.closed.clone() {
                world.open_relay_of(channel);
            }
        }
    }
    Ok(())
});
const EVENTS: Order = Order::ask(|world| {
    let events = std::mem::take(&mut world.speaker().events);
    Ok(Some(events.to_string()))
});
const OPERATION_COMPLETE: Order = Order::both(
    |world, _| {
        world.speaker().events |= COMPLETE;
        Ok(())
    },
    |_| Ok(Some("1".to_owned())),
);
const ERROR: Order = Order::ask(|world| Ok(Some(world.speaker().pop().to_string())));
const VERSION: Order = Order::ask(|_| Ok(Some("1999.0".to_owned())));
/// Taken and without effect: the simulated panels have no keys.
const PANEL: Order = Order::act(|_, _| Ok(()));

/// The tree of one instrument: what all have, and its own nodes.
macro_rules! words {
    ($($node:expr),+ $(,)?) => {
        scpi::Root![
            Leaf!(b"*IDN" => &IDENTITY),
            Leaf!(b"*CLS" => &CLEAR),
            Leaf!(b"*RST" => &RESET),
            Leaf!(b"*ESR" => &EVENTS),
            Leaf!(b"*OPC" => &OPERATION_COMPLETE),
            Branch![b"SYSTem";
                Branch![b"ERRor" => &ERROR; Leaf!(b"NEXT" => &ERROR)],
                Leaf!(b"VERSion" => &VERSION),
                Leaf!(b"REMote" => &PANEL),
                Leaf!(b"LOCal" => &PANEL)
            ],
            $($node),+
        ]
    };
}
use words;
