//! `station`: finds out, checks and describes what stands on the bench.

mod check;
mod drivers;
mod identify;
mod schema;
mod zero;

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
    /// Find out what stands at a port, without setting anything, and propose station file lines
    Identify(identify::Arguments),
    /// Measure what the open fixture leaks by itself, and keep it; energises the clips
    Zero(zero::Arguments),
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
        Command::Identify(arguments) => identify::run(arguments),
        Command::Zero(arguments) => zero::run(arguments),
        Command::Drivers(arguments) => drivers::run(arguments),
        Command::Schema(arguments) => Ok(schema::run(arguments)),
    }
}
