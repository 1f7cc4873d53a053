//! The switch's words.

use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::expression::channel_list::{ChannelList, Token as Listed};
use scpi::parser::format::Character;
use scpi::parser::tokenizer::Token;
use scpi::tree::prelude::{Command, CommandTypeMeta, Context, Node, Parameters, ResponseUnit};
use scpi::{Branch, Leaf};

use super::{
    CLEAR, ERROR, EVENTS, IDENTITY, OPERATION_COMPLETE, Order, PANEL, RESET, VERSION, words,
};
use crate::simbench::world::World;

/// A command about channels, and whether its question asks for closed or for open ones.
struct Route {
    act: fn(&mut World, u32),
    asks_closed: bool,
}

impl Command<World> for Route {
    fn meta(&self) -> CommandTypeMeta {
        CommandTypeMeta::Unknown
    }

    fn event(&self, world: &mut World, _: &mut Context, mut params: Parameters) -> Result<()> {
        for channel in channels(world, &mut params)? {
            (self.act)(world, channel);
        }
        Ok(())
    }

    fn query(
        &self,
        world: &mut World,
        _: &mut Context,
        mut params: Parameters,
        mut response: ResponseUnit,
    ) -> Result<()> {
        let channels = channels(world, &mut params)?;
        let flag = |channel| u8::from(world.switch.closed.contains(channel) == self.asks_closed);
        let flags: Vec<String> = channels.iter().map(|channel| flag(channel).to_string()).collect();
        response.data(Character(flags.join(",").as_bytes())).finish()
    }
}

const CLOSE: Route = Route { act: World::close_relay_of, asks_closed: true };
const OPEN: Route = Route { act: World::open_relay_of, asks_closed: false };
const OPEN_ALL: Order = Order::act(|world, _| {
    for channel in world.switch.closed.clone() {
        world.open_relay_of(channel);
    }
    Ok(())
});
const STATE: Order = Order::ask(|world| {
    let closed: Vec<String> = world.switch.closed.iter().map(u32::to_string).collect();
    Ok(Some(format!("(@{})", closed.join(","))))
});

/// Everything the switch understands.
pub(super) const WORDS: Node<World> = words![Branch![b"ROUTe";
    Branch![b"CLOSe" => &CLOSE; Leaf!(b"STATe" => &STATE)],
    Branch![b"OPEN" => &OPEN; Leaf!(b"ALL" => &OPEN_ALL)]
]];

/// The channels of a list, each of which there is; ranges are not among its words.
fn channels(world: &World, params: &mut Parameters) -> Result<Vec<u32>> {
    let Token::ExpressionProgramData(text) = params.next_token()? else {
        return Err(ErrorCode::DataTypeError.into());
    };
    let list = ChannelList::new(text).ok_or(Error::new(ErrorCode::InvalidExpression))?;
    list.map(|listed| match listed.map_err(Error::new)? {
        Listed::ChannelSpec(spec) => {
            let number = usize::try_from(spec)?;
            let channel = u32::try_from(number).ok().filter(|channel| world.switch.has(*channel));
            channel.ok_or(ErrorCode::IllegalParameterValue.into())
        }
        Listed::ChannelRange(..) | Listed::ModuleChannel(..) | Listed::PathName(_) => {
            Err(ErrorCode::InvalidExpression.into())
        }
    })
    .collect()
}
