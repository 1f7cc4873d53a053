//! The parts of the demo are what they are said to be.

use std::collections::BTreeSet;

use rstest::rstest;

use super::*;
use crate::judge::{Finding, Verdict};

#[test]
fn every_part_has_a_clip_of_its_own_and_known_words() {
    let scenario = scenario().unwrap();
    let clips: BTreeSet<_> = scenario.parts.iter().map(|part| &part.clip).collect();
    assert_eq!(clips.len(), scenario.parts.len());
    for part in &scenario.parts {
        assert!(Verdict::from_tag(&part.truth.verdict).is_some(), "{part:?}");
        for finding in &part.truth.findings {
            assert!(Finding::from_tag(finding).is_some(), "{part:?}");
        }
    }
}

#[test]
fn the_scenario_is_wired_as_the_default_bench() {
    let wired = scenario().unwrap().bench;
    let options = BenchOptions::default();
    assert_eq!(ohms(wired.series_ohm), options.series);
    assert_eq!(wired.bleeder_ohm.map(ohms), options.bleeder);
}

#[rstest]
#[case::an_unknown_key("[bench]\nseries_ohm = 1.0\nwires = 3\n", "unknown field `wires`")]
#[case::a_missing_key("title = \"x\"\n", "missing field")]
#[case::an_unknown_law(
    "title = \"x\"\n[bench]\nseries_ohm = 1.0\n[[part]]\nclip = \"C1\"\nnote = \"\"\nwords = \"\"\n\
     truth = { verdict = \"within\", findings = [] }\n\
     physics = { rated_v = 5.0, leakage = { law = \"ohmic\", rated_ua = 1.0, b = 2.0 } }\n",
    "unknown field `b`"
)]
fn a_broken_scenario_is_refused_by_name(#[case] text: &str, #[case] reason: &str) {
    let error = Scenario::parse("trays/broken.toml", text).unwrap_err();
    assert_eq!(error.to_string(), "trays/broken.toml is not a scenario");
    let source = std::error::Error::source(&error).unwrap().to_string();
    assert!(source.contains(reason), "{source}");
}

#[rstest]
#[case::no_rating("rated_v = 0.0", "rated_v = 0")]
#[case::no_number("rated_v = 5.0\ncapacitance_uf = nan", "capacitance_uf = NaN")]
#[case::no_width(
    "rated_v = 5.0\nbursts = { per_minute = 1.0, charge_uc = 1.0, width_ms = -2.0 }",
    "bursts.width_ms = -2"
)]
#[case::no_slope(
    "rated_v = 5.0\nleakage = { law = \"steep\", there_ua = 1.0, at_v = 1.0, slope_v = 0.0 }",
    "leakage.slope_v = 0"
)]
fn a_number_that_no_part_can_have_is_refused(#[case] physics: &str, #[case] reason: &str) {
    let text = format!(
        "title = \"x\"\n[bench]\nseries_ohm = 1.0\n[[part]]\nclip = \"C1\"\nnote = \"\"\n\
         words = \"\"\ntruth = {{ verdict = \"within\", findings = [] }}\n\
         [part.physics]\n{physics}\n"
    );
    let error = Scenario::parse("tray.toml", &text).unwrap_err();
    let expected = format!("tray.toml: part C1 has {reason}, expected a number above 0");
    assert_eq!(error.to_string(), expected);
}

/// Takes a part of the tray up to `volts` in ten steps under 15 mA, and waits.
fn soaked(clip: &str, volts: f64, wait: f64) -> Look {
    let part = scenario().unwrap().part(clip).unwrap().physics.clone();
    let mut bench = ByHand::new(BenchOptions::default()).with(&part).on("0.015");
    for step in 1..=10 {
        bench.supply(&format!("VOLT {:.2}", volts * f64::from(step) / 10.0));
        bench.after(2.0);
    }
    let look = bench.after(wait);
    assert!(bench.0.violations.is_empty(), "{:?}", bench.0.violations);
    look
}

/// Limits from the family's rules (handbook §7): 0.01·C·U of what is printed on the part.
#[rstest]
#[case::sound_tantalum("C14", 25.0, 300.0, 5.5e-6, 0.02..0.06)]
#[case::leaky_tantalum("C15", 25.0, 300.0, 5.5e-6, 9.0..11.0)]
#[case::slow_aluminium("C31", 25.0, 120.0, 117.5e-6, 0.1..0.5)]
#[case::charged_aluminium("C16", 25.0, 120.0, 825e-6, 0.01..0.3)]
#[case::sound_aluminium("C17", 50.0, 120.0, 50e-6, 0.02..0.3)]
#[case::film_at_its_ten_volts("C8", 10.0, 60.0, 0.1e-9, 0.05..0.6)]
fn a_part_ends_at_its_share_of_the_limit(
    #[case] clip: &str,
    #[case] volts: f64,
    #[case] wait: f64,
    #[case] limit: f64,
    #[case] share: std::ops::Range<f64>,
) {
    let look = soaked(clip, volts, wait);
    near(look.part_voltage.value, volts, 0.02);
    let found = look.part_current.value / limit;
    assert!(share.contains(&found), "{found} of the limit");
}

#[test]
fn the_leaky_tantalum_hides_at_one_volt() {
    assert!(soaked("C15", 1.0, 300.0).part_current.value < 0.1e-6);
}

#[rstest]
#[case::held_below_its_rating("C21", 35.0, 20.0..22.0)]
#[case::broken_down("C23", 35.0, 0.0..2.0)]
#[case::shorted("C32", 16.0, 0.0..0.1)]
#[case::wrong_way_round("C33", 25.0, 1.2..5.0)]
fn a_bad_part_holds_the_supply_down(
    #[case] clip: &str,
    #[case] volts: f64,
    #[case] held: std::ops::Range<f64>,
) {
    let look = soaked(clip, volts, 60.0);
    assert!(held.contains(&look.part_voltage.value), "{look:?}");
    assert!(5e-3 < look.part_current.value, "{look:?}");
}

#[test]
fn the_reversed_part_conducts_at_five_per_cent_already() {
    // The gate of the handbook's pre-check, 0.02·C·U, is 2.5 µA there.
    assert!(5e-6 < soaked("C33", 1.25, 5.0).part_current.value);
}

#[test]
fn the_empty_clip_draws_no_charge() {
    let look = soaked("C22", 35.0, 10.0);
    assert!(look.part_current.value < 1e-9, "{look:?}");
}

#[test]
fn the_charged_part_still_holds_most_of_its_charge_after_ten_seconds() {
    let part = scenario().unwrap().part("C16").unwrap().physics.clone();
    let mut bench = ByHand::new(BenchOptions::default()).with(&part);
    let look = bench.after(10.0);
    assert!(8.0 < look.terminal_voltage.value, "{look:?}");
}
