//! `station`: finds out, checks and describes what stands on the bench.

mod check;
mod drivers;
mod schema;

use super::failure::Failure;
use super::{Exit, screen};
use crate::station::wiring::EXAMPLE;

/// Arguments of `station`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Ask the instruments who they are and what they read; nothing is energised
    Check(check::Arguments),
    /// List the drivers that a station file can name, and what each can do
    Drivers(drivers::Arguments),
    /// Print the JSON Schema of station files or driver files
    Schema(schema::Arguments),
    /// Print a commented station file
    Example,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    match &arguments.command {
        Command::Example => {
            screen::tell(EXAMPLE);
            Ok(Exit::Within)
        }
        Command::Check(arguments) => check::run(arguments),
        Command::Drivers(arguments) => drivers::run(arguments),
        Command::Schema(arguments) => Ok(schema::run(arguments)),
    }
}
