//! `staircase`: the leakage of the part in the clip against voltage, step by step.

use super::ask::{CommonArguments, RunArguments};
use super::failure::Failure;
use super::{Exit, soak};
use crate::daemon::asked::Asked;
use crate::plan::Kind;

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
    let asked = Asked {
        kind: Some(Kind::Staircase.tag().to_owned()),
        steps: Some(arguments.steps),
        dwell: Some(arguments.dwell.clone()),
        ..arguments.common.asked()
    };
    soak::single(&asked, &arguments.common.station, &arguments.run)
}
