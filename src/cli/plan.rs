//! `plan`: what would be done, with what energy, cautions first.

mod tray;

use std::path::PathBuf;

use serde::Serialize;

use super::ask::{WishArguments, drawn};
use super::failure::Failure;
use super::{Exit, RecordArgument, screen};
use crate::part::{Duty, Leak, Reach};
use crate::plan::{Bleeder, Drawn, Keeping, Plan, Purpose, Wish};
use crate::quantity::text;
use crate::record::BYTES_PER_READING;
use crate::station::wiring::Station;

/// Arguments of `plan`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    wish: WishArguments,
    /// Plan all parts of a tray's file, CSV or TOML (README.md has its columns), in place of a part
    #[arg(long, value_name = "FILE", conflicts_with_all = ["part", "limit", "voltage", "soak"])]
    tray: Option<PathBuf>,
    #[command(flatten)]
    record: RecordArgument,
    /// Print the plan as JSON
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    if let Some(path) = &arguments.tray {
        let station = arguments.wish.common.station.load_with_zero(&arguments.record)?;
        let terms = arguments.wish.terms()?;
        return tray::run(path, &station, &terms, arguments.json);
    }
    let wish = arguments.wish.wish()?;
    let station = arguments.wish.common.station.load_with_zero(&arguments.record)?;
    let drawn = drawn(&wish, &station)?;
    if arguments.json {
        screen::tell_json(&PlanObject::of(&wish, &drawn, &station));
    } else {
        screen::tell(&whole(&wish, &drawn, &station));
    }
    Ok(Exit::Within)
}

/// Cautions and warnings, each on a line.
pub(crate) fn cautions(drawn: &Drawn) -> String {
    let caution = drawn.cautions.iter().map(|caution| format!("CAUTION  {caution}\n"));
    let warning = drawn.warnings.iter().map(|warning| format!("note     {warning}\n"));
    caution.chain(warning).collect()
}

/// The plan in one line.
pub(crate) fn short(wish: &Wish, drawn: &Drawn) -> String {
    let plan = &drawn.plan;
    format!(
        "{}: to {} under {}, {}, limit {}, {} in the part, about {} in all\n",
        wish.part,
        text::voltage(plan.test_voltage),
        text::current(plan.supply.current_limit),
        held(plan),
        text::current(plan.target.limit),
        text::energy(drawn.energy),
        text::time(round(drawn.duration)),
    )
}

/// How the part is held at voltage.
fn held(plan: &Plan) -> String {
    match &plan.purpose {
        Purpose::Soak => format!("{} at full voltage", text::time(plan.target.soak)),
        Purpose::Staircase(stairs) => {
            format!("{} steps of {}", stairs.voltages.len(), text::time(stairs.dwell))
        }
        Purpose::Reform(forming) => format!(
            "crept up by no more than {} into the part, {} in the series resistor, and held for {} \
             at last",
            text::current(forming.current),
            text::power(plan.heat_of_forming(forming)),
            text::time(forming.final_hold)
        ),
        Purpose::Zero => format!("{} with nothing in the clips", text::time(plan.target.soak)),
        Purpose::ClipWatch { .. } => "up to the probe voltage only".into(),
    }
}

/// A duration without its odd fractions of a second.
fn round(time: crate::quantity::Time) -> crate::quantity::Time {
    crate::quantity::seconds(time.value.round())
}

fn whole(wish: &Wish, drawn: &Drawn, station: &Station) -> String {
    let simulated = if station.simulated { " (simulated)" } else { "" };
    let mut lines = lines(wish, drawn);
    lines.extend(wish.duty.map(|duty| ("in circuit", at_the_limit(&duty, drawn))));
    let lines: Vec<String> =
        lines.iter().map(|(name, value)| format!("{name:<15}{value}")).collect();
    format!(
        "{}\n{}\n\nNothing has been energised. `reststrom soak` does this at station {}{simulated}.\n",
        cautions(drawn),
        lines.join("\n"),
        station.name
    )
}

fn lines(wish: &Wish, drawn: &Drawn) -> Vec<(&'static str, String)> {
    let plan = &drawn.plan;
    let range = |index| text::current(plan.meter.range(index).full_scale);
    let path = plan.series + plan.meter.range(plan.meter.soak).burden;
    vec![
        ("part", wish.part.to_string()),
        ("limit", limit_line(wish, drawn)),
        ("energy", format!("{} in the full part", text::energy(drawn.energy))),
        (
            "probe",
            format!(
                "{} for {}, conducts above {}",
                text::voltage(plan.probe.voltage),
                text::time(plan.probe.hold),
                text::current(plan.probe.conducts)
            ),
        ),
        (
            "ramp",
            format!(
                "to {} in {} under {}, over-voltage at {}, over-current at {}",
                text::voltage(plan.test_voltage),
                text::time(round(plan.ramp.rise)),
                text::current(plan.supply.current_limit),
                text::voltage(plan.supply.over_voltage),
                text::current(plan.supply.over_current)
            ),
        ),
        (
            "soak",
            format!(
                "{} at full voltage, read at {}, cut out above {}",
                text::time(plan.target.soak),
                text::time(plan.target.judged_at()),
                text::current(plan.cut_out.soak)
            ),
        ),
        (
            "meter",
            format!(
                "{} on the way up, {} in the soak; {} in series",
                range(plan.meter.surge),
                range(plan.meter.soak),
                text::resistance(path)
            ),
        ),
        ("kept", kept_line(plan)),
        ("room", room_line(drawn)),
        ("discharge", discharge_line(drawn)),
        ("time", format!("about {}", text::time(round(drawn.duration)))),
    ]
}

fn limit_line(wish: &Wish, drawn: &Drawn) -> String {
    let target = &drawn.plan.target;
    format!(
        "{} at {}, from {} ({})",
        text::current(target.limit),
        text::time(target.reading_time),
        wish.limit.rule,
        wish.limit.source
    )
}

/// What a part that leaks just as much as its limit would do in its circuit.
fn at_the_limit(duty: &Duty, drawn: &Drawn) -> String {
    let plan = &drawn.plan;
    let leak = Leak {
        current: plan.target.limit,
        voltage: plan.test_voltage,
        capacitance: plan.part.capacitance,
    };
    format!("{duty}: at its limit it {}", duty.effect(&leak).in_words())
}

/// What stays on record of the soak, and how large that is.
fn kept_line(plan: &Plan) -> String {
    let keeping = Keeping::usual();
    let (taken, kept) = keeping.counts(plan.target.soak, plan.meter.interval);
    let bytes = u64::from(kept) * BYTES_PER_READING;
    let size = format!("{} kB", bytes.div_ceil(1000));
    if taken == kept {
        return format!("every reading, about {kept}: {size}");
    }
    format!(
        "about {kept} of {taken} readings, {size}: every one for {}, then the first and the extremes \
         of ever longer stretches",
        text::time(keeping.dense)
    )
}

fn room_line(drawn: &Drawn) -> String {
    let warmth = &drawn.plan.warmth;
    let carried = match warmth.reach() {
        Reach::Near => "carried to",
        Reach::Colder | Reach::Warmer => "too far from",
    };
    let reference = text::temperature_celsius(warmth.reference);
    format!(
        "{}, {carried} the limit's {reference}; judged at {}",
        warmth.room, drawn.plan.confidence
    )
}

fn discharge_line(drawn: &Drawn) -> String {
    let discharge = &drawn.plan.discharge;
    let by = match discharge.bleeder {
        Bleeder::SupplySinks => "into the supply".to_owned(),
        Bleeder::Fitted(resistance) => format!("through {}", text::resistance(resistance)),
        Bleeder::Relay(resistance) => {
            format!("through {} by relay", text::resistance(resistance))
        }
    };
    format!(
        "{by} to below {}, {} more, looked at again after {}",
        text::voltage(discharge.safe_voltage),
        text::time(discharge.hold),
        text::time(discharge.rebound)
    )
}

/// The plan for scripts: SI base units, names carry the unit.
#[derive(Debug, Serialize)]
pub(crate) struct PlanObject {
    part: String,
    station: String,
    simulated: bool,
    test_volt: f64,
    limit_ampere: f64,
    limit_rule: String,
    limit_source: String,
    reading_time_second: f64,
    soak_second: f64,
    confidence: f64,
    room_celsius: f64,
    room_tolerance_kelvin: f64,
    room_told: bool,
    reference_celsius: f64,
    current_limit_ampere: f64,
    over_voltage_volt: f64,
    over_current_ampere: f64,
    probe_volt: f64,
    cut_out_ampere: f64,
    energy_joule: f64,
    duration_second: f64,
    cautions: Vec<String>,
    warnings: Vec<String>,
}

impl PlanObject {
    pub(crate) fn of(wish: &Wish, drawn: &Drawn, station: &Station) -> Self {
        let plan = &drawn.plan;
        Self {
            part: wish.part.to_string(),
            station: station.name.clone(),
            simulated: station.simulated,
            test_volt: plan.test_voltage.value,
            limit_ampere: plan.target.limit.value,
            limit_rule: wish.limit.rule.to_string(),
            limit_source: wish.limit.source.clone(),
            reading_time_second: plan.target.reading_time.value,
            soak_second: plan.target.soak.value,
            confidence: plan.confidence.share(),
            room_celsius: plan.warmth.room.at.degrees(),
            room_tolerance_kelvin: plan.warmth.room.tolerance,
            room_told: plan.warmth.room.told,
            reference_celsius: plan.warmth.reference.degrees(),
            current_limit_ampere: plan.supply.current_limit.value,
            over_voltage_volt: plan.supply.over_voltage.value,
            over_current_ampere: plan.supply.over_current.value,
            probe_volt: plan.probe.voltage.value,
            cut_out_ampere: plan.cut_out.soak.value,
            energy_joule: drawn.energy.value,
            duration_second: drawn.duration.value,
            cautions: drawn.cautions.iter().map(ToString::to_string).collect(),
            warnings: drawn.warnings.clone(),
        }
    }
}
