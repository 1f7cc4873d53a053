//! Instruments: driver files, the conversation on a line, links.

pub mod driver;
mod file;
mod meter;
pub mod reply;
mod session;
mod supply;
pub mod wiring;
mod written;

pub use file::FileError;
pub use meter::{Meter, MeterSays, SensedBy};
pub use session::{Heard, Outgoing, Session, Timing};
pub use supply::{Settings, Supply, SupplyPace, SupplySays};
