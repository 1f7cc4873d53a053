//! What a window's readings say of the part: its leakage at the limit's temperature, with every
//! doubt that plan and window know of.

use crate::judge::{
    Budget, Carried, Estimate, Fit, Reading, Settled, Source, carry, rectangular, through_voltage,
};
use crate::plan::{Plan, RangeIndex};
use crate::quantity::{Confidence, Current, Time, Voltage, amperes};

/// The reading of a window on `range`, corrected for the fixture's zero and for temperature.
pub(super) fn of(
    plan: &Plan,
    settled: &Settled,
    range: RangeIndex,
    at: Time,
    fit: Option<&Fit>,
) -> Reading {
    let raw = settled.current - plan.zero.current;
    let most = plan.greatest_absorption(at).min(raw.max(amperes(0.0)));
    let absorbing = absorbing(most, fit);
    let budget = budget(plan, settled, range, raw);
    let Carried { current, budget } = carry(raw, budget, &plan.warmth, absorbing);
    let reach = plan.warmth.reach();
    Reading { current, raw, budget, reach, at, voltage: settled.lowest_voltage }
}

/// The share that the dielectric still soaks up: by the curve where that tells it apart, and else
/// anything up to the `most` that parts of the family do. What falls beyond that is re-forming,
/// which goes with temperature as leakage does.
fn absorbing(most: Current, fit: Option<&Fit>) -> Estimate {
    let told = fit.filter(|fit| fit.separable && (amperes(0.0)..=most).contains(&fit.absorbing));
    told.map_or_else(
        || Estimate::up_to(most),
        |fit| Estimate {
            current: fit.absorbing,
            uncertainty: fit.absorbing_uncertainty / Confidence::USUAL.coverage(),
        },
    )
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
