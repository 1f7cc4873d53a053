//! The row of one part: who it is, its curve, what was found, what to do.

use maud::{Markup, html};

use super::Entry;
use super::mark::{self, Said};
use crate::judge::Left;
use crate::quantity::text;
use crate::record::{Ending, Run, RunState};
use crate::report::object::RunObject;
use crate::report::small_curve;
use crate::tray::{TrayPart, Unlike};

/// The row of a part; of one that was not tested, without a curve.
pub(super) fn row(part: &TrayPart, entry: Option<&Entry>, unlike: Option<&Unlike>) -> Markup {
    let said: Said = entry.and_then(|entry| entry.run.verdict());
    html! {
        article .part .(mark::style(said)) {
            div .who {
                p .position { (part.position) }
                h2 { (part.part.name.as_deref().unwrap_or("–")) }
                p .what { (what(part)) }
                @if let Some(duty) = &part.duty { p .circuit { "in circuit: " (duty.to_string()) } }
                @if let Some(note) = &part.note { p .note { (note) } }
            }
            div .seen {
                @if let Some(entry) = entry { (small_curve::svg(&entry.curve)) }
            }
            div .said {
                p .verdict {
                    (mark::mark(said)) " " strong { (mark::words(said)) }
                    @if let Some(entry) = entry { " " (findings(&entry.run)) }
                }
                @if let Some(entry) = entry { (found(&entry.run)) }
                @if let Some(unlike) = unlike { p .unlike { strong { "Unlike its equals: " } (unlike) "." } }
            }
        }
    }
}

/// What is printed on a part, without its name.
fn what(part: &TrayPart) -> String {
    let nameless = crate::part::Part { name: None, ..part.part.clone() };
    nameless.to_string()
}

/// The reasons, where there are more than that it settled.
fn findings(run: &Run) -> Markup {
    let tags: Vec<&str> = run.findings().iter().map(|finding| finding.tag()).collect();
    html! { @if !tags.is_empty() { span .findings { (tags.join(", ")) } } }
}

/// Values, and what to do.
fn found(run: &Run) -> Markup {
    let object = RunObject::of(run);
    let locked_out = run.left() == Some(Left::LockedOut);
    html! {
        dl {
            dt { "measured" } dd { (measured(run, &object)) }
            dt { "limit" } dd { (object.limit()) }
            @if let Some(circuit) = &object.in_circuit {
                dt { "in circuit" } dd { (circuit.says) }
            }
            @for (name, value) in others(run) { dt { (name) } dd { (value) } }
        }
        p .advice .alarm[locked_out] { (object.advice) }
    }
}

/// The reading with its uncertainty and its share of the limit.
fn measured(run: &Run, object: &RunObject) -> String {
    let current = ending(run).and_then(|ending| ending.current);
    let limit = run.begun.limit.as_ref().map(|limit| limit.current);
    let share = current.zip(limit).map(|(current, limit)| (current.value / limit).value);
    match share.filter(|share| 0.0 < *share) {
        Some(share) => format!("{}, {} of its limit", object.reading(), share_text(share)),
        None => object.reading(),
    }
}

/// `3.2 %` below the limit, `10 times` above it.
pub(in crate::report) fn share_text(share: f64) -> String {
    let two_digits =
        |value: f64| if value < 9.95 { format!("{value:.1}") } else { format!("{value:.0}") };
    if (0.001..1.995).contains(&share) {
        format!("{} %", two_digits(share * 100.0))
    } else if share < 0.001 {
        "less than 0.1 %".to_owned()
    } else {
        format!("{} times", two_digits(share))
    }
}

/// Voltage and capacitance, where they were measured.
fn others(run: &Run) -> Vec<(&'static str, String)> {
    let Some(ending) = ending(run) else { return Vec::new() };
    let voltage = ending.voltage_at_part.map(text::voltage);
    let capacitance = ending.measured_capacitance.map(|measured| {
        let off = ((measured / run.begun.capacitance).value - 1.0) * 100.0;
        format!("{}, {off:+.0} % from the printed", text::capacitance(measured))
    });
    let named = [("voltage", voltage), ("capacitance", capacitance)];
    let mut rows: Vec<_> =
        named.into_iter().filter_map(|(name, value)| Some((name, value?))).collect();
    rows.push(("run", format!("{}, {}", run.id, run.begun.started.strftime("%Y-%m-%d %H:%M UTC"))));
    rows
}

fn ending(run: &Run) -> Option<&Ending> {
    match &run.state {
        RunState::Ended(ending) => Some(ending),
        RunState::Open | RunState::Interrupted { .. } => None,
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::a_thirtieth(0.0325, "3.2 %")]
    #[case::a_half(0.5, "50 %")]
    #[case::just_above(1.12, "112 %")]
    #[case::ten_times(9.91, "9.9 times")]
    #[case::a_hundred_times(104.2, "104 times")]
    #[case::next_to_nothing(0.0004, "less than 0.1 %")]
    fn a_share_of_the_limit_is_told_with_two_digits(#[case] share: f64, #[case] told: &str) {
        assert_eq!(share_text(share), told);
    }
}
