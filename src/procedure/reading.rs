//! What a window's readings say of the part: its leakage at the limit's temperature, with every
//! doubt that plan and window know of.

use crate::judge::{
    Budget, Carried, Estimate, Reading, Settled, Source, carry, rectangular, through_voltage,
};
use crate::plan::{Plan, RangeIndex};
use crate::quantity::{Current, Voltage, amperes};

/// The reading of a window on `range`, corrected for the fixture's zero and for temperature.
///
/// `absorbing` is the share that the dielectric still soaks up, where a curve was fitted; else it
/// may be anything up to what parts of the family do.
pub(super) fn of(
    plan: &Plan,
    settled: &Settled,
    range: RangeIndex,
    absorbing: Option<Estimate>,
) -> Reading {
    let raw = settled.current - plan.zero.current;
    let at = plan.target.judged_at();
    let absorbing = absorbing.unwrap_or_else(|| {
        let most = plan.part.absorption.most(plan.full_charge(), at);
        Estimate::up_to(most.min(raw.max(amperes(0.0))))
    });
    let budget = budget(plan, settled, range, raw);
    let Carried { current, budget } = carry(raw, budget, &plan.warmth, absorbing);
    let reach = plan.warmth.reach();
    Reading { current, raw, budget, reach, at, voltage: settled.lowest_voltage }
}

/// Components of the reading as it was taken.
fn budget(plan: &Plan, settled: &Settled, range: RangeIndex, raw: Current) -> Budget {
    let read = settled.current;
    let conversion = plan.meter.conversion;
    let by_voltage =
        |doubt: Voltage| through_voltage(raw, plan.part.voltage_exponent, doubt, plan.test_voltage);
    // The part stood anywhere between the lowest voltage and the test voltage.
    let short = (plan.test_voltage - settled.lowest_voltage).max(Voltage::default());
    Budget::at(plan.confidence)
        .with(Source::Meter, rectangular(plan.meter.range(range).error_at(read)))
        .with(Source::SenseResistor, rectangular(read * conversion.resistor))
        .with(Source::InputResistance, rectangular(read * conversion.input))
        .with(Source::Scatter, settled.scatter)
        .with(Source::FixtureZero, plan.zero.uncertainty)
        .with(Source::Voltage, by_voltage(plan.supply.voltage_uncertainty))
        .with(Source::Shortfall, rectangular(by_voltage(short)))
}
