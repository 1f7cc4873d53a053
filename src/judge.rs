//! From readings to a verdict: contact, settled current, uncertainty, finding.
//!
//! Knows numbers only: not the plan they were taken by, not the instruments they came from.

mod advice;
mod ceased;
mod charge;
mod curve;
mod early;
mod ruling;
mod thinned;
mod trend;
mod uncertainty;
mod verdict;
mod window;

pub use advice::advice;
pub use ceased::Ceased;
pub use charge::{ChargeCount, CountDoubt, MeasuredCapacitance};
pub use curve::{Curve, Fit, Forecast};
pub use early::{Glance, may_end};
pub use ruling::{Evidence, LEAST_VOLTAGE_SHARE, Reading, Ruling, rule};
pub use trend::Trend;
pub use uncertainty::{Budget, COVERAGE};
pub use verdict::{Finding, Left, Verdict};
pub use window::{FEWEST, Settled, Window};
