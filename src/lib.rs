//! DC leakage of capacitors pulled for repair: measured, judged, discharged and kept on record.
//!
//! The modules stand in reading order, lowest floor first; imports go down only.
//! `quantity`, `part`, `judge`, `plan`, `procedure` and `tray` are pure: no clock, no I/O, no
//! randomness.
//! `DEVELOPERS.md` has the map of the house.

mod words;

pub mod quantity;

pub mod part;

pub mod judge;
pub mod plan;

pub mod procedure;
pub mod record;
pub mod station;
pub mod tray;

pub mod daemon;
pub mod report;

pub mod page;

pub mod cli;

pub mod simbench;
