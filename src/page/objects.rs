//! What the API takes and gives: SI base units, names carry the unit.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::condition::Condition;
use crate::daemon::asked::Asked;
use crate::daemon::refused::{Problem, Refused};
use crate::daemon::served::Served;
use crate::daemon::{Going, Last, PlanObject};
use crate::judge::Left;

/// How a station stands.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct StationObject {
    /// Its name.
    pub station: String,
    /// The bench is simulated.
    pub simulated: bool,
    /// `idle`, `starting`, `running`, `making-safe`, `lent` or `closing`.
    pub doing: &'static str,
    /// `idle`, `energised`, `discharging`, `may-be-unclipped`, `locked-out` or `in-use`.
    pub condition: &'static str,
    /// That in words for a person.
    pub says: &'static str,
    /// What it means for hands.
    pub means: &'static str,
    /// Why it is locked out.
    pub locked_out: Option<String>,
    /// The run that goes on.
    pub going: Option<GoingObject>,
    /// What the last run came to.
    pub last: Option<LastObject>,
    /// Why the last start came to nothing.
    pub trouble: Option<ProblemObject>,
}

/// A run that goes on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct GoingObject {
    /// Its id; none before it is on record.
    pub run: Option<String>,
    /// `soak` or `staircase`.
    pub kind: &'static str,
    /// The part in words.
    pub part: String,
    /// Voltage of the test.
    pub test_volt: f64,
    /// Highest leakage that is within.
    pub limit_ampere: f64,
    /// When it is read, after full voltage.
    pub reading_time_second: f64,
    /// About how long the run takes, discharge included.
    pub duration_second: f64,
}

/// What the last run came to.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LastObject {
    /// Its id.
    pub run: String,
    /// The part in words.
    pub part: String,
    /// `within`, `over`, `undecided` or `untested`; none while it has no end.
    pub verdict: Option<&'static str>,
    /// Why, the reason first.
    pub findings: Vec<&'static str>,
    /// `safe` or `locked-out`; none if nobody saw it.
    pub left: Option<&'static str>,
}

/// Why something was not done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProblemObject {
    /// `question`, `usage`, `fault`, `locked-out` or `busy`; `gate` if the request may not be made.
    pub ground: String,
    /// What is in the way, one or more.
    pub problems: Vec<OneProblem>,
}

/// One thing that is in the way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OneProblem {
    /// The place, what was expected and what came.
    pub message: String,
    /// What to do next.
    pub help: String,
}

/// A plan, and the mark by which it is begun.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PlannedObject {
    /// The plan, with its cautions.
    pub plan: PlanObject,
    /// Names this very plan: a start sends it back, as a sign that the cautions were shown.
    pub mark: String,
}

/// A start.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StartObject {
    /// What is asked for.
    pub asked: Asked,
    /// The mark of the plan whose cautions were read.
    pub mark: String,
    /// The asker's own name for this start, 8 to 64 letters, digits, `-` and `_`: sent again, it
    /// begins nothing.
    #[schema(
        min_length = 8,
        max_length = 64,
        pattern = "^[A-Za-z0-9_-]{8,64}$",
        example = "bench-0001"
    )]
    pub token: String,
    /// I have looked at the bench that the last run left locked out: output off, part empty.
    #[serde(default)]
    pub unlock: bool,
}

/// A run that was begun.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct StartedObject {
    /// The station.
    pub station: String,
    /// The run's id.
    pub run: String,
    /// The record's file that it goes to.
    pub record: String,
}

/// What a stop came to.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct StoppedObject {
    /// The station.
    pub station: String,
    /// `stopping`: output off, discharge; `no-run`: there was nothing to stop.
    pub answer: &'static str,
}

/// The readings of a run as columns of equal length.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CurveObject {
    /// The run's id.
    pub run: String,
    /// The part in words.
    pub part: String,
    /// When each was read, since switch-on.
    pub time_second: Vec<f64>,
    /// The current; none where there is no number.
    pub ampere: Vec<Option<f64>>,
    /// The voltage at the part, where it is known.
    pub volt: Vec<Option<f64>>,
    /// Highest leakage that is within.
    pub limit_ampere: Option<f64>,
    /// When the test voltage stood at the part.
    pub full_voltage_second: Option<f64>,
    /// Readings that were on record; fewer are given where many lie close together, the extremes
    /// among them.
    pub readings: usize,
}

impl StationObject {
    /// Of a served station as it stands.
    #[must_use]
    pub fn of(served: &Served) -> Self {
        let standing = served.standing().borrow().clone();
        let phase = served.progress().borrow().phase;
        let condition = Condition::of(&standing, phase);
        Self {
            station: served.station().name.clone(),
            simulated: served.station().simulated,
            doing: standing.doing.tag(),
            condition: condition.tag(),
            says: condition.says(),
            means: condition.means(),
            locked_out: standing.locked_out.clone(),
            going: standing.going.as_deref().map(GoingObject::of),
            last: standing.last.as_ref().map(LastObject::of),
            trouble: standing.trouble.as_ref().map(ProblemObject::of),
        }
    }
}

impl GoingObject {
    fn of(going: &Going) -> Self {
        let plan = &going.drawn.plan;
        Self {
            run: going.run.map(|run| run.to_string()),
            kind: going.wish.aim.kind().tag(),
            part: going.wish.part.to_string(),
            test_volt: plan.test_voltage.value,
            limit_ampere: plan.target.limit.value,
            reading_time_second: plan.target.reading_time.value,
            duration_second: going.drawn.duration.value,
        }
    }
}

impl LastObject {
    fn of(last: &Last) -> Self {
        Self {
            run: last.run.to_string(),
            part: last.part.clone(),
            verdict: last.verdict.map(crate::judge::Verdict::tag),
            findings: last.findings.iter().map(|finding| finding.tag()).collect(),
            left: last.left.map(Left::tag),
        }
    }
}

impl ProblemObject {
    /// Of a refusal.
    #[must_use]
    pub fn of(refused: &Refused) -> Self {
        let problem = |problem: &Problem| OneProblem {
            message: problem.message.clone(),
            help: problem.help.clone(),
        };
        Self {
            ground: refused.ground.tag().to_owned(),
            problems: refused.problems.iter().map(problem).collect(),
        }
    }

    /// One thing is in the way.
    #[must_use]
    pub fn one(ground: &str, message: impl Into<String>, help: impl Into<String>) -> Self {
        let problem = OneProblem { message: message.into(), help: help.into() };
        Self { ground: ground.to_owned(), problems: vec![problem] }
    }
}
