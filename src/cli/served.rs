//! Commands at a station that `reststrom serve` has: a run is begun and followed over its socket,
//! and what only a command of its own can do borrows the station.

mod client;

use std::path::Path;

use serde_json::Value;
use tokio::signal::unix::{SignalKind, signal};

use super::ask::RunArguments;
use super::failure::Failure;
use super::screen::LiveLine;
use super::{Exit, screen, sitting, soak};
use crate::daemon::asked::Asked;
use crate::daemon::control::http_socket_path;
use crate::daemon::refused::Ground;
use crate::judge::Left;
use crate::page::{ProblemObject, StartObject, StartedObject};
use crate::plan::{Drawn, Wish};
use crate::record::{Record, RunId};
pub(crate) use client::Loan;
use client::{Answer, Client, Events};

/// The program that serves a station, if one does.
pub(crate) async fn at(station: &str) -> Result<Option<Client>, Failure> {
    Ok(Client::reach(http_socket_path(station)?, station).await)
}

/// Borrows a station from the program that serves it, for as long as the loan is held; none if
/// nobody serves it.
pub(crate) async fn borrow(station: &str) -> Result<Option<Loan>, Failure> {
    let Some(client) = at(station).await? else { return Ok(None) };
    match client.lend().await? {
        Ok(loan) => Ok(Some(loan)),
        Err(answer) => Err(failure(&answer)),
    }
}

/// One run at a station that is served, if it is: said first, begun, followed, shown.
pub(super) fn single(
    asked: &Asked,
    (wish, drawn): (&Wish, &Drawn),
    station: &str,
    run: &RunArguments,
) -> Result<Option<Exit>, Failure> {
    let runtime = sitting::runtime()?;
    let Some(client) = runtime.block_on(at(station))? else { return Ok(None) };
    soak::say_first(wish, drawn);
    let followed = runtime.block_on(Box::pin(begin_and_follow(&client, asked, run)))?;
    let record = Record::open_for_reading(&followed.record)?;
    let ended = record.run(followed.run)?;
    soak::tell(&ended, run.json);
    let left = ended.left().unwrap_or(Left::LockedOut);
    let verdict = ended.verdict().unwrap_or(crate::judge::Verdict::Untested);
    Ok(Some(Exit::of(verdict, ended.findings(), left)))
}

/// A run that was begun over the socket.
struct Followed {
    run: RunId,
    record: std::path::PathBuf,
}

async fn begin_and_follow(
    client: &Client,
    asked: &Asked,
    run: &RunArguments,
) -> Result<Followed, Failure> {
    let planned = client.post("plan", asked).await?;
    let planned = planned.ok().map_err(|answer| failure(&answer))?;
    let mark = planned["mark"].as_str().unwrap_or_default().to_owned();
    // Events first: none of the run's is missed then.
    let mut events = client.events().await?;
    let start = StartObject {
        asked: asked.clone(),
        mark,
        token: crate::page::fresh_token(),
        unlock: run.unlock,
    };
    let started = client.post("runs", &start).await?;
    let started = started.ok().map_err(|answer| failure(&answer))?;
    let started: StartedObject = serde_json::from_value(started).map_err(|error| {
        Failure::new(Exit::Fault, format!("the answer is not understood: {error}"), VERSIONS)
    })?;
    told_apart(run, Path::new(&started.record));
    let followed =
        Followed { run: super::show::run_id(&started.run)?, record: started.record.clone().into() };
    follow(client, &mut events, &started.run).await?;
    Ok(followed)
}

const VERSIONS: &str = "use the same version of reststrom for `serve` and for the command";

/// The record is that of `serve`, whatever was named.
fn told_apart(run: &RunArguments, record: &Path) {
    if run.record.path().is_ok_and(|named| named != record) {
        screen::complain(&format!("note     the run is kept in {}\n", record.display()));
    }
}

/// Shows the run until it has ended. Ctrl-C and SIGTERM stop it; a terminal that is closed leaves
/// it to the program that serves the station.
async fn follow(client: &Client, events: &mut Events, run: &str) -> Result<(), Failure> {
    let mut line = LiveLine::new();
    let mut shown = String::new();
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    loop {
        let (kind, told) = tokio::select! {
            event = events.next() => event?,
            _ = interrupt.recv() => { stop(client, "Ctrl-C").await?; continue }
            _ = terminate.recv() => { stop(client, "SIGTERM").await?; continue }
        };
        if told["station"] != client.station.as_str() {
            continue;
        }
        let phase = told["phase"].as_str().unwrap_or_default();
        if kind == "reading" && (line.is_terminal() || phase != shown) {
            phase.clone_into(&mut shown);
            line.show(&progress(&told));
        }
        if kind == "station" && told["going"].is_null() && told["last"]["run"] == run {
            line.end();
            return Ok(());
        }
    }
}

async fn stop(client: &Client, name: &str) -> Result<(), Failure> {
    screen::complain(&format!("\n{name}: output off, discharging; please wait\n"));
    let answer = client.post("stop", &serde_json::json!({})).await?;
    answer.ok().map(|_| ()).map_err(|answer| failure(&answer))
}

fn progress(told: &Value) -> String {
    let text = |name: &str| told[name].as_str().unwrap_or_default().to_owned();
    let volt = told["volt"]
        .as_f64()
        .map_or("unknown voltage".into(), |volt| format!("{volt:.2} V at the part"));
    let time = told["time_second"].as_f64().unwrap_or_default();
    let time = crate::quantity::text::time(crate::quantity::seconds(time.round()));
    format!(
        "{:<10} {time:>8}  {}, {volt}, about {} left  {}",
        text("phase"),
        text("reads"),
        text("left"),
        text("says")
    )
}

/// Why the program that serves the station said no.
fn failure(answer: &Answer) -> Failure {
    let Ok(object) = serde_json::from_value::<ProblemObject>(answer.body.clone()) else {
        let message = format!("the program that serves the station answers {}", answer.status);
        return Failure::new(Exit::Fault, message, VERSIONS);
    };
    let exit = match Ground::from_tag(&object.ground) {
        Some(Ground::Question) => Exit::Undecided,
        Some(Ground::Usage) => Exit::Usage,
        Some(Ground::LockedOut) => Exit::LockedOut,
        Some(Ground::Fault | Ground::Busy) | None => Exit::Fault,
    };
    let problems = object.problems.into_iter().map(|problem| (problem.message, problem.help));
    let mut failure = Failure::all(problems.collect());
    failure.exit = exit;
    failure
}
