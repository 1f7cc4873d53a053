//! The plan of a zero: the open fixture, taken to a voltage as a part would be.
//!
//! What leads and clips hold is planned for as the smallest part there is, on the meter's finest
//! range; the same refusals, protections and bounds hold.

use super::draw_up::STRAY;
use super::{Bench, Drawn, Purpose, Refusal, TOUCH_SAFE, Wish, draw_up};
use crate::part::{Family, LeakageRule, Limit, LimitError, Measuring, Part, Rating};
use crate::quantity::{Time, Voltage, amperes, farads, volts};

/// Share of the finest range that a clean fixture may fill: three times it still fits.
const CLEAN_SHARE: f64 = 0.3;

impl Bench {
    /// The voltage to take a zero at, where nobody names one: as far as this bench may go, but not
    /// above what may be touched (handbook §4.4).
    #[must_use]
    pub fn usual_zero_voltage(&self) -> Voltage {
        self.ceiling.min(self.supply.most_voltage).min(volts(TOUCH_SAFE))
    }
}

/// Draws the plan of a zero at `voltage`, read `soak` after full voltage.
///
/// # Errors
///
/// Every [`Refusal`] that applies, as for a part.
pub fn draw_up_zero(
    bench: &Bench,
    voltage: Voltage,
    soak: Time,
    acknowledged: bool,
) -> Result<Drawn, Vec<Refusal>> {
    let refused = |error: Refusal| vec![error];
    if voltage <= volts(0.0) {
        return Err(vec![Refusal::NoVoltage(voltage)]);
    }
    let rating = Rating::new(farads(STRAY), voltage).map_err(|error| refused(error.into()))?;
    let part = Part { name: None, family: Family::Polypropylene, rating, tolerance: None };
    let finest = bench.meter.ranges.first().map_or(amperes(1e-6), |range| range.full_scale);
    let rule = LeakageRule::constant(finest * CLEAN_SHARE)
        .map_err(|_beyond_numbers| refused(LimitError::Extreme.into()))?;
    let limit = Limit {
        rule,
        measured_at: Measuring::Rated,
        reading_time: Some(soak),
        reference: None,
        source: "the open fixture".into(),
    };
    // The zero is being measured anew: the one before has no say in it.
    let bench = Bench { zero: None, bypass: false, ..bench.clone() };
    let drawn = draw_up(&Wish { acknowledged, ..Wish::of(part, limit) }, &bench)?;
    let plan = super::Plan { purpose: Purpose::Zero, ..drawn.plan };
    let duration = super::cautions::duration(&plan);
    Ok(Drawn { plan, warnings: Vec::new(), duration, ..drawn })
}
