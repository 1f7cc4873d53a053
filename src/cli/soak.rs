//! `soak`: tests the part in the clip.

use super::ask::{RunArguments, StationArgument, WishArguments};
use super::failure::Failure;
use super::{Exit, plan, screen, served, show, sitting};
use crate::daemon::asked::{Asked, drawn};
use crate::plan::{Drawn, Wish};
use crate::record::{Record, Run};
use crate::report::object::RunObject;

/// Arguments of `soak`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    wish: WishArguments,
    #[command(flatten)]
    run: RunArguments,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    single(&arguments.wish.asked(), &arguments.wish.common.station, &arguments.run)
}

/// One run of any kind: said first, carried out, shown.
pub(super) fn single(
    asked: &Asked,
    station: &StationArgument,
    run: &RunArguments,
) -> Result<Exit, Failure> {
    let wish = asked.wish()?;
    let station = station.load_with_zero(&run.record)?;
    let drawn = drawn(&wish, &station)?;
    if let Some(exit) = served::single(asked, (&wish, &drawn), &station.name, run)? {
        return Ok(exit);
    }
    let path = run.record.path()?;
    if !run.unlock {
        sitting::refuse_locked_out(&path, &station.name)?;
    }
    say_first(&wish, &drawn);
    let finished = sitting::runtime()?.block_on(sitting::one(&wish, &drawn, &station, &path))?;
    tell(&Record::open_for_reading(&path)?.run(finished.id)?, run.json);
    let ruling = &finished.outcome.ruling;
    Ok(Exit::of(ruling.verdict, &ruling.findings, finished.outcome.left))
}

/// Cautions, and the plan in a line.
pub(super) fn say_first(wish: &Wish, drawn: &Drawn) {
    screen::complain(&plan::cautions(drawn));
    screen::complain(&plan::short(wish, drawn));
}

/// The result, as a page or as JSON.
pub(super) fn tell(run: &Run, json: bool) {
    if json {
        screen::tell_json(&RunObject::of(run));
    } else {
        screen::tell(&show::page(run));
    }
}
