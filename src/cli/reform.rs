//! `reform`: grows the oxide of an aged wet aluminium part back, lets it rest, tests it.

use super::ask::{CommonArguments, RunArguments, drawn, time};
use super::failure::Failure;
use super::sitting::{self, Origin, Sitting};
use super::{Exit, screen, soak};
use crate::daemon::Finished;
use crate::plan::{Aim, Drawn, Wish};
use crate::quantity::Time;
use crate::record::Record;
use crate::station::wiring::Station;

/// Arguments of `reform`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    common: CommonArguments,
    /// Time that the part rests, empty, before it is tested
    #[arg(long, value_name = "TIME", default_value = "1h")]
    rest: String,
    #[command(flatten)]
    run: RunArguments,
}

/// What nobody but the person at the bench can watch (handbook §4.5, §6).
const WARMTH: &str = "\
CAUTION  stay with it, goggles on, and feel the can: above 45 °C, or 15 K above the room, stop with
         Ctrl-C or `reststrom stop`; do not re-form a part that bulges, leaks or has vented
";

/// What is done with the part, one after the other.
struct Course {
    form: (Wish, Drawn),
    rest: Time,
    test: (Wish, Drawn),
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let rest = time(&arguments.rest)?;
    let test = arguments.common.wish(None)?;
    let form = Wish { aim: Aim::Reform, ..test.clone() };
    let station = arguments.common.station.load_with_zero(&arguments.run.record)?;
    let course = Course {
        form: (form.clone(), drawn(&form, &station)?),
        rest,
        test: (test.clone(), drawn(&test, &station)?),
    };
    let path = arguments.run.record.path()?;
    if !arguments.run.unlock {
        sitting::refuse_locked_out(&path, &station.name)?;
    }
    soak::say_first(&course.form.0, &course.form.1);
    screen::complain(WARMTH);
    let runs = sitting::runtime()?.block_on(take(&course, &station, &path))?;
    let record = Record::open_for_reading(&path)?;
    for finished in &runs {
        soak::tell(&record.run(finished.id)?, arguments.run.json);
    }
    Ok(runs.last().map_or(Exit::Undecided, |finished| {
        let ruling = &finished.outcome.ruling;
        Exit::of(ruling.verdict, &ruling.findings, finished.outcome.left)
    }))
}

/// The runs that the course came to: the re-forming, and the soak if that did good.
async fn take(
    course: &Course,
    station: &Station,
    path: &std::path::Path,
) -> Result<Vec<Finished>, Failure> {
    let mut sitting = Sitting::begin(station, path, &course.form.1.plan).await?;
    let runs = carry_out(course, &mut sitting).await;
    sitting.end().await?;
    runs
}

async fn carry_out(course: &Course, sitting: &mut Sitting<'_>) -> Result<Vec<Finished>, Failure> {
    let (wish, drawn) = &course.form;
    let formed = sitting.run(wish, drawn, Origin::default()).await?;
    let good = formed.outcome.formed.is_some_and(|formed| formed.good);
    let id = formed.id;
    let mut runs = vec![formed];
    if good && sitting.rest(course.rest).await {
        let (wish, drawn) = &course.test;
        let origin = Origin { follows: Some(id), place: None };
        runs.push(sitting.run(wish, drawn, origin).await?);
    }
    Ok(runs)
}
