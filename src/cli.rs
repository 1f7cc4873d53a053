//! The commands: parse, then check, then act; a file a command.

mod ask;
mod bench;
mod compare;
mod demo;
mod exit;
mod export;
mod failure;
mod limit;
mod live;
mod plan;
mod plot;
mod record;
mod reform;
mod runs;
mod screen;
mod serve;
mod served;
mod show;
mod simulate;
mod sitting;
mod soak;
mod staircase;
mod station;
mod stop;
mod table;
mod trace;
mod tray;
mod tray_file;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use tracing_subscriber::Layer;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::registry::LookupSpan;
use tracing_subscriber::util::SubscriberInitExt as _;

use crate::record::{Record, RecordError};

use trace::Trace;

pub use exit::Exit;

const AFTER: &str = "\
Exit codes: 0 all within · 1 some over · 2 some undecided or untested · 3 instrument or station \
fault, left safe · 4 locked out: not proven empty, do not touch · 64 bad usage or bad input file.

It can hurt: above 60 V DC terminals are dangerous, above 10 J a part burns and welds at any \
voltage. Read SAFETY.md; follow local codes; software is not a protective device.";

/// Measures the DC leakage of capacitors pulled for repair.
#[derive(Debug, Parser)]
#[command(name = "reststrom", version, about, after_help = AFTER, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// Write every byte on the instruments' lines, both ways and with times, to this file
    #[arg(long, global = true, value_name = "FILE")]
    trace: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Say what would be done to a part or a tray, with what energy, cautions first; nothing is
    /// energised
    Plan(plan::Arguments),
    /// Test the part in the clip: ramp, soak, judge, discharge, keep the record
    Soak(soak::Arguments),
    /// Read the leakage of the part in the clip at steps of voltage, up to where it is within
    Staircase(staircase::Arguments),
    /// Grow the oxide of an aged wet aluminium part back, let it rest, test it
    Reform(reform::Arguments),
    /// Test the parts of a tray one after another, by hand or by scanner
    Tray(tray::Arguments),
    /// Give a part's leakage limit in amperes, and how it comes about
    Limit(limit::Arguments),
    /// List the runs on record, newest first
    Runs(runs::Arguments),
    /// Show one run
    Show(show::Arguments),
    /// Draw one run or several: against time or voltage, as a picture or in characters
    Plot(plot::Arguments),
    /// Say in what a run differs from others, and by how many uncertainties
    Compare(compare::Arguments),
    /// Write runs to a file: readings as CSV or Parquet, everything as JSON Lines
    Export(export::Arguments),
    /// Take runs in that another record exported as JSON Lines
    Import(export::ImportArguments),
    /// Check the record, copy it, or make it smaller
    Record(record::Arguments),
    /// Own stations and serve their page and API, until a signal ends it
    Serve(serve::Arguments),
    /// Stop the run at a station: output off, discharge
    Stop(stop::Arguments),
    /// Look at a station without energising anything, or print an example of its file
    Station(station::Arguments),
    /// Serve a simulated bench on pseudo-terminals and print a station file for it
    Simulate(simulate::Arguments),
    /// Test invented parts on a simulated bench, one after another
    Demo(demo::Arguments),
    /// The watching process beside a run; started by the program itself
    #[command(hide = true)]
    Keeper,
}

/// The record that a command reads or writes.
#[derive(Debug, Clone, clap::Args)]
struct RecordArgument {
    /// The record's file, in place of the one in the user's data folder
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
}

impl RecordArgument {
    fn path(&self) -> Result<PathBuf, failure::Failure> {
        match &self.record {
            Some(path) => Ok(path.clone()),
            None => Ok(crate::record::default_path()?),
        }
    }

    /// Opens the record to look at it; one that an older program wrote is brought forward first.
    fn open_to_look(&self) -> Result<Record, failure::Failure> {
        let path = self.path()?;
        match Record::open_for_reading(&path) {
            Err(RecordError::Older { .. }) => {
                drop(Record::open(&path)?);
                Ok(Record::open_for_reading(path)?)
            }
            opened => Ok(opened?),
        }
    }
}

/// Runs the program and gives its exit code.
#[must_use]
pub fn main() -> ExitCode {
    if let Some(word) = std::env::args().skip(1).find(|word| is_negative(word)) {
        return failed(&failure::Failure::usage(
            format!("\"{word}\": expected a value above zero, came one with a minus sign"),
            "write ratings, limits and voltages without a sign",
        ));
    }
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return usage(&error),
    };
    let _trace = match start_tracing(arguments.trace.as_deref()) {
        Ok(trace) => trace,
        Err(failure) => return failed(&failure),
    };
    match act(arguments.command) {
        Ok(exit) => exit.into(),
        Err(failure) => failed(&failure),
    }
}

fn failed(failure: &failure::Failure) -> ExitCode {
    screen::complain(&failure.text());
    failure.exit.into()
}

/// A word such as `-25V`: no option begins with a digit, and nothing here is below zero.
fn is_negative(word: &str) -> bool {
    word.strip_prefix('-').is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
}

fn act(command: Command) -> Result<Exit, failure::Failure> {
    match command {
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Soak(arguments) => soak::run(&arguments),
        Command::Staircase(arguments) => staircase::run(&arguments),
        Command::Reform(arguments) => reform::run(&arguments),
        Command::Tray(arguments) => tray::run(&arguments),
        Command::Limit(arguments) => limit::run(&arguments),
        Command::Runs(arguments) => runs::run(&arguments),
        Command::Show(arguments) => show::run(&arguments),
        Command::Plot(arguments) => plot::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Export(arguments) => export::run(&arguments),
        Command::Import(arguments) => export::import(&arguments),
        Command::Record(arguments) => record::run(&arguments),
        Command::Serve(arguments) => serve::run(&arguments),
        Command::Stop(arguments) => stop::run(&arguments),
        Command::Station(arguments) => station::run(&arguments),
        Command::Simulate(arguments) => simulate::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Keeper => keeper(),
    }
}

fn keeper() -> Result<Exit, failure::Failure> {
    crate::daemon::keeper::keep().map_err(|error| {
        failure::Failure::new(Exit::Fault, format!("keeper: {error}"), "see the reason")
    })?;
    Ok(Exit::Within)
}

/// Help and version are asked for and go to standard output; anything else is bad usage.
fn usage(error: &clap::Error) -> ExitCode {
    let asked = !error.use_stderr();
    if let Err(error) = error.print() {
        tracing::debug!(%error, "nobody reads the help");
    }
    if asked { Exit::Within.into() } else { Exit::Usage.into() }
}

/// Quiet unless `RESTSTROM_LOG` asks for more, and then to standard error; the lines' bytes to the
/// file of a trace.
fn start_tracing(trace: Option<&Path>) -> Result<Option<Trace>, failure::Failure> {
    let filter = tracing_subscriber::EnvFilter::try_from_env("RESTSTROM_LOG")
        .unwrap_or_else(|_unset| tracing_subscriber::EnvFilter::new("error"));
    let screen = tracing_subscriber::fmt::layer().with_writer(std::io::stderr).with_filter(filter);
    let (layer, trace) = trace.map(begin_trace).transpose()?.unzip();
    tracing_subscriber::registry().with(screen).with(layer).init();
    Ok(trace)
}

fn begin_trace<S>(path: &Path) -> Result<(impl Layer<S>, Trace), failure::Failure>
where
    S: tracing::Subscriber + for<'a> LookupSpan<'a>,
{
    trace::begin(path).map_err(|error| {
        let what = format!("{}: the trace can't be begun: {error}", path.display());
        failure::Failure::usage(what, "name a file that can be written")
    })
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn a_rating_with_a_minus_sign_is_no_option() {
        assert!(is_negative("-25V") && !is_negative("--soak") && !is_negative("-h"));
    }

    #[test]
    fn the_commands_go_together() {
        Arguments::command().debug_assert();
    }
}
