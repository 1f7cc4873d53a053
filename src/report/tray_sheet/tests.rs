//! The sheet of a small tray: five tantalums and what became of them.

use super::*;
use crate::judge::{Finding, Left};
use crate::quantity::{amperes, farads, seconds, volts};
use crate::record::{Ending, Record};
use crate::report::example;
use crate::tray::{Form, read};

const TRAY: &str = "position;part;family;value;rating;note\n\
    1;C11;tantalum;22u;25V;first mixer\n2;C12;tantalum;22u;25V;\n3;C13;tantalum;22u;25V;\n\
    4;C14;tantalum;22u;25V;\n5;C15;tantalum;22u;25V;beside <b>the</b> regulator\n\
    6;C16;tantalum;22u;25V;\n";

fn tray() -> Tray {
    read(TRAY, Form::Csv).unwrap()
}

/// An end with a reading in nA, or without one.
fn ended(verdict: Verdict, finding: Finding, nanoampere: Option<f64>) -> Ending {
    let measured = |nanoampere: f64| MeasuredCurrent {
        value: amperes(nanoampere * 1e-9),
        raw: amperes(nanoampere * 1e-9),
        uncertainty: amperes(11e-9),
        at: seconds(300.0),
    };
    Ending {
        verdict,
        findings: vec![finding],
        current: nanoampere.map(measured),
        budget: Vec::new(),
        voltage_at_part: Some(volts(24.98)),
        measured_capacitance: Some(farads(21.4e-6)),
        capacitance_uncertainty: Some(farads(0.4e-6)),
        peak_current: None,
        staircase: None,
        formed: None,
        left: Left::Safe,
        advice: "Do as the sheet says.".to_owned(),
        ended: "2026-03-14T08:22:00Z".parse().unwrap(),
        full_voltage_at: Some(seconds(20.0)),
    }
}

/// Runs of the first parts, with these ends.
fn entries(ends: &[Ending]) -> Vec<Entry> {
    let folder = tempfile::tempdir().unwrap();
    let mut record = Record::open(folder.path().join("record.db")).unwrap();
    let entry = |(index, end): (usize, &Ending)| {
        let id = record.begin(&example::begun()).unwrap();
        record.finish(id, end).unwrap();
        let run = record.run(id).unwrap();
        Entry { slot: Slot(index), run, curve: example::healthy() }
    };
    ends.iter().enumerate().map(entry).collect()
}

fn within(nanoampere: f64) -> Ending {
    ended(Verdict::Within, Finding::Settled, Some(nanoampere))
}

fn sheet(ends: &[Ending]) -> String {
    page(&Sheet { title: "terne.csv", tray: &tray(), entries: &entries(ends) })
}

/// The text of the page's body without its drawings, blanks joined.
fn text(page: &str) -> String {
    let body = page.split("<body>").nth(1).unwrap();
    let mut text = String::new();
    let mut skip = false;
    for piece in body.split('<') {
        skip = (skip || piece.starts_with("svg")) && !piece.starts_with("/svg");
        let after = piece.split_once('>').map_or("", |(_, after)| after);
        if !skip {
            text.push(' ');
            text.push_str(after);
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_page_needs_nothing_from_outside() {
    let page = sheet(&[within(170.0)]);
    for outside in ["http", "src=", "url(", "@import", "<script", "<link"] {
        assert!(!page.contains(outside), "{outside}");
    }
}

#[test]
fn a_row_says_what_was_measured_and_what_to_do() {
    let page = text(&sheet(&[within(170.0)]));
    insta::assert_snapshot!(page.split(" 2 C12").next().unwrap(), @r"
    Leakage of a tray of parts terne.csv 6 parts · station skarvik-bench · 2026-03-14, 08:15 to 08:22 UTC 1 within its limit C11 5 not yet tested C12, C13, C14, C15, C16 1 C11 22 µF 25 V ta-mno2 first mixer within its limit settled measured 170 ± 11 nA, 3.1 % of its limit limit 5.5 µA at 5 min voltage 24.98 V capacitance 21.4 µF, -3 % from the printed run r1, 2026-03-14 08:15 UTC Do as the sheet says.
    ");
}

#[test]
fn sums_name_the_parts_of_each_verdict() {
    let ends = [
        within(170.0),
        ended(Verdict::Over, Finding::Shorted, None),
        ended(Verdict::Undecided, Finding::MeterTooCoarse, Some(1.0)),
        ended(Verdict::Untested, Finding::NoContact, None),
    ];
    let page = text(&sheet(&ends));
    assert!(
        page.contains(
            "1 over its limit C12 1 undecided C13 1 untested C14 2 not yet tested C15, C16"
        ),
        "{page}"
    );
}

#[test]
fn a_part_unlike_its_equals_is_pointed_out_twice() {
    let page =
        text(&sheet(&[within(170.0), within(180.0), within(160.0), within(175.0), within(2900.0)]));
    assert!(page.contains("A second look: C15 "), "{page}");
    assert!(
        page.contains("Unlike its equals: within its limit, but it leaks 17 times as much"),
        "{page}"
    );
}

#[test]
fn a_part_that_may_be_charged_is_marked_as_such() {
    let locked = Ending { left: Left::LockedOut, ..within(170.0) };
    assert!(sheet(&[locked]).contains("class=\"advice alarm\""));
    assert!(!sheet(&[within(170.0)]).contains("class=\"advice alarm\""));
}

#[test]
fn words_of_a_person_cannot_break_the_page() {
    let page = sheet(&[]);
    assert!(page.contains("beside &lt;b&gt;the&lt;/b&gt; regulator"));
    assert!(page.contains("6</p><p class=\"word\">not yet tested"), "{page}");
}
