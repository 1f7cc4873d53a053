//! One actor per station: feeds the procedure, carries its orders out, with a keeper beside it.

mod actor;
pub mod asked;
mod begun;
mod cause;
mod check;
mod clock;
pub mod control;
mod ending;
mod identify;
pub mod keeper;
mod plug;
mod progress;
pub mod refused;
mod run;
mod scanner;
pub mod served;
mod standing;
mod zeroed;

pub use actor::Stop;
pub use begun::{Begun, Origin, PlanObject, new_run};
pub use check::Checked;
pub use identify::{Identified, IdentifyError, Suits, identify};
pub use progress::Progress;
pub use run::{Finished, Line, OpenStation, RunError};
pub use scanner::{Connected, OpenScanner, ScannerError};
pub use standing::{Doing, Going, Last, Standing};
pub use zeroed::with_zero;
