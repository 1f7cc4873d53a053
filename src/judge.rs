//! From readings to a verdict: contact, settled current, uncertainty, finding.
//!
//! Knows numbers only: not the plan they were taken by, not the instruments they came from.

mod advice;
mod carry;
mod ceased;
mod charge;
mod curve;
mod early;
mod ruling;
mod staircase;
mod thinned;
mod trend;
mod uncertainty;
mod verdict;
mod window;

pub use advice::advice;
pub use carry::{Carried, Estimate, carry};
pub use ceased::{Ceased, Flow};
pub use charge::{ChargeCount, CountDoubt, MeasuredCapacitance};
pub use curve::{Curve, Fit, Forecast, Nature};
pub use early::{Glance, may_end};
pub use ruling::{Evidence, LEAST_VOLTAGE_SHARE, Reading, Ruling, rule};
pub use staircase::{HighestWithin, Stair, highest_within};
pub use trend::{Around, Trend};
pub use uncertainty::{Budget, Source, rectangular, through_voltage};
pub use verdict::{Finding, Left, Verdict};
pub use window::{FEWEST, Settled, Window};
