//! From what a client sends to a plan and a start: the same cautions, refusals and
//! acknowledgements as on the command line.

use std::hash::{BuildHasher, DefaultHasher, Hash, Hasher, RandomState};

use super::objects::{PlannedObject, StartObject};
use crate::daemon::asked::Asked;
use crate::daemon::refused::{Ground, Refused};
use crate::daemon::served::{Served, Start};
use crate::daemon::{PlanObject, with_zero};
use crate::plan::{Aim, Drawn, Wish};
use crate::record::{Record, RunId};

/// A plan with its mark, or everything that is in the way.
type Planned = Result<((Wish, Drawn), PlannedObject), Refused>;

/// The plan of what is asked for, and its mark.
///
/// # Errors
///
/// [`Refused`] with everything that is in the way.
pub(super) async fn planned(served: &Served, asked: &Asked) -> Planned {
    let (served, asked) = (served.clone(), asked.clone());
    // On a thread that may wait for the disk.
    tokio::task::spawn_blocking(move || draw(&served, &asked)).await.map_err(|error| {
        Refused::new(Ground::Fault, format!("the plan: {error}"), "see the program's log")
    })?
}

fn draw(served: &Served, asked: &Asked) -> Planned {
    // The zero that is on record now: a command may have borrowed the station to take a new one.
    let station = with_zero(served.station(), &Record::open_for_reading(served.record())?)?;
    let (wish, drawn) = asked.drawn(&station)?;
    if wish.aim == Aim::Reform {
        return Err(Refused::usage(
            "re-forming needs a person who feels the can",
            "stay at the bench and use `reststrom reform`",
        ));
    }
    let plan = PlanObject::of(&wish, &drawn, &station);
    let mark = mark(&plan);
    Ok(((wish, drawn), PlannedObject { plan, mark }))
}

/// Starts what was planned: only by the mark of a plan, so that its cautions have been shown.
///
/// # Errors
///
/// [`Refused`]: nothing was energised.
pub(super) async fn start(served: &Served, start: StartObject) -> Result<RunId, Refused> {
    check_token(&start.token)?;
    let ((wish, drawn), planned) = planned(served, &start.asked).await?;
    if planned.mark != start.mark {
        return Err(Refused::new(
            Ground::Usage,
            "the mark is not that of this plan",
            "ask for the plan, read its cautions, and send its mark back",
        ));
    }
    let StartObject { asked, token, unlock, .. } = start;
    served.start(Start { asked, wish, drawn, token, unlock }).await
}

fn check_token(token: &str) -> Result<(), Refused> {
    let plain = |letter: u8| letter.is_ascii_alphanumeric() || letter == b'_' || letter == b'-';
    if (8..=64).contains(&token.len()) && token.bytes().all(plain) {
        return Ok(());
    }
    Err(Refused::usage(
        format!("the token is {token:?}"),
        "expected 8 to 64 letters, digits, `-` and `_`, new for each start",
    ))
}

/// What a person acknowledges: a plan that does anything else to the part, or needs other cautions,
/// has another mark. How good the reading will be, which also depends on how old the zero of the
/// fixture is, is no part of it.
fn mark(plan: &PlanObject) -> String {
    let numbers = [
        plan.test_volt,
        plan.limit_ampere,
        plan.soak_second,
        plan.current_limit_ampere,
        plan.over_voltage_volt,
        plan.cut_out_ampere,
        plan.energy_joule,
    ];
    let mut hasher = DefaultHasher::new();
    (&plan.station, &plan.part, &plan.cautions, numbers.map(f64::to_bits)).hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

/// A token that nobody has used.
#[must_use]
pub fn fresh_token() -> String {
    let part = || RandomState::new().hash_one(std::process::id());
    format!("{:016x}{:016x}", part(), part())
}
