//! `plot`: runs against time or voltage, as a picture or in characters.

use std::path::{Path, PathBuf};

use super::failure::{Failure, chain};
use super::show::run_id;
use super::{Exit, RecordArgument, screen};
use crate::record::{Record, Run};
use crate::report::{self, Against, Axes, DrawError, Measure, Member, Since, Terminal, View};

/// Characters of a terminal that does not say how large it is.
const USUAL_TERMINAL: Terminal = Terminal { columns: 100, lines: 30 };

/// Arguments of `plot`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// One run or up to twelve, such as r17
    #[arg(value_name = "RUN", required = true)]
    runs: Vec<String>,
    #[command(flatten)]
    record: RecordArgument,
    /// Draw a staircase against time too, not against its voltages
    #[arg(long)]
    over_time: bool,
    /// How the axes run
    #[arg(long, value_enum, default_value_t = AxesArgument::LogLog)]
    axes: AxesArgument,
    /// Count time from here [default: full voltage if several runs all reached it, else switch-on]
    #[arg(long, value_enum, value_name = "WHERE")]
    align: Option<AlignArgument>,
    /// Divide each current, so that different parts compare
    #[arg(long, value_enum, value_name = "BY")]
    normalise: Option<NormaliseArgument>,
    /// Print the plot in characters instead of writing a picture
    #[arg(long, conflicts_with = "out")]
    terminal: bool,
    /// The picture's file, ending in .png or .svg [default: the runs' ids with .png]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// How the axes run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum AxesArgument {
    /// Decades of current against decades of time
    LogLog,
    /// Current against time as they are
    Linear,
    /// Decades of current against the voltage at the part
    Voltage,
}

/// From where time is counted.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum AlignArgument {
    /// The first order to the supply
    SwitchOn,
    /// Full voltage, from which reading times count
    FullVoltage,
}

/// What a current is divided by.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum NormaliseArgument {
    /// The part's own limit
    Limit,
    /// The part's capacitance times its test voltage
    Charge,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let record = arguments.record.open_to_look()?;
    let runs: Vec<Run> = arguments
        .runs
        .iter()
        .map(|word| Ok(record.run(run_id(word)?)?))
        .collect::<Result<_, Failure>>()?;
    if arguments.terminal {
        let members = members(&record, &runs)?;
        let view = view(arguments, &members);
        let text = terminal().draw(&members, view).map_err(|error| failure(&error.into()))?;
        screen::tell(&text);
        return Ok(Exit::Within);
    }
    let out = arguments.out.clone().unwrap_or_else(|| named_for(&runs));
    draw(arguments, &record, &runs, &out)?;
    screen::tell(&format!("drawn: {}\n", out.display()));
    Ok(Exit::Within)
}

/// One run as its own page, anything else as one of several.
fn draw(arguments: &Arguments, record: &Record, runs: &[Run], out: &Path) -> Result<(), Failure> {
    let plain = arguments.align.is_none() && arguments.normalise.is_none();
    let axes = match arguments.axes {
        AxesArgument::LogLog => Some(Axes::LogLog),
        AxesArgument::Linear => Some(Axes::Linear),
        AxesArgument::Voltage => None,
    };
    if let ([run], true, Some(axes)) = (runs, plain, axes) {
        let steps = report::steps(run).filter(|_| !arguments.over_time);
        return match steps {
            Some(steps) => report::save_steps(&steps, out),
            None => report::save(&report::curve(record, run)?, axes, out),
        }
        .map_err(|error| failure(&error));
    }
    let members = members(record, runs)?;
    report::save_together(&members, view(arguments, &members), out).map_err(|error| failure(&error))
}

fn members(record: &Record, runs: &[Run]) -> Result<Vec<Member>, Failure> {
    runs.iter().map(|run| Ok(report::member(record, run)?)).collect()
}

fn view(arguments: &Arguments, members: &[Member]) -> View {
    let all_full = members.iter().all(|member| member.curve.full_voltage_at.is_some());
    View {
        against: match arguments.axes {
            AxesArgument::LogLog => Against::LogTime,
            AxesArgument::Linear => Against::Time,
            AxesArgument::Voltage => Against::Voltage,
        },
        since: match arguments.align {
            Some(AlignArgument::FullVoltage) => Since::FullVoltage,
            None if all_full && 1 < members.len() => Since::FullVoltage,
            None | Some(AlignArgument::SwitchOn) => Since::SwitchOn,
        },
        measure: match arguments.normalise {
            None => Measure::Current,
            Some(NormaliseArgument::Limit) => Measure::OfLimit,
            Some(NormaliseArgument::Charge) => Measure::OfCharge,
        },
    }
}

/// The terminal's own size, as far as it tells.
fn terminal() -> Terminal {
    rustix::termios::tcgetwinsize(std::io::stdout()).map_or(USUAL_TERMINAL, |size| {
        let (columns, lines) = (usize::from(size.ws_col), usize::from(size.ws_row));
        if columns == 0 || lines == 0 { USUAL_TERMINAL } else { Terminal { columns, lines } }
    })
}

/// `r3.png`, `r3-r7.png`, `r3-and-5-more.png`.
fn named_for(runs: &[Run]) -> PathBuf {
    let ids: Vec<String> = runs.iter().map(|run| run.id.to_string()).collect();
    let name = match ids.as_slice() {
        [first, rest @ ..] if 3 < rest.len() => format!("{first}-and-{}-more", rest.len()),
        _ => ids.join("-"),
    };
    PathBuf::from(format!("{name}.png"))
}

fn failure(error: &DrawError) -> Failure {
    let help = match error {
        DrawError::Together(error) => error.help(),
        DrawError::Ending { .. }
        | DrawError::Write { .. }
        | DrawError::Font
        | DrawError::Canvas(_)
        | DrawError::Encode(_) => "name a file that can be written",
    };
    Failure::usage(chain(error), help)
}
