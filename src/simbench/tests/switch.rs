//! The switch: its words, the parts behind its relays, the rules that are watched.

use rstest::rstest;

use super::*;

fn sound() -> Physics {
    Physics::capacitor(farads(10e-6), volts(25.0))
}

/// An ideal bench with a switch of three channels and a sound part on each of the first two.
fn switched() -> ByHand {
    let mut bench = ByHand::new(BenchOptions { switch: Some(SwitchModel::of(3)), ..ideal() });
    bench.0.clip_in_at(101, &sound());
    bench.0.clip_in_at(102, &sound());
    bench
}

/// With the part on channel 101 at this voltage and the output off again.
fn charged(volt: f64) -> ByHand {
    let mut bench = switched();
    bench.switch("ROUT:CLOS (@101)");
    bench = bench.on("0.1");
    bench.supply(&format!("VOLT {volt}"));
    bench.after(1.0);
    bench.supply("OUTP OFF");
    bench.after(0.1);
    bench
}

fn volt_at(bench: &ByHand, channel: u32) -> f64 {
    bench.0.look_at(channel).unwrap().part_voltage.value
}

#[rstest]
#[case::short("ROUT:CLOS (@102)", "ROUT:CLOS? (@101,102,103)", "0,1,0")]
#[case::long("ROUTE:CLOSE (@103)", "ROUTE:CLOSE? (@103)", "1")]
#[case::asked_for_open("ROUT:CLOS (@102)", "ROUT:OPEN? (@101,102)", "1,0")]
#[case::listed("ROUT:CLOS (@102)", "ROUT:CLOS:STAT?", "(@102)")]
#[case::opened_again("ROUT:CLOS (@102);:ROUT:OPEN:ALL", "ROUT:CLOS:STAT?", "(@)")]
#[case::no_such_channel("ROUT:CLOS (@104)", "SYST:ERR?", "-224,\"Illegal parameter value\"")]
#[case::no_list("ROUT:CLOS 101", "SYST:ERR?", "-104,\"Data type error\"")]
#[case::a_range("ROUT:CLOS (@101:103)", "SYST:ERR?", "-171,\"Invalid expression\"")]
fn the_switch_understands(#[case] order: &str, #[case] question: &str, #[case] answer: &str) {
    let mut bench = switched();
    bench.switch(order);
    assert_eq!(bench.switch(question), answer);
}

#[test]
fn only_the_part_behind_the_closed_relay_is_charged() {
    let mut bench = charged(4.0);
    assert!((volt_at(&bench, 101) - 4.0).abs() < 0.01);
    assert!(volt_at(&bench, 102).abs() < 1e-9);
    bench.switch("ROUT:OPEN (@101)");
    assert!(bench.0.violations.is_empty(), "{:?}", bench.0.violations);
}

#[test]
fn a_part_behind_an_open_relay_keeps_its_charge_and_leaks_by_itself() {
    let mut bench = switched();
    let leakage = Some(Leakage::Ohmic { rated_ua: 2.5 });
    bench.0.clip_in_at(103, &Physics { leakage, charged_v: 4.0, ..sound() });
    // 25 V / 2.5 µA = 10 MΩ: with 10 µF a time constant of 100 s.
    bench.after(100.0);
    near(volt_at(&bench, 103), 4.0 / std::f64::consts::E, 0.01);
    bench.switch("ROUT:CLOS (@103)");
    bench.after(100.0);
    near(volt_at(&bench, 103), 4.0 / std::f64::consts::E.powi(2), 0.02);
}

#[test]
fn a_part_left_charged_behind_its_relay_is_found() {
    let mut bench = charged(20.0);
    bench.switch("ROUT:OPEN:ALL");
    assert_eq!(bench.0.violations, ["at 1.100 s: the part on channel 101 was left at 20.0 V"]);
    bench.0.unclip_at(101);
    assert!(bench.0.violations[1].ends_with("channel 101 was unclipped at 20.0 V"));
}

#[test]
fn a_relay_that_moves_with_the_output_on_is_found() {
    let mut bench = switched().on("0.1");
    bench.switch("ROUT:CLOS (@101)");
    assert_eq!(
        bench.0.violations,
        ["at 0.000 s: the relay of channel 101 moved with the output on"]
    );
}

#[test]
fn a_relay_that_moves_under_current_is_found() {
    let options = BenchOptions { bleeder: Some(ohms(100.0)), ..ideal() };
    let mut bench = ByHand::new(BenchOptions { switch: Some(SwitchModel::of(1)), ..options });
    bench.0.clip_in(&Physics { charged_v: 4.0, ..sound() });
    bench.switch("ROUT:CLOS (@101)");
    bench.after(1e-3);
    bench.switch("ROUT:OPEN (@101)");
    // 4 V less a tenth of a time constant, across 1.1 kΩ.
    assert_eq!(bench.0.violations.len(), 1, "{:?}", bench.0.violations);
    assert!(bench.0.violations[0].contains("channel 101 moved at 0.003"));
}

#[test]
fn two_channels_closed_at_once_are_found() {
    let mut bench = switched();
    bench.switch("ROUT:CLOS (@101)");
    bench.switch("ROUT:CLOS (@102)");
    assert_eq!(bench.0.violations, ["at 0.000 s: channels {101, 102} are closed at once"]);
}

#[test]
fn a_welded_relay_stays_closed_and_says_so() {
    let mut bench = charged(4.0);
    bench.0.suffer(Fault::Switch(SwitchFault::Welded(101)));
    bench.switch("ROUT:OPEN (@101)");
    assert_eq!(bench.switch("ROUT:CLOS? (@101)"), "1");
    assert!(bench.0.look_at(101).unwrap().contact);
}

#[test]
fn a_switch_that_restarts_drops_its_part_with_the_charge_in_it() {
    let mut bench = charged(20.0);
    bench.0.suffer(Fault::Switch(SwitchFault::Restarts));
    assert_eq!(bench.switch("ROUT:CLOS? (@101)"), "");
    bench.after(5.0);
    assert_eq!(bench.switch("ROUT:CLOS? (@101)"), "0");
    assert!(19.0 < volt_at(&bench, 101));
    assert!(bench.0.violations.is_empty(), "{:?}", bench.0.violations);
}

#[test]
fn a_clip_that_fell_off_stays_off_behind_its_relay() {
    let mut bench = switched();
    bench.0.clip_in_at(101, &Physics { falls_off_s: Some(1.0), ..sound() });
    bench.after(2.0);
    bench.switch("ROUT:CLOS (@101)");
    assert!(!bench.after(0.1).contact);
    bench.switch("ROUT:OPEN (@101)");
    bench.switch("ROUT:CLOS (@101)");
    assert!(!bench.after(0.1).contact);
}

#[test]
fn a_switch_is_served_on_a_port_of_its_own() {
    let options = BenchOptions { switch: Some(SwitchModel::of(20)), ..BenchOptions::default() };
    let bench = Bench::start(options).unwrap();
    let mut client = Client::open(&bench.switch_port().unwrap());
    assert_eq!(client.ask("*IDN?"), "SKARVIK,SIMULATED-SWITCH,0001,1.0");
    client.tell("ROUT:CLOS (@120)");
    assert_eq!(client.ask("ROUT:CLOS? (@119,120)"), "0,1");
    assert_eq!(bench.closed_channels(), [120]);
    assert!(bench.look_at(121).is_none());
}
