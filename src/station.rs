//! Instruments: driver files, the conversation on a line, links.

pub mod reply;
mod session;

pub use session::{Heard, Outgoing, Session, Timing};
