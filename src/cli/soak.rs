//! `soak`: tests the part in the clip.

use super::ask::{RunArguments, StationArgument, WishArguments, drawn};
use super::failure::Failure;
use super::sitting::Origin;
use super::{Exit, plan, screen, show, sitting};
use crate::daemon::OpenStation;
use crate::plan::{Drawn, Wish};
use crate::record::{Conditions, LimitOnRecord, NewRun, Record, Run};
use crate::report::object::RunObject;
use crate::station::wiring::Station;

/// Arguments of `soak`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    wish: WishArguments,
    #[command(flatten)]
    run: RunArguments,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    single(&arguments.wish.wish()?, &arguments.wish.common.station, &arguments.run)
}

/// One run of any kind: said first, carried out, shown.
pub(super) fn single(
    wish: &Wish,
    station: &StationArgument,
    run: &RunArguments,
) -> Result<Exit, Failure> {
    let station = station.load_with_zero(&run.record)?;
    let drawn = drawn(wish, &station)?;
    let path = run.record.path()?;
    if !run.unlock {
        sitting::refuse_locked_out(&path, &station.name)?;
    }
    say_first(wish, &drawn);
    let finished = sitting::runtime()?.block_on(sitting::one(wish, &drawn, &station, &path))?;
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

/// What is known of a run when it begins.
pub(crate) fn new_run(
    wish: &Wish,
    drawn: &Drawn,
    station: &Station,
    open: &OpenStation,
    origin: Origin,
) -> NewRun {
    let plan = plan::PlanObject::of(wish, drawn, station);
    NewRun {
        station: station.name.clone(),
        simulated: station.simulated,
        lapse: station.bench.lapse,
        kind: wish.aim.kind(),
        follows: origin.follows,
        place: origin.place,
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
            reference_celsius: Some(drawn.plan.warmth.reference.degrees()),
        }),
        conditions: Conditions {
            confidence: drawn.plan.confidence,
            judged_at: Some(drawn.plan.target.judged_at()),
            room: Some(drawn.plan.warmth.room),
            duty: wish.duty.map(|duty| duty.to_string()),
        },
        plan_json: serde_json::to_string(&plan).unwrap_or_default(),
        instruments: open.instruments.clone(),
        software: format!("reststrom {}", env!("CARGO_PKG_VERSION")),
        started: jiff::Timestamp::now(),
    }
}
