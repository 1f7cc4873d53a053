//! The plan of a run with its cautions, to be read and acknowledged before anything is energised.

use maud::{Markup, html};
use serde::Deserialize;

use super::frame::{CutOut, frame, path_of, problems};
use crate::daemon::asked::Asked;
use crate::page::asking::fresh_token;
use crate::page::objects::{PlannedObject, ProblemObject, StationObject};
use crate::page::reading::in_words;
use crate::plan::{HARMLESS, TOUCH_SAFE};
use crate::quantity::{amperes, joules, seconds, text, volts};

/// What the forms of the page send: what is asked for, in words, and what was acknowledged.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    pub(super) part: Option<String>,
    kind: Option<String>,
    limit: Option<String>,
    voltage: Option<String>,
    soak: Option<String>,
    until: Option<String>,
    confidence: Option<String>,
    room: Option<String>,
    in_circuit: Option<String>,
    #[serde(default)]
    pub(super) mark: String,
    #[serde(default)]
    pub(super) token: String,
    cautions_read: Option<String>,
    acknowledge: Option<String>,
    unlock: Option<String>,
}

/// Name, title and example of each field that may be left out.
const FIELDS: [(&str, &str, &str); 6] = [
    ("limit", "Leakage limit, as the data sheet prints it", "the family's"),
    ("voltage", "Test voltage", "that of the limit"),
    ("soak", "Soak time", "the limit's reading time"),
    ("room", "How warm it is at the part", "as the station file says"),
    ("confidence", "How sure", "95%"),
    ("in_circuit", "What it does in its circuit", "coupling into 470k"),
];

impl Wanted {
    /// In the words of the API. A field that was left empty is as usual.
    pub(super) fn asked(&self, acknowledge: bool) -> Asked {
        let given = |text: &Option<String>| {
            text.as_deref().map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned)
        };
        Asked {
            part: given(&self.part).unwrap_or_default(),
            kind: given(&self.kind),
            limit: given(&self.limit),
            voltage: given(&self.voltage),
            soak: given(&self.soak),
            until: given(&self.until),
            confidence: given(&self.confidence),
            room: given(&self.room),
            in_circuit: given(&self.in_circuit),
            acknowledge,
            ..Asked::default()
        }
    }

    fn field(&self, name: &str) -> &str {
        let field = match name {
            "limit" => &self.limit,
            "voltage" => &self.voltage,
            "soak" => &self.soak,
            "room" => &self.room,
            "confidence" => &self.confidence,
            "in_circuit" => &self.in_circuit,
            "until" => &self.until,
            "kind" => &self.kind,
            _ => &self.part,
        };
        field.as_deref().unwrap_or_default()
    }

    pub(super) fn has_more(&self) -> bool {
        FIELDS.iter().any(|(name, ..)| !self.field(name).is_empty())
    }

    pub(super) fn has_read(&self) -> bool {
        self.cautions_read.as_deref() == Some("yes")
    }

    pub(super) fn acknowledges(&self) -> bool {
        self.acknowledge.as_deref() == Some("yes")
    }

    pub(super) fn unlocks(&self) -> bool {
        self.unlock.as_deref() == Some("yes")
    }

    /// The fields that may be left out.
    pub(super) fn fields(&self) -> Markup {
        html! {
            @for (name, title, example) in FIELDS {
                label {
                    span { (title) }
                    input name=(name) autocomplete="off" autocapitalize="off"
                        placeholder=(example) value=(self.field(name));
                }
            }
            label {
                span { "What may end the soak" }
                select name="until" {
                    option value="" { "the reading time" }
                    option value="early" selected[self.field("until") == "early"] {
                        "a reading that is safely within before it"
                    }
                }
            }
            label {
                span { "Kind of run" }
                select name="kind" {
                    option value="" { "soak: one reading at the test voltage" }
                    option value="staircase" selected[self.field("kind") == "staircase"] {
                        "staircase: ten steps of a minute up to it"
                    }
                }
            }
        }
    }

    /// The same words, carried on to the start.
    fn hidden(&self) -> Markup {
        let names = FIELDS.iter().map(|(name, ..)| *name).chain(["part", "until", "kind"]);
        html! {
            @for name in names {
                @if !self.field(name).is_empty() {
                    input type="hidden" name=(name) value=(self.field(name));
                }
            }
        }
    }
}

/// The plan, its cautions first.
pub(super) fn page(
    station: &StationObject,
    wanted: &Wanted,
    planned: &PlannedObject,
    problem: Option<&ProblemObject>,
) -> Markup {
    let plan = &planned.plan;
    let body = html! {
        h1 { "Plan for " (plan.part) }
        p.quiet { "Nothing has been energised yet." }
        @if let Some(problem) = problem { (problems(problem)) }
        section.cautions {
            h2 { "Cautions" }
            ul { @for caution in &plan.cautions { li { (caution.replace('`', "")) } } }
        }
        @if !plan.warnings.is_empty() {
            section.notes {
                h2 { "Notes" }
                ul { @for warning in &plan.warnings { li { (warning.replace('`', "")) } } }
            }
        }
        section {
            h2 { "What will be done" }
            dl.facts { @for (name, value) in facts(planned) { dt { (name) } dd { (value) } } }
        }
        (acknowledgement(station, wanted, planned))
    };
    frame(&format!("Plan · {}", station.station), CutOut::Station(&station.station), &body)
}

fn facts(planned: &PlannedObject) -> Vec<(&'static str, String)> {
    let plan = &planned.plan;
    let time = |value: f64| text::time(seconds(value.round()));
    let simulated = if plan.simulated { " (simulated)" } else { "" };
    vec![
        ("Station", format!("{}{simulated}", plan.station)),
        ("Test voltage", text::voltage(volts(plan.test_volt))),
        (
            "Limit",
            format!(
                "{} at {}, from {} ({})",
                text::current(amperes(plan.limit_ampere)),
                time(plan.reading_time_second),
                plan.limit_rule,
                plan.limit_source
            ),
        ),
        ("Soak", format!("{} at full voltage", time(plan.soak_second))),
        ("Current limit", text::current(amperes(plan.current_limit_ampere))),
        ("Cut out above", text::current(amperes(plan.cut_out_ampere))),
        ("Energy", format!("{} in the full part", text::energy(joules(plan.energy_joule)))),
        ("Time", format!("about {} in all", in_words(seconds(plan.duration_second)))),
    ]
}

fn acknowledgement(station: &StationObject, wanted: &Wanted, planned: &PlannedObject) -> Markup {
    let plan = &planned.plan;
    let grave = TOUCH_SAFE < plan.test_volt || HARMLESS < plan.energy_joule;
    let locked = station.condition == "locked-out";
    html! {
        section.begin {
            h2 { "Begin" }
            form method="post" action={ (path_of(&station.station)) "/start" } {
                (wanted.hidden())
                input type="hidden" name="mark" value=(planned.mark);
                input type="hidden" name="token" value=(fresh_token());
                label.check {
                    input type="checkbox" name="cautions_read" value="yes" required;
                    span { "I have read these cautions, and the part is clipped in the right way round." }
                }
                @if grave {
                    label.check {
                        input type="checkbox" name="acknowledge" value="yes" required;
                        span {
                            "I acknowledge " (text::voltage(volts(plan.test_volt))) " and "
                            (text::energy(joules(plan.energy_joule))) " in the part for this run."
                        }
                    }
                }
                @if locked {
                    label.check {
                        input type="checkbox" name="unlock" value="yes" required;
                        span { "I have looked at the bench that was locked out: output off, part empty." }
                    }
                }
                button.go type="submit" { "Energise and test " (plan.part) }
                p { a href=(path_of(&station.station)) { "Back, begin nothing" } }
            }
        }
    }
}
