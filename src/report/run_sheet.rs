//! The sheet of a run: one page in itself, to read in a browser, to print, to hand to a customer.
//!
//! It says what was asked of the part, what was measured and how surely, with what, and what it does
//! not say. The page needs nothing from outside: no font, no picture, no script.

mod plan;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::canvas;
use super::object::RunObject;
use super::page;
use super::tray_sheet::mark;
use super::{Axes, Curve, DrawError, from_record, lettering};
use crate::judge::Left;
use crate::quantity::{Current, amperes, celsius, farads, text, volts};
use crate::record::{Ending, InstrumentOnRecord, Run, RunState, Zero};

/// The look that it shares with the sheet of a tray, and its own.
const STYLE: [&str; 2] =
    [include_str!("tray_sheet/sheet.css"), include_str!("run_sheet/sheet.css")];
/// Where the panels of a drawn page begin: its head stands on the sheet as words.
const HEAD: u32 = 1450; // tenths of a page unit

/// A run with what the sheet needs beside it.
#[derive(Debug, Clone, Copy)]
pub struct Sheet<'a> {
    /// The run.
    pub run: &'a Run,
    /// Its readings.
    pub curve: &'a Curve,
    /// The zero of the fixture that was known when it began, if one was measured.
    pub zero: Option<&'a Zero>,
}

/// Gives the page as HTML.
///
/// # Errors
///
/// [`DrawError`] if the curve can't be drawn; it does not depend on the run.
pub fn page(sheet: &Sheet<'_>) -> Result<String, DrawError> {
    let curve = sheet.picture()?;
    let object = RunObject::of(sheet.run);
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Run sheet: " (from_record::title(sheet.run)) }
                @for style in STYLE { style { (PreEscaped(style)) } }
            }
            body .run {
                (sheet.head())
                (sheet.verdict(&object))
                figure { (PreEscaped(curve)) }
                (sheet.budget(&object))
                (sheet.plan())
                (sheet.equipment())
                (foot())
            }
        }
    };
    Ok(markup.into_string())
}

impl Sheet<'_> {
    /// The panels of the run's page as SVG, without its head.
    fn picture(&self) -> Result<String, DrawError> {
        lettering::ready()?;
        let svg = canvas::svg(&page::compose(self.curve, Axes::LogLog))?;
        let svg = String::from_utf8_lossy(&svg).into_owned();
        let whole =
            "width=\"1400\" height=\"990\" stroke-linejoin=\"round\" viewBox=\"0 0 14000 9900\"";
        let panels = format!(
            "class=\"curves\" role=\"img\" aria-label=\"current and voltage over time\" \
             stroke-linejoin=\"round\" viewBox=\"0 {HEAD} 14000 {}\"",
            9900 - HEAD
        );
        Ok(svg.replacen(whole, &panels, 1))
    }

    fn head(&self) -> Markup {
        let begun = &self.run.begun;
        html! {
            header {
                @if begun.simulated { p .simulated { "simulated: no real part was measured" } }
                p .kind { "Leakage of a capacitor" }
                h1 { (if begun.part_name.is_empty() { "Unnamed part" } else { &begun.part_name }) }
                p .when {
                    (from_record::printed(self.run)) " · run " (self.run.id) " · station "
                    (begun.station) " · " (begun.started.strftime("%Y-%m-%d %H:%M UTC"))
                }
            }
        }
    }

    fn verdict(&self, object: &RunObject) -> Markup {
        let said = self.run.verdict();
        let locked_out = self.run.left() == Some(Left::LockedOut);
        html! {
            section .outcome .(mark::style(said)) {
                p .verdict {
                    (mark::mark(said)) " " strong { (mark::words(said)) }
                    @if !object.findings.is_empty() {
                        " " span .findings { (object.findings.join(", ")) }
                    }
                }
                dl { @for (name, value) in self.measured(object) { dt { (name) } dd { (value) } } }
                p .advice .alarm[locked_out] { (object.advice) }
            }
        }
    }

    /// What was measured, in words and figures.
    fn measured(&self, object: &RunObject) -> Vec<(&'static str, String)> {
        let mut rows = vec![("leakage", self.leakage(object)), ("limit", self.limit(object))];
        if let Some(volt) = object.voltage_at_part_volt {
            rows.push((
                "voltage",
                format!("never below {} at the part while it was read", text::voltage(volts(volt))),
            ));
        }
        if let Some(farad) = object.measured_capacitance_farad {
            rows.push(("capacitance", capacitance(farad, object.capacitance_uncertainty_farad)));
        }
        if let Some(circuit) = &object.in_circuit {
            rows.push(("in its circuit", format!("{}: {}", circuit.duty, circuit.says)));
        }
        if let Some(room) = &self.run.begun.conditions.room {
            rows.push(("room", room.to_string()));
        }
        let left = match self.run.left() {
            Some(Left::Safe) => "measured discharged",
            Some(Left::LockedOut) => "NOT proven discharged: do not touch",
            None => "not known: treat it as charged",
        };
        rows.push(("left", left.to_owned()));
        rows
    }

    fn leakage(&self, object: &RunObject) -> String {
        let Some(current) = &object.current else { return "no reading".to_owned() };
        let share = object.limit.as_ref().map(|limit| current.ampere / limit.ampere);
        let share = share.filter(|share| 0.0 < *share).map_or_else(String::new, |share| {
            format!(", {} of the limit", super::tray_sheet::share_text(share))
        });
        let reference = object.limit.as_ref().and_then(|limit| limit.reference_celsius);
        let carried = reference.map_or_else(String::new, |reference| {
            let at = text::temperature_celsius(celsius(reference));
            format!("; at {at}, as read {}", text::current(amperes(current.raw_ampere)))
        });
        let confidence = self.run.begun.conditions.confidence;
        format!("{}{share} (± at {confidence}){carried}", object.reading())
    }

    fn limit(&self, object: &RunObject) -> String {
        self.run.begun.limit.as_ref().map_or_else(
            || "none".to_owned(),
            |limit| {
                format!("{} after full voltage: {} ({})", object.limit(), limit.rule, limit.source)
            },
        )
    }

    /// What the uncertainty is made of, with bars.
    fn budget(&self, object: &RunObject) -> Markup {
        let squares: f64 = object.budget.iter().map(|one| one.standard_ampere.powi(2)).sum();
        let confidence = self.run.begun.conditions.confidence;
        html! {
            @if !object.budget.is_empty() {
                section .budget {
                    h2 { "How sure" }
                    table {
                        @for one in &object.budget {
                            @let share = one.standard_ampere.powi(2) / squares * 100.0;
                            tr {
                                th { (one.source.replace('-', " ")) }
                                td { (text::current(two_digits(amperes(one.standard_ampere)))) }
                                td .share { span style={ "width:" (format!("{share:.1}")) "%" } {} }
                                td { @if share < 0.5 { "< 1 %" } @else { (format!("{share:.0} %")) } }
                            }
                        }
                    }
                    p {
                        (format!("{:.2}", confidence.coverage()))
                        " times the root of the sum of their squares is the ± at " (confidence.to_string())
                        ". A part is within its limit only if all of that interval is."
                    }
                }
            }
        }
    }

    fn plan(&self) -> Markup {
        let plan = plan::Plan::read(&self.run.begun.plan_json);
        html! {
            section .plan {
                h2 { "What was asked for" }
                dl {
                    dt { "kind" } dd { (self.run.begun.kind.tag()) }
                    @for (name, value) in plan.rows() { dt { (name) } dd { (value) } }
                    @if let Some(follows) = self.run.begun.follows {
                        dt { "follows" } dd { "the re-forming of " (follows) }
                    }
                }
                @if !plan.cautions().is_empty() {
                    p .with { "Cautions that were shown before it began:" }
                    ul { @for caution in plan.cautions() { li { (caution) } } }
                }
            }
        }
    }

    fn equipment(&self) -> Markup {
        let begun = &self.run.begun;
        html! {
            section .equipment {
                h2 { "With what" }
                dl {
                    @for InstrumentOnRecord { role, identity } in &begun.instruments {
                        dt { (role) } dd { (identity) }
                    }
                    dt { "zero" } dd { (zero(self.zero)) }
                    dt { "software" } dd { (begun.software) }
                    @if let Some(ending) = ending(self.run) {
                        dt { "ended" } dd { (ending.ended.strftime("%Y-%m-%d %H:%M UTC")) }
                    }
                }
            }
        }
    }
}

fn capacitance(farad: f64, uncertainty: Option<f64>) -> String {
    let measured = uncertainty.map_or_else(
        || text::capacitance(farads(farad)),
        |spread| text::capacitance_with_uncertainty(farads(farad), farads(spread)),
    );
    format!("{measured} by charge")
}

/// The zero that the record knew when the run began.
fn zero(zero: Option<&Zero>) -> String {
    zero.map_or_else(
        || "none measured at this station before the run; what the station file says of it was used".to_owned(),
        |zero| {
            format!(
                "{} at {}, taken {}",
                text::with_uncertainty(zero.current, zero.uncertainty),
                text::voltage(zero.voltage),
                zero.taken.strftime("%Y-%m-%d %H:%M UTC")
            )
        },
    )
}

/// Two significant digits: a component is not known to more.
fn two_digits(current: Current) -> Current {
    if current.value == 0.0 {
        return current;
    }
    let place = 10_f64.powf(current.value.abs().log10().floor() - 1.0);
    amperes((current.value / place).round() * place)
}

fn ending(run: &Run) -> Option<&Ending> {
    match &run.state {
        RunState::Ended(ending) => Some(ending),
        RunState::Open | RunState::Interrupted { .. } => None,
    }
}

/// What a reader without the program must know.
fn foot() -> Markup {
    html! {
        footer {
            p {
                "The curve shows current and voltage over time, both in decades; the dashed line across \
                 is the limit, the diamond the reading with its interval, the shaded stripe the window \
                 that it was taken in."
            }
            p { "Leakage is one check of four: capacitance, series resistance and looks are others." }
            p {
                "Charged capacitors can hurt and burn. Work by SAFETY.md, by the rules of your country and \
                 your trade, and leave to licensed practice what belongs there. This page is a record of \
                 one measurement, and warrants nothing about the part's future."
            }
        }
    }
}

#[cfg(test)]
mod tests;
