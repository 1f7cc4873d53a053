//! `plot`: a run's current and voltage against time; a staircase's current against voltage.

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
    /// Draw a staircase against time too, not against its voltages
    #[arg(long)]
    over_time: bool,
    /// How the axes run, against time
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
    let steps = report::steps(&run).filter(|_| !arguments.over_time);
    let drawn = match steps {
        Some(steps) => report::save_steps(&steps, &out),
        None => report::save(&report::curve(&record, &run)?, axes, &out),
    };
    drawn.map_err(|error| Failure::usage(chain(&error), "name a file that can be written"))?;
    screen::tell(&format!("drawn: {}\n", out.display()));
    Ok(Exit::Within)
}
