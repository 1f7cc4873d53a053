//! How a served station stands: what it does, what its last run came to, what keeps it from work.

use std::sync::Arc;

use super::refused::Refused;
use crate::judge::{Finding, Left, Verdict};
use crate::plan::{Drawn, Wish};
use crate::record::{Run, RunId};
use crate::words::words;

words! {
    /// What a served station does.
    Doing {
        /// Nothing.
        Idle = "idle",
        /// A run was accepted; ports are opened, the keeper is started.
        Starting = "starting",
        /// A run goes on.
        Running = "running",
        /// What an interrupted run left is made safe.
        MakingSafe = "making-safe",
        /// A command of its own has the station.
        Lent = "lent",
        /// The program is about to end: nothing is begun any more.
        Closing = "closing",
    }
}

/// How a served station stands.
#[derive(Debug, Clone)]
pub struct Standing {
    /// What it does.
    pub doing: Doing,
    /// The run that was accepted or goes on.
    pub going: Option<Arc<Going>>,
    /// What the last run at this station came to.
    pub last: Option<Last>,
    /// Why nothing may be energised before a person has looked.
    pub locked_out: Option<String>,
    /// Why the last start came to nothing.
    pub trouble: Option<Refused>,
}

/// A run that was accepted or goes on.
#[derive(Debug)]
pub struct Going {
    /// Its number; none before it is on record.
    pub run: Option<RunId>,
    /// What is asked for.
    pub wish: Wish,
    /// What will be done.
    pub drawn: Drawn,
}

/// What the last run came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Last {
    /// Its number.
    pub run: RunId,
    /// The part in words.
    pub part: String,
    /// What is said of the part; none if the run has no end yet.
    pub verdict: Option<Verdict>,
    /// Why.
    pub findings: Vec<Finding>,
    /// How the part was left; none if nobody saw it.
    pub left: Option<Left>,
}

impl Standing {
    /// At the start: what the newest run on record left.
    pub(super) fn after(last: Option<&Run>) -> Self {
        let last = last.map(Last::of);
        let locked_out = last.as_ref().and_then(Last::lock_out);
        Self { doing: Doing::Idle, going: None, last, locked_out, trouble: None }
    }
}

impl Last {
    /// Of a run on record.
    #[must_use]
    pub fn of(run: &Run) -> Self {
        let begun = &run.begun;
        let rating = crate::part::Rating::new(begun.capacitance, begun.rated)
            .map_or_else(|_| String::new(), |rating| rating.to_string());
        let part = format!("{} {rating} {}", begun.part_name, begun.family_tag);
        Self {
            run: run.id,
            part: part.trim().to_owned(),
            verdict: run.verdict(),
            findings: run.findings().to_vec(),
            left: run.left(),
        }
    }

    /// Why nothing may be energised after this run, if so.
    pub(super) fn lock_out(&self) -> Option<String> {
        let locked = self.left == Some(Left::LockedOut);
        locked.then(|| format!("{} could not prove its part empty", self.run))
    }
}
