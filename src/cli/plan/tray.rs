//! `plan --tray`: what would be done with a whole tray, and which parts this station can't judge.

use std::path::Path;

use serde::Serialize;

use super::super::failure::Failure;
use super::super::table::table;
use super::super::tray_file::TrayFile;
use super::super::{Exit, screen};
use crate::daemon::PlanObject;
use crate::plan::Drawn;
use crate::quantity::{seconds, text};
use crate::station::wiring::Station;
use crate::tray::{Said, Slot, Survey, Terms, TrayPart, Unjudged, survey};

/// Surveys the tray of a file; undecided if there are parts that can't be judged.
pub(super) fn run(
    path: &Path,
    station: &Station,
    terms: &Terms,
    json: bool,
) -> Result<Exit, Failure> {
    let file = TrayFile::load(path)?;
    let survey = survey(&file.tray, &station.bench, terms);
    let desk = Desk { file: &file, survey: &survey, station, terms };
    if json {
        screen::tell_json(&desk.object());
    } else {
        screen::tell(&desk.page());
    }
    let all_judged = survey.unjudged().is_empty();
    Ok(if all_judged { Exit::Within } else { Exit::Undecided })
}

/// What is told, and of what.
struct Desk<'a> {
    file: &'a TrayFile,
    survey: &'a Survey,
    station: &'a Station,
    terms: &'a Terms,
}

impl Desk<'_> {
    fn page(&self) -> String {
        let head = ["position", "part", "test at", "limit", "time", "energy", "judged here"];
        [
            self.said("CAUTION", &self.survey.cautions()),
            self.said("note   ", &self.survey.warnings()),
            "\n".to_owned(),
            table(&head, &self.rows()),
            self.reasons(),
            self.sums(),
        ]
        .concat()
    }

    /// Each on a line, with the positions that it concerns.
    fn said<T: std::fmt::Display>(&self, kind: &str, all: &[Said<T>]) -> String {
        let line = |said: &Said<T>| {
            format!("{kind}  {} (position {})\n", said.what, self.file.positions(&said.of))
        };
        all.iter().map(line).collect()
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let unjudged = self.survey.unjudged();
        let judged = |slot: Slot| match unjudged.iter().find(|(other, _)| *other == slot) {
            Some((_, Unjudged::Refused(_))) => "NO: refused, see below",
            Some((_, Unjudged::Never(_))) => "NO: see below",
            None => "yes",
        };
        let parts = self.file.tray.parts().iter().zip(&self.survey.plans).enumerate();
        parts
            .map(|(index, (part, plan))| {
                let [test_at, limit, time, energy] = numbers(plan.as_ref().ok());
                let judged = judged(Slot(index)).to_owned();
                vec![
                    part.position.to_string(),
                    part.part.to_string(),
                    test_at,
                    limit,
                    time,
                    energy,
                    judged,
                ]
            })
            .collect()
    }

    /// The parts that can't be judged, each with its reasons and what to do.
    fn reasons(&self) -> String {
        let unjudged = self.survey.unjudged();
        if unjudged.is_empty() {
            return String::new();
        }
        let reasons = unjudged.iter().flat_map(|(slot, why)| {
            let place = format!("position {}", self.file.position(*slot));
            let line =
                move |(reason, help)| format!("{place:<13}{reason}\n{:<13}help: {help}\n", "");
            why.reasons().into_iter().map(line)
        });
        format!("\nNot judged at this station:\n{}", reasons.collect::<String>())
    }

    fn sums(&self) -> String {
        let parts = self.file.tray.parts().len();
        let planned = parts - self.survey.plans.iter().filter(|plan| plan.is_err()).count();
        let count = if planned == parts {
            format!("{parts} parts")
        } else {
            format!("{planned} of {parts} parts")
        };
        let fullest = self.survey.fullest().map(|(slot, energy)| {
            let position = self.file.position(slot);
            format!(", at most {} in one (position {position})", text::energy(energy))
        });
        let simulated = if self.station.simulated { " (simulated)" } else { "" };
        format!(
            "\n{count}, one after another: about {} in all, your hands not counted; {} goes into \
             them{}.\nNothing has been energised at station {}{simulated}.\n",
            text::time(rounded(self.survey.time())),
            text::energy(self.survey.energy()),
            fullest.unwrap_or_default(),
            self.station.name,
        )
    }
}

/// Test voltage, limit, time and energy of a plan, or dashes.
fn numbers(drawn: Option<&Drawn>) -> [String; 4] {
    let Some(drawn) = drawn else { return ["–"; 4].map(str::to_owned) };
    let target = &drawn.plan.target;
    [
        text::voltage(drawn.plan.test_voltage),
        format!("{} at {}", text::current(target.limit), text::time(target.judged_at())),
        text::time(super::round(drawn.duration)),
        text::energy(drawn.energy),
    ]
}

/// A long time to the minute.
fn rounded(time: crate::quantity::Time) -> crate::quantity::Time {
    let step = if time.value < 600.0 { 1.0 } else { 60.0 };
    seconds((time.value / step).round() * step)
}

/// The plan of a tray for scripts: SI base units, names carry the unit.
#[derive(Debug, Serialize)]
struct TrayObject {
    station: String,
    simulated: bool,
    parts: Vec<PartObject>,
    total_duration_second: f64,
    total_energy_joule: f64,
    greatest_energy_joule: Option<f64>,
    cautions: Vec<SaidObject>,
    warnings: Vec<SaidObject>,
    not_judged: Vec<ReasonObject>,
}

#[derive(Debug, Serialize)]
struct PartObject {
    position: String,
    channel: Option<u32>,
    part: String,
    in_circuit: Option<String>,
    note: Option<String>,
    /// None if this part is refused.
    plan: Option<PlanObject>,
}

#[derive(Debug, Serialize)]
struct SaidObject {
    text: String,
    positions: Vec<String>,
}

#[derive(Debug, Serialize)]
struct ReasonObject {
    position: String,
    refused: bool,
    why: Vec<String>,
}

impl Desk<'_> {
    fn object(&self) -> TrayObject {
        let parts = self.file.tray.parts().iter().zip(&self.survey.plans);
        TrayObject {
            station: self.station.name.clone(),
            simulated: self.station.simulated,
            parts: parts.map(|(part, plan)| self.part(part, plan.as_ref().ok())).collect(),
            total_duration_second: self.survey.time().value,
            total_energy_joule: self.survey.energy().value,
            greatest_energy_joule: self.survey.fullest().map(|(_, energy)| energy.value),
            cautions: self.said_objects(&self.survey.cautions()),
            warnings: self.said_objects(&self.survey.warnings()),
            not_judged: self
                .survey
                .unjudged()
                .iter()
                .map(|(slot, why)| self.why(*slot, why))
                .collect(),
        }
    }

    fn part(&self, part: &TrayPart, drawn: Option<&Drawn>) -> PartObject {
        let wish = part.wish(self.terms);
        PartObject {
            position: part.position.to_string(),
            channel: part.channel.map(crate::tray::Channel::number),
            part: part.part.to_string(),
            in_circuit: part.duty.map(|duty| duty.to_string()),
            note: part.note.clone(),
            plan: drawn.map(|drawn| PlanObject::of(&wish, drawn, self.station)),
        }
    }

    fn said_objects<T: std::fmt::Display>(&self, all: &[Said<T>]) -> Vec<SaidObject> {
        let positions =
            |of: &[Slot]| of.iter().map(|slot| self.file.position(*slot).to_owned()).collect();
        let object = |said: &Said<T>| SaidObject {
            text: said.what.to_string(),
            positions: positions(&said.of),
        };
        all.iter().map(object).collect()
    }

    fn why(&self, slot: Slot, why: &Unjudged) -> ReasonObject {
        ReasonObject {
            position: self.file.position(slot).to_owned(),
            refused: matches!(why, Unjudged::Refused(_)),
            why: why.reasons().into_iter().map(|(reason, _)| reason).collect(),
        }
    }
}
