//! One actor per station: feeds the procedure, carries its orders out, with a keeper beside it.

mod actor;
mod cause;
mod check;
mod clock;
pub mod control;
mod ending;
mod identify;
pub mod keeper;
mod plug;
mod progress;
mod run;
mod scanner;

pub use actor::Stop;
pub use check::Checked;
pub use identify::{Identified, IdentifyError, Suits, identify};
pub use progress::Progress;
pub use run::{Finished, Line, OpenStation, RunError};
pub use scanner::{Connected, OpenScanner, ScannerError};
