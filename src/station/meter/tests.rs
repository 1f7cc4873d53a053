//! What a meter that is asked says and hears, line by line.

use rstest::rstest;

use super::asked::Ask;
use super::*;
use crate::quantity::seconds;
use crate::station::Outgoing;
use crate::station::driver::{read_meter, shipped};

fn meter(sensed_by: SensedBy) -> Meter {
    let driver = read_meter("scpi-meter.toml", shipped("scpi-meter").unwrap()).unwrap();
    let mut meter = Meter::open(&driver, sensed_by, seconds(0.0));
    expect(&mut meter, "*IDN?");
    meter.receive(b"MAKER,METER,1,1\n", seconds(0.1));
    answer(&mut meter, "SYST:ERR?", "0");
    meter.select(RangeIndex(1));
    meter
}

#[track_caller]
fn expect(meter: &mut Meter, line: &str) {
    let bytes = meter.write(seconds(0.1)).map(|bytes| String::from_utf8(bytes).unwrap());
    assert_eq!(bytes.as_deref().map(str::trim), Some(line));
}

#[track_caller]
fn answer(meter: &mut Meter, question: &str, reply: &str) -> Vec<MeterSays> {
    expect(meter, question);
    meter.receive(format!("{reply}\n").as_bytes(), seconds(0.1))
}

fn scpi_meter() -> MeterAbility {
    read_meter("scpi-meter.toml", shipped("scpi-meter").unwrap()).unwrap().ability
}

fn across(ohm: f64) -> SensedBy {
    SensedBy::Resistor(Sense { resistance: ohms(ohm), tolerance: 0.001 })
}

// Handbook §3.3: leaving out 10 MΩ costs 0.01 % at 1 kΩ, 1 % at 100 kΩ, 9 % at 1 MΩ. What is
// known to 2 % costs a fiftieth of that.
#[rstest]
#[case::one_kilohm(1e3, 1e-4)]
#[case::hundred_kilohms(1e5, 0.99e-2)]
#[case::one_megohm(1e6, 9.09e-2)]
fn the_input_resistance_counts_by_its_share(#[case] ohm: f64, #[case] share: f64) {
    let mut ability = scpi_meter();
    let known = conversion(&ability, across(ohm));
    assert!((known.input / (share * 0.02) - 1.0).abs() < 2e-3, "{known:?}");
    assert!((known.resistor - (1.0 - share) * 0.001).abs() < 1e-6, "{known:?}");
    ability.input_resistance = None;
    let unknown = conversion(&ability, across(ohm));
    // Not corrected for, it is wrong by R_s/R_in.
    assert!((unknown.input / (ohm / 10e6) - 1.0).abs() < 1e-9, "{unknown:?}");
}

#[test]
fn a_shunt_has_its_error_in_its_ranges_alone() {
    let ability = scpi_meter();
    assert_eq!(conversion(&ability, SensedBy::Shunt), Conversion::default());
}

fn on_shunt() -> Meter {
    let mut meter = meter(SensedBy::Shunt);
    expect(&mut meter, "CONF:CURR:DC 1E-4");
    expect(&mut meter, "CURR:DC:NPLC 5");
    assert_eq!(answer(&mut meter, "CURR:DC:RANG?", "1.0E-04"), []);
    meter
}

#[test]
fn a_reading_counts_on_the_range_that_was_read_back() {
    let says = answer(&mut on_shunt(), "READ?", "+1.234E-06");
    let sample = Sample::Value(amperes(1.234e-6));
    assert_eq!(says, [MeterSays::Current(sample, RangeIndex(1))]);
}

#[test]
fn the_reading_under_way_at_a_range_change_counts_on_the_old_range() {
    let mut meter = on_shunt();
    expect(&mut meter, "READ?");
    meter.select(RangeIndex(3));
    let says = meter.receive(b"-9.9E37\n", seconds(0.1));
    let overload = Sample::Overload { negative: true };
    assert_eq!(says, [MeterSays::Current(overload, RangeIndex(1))]);
    expect(&mut meter, "CONF:CURR:DC 1E-2");
}

#[test]
fn a_meter_that_restarted_is_not_read_before_it_has_its_range_again() {
    let mut meter = on_shunt();
    let Kind::Asked(asked) = &mut meter.0 else { panic!("streams") };
    asked.session.say(Outgoing::asking("READ?".into(), Ask::Read(asked.wanted)));
    meter.receive(b"READY\n", seconds(0.2));
    assert_eq!(meter.write(seconds(2.5)), Some(b"*IDN?\n".to_vec()));
    meter.receive(b"MAKER,METER,1,1\n", seconds(2.5));
    assert_eq!(meter.write(seconds(2.5)), Some(b"SYST:ERR?\n".to_vec()));
    meter.receive(b"0\n", seconds(2.5));
    assert_eq!(meter.write(seconds(2.5)), Some(b"CONF:CURR:DC 1E-4\n".to_vec()));
}

#[test]
fn a_range_that_was_not_taken_is_told() {
    let mut meter = meter(SensedBy::Shunt);
    expect(&mut meter, "CONF:CURR:DC 1E-4");
    expect(&mut meter, "CURR:DC:NPLC 5");
    let says = answer(&mut meter, "CURR:DC:RANG?", "1.0E-01");
    assert!(matches!(&says[..], [MeterSays::Disturbed(what)] if what.contains("0.0001 A")));
}

#[test]
fn the_end_of_a_range_is_an_overload_and_so_is_a_number_beyond() {
    for reply in ["9.96E-05", "9.9E37", "9.9E+03"] {
        let says = answer(&mut on_shunt(), "READ?", reply);
        let overload = Sample::Overload { negative: false };
        assert_eq!(says, [MeterSays::Current(overload, RangeIndex(1))], "{reply}");
    }
}

#[test]
fn volts_across_a_resistor_become_a_current_with_the_input_beside_it() {
    // 1 mV across 1 MΩ with 10 MΩ beside it: 1 nA + 0.1 nA (handbook §3.3).
    let mut meter = meter(across(1e6));
    expect(&mut meter, "CONF:VOLT:DC 1E0");
    expect(&mut meter, "VOLT:DC:NPLC 5");
    answer(&mut meter, "VOLT:DC:RANG?", "1.0");
    let says = answer(&mut meter, "READ?", "0.001");
    let [MeterSays::Current(Sample::Value(current), _)] = says[..] else { panic!("{says:?}") };
    assert!((current.value - 1.1e-9).abs() < 1e-15, "{current:?}");
}

#[test]
fn an_amperes_suffix_on_a_voltage_range_is_not_taken() {
    let mut meter = meter(across(1e6));
    expect(&mut meter, "CONF:VOLT:DC 1E0");
    expect(&mut meter, "VOLT:DC:NPLC 5");
    assert_eq!(answer(&mut meter, "VOLT:DC:RANG?", "1.0 A"), []);
    assert_eq!(meter.resyncs(), 1);
}

#[test]
fn after_a_restart_the_range_is_told_again() {
    let mut meter = on_shunt();
    expect(&mut meter, "READ?");
    meter.pass(seconds(5.0));
    assert!(meter.write(seconds(8.0)).is_some());
    meter.receive(b"MAKER,METER,1,1\n", seconds(8.1));
    let mut line = || String::from_utf8(meter.write(seconds(8.2)).unwrap()).unwrap();
    assert_eq!(line(), "SYST:ERR?\n");
    meter.receive(b"0\n", seconds(8.2));
    assert_eq!(meter.write(seconds(8.3)), Some(b"CONF:CURR:DC 1E-4\n".to_vec()));
}
