//! A run as the object that scripts rely on: SI base units, names carry the unit.

use serde::Serialize;

use crate::part::{Duty, Effect, Leak};
use crate::quantity::{amperes, seconds};
use crate::record::{
    Ending, FormedOnRecord, LimitOnRecord, MeasuredCurrent, NewRun, Run, RunState,
    StaircaseOnRecord,
};

/// The object of `soak --json`, `show --json` and, in a list, of `runs --json`.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct RunObject {
    /// Id of the run, such as `r17`.
    pub run: String,
    /// `soak`, `staircase` or `reform`.
    pub kind: &'static str,
    /// The re-forming that this run follows.
    pub follows: Option<String>,
    /// Id of the tray that its part lies on, such as `t3`.
    pub tray: Option<String>,
    /// Name of its place there.
    pub position: Option<String>,
    /// Name of the station.
    pub station: String,
    /// The bench was simulated.
    pub simulated: bool,
    /// The part.
    pub part: PartObject,
    /// The limit; none if the run had none.
    pub limit: Option<LimitObject>,
    /// `within`, `over`, `undecided` or `untested`.
    pub verdict: &'static str,
    /// Why, the reason first.
    pub findings: Vec<&'static str>,
    /// The settled reading.
    pub current: Option<CurrentObject>,
    /// How sure the verdict had to be: 0.95 leaves a risk of 2.5 % each way.
    pub confidence: f64,
    /// What the uncertainty is made of, largest first.
    pub budget: Vec<ComponentObject>,
    /// The room's temperature; none if the run knew of none.
    pub room: Option<RoomObject>,
    /// What the leakage does in the circuit; none if nobody asked or nothing was read.
    pub in_circuit: Option<InCircuitObject>,
    /// Lowest voltage at the part in the reading window.
    pub voltage_at_part_volt: Option<f64>,
    /// Measured capacitance.
    pub measured_capacitance_farad: Option<f64>,
    /// Half-width of its 95 % interval.
    pub capacitance_uncertainty_farad: Option<f64>,
    /// Highest current that was seen.
    pub peak_current_ampere: Option<f64>,
    /// What a staircase came to.
    pub staircase: Option<StaircaseObject>,
    /// What re-forming came to.
    pub formed: Option<FormedObject>,
    /// `safe` or `locked-out`; none if the run was cut off or goes on.
    pub left: Option<&'static str>,
    /// A sentence to act on.
    pub advice: String,
    /// `open`, `ended` or `interrupted`.
    pub state: &'static str,
    /// When it began, RFC 3339.
    pub started: String,
}

/// A staircase of voltages.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct StaircaseObject {
    /// From the lowest up.
    pub steps: Vec<StepObject>,
    /// At this voltage the part is within; none if at no step it was.
    pub within_volt: Option<f64>,
    /// At this voltage it is no longer clearly within; none if up to the last step it was.
    pub beyond_volt: Option<f64>,
    /// Where the limit is met between the two, by interpolation: an estimate.
    pub estimate_volt: Option<f64>,
}

/// One step of it.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct StepObject {
    /// Its voltage.
    pub volt: f64,
    /// Its reading; none if the window was not complete.
    pub ampere: Option<f64>,
    /// Half-width of the interval of that.
    pub uncertainty_ampere: Option<f64>,
    /// `within`, `over`, `undecided` or `untested`.
    pub verdict: &'static str,
}

/// What re-forming came to.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct FormedObject {
    /// What the part drew when it first stood at the voltage.
    pub before_ampere: f64,
    /// What it drew at the end.
    pub after_ampere: f64,
    /// Charge that went in beyond what a part at its limit leaks meanwhile.
    pub charge_coulomb: f64,
    /// It ended below the limit.
    pub good: bool,
}

/// A part.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PartObject {
    /// Its place on the board.
    pub name: String,
    /// Tag of its family.
    pub family: String,
    /// Printed capacitance.
    pub capacitance_farad: f64,
    /// Printed voltage.
    pub rated_volt: f64,
}

/// A limit.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct LimitObject {
    /// Highest current.
    pub ampere: f64,
    /// The rule in written form.
    pub rule: String,
    /// When it is read, after full voltage.
    pub reading_time_second: Option<f64>,
    /// At what temperature it holds.
    pub reference_celsius: Option<f64>,
}

/// A settled reading.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct CurrentObject {
    /// The current at the limit's temperature.
    pub ampere: f64,
    /// Half-width of its interval at the run's confidence.
    pub uncertainty_ampere: f64,
    /// The current as it was read, in the room.
    pub raw_ampere: f64,
    /// When, after full voltage.
    pub at_second: f64,
}

/// A part of an uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct ComponentObject {
    /// Where it comes from.
    pub source: &'static str,
    /// Its standard uncertainty.
    pub standard_ampere: f64,
    /// What would make it smaller.
    pub remedy: &'static str,
}

/// The room's temperature.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct RoomObject {
    /// The temperature.
    pub celsius: f64,
    /// How far from it the true one may lie.
    pub tolerance_kelvin: f64,
    /// Somebody said so; else it is assumed.
    pub told: bool,
}

/// What a leakage does in a circuit.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct InCircuitObject {
    /// What the part does there.
    pub duty: String,
    /// Shift of the bias at a coupling part.
    pub bias_shift_volt: Option<f64>,
    /// Share of the charging current of a timing part.
    pub timing_error: Option<f64>,
    /// Voltage lost over the time of holding.
    pub droop_volt: Option<f64>,
    /// Share of the battery that is gone after a year.
    pub battery_share_per_year: Option<f64>,
    /// Heat in the part.
    pub heat_watt: Option<f64>,
    /// Voltage by which it is off in a string.
    pub imbalance_volt: Option<f64>,
    /// The same in words.
    pub says: String,
}

impl InCircuitObject {
    /// What a leakage does to a duty.
    #[must_use]
    pub fn of(duty: &Duty, leak: &Leak) -> Self {
        let effect = duty.effect(leak);
        let mut object = Self {
            duty: duty.to_string(),
            bias_shift_volt: None,
            timing_error: None,
            droop_volt: None,
            battery_share_per_year: None,
            heat_watt: None,
            imbalance_volt: None,
            says: effect.in_words(),
        };
        match effect {
            Effect::BiasShift(voltage) => object.bias_shift_volt = Some(voltage.value),
            Effect::TimingError(share) => object.timing_error = Some(share),
            Effect::Droop(voltage) => object.droop_volt = Some(voltage.value),
            Effect::Drain(share) => object.battery_share_per_year = Some(share),
            Effect::Heat(power) => object.heat_watt = Some(power.value),
            Effect::Imbalance(voltage) => object.imbalance_volt = Some(voltage.value),
        }
        object
    }
}

impl PartObject {
    fn of(begun: &NewRun) -> Self {
        Self {
            name: begun.part_name.clone(),
            family: begun.family_tag.clone(),
            capacitance_farad: begun.capacitance.value,
            rated_volt: begun.rated.value,
        }
    }
}

impl LimitObject {
    fn of(limit: &LimitOnRecord) -> Self {
        Self {
            ampere: limit.current.value,
            rule: limit.rule.clone(),
            reading_time_second: limit.reading_time.map(|time| time.value),
            reference_celsius: limit.reference_celsius,
        }
    }
}

impl CurrentObject {
    fn of(current: MeasuredCurrent) -> Self {
        Self {
            ampere: current.value.value,
            uncertainty_ampere: current.uncertainty.value,
            raw_ampere: current.raw.value,
            at_second: current.at.value,
        }
    }
}

impl FormedObject {
    fn of(formed: FormedOnRecord) -> Self {
        Self {
            before_ampere: formed.before.value,
            after_ampere: formed.after.value,
            charge_coulomb: formed.charge.value,
            good: formed.good,
        }
    }
}

impl RunObject {
    /// The object of a run on record.
    #[must_use]
    pub fn of(run: &Run) -> Self {
        let begun = &run.begun;
        let (state, ending) = match &run.state {
            RunState::Open => ("open", None),
            RunState::Ended(ending) => ("ended", Some(ending.as_ref())),
            RunState::Interrupted { .. } => ("interrupted", None),
        };
        Self {
            run: run.id.to_string(),
            kind: begun.kind.tag(),
            follows: begun.follows.map(|run| run.to_string()),
            tray: begun.place.as_ref().map(|place| place.tray.to_string()),
            position: begun.place.as_ref().map(|place| place.position.clone()),
            station: begun.station.clone(),
            simulated: begun.simulated,
            part: PartObject::of(begun),
            limit: begun.limit.as_ref().map(LimitObject::of),
            verdict: run.verdict().map_or("untested", crate::judge::Verdict::tag),
            findings: run.findings().iter().map(|finding| finding.tag()).collect(),
            current: ending.and_then(|ending| ending.current).map(CurrentObject::of),
            confidence: begun.conditions.confidence.share(),
            budget: ending.map(budget).unwrap_or_default(),
            room: begun.conditions.room.map(|room| RoomObject {
                celsius: room.at.degrees(),
                tolerance_kelvin: room.tolerance,
                told: room.told,
            }),
            in_circuit: ending.and_then(|ending| in_circuit(run, ending)),
            voltage_at_part_volt: ending.and_then(|ending| ending.voltage_at_part).map(|u| u.value),
            measured_capacitance_farad: ending
                .and_then(|ending| ending.measured_capacitance)
                .map(|capacitance| capacitance.value),
            capacitance_uncertainty_farad: ending
                .and_then(|ending| ending.capacitance_uncertainty)
                .map(|uncertainty| uncertainty.value),
            staircase: ending.and_then(|ending| ending.staircase.as_ref()).map(staircase),
            formed: ending.and_then(|ending| ending.formed).map(FormedObject::of),
            peak_current_ampere: ending
                .and_then(|ending| ending.peak_current)
                .map(|current| current.value),
            left: run.left().map(crate::judge::Left::tag),
            advice: advice(run, ending),
            state,
            started: begun.started.to_string(),
        }
    }

    /// The reading as a person reads it, or a dash.
    #[must_use]
    pub fn reading(&self) -> String {
        self.current.as_ref().map_or_else(
            || "–".to_owned(),
            |current| {
                let (value, spread) =
                    (amperes(current.ampere), amperes(current.uncertainty_ampere));
                crate::quantity::text::with_uncertainty(value, spread)
            },
        )
    }

    /// The limit as a person reads it, or a dash.
    #[must_use]
    pub fn limit(&self) -> String {
        self.limit.as_ref().map_or_else(
            || "–".to_owned(),
            |limit| {
                let current = crate::quantity::text::current(amperes(limit.ampere));
                match limit.reading_time_second {
                    Some(time) => {
                        format!("{current} at {}", crate::quantity::text::time(seconds(time)))
                    }
                    None => current,
                }
            },
        )
    }
}

/// What the leakage on record does to the duty on record.
fn in_circuit(run: &Run, ending: &Ending) -> Option<InCircuitObject> {
    let duty = Duty::read(run.begun.conditions.duty.as_deref()?).ok()?;
    let leak = Leak {
        current: ending.current?.value,
        voltage: run.begun.test_voltage,
        capacitance: ending.measured_capacitance.unwrap_or(run.begun.capacitance),
    };
    Some(InCircuitObject::of(&duty, &leak))
}

fn staircase(staircase: &StaircaseOnRecord) -> StaircaseObject {
    let volt = |voltage: Option<crate::quantity::Voltage>| voltage.map(|voltage| voltage.value);
    StaircaseObject {
        steps: staircase
            .steps
            .iter()
            .map(|step| StepObject {
                volt: step.voltage.value,
                ampere: step.current.map(|current| current.value.value),
                uncertainty_ampere: step.current.map(|current| current.uncertainty.value),
                verdict: step.verdict.tag(),
            })
            .collect(),
        within_volt: volt(staircase.highest.within),
        beyond_volt: volt(staircase.highest.beyond),
        estimate_volt: volt(staircase.highest.estimate),
    }
}

fn budget(ending: &Ending) -> Vec<ComponentObject> {
    let components = ending.budget.iter().map(|component| ComponentObject {
        source: component.source.tag(),
        standard_ampere: component.uncertainty.value,
        remedy: component.source.remedy(),
    });
    components.collect()
}

fn advice(run: &Run, ending: Option<&Ending>) -> String {
    match (&run.state, ending) {
        (_, Some(ending)) => ending.advice.clone(),
        (RunState::Interrupted { note, .. }, None) => {
            format!("The run was cut off ({note}): repeat it.")
        }
        (RunState::Open | RunState::Ended(_), None) => {
            "The run goes on, or was cut off: the next soak makes its bench safe first.".into()
        }
    }
}
