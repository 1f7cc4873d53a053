//! `station zero`: measures what the open fixture leaks by itself, and keeps it for the runs to come.

use std::path::Path;

use jiff::Timestamp;
use serde::Serialize;

use crate::cli::ask::{self, StationArgument};
use crate::cli::failure::Failure;
use crate::cli::sitting::{self, Fixture, Sitting};
use crate::cli::{Exit, RecordArgument, plan, screen};
use crate::judge::Left;
use crate::plan::{Drawn, draw_up_zero};
use crate::quantity::{Confidence, Current, Voltage, amperes, read, text};
use crate::record::{self, Record};
use crate::station::wiring::Station;

/// Arguments of `station zero`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    pub(super) open: OpenArguments,
    #[command(flatten)]
    record: RecordArgument,
    /// I have looked at the bench that the last run left locked out: output off, part empty
    #[arg(long)]
    unlock: bool,
    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

/// How an open fixture is energised.
#[derive(Debug, clap::Args)]
pub(super) struct OpenArguments {
    #[command(flatten)]
    pub(super) station: StationArgument,
    /// Take it at this voltage: no less than the parts are tested at [default: the station's ceiling,
    /// but not above 60 V]
    #[arg(long, value_name = "VOLTAGE")]
    voltage: Option<String>,
    /// Read it this long after full voltage, as the parts are
    #[arg(long, value_name = "TIME", default_value = "1min")]
    soak: String,
    /// I have read the cautions for more than 60 V
    #[arg(long)]
    acknowledge: bool,
}

const OPEN: &str = "\
CAUTION  nothing may be in the clips: they are about to be ENERGISED, keep hands and metal off
";

/// A zero as it is told to scripts.
#[derive(Debug, Serialize)]
struct ZeroObject<'a> {
    station: &'a str,
    simulated: bool,
    taken: String,
    voltage_volt: f64,
    ampere: f64,
    uncertainty_ampere: f64,
    insulation_ohm: Option<f64>,
    celsius: Option<f64>,
}

impl OpenArguments {
    /// The plan of an open fixture.
    pub(super) fn drawn(&self, station: &Station) -> Result<Drawn, Failure> {
        let refused = |error: read::ReadError| Failure::usage(error.to_string(), error.help());
        let voltage = self.voltage.as_deref().map(read::voltage).transpose().map_err(refused)?;
        let voltage = voltage.unwrap_or_else(|| station.bench.usual_zero_voltage());
        let soak = ask::time(&self.soak)?;
        draw_up_zero(&station.bench, voltage, soak, self.acknowledge).map_err(ask::refused)
    }
}

/// What a person must know before an open fixture is energised.
pub(super) fn say_first(drawn: &Drawn) {
    screen::complain(OPEN);
    screen::complain(&plan::cautions(drawn));
}

pub(super) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let station = arguments.open.station.load()?;
    let drawn = arguments.open.drawn(&station)?;
    let path = arguments.record.path()?;
    if !arguments.unlock {
        sitting::refuse_locked_out(&path, &station.name)?;
    }
    say_first(&drawn);
    let fixture = sitting::runtime()?.block_on(take(&station, &drawn, &path))?;
    let Some(zero) = kept(&fixture, &station, &drawn) else { return Err(why_not(&fixture)) };
    Record::open(&path)?.keep_zero(&zero)?;
    if arguments.json {
        screen::tell_json(&ZeroObject::of(&zero, &station));
    } else {
        screen::tell(&said(&zero));
    }
    Ok(if fixture.outcome.left == Left::LockedOut { Exit::LockedOut } else { Exit::Within })
}

pub(super) async fn take(
    station: &Station,
    drawn: &Drawn,
    path: &Path,
) -> Result<Fixture, Failure> {
    let mut sitting = Sitting::begin(station, path, &drawn.plan).await?;
    let fixture = sitting.read_fixture(&drawn.plan).await;
    sitting.end().await?;
    Ok(fixture)
}

/// The zero as it goes on record; none if it was not taken to its end.
pub(super) fn kept(fixture: &Fixture, station: &Station, drawn: &Drawn) -> Option<record::Zero> {
    let zero = fixture.outcome.zero?;
    Some(record::Zero {
        station: station.name.clone(),
        taken: Timestamp::now(),
        current: zero.current,
        uncertainty: zero.uncertainty * Confidence::USUAL.coverage(),
        voltage: drawn.plan.test_voltage,
        celsius: station.bench.room.map(|room| room.at.degrees()),
    })
}

/// Why there is no zero, and what to do.
pub(super) fn why_not(fixture: &Fixture) -> Failure {
    let exit = if fixture.outcome.left == Left::LockedOut { Exit::LockedOut } else { Exit::Fault };
    if fixture.outcome.clipped {
        let what = "no zero: charge went into something, the fixture is not open";
        return Failure::new(exit, what, "take everything out of the clips and begin again");
    }
    if fixture.outcome.evidence.ended_by.is_none() {
        let what = "no zero: too few readings came in its window";
        return Failure::new(exit, what, "read it later with --soak, or look at the meter's pace");
    }
    let findings: Vec<&str> =
        fixture.outcome.ruling.findings.iter().map(|finding| finding.tag()).collect();
    let what = format!("no zero: {}", findings.join(", "));
    let help =
        "take everything out of the clips; `reststrom station check` looks at the instruments";
    Failure::new(exit, what, help)
}

/// What the zero comes to, in a sentence.
pub(super) fn said(zero: &record::Zero) -> String {
    let current = text::with_uncertainty(zero.current, zero.uncertainty);
    let at = text::voltage(zero.voltage);
    let insulation = insulation(zero.current, zero.uncertainty, zero.voltage).map_or_else(
        || "too little to tell from the meter's floor".to_owned(),
        |ohm| format!("an insulation of {}", text::resistance(crate::quantity::ohms(ohm))),
    );
    format!(
        "zero of {}: {current} at {at}, {insulation}; runs up to {at} take it off from now on\n",
        zero.station
    )
}

/// What the fixture insulates; none where the zero can't be told from nothing.
fn insulation(current: Current, uncertainty: Current, voltage: Voltage) -> Option<f64> {
    let seen = amperes(0.0) < current && uncertainty < current;
    seen.then(|| {
        let ohm = (voltage / current).value;
        let place = 10_f64.powf(ohm.log10().floor() - 1.0);
        (ohm / place).round() * place
    })
}

impl<'a> ZeroObject<'a> {
    fn of(zero: &'a record::Zero, station: &Station) -> Self {
        Self {
            station: &zero.station,
            simulated: station.simulated,
            taken: zero.taken.to_string(),
            voltage_volt: zero.voltage.value,
            ampere: zero.current.value,
            uncertainty_ampere: zero.uncertainty.value,
            insulation_ohm: insulation(zero.current, zero.uncertainty, zero.voltage),
            celsius: zero.celsius,
        }
    }
}
