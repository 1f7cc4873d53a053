//! What a sheet says, and what it does without.

use super::*;
use crate::judge::{Finding, Source, Verdict};
use crate::part::Room;
use crate::quantity::seconds;
use crate::record::{Component, Conditions, MeasuredCurrent, NewRun};
use crate::report::example;

const PLAN: &str = r#"{"test_volt":25.0,"soak_second":300.0,"cut_out_ampere":0.00055,
    "energy_joule":0.006875,"cautions":["stripe marks PLUS & <not> minus"],"warnings":[]}"#;

fn run() -> Run {
    let begun = NewRun {
        plan_json: PLAN.into(),
        conditions: Conditions { room: Some(Room::ASSUMED), ..example::begun().conditions },
        ..example::begun()
    };
    let ending = Ending {
        verdict: Verdict::Within,
        findings: vec![Finding::Settled],
        current: Some(MeasuredCurrent {
            value: amperes(193e-9),
            raw: amperes(179e-9),
            uncertainty: amperes(15e-9),
            at: seconds(300.0),
        }),
        budget: vec![
            Component { source: Source::Meter, uncertainty: amperes(6.3e-9) },
            Component { source: Source::RoomTemperature, uncertainty: amperes(4.1e-9) },
        ],
        voltage_at_part: Some(volts(24.99)),
        measured_capacitance: Some(farads(21.48e-6)),
        capacitance_uncertainty: Some(farads(0.21e-6)),
        peak_current: None,
        staircase: None,
        formed: None,
        left: Left::Safe,
        advice: "Keep it as far as leakage goes.".into(),
        ended: "2026-03-14T08:22:00Z".parse().unwrap(),
        full_voltage_at: Some(seconds(25.0)),
    };
    Run { id: "r1".parse().unwrap(), begun, state: RunState::Ended(Box::new(ending)) }
}

fn sheet(run: &Run, zero: Option<&Zero>) -> String {
    page(&Sheet { run, curve: &example::healthy(), zero }).unwrap()
}

/// The words of the page without its drawing, blanks joined.
fn words(page: &str) -> String {
    let body = page.split("<body").nth(1).unwrap();
    let mut text = String::new();
    let mut skip = false;
    for piece in body.split('<') {
        skip = (skip || piece.starts_with("svg")) && !piece.starts_with("/svg");
        if !skip {
            text.push(' ');
            text.push_str(piece.split_once('>').map_or("", |(_, after)| after));
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_sheet_needs_nothing_from_outside() {
    let page = sheet(&run(), None).replace("http://www.w3.org/2000/svg", "");
    for outside in ["http", "src=", "url(", "@import", "<script", "<link"] {
        assert!(!page.contains(outside), "{outside}");
    }
}

#[test]
fn a_sheet_says_what_was_asked_measured_and_with_what() {
    let words = words(&sheet(&run(), None));
    for said in [
        "within its limit settled",
        "leakage 193 ± 15 nA, 3.5 % of the limit (± at 95 %); at 25 °C, as read 179 nA",
        "limit 5.5 µA at 5 min after full voltage: 0.01CU floor 500 nA (default)",
        "capacitance 21.48 ± 0.21 µF by charge",
        "left measured discharged",
        "meter 6.3 nA 70 %",
        "test voltage 25 V",
        "cut-out above 550 µA in the soak",
        "meter log meter 7",
        "zero none measured",
        "software reststrom 0.1.0",
        "stripe marks PLUS &amp; &lt;not&gt; minus",
        "Keep it as far as leakage goes.",
        "licensed practice",
    ] {
        assert!(words.contains(said), "{said}: {words}");
    }
}

#[test]
fn the_curve_on_a_sheet_keeps_its_words_and_leaves_its_head_to_the_page() {
    let page = sheet(&run(), None);
    assert!(page.contains("viewBox=\"0 1450 14000 8450\""));
    assert!(page.contains(">\nsoak\n</text>"));
}

#[test]
fn the_zero_that_was_known_is_named_with_its_day() {
    let zero = Zero {
        station: "skarvik-bench".into(),
        taken: "2026-03-14T07:00:00Z".parse().unwrap(),
        current: amperes(1.2e-9),
        uncertainty: amperes(0.3e-9),
        voltage: volts(25.0),
        celsius: None,
    };
    let words = words(&sheet(&run(), Some(&zero)));
    assert!(words.contains("1.2 ± 0.3 nA at 25 V, taken 2026-03-14 07:00 UTC"), "{words}");
}

#[test]
fn a_part_that_nobody_saw_empty_is_said_to_be_charged() {
    let state = RunState::Interrupted {
        found: "2026-03-14T09:00:00Z".parse().unwrap(),
        note: "the mains failed".into(),
    };
    let words = words(&sheet(&Run { state, ..run() }, None));
    assert!(words.contains("left not known: treat it as charged"), "{words}");
    assert!(words.contains("leakage no reading"), "{words}");
}
