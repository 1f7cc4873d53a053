//! What a run has come to, in one value.

use super::{Formed, Plan, Procedure, State, Tally};
use crate::judge::{
    CountDoubt, Evidence, Finding, Fit, Left, MeasuredCapacitance, Reading, Ruling, Stair, rule,
};
use crate::plan::Zero;
use crate::quantity::{Capacitance, Current, Time, Voltage};

/// The end of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Verdict and findings.
    pub ruling: Ruling,
    /// What the ruling rests on.
    pub evidence: Evidence,
    /// State of the part and the bench.
    pub left: Left,
    /// The settled reading, if there was one.
    pub reading: Option<Reading>,
    /// The curve taken apart at that reading.
    pub fit: Option<Fit>,
    /// The steps of a staircase, from the lowest up.
    pub stairs: Vec<Stair>,
    /// What re-forming came to.
    pub formed: Option<Formed>,
    /// A watch of the clip saw a part go in.
    pub clipped: bool,
    /// The zero of the open fixture, where that was what the run was for.
    pub zero: Option<Zero>,
    /// Measured capacitance, where charge could be counted.
    pub capacitance: Option<MeasuredCapacitance>,
    /// Highest current that was seen.
    pub peak_current: Current,
    /// When the part reached the test voltage.
    pub full_voltage_at: Option<Time>,
    /// Voltage at which the part gave way.
    pub broke_down_at: Option<Voltage>,
}

impl Outcome {
    /// The outcome of a run that has ended, else none.
    pub(super) fn of(run: &Procedure) -> Option<Self> {
        let left = match run.state {
            State::Safe => Left::Safe,
            State::LockedOut { .. } => Left::LockedOut,
            State::Idle
            | State::Probe(_)
            | State::Ramp(_)
            | State::Charge(_)
            | State::Settle(_)
            | State::Soak(_)
            | State::Form(_)
            | State::Clip(_)
            | State::Fixture(_)
            | State::Bleed(_) => return None,
        };
        let evidence = evidence(run);
        Some(Self {
            ruling: rule(&evidence),
            evidence,
            left,
            reading: run.tally.reading,
            fit: run.tally.fit,
            stairs: run.tally.stairs.clone(),
            formed: run.tally.formed,
            clipped: run.tally.clipped,
            zero: run.tally.zero,
            capacitance: evidence.capacitance,
            peak_current: run.senses.peak_current(),
            full_voltage_at: run.tally.full_voltage_at,
            broke_down_at: run.tally.broke_down_at,
        })
    }
}

fn evidence(run: &Procedure) -> Evidence {
    let (plan, tally) = (&run.plan, &run.tally);
    Evidence {
        limit: plan.target.limit,
        test_voltage: plan.test_voltage,
        ended_by: tally.ended_by,
        overfilled: tally.overfilled,
        reading: tally.reading,
        reading_time: run.whole.target.reading_time,
        early: tally
            .reading
            .is_some_and(|reading| reading.at - tally.clock_ahead < run.whole.target.reading_time),
        charge_in: tally.charge_in,
        charge_out: tally.charge_out,
        capacitance: measured_capacitance(plan, tally),
        capacitance_fits: fits(plan, tally),
        still_falling: tally.still_falling,
        bursts: tally.bursts,
        tallest_burst: tally.tallest_burst,
        came_charged: tally.came_charged,
        formed: tally.formed.map(|formed| formed.good),
        rated: plan.part.rated,
        law: plan.part.voltage_law,
        can_be_reformed: plan.part.can_be_reformed,
    }
}

/// Whether the measured capacitance fits the printed one.
pub(super) fn fits(plan: &Plan, tally: &Tally) -> bool {
    let (printed, gate) = (plan.part.capacitance, plan.part.capacitance_gate);
    measured_capacitance(plan, tally).is_some_and(|measured| measured.fits(printed, gate))
}

/// Charge over voltage, for runs whose part stood at the test voltage.
///
/// What leaked on the way up lay between what flowed when the surge was over and the reading. Where a
/// large leak leaves that open, the probe tells it better: little leaks at a few per cent of the
/// voltage.
fn measured_capacitance(plan: &Plan, tally: &Tally) -> Option<MeasuredCapacitance> {
    let broken = matches!(
        tally.ended_by,
        Some(Finding::Shorted | Finding::BrokeDown | Finding::HeldBelowTestVoltage)
    );
    if broken || !tally.charge_in {
        return None;
    }
    let early = tally.leaked_early.max(Current::default());
    let late = tally.reading.map_or(early, |reading| reading.raw);
    let (leakage, spread) = ((early + late) / 2.0, (early - late).abs() / 2.0);
    let doubt = CountDoubt {
        charge: plan.ramp.charge_floor / 3_f64.sqrt(),
        leakage: spread / 3_f64.sqrt(),
        gain: plan.meter.range(plan.meter.surge).accuracy.fraction / 3_f64.sqrt(),
        voltage: plan.supply.voltage_uncertainty,
    };
    let whole = tally.count.measure(tally.counted_to, leakage, &doubt);
    let both = [whole, tally.probed].into_iter().flatten();
    both.min_by(|one, other| one.uncertainty.value.total_cmp(&other.uncertainty.value))
        .filter(|measured| Capacitance::default() < measured.value)
}

/// Capacitance by the charge of the probe alone, once that is over.
pub(super) fn probed_capacitance(
    plan: &Plan,
    tally: &Tally,
    voltage: Voltage,
    leakage: Current,
) -> Option<MeasuredCapacitance> {
    let doubt = CountDoubt {
        charge: plan.probe.charge_floor / 3_f64.sqrt(),
        leakage: Current::default(),
        gain: plan.meter.range(plan.meter.surge).accuracy.fraction / 3_f64.sqrt(),
        voltage: plan.supply.agreement / 3_f64.sqrt(),
    };
    tally.count.measure(voltage, leakage.max(Current::default()), &doubt)
}
