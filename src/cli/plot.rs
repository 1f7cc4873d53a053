//! `plot`: a run's current and voltage against time.

use std::path::PathBuf;

use super::failure::{Failure, chain};
use super::show::run_id;
use super::{Exit, RecordArgument, screen};
use crate::report::{self, Axes};

/// Arguments of `plot`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The run, such as r17
    #[arg(value_name = "RUN")]
    run: String,
    #[command(flatten)]
    record: RecordArgument,
    /// How the axes run
    #[arg(long, value_enum, default_value_t = AxesArgument::LogLog)]
    axes: AxesArgument,
    /// The picture's file, ending in .png or .svg [default: the run's id with .png]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// How the axes run.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum AxesArgument {
    /// Decades against decades
    LogLog,
    /// As they are
    Linear,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let record = arguments.record.open_to_look()?;
    let run = record.run(run_id(&arguments.run)?)?;
    let out = arguments.out.clone().unwrap_or_else(|| PathBuf::from(format!("{}.png", run.id)));
    let axes = match arguments.axes {
        AxesArgument::LogLog => Axes::LogLog,
        AxesArgument::Linear => Axes::Linear,
    };
    let curve = report::curve(&record, &run)?;
    report::save(&curve, axes, &out)
        .map_err(|error| Failure::usage(chain(&error), "name a file that can be written"))?;
    screen::tell(&format!("drawn: {}\n", out.display()));
    Ok(Exit::Within)
}
