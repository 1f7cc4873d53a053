//! What scripts rely on: JSON on standard output, complaints on standard error, exit codes.

#![expect(clippy::unwrap_used, reason = "what a test's hands find missing fails the test")]

mod rig;

use std::path::Path;

use reststrom::quantity::seconds;
use reststrom::simbench::{BenchOptions, Fault, Serve};
use rig::{Ended, PATIENCE, Rig, STATION, part, until};
use rstest::rstest;
use serde_json::Value;

/// Slow enough for a loaded machine to read the ramp densely.
const LAPSE: f64 = 20.0;
const C14: [&str; 4] = ["C14", "22µF", "25V", "tantalum"];

/// Words of a command with those of a part after the first.
fn words<'a>(command: &'a str, part: &[&'a str], rest: &[&'a str]) -> Vec<&'a str> {
    [&[command], part, rest].concat()
}

/// Fails unless a number is within a share of what it must be.
#[track_caller]
fn near(got: &Value, expected: f64, share: f64) {
    let got = got.as_f64().unwrap_or_else(|| panic!("expected {expected}, got {got}"));
    assert!((got - expected).abs() <= expected.abs() * share, "expected {expected}, got {got}");
}

fn keys(object: &Value) -> Vec<&str> {
    object.as_object().unwrap().keys().map(String::as_str).collect()
}

/// The contract's object of the pilot boat's C14 (handbook limit 0.01·C·U at 5 min; truth as in
/// the tray: 21.4 µF, 165 nA).
#[track_caller]
fn is_the_object_of_c14(object: &Value) {
    for key in [
        "run",
        "station",
        "simulated",
        "part",
        "limit",
        "verdict",
        "findings",
        "current",
        "confidence",
        "budget",
        "room",
        "in_circuit",
        "voltage_at_part_volt",
        "measured_capacitance_farad",
        "peak_current_ampere",
        "left",
        "advice",
    ] {
        assert!(object.get(key).is_some(), "no {key} in {object}");
    }
    assert_eq!(object["run"], "r1");
    assert_eq!(object["station"], STATION);
    assert_eq!(object["simulated"], true);
    assert_eq!(object["part"]["name"], "C14");
    assert_eq!(object["part"]["family"], "ta-mno2");
    near(&object["part"]["capacitance_farad"], 22e-6, 1e-9);
    near(&object["part"]["rated_volt"], 25.0, 1e-9);
    near(&object["limit"]["ampere"], 5.5e-6, 1e-9);
    near(&object["limit"]["reading_time_second"], 300.0, 1e-9);
    assert!(object["limit"]["rule"].as_str().unwrap().contains("CU"), "{object}");
    assert!(object["limit"]["reference_celsius"].is_number(), "{object}");
    assert_eq!(object["verdict"], "within");
    assert_eq!(object["findings"][0], "settled");
    // 165 nA of leakage and β·C·U·t^(−1) = 11 nA of absorption at 300 s.
    let truth = 165e-9 + 6e-3 * 21.4e-6 * 25.0 / 300.0;
    let got = object["current"]["ampere"].as_f64().unwrap();
    let spread = object["current"]["uncertainty_ampere"].as_f64().unwrap();
    // The meter's error on 100 µA is ±10 nA, evenly spread; ±1 K is ±7 nA with 18 K to a doubling:
    // 1.96·√(10² + 7²)/√3 is 14 nA.
    assert!((got - truth).abs() <= spread && spread < 14e-9, "{got} ± {spread}, truly {truth}");
    // The station says 25 °C, which is the limit's temperature: nothing is carried.
    near(&object["current"]["raw_ampere"], got, 1e-9);
    near(&object["confidence"], 0.95, 1e-9);
    near(&object["room"]["celsius"], 25.0, 1e-9);
    assert_eq!(object["budget"][0]["source"], "meter", "{object}");
    near(&object["current"]["at_second"], 300.0, 0.02);
    near(&object["voltage_at_part_volt"], 25.0, 0.01);
    // Counted in steps of the host's time, of which a step is many on the bench.
    near(&object["measured_capacitance_farad"], 21.4e-6, 0.15);
    assert!(1e-6 < object["peak_current_ampere"].as_f64().unwrap(), "{object}");
    assert_eq!(object["left"], "safe");
    assert!(object["advice"].as_str().unwrap().ends_with('.'), "{object}");
}

#[test]
fn a_soak_gives_the_contracts_object_and_show_runs_and_plot_agree_with_it() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = rig.run(&words("soak", &C14, &["--json"]));
    assert_eq!(ended.code, Some(0), "{ended:?}");
    let object = ended.json();
    is_the_object_of_c14(&object);
    rig.is_left_safe();
    assert_eq!(rig.json(&["show", "r1", "--json"]), object);
    let listed = rig.json(&["runs", "--json"]);
    assert_eq!(listed.as_array().map(Vec::len), Some(1));
    for key in keys(&object) {
        assert_eq!(listed[0].get(key), object.get(key), "{key}");
    }
    readings_have_the_contracts_columns(&rig);
    plots_are_written(&rig);
    let page = rig.run(&["show", "r1"]).stdout;
    assert!(page.contains("simulated") && page.contains("WITHIN"), "{page}");
}

fn readings_have_the_contracts_columns(rig: &Rig) {
    let ended = rig.run(&["show", "r1", "--readings", "csv"]);
    assert_eq!((ended.code, ended.stderr.as_str()), (Some(0), ""));
    let mut reader = csv::Reader::from_reader(ended.stdout.as_bytes());
    assert_eq!(
        reader.headers().unwrap(),
        vec!["time_second", "ampere", "volt", "range", "flags", "phase"]
    );
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let times: Vec<f64> = rows.iter().map(|row| row[0].parse().unwrap()).collect();
    assert!(times.is_sorted() && 320.0 < *times.last().unwrap(), "{:?}", times.last());
    let window: Vec<f64> = rows
        .iter()
        .filter(|row| row[4].contains("in-window"))
        .map(|row| row[1].parse().unwrap())
        .collect();
    assert!(10 < window.len() && window.iter().all(|ampere| (1e-7..3e-7).contains(ampere)));
    for phase in ["probe", "ramp", "soak", "bleed"] {
        assert!(rows.iter().any(|row| row[5] == *phase), "no {phase}");
    }
}

fn plots_are_written(rig: &Rig) {
    let png = rig.run(&["plot", "r1"]);
    assert_eq!(png.code, Some(0), "{png:?}");
    assert!(std::fs::read(rig.path("r1.png")).unwrap().starts_with(b"\x89PNG\r\n\x1a\n"));
    let svg = rig.run(&["plot", "r1", "--axes", "linear", "--out", "c14.svg"]);
    assert_eq!(svg.code, Some(0), "{svg:?}");
    let text = std::fs::read_to_string(rig.path("c14.svg")).unwrap();
    assert!(text.contains("<svg") && text.contains("simulated"), "{}", text.len());
}

#[test]
fn a_bench_behind_a_socket_gives_the_same_verdict_as_one_on_a_terminal() {
    let options = BenchOptions { lapse: LAPSE, serve: Serve::Loopback, ..BenchOptions::default() };
    let rig = Rig::on(options, &part("C14"));
    let ended = rig.run(&words("soak", &C14, &["--json"]));
    assert_eq!(ended.code, Some(0), "{ended:?}");
    is_the_object_of_c14(&ended.json());
    rig.is_left_safe();
}

#[test]
fn a_soak_without_json_ends_with_a_page_and_a_sentence_to_act_on() {
    let rig = Rig::holding(LAPSE, "C14");
    let asked = ["--soak", "60s", "--in-circuit", "timing 1M from 8V"];
    let ended = rig.run(&words("soak", &C14, &asked));
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert!(ended.stdout.contains("WITHIN") && ended.stdout.contains("Keep it"), "{ended:?}");
    assert!(ended.stderr.starts_with("CAUTION"), "{ended:?}");
    // Some 0.2 µA of the 8 µA that flow from 8 V through 1 MΩ (handbook §5.2).
    let object = rig.json(&["show", "r1", "--json"]);
    let current = object["current"]["ampere"].as_f64().unwrap();
    near(&object["in_circuit"]["timing_error"], current / 8e-6, 1e-6);
    assert!(ended.stdout.contains("in circuit   timing 1 MΩ from 8 V: takes"), "{ended:?}");
    for phase in ["probe", "ramp", "soak", "bleed", "safe"] {
        let told = ended.stderr.lines().any(|line| line.starts_with(phase));
        assert!(told, "no {phase} in {ended:?}");
    }
}

#[rstest]
#[case::a_part_that_leaks("C15", &["22uF", "25V", "tantalum"], 1, "over", "settled")]
#[case::an_empty_clip("C22", &["10uF", "35V", "tantalum"], 2, "untested", "no-contact")]
fn the_exit_code_tells_the_verdict(
    #[case] clip: &str,
    #[case] part: &[&str],
    #[case] code: i32,
    #[case] verdict: &str,
    #[case] finding: &str,
) {
    let rig = Rig::holding(LAPSE, clip);
    let ended = rig.run(&words("soak", part, &["--json"]));
    assert_eq!(ended.code, Some(code), "{ended:?}");
    let object = ended.json();
    assert_eq!((&object["verdict"], &object["findings"][0]), (&verdict.into(), &finding.into()));
    rig.is_left_safe();
}

#[test]
fn a_meter_that_goes_silent_ends_the_run_with_three_and_the_record_is_kept() {
    let rig = Rig::holding(LAPSE, "C14");
    let mut run = rig.start(&words("soak", &C14, &["--soak", "30min", "--json"]));
    run.reaches("soak");
    let later = rig.bench.look().time + seconds(2.0);
    until(PATIENCE, "readings in the soak", || later < rig.bench.look().time);
    rig.bench.inject(Fault::MeterSilent);
    let ended = run.ends();
    assert_eq!(ended.code, Some(3), "{ended:?}");
    let object = ended.json();
    assert_eq!((&object["verdict"], &object["left"]), (&"untested".into(), &"safe".into()));
    assert_eq!(object["findings"][0], "instrument-lost");
    assert!(object["advice"].as_str().unwrap().contains("meter"), "{object}");
    assert_eq!(rig.json(&["show", "r1", "--json"]), object);
    let readings = rig.run(&["show", "r1", "--readings", "csv"]).stdout;
    assert!(readings.contains(",soak"), "{}", readings.len());
    rig.is_left_safe();
}

#[rstest]
#[case::an_output_that_stays_on(Fault::SupplyOutputStuckOn)]
#[case::a_supply_that_falls_silent(Fault::SupplySilent)]
fn what_is_not_proven_off_ends_with_four(#[case] fault: Fault) {
    let rig = Rig::holding(LAPSE, "C14");
    let mut run = rig.start(&words("soak", &C14, &["--soak", "60s", "--json"]));
    run.reaches("soak");
    rig.bench.inject(fault);
    let ended = run.ends();
    assert_eq!(ended.code, Some(4), "{ended:?}");
    let object = ended.json();
    assert_eq!(object["left"], "locked-out");
    assert!(object["advice"].as_str().unwrap().starts_with("LOCKED OUT"), "{object}");
}

#[test]
fn a_plan_says_what_would_be_done_and_energises_nothing() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = rig.run(&words("plan", &C14, &[]));
    assert_eq!((ended.code, ended.stderr.as_str()), (Some(0), ""), "{ended:?}");
    insta::assert_snapshot!(ended.stdout, @r"
    CAUTION  polarity: stripe or bevel marks PLUS on solid tantalum
    CAUTION  a tantalum that gives way can burn: cover it with a metal tray, no paper nearby
    CAUTION  do not touch the clips before it says `safe`: off is not discharged
    CAUTION  software is not a protective device: follow SAFETY.md, local codes and your supply's manual

    part           C14 22 µF 25 V ta-mno2
    limit          5.5 µA at 5 min, from 0.01CU floor 500 nA (default for ta-mno2 (handbook §7), for want of the part's own sheet)
    energy         6.875 mJ in the full part
    probe          1 V for 10 s, conducts above 9.4 µA
    ramp           to 25 V in 10 s under 4.5 mA, over-voltage at 26.75 V, over-current at 9 mA
    soak           5 min at full voltage, read at 5 min, cut out above 550 µA
    meter          10 mA on the way up, 100 µA in the soak; 1.01 kΩ in series
    kept           every reading, about 3000: 300 kB
    room           25 °C ± 1 K, carried to the limit's 25 °C; judged at 95 %
    discharge      through 10 kΩ to below 5 V, 10 s more, looked at again after 30 s
    time           about 376 s

    Nothing has been energised. `reststrom soak` does this at station terne-rig (simulated).
    ");
    let object = rig.json(&words("plan", &C14, &["--json"]));
    near(&object["test_volt"], 25.0, 1e-9);
    near(&object["limit_ampere"], 5.5e-6, 1e-9);
    // C·U²/2.
    near(&object["energy_joule"], 22e-6 * 25.0 * 25.0 / 2.0, 1e-9);
    assert_eq!(object["simulated"], true);
    assert!(!object["cautions"].as_array().unwrap().is_empty());
    assert!(rig.bench.log().is_empty(), "{:?}", rig.bench.log());
}

#[test]
fn room_and_confidence_are_taken_from_the_command() {
    let rig = Rig::holding(LAPSE, "C14");
    let asked =
        ["--room", "19C ±0.5K", "--confidence", "99%", "--in-circuit", "coupling into 470k"];
    let page = rig.run(&words("plan", &C14, &asked)).stdout;
    let line = "19 °C ± 0.5 K, carried to the limit's 25 °C; judged at 99 %";
    assert!(page.contains(line), "{page}");
    // 5.5 µA on 470 kΩ.
    assert!(page.contains("at its limit it shifts the bias by 2.585 V"), "{page}");
    let object = rig.json(&words("plan", &C14, &[&asked[..], &["--json"]].concat()));
    near(&object["confidence"], 0.99, 1e-9);
    near(&object["room_celsius"], 19.0, 1e-9);
}

#[rstest]
#[case::a_room_without_a_unit(&["--room", "23"], "it has no unit")]
#[case::a_duty_that_nobody_knows(&["--in-circuit", "smoothing"], "coupling into 470k")]
#[case::a_confidence_of_certainty(&["--confidence", "100%"], "from 90% to 99.9%")]
fn a_room_or_a_confidence_that_makes_no_sense_is_bad_usage(
    #[case] asked: &[&str],
    #[case] message: &str,
) {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = rig.run(&words("plan", &C14, asked));
    assert_eq!((ended.code, ended.stdout.as_str()), (Some(64), ""), "{ended:?}");
    assert!(ended.stderr.contains(message), "{ended:?}");
}

#[test]
fn a_limit_is_told_with_its_rule_and_its_source() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = rig.run(&words("limit", &C14, &[]));
    assert_eq!((ended.code, ended.stderr.as_str()), (Some(0), ""), "{ended:?}");
    insta::assert_snapshot!(ended.stdout, @r"
    22 µF 25 V ta-mno2: 5.5 µA after 5 min at 25 V and 25 °C
      formula   0.01CU floor 500 nA
      in words  0.01 per second times C·U, which is 550 µC, but at least 500 nA
      source    default for ta-mno2 (handbook §7), for want of the part's own sheet
    ");
    let object = rig.json(&words("limit", &C14, &["--json"]));
    near(&object["limits"][0]["ampere"], 5.5e-6, 1e-9);
    let rule = ["--limit", "0.02CU floor 3uA @ 2min", "--json"];
    let object = rig.json(&words("limit", &["10uF", "16V", "al-wet"], &rule));
    near(&object["limits"][0]["ampere"], 0.02 * 10e-6 * 16.0, 1e-9);
    near(&object["limits"][0]["reading_time_second"], 120.0, 1e-9);
}

#[test]
fn a_station_is_looked_at_without_energising_anything() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = rig.run(&["station", "check"]);
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert!(ended.stdout.contains("SKARVIK,SIMULATED-SUPPLY,0001,1.0"), "{ended:?}");
    assert_eq!(rig.times_on(), 0);
    rig.is_left_safe();
}

#[test]
fn the_example_of_a_station_is_printed() {
    let rig = Rig::holding(LAPSE, "C14");
    let ended = rig.run(&["station", "example"]);
    assert_eq!((ended.code, ended.stderr.as_str()), (Some(0), ""));
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/station-example.toml");
    assert_eq!(ended.stdout, std::fs::read_to_string(shipped).unwrap());
}

#[rstest]
#[case::an_unknown_word(&["soke"])]
#[case::nothing_at_all(&[])]
#[case::a_run_that_is_not_on_record(&["show", "r7"])]
#[case::no_run_at_all(&["show", "seventeen"])]
#[case::a_verdict_that_does_not_exist(&["runs", "--verdict", "good"])]
fn bad_usage_ends_with_64_and_speaks_on_standard_error_alone(#[case] asked: &[&str]) {
    let rig = Rig::holding(LAPSE, "C14");
    let ended: Ended = rig.run(asked);
    assert_eq!((ended.code, ended.stdout.as_str()), (Some(64), ""), "{ended:?}");
    assert!(!ended.stderr.is_empty());
}
