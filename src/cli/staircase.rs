//! `staircase`: the leakage of the part in the clip against voltage, step by step.

use super::ask::{CommonArguments, RunArguments, time};
use super::failure::Failure;
use super::{Exit, soak};
use crate::plan::{Aim, Wish};

/// Arguments of `staircase`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    common: CommonArguments,
    /// Number of equal steps up to the test voltage
    #[arg(long, default_value_t = 10)]
    steps: u8,
    /// Time at full voltage of each step; its reading is taken at the end
    #[arg(long, value_name = "TIME", default_value = "1min")]
    dwell: String,
    #[command(flatten)]
    run: RunArguments,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let aim = Aim::Staircase { steps: arguments.steps, dwell: time(&arguments.dwell)? };
    let wish = Wish { aim, ..arguments.common.wish(None)? };
    soak::single(&wish, &arguments.common.station, &arguments.run)
}
