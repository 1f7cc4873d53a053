//! Each fault does what it says.

use super::*;

/// A bench at 10 V on a sound part.
fn at_ten_volts() -> ByHand {
    let part = Physics::capacitor(farads(10e-6), volts(25.0));
    let mut bench = ByHand::ideal().with(&part).on("0.1");
    bench.supply("VOLT 10");
    bench.after(1.0);
    bench
}

#[test]
fn a_silent_instrument_does_nothing_and_says_nothing() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::SupplySilent);
    assert_eq!(bench.supply("*IDN?"), "");
    bench.supply("OUTP OFF");
    assert!(bench.after(1.0).output_on);
    bench.meter("READ?");
    bench.0.suffer(Fault::MeterSilent);
    bench.after(1.0);
    assert!(bench.0.say(Instrument::Meter).is_empty());
}

#[test]
fn a_frozen_meter_repeats_itself_while_the_part_charges() {
    let mut bench = at_ten_volts();
    bench.meter("CONF:CURR 0.1");
    bench.0.suffer(Fault::MeterFrozen);
    let first = bench.read();
    bench.supply("VOLT 20");
    assert!((bench.read() - first).abs() < f64::EPSILON);
}

#[test]
fn a_meter_without_a_number_tells_the_mark_or_a_word() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::MeterNaN);
    near(bench.read(), 9.91e37, 1e-9);
    bench.0.suffer(Fault::MeterErrorWord);
    bench.meter("READ?");
    bench.after(1.0);
    assert_eq!(said(&bench.0.say(Instrument::Meter)), "Err");
}

#[test]
fn a_meter_without_overload_stands_at_its_range_end() {
    let short = Physics { short_ohm: Some(1.0), ..Physics::nothing(volts(10.0)) };
    let mut bench = ByHand::ideal().with(&short).on("0.1");
    bench.supply("VOLT 10");
    bench.meter("CONF:CURR 1e-3");
    bench.0.suffer(Fault::MeterWithoutOverload);
    bench.after(1.0);
    near(bench.read(), 1e-3, 1e-9);
}

#[test]
fn a_late_answer_comes_after_the_next_question() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::Late(Instrument::Supply, seconds(1.3)));
    assert_eq!(bench.supply("MEAS:VOLT?"), "");
    bench.after(1.05);
    assert_eq!(bench.supply("CURR?"), "");
    bench.after(0.25);
    assert_eq!(said(&bench.0.say(Instrument::Supply)), "10.000");
    bench.after(1.05);
    assert_eq!(said(&bench.0.say(Instrument::Supply)), "0.1000");
}

#[test]
fn a_supply_that_needs_a_gap_drops_the_line_that_comes_too_soon() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::NeedsGap(Instrument::Supply, seconds(0.12)));
    bench.after(1.0);
    assert_eq!(bench.supply("VOLT?"), "10.000");
    bench.after(0.03);
    bench.supply("OUTP OFF");
    assert!(bench.after(0.2).output_on);
    bench.supply("OUTP OFF");
    assert!(!bench.after(0.0).output_on);
}

#[test]
fn a_stuck_relay_keeps_the_voltage_while_the_supply_tells_off() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::SupplyOutputStuckOn);
    bench.supply("OUTP OFF");
    assert_eq!(bench.supply("OUTP?"), "0");
    let look = bench.after(5.0);
    assert!(look.output_on);
    near(look.terminal_voltage.value, 10.0, 1e-6);
}

#[test]
fn an_ignored_off_order_is_ignored_once() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::OffIgnoredOnce);
    bench.supply("OUTP OFF");
    assert_eq!(bench.supply("OUTP?"), "1");
    bench.supply("OUTP OFF");
    assert_eq!(bench.supply("OUTP?"), "0");
}

#[test]
fn an_output_that_comes_back_does_so_at_its_time() {
    let mut bench = at_ten_volts();
    bench.supply("OUTP OFF");
    let back = bench.0.now() + 5.0;
    bench.0.schedule(back, Fault::SupplyOutputComesOn);
    assert!(!bench.after(4.99).output_on);
    assert!(bench.after(0.02).output_on);
}

#[test]
fn a_trip_latches_and_may_be_denied() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::SupplyTripped);
    assert_eq!(bench.supply("OUTP?;:VOLT:PROT:TRIP?"), "0;1");
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::SupplyTrippedTellsOn);
    assert_eq!(bench.supply("OUTP?;:VOLT:PROT:TRIP?"), "1;1");
    assert!(!bench.after(0.0).output_on);
}

#[test]
fn a_clipped_set_point_reads_back_clipped() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::SetPointClipped(volts(12.0)));
    bench.supply("VOLT 15");
    assert_eq!(bench.supply("VOLT?"), "12.000");
    assert!(bench.supply("SYST:ERR?").starts_with("-222,"));
}

#[test]
fn a_turned_current_knob_lets_more_through() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::LimitTurned(amperes(0.5)));
    assert_eq!(bench.supply("CURR?"), "0.5000");
}

#[test]
fn mending_ends_every_fault_of_the_instruments() {
    let mut bench = at_ten_volts();
    for fault in [
        Fault::SupplySilent,
        Fault::MeterSilent,
        Fault::MeterNaN,
        Fault::OffIgnoredOnce,
        Fault::WrongIdentity(Instrument::Supply),
        Fault::Late(Instrument::Supply, seconds(5.0)),
        Fault::NeedsGap(Instrument::Supply, seconds(5.0)),
    ] {
        bench.0.suffer(fault);
    }
    bench.0.mend();
    assert_eq!(bench.supply("*IDN?"), "SKARVIK,SIMULATED-SUPPLY,0001,1.0");
    assert!(bench.read() < 1.0);
    bench.supply("OUTP OFF");
    assert!(!bench.after(0.0).output_on);
}

#[test]
fn a_turned_knob_changes_set_point_and_voltage() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::KnobTurned(volts(11.0)));
    assert_eq!(bench.supply("VOLT?"), "11.000");
    near(bench.after(1.0).terminal_voltage.value, 11.0, 1e-6);
}

#[test]
fn a_restarting_supply_is_deaf_and_wakes_off_with_its_power_on_bit() {
    let mut bench = at_ten_volts();
    bench.supply("*ESR?");
    bench.0.suffer(Fault::SupplyRestarts);
    assert_eq!(bench.supply("*IDN?"), "");
    assert!(!bench.after(4.1).output_on);
    assert_eq!(bench.supply("*ESR?;:VOLT?;:CURR?"), "128;0.000;1.0000");
}

#[test]
fn a_stranger_answers_with_another_name() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::WrongIdentity(Instrument::Meter));
    assert_eq!(bench.meter("*IDN?"), "ELSEWHERE,OTHER-INSTRUMENT,0002,1.0");
    assert_eq!(bench.supply("*IDN?"), "SKARVIK,SIMULATED-SUPPLY,0001,1.0");
}

#[test]
fn a_clip_that_falls_off_is_no_broken_rule() {
    let mut bench = at_ten_volts();
    bench.0.suffer(Fault::ClipFallsOff);
    let look = bench.after(1.0);
    assert!(!look.contact);
    near(look.part_voltage.value, 10.0, 1e-6);
    assert!(bench.0.violations.is_empty());
}
