//! `compare`: a run beside others, in sentences: itself earlier, its sisters, its family.

use std::path::PathBuf;

use serde::Serialize;

use super::failure::{Failure, chain};
use super::show::run_id;
use super::{Exit, RecordArgument, screen};
use crate::record::{Listed, Record, RunFilter, RunId};
use crate::report::comparison::{Beside, Relation, Standing, earlier, median, sisters};
use crate::report::{self, Against, MOST_RUNS, Measure, Member, Since, View};

/// Sisters that are listed.
const MOST_SISTERS: usize = 6;
/// A part is unlike its sisters from this factor on (handbook §5.2).
const UNLIKE: f64 = 2.0;
/// Fewer sisters than this have no middle that could be told from an odd one.
const LEAST_SISTERS: usize = 3;

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The run, such as r17
    #[arg(value_name = "RUN")]
    run: String,
    /// With these; else with the same part earlier, with parts like it, and with its family
    #[arg(value_name = "OTHER")]
    others: Vec<String>,
    #[command(flatten)]
    record: RecordArgument,
    /// Only with these
    #[arg(long, value_enum, value_name = "WHOM", conflicts_with = "others")]
    with: Option<With>,
    /// Draw all of them in one picture too, ending in .png or .svg
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

/// With whom.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum With {
    /// The same part before
    Earlier,
    /// Parts with the same printed on them, tested alike
    Sister,
    /// The other parts of its family on record
    Family,
}

/// A run and what stands beside it.
struct Compared<'a> {
    run: &'a Listed,
    beside: Vec<Beside<'a>>,
    standing: Option<Standing>,
    /// All parts like it, not only those that are listed.
    sisters: Vec<&'a Listed>,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let record = arguments.record.open_to_look()?;
    let id = run_id(&arguments.run)?;
    record.run(id)?;
    let others: Vec<RunId> =
        arguments.others.iter().map(|word| run_id(word)).collect::<Result<_, _>>()?;
    for other in &others {
        record.run(*other)?;
    }
    let all = record.listing(&RunFilter::default())?;
    let Some(run) = find(&all, id) else {
        return Err(Failure::usage(format!("{id} is gone"), "`reststrom runs` lists the runs"));
    };
    let compared = compared(arguments.with, run, &others, &all);
    if let Some(path) = &arguments.plot {
        plot(&record, &compared, path)?;
    }
    if arguments.json {
        screen::tell_json(&object(&compared));
    } else {
        screen::tell(&text(&compared));
    }
    Ok(Exit::Within)
}

fn find(all: &[Listed], id: RunId) -> Option<&Listed> {
    all.iter().find(|run| run.id == id)
}

fn compared<'a>(
    with: Option<With>,
    run: &'a Listed,
    others: &[RunId],
    all: &'a [Listed],
) -> Compared<'a> {
    let named = others.iter().filter_map(|id| find(all, *id));
    let named: Vec<Beside<'_>> =
        named.map(|other| Beside::of(Relation::Named, run, other)).collect();
    if !named.is_empty() {
        return Compared { run, beside: named, standing: None, sisters: Vec::new() };
    }
    let wanted = |one: With| with.is_none_or(|with| with == one);
    let before = if wanted(With::Earlier) { earlier(run, all) } else { Vec::new() };
    let like = if wanted(With::Sister) { sisters(run, all) } else { Vec::new() };
    let before = before.into_iter().take(1).map(|one| Beside::of(Relation::Earlier, run, one));
    let listed = like.iter().take(MOST_SISTERS).copied();
    let listed = listed.map(|one| Beside::of(Relation::Sister, run, one));
    Compared {
        run,
        beside: before.chain(listed).collect(),
        standing: wanted(With::Family).then(|| Standing::of(run, all)),
        sisters: like,
    }
}

fn text(compared: &Compared<'_>) -> String {
    let mut lines: Vec<String> = compared
        .beside
        .iter()
        .map(|beside| format!("{:<9}{}", beside.relation.tag(), beside.sentence(compared.run)))
        .collect();
    if MOST_SISTERS < compared.sisters.len() {
        let more = compared.sisters.len() - MOST_SISTERS;
        lines.push(format!("{:<9}and {more} more like it, not listed", ""));
    }
    if let Some(standing) = &compared.standing {
        lines.push(format!("{:<9}{}", "family", standing.sentence()));
    }
    lines.push(String::new());
    lines.push(conclusion(compared));
    lines.join("\n") + "\n"
}

/// Sentences to act on.
fn conclusion(compared: &Compared<'_>) -> String {
    let measured = |relation: Relation| {
        let beside = compared.beside.iter();
        beside.filter(move |one| one.relation == relation && one.difference.is_some())
    };
    let real = |one: &&Beside<'_>| one.difference.is_some_and(|difference| difference.is_real());
    let mut sentences = Vec::new();
    if let Some(before) = measured(Relation::Earlier).next() {
        sentences.push(if real(&before) {
            format!("It has changed since {}: see why before you rely on it.", before.other.id)
        } else {
            format!("No change since {} that the readings show.", before.other.id)
        });
    }
    sentences.extend(beside_sisters(compared.run, &compared.sisters));
    let named: Vec<String> =
        measured(Relation::Named).filter(real).map(|one| one.other.id.to_string()).collect();
    if !named.is_empty() {
        sentences.push(format!("It differs from {} beyond the uncertainties.", named.join(", ")));
    } else if measured(Relation::Named).next().is_some() {
        sentences.push("No difference that the readings show.".to_owned());
    }
    if sentences.is_empty() && compared.standing.is_none() {
        return "Nothing on record has a reading that it could be compared with.".to_owned();
    }
    sentences.join(" ")
}

/// How it leaks beside its sisters: equal parts differ, but not by much. Of two that differ nobody
/// knows which is the odd one.
fn beside_sisters(run: &Listed, sisters: &[&Listed]) -> Option<String> {
    let (middle, own) = (median(sisters)?, run.current?.value);
    let factor = (own / middle).value;
    let others = match sisters.len() {
        1 => "its sister".to_owned(),
        count => format!("the median of its {count} sisters"),
    };
    let hint = if sisters.len() < LEAST_SISTERS {
        "a third would tell which is the odd one"
    } else {
        "look at it twice"
    };
    Some(if !(factor.is_finite() && 0.0 < factor) {
        format!("Against {others} nothing can be said: currents around zero.")
    } else if (1.0 / UNLIKE..=UNLIKE).contains(&factor) {
        format!("It leaks like its sisters: {factor:.1} times {others}.")
    } else if factor < 1.0 {
        format!("It leaks {} times less than {others}: {hint}.", factor_digits(1.0 / factor))
    } else {
        format!("It leaks {} times as much as {others}: {hint}.", factor_digits(factor))
    })
}

fn factor_digits(factor: f64) -> String {
    let places = usize::from(factor < 10.0);
    format!("{factor:.places$}")
}

/// The run and those beside it, aligned at full voltage where all reached it.
fn plot(record: &Record, compared: &Compared<'_>, path: &std::path::Path) -> Result<(), Failure> {
    let ids = [compared.run.id].into_iter().chain(compared.beside.iter().map(|one| one.other.id));
    let members: Vec<Member> = ids
        .take(MOST_RUNS)
        .map(|id| Ok(report::member(record, &record.run(id)?)?))
        .collect::<Result<_, Failure>>()?;
    let full = members.iter().all(|member| member.curve.full_voltage_at.is_some());
    let since = if full { Since::FullVoltage } else { Since::SwitchOn };
    let view = View { against: Against::LogTime, since, measure: Measure::Current };
    report::save_together(&members, view, path)
        .map_err(|error| Failure::usage(chain(&error), "name a file that can be written"))?;
    screen::complain(&format!("drawn: {}\n", path.display()));
    Ok(())
}

/// The comparison for scripts.
#[derive(Debug, Serialize)]
struct ComparedObject {
    run: String,
    beside: Vec<BesideObject>,
    family: Option<StandingObject>,
    says: String,
}

#[derive(Debug, Serialize)]
struct BesideObject {
    run: String,
    relation: &'static str,
    difference_ampere: Option<f64>,
    /// In standard uncertainties of the difference.
    uncertainties: Option<f64>,
    factor: Option<f64>,
    real: Option<bool>,
    unlike: Vec<String>,
    says: String,
}

#[derive(Debug, Serialize)]
struct StandingObject {
    family: String,
    others: usize,
    low_per_second: Option<f64>,
    median_per_second: Option<f64>,
    high_per_second: Option<f64>,
    own_per_second: Option<f64>,
    says: String,
}

fn object(compared: &Compared<'_>) -> ComparedObject {
    let beside = compared.beside.iter().map(|beside| BesideObject {
        run: beside.other.id.to_string(),
        relation: beside.relation.tag(),
        difference_ampere: beside.difference.map(|difference| difference.by.value),
        uncertainties: beside.difference.map(|difference| difference.uncertainties),
        factor: beside.difference.and_then(|difference| difference.factor),
        real: beside.difference.map(|difference| difference.is_real()),
        unlike: beside.unlike.clone(),
        says: beside.sentence(compared.run),
    });
    let family = compared.standing.as_ref().map(|standing| StandingObject {
        family: standing.family.clone(),
        others: standing.others,
        low_per_second: standing.band.map(|band| band[0]),
        median_per_second: standing.band.map(|band| band[1]),
        high_per_second: standing.band.map(|band| band[2]),
        own_per_second: standing.own,
        says: standing.sentence(),
    });
    ComparedObject {
        run: compared.run.id.to_string(),
        beside: beside.collect(),
        family,
        says: conclusion(compared),
    }
}
