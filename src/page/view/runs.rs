//! Saved runs: list and search, one of them, several curves on one chart.

use maud::{Markup, html};

use super::frame::{CutOut, frame};
use crate::judge::Verdict;
use crate::page::answer::Problem;
use crate::page::saved::{Search, run_id};
use crate::quantity::{farads, text, volts};
use crate::record::RunId;
use crate::report::object::RunObject;

/// The most curves that can be told apart on one chart.
const MOST_CURVES: usize = 8;

/// The runs that were chosen to be laid over each other.
pub(super) struct Chosen(pub(super) Vec<RunId>);

impl Chosen {
    /// From a query of `run=r1&run=r2`.
    pub(super) fn of(pairs: Vec<(String, String)>) -> Result<Self, Problem> {
        let chosen = pairs.into_iter().filter(|(name, _)| name == "run");
        let ids: Vec<RunId> = chosen.map(|(_, id)| run_id(&id)).collect::<Result<_, Problem>>()?;
        if ids.is_empty() || MOST_CURVES < ids.len() {
            return Err(Problem::new(
                axum::http::StatusCode::UNPROCESSABLE_ENTITY,
                format!("{} runs are chosen, expected 1 to {MOST_CURVES}", ids.len()),
                "tick the runs to lay over each other in the list of saved runs",
            ));
        }
        Ok(Self(ids))
    }
}

/// The list of runs.
pub(super) fn list(runs: &[RunObject], search: &Search) -> Markup {
    let words = search.words.clone().unwrap_or_default();
    let verdict = search.verdict.clone().unwrap_or_default();
    let body = html! {
        h1 { "Saved runs" }
        form.search method="get" action="/runs" role="search" {
            label {
                span { "Find: part, family, finding, station, date" }
                input type="search" name="words" value=(words);
            }
            label {
                span { "Verdict" }
                select name="verdict" {
                    option value="" { "any" }
                    @for one in Verdict::ALL {
                        option value=(one.tag()) selected[one.tag() == verdict] { (one.tag()) }
                    }
                }
            }
            button type="submit" { "Find" }
        }
        @if runs.is_empty() { p { "No runs on record that fit." } } @else { (table(runs)) }
    };
    frame("Saved runs", CutOut::All, &body)
}

fn table(runs: &[RunObject]) -> Markup {
    html! {
        form method="get" action="/overlay" {
            p { button type="submit" { "Lay the ticked curves over each other" } }
            table.runs {
                thead {
                    tr {
                        th scope="col" { span.unseen { "Choose" } }
                        th scope="col" { "Run" }
                        th scope="col" { "Part" }
                        th scope="col" { "Verdict" }
                        th scope="col" { "Reading" }
                        th scope="col" { "Limit" }
                        th scope="col" { "Begun" }
                    }
                }
                tbody { @for run in runs { (row(run)) } }
            }
        }
    }
}

fn row(run: &RunObject) -> Markup {
    html! {
        tr {
            td { input type="checkbox" name="run" value=(run.run) aria-label={ "Choose " (run.run) }; }
            td { a href={ "/runs/" (run.run) } { (run.run) } }
            td data-label="Part" { (part(run)) @if run.simulated { " " small { "simulated" } } }
            td data-label="Verdict" { (verdict(run)) }
            td data-label="Reading" { (run.reading()) }
            td data-label="Limit" { (run.limit()) }
            td data-label="Begun" { time datetime=(run.started) { (begun(run)) } }
        }
    }
}

fn begun(run: &RunObject) -> String {
    format!("{} UTC", run.started.get(..16).unwrap_or_default().replace('T', " "))
}

fn part(run: &RunObject) -> String {
    let part = &run.part;
    let rating = format!(
        "{} {} {} {}",
        part.name,
        text::capacitance(farads(part.capacitance_farad)),
        text::voltage(volts(part.rated_volt)),
        part.family
    );
    rating.trim().to_owned()
}

fn verdict(run: &RunObject) -> Markup {
    let word = if run.state == "open" { "goes on" } else { run.verdict };
    html! {
        strong data-verdict=(word) { (word) }
        @if !run.findings.is_empty() { " " small { (run.findings.join(", ")) } }
        @if run.left == Some("locked-out") { " " strong { "LOCKED OUT" } }
    }
}

/// One run.
pub(super) fn one(run: &RunObject) -> Markup {
    let plot = format!("/api/runs/{}/plot", run.run);
    let body = html! {
        h1 { (part(run)) " " small { (run.run) } }
        p.verdict { (verdict(run)) @if run.simulated { " " small { "simulated" } } }
        p { (run.advice) }
        dl.facts {
            dt { "Reading" } dd { (run.reading()) }
            dt { "Limit" } dd { (run.limit()) }
            @if let Some(limit) = &run.limit { dt { "Rule" } dd { (limit.rule) } }
            @if let Some(circuit) = &run.in_circuit { dt { "In circuit" } dd { (circuit.duty) ": " (circuit.says) } }
            dt { "Kind" } dd { (run.kind) }
            dt { "Left" } dd { (run.left.unwrap_or("unknown")) }
            dt { "Station" } dd { (run.station) }
            dt { "Begun" } dd { (begun(run)) }
        }
        figure {
            img.plot src=(plot) alt={ "Current and voltage of " (run.run) " against time, with the limit" };
        }
        p.downloads {
            "Download: "
            a href={ (plot) "?format=png" } download={ (run.run) ".png" } { "picture (PNG)" } " · "
            a href={ (plot) "?format=svg" } download={ (run.run) ".svg" } { "picture (SVG)" } " · "
            a href={ (plot) "?format=svg&axes=linear" } download={ (run.run) "-linear.svg" } { "linear axes (SVG)" } " · "
            a href={ "/api/runs/" (run.run) "/readings" } download={ (run.run) ".csv" } { "readings (CSV)" } " · "
            a href={ "/api/runs/" (run.run) "/readings?decimal=comma" } download={ (run.run) "-comma.csv" } { "readings (CSV, decimal comma)" } " · "
            a href={ "/api/runs/" (run.run) } download={ (run.run) ".json" } { "result (JSON)" } " · "
            a href={ "/api/runs/" (run.run) "/curve" } download={ (run.run) "-curve.json" } { "curve (JSON)" }
        }
        p { a href="/runs" { "All saved runs" } }
    };
    frame(&format!("{} {}", run.run, run.verdict), CutOut::All, &body)
}

/// Several curves on one chart.
pub(super) fn overlay(runs: &[RunObject]) -> Markup {
    let ids: Vec<&str> = runs.iter().map(|run| run.run.as_str()).collect();
    let body = html! {
        h1 { "Curves of " (ids.join(", ")) }
        figure {
            div.chart data-chart="overlay" data-runs=(ids.join(" ")) role="img"
                aria-label="Current of each run against time, both in decades" {}
            figcaption { "Current against time since switch-on, both in decades; each limit dashed" }
            noscript { p { "The chart needs a script; the table below does not." } }
        }
        (table(runs))
    };
    frame("Curves", CutOut::All, &body)
}
