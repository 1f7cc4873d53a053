//! One actor per station: feeds the procedure, carries its orders out, with a keeper beside it.

mod actor;
mod clock;
pub mod keeper;
mod progress;

pub use actor::Stop;
pub use progress::Progress;
