//! `limit`: a part's leakage limit in amperes, and how it comes about.

use serde::Serialize;

use super::ask::PartArguments;
use super::failure::Failure;
use super::{Exit, screen};
use crate::part::{Limit, Part};
use crate::quantity::text;

/// Arguments of `limit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    part: PartArguments,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Serialize)]
struct LimitsObject {
    limits: Vec<LimitObject>,
    formula: String,
    conventions: Vec<String>,
    question: Option<()>,
}

#[derive(Debug, Serialize)]
struct LimitObject {
    ampere: f64,
    reading_time_second: Option<f64>,
    reference_celsius: Option<f64>,
    resistance_ohm: Option<f64>,
    measuring_volt: Option<f64>,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let part = arguments.part.part()?;
    let limit = arguments.part.limit(&part)?;
    let failed = |error: crate::part::LimitError| Failure::usage(error.to_string(), error.help());
    let current = limit.current(&part.rating).map_err(failed)?;
    let measured_at = limit
        .measured_at
        .voltage(&part.rating)
        .map_err(|error| Failure::usage(error.to_string(), error.help()))?;
    if arguments.json {
        screen::tell_json(&LimitsObject {
            limits: vec![LimitObject {
                ampere: current.value,
                reading_time_second: limit.reading_time.map(|time| time.value),
                reference_celsius: limit.reference.map(crate::quantity::Celsius::degrees),
                resistance_ohm: None,
                measuring_volt: Some(measured_at.get().value),
            }],
            formula: limit.rule.to_string(),
            conventions: vec![format!("source: {}", limit.source)],
            question: None,
        });
    } else {
        screen::tell(&sentence(&part, &limit, current, measured_at.get()));
    }
    Ok(Exit::Within)
}

fn sentence(
    part: &Part,
    limit: &Limit,
    current: crate::quantity::Current,
    measured_at: crate::quantity::Voltage,
) -> String {
    let at = limit.reading_time.map(|time| format!(" after {}", text::time(time)));
    let reference =
        limit.reference.map(|celsius| format!(" and {}", text::temperature_celsius(celsius)));
    format!(
        "{part}: {}{} at {}{}\n  rule    {}\n  source  {}\n",
        text::current(current),
        at.unwrap_or_default(),
        text::voltage(measured_at),
        reference.unwrap_or_default(),
        limit.rule,
        limit.source
    )
}
