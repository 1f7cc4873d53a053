//! `station schema`: JSON Schemas for editors.

use clap::ValueEnum;

use crate::cli::{Exit, screen};
use crate::station::schema;

/// Arguments of `station schema`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Of which files
    #[arg(value_enum, default_value_t = Of::Station)]
    of: Of,
}

/// What a schema is for.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Of {
    /// Station files
    Station,
    /// Driver files
    Driver,
}

pub(super) fn run(arguments: &Arguments) -> Exit {
    screen::tell_json(&match arguments.of {
        Of::Station => schema::station(),
        Of::Driver => schema::driver(),
    });
    Exit::Within
}
