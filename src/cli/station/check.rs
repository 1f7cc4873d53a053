//! `station check`: looks at a station, and says what to do where it is not as it must be.

use crate::cli::ask::StationArgument;
use crate::cli::failure::Failure;
use crate::cli::table::table;
use crate::cli::{Exit, screen, sitting};
use crate::daemon::{Checked, OpenScanner, OpenStation};

/// Arguments of `station check`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    station: StationArgument,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let station = arguments.station.load()?;
    let program = std::env::current_exe()?;
    let checked = sitting::runtime()?.block_on(async {
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
