//! `station identify`: finds out what stands at a port, and writes the lines of a station file for it.

use std::path::Path;

use serde::Serialize;

use crate::cli::failure::{Failure, chain};
use crate::cli::{Exit, screen, sitting};
use crate::daemon::{self, Identified, IdentifyError};
use crate::plan::OutputState;
use crate::quantity::text;
use crate::station::driver::{Amount, Driver, Found, LineSettings, all, user_folder};
use crate::station::wiring::Port;

/// Arguments of `station identify`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// A serial device, tcp:host:port or usbtmc:device
    port: String,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

/// What to expect of it, and what not to leave in the clips.
const FIRST: &str = "\
CAUTION  take the part out of the clips first: what listens at another speed may take a question for
         anything. Nothing is set and nothing is switched on by this.
";

/// Names that stay when a plug is pulled and put back.
const LASTING_NAMES: &str = "/dev/serial/by-id";

/// What was found, as it is told to scripts.
#[derive(Debug, Serialize)]
struct IdentityObject {
    port: String,
    identity: Option<String>,
    line: String,
    drivers: Vec<SuitingObject>,
    output: Option<&'static str>,
    errors: Vec<String>,
    snippet: Option<String>,
    open_questions: Vec<String>,
}

#[derive(Debug, Serialize)]
struct SuitingObject {
    driver: String,
    kind: &'static str,
    answered: usize,
    asked: usize,
}

/// A driver and the name that a station file has for it.
struct Named {
    found: Found,
    driver: Driver,
}

pub(super) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let named = drivers()?;
    let drivers: Vec<Driver> = named.iter().map(|named| named.driver.clone()).collect();
    screen::complain(FIRST);
    let port = Port::read(&arguments.port);
    let tell = |what: &str| screen::complain(&format!("{what}\n"));
    let found = sitting::runtime()?.block_on(daemon::identify(&port, &drivers, tell))?;
    let object = object(&port, &found, &named);
    if arguments.json {
        screen::tell_json(&object);
    } else {
        screen::tell(&page(&object));
    }
    Ok(if object.snippet.is_some() { Exit::Within } else { Exit::Undecided })
}

/// Every driver that can be read; one of the user's that is wrong is told by `station drivers`.
fn drivers() -> Result<Vec<Named>, Failure> {
    let mut named = Vec::new();
    for found in all(user_folder().as_deref())? {
        match Driver::read(&found) {
            Ok(driver) => named.push(Named { found, driver }),
            Err(error) => screen::complain(&format!("left out: {error}\n")),
        }
    }
    Ok(named)
}

fn object(port: &Port, found: &Identified, named: &[Named]) -> IdentityObject {
    let drivers = found.suits.iter().map(|suits| SuitingObject {
        driver: named[suits.driver].found.name.clone(),
        kind: named[suits.driver].driver.kind(),
        answered: suits.answered,
        asked: suits.asked,
    });
    let best = found.suits.first().map(|suits| &named[suits.driver]);
    IdentityObject {
        port: port.to_string(),
        identity: found.identity.clone(),
        line: format!("{} baud", found.line.baud),
        drivers: drivers.collect(),
        output: found.output.map(output_word),
        errors: found.errors.clone(),
        snippet: best.map(|best| snippet(port, found, best)),
        open_questions: open_questions(found, best.map(|best| &best.driver)),
    }
}

fn output_word(output: OutputState) -> &'static str {
    match output {
        OutputState::On => "on",
        OutputState::Off => "off",
        OutputState::Unknown => "unknown",
    }
}

/// The lines of a station file for it.
fn snippet(port: &Port, found: &Identified, best: &Named) -> String {
    let kind = best.driver.kind();
    let mut lines = vec![
        format!("[{kind}]"),
        format!("driver = \"{}\"", best.found.name),
        format!("port = \"{}\"", lasting(port)),
    ];
    if let Some(identity) = &found.identity {
        let beginning: Vec<&str> = identity.splitn(3, ',').take(2).collect();
        lines.push(format!("identity = {:?}", beginning.join(",")));
    }
    if let Some(shows) = found.shows {
        let shows = match shows {
            Amount::Current(current) => text::current(current),
            Amount::Voltage(voltage) => text::voltage(voltage),
        };
        lines.push(format!("range = \"{shows}\""));
    }
    if kind == "scanner" {
        lines.push("channels = { C1 = 101 }    # name of each clip, number of its channel".into());
    }
    lines.extend(differences(kind, &found.line, &best.driver));
    lines.join("\n") + "\n"
}

/// Where the line differs from the driver's.
fn differences(kind: &str, line: &LineSettings, driver: &Driver) -> Vec<String> {
    let own = match driver {
        Driver::Supply(driver) => &driver.line,
        Driver::Meter(driver) => &driver.line,
        Driver::Scanner(driver) => &driver.line,
    };
    let baud = (line.baud != own.baud).then(|| format!("baud = {}", line.baud));
    let end = (line.end != own.end).then(|| format!("end = {:?}", line.end));
    let changes: Vec<String> = [baud, end].into_iter().flatten().collect();
    if changes.is_empty() {
        return Vec::new();
    }
    [vec![String::new(), format!("[{kind}.line]")], changes].concat()
}

/// A name of the port that stays, where there is one.
fn lasting(port: &Port) -> String {
    let Port::Serial(path) = port else { return port.to_string() };
    let device = std::fs::canonicalize(path).ok();
    let names = std::fs::read_dir(Path::new(LASTING_NAMES)).into_iter().flatten().flatten();
    let mut same = names
        .map(|entry| entry.path())
        .filter(|name| device.is_some() && std::fs::canonicalize(name).ok() == device);
    same.next().map_or_else(|| path.clone(), |name| name.display().to_string())
}

/// What only a person, or the manual, can tell.
fn open_questions(found: &Identified, best: Option<&Driver>) -> Vec<String> {
    let mut open = Vec::new();
    match best {
        None => {
            open.push("no driver's questions were answered: it needs a driver of its own".into());
        }
        Some(Driver::Supply(_)) => open.push(
            "its highest voltage and current, its steps and errors, and whether it reads its \
             terminals with the output off: see its manual, write them under [supply.ability]"
                .into(),
        ),
        Some(Driver::Meter(_)) => open.push(
            "its ranges, errors and burdens: see its manual, write them under [meter.ability]"
                .into(),
        ),
        Some(Driver::Scanner(_)) => {
            open.push("which channel leads to which clip, and what its contacts bear".into());
        }
    }
    let rival = found.suits.get(1).filter(|second| {
        found
            .suits
            .first()
            .is_some_and(|first| second.answered * first.asked == first.answered * second.asked)
    });
    if rival.is_some() {
        open.push("which of the drivers suits it better: they do equally well".into());
    }
    if best.is_some_and(|driver| driver.kind() == "supply") && found.output.is_none() {
        open.push("whether its output is on: look at it".into());
    }
    open
}

fn page(object: &IdentityObject) -> String {
    let name = object.identity.as_deref().unwrap_or("a meter that sends its readings unasked");
    let mut lines = vec![format!("{}: {name}, at {}", object.port, object.line)];
    lines.extend(object.drivers.iter().map(|SuitingObject { driver, kind, answered, asked }| {
        format!("  {driver} ({kind}): {answered} of {asked} answers as it expects them")
    }));
    if object.output == Some("on") {
        lines.push(
            "  ITS OUTPUT IS ON: switch it off by hand before you touch its terminals".into(),
        );
    }
    if !object.errors.is_empty() {
        lines.push(format!("  left over in its error queue: {}", object.errors.join("; ")));
    }
    if let Some(snippet) = &object.snippet {
        lines.push(format!("\nfor the station file:\n\n{}", snippet.trim_end()));
    }
    lines.push("\nnot established:".into());
    lines.extend(object.open_questions.iter().map(|question| format!("  - {question}")));
    lines.join("\n") + "\n"
}

impl From<IdentifyError> for Failure {
    fn from(error: IdentifyError) -> Self {
        let exit = match &error {
            IdentifyError::Link(_) => Exit::Usage,
            IdentifyError::Gone { .. }
            | IdentifyError::UnknownStream { .. }
            | IdentifyError::Nobody { .. } => Exit::Fault,
        };
        Self::new(exit, chain(&error), error.help())
    }
}
