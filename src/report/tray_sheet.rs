//! The sheet of a tray: one page in itself, to look at or to print and lay into the box of parts.
//!
//! Each part has a row with its curve, its verdict in words and as a mark, what was measured and
//! what to do; above them the sums, below them what it was measured with. The page needs nothing
//! from outside: no font, no picture, no script.

pub(super) mod mark;
mod row;

use jiff::Timestamp;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::Curve;
use crate::judge::Verdict;
use crate::record::{MeasuredCurrent, Run, RunState};
use crate::tray::{Kin, Measured, Slot, Tray, Unlike, siblings};
use mark::Said;
pub(super) use row::share_text;

/// How the page looks, on a screen, on a telephone and on A4.
const STYLE: &str = include_str!("tray_sheet/sheet.css");

/// A tray with what is known of its parts.
#[derive(Debug, Clone, Copy)]
pub struct Sheet<'a> {
    /// What the tray is called, such as the name of its file.
    pub title: &'a str,
    /// The parts.
    pub tray: &'a Tray,
    /// The run that counts of each part that was tested, in any order.
    pub entries: &'a [Entry],
}

/// The run that counts of a part.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Which part.
    pub slot: Slot,
    /// Its run.
    pub run: Run,
    /// The readings of that run.
    pub curve: Curve,
}

/// Gives the page as HTML.
#[must_use]
pub fn page(sheet: &Sheet) -> String {
    let unlike = siblings(&sheet.measured());
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Tray sheet: " (sheet.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (sheet.head())
                (sheet.sums(&unlike))
                main { @for (slot, part) in sheet.parts() {
                    (row::row(part, sheet.entry(slot), unlike.iter().find(|one| one.slot == slot)))
                } }
                (sheet.foot())
            }
        }
    };
    markup.into_string()
}

impl Sheet<'_> {
    fn parts(&self) -> impl Iterator<Item = (Slot, &crate::tray::TrayPart)> {
        self.tray.parts().iter().enumerate().map(|(index, part)| (Slot(index), part))
    }

    fn entry(&self, slot: Slot) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.slot == slot)
    }

    fn said(&self, slot: Slot) -> Said {
        self.entry(slot).and_then(|entry| entry.run.verdict())
    }

    fn head(&self) -> Markup {
        let simulated = self.entries.iter().any(|entry| entry.run.begun.simulated);
        let stations = distinct(self.entries.iter().map(|entry| entry.run.begun.station.clone()));
        html! {
            header {
                @if simulated { p .simulated { "simulated: no real part was measured" } }
                p .kind { "Leakage of a tray of parts" }
                h1 { (self.title) }
                p .when {
                    (self.tray.parts().len()) " parts"
                    @for station in &stations { " · station " (station) }
                    @if let Some((first, last)) = self.span() { " · " (span_text(first, last)) }
                }
            }
        }
    }

    /// How many of each verdict, and which.
    fn sums(&self, unlike: &[Unlike]) -> Markup {
        let of = |said: Said| -> Vec<String> {
            let same = self.parts().filter(|(slot, _)| self.said(*slot) == said);
            same.map(|(slot, _)| self.name(slot)).collect()
        };
        html! {
            section .sums {
                @for said in mark::ALL {
                    @let names = of(said);
                    @if !names.is_empty() {
                        div .sum .(mark::style(said)) {
                            (mark::mark(said))
                            p .count { (names.len()) }
                            p .word { (mark::words(said)) }
                            p .names { (names.join(", ")) }
                        }
                    }
                }
            }
            @if !unlike.is_empty() {
                p .look {
                    strong { "A second look: " }
                    (unlike.iter().map(|one| self.name(one.slot)).collect::<Vec<_>>().join(", "))
                    " – within the limit, and unlike equal parts of this tray."
                }
            }
        }
    }

    /// The designator, or the position of a part that has none.
    fn name(&self, slot: Slot) -> String {
        let name = |part: &crate::tray::TrayPart| {
            part.part.name.clone().unwrap_or_else(|| format!("position {}", part.position))
        };
        self.tray.part(slot).map(name).unwrap_or_default()
    }

    fn foot(&self) -> Markup {
        let instruments = self.entries.iter().flat_map(|entry| &entry.run.begun.instruments);
        let instruments = instruments.map(|one| format!("{}: {}", one.role, one.identity));
        let software = distinct(self.entries.iter().map(|entry| entry.run.begun.software.clone()));
        html! {
            footer {
                p {
                    "What follows a ± is the half-width of the interval in which the true value \
                     lies, as sure as the verdict had to be. A part is within its limit only if \
                     all of that interval is. Curves: current over time, both in decades; the \
                     dashed line is the limit, the dot the reading."
                }
                p { "Leakage is one check of four: capacitance, series resistance and looks are others." }
                @for instrument in distinct(instruments) { p .with { (instrument) } }
                @for software in &software { p .with { "software: " (software) } }
            }
        }
    }

    /// When the first run began and the last one ended or began.
    fn span(&self) -> Option<(Timestamp, Timestamp)> {
        let begun = self.entries.iter().map(|entry| entry.run.begun.started);
        let ended = self.entries.iter().filter_map(|entry| match &entry.run.state {
            RunState::Ended(ending) => Some(ending.ended),
            RunState::Open | RunState::Interrupted { .. } => None,
        });
        Some((begun.clone().min()?, begun.chain(ended).max()?))
    }

    /// The readings that can be compared.
    fn measured(&self) -> Vec<Measured> {
        let measured = self.entries.iter().filter_map(|entry| {
            let part = self.tray.part(entry.slot)?;
            let current = current(&entry.run)?;
            let kin = Kin {
                family: part.part.family,
                rating: part.part.rating,
                test_voltage: entry.run.begun.test_voltage,
                read_at: entry.run.begun.limit.as_ref()?.reading_time?,
            };
            let verdict = entry.run.verdict().unwrap_or(Verdict::Untested);
            let MeasuredCurrent { value: current, uncertainty, .. } = current;
            Some(Measured { slot: entry.slot, kin, verdict, current, uncertainty })
        });
        measured.collect()
    }
}

fn current(run: &Run) -> Option<MeasuredCurrent> {
    match &run.state {
        RunState::Ended(ending) => ending.current,
        RunState::Open | RunState::Interrupted { .. } => None,
    }
}

fn span_text(first: Timestamp, last: Timestamp) -> String {
    let (day, time) = ("%Y-%m-%d", "%H:%M");
    let (from, to) = (first.strftime(day).to_string(), last.strftime(day).to_string());
    if from == to {
        format!("{from}, {} to {} UTC", first.strftime(time), last.strftime(time))
    } else {
        format!("{from} {} to {to} {} UTC", first.strftime(time), last.strftime(time))
    }
}

/// Each once, in the order in which they come.
fn distinct(all: impl Iterator<Item = String>) -> Vec<String> {
    let mut seen = Vec::new();
    for one in all {
        if !seen.contains(&one) {
            seen.push(one);
        }
    }
    seen
}

#[cfg(test)]
mod tests;
