//! What is known of a run when it begins, and its plan as the object that scripts rely on.

use jiff::Timestamp;
use serde::Serialize;

use super::asked::drawn;
use super::refused::Refused;
use crate::part::{Part, Tolerance};
use crate::plan::{Drawn, Wish};
use crate::record::{
    Conditions, InstrumentOnRecord, LimitOnRecord, NewRun, Record, RecordError, Run, RunId,
    TrayPlace,
};
use crate::station::wiring::Station;

/// What a run comes from.
#[derive(Debug, Clone, Default)]
pub struct Origin {
    /// The re-forming of the same part, just before.
    pub follows: Option<RunId>,
    /// Its place on a tray.
    pub place: Option<TrayPlace>,
}

/// A run that is on record and has not been energised yet.
#[derive(Debug)]
pub struct Begun {
    pub(super) record: Record,
    pub(super) follows: Option<RunId>,
    /// Its number on record.
    pub id: RunId,
}

impl Begun {
    /// Puts a run on record.
    ///
    /// # Errors
    ///
    /// [`RecordError`]: nothing is on record then.
    pub fn on(record: Record, run: &NewRun) -> Result<Self, RecordError> {
        let mut record = record;
        let id = record.begin(run)?;
        Ok(Self { record, follows: run.follows, id })
    }
}

/// What is known of a run when it begins.
#[must_use]
pub fn new_run(
    wish: &Wish,
    drawn: &Drawn,
    station: &Station,
    instruments: &[InstrumentOnRecord],
    origin: Origin,
) -> NewRun {
    let plan = PlanObject::of(wish, drawn, station);
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
        tolerance: wish.part.tolerance.map(Tolerance::above),
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
        instruments: instruments.to_vec(),
        software: format!("reststrom {}", env!("CARGO_PKG_VERSION")),
        started: Timestamp::now(),
    }
}

/// A plan by which the bench that a run left can be made safe: for the same part at the same
/// voltage, against its family's limit.
///
/// # Errors
///
/// [`Refused`] if this station can no longer plan for such a part.
pub(super) fn plan_after(left: &Run, station: &Station) -> Result<Drawn, Refused> {
    let begun = &left.begun;
    let rating = crate::part::Rating::new(begun.capacitance, begun.rated)
        .map_err(|error| Refused::usage(error.to_string(), error.help()))?;
    let words = format!("{rating} {}", begun.family_tag);
    let part =
        Part::read(&words).map_err(|error| Refused::usage(error.to_string(), error.help()))?;
    let limit = super::asked::limit(None, &part, None)?;
    let test_voltage = Some(begun.test_voltage);
    drawn(&Wish { test_voltage, acknowledged: true, ..Wish::of(part, limit) }, station)
}

/// The plan for scripts: SI base units, names carry the unit.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PlanObject {
    /// The part in words.
    pub part: String,
    /// Name of the station.
    pub station: String,
    /// The bench is simulated.
    pub simulated: bool,
    /// Voltage of the test.
    pub test_volt: f64,
    /// Highest leakage that is within.
    pub limit_ampere: f64,
    /// The rule in written form.
    pub limit_rule: String,
    /// Where the rule comes from.
    pub limit_source: String,
    /// When it is read, after full voltage.
    pub reading_time_second: f64,
    /// Length of the soak at full voltage.
    pub soak_second: f64,
    /// How sure the verdict has to be.
    pub confidence: f64,
    /// The room's temperature.
    pub room_celsius: f64,
    /// How far from it the true one may lie.
    pub room_tolerance_kelvin: f64,
    /// Somebody said so; else it is assumed.
    pub room_told: bool,
    /// Temperature that the limit holds at.
    pub reference_celsius: f64,
    /// What the open fixture leaks at the test voltage, and is taken off; 0 if it was not measured.
    pub zero_ampere: f64,
    /// Its standard uncertainty.
    pub zero_uncertainty_ampere: f64,
    /// The supply's current limit.
    pub current_limit_ampere: f64,
    /// The supply's over-voltage protection.
    pub over_voltage_volt: f64,
    /// The supply's over-current protection.
    pub over_current_ampere: f64,
    /// Voltage of the probe.
    pub probe_volt: f64,
    /// A soak is cut out above this.
    pub cut_out_ampere: f64,
    /// Energy in the full part.
    pub energy_joule: f64,
    /// About how long the run takes, discharge included.
    pub duration_second: f64,
    /// What a person must know before anything is energised, the gravest first.
    pub cautions: Vec<String>,
    /// What makes the run worth less, or longer.
    pub warnings: Vec<String>,
}

impl PlanObject {
    /// The object of a plan that was drawn for a wish at a station.
    #[must_use]
    pub fn of(wish: &Wish, drawn: &Drawn, station: &Station) -> Self {
        let plan = &drawn.plan;
        Self {
            part: wish.part.to_string(),
            station: station.name.clone(),
            simulated: station.simulated,
            test_volt: plan.test_voltage.value,
            limit_ampere: plan.target.limit.value,
            limit_rule: wish.limit.rule.to_string(),
            limit_source: wish.limit.source.clone(),
            reading_time_second: plan.target.reading_time.value,
            soak_second: plan.target.soak.value,
            confidence: plan.confidence.share(),
            room_celsius: plan.warmth.room.at.degrees(),
            room_tolerance_kelvin: plan.warmth.room.tolerance,
            room_told: plan.warmth.room.told,
            reference_celsius: plan.warmth.reference.degrees(),
            zero_ampere: plan.zero.current.value,
            zero_uncertainty_ampere: plan.zero.uncertainty.value,
            current_limit_ampere: plan.supply.current_limit.value,
            over_voltage_volt: plan.supply.over_voltage.value,
            over_current_ampere: plan.supply.over_current.value,
            probe_volt: plan.probe.voltage.value,
            cut_out_ampere: plan.cut_out.soak.value,
            energy_joule: drawn.energy.value,
            duration_second: drawn.duration.value,
            cautions: drawn.cautions.iter().map(ToString::to_string).collect(),
            warnings: drawn.warnings.clone(),
        }
    }
}
