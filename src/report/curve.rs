//! What a plot shows, independent of how a run is kept on record.

use crate::judge::{Finding, Verdict};
use crate::plan::Phase;
use crate::quantity::{Current, Time, Voltage};

/// A run as it is drawn: current and voltage over time, and what was made of them.
///
/// All moments are counted from switch-on.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The part, e.g. `C417, echo sounder transmitter`.
    pub title: String,
    /// Family, rating, station, date, in one line.
    pub subtitle: String,
    /// Whether the part was a simulated one; the page then says so loudly.
    pub simulated: bool,
    /// The readings in the order they were taken.
    pub points: Vec<Point>,
    /// How many readings on record are not among them: a picture of millions is drawn from an
    /// overview, which has every extreme.
    pub left_out: u32,
    /// The phases in the order they were passed.
    pub phases: Vec<Span>,
    /// When the test voltage stood at the part and the limit's clock began, if it ever did.
    pub full_voltage_at: Option<Time>,
    /// What the part may leak, if a rule is known.
    pub limit: Option<Limit>,
    /// What was read, if anything was.
    pub reading: Option<Reading>,
    /// What was said of the part; none while the run goes on.
    pub verdict: Option<Verdict>,
    /// Why.
    pub findings: Vec<Finding>,
    /// What else happened: a cut-out, a change of range.
    pub events: Vec<Event>,
    /// What the current of the soak is made of, if that could be told.
    pub parts: Option<Parts>,
}

/// One reading and what stood beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When it was taken.
    pub at: Time,
    /// What the meter said.
    pub current: Sample,
    /// Voltage at the part, if it was known.
    pub voltage: Option<Voltage>,
    /// Where the run stood.
    pub phase: Phase,
}

/// What the meter said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sample {
    /// A current; zero and below are currents too.
    Value(Current),
    /// More than the range holds.
    Overload {
        /// Whether the current ran out of the part.
        negative: bool,
    },
    /// No answer, or none that could be understood.
    Missing,
}

/// A phase and how long it lasted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Which phase.
    pub phase: Phase,
    /// Its begin.
    pub from: Time,
    /// Its end.
    pub to: Time,
}

/// What the part may leak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The highest current that passes.
    pub current: Current,
    /// How long after full voltage it is to be read.
    pub reading_time: Time,
}

/// What was read at the reading time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The current.
    pub current: Current,
    /// Its expanded uncertainty, half the width of the interval.
    pub uncertainty: Current,
    /// The moment it stands for.
    pub at: Time,
    /// Begin and end of the window its readings were taken in.
    pub window: (Time, Time),
}

/// A current taken apart: three falling lines, whose sum is fitted to the readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts {
    /// Leakage and absorption can be told apart; else only their sum means something.
    pub separable: bool,
    /// The parts at moments over the fitted stretch, in order.
    pub at: Vec<Part>,
}

/// The parts of a current at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// The moment.
    pub at: Time,
    /// What still charges.
    pub charging: Current,
    /// What the dielectric takes up, and gives back later.
    pub absorption: Current,
    /// What flows through for good.
    pub leakage: Current,
}

/// Something that happened at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When.
    pub at: Time,
    /// What, in a few words.
    pub text: String,
    /// Of what sort.
    pub kind: EventKind,
}

/// Of what sort an event is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EventKind {
    /// The meter changed its range.
    Range,
    /// A burst of current.
    Burst,
    /// What ended the run before its time: a cut-out, a stop, an instrument lost.
    End,
    /// Anything else.
    Other,
}
