//! `soak`: tests the part in the clip.

use super::ask::{WishArguments, drawn};
use super::failure::Failure;
use super::{Exit, RecordArgument, plan, screen, show, sitting};
use crate::daemon::OpenStation;
use crate::plan::{Drawn, Wish};
use crate::record::{LimitOnRecord, NewRun, Record};
use crate::report::object::RunObject;
use crate::station::wiring::Station;

/// Arguments of `soak`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    wish: WishArguments,
    #[command(flatten)]
    record: RecordArgument,
    /// I have looked at the bench that the last run left locked out: output off, part empty
    #[arg(long)]
    unlock: bool,
    /// Print the result as JSON, not as a page
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let wish = arguments.wish.wish()?;
    let station = arguments.wish.station.load()?;
    let drawn = drawn(&wish, &station)?;
    let path = arguments.record.path()?;
    if !arguments.unlock {
        sitting::refuse_locked_out(&path, &station.name)?;
    }
    screen::complain(&plan::cautions(&drawn));
    screen::complain(&plan::short(&wish, &drawn));
    let finished = sitting::runtime()?.block_on(sitting::one(&wish, &drawn, &station, &path))?;
    let run = Record::open_for_reading(&path)?.run(finished.id)?;
    if arguments.json {
        screen::tell_json(&RunObject::of(&run));
    } else {
        screen::tell(&show::page(&run));
    }
    let ruling = &finished.outcome.ruling;
    Ok(Exit::of(ruling.verdict, &ruling.findings, finished.outcome.left))
}

/// What is known of a run when it begins.
pub(crate) fn new_run(wish: &Wish, drawn: &Drawn, station: &Station, open: &OpenStation) -> NewRun {
    let plan = plan::PlanObject::of(wish, drawn, station);
    NewRun {
        station: station.name.clone(),
        simulated: station.simulated,
        lapse: station.bench.lapse,
        part_name: wish.part.name.clone().unwrap_or_default(),
        family_tag: wish.part.family.tag().to_owned(),
        capacitance: wish.part.rating.capacitance(),
        tolerance: wish.part.tolerance.map(crate::part::Tolerance::above),
        rated: wish.part.rating.voltage(),
        test_voltage: drawn.plan.test_voltage,
        limit: Some(LimitOnRecord {
            current: drawn.plan.target.limit,
            rule: wish.limit.rule.to_string(),
            source: wish.limit.source.clone(),
            reading_time: Some(drawn.plan.target.reading_time),
            reference_celsius: wish.limit.reference.map(crate::quantity::Celsius::degrees),
        }),
        plan_json: serde_json::to_string(&plan).unwrap_or_default(),
        instruments: open.instruments.clone(),
        software: format!("reststrom {}", env!("CARGO_PKG_VERSION")),
        started: jiff::Timestamp::now(),
    }
}
