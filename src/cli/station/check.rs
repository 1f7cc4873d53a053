//! `station check`: looks at a station, and says what to do where it is not as it must be.

use super::zero::{self, OpenArguments};
use crate::cli::failure::Failure;
use crate::cli::sitting::Fixture;
use crate::cli::table::table;
use crate::cli::{Exit, RecordArgument, screen, sitting};
use crate::daemon::{Checked, OpenScanner, OpenStation};
use crate::judge::Left;
use crate::plan::Drawn;
use crate::quantity::{ohms, seconds, text};
use crate::record::{self, Record};
use crate::station::wiring::Station;

/// Arguments of `station check`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Nothing is in the clips: energise them too, to check voltage, insulation and bleeder
    #[arg(long)]
    open_fixture: bool,
    #[command(flatten)]
    open: OpenArguments,
    #[command(flatten)]
    record: RecordArgument,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

/// Leads and clips that insulate less are dirty or damp (handbook §3.7: 1e9 Ω and more).
const LEAST_INSULATION: f64 = 1e9; // Ω

pub(super) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let station = arguments.open.station.load()?;
    let drawn = arguments.open_fixture.then(|| arguments.open.drawn(&station)).transpose()?;
    let runtime = sitting::runtime()?;
    let mut checked = runtime.block_on(looked_at(&station))?;
    let quiet = checked.iter().all(|point| point.good);
    let mut left = Left::Safe;
    if let Some(drawn) = drawn.filter(|_| quiet) {
        let path = arguments.record.path()?;
        sitting::refuse_locked_out(&path, &station.name)?;
        zero::say_first(&drawn);
        let fixture = runtime.block_on(zero::take(&station, &drawn, &path))?;
        left = fixture.outcome.left;
        checked.extend(energised(&fixture, &station, &drawn));
        let taken = zero::kept(&fixture, &station, &drawn);
        taken.map_or(Ok(()), |zero| Record::open(&path)?.keep_zero(&zero))?;
    }
    let good = checked.iter().all(|point| point.good);
    tell(&checked, good, arguments, &station);
    Ok(match (left, good) {
        (Left::LockedOut, _) => Exit::LockedOut,
        (Left::Safe, true) => Exit::Within,
        (Left::Safe, false) => Exit::Fault,
    })
}

/// The points that nothing is energised for.
async fn looked_at(station: &Station) -> Result<Vec<Checked>, Failure> {
    let mut open = OpenStation::open(station, &std::env::current_exe()?).await?;
    let mut checked = open.check(station).await;
    if let Some(wiring) = &station.scanner {
        checked.extend(OpenScanner::open(wiring).await?.check().await);
    }
    open.close().await?;
    Ok(checked)
}

/// The points of the open fixture at its voltage.
fn energised(fixture: &Fixture, station: &Station, drawn: &Drawn) -> Vec<Checked> {
    vec![clip_voltage(fixture, drawn), insulation(fixture, station, drawn), bleeder(fixture, drawn)]
}

fn clip_voltage(fixture: &Fixture, drawn: &Drawn) -> Checked {
    let plan = &drawn.plan;
    let asked = plan.test_voltage;
    let off = fixture.at_full.map(|voltage| (voltage - asked).abs());
    Checked {
        what: "clip voltage",
        good: off.is_some_and(|off| off <= plan.supply.agreement),
        found: fixture.at_full.map_or("not reached".into(), |voltage| {
            format!("{} of {} set", text::voltage(voltage), text::voltage(asked))
        }),
        remedy: "check the steps and the read-back error in the driver file, and that nothing loads \
                 the terminals",
    }
}

fn insulation(fixture: &Fixture, station: &Station, drawn: &Drawn) -> Checked {
    let bound = drawn.plan.test_voltage / ohms(LEAST_INSULATION);
    let zero = zero::kept(fixture, station, drawn);
    let clean = |zero: &record::Zero| zero.current.abs() - zero.uncertainty <= bound;
    Checked {
        what: "fixture zero",
        good: zero.as_ref().is_some_and(clean),
        found: zero.as_ref().map_or_else(
            || {
                if fixture.outcome.clipped {
                    "something is clipped in".into()
                } else {
                    "none".into()
                }
            },
            |zero| text::with_uncertainty(zero.current, zero.uncertainty),
        ),
        remedy: "take everything out of the clips; clean and dry clips, leads and board",
    }
}

fn bleeder(fixture: &Fixture, drawn: &Drawn) -> Checked {
    let safe = text::voltage(drawn.plan.discharge.safe_voltage);
    let left = fixture.outcome.left == Left::Safe;
    Checked {
        what: "bleeder",
        good: left && fixture.emptied_in.is_some(),
        found: fixture.emptied_in.map_or_else(
            || format!("not seen below {safe}"),
            |time| {
                let tenths = seconds((time.value * 10.0).round() / 10.0);
                format!("below {safe} in {}", text::time(tenths))
            },
        ),
        remedy: "see that the bleeder resistor is there and of the value in the station file; treat the \
                 terminals as charged until then",
    }
}

fn tell(checked: &[Checked], good: bool, arguments: &Arguments, station: &Station) {
    if arguments.json {
        return screen::tell_json(&checked);
    }
    screen::tell(&listing(checked));
    let end = match (good, arguments.open_fixture) {
        (false, _) => "not ready: see the remedies",
        (true, true) => "ready to soak",
        (true, false) => {
            "ready to soak; `--open-fixture`, with nothing in the clips, also checks voltage, \
             insulation and bleeder"
        }
    };
    screen::tell(&format!("station {}: {end}\n", station.name));
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
