//! `record`: the record looked after: checked, copied, made smaller.

use std::path::PathBuf;

use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

use super::failure::Failure;
use super::runs::{Bound, moment};
use super::{Exit, RecordArgument, screen};
use crate::record::{Prunable, Record};

/// Arguments of `record`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Look through the whole record: is every run, event and reading still readable?
    Check {
        #[command(flatten)]
        record: RecordArgument,
    },
    /// Copy the record to a new file; a run may go on meanwhile
    Backup {
        /// The copy
        #[arg(value_name = "FILE")]
        to: PathBuf,
        #[command(flatten)]
        record: RecordArgument,
    },
    /// Give the room back that pruned readings left
    Vacuum {
        #[command(flatten)]
        record: RecordArgument,
    },
    /// Let go of old readings; verdicts, budgets, events and the readings of the window stay
    Prune(PruneArguments),
}

/// Arguments of `record prune`.
#[derive(Debug, clap::Args)]
struct PruneArguments {
    #[command(flatten)]
    record: RecordArgument,
    /// Of runs older than this, such as 90d, 18mo or 2y
    #[arg(long, value_name = "AGE", required_unless_present = "before", conflicts_with = "before")]
    older_than: Option<String>,
    /// Of runs from before this day (UTC), such as 2025-01-01
    #[arg(long, value_name = "DATE")]
    before: Option<String>,
    /// Do it; without this it only says what would go
    #[arg(long)]
    yes: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    match &arguments.command {
        Command::Check { record } => check(record),
        Command::Backup { to, record } => backup(record, to),
        Command::Vacuum { record } => vacuum(record),
        Command::Prune(arguments) => prune(arguments),
    }
}

fn check(record: &RecordArgument) -> Result<Exit, Failure> {
    let record = record.open_to_look()?;
    let checked = record.check()?;
    if checked.faults.is_empty() {
        screen::tell(&format!(
            "{}: {} runs and {} readings, all readable.\n",
            record.path().display(),
            checked.runs,
            checked.readings
        ));
        return Ok(Exit::Within);
    }
    let help =
        "copy the file away, then `reststrom export` what can be read, or take the last backup";
    Err(Failure::all(
        checked
            .faults
            .into_iter()
            .map(|fault| (format!("{}: {fault}", record.path().display()), help.to_owned()))
            .collect(),
    ))
}

fn backup(record: &RecordArgument, to: &std::path::Path) -> Result<Exit, Failure> {
    if to.exists() {
        return Err(Failure::usage(
            format!("{} is there already", to.display()),
            "name a file that is not there: a backup never writes over another",
        ));
    }
    let record = record.open_to_look()?;
    record.back_up(to)?;
    let copy = Record::open_for_reading(to)?.check()?;
    if let Some(fault) = copy.faults.first() {
        return Err(Failure::new(
            Exit::Fault,
            format!("{}: the copy is not whole: {fault}", to.display()),
            "check the record itself with `reststrom record check`, and the disk",
        ));
    }
    screen::tell(&format!(
        "copied to {} and looked through: {} runs, {} readings.\n",
        to.display(),
        copy.runs,
        copy.readings
    ));
    Ok(Exit::Within)
}

fn vacuum(record: &RecordArgument) -> Result<Exit, Failure> {
    let mut record = Record::open(record.path()?)?;
    if let Some(open) = record.first_open_run()? {
        return Err(Failure::usage(
            format!("{open} is open: it goes on, or was cut off"),
            "wait until it is over; the next soak at its station makes its bench safe and closes it",
        ));
    }
    let before = record.bytes()?;
    record.vacuum()?;
    let after = record.bytes()?;
    screen::tell(&format!("{} before, {} now.\n", megabytes(before), megabytes(after)));
    Ok(Exit::Within)
}

fn prune(arguments: &PruneArguments) -> Result<Exit, Failure> {
    let now = Timestamp::now();
    let before = match (&arguments.older_than, &arguments.before) {
        (Some(age), _) => ago(age, now)?,
        (None, Some(day)) => moment(day, Bound::First)?,
        (None, None) => return Err(Failure::usage("no age", "say --older-than 2y")),
    };
    let mut record = Record::open(arguments.record.path()?)?;
    let found = record.prunable(before)?;
    if !arguments.yes {
        screen::tell(&would_go(&found, before));
        return Ok(Exit::Within);
    }
    let mut gone = 0;
    for run in &found {
        gone += record.prune(run.run, now)?;
    }
    screen::tell(&format!(
        "{gone} readings of {} runs let go of; their verdicts stay. `reststrom record vacuum` gives \
         the room back.\n",
        found.len()
    ));
    Ok(Exit::Within)
}

fn would_go(found: &[Prunable], before: Timestamp) -> String {
    let readings: u64 = found.iter().map(|run| run.readings).sum();
    let line = |run: &Prunable| {
        format!("{}  {}  {} readings\n", run.run, run.started.strftime("%Y-%m-%d"), run.readings)
    };
    let lines: String = found.iter().map(line).collect();
    format!(
        "{lines}{readings} readings of {} runs from before {} would go; verdicts, budgets, events and \
         the readings of the window stay. Nothing is gone yet: add --yes.\n",
        found.len(),
        before.strftime("%Y-%m-%d")
    )
}

/// The moment so long ago, by the calendar.
fn ago(age: &str, now: Timestamp) -> Result<Timestamp, Failure> {
    let wrong = |cause: jiff::Error| {
        Failure::usage(
            format!("\"{age}\" is no age: {cause}"),
            "write days, months or years, such as 90d, 18mo or 2y",
        )
    };
    let span: Span = age.parse().map_err(wrong)?;
    if !span.is_positive() {
        return Err(Failure::usage(
            format!("\"{age}\" is no age: expected more than none"),
            "write days, months or years, such as 90d, 18mo or 2y",
        ));
    }
    let then = TimeZone::UTC.to_datetime(now).checked_sub(span).map_err(wrong)?;
    TimeZone::UTC.to_timestamp(then).map_err(wrong)
}

fn megabytes(bytes: u64) -> String {
    format!("{}.{} MB", bytes / 1_000_000, bytes / 100_000 % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_age_goes_by_the_calendar() {
        let now: Timestamp = "2026-03-14T08:15:00Z".parse().unwrap();
        let ago = |age| super::ago(age, now).unwrap().to_string();
        assert_eq!(ago("2y"), "2024-03-14T08:15:00Z");
        assert_eq!(ago("18mo"), "2024-09-14T08:15:00Z");
        assert_eq!(ago("90d"), "2025-12-14T08:15:00Z");
    }

    #[test]
    fn what_is_no_age_is_refused_with_examples() {
        for age in ["old", "-2y", "0d", "1970"] {
            let now = Timestamp::now();
            let failure = ago(age, now).unwrap_err().text();
            assert!(failure.contains("90d, 18mo or 2y"), "{failure}");
        }
    }
}
