//! Instruments: driver files, the conversation on a line, links.

pub mod driver;
mod file;
pub mod interview;
mod link;
mod meter;
mod picture;
mod relay;
pub mod reply;
mod scanner;
pub mod schema;
mod session;
pub mod stream;
mod supply;
pub mod wiring;
mod written;

pub use file::{FileError, configuration_folder};
pub use link::{Duplicate, LINE_TARGET, Link, LinkError, Lock, runtime_folder};
pub use meter::{Meter, MeterSays, Sense, SensedBy};
pub use picture::{Picture, PictureError};
pub use relay::{ControlLines, Relay, RelayError};
pub use scanner::{Channel, Contacts, NotClosed, Scanner, ScannerSays};
pub use session::{Ends, Heard, Outgoing, Session, Timing};
pub use supply::{Settings, Supply, SupplyPace, SupplySays};
