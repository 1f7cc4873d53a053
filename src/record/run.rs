//! A run as it is kept: what was begun, how it ended, what happened between.

use jiff::Timestamp;

use super::{FormedOnRecord, RunId, StaircaseOnRecord, TrayId, TrayPlace};
use crate::judge::{Finding, Left, Reading, Source, Verdict};
use crate::part::Room;
use crate::plan::Kind;
use crate::quantity::{Capacitance, Confidence, Current, Time, Voltage};

/// What is known of a run when it begins.
#[derive(Debug, Clone, PartialEq)]
pub struct NewRun {
    /// Name of the station.
    pub station: String,
    /// Whether instruments and part are simulated.
    pub simulated: bool,
    /// Bench seconds per second of the wall clock: 1 on a real bench.
    pub lapse: f64,
    /// What it is for.
    pub kind: Kind,
    /// The run that re-formed the part just before.
    pub follows: Option<RunId>,
    /// Where on a tray its part lies, if it is one of a tray.
    pub place: Option<TrayPlace>,
    /// The part's name, as on the tray.
    pub part_name: String,
    /// The word for the part's family.
    pub family_tag: String,
    /// Nominal capacitance.
    pub capacitance: Capacitance,
    /// Tolerance of the capacitance, as a fraction of it.
    pub tolerance: Option<f64>,
    /// Rated voltage of the part.
    pub rated: Voltage,
    /// Voltage of the test.
    pub test_voltage: Voltage,
    /// The limit that the part is judged against, if there is one.
    pub limit: Option<LimitOnRecord>,
    /// Under what conditions it is judged.
    pub conditions: Conditions,
    /// The whole plan as JSON, kept as it came.
    pub plan_json: String,
    /// Who took part, in the order of the station file.
    pub instruments: Vec<InstrumentOnRecord>,
    /// Name and version of the program.
    pub software: String,
    /// When the run began by the wall clock; kept to the millisecond.
    pub started: Timestamp,
}

/// A leakage limit and where it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitOnRecord {
    /// The limit itself.
    pub current: Current,
    /// The rule in words or as a formula.
    pub rule: String,
    /// Where the rule came from: a sheet, a family default, the command line.
    pub source: String,
    /// When the rule reads, since full voltage.
    pub reading_time: Option<Time>,
    /// The temperature that the rule is for, in °C.
    pub reference_celsius: Option<f64>,
}

/// Under what conditions a part is judged.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Conditions {
    /// How sure the verdict has to be.
    pub confidence: Confidence,
    /// The moment that is to be judged, after full voltage; an early end comes before it.
    pub judged_at: Option<Time>,
    /// The room's temperature, if the run knew of one.
    pub room: Option<Room>,
    /// What the part is to do in its circuit, in the words of whoever asked.
    pub duty: Option<String>,
}

/// An instrument that took part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InstrumentOnRecord {
    /// What it did: supply, meter, scanner, bleeder.
    pub role: String,
    /// What it called itself.
    pub identity: String,
}

/// How a judged run ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Ending {
    /// What is said of the part.
    pub verdict: Verdict,
    /// Why, first finding first.
    pub findings: Vec<Finding>,
    /// The leakage current, if one was measured.
    pub current: Option<MeasuredCurrent>,
    /// What its uncertainty is made of, largest first; empty if that was not kept.
    pub budget: Vec<Component>,
    /// Voltage at the part while that current was read.
    pub voltage_at_part: Option<Voltage>,
    /// Capacitance by the charge that went in.
    pub measured_capacitance: Option<Capacitance>,
    /// Half the width of its 95 % interval.
    pub capacitance_uncertainty: Option<Capacitance>,
    /// Highest current of the run.
    pub peak_current: Option<Current>,
    /// The steps of a staircase.
    pub staircase: Option<StaircaseOnRecord>,
    /// What re-forming came to.
    pub formed: Option<FormedOnRecord>,
    /// The state the part was left in.
    pub left: Left,
    /// The sentence a person can act on.
    pub advice: String,
    /// When the run ended by the wall clock; kept to the millisecond.
    pub ended: Timestamp,
    /// When full voltage was reached, since switch-on.
    pub full_voltage_at: Option<Time>,
}

/// A leakage current with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredCurrent {
    /// The current at the limit's temperature.
    pub value: Current,
    /// The current as it was read, in the room.
    pub raw: Current,
    /// Half the width of its uncertainty interval.
    pub uncertainty: Current,
    /// When it was read, after full voltage.
    pub at: Time,
}

impl From<&Reading> for MeasuredCurrent {
    fn from(reading: &Reading) -> Self {
        let Reading { current: value, raw, at, .. } = *reading;
        Self { value, raw, uncertainty: reading.budget.expanded(), at }
    }
}

/// A part of an uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Where it comes from.
    pub source: Source,
    /// Its standard uncertainty.
    pub uncertainty: Current,
}

impl Component {
    /// The parts of a reading's uncertainty, largest first.
    #[must_use]
    pub fn all_of(reading: &Reading) -> Vec<Self> {
        let listed = reading.budget.largest_first();
        listed.into_iter().map(|(source, uncertainty)| Self { source, uncertainty }).collect()
    }
}

/// A stored run.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Its id.
    pub id: RunId,
    /// What was known when it began.
    pub begun: NewRun,
    /// How far it came.
    pub state: RunState,
}

/// How far a run came. Open until somebody stores an end; there is no other default.
#[derive(Debug, Clone, PartialEq)]
pub enum RunState {
    /// No end is stored: it goes on, or its program died and nobody has looked yet.
    Open,
    /// Judged and ended.
    Ended(Box<Ending>),
    /// Its program died; a later start found it.
    Interrupted {
        /// When it was found by the wall clock.
        found: Timestamp,
        /// What whoever found it noted.
        note: String,
    },
}

impl Run {
    /// The verdict; none while the run is open, `untested` when it was interrupted.
    #[must_use]
    pub fn verdict(&self) -> Option<Verdict> {
        match &self.state {
            RunState::Open => None,
            RunState::Ended(ending) => Some(ending.verdict),
            RunState::Interrupted { .. } => Some(Verdict::Untested),
        }
    }

    /// Why the verdict is what it is, first finding first.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        match &self.state {
            RunState::Open => &[],
            RunState::Ended(ending) => &ending.findings,
            RunState::Interrupted { .. } => &[Finding::Stopped],
        }
    }

    /// The state the part was left in; none means that nobody saw it, so it counts as charged.
    #[must_use]
    pub fn left(&self) -> Option<Left> {
        match &self.state {
            RunState::Ended(ending) => Some(ending.left),
            RunState::Open | RunState::Interrupted { .. } => None,
        }
    }
}

/// Something that happened in a run: a phase change, an order, a cut-out, a fault.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRow {
    /// Since switch-on, in bench seconds.
    pub time: Time,
    /// When, by the wall clock; kept to the millisecond.
    pub wall: Timestamp,
    /// What sort of event, in one word.
    pub kind: String,
    /// What happened, in a sentence.
    pub text: String,
}

/// Which runs to list; an empty filter lists all.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RunFilter {
    /// At most so many, the newest.
    pub limit: Option<u32>,
    /// Only runs of this station.
    pub station: Option<String>,
    /// Only runs of the part with this name.
    pub part: Option<String>,
    /// Only runs with this verdict; interrupted runs are `untested`, open runs have none.
    pub verdict: Option<Verdict>,
    /// Only runs of parts of this family, by its word.
    pub family: Option<String>,
    /// Only runs of parts with this printed capacitance.
    pub capacitance: Option<Capacitance>,
    /// Only runs that began at this moment or later, by the wall clock.
    pub since: Option<Timestamp>,
    /// Only runs that began before this moment, by the wall clock.
    pub before: Option<Timestamp>,
    /// Only runs of parts of this tray.
    pub tray: Option<TrayId>,
}

/// The current that a fixture lets through without a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Zero {
    /// Name of the station.
    pub station: String,
    /// When it was taken by the wall clock; kept to the millisecond.
    pub taken: Timestamp,
    /// The current.
    pub current: Current,
    /// Half the width of its uncertainty interval.
    pub uncertainty: Current,
    /// Voltage across the fixture.
    pub voltage: Voltage,
    /// Temperature of the room in °C, if it was known.
    pub celsius: Option<f64>,
}
