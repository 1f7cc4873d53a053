//! A station's page: what a person has to know first, then the run, then how to begin one.

use maud::{Markup, PreEscaped, html};

use super::frame::{CutOut, frame, path_of, problems};
use super::plan::Wanted;
use crate::page::condition::Condition;
use crate::page::objects::{GoingObject, LastObject, ProblemObject, StationObject};
use crate::page::reading::ReadingObject;
use crate::quantity::{amperes, text, volts};

/// A station with its run.
pub(super) fn whole(station: &StationObject, reading: Option<&ReadingObject>) -> Markup {
    let wanted = Wanted::default();
    page(station, reading, &html! { (form(station, &wanted)) })
}

/// The same after something that was asked for and refused.
pub(super) fn again(station: &StationObject, wanted: &Wanted, problem: &ProblemObject) -> Markup {
    page(station, None, &html! { (problems(problem)) (form(station, wanted)) })
}

fn page(station: &StationObject, reading: Option<&ReadingObject>, below: &Markup) -> Markup {
    let says = reading.map_or(station.says, |reading| reading.says);
    let title = format!("{says} · {}", station.station);
    let idle = station.doing == "idle";
    let body = html! {
        div data-station=(station.station) data-doing=(station.doing) {
            h1 {
                (station.station)
                @if station.simulated { " " small { "simulated" } }
            }
            (condition(station, reading))
            (lock(station))
            @if let Some(going) = &station.going { (run(going, reading)) }
            @if let Some(trouble) = station.trouble.as_ref().filter(|_| idle) {
                (problems(trouble))
            }
            @if let Some(last) = station.last.as_ref().filter(|_| station.going.is_none()) {
                (last_run(last))
            }
            @if idle { (below) }
        }
    };
    frame(&title, CutOut::Station(&station.station), &body)
}

/// All stations, each with its condition.
pub(super) fn list(stations: &[StationObject]) -> Markup {
    let body = html! {
        h1 { "Stations" }
        @for station in stations {
            section.listed data-station=(station.station) data-doing=(station.doing) {
                h2 {
                    a href=(path_of(&station.station)) { (station.station) }
                    @if station.simulated { " " small { "simulated" } }
                }
                (condition(station, None))
                @if let Some(going) = &station.going { p { (going.part) } }
                form method="post" action={ (path_of(&station.station)) "/stop" } {
                    button.small-cut type="submit" { "Cut out " (station.station) }
                }
            }
        }
    };
    frame("Stations", CutOut::All, &body)
}

/// The words that are read from across the room, with a shape of their own.
fn condition(station: &StationObject, reading: Option<&ReadingObject>) -> Markup {
    let (tag, says, means) = reading
        .map_or((station.condition, station.says, station.means), |reading| {
            (reading.condition, reading.says, reading.means)
        });
    html! {
        section.condition data-condition=(tag) aria-live="assertive" aria-atomic="true" {
            (shapes())
            p.says data-field="says" { (says) }
            p.means data-field="means" { (means) }
        }
    }
}

/// One shape for each condition; the style shows the one that holds.
fn shapes() -> Markup {
    let shapes = Condition::ALL.iter().map(|condition| (condition.tag(), shape(*condition)));
    html! {
        svg.shape viewBox="0 0 100 100" aria-hidden="true" focusable="false" {
            @for (tag, drawn) in shapes.chain([("unknown", UNKNOWN)]) {
                g data-shape=(tag) { (PreEscaped(drawn)) }
            }
        }
    }
}

const UNKNOWN: &str = r#"<path d="M18 38 Q18 12 50 12 Q82 12 82 38 Q82 56 54 62 V72" fill="none" stroke="currentColor" stroke-width="12"/><circle cx="54" cy="89" r="8" fill="currentColor"/>"#;

fn shape(condition: Condition) -> &'static str {
    match condition {
        Condition::Idle => {
            r#"<circle cx="50" cy="50" r="38" fill="none" stroke="currentColor" stroke-width="8" stroke-dasharray="16 14"/>"#
        }
        Condition::Energised => {
            r#"<path d="M50 6 L96 90 H4 Z" fill="none" stroke="currentColor" stroke-width="9" stroke-linejoin="round"/><path d="M56 30 L36 60 H50 L44 82 L66 50 H52 Z" fill="currentColor"/>"#
        }
        Condition::Discharging => {
            r#"<path d="M14 12 H86 M50 20 V76 M26 56 L50 84 L74 56" fill="none" stroke="currentColor" stroke-width="10"/>"#
        }
        Condition::Safe => {
            r#"<circle cx="50" cy="50" r="42" fill="none" stroke="currentColor" stroke-width="9"/><path d="M28 52 L44 68 L74 34" fill="none" stroke="currentColor" stroke-width="11"/>"#
        }
        Condition::LockedOut => {
            r#"<rect x="6" y="6" width="88" height="88" fill="currentColor"/><path class="cut" d="M26 26 L74 74 M74 26 L26 74" fill="none" stroke-width="13"/>"#
        }
        Condition::InUse => {
            r#"<path d="M10 32 H74 L60 16 M90 68 H26 L40 84" fill="none" stroke="currentColor" stroke-width="10"/>"#
        }
    }
}

fn lock(station: &StationObject) -> Markup {
    html! {
        @if let Some(why) = &station.locked_out {
            section.problem {
                h2 { "Why it is locked out" }
                p { (why) }
                ol {
                    li { "Do not touch part, clips or bare leads." }
                    li { "Switch the supply off at its mains switch." }
                    li { "Measure the part with a meter that is rated for the voltage." }
                    li { "Discharge it through a resistor, measure, wait a minute, measure again." }
                    li { "Then find the cause, and say below that you have looked." }
                }
            }
        }
    }
}

fn run(going: &GoingObject, reading: Option<&ReadingObject>) -> Markup {
    let field = |get: fn(&ReadingObject) -> String| reading.map_or_else(|| "–".into(), get);
    html! {
        section.run data-run=[going.run.as_ref()] data-limit=(going.limit_ampere) {
            h2 { (going.part) " " small { (going.kind) @if let Some(run) = &going.run { " " (run) } } }
            dl.numbers {
                div.wide {
                    dt { "Current" }
                    dd {
                        span.large data-field="reads" { (field(|r| r.reads.clone())) }
                        span.against { "limit " (text::current(amperes(going.limit_ampere))) }
                    }
                }
                div {
                    dt { "Voltage at the part" }
                    dd {
                        span.large data-field="volts" { (field(volts_of)) }
                        span.against { "of " (text::voltage(volts(going.test_volt))) }
                    }
                }
                div {
                    dt { "Left, about" }
                    dd { span.large data-field="left" { (field(|r| r.left.clone())) } }
                }
                div {
                    dt { "Phase" }
                    dd { span.large data-field="phase" { (field(|r| r.phase.into())) } }
                }
                div.wide {
                    dt { "Next" }
                    dd { span data-field="next" { (field(|r| r.next.clone())) } }
                }
            }
            figure {
                div.chart data-chart="live" role="img"
                    aria-label="Current at the part against time, both in decades, with the limit; voltage on the right" {}
                figcaption { "Current and limit (left, decades), voltage (right), against time since switch-on (decades)" }
                noscript { p { "The curve needs a script; the numbers above do not." } }
            }
        }
    }
}

fn volts_of(reading: &ReadingObject) -> String {
    reading.volt.map_or_else(|| "unknown".into(), |volt| format!("{volt:.2} V"))
}

fn last_run(last: &LastObject) -> Markup {
    let verdict = last.verdict.unwrap_or("no verdict yet");
    html! {
        section.last {
            h2 { "Last run" }
            p {
                a href={ "/runs/" (last.run) } { (last.run) " · " (last.part) }
                " – " strong data-verdict=(verdict) { (verdict) }
                @if !last.findings.is_empty() { " (" (last.findings.join(", ")) ")" }
            }
        }
    }
}

/// What is to be tested next; it leads to the plan, and energises nothing.
fn form(station: &StationObject, wanted: &Wanted) -> Markup {
    let value = |text: &Option<String>| text.clone().unwrap_or_default();
    html! {
        section.begin {
            h2 { "Test a part" }
            form method="post" action={ (path_of(&station.station)) "/plan" } {
                label {
                    span { "Part: capacitance, voltage, family, a name if you like" }
                    input name="part" required autocomplete="off" autocapitalize="off"
                        placeholder="C14 22µF 25V tantalum" value=(value(&wanted.part));
                }
                details open[wanted.has_more()] {
                    summary { "Limit, voltage, time and more" }
                    (wanted.fields())
                }
                button type="submit" { "Show the plan and its cautions" }
                p.quiet { "Nothing is energised by that." }
            }
        }
    }
}
