//! The lines of an export that can come back: a run with all that is on record of it.
//!
//! Numbers are in SI base units and names carry the unit. Unknown names are refused, so that nothing
//! is lost without a word.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::judge::{Finding, HighestWithin, Left, Source, Verdict};
use crate::part::Room;
use crate::plan::{Kind, Phase};
use crate::quantity::{Confidence, amperes, celsius, coulombs, farads, seconds, volts};
use crate::record::{
    Component, Conditions, Ending, EventRow, Flags, FormedOnRecord, InstrumentOnRecord,
    LimitOnRecord, MeasuredCurrent, NewRun, RecordedCurrent, Row, Run, RunState, StairOnRecord,
    StaircaseOnRecord,
};

/// The version of these lines.
pub const VERSION: u32 = 1;

/// One line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Line {
    /// The first: what wrote the file.
    Export(Head),
    /// A run; its readings and events follow.
    Run(Box<RunLine>),
    /// An event of the run before.
    Event(EventLine),
    /// A reading of the run before.
    Reading(ReadingLine),
}

/// What wrote the file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// [`VERSION`].
    pub version: u32,
    /// Name and version of the program.
    pub software: String,
}

/// A run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a run on record, and name their units")]
pub struct RunLine {
    pub run: String,
    pub station: String,
    pub simulated: bool,
    pub lapse: f64,
    pub kind: String,
    pub follows: Option<String>,
    pub part: String,
    pub family: String,
    pub capacitance_farad: f64,
    pub tolerance: Option<f64>,
    pub rated_volt: f64,
    pub test_volt: f64,
    pub limit: Option<LimitLine>,
    pub confidence: f64,
    pub judged_at_second: Option<f64>,
    pub room: Option<RoomLine>,
    pub duty: Option<String>,
    pub plan_json: String,
    /// Role and identity.
    pub instruments: Vec<(String, String)>,
    pub software: String,
    pub started: Timestamp,
    pub state: StateLine,
}

/// How a run ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum StateLine {
    /// It had not.
    Open,
    /// Its program died.
    Interrupted {
        /// When it was found.
        found: Timestamp,
        /// What was noted.
        note: String,
    },
    /// Judged and ended.
    Ended(Box<EndingLine>),
}

/// A limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a run on record, and name their units")]
pub struct LimitLine {
    pub ampere: f64,
    pub rule: String,
    pub source: String,
    pub reading_time_second: Option<f64>,
    pub reference_celsius: Option<f64>,
}

/// A room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a run on record, and name their units")]
pub struct RoomLine {
    pub celsius: f64,
    pub tolerance_kelvin: f64,
    pub told: bool,
}

/// The end of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a run on record, and name their units")]
pub struct EndingLine {
    pub verdict: String,
    pub findings: Vec<String>,
    pub current: Option<CurrentLine>,
    /// Source and standard uncertainty in A.
    pub budget: Vec<(String, f64)>,
    pub at_part_volt: Option<f64>,
    pub measured_farad: Option<f64>,
    pub measured_uncertainty_farad: Option<f64>,
    pub peak_ampere: Option<f64>,
    pub staircase: Option<StaircaseLine>,
    pub formed: Option<FormedLine>,
    pub left: String,
    pub advice: String,
    pub ended: Timestamp,
    pub full_voltage_at_second: Option<f64>,
}

/// A leakage.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a run on record, and name their units")]
pub struct CurrentLine {
    pub ampere: f64,
    pub raw_ampere: f64,
    pub uncertainty_ampere: f64,
    pub at_second: f64,
}

/// A staircase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a run on record, and name their units")]
pub struct StaircaseLine {
    /// Voltage in V, verdict, reading.
    pub steps: Vec<(f64, String, Option<CurrentLine>)>,
    pub within_volt: Option<f64>,
    pub beyond_volt: Option<f64>,
    pub estimate_volt: Option<f64>,
}

/// A re-forming.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a run on record, and name their units")]
pub struct FormedLine {
    pub before_ampere: f64,
    pub after_ampere: f64,
    pub charge_coulomb: f64,
    pub good: bool,
}

/// An event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of an event on record")]
pub struct EventLine {
    pub time_second: f64,
    pub wall: Timestamp,
    pub kind: String,
    pub text: String,
}

/// A reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the fields are those of a reading on record")]
pub struct ReadingLine {
    pub sequence: u32,
    pub time_second: f64,
    pub unix_millisecond: i64,
    pub ampere: Option<f64>,
    pub mark: Option<String>,
    pub volt: Option<f64>,
    pub range_ampere: Option<f64>,
    pub flags: u32,
    pub phase: String,
}

/// What a line holds that no record can.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{name}: \"{came}\" is not known")]
pub struct LineError {
    name: &'static str,
    came: String,
}

fn word<T>(name: &'static str, tag: &str, of: fn(&str) -> Option<T>) -> Result<T, LineError> {
    of(tag).ok_or_else(|| LineError { name, came: tag.to_owned() })
}

fn number<T, E>(name: &'static str, value: f64, made: Result<T, E>) -> Result<T, LineError> {
    made.map_err(|_| LineError { name, came: value.to_string() })
}

impl RunLine {
    /// The line of a run.
    #[must_use]
    pub fn of(run: &Run) -> Self {
        let begun = &run.begun;
        let instruments = begun.instruments.iter();
        Self {
            run: run.id.to_string(),
            station: begun.station.clone(),
            simulated: begun.simulated,
            lapse: begun.lapse,
            kind: begun.kind.tag().to_owned(),
            follows: begun.follows.map(|run| run.to_string()),
            part: begun.part_name.clone(),
            family: begun.family_tag.clone(),
            capacitance_farad: begun.capacitance.value,
            tolerance: begun.tolerance,
            rated_volt: begun.rated.value,
            test_volt: begun.test_voltage.value,
            limit: begun.limit.as_ref().map(LimitLine::of),
            confidence: begun.conditions.confidence.share(),
            judged_at_second: begun.conditions.judged_at.map(|time| time.value),
            room: begun.conditions.room.map(|room| RoomLine {
                celsius: room.at.degrees(),
                tolerance_kelvin: room.tolerance,
                told: room.told,
            }),
            duty: begun.conditions.duty.clone(),
            plan_json: begun.plan_json.clone(),
            instruments: instruments.map(|one| (one.role.clone(), one.identity.clone())).collect(),
            software: begun.software.clone(),
            started: begun.started,
            state: match &run.state {
                RunState::Open => StateLine::Open,
                RunState::Interrupted { found, note } => {
                    StateLine::Interrupted { found: *found, note: note.clone() }
                }
                RunState::Ended(ending) => StateLine::Ended(Box::new(EndingLine::of(ending))),
            },
        }
    }

    /// What began; places on trays and what it followed are of the other record.
    ///
    /// # Errors
    ///
    /// [`LineError`] names a word or number that no record holds.
    pub fn begun(&self) -> Result<NewRun, LineError> {
        let instruments = self.instruments.iter().cloned();
        let room = self.room.as_ref().map(|room| Room {
            at: celsius(room.celsius),
            tolerance: room.tolerance_kelvin,
            told: room.told,
        });
        Ok(NewRun {
            station: self.station.clone(),
            simulated: self.simulated,
            lapse: self.lapse,
            kind: word("kind", &self.kind, Kind::from_tag)?,
            follows: None,
            place: None,
            part_name: self.part.clone(),
            family_tag: self.family.clone(),
            capacitance: farads(self.capacitance_farad),
            tolerance: self.tolerance,
            rated: volts(self.rated_volt),
            test_voltage: volts(self.test_volt),
            limit: self.limit.as_ref().map(LimitLine::on_record),
            conditions: Conditions {
                confidence: number("confidence", self.confidence, Confidence::of(self.confidence))?,
                judged_at: self.judged_at_second.map(seconds),
                room,
                duty: self.duty.clone(),
            },
            plan_json: self.plan_json.clone(),
            instruments: instruments
                .map(|(role, identity)| InstrumentOnRecord { role, identity })
                .collect(),
            software: self.software.clone(),
            started: self.started,
        })
    }
}

impl LimitLine {
    fn of(limit: &LimitOnRecord) -> Self {
        Self {
            ampere: limit.current.value,
            rule: limit.rule.clone(),
            source: limit.source.clone(),
            reading_time_second: limit.reading_time.map(|time| time.value),
            reference_celsius: limit.reference_celsius,
        }
    }

    fn on_record(&self) -> LimitOnRecord {
        LimitOnRecord {
            current: amperes(self.ampere),
            rule: self.rule.clone(),
            source: self.source.clone(),
            reading_time: self.reading_time_second.map(seconds),
            reference_celsius: self.reference_celsius,
        }
    }
}

impl EndingLine {
    fn of(ending: &Ending) -> Self {
        Self {
            verdict: ending.verdict.tag().to_owned(),
            findings: ending.findings.iter().map(|finding| finding.tag().to_owned()).collect(),
            current: ending.current.map(CurrentLine::of),
            budget: ending
                .budget
                .iter()
                .map(|component| (component.source.tag().to_owned(), component.uncertainty.value))
                .collect(),
            at_part_volt: ending.voltage_at_part.map(|voltage| voltage.value),
            measured_farad: ending.measured_capacitance.map(|measured| measured.value),
            measured_uncertainty_farad: ending.capacitance_uncertainty.map(|one| one.value),
            peak_ampere: ending.peak_current.map(|current| current.value),
            staircase: ending.staircase.as_ref().map(StaircaseLine::of),
            formed: ending.formed.map(|formed| FormedLine {
                before_ampere: formed.before.value,
                after_ampere: formed.after.value,
                charge_coulomb: formed.charge.value,
                good: formed.good,
            }),
            left: ending.left.tag().to_owned(),
            advice: ending.advice.clone(),
            ended: ending.ended,
            full_voltage_at_second: ending.full_voltage_at.map(|time| time.value),
        }
    }

    /// The end as it is kept.
    ///
    /// # Errors
    ///
    /// [`LineError`] names a word that no record holds.
    pub fn on_record(&self) -> Result<Ending, LineError> {
        let findings = self.findings.iter();
        let budget = self.budget.iter().map(|(source, uncertainty)| {
            let source = word("budget", source, Source::from_tag)?;
            Ok(Component { source, uncertainty: amperes(*uncertainty) })
        });
        Ok(Ending {
            verdict: word("verdict", &self.verdict, Verdict::from_tag)?,
            findings: findings
                .map(|tag| word("findings", tag, Finding::from_tag))
                .collect::<Result<_, _>>()?,
            current: self.current.map(CurrentLine::on_record),
            budget: budget.collect::<Result<_, _>>()?,
            voltage_at_part: self.at_part_volt.map(volts),
            measured_capacitance: self.measured_farad.map(farads),
            capacitance_uncertainty: self.measured_uncertainty_farad.map(farads),
            peak_current: self.peak_ampere.map(amperes),
            staircase: self.staircase.as_ref().map(StaircaseLine::on_record).transpose()?,
            formed: self.formed.as_ref().map(|formed| FormedOnRecord {
                before: amperes(formed.before_ampere),
                after: amperes(formed.after_ampere),
                charge: coulombs(formed.charge_coulomb),
                good: formed.good,
            }),
            left: word("left", &self.left, Left::from_tag)?,
            advice: self.advice.clone(),
            ended: self.ended,
            full_voltage_at: self.full_voltage_at_second.map(seconds),
        })
    }
}

impl CurrentLine {
    fn of(current: MeasuredCurrent) -> Self {
        Self {
            ampere: current.value.value,
            raw_ampere: current.raw.value,
            uncertainty_ampere: current.uncertainty.value,
            at_second: current.at.value,
        }
    }

    fn on_record(self) -> MeasuredCurrent {
        MeasuredCurrent {
            value: amperes(self.ampere),
            raw: amperes(self.raw_ampere),
            uncertainty: amperes(self.uncertainty_ampere),
            at: seconds(self.at_second),
        }
    }
}

impl StaircaseLine {
    fn of(staircase: &StaircaseOnRecord) -> Self {
        let step = |step: &StairOnRecord| {
            let current = step.current.map(CurrentLine::of);
            (step.voltage.value, step.verdict.tag().to_owned(), current)
        };
        let HighestWithin { within, beyond, estimate } = staircase.highest;
        let [within_volt, beyond_volt, estimate_volt] =
            [within, beyond, estimate].map(|voltage| voltage.map(|voltage| voltage.value));
        let steps = staircase.steps.iter().map(step).collect();
        Self { steps, within_volt, beyond_volt, estimate_volt }
    }

    fn on_record(&self) -> Result<StaircaseOnRecord, LineError> {
        let step = |(volt, verdict, current): &(f64, String, Option<CurrentLine>)| {
            Ok(StairOnRecord {
                voltage: volts(*volt),
                verdict: word("verdict", verdict, Verdict::from_tag)?,
                current: current.map(CurrentLine::on_record),
            })
        };
        Ok(StaircaseOnRecord {
            steps: self.steps.iter().map(step).collect::<Result<_, _>>()?,
            highest: HighestWithin {
                within: self.within_volt.map(volts),
                beyond: self.beyond_volt.map(volts),
                estimate: self.estimate_volt.map(volts),
            },
        })
    }
}

impl EventLine {
    /// The line of an event.
    #[must_use]
    pub fn of(event: &EventRow) -> Self {
        let EventRow { time, wall, kind, text } = event;
        Self { time_second: time.value, wall: *wall, kind: kind.clone(), text: text.clone() }
    }

    /// The event as it is kept.
    #[must_use]
    pub fn on_record(self) -> EventRow {
        let Self { time_second, wall, kind, text } = self;
        EventRow { time: seconds(time_second), wall, kind, text }
    }
}

impl ReadingLine {
    /// The line of a reading.
    #[must_use]
    pub fn of(row: &Row) -> Self {
        let mark = super::mark(row);
        Self {
            sequence: row.sequence,
            time_second: row.time.value,
            unix_millisecond: row.wall.as_millisecond(),
            ampere: super::ampere(row),
            mark: (!mark.is_empty()).then(|| mark.to_owned()),
            volt: row.voltage.map(|voltage| voltage.value),
            range_ampere: row.range.map(|range| range.value),
            flags: row.flags.bits(),
            phase: row.phase.tag().to_owned(),
        }
    }

    /// The reading as it is kept.
    ///
    /// # Errors
    ///
    /// [`LineError`] names a word or number that no record holds.
    pub fn on_record(&self) -> Result<Row, LineError> {
        let current = match (self.ampere, self.mark.as_deref()) {
            (Some(ampere), None) => RecordedCurrent::Value(amperes(ampere)),
            (None, Some("overload")) => RecordedCurrent::Overload { negative: false },
            (None, Some("negative-overload")) => RecordedCurrent::Overload { negative: true },
            (None, Some("not-a-number")) => RecordedCurrent::NotANumber,
            (_, mark) => {
                let came = mark.unwrap_or("neither number nor mark").to_owned();
                return Err(LineError { name: "mark", came });
            }
        };
        let wall = Timestamp::from_millisecond(self.unix_millisecond);
        Ok(Row {
            sequence: self.sequence,
            time: seconds(self.time_second),
            wall: wall.map_err(|_| LineError {
                name: "unix_millisecond",
                came: self.unix_millisecond.to_string(),
            })?,
            current,
            voltage: self.volt.map(volts),
            range: self.range_ampere.map(amperes),
            flags: Flags::from_bits(self.flags),
            phase: word("phase", &self.phase, Phase::from_tag)?,
        })
    }
}
