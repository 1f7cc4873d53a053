//! From readings to a verdict: contact, settled current, uncertainty, finding.

mod verdict;

pub use verdict::{Finding, Left, Verdict};
