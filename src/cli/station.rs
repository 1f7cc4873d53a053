//! `station`: looks at a station without energising anything.

use super::ask::StationArgument;
use super::failure::Failure;
use super::table::table;
use super::{Exit, screen, served, sitting};
use crate::daemon::{Checked, OpenScanner, OpenStation};
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
    Check(CheckArguments),
    /// Print a commented station file
    Example,
}

#[derive(Debug, clap::Args)]
struct CheckArguments {
    #[command(flatten)]
    station: StationArgument,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    match &arguments.command {
        Command::Example => {
            screen::tell(EXAMPLE);
            Ok(Exit::Within)
        }
        Command::Check(arguments) => check(arguments),
    }
}

fn check(arguments: &CheckArguments) -> Result<Exit, Failure> {
    let station = arguments.station.load()?;
    let program = std::env::current_exe()?;
    let checked = sitting::runtime()?.block_on(async {
        let _loan = served::borrow(&station.name).await?;
        let mut open = OpenStation::open(&station, &program).await?;
        let mut checked = open.check(&station).await;
        if let Some(wiring) = &station.scanner {
            checked.extend(OpenScanner::open(wiring).await?.check().await);
        }
        open.close().await?;
        Ok::<_, Failure>(checked)
    })?;
    let good = checked.iter().all(|point| point.good);
    if arguments.json {
        screen::tell_json(&checked);
    } else {
        screen::tell(&listing(&checked));
        let end = if good { "ready to soak" } else { "not ready: see the remedies" };
        screen::tell(&format!("station {}: {end}\n", station.name));
    }
    Ok(if good { Exit::Within } else { Exit::Fault })
}

fn listing(checked: &[Checked]) -> String {
    let rows: Vec<Vec<String>> = checked
        .iter()
        .map(|point| {
            let mark = if point.good { "ok" } else { "FAILS" };
            let remedy = if point.good { "" } else { point.remedy };
            vec![point.what.to_owned(), mark.to_owned(), point.found.clone(), remedy.to_owned()]
        })
        .collect();
    table(&["check", "", "found", "remedy"], &rows)
}
