//! `tray`: the parts of a tray, one after another, by hand or by scanner.

mod runner;
mod words;

use std::path::{Path, PathBuf};

use super::ask::{RunArguments, StationArgument, TermsArguments};
use super::failure::Failure;
use super::sitting::{self, Sitting};
use super::tray_file::TrayFile;
use super::{Exit, plan, screen};
use crate::daemon::OpenScanner;
use crate::judge::{Left, Verdict};
use crate::plan::{Drawn, Wish};
use crate::record::{NewTray, Record, Run, RunState, TrayId};
use crate::report::curve;
use crate::report::object::RunObject;
use crate::report::tray_sheet::{Entry, Sheet, page};
use crate::station::wiring::Station;
use crate::tray::{Hands, Position, Slot, Walk, survey};
use runner::{Runner, Switched};

/// Arguments of `tray`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The tray's file: CSV or TOML
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The parts hang on a scanner: nobody has to be there
    #[arg(long)]
    scanner: bool,
    /// Go on with the tray of this file that was cut off or stopped
    #[arg(long)]
    resume: bool,
    /// Write the tray's sheet, a page to look at or to print, to this file
    #[arg(long, value_name = "FILE.html")]
    sheet: Option<PathBuf>,
    /// Leave out the parts that this station refuses
    #[arg(long)]
    leave_out: bool,
    #[command(flatten)]
    terms: TermsArguments,
    #[command(flatten)]
    station: StationArgument,
    #[command(flatten)]
    run: RunArguments,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let file = TrayFile::load(&arguments.file)?;
    let station = arguments.station.load_with_zero(&arguments.run.record)?;
    let drawn = plans(&file, &station, arguments)?;
    let path = arguments.run.record.path()?;
    if !arguments.run.unlock {
        sitting::refuse_locked_out(&path, &station.name)?;
    }
    let hands = hands(&file, &station, arguments.scanner)?;
    let (tray, judged) = begin(&file, &station, &path, arguments)?;
    let walk = Walk::through(&file.tray, &judged, hands);
    say_first(&drawn);
    let done = sitting::runtime()?
        .block_on(Box::pin(walk_through(&file, &drawn, &station, &path, walk, tray)))?;
    let mut record = Record::open(&path)?;
    if done {
        record.end_tray(tray, jiff::Timestamp::now())?;
    } else {
        screen::complain("some parts have no verdict yet: `reststrom tray --resume` goes on\n");
    }
    tell(&record, tray, &file, arguments.run.json)?;
    if let Some(path) = &arguments.sheet {
        write_sheet(&record, tray, &file, path)?;
    }
    Ok(exit(&record.runs_of_tray(tray)?, &file))
}

/// The worst of what the parts came to, whenever they were tested; a part without a run counts as
/// untested.
fn exit(runs: &[Run], file: &TrayFile) -> Exit {
    let each = file.tray.parts().iter().map(|part| {
        let run = newest(runs, part.position.as_str());
        run.map_or(Exit::Undecided, |run| {
            // What was cut off has been made safe since; what is open is not known to be empty.
            let open = run.state == RunState::Open;
            let left = run.left().unwrap_or(if open { Left::LockedOut } else { Left::Safe });
            let verdict = run.verdict().unwrap_or(Verdict::Untested);
            Exit::of(verdict, run.findings(), left)
        })
    });
    each.max().unwrap_or(Exit::Undecided)
}

/// A plan for each part; refusals are told all at once, or left out where that was asked for.
fn plans(
    file: &TrayFile,
    station: &Station,
    arguments: &Arguments,
) -> Result<Vec<Option<(Wish, Drawn)>>, Failure> {
    let terms = arguments.terms.terms()?;
    let survey = survey(&file.tray, &station.bench, &terms);
    let refused: Vec<(String, String)> = survey
        .plans
        .iter()
        .enumerate()
        .filter_map(|(index, plan)| Some((index, plan.as_ref().err()?)))
        .flat_map(|(index, refusals)| {
            let position = file.position(Slot(index));
            refusals
                .iter()
                .map(move |refusal| (format!("position {position}: {refusal}"), refusal.help()))
        })
        .collect();
    if !refused.is_empty() && !arguments.leave_out {
        let mut all = refused;
        all.push(("nothing was tested".into(), "mend it, or use --leave-out".into()));
        return Err(Failure::all(all));
    }
    let parts = file.tray.parts().iter().zip(survey.plans);
    Ok(parts.map(|(part, plan)| plan.ok().map(|plan| (part.wish(&terms), plan))).collect())
}

fn hands(file: &TrayFile, station: &Station, scanner: bool) -> Result<Hands, Failure> {
    if !scanner {
        return Ok(Hands::Person);
    }
    if station.scanner.is_none() {
        let message = "the station file has no [scanner]";
        return Err(Failure::usage(message, "wire one, or leave --scanner out to clip in by hand"));
    }
    if !file.tray.has_channels() {
        let message = "the tray's file gives no channels";
        return Err(Failure::usage(message, "add a column `channel`, or leave --scanner out"));
    }
    Ok(Hands::Scanner)
}

/// Begins a tray on record, or takes up the one that was left; with the parts that have a verdict.
fn begin(
    file: &TrayFile,
    station: &Station,
    path: &Path,
    arguments: &Arguments,
) -> Result<(TrayId, Vec<Slot>), Failure> {
    let mut record = Record::open(path)?;
    if !arguments.resume {
        let name = arguments.file.display().to_string();
        let (station, text) = (station.name.clone(), file.text.clone());
        let started = jiff::Timestamp::now();
        let tray = record.begin_tray(&NewTray { station, name, text, started })?;
        return Ok((tray, Vec::new()));
    }
    let Some(found) = record.unfinished_tray(&station.name)? else {
        let message = format!("no tray was left unfinished at station {}", station.name);
        return Err(Failure::usage(message, "begin it without --resume"));
    };
    if found.begun.text != file.text {
        let message =
            format!("{}: differs from the tray {} that was begun", file.name, found.begun.name);
        return Err(Failure::usage(message, "name the same file, unchanged, or begin anew"));
    }
    let runs = record.runs_of_tray(found.id)?;
    let judged =
        runs.iter().filter(|run| run.verdict().is_some_and(|verdict| verdict != Verdict::Untested));
    let slot = |run: &Run| {
        let place = run.begun.place.as_ref()?;
        file.tray.slot(&Position::read(&place.position).ok()?)
    };
    Ok((found.id, judged.filter_map(slot).collect()))
}

/// The cautions of all parts, each once.
fn say_first(drawn: &[Option<(Wish, Drawn)>]) {
    let mut said: Vec<String> = Vec::new();
    for (_, drawn) in drawn.iter().flatten() {
        for line in plan::cautions(drawn).lines() {
            if !said.iter().any(|one| one == line) {
                said.push(line.to_owned());
            }
        }
    }
    screen::complain(&format!("{}\n", said.join("\n")));
}

/// Walks; gives whether every part has a verdict.
async fn walk_through(
    file: &TrayFile,
    drawn: &[Option<(Wish, Drawn)>],
    station: &Station,
    path: &Path,
    walk: Walk,
    tray: TrayId,
) -> Result<bool, Failure> {
    let Some((_, first)) = drawn.iter().flatten().next() else {
        return Ok(false);
    };
    let by_scanner = file.tray.has_channels() && walk.is_by_scanner();
    let switched = match station.scanner.as_ref().filter(|_| by_scanner) {
        Some(wiring) => {
            let mut scanner = OpenScanner::open(wiring).await?;
            make_safe_behind(&mut scanner, station, path, first).await?;
            Some(Switched { scanner, wiring })
        }
        None => None,
    };
    let said = (!by_scanner).then(words::listen);
    let sitting = Sitting::begin(station, path, &first.plan).await?;
    let mut runner = Runner { file, drawn, sitting, switched, walk, said, tray, used: false };
    let walked = runner.walk().await;
    let done = runner.walk.without_verdict().next().is_none();
    runner.sitting.end().await?;
    walked?;
    Ok(done)
}

/// A relay that an earlier run left closed: its part is made safe first, then the relay opened.
async fn make_safe_behind(
    scanner: &mut OpenScanner,
    station: &Station,
    path: &Path,
    first: &Drawn,
) -> Result<(), Failure> {
    let Some(connected) = scanner.found_closed() else { return Ok(()) };
    screen::complain(&format!(
        "channel {} was left closed: its part is emptied first\n",
        connected.channel()
    ));
    let mut sitting = Sitting::begin(station, path, &first.plan).await?;
    let left = sitting.make_safe(&first.plan).await;
    sitting.end().await?;
    connected.open_after(left).await?;
    Ok(())
}

/// The runs of the tray, newest of each position, as lines or as JSON.
fn tell(record: &Record, tray: TrayId, file: &TrayFile, json: bool) -> Result<(), Failure> {
    let runs = record.runs_of_tray(tray)?;
    let mut rows = Vec::new();
    for part in file.tray.parts() {
        let position = part.position.as_str();
        let Some(run) = newest(&runs, position) else {
            rows.push(vec![
                position.into(),
                part.part.to_string(),
                "–".into(),
                "not tested".into(),
            ]);
            continue;
        };
        let object = RunObject::of(run);
        if json {
            screen::tell_json(&object);
        }
        let verdict = format!("{} ({})", object.verdict, object.findings.join(", "));
        rows.push(vec![position.into(), part.part.to_string(), object.reading(), verdict]);
    }
    if !json {
        let head = ["position", "part", "reading", "verdict"];
        screen::tell(&super::table::table(&head, &rows));
    }
    Ok(())
}

/// The run that counts of a position: its newest.
fn newest<'a>(runs: &'a [Run], position: &str) -> Option<&'a Run> {
    let of = |run: &&Run| run.begun.place.as_ref().is_some_and(|place| place.position == position);
    runs.iter().rev().find(of)
}

fn write_sheet(record: &Record, tray: TrayId, file: &TrayFile, path: &Path) -> Result<(), Failure> {
    let runs = record.runs_of_tray(tray)?;
    let mut entries = Vec::new();
    for (index, part) in file.tray.parts().iter().enumerate() {
        if let Some(run) = newest(&runs, part.position.as_str()) {
            let curve = curve(record, run)?;
            entries.push(Entry { slot: Slot(index), run: run.clone(), curve });
        }
    }
    let title = Path::new(&file.name).file_name().map(|name| name.to_string_lossy());
    let title = title.as_deref().unwrap_or(&file.name);
    let page = page(&Sheet { title, tray: &file.tray, entries: &entries });
    std::fs::write(path, page)
        .map_err(|error| Failure::usage(format!("{}: {error}", path.display()), "name another"))?;
    screen::complain(&format!("the sheet is in {}\n", path.display()));
    Ok(())
}
