//! Bad input: a message with place, expected, found and what to do; exit 64; nothing energised.

#![expect(clippy::unwrap_used, reason = "what a test's hands find missing fails the test")]

mod rig;

use std::os::fd::OwnedFd;

use reststrom::simbench::{BenchOptions, Fault, Instrument, SupplyModel};
use rig::{Rig, part};
use rstest::rstest;

const C14: [&str; 5] = ["soak", "C14", "22uF", "25V", "tantalum"];

fn rig() -> Rig {
    Rig::holding(25.0, "C14")
}

/// What is said of a command that must be refused before anything is energised, with this rig's
/// folder and ports left out.
#[track_caller]
fn refused(rig: &Rig, words: &[&str]) -> String {
    refused_with(64, rig, words)
}

/// The same with another exit code.
#[track_caller]
fn refused_with(code: i32, rig: &Rig, words: &[&str]) -> String {
    let ended = rig.run(words);
    assert_eq!((ended.code, ended.stdout.as_str()), (Some(code), ""), "{ended:?}");
    assert_eq!(rig.times_on(), 0);
    let said = complaint(&ended.stderr);
    assert!(said.contains("error: ") && said.contains("\n help: "), "{said}");
    assert!(!rig.bench.look().output_on);
    said.replace(&rig.path("").display().to_string(), "")
        .replace(&format!("{}:", rig.bench.supply_port()), "<supply>:")
        .replace(&format!("{}:", rig.bench.meter_port()), "<meter>:")
}

/// What was said from the first error on.
fn complaint(said: &str) -> String {
    let lines: Vec<&str> = said.lines().skip_while(|line| !line.starts_with("error")).collect();
    lines.join("\n")
}

#[rstest]
#[case::an_unknown_unit("22uX 25V tantalum", "uX")]
#[case::a_negative_rating("22uF -25V tantalum", "-25V")]
#[case::a_rating_of_zero("22uF 0V tantalum", "0")]
#[case::a_capacitance_of_zero("0uF 25V tantalum", "0")]
#[case::no_voltage_at_all("22uF tantalum", "voltage")]
#[case::an_unknown_family("22uF 25V tantaline", "tantaline")]
fn a_part_that_cannot_be_is_refused(#[case] part: &str, #[case] found: &str) {
    let rig = rig();
    let said = refused(&rig, &["soak", part]);
    assert!(said.contains(found) && said.contains("expected"), "{said}");
    assert!(rig.bench.log().is_empty());
}

#[test]
fn an_unknown_unit_is_shown_with_what_was_expected() {
    insta::assert_snapshot!(refused(&rig(), &["soak", "22uX 25V tantalum"]), @r#"
    error: the word "22uX" does not read: expected a capacitance such as 22 µF or 4n7, came "22uX": "uX" is no unit of it
     help: write it as in 22 µF or 4n7
    "#);
}

#[test]
fn a_limit_that_does_not_read_is_asked_about_with_its_place_and_energises_nothing() {
    let rig = rig();
    let words = ["soak", "22uF 25V tantalum", "--limit", "0.01CU floor 3x @ 5min"];
    let ended = rig.run(&words);
    assert_eq!((ended.code, ended.stdout.as_str()), (Some(2), ""), "{ended:?}");
    assert!(rig.bench.log().is_empty());
    insta::assert_snapshot!(complaint(&ended.stderr), @r#"
    error: the limit can be read in more than one way or not at all
           0.01CU floor 3x @ 5min
                  ^
           - a word, sign or digit here is not understood or garbled
           - a calculation here is not understood
           perhaps 5.5 µA       0.01CU @ 5 min
     help: look at the sheet and type the one that is meant, as written here on the right, in quotes
    "#);
}

#[test]
fn a_rating_above_the_ceiling_is_refused() {
    let said = refused(&rig(), &["soak", "10uF 100V al-wet", "--acknowledge"]);
    insta::assert_snapshot!(said, @r"
    error: test voltage is 100 V, this station's ceiling is 60 V
     help: ask for a lower voltage with --voltage, or raise `ceiling` in the station file if this bench is built for it (SAFETY.md)
    error: test voltage is 100 V, the supply ends at 60 V
     help: ask for a lower voltage with --voltage; a part is then not judged to its sheet
    ");
}

#[test]
fn a_test_voltage_above_the_supplys_end_is_refused() {
    let rig = rig();
    rig.rewire("lapse", "ceiling = \"200 V\"\nlapse");
    let said = refused(&rig, &["soak", "10uF 100V al-wet", "--acknowledge"]);
    insta::assert_snapshot!(said, @r"
    error: test voltage is 100 V, the supply ends at 60 V
     help: ask for a lower voltage with --voltage; a part is then not judged to its sheet
    ");
}

#[test]
fn dangerous_voltage_is_refused_until_it_is_acknowledged() {
    let rig = rig();
    rig.rewire("lapse", "ceiling = \"200 V\"\nlapse");
    rig.rewire(
        "identity = \"SKARVIK,SIMULATED-SUPPLY\"\n",
        "identity = \"SKARVIK,SIMULATED-SUPPLY\"\n[supply.ability]\nmost_voltage = \"150 V\"\n\
         most_current = \"1 A\"\nvoltage_step = \"10 mV\"\ncurrent_step = \"100 µA\"\n\
         read_back_fraction = 0.0005\nread_back_fixed = \"10 mV\"\nsenses = \"at-terminals\"\n",
    );
    let said = refused(&rig, &["soak", "10uF 100V al-wet"]);
    insta::assert_snapshot!(said, @r"
    error: 100 V and 50 mJ in the part need to be acknowledged for this run
     help: read the cautions of `reststrom plan`, then repeat with --acknowledge
    ");
}

#[test]
fn a_missing_driver_is_named_with_those_that_there_are() {
    let rig = rig();
    rig.rewire("\"scpi-supply\"", "\"scpi-suply\"");
    insta::assert_snapshot!(refused(&rig, &C14), @r#"
    error: station.toml: no driver "scpi-suply": expected one of echoing-supply, frame-stream-meter, scpi-meter, scpi-supply, scpi-switch, terse-supply, text-stream-meter or the path of a .toml file
     help: `reststrom station example` prints a commented station file
    "#);
}

#[test]
fn a_driver_with_a_missing_word_is_named_with_the_word() {
    let rig = rig();
    let whole = include_str!("../drivers/scpi-supply.toml");
    let lacking = whole.replace("output_off = \"OUTP OFF\"\n", "");
    assert_ne!(whole, lacking);
    rig.write("terse.toml", &lacking);
    rig.rewire("\"scpi-supply\"", "\"terse.toml\"");
    insta::assert_snapshot!(refused(&rig, &C14), @r"
    error: terse.toml:18:1: missing field `output_off`
     help: `reststrom station example` prints a commented station file
    ");
}

#[test]
fn an_unknown_key_in_the_station_file_is_named_with_its_line() {
    let rig = rig();
    rig.rewire("lapse", "celing = \"50 V\"\nlapse");
    insta::assert_snapshot!(refused(&rig, &C14), @r"
    error: station.toml:3:1: unknown field `celing`, expected one of `name`, `simulated`, `lapse`, `ceiling`, `energy_bound_joule`, `safe_voltage`, `room`, `room_tolerance_kelvin`, `series_resistor`, `supply`, `meter`, `bleeder`, `bypass`, `scanner`
     help: `reststrom station example` prints a commented station file
    ");
}

#[test]
fn a_lapse_on_a_bench_that_is_not_simulated_is_refused() {
    let rig = rig();
    rig.rewire("simulated = true\n", "");
    insta::assert_snapshot!(refused(&rig, &C14), @r"
    error: station.toml: lapse = 25 needs simulated = true: a real bench can't hurry
     help: `reststrom station example` prints a commented station file
    ");
}

#[test]
fn a_station_file_that_is_not_there_is_named() {
    let rig = rig();
    let said = refused(&rig, &["soak", "22uF 25V tantalum", "--station", "nowhere.toml"]);
    insta::assert_snapshot!(said, @r"
    error: nowhere.toml: No such file or directory (os error 2)
     help: check the path and that you may read the file
    ");
}

#[test]
fn a_port_that_does_not_exist_is_named() {
    let rig = rig();
    rig.rewire(&format!("\"{}\"", rig.bench.meter_port()), "\"/dev/serial/by-id/no-such\"");
    insta::assert_snapshot!(refused(&rig, &C14), @r"
    error: /dev/serial/by-id/no-such: there is no such port
     help: plug the instrument in, or correct the port in the station file; /dev/serial/by-id has names that stay
    ");
}

#[test]
fn an_address_where_nobody_listens_is_named() {
    let rig = rig();
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    drop(listener);
    rig.rewire(&format!("\"{}\"", rig.bench.meter_port()), &format!("\"tcp:{address}\""));
    let said = refused(&rig, &C14).replace(&address.to_string(), "<address>");
    insta::assert_snapshot!(said, @r"
    error: tcp:<address>: can't be opened: Connection refused (os error 111)
     help: check cable, power and the line settings of the driver
    ");
}

#[test]
fn a_port_that_a_run_owns_is_refused_to_a_second_run_which_changes_nothing() {
    let rig = rig();
    let mut first = rig.start(&C14);
    first.reaches("soak");
    let second = rig.run(&C14);
    assert_eq!((second.code, second.stdout.as_str()), (Some(64), ""), "{second:?}");
    let said = second.stderr.replace(&rig.bench.supply_port(), "<supply>");
    insta::assert_snapshot!(complaint(&said), @r"
    error: <supply>: another program owns this port
     help: end the other program; after a crash the keeper frees the port once the part is discharged
    ");
    assert!(rig.bench.look().output_on, "the first run goes on");
    let ended = first.ends();
    assert_eq!(ended.code, Some(0), "{ended:?}");
    rig.is_left_safe();
}

#[rstest]
#[case::of_the_supply(Instrument::Supply)]
#[case::of_the_meter(Instrument::Meter)]
fn an_instrument_with_another_identity_is_refused(#[case] which: Instrument) {
    let rig = rig();
    rig.bench.inject(Fault::WrongIdentity(which));
    let said = refused_with(3, &rig, &C14);
    assert!(said.contains("answers \"ELSEWHERE,OTHER-INSTRUMENT,0002,1.0\", expected"), "{said}");
    let heard = rig.bench.log();
    let client = heard.iter().filter(|logged| logged.line != "*IDN?" && !logged.line.is_empty());
    let orders = client.filter(|logged| logged.speaker == reststrom::simbench::Speaker::Client);
    assert_eq!(orders.count(), 0, "{heard:?}");
}

#[test]
fn an_instrument_that_does_not_answer_is_named_with_what_was_sent() {
    let rig = rig();
    let (_nobody, port) = terminal();
    rig.rewire(&rig.bench.meter_port(), &port);
    let said = refused_with(3, &rig, &C14).replace(&format!("{port}:"), "<meter>:");
    insta::assert_snapshot!(said, @r#"
    error: <meter>: meter does not answer: no answer to "*IDN?\n", "" came
     help: check power, cable, baud rate and the end mark in the driver file; some USB ports need `dtr = true`
    "#);
}

/// A pseudo-terminal that nobody serves.
fn terminal() -> (OwnedFd, String) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
    (master, name)
}

#[test]
fn a_soak_too_short_for_a_reading_is_refused() {
    let said = refused(&rig(), &["soak", "22uF 25V tantalum", "--soak", "5s"]);
    insta::assert_snapshot!(said, @r"
    error: a soak of 5 s is too short, expected 20 s or more
     help: ask for a longer time with --soak or --dwell
    ");
}

#[test]
fn a_limit_below_what_the_meter_can_see_runs_but_is_warned_of() {
    let rig = rig();
    let plan = rig.run(&["plan", "100nF 63V polypropylene", "--voltage", "50V"]);
    assert_eq!(plan.code, Some(0), "{plan:?}");
    assert!(plan.stdout.contains("meter-too-coarse"), "{plan:?}");
    let coarse = Rig::holding(100.0, "C8");
    let ended = coarse.run(&["soak", "100nF 63V polypropylene", "--json"]);
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.stderr.contains("meter-too-coarse"), "{ended:?}");
    let object = ended.json();
    assert_eq!(object["verdict"], "undecided");
    assert_eq!(object["findings"][0], "meter-too-coarse");
    coarse.is_left_safe();
}

#[test]
fn a_supply_that_clips_below_the_test_voltage_never_gives_a_verdict_on_the_part() {
    let model =
        SupplyModel { most_voltage: reststrom::quantity::volts(20.0), ..SupplyModel::default() };
    let options = BenchOptions { lapse: 100.0, supply: model, ..BenchOptions::default() };
    let rig = Rig::on(options, &part("C14"));
    let ended = rig.run(&[&C14[..], &["--json"]].concat());
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert_eq!(ended.json()["verdict"], "untested");
    rig.is_left_safe();
}
