//! `runs`: what is on record, newest first; the course of one part over time.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Serialize;

use super::failure::Failure;
use super::table::table;
use super::{Exit, RecordArgument, screen};
use crate::judge::{Left, Verdict};
use crate::part::Family;
use crate::quantity::{Capacitance, read, text};
use crate::record::{Listed, RunFilter, TrayId, TrayIdError};
use crate::report::comparison::Course;
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
    /// Only those of this family, by its tag or a word of the trade, such as tantalum
    #[arg(long, value_name = "FAMILY")]
    family: Option<String>,
    /// Only those of this printed capacitance, such as 22µF
    #[arg(long, value_name = "CAPACITANCE")]
    value: Option<String>,
    /// Only those with this verdict: within, over, undecided, untested
    #[arg(long, value_name = "VERDICT")]
    verdict: Option<String>,
    /// Only those from this day on (UTC), such as 2026-03-14, or from a moment (RFC 3339)
    #[arg(long, value_name = "DATE")]
    since: Option<String>,
    /// Only those up to this day, itself included (UTC), or before a moment (RFC 3339)
    #[arg(long, value_name = "DATE")]
    until: Option<String>,
    /// Only those of parts of this tray, such as t3
    #[arg(long, value_name = "TRAY")]
    tray: Option<String>,
    /// Follow the readings of one part over time
    #[arg(long, requires = "part")]
    trend: bool,
    /// Print them as JSON
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let filter = filter(arguments)?;
    let record = arguments.record.open_to_look()?;
    if arguments.trend {
        let course = Course::of(&record.listing(&filter)?);
        if arguments.json {
            screen::tell_json(&CourseObject::of(&course));
        } else {
            screen::tell(&trend(&course));
        }
    } else if arguments.json {
        let runs = record.runs(&filter)?;
        screen::tell_json(&runs.iter().map(RunObject::of).collect::<Vec<_>>());
    } else {
        screen::tell(&listing(&record.listing(&filter)?));
    }
    Ok(Exit::Within)
}

fn filter(arguments: &Arguments) -> Result<RunFilter, Failure> {
    Ok(RunFilter {
        limit: arguments.most,
        station: arguments.station.clone(),
        part: arguments.part.clone(),
        verdict: arguments.verdict.as_deref().map(verdict).transpose()?,
        family: arguments.family.as_deref().map(family).transpose()?,
        capacitance: arguments.value.as_deref().map(capacitance).transpose()?,
        since: arguments.since.as_deref().map(|text| moment(text, Bound::First)).transpose()?,
        before: arguments.until.as_deref().map(|text| moment(text, Bound::Last)).transpose()?,
        tray: arguments.tray.as_deref().map(tray).transpose()?,
    })
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

/// The tag of a family; one of runs of an older program may be no word of today's.
fn family(word: &str) -> Result<String, Failure> {
    match Family::read(word) {
        Ok(family) => Ok(family.tag().to_owned()),
        Err(error) => Err(Failure::usage(error.to_string(), error.help())),
    }
}

fn capacitance(text: &str) -> Result<Capacitance, Failure> {
    read::capacitance(text).map_err(|error| Failure::usage(error.to_string(), error.help()))
}

fn tray(text: &str) -> Result<TrayId, Failure> {
    text.parse().map_err(|error: TrayIdError| {
        Failure::usage(error.to_string(), "`reststrom runs --json` says which tray a run is of")
    })
}

/// Which end of a day a date means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Bound {
    /// Its begin.
    First,
    /// Its end.
    Last,
}

/// A day in UTC, as the list shows it, or a moment.
pub(crate) fn moment(text: &str, bound: Bound) -> Result<Timestamp, Failure> {
    let wrong = |cause: jiff::Error| {
        Failure::usage(
            format!("\"{text}\" is no date: {cause}"),
            "write a day such as 2026-03-14, or a moment such as 2026-03-14T08:15:00Z",
        )
    };
    if let Ok(moment) = text.parse::<Timestamp>() {
        return Ok(moment);
    }
    let day: Date = text.parse().map_err(wrong)?;
    let day = if bound == Bound::Last { day.tomorrow().map_err(wrong)? } else { day };
    TimeZone::UTC.to_timestamp(day.into()).map_err(wrong)
}

/// The table of runs.
fn listing(runs: &[Listed]) -> String {
    if runs.is_empty() {
        return "no runs on record\n".into();
    }
    let rows: Vec<Vec<String>> = runs.iter().map(row).collect();
    table(&["run", "started", "part", "family", "verdict", "reading", "limit", "findings"], &rows)
}

fn row(run: &Listed) -> Vec<String> {
    let state = (run.state != "ended").then_some(run.state);
    let locked = (run.left == Some(Left::LockedOut)).then_some("LOCKED OUT");
    let simulated = run.simulated.then_some("(simulated)");
    let findings: Vec<&str> = run.findings.iter().map(|finding| finding.tag()).collect();
    let findings = findings.join(", ");
    let words = [state, locked, Some(findings.as_str()), simulated];
    vec![
        run.id.to_string(),
        run.started.strftime("%Y-%m-%d %H:%M").to_string(),
        run.part.clone(),
        run.family.clone(),
        run.verdict.map_or("untested", Verdict::tag).to_owned(),
        reading(run),
        limit(run),
        words.into_iter().flatten().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" "),
    ]
}

fn reading(run: &Listed) -> String {
    run.current.map_or_else(
        || "–".to_owned(),
        |current| text::with_uncertainty(current.value, current.uncertainty),
    )
}

fn limit(run: &Listed) -> String {
    match (run.limit, run.reading_time) {
        (None, _) => "–".to_owned(),
        (Some(limit), None) => text::current(limit),
        (Some(limit), Some(time)) => format!("{} at {}", text::current(limit), text::time(time)),
    }
}

/// The course of a part: its readings, oldest first, each with a bar; and what they come to.
fn trend(course: &Course) -> String {
    if course.runs.is_empty() {
        return "no reading of this part on record\n".into();
    }
    let value = |run: &Listed| run.current.map_or(0.0, |current| current.value.value);
    let most = course.runs.iter().map(value).fold(f64::MIN_POSITIVE, f64::max);
    let rows: Vec<Vec<String>> = course
        .runs
        .iter()
        .map(|run| {
            vec![
                run.id.to_string(),
                run.started.strftime("%Y-%m-%d %H:%M").to_string(),
                reading(run),
                run.verdict.map_or("untested", Verdict::tag).to_owned(),
                bar(value(run) / most),
            ]
        })
        .collect();
    let listed = table(&["run", "started", "reading", "verdict", ""], &rows);
    let listed: Vec<&str> = listed.lines().map(str::trim_end).collect();
    let name = course.runs.first().map(|run| run.part.as_str()).unwrap_or_default();
    format!("{}\n\n{name}: {}\n", listed.join("\n"), course.sentence())
}

/// A bar of up to thirty characters.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share, held at zero and at one"
)]
fn bar(share: f64) -> String {
    "▪".repeat((share.clamp(0.0, 1.0) * 30.0).round() as usize)
}

/// The course of a part for scripts.
#[derive(Debug, Serialize)]
struct CourseObject {
    runs: Vec<String>,
    left_out: usize,
    change_ampere: Option<f64>,
    /// In standard uncertainties of the change.
    uncertainties: Option<f64>,
    slope_ampere_per_day: Option<f64>,
    slope_uncertainty_ampere_per_day: Option<f64>,
    says: String,
}

impl CourseObject {
    fn of(course: &Course) -> Self {
        Self {
            runs: course.runs.iter().map(|run| run.id.to_string()).collect(),
            left_out: course.left_out,
            change_ampere: course.change.map(|change| change.by.value),
            uncertainties: course.change.map(|change| change.uncertainties),
            slope_ampere_per_day: course.slope.map(|slope| slope.0),
            slope_uncertainty_ampere_per_day: course.slope.map(|slope| slope.1),
            says: course.sentence(),
        }
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::from_a_day("2026-03-14", Bound::First, "2026-03-14T00:00:00Z")]
    #[case::up_to_a_day("2026-03-14", Bound::Last, "2026-03-15T00:00:00Z")]
    #[case::a_moment("2026-03-14T08:15:00+01:00", Bound::Last, "2026-03-14T07:15:00Z")]
    fn a_date_means_its_whole_day(#[case] text: &str, #[case] bound: Bound, #[case] moment: &str) {
        assert_eq!(super::moment(text, bound).unwrap().to_string(), moment);
    }

    #[test]
    fn what_is_no_date_is_refused_with_an_example() {
        let failure = moment("14.3.2026", Bound::First).unwrap_err().text();
        assert!(failure.contains("\"14.3.2026\" is no date"), "{failure}");
        assert!(failure.contains("2026-03-14"), "{failure}");
    }
}
