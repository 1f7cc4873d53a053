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

/// The plan of what is asked for, and its mark.
///
/// # Errors
///
/// [`Refused`] with everything that is in the way.
pub(super) fn planned(
    served: &Served,
    asked: &Asked,
) -> Result<((Wish, Drawn), PlannedObject), Refused> {
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
    let ((wish, drawn), planned) = planned(served, &start.asked)?;
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

/// A plan with other numbers or cautions has another mark.
fn mark(plan: &PlanObject) -> String {
    let mut hasher = DefaultHasher::new();
    format!("{plan:?}").hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

/// A token that nobody has used.
#[must_use]
pub fn fresh_token() -> String {
    let part = || RandomState::new().hash_one(std::process::id());
    format!("{:016x}{:016x}", part(), part())
}
