//! `demo`: invented parts on a simulated bench, through the same code as a real one.

use std::path::{Path, PathBuf};

use super::failure::{Failure, chain};
use super::table::table;
use super::{Exit, bench, plan, screen, sitting};
use crate::judge::Verdict;
use crate::part::{Limit, Part};
use crate::plan::Wish;
use crate::record::Record;
use crate::report::object::RunObject;
use crate::report::{self, Axes};
use crate::simbench::{Bench, BenchOptions, SimPart};
use crate::station::wiring::{self, Station};

/// Bench seconds per second in the demo.
const LAPSE: f64 = 40.0;

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Folder for record, plots and summary; a new one is made if it exists
    #[arg(long, value_name = "FOLDER", default_value = "reststrom-demo")]
    folder: PathBuf,
    /// Only the part with this name, such as C14
    #[arg(long, value_name = "NAME")]
    only: Option<String>,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let folder = new_folder(&arguments.folder)?;
    let scenario = bench::parts()?;
    let bench = bench::start(BenchOptions { lapse: LAPSE, ..BenchOptions::default() })?;
    let name = format!("skarvik-demo-{}", std::process::id());
    let file = bench::station_file(&name, LAPSE, &bench.supply_port(), &bench.meter_port());
    write(&folder.join("station.toml"), &file)?;
    let station = wiring::read(Path::new("station.toml"), &file)?;
    screen::tell(&format!(
        "{}: simulated bench, {LAPSE} bench seconds per second\n",
        scenario.title
    ));
    let chosen = |part: &&SimPart| arguments.only.as_ref().is_none_or(|only| part.clip == *only);
    let parts: Vec<&SimPart> = scenario.parts.iter().filter(chosen).collect();
    if parts.is_empty() {
        return Err(Failure::usage("no such part in the demo", "leave --only away to see all"));
    }
    let runtime = sitting::runtime()?;
    let mut rows: Vec<Compared> = Vec::new();
    for part in &parts {
        bench.clip_in(part);
        screen::tell(&format!("\n{} {} – {}\n", part.clip, part.words, part.note));
        let row = runtime.block_on(one(part, &station, &folder))?;
        let locked = row.is_locked_out();
        rows.push(row);
        if locked {
            screen::tell("\nThe bench is locked out; the parts after this one are not tested.\n");
            break;
        }
        bench.unclip();
    }
    conclude(&folder, &rows, parts.len(), &bench)
}

/// One part's result beside what it truly is.
struct Compared {
    object: RunObject,
    expected: String,
    right: bool,
}

impl Compared {
    fn is_locked_out(&self) -> bool {
        self.object.left == Some("locked-out")
    }
}

async fn one(part: &SimPart, station: &Station, folder: &Path) -> Result<Compared, Failure> {
    let wish = wish(part)?;
    let drawn = crate::daemon::asked::drawn(&wish, station)?;
    screen::complain(&plan::short(&wish, &drawn));
    let path = folder.join("record.db");
    let finished = sitting::one(&wish, &drawn, station, &path).await?;
    let record = Record::open_for_reading(&path)?;
    let run = record.run(finished.id)?;
    draw(&record, &run, &folder.join(format!("{}.png", part.clip)), Axes::LogLog)?;
    draw(&record, &run, &folder.join(format!("{}-linear.svg", part.clip)), Axes::Linear)?;
    let object = RunObject::of(&run);
    let expected = format!("{} ({})", part.truth.verdict, part.truth.findings.join(", "));
    let right = object.verdict == part.truth.verdict
        && part.truth.findings.iter().all(|finding| object.findings.contains(&finding.as_str()))
        && object.left == Some("safe");
    screen::tell(&format!(
        "{}: {} – {}\n",
        part.clip,
        object.verdict.to_uppercase(),
        object.advice
    ));
    Ok(Compared { object, expected, right })
}

fn wish(part: &SimPart) -> Result<Wish, Failure> {
    let words = format!("{} {}", part.clip, part.words);
    let read =
        Part::read(&words).map_err(|error| Failure::usage(error.to_string(), error.help()))?;
    let limit = match &part.limit {
        Some(text) => {
            Limit::read(text).map_err(|error| Failure::usage(error.to_string(), error.help()))?
        }
        None => {
            read.default_limit().map_err(|error| Failure::usage(error.to_string(), error.help()))?
        }
    };
    Ok(Wish::of(read, limit))
}

fn draw(record: &Record, run: &crate::record::Run, path: &Path, axes: Axes) -> Result<(), Failure> {
    let curve = report::curve(record, run)?;
    report::save(&curve, axes, path)
        .map_err(|error| Failure::new(Exit::Fault, chain(&error), "see the reason"))
}

fn conclude(
    folder: &Path,
    rows: &[Compared],
    parts: usize,
    bench: &Bench,
) -> Result<Exit, Failure> {
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            let object = &row.object;
            vec![
                object.part.name.clone(),
                object.part.family.clone(),
                object.reading(),
                object.limit(),
                format!("{} ({})", object.verdict, object.findings.join(", ")),
                if row.right { "right".into() } else { format!("WRONG: it is {}", row.expected) },
            ]
        })
        .collect();
    let summary = table(&["part", "family", "reading", "limit", "verdict", "known"], &cells);
    write(&folder.join("summary.txt"), &format!("simulated bench\n\n{summary}"))?;
    screen::tell(&format!("\n{summary}\n"));
    for violation in bench.violations() {
        screen::complain(&format!("the bench saw a rule broken: {violation}\n"));
    }
    let right = rows.iter().filter(|row| row.right).count();
    screen::tell(&format!(
        "{right} of {parts} verdicts are the known right ones. Record, plots and summary: {}\n",
        folder.display()
    ));
    let all_right = right == parts && bench.violations().is_empty();
    Ok(if all_right { Exit::Within } else { worst(rows) })
}

/// The exit of a demo whose verdicts are not all right.
fn worst(rows: &[Compared]) -> Exit {
    let locked = rows.iter().any(Compared::is_locked_out);
    let wrong_within =
        rows.iter().any(|row| !row.right && row.object.verdict == Verdict::Within.tag());
    match (locked, wrong_within) {
        (true, _) => Exit::LockedOut,
        (false, true) => Exit::Over,
        (false, false) => Exit::Undecided,
    }
}

/// A folder that does not exist yet: the one asked for, or its name with a number.
fn new_folder(asked: &Path) -> Result<PathBuf, Failure> {
    let mut folder = asked.to_owned();
    let mut number = 1;
    while folder.exists() {
        number += 1;
        let name = asked.file_name().unwrap_or_default().to_string_lossy();
        folder = asked.with_file_name(format!("{name}-{number}"));
    }
    std::fs::create_dir_all(&folder).map_err(|error| {
        Failure::usage(
            format!("{}: can't be made: {error}", folder.display()),
            "name another place with --folder",
        )
    })?;
    Ok(folder)
}

fn write(path: &Path, text: &str) -> Result<(), Failure> {
    std::fs::write(path, text).map_err(|error| {
        Failure::usage(format!("{}: {error}", path.display()), "name another place with --folder")
    })
}
