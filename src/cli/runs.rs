//! `runs`: what is on record, newest first.

use super::failure::Failure;
use super::table::table;
use super::{Exit, RecordArgument, screen};
use crate::judge::Verdict;
use crate::record::RunFilter;
use crate::report::object::RunObject;

/// Arguments of `runs`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    record: RecordArgument,
    /// Only so many
    #[arg(long, value_name = "N")]
    most: Option<u32>,
    /// Only those of this station
    #[arg(long = "at", value_name = "NAME")]
    station: Option<String>,
    /// Only those of this part name, such as C14
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Only those with this verdict: within, over, undecided, untested
    #[arg(long, value_name = "VERDICT")]
    verdict: Option<String>,
    /// Print them as JSON
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let record = arguments.record.open_to_look()?;
    let runs = record.runs(&RunFilter {
        limit: arguments.most,
        station: arguments.station.clone(),
        part: arguments.part.clone(),
        verdict: arguments.verdict.as_deref().map(verdict).transpose()?,
    })?;
    let objects: Vec<RunObject> = runs.iter().map(RunObject::of).collect();
    if arguments.json {
        screen::tell_json(&objects);
    } else {
        screen::tell(&listing(&objects));
    }
    Ok(Exit::Within)
}

fn verdict(word: &str) -> Result<Verdict, Failure> {
    Verdict::from_tag(word).ok_or_else(|| {
        let words: Vec<&str> = Verdict::ALL.iter().map(|verdict| verdict.tag()).collect();
        Failure::usage(
            format!("no verdict \"{word}\""),
            format!("expected one of {}", words.join(", ")),
        )
    })
}

/// The table of runs.
pub(crate) fn listing(objects: &[RunObject]) -> String {
    if objects.is_empty() {
        return "no runs on record\n".into();
    }
    let rows: Vec<Vec<String>> = objects.iter().map(row).collect();
    table(&["run", "started", "part", "family", "verdict", "reading", "limit", "findings"], &rows)
}

fn row(object: &RunObject) -> Vec<String> {
    let state = (object.state != "ended").then_some(object.state);
    let locked = (object.left == Some("locked-out")).then_some("LOCKED OUT");
    let simulated = object.simulated.then_some("(simulated)");
    let findings = object.findings.join(", ");
    let words = [state, locked, Some(findings.as_str()), simulated];
    let findings = words.into_iter().flatten().collect::<Vec<_>>().join(" ");
    vec![
        object.run.clone(),
        object.started.get(..16).unwrap_or_default().replace('T', " "),
        object.part.name.clone(),
        object.part.family.clone(),
        object.verdict.to_owned(),
        object.reading(),
        object.limit(),
        findings,
    ]
}
