//! What the instruments answer.

use proptest::prelude::*;
use rstest::rstest;

use super::*;

#[rstest]
#[case::identity("*IDN?", "SKARVIK,SIMULATED-SUPPLY,0001,1.0")]
#[case::short_form("VOLT 5.10;:VOLT?", "5.100")]
#[case::long_form(":SOURce:VOLTage:LEVel:IMMediate:AMPLitude 7;:VOLTage?", "7.000")]
#[case::small_letters("volt 3;:volt?", "3.000")]
#[case::rounded_to_the_step("VOLT 5.123;:VOLT?", "5.120")]
#[case::exponent("CURR 1.25E-2;:CURR?", "0.0125")]
#[case::rounded_to_a_zero_limit("CURR 0.00004;:CURR?", "0.0000")]
#[case::over_voltage("VOLT:PROT 27.5;:SOUR:VOLT:PROT:LEV?", "27.500")]
#[case::over_current("CURR:PROT 0.05;:CURR:PROT?", "0.0500")]
#[case::nothing_tripped("VOLT:PROT:TRIP?;:CURR:PROT:TRIP?", "0;0")]
#[case::output_by_number("OUTP 1;:OUTP?", "1")]
#[case::output_by_word("OUTP ON;:OUTP OFF;:OUTP:STAT?", "0")]
#[case::no_error("SYST:ERR?", "0,\"No error\"")]
#[case::power_on_event("*ESR?", "128")]
#[case::complete("*OPC?", "1")]
#[case::remote_is_taken("SYST:REM;:SYST:ERR?", "0,\"No error\"")]
fn the_supply_answers(#[case] line: &str, #[case] answer: &str) {
    assert_eq!(ByHand::ideal().supply(line), answer);
}

#[rstest]
#[case::unknown_word("FROB 1", -113)]
#[case::unknown_question("VOLT:FROB?", -113)]
#[case::too_high_a_voltage("VOLT 63", -222)]
#[case::negative_voltage("VOLT -1", -222)]
#[case::too_high_a_current("CURR 2", -222)]
#[case::no_number("VOLT NAN", -222)]
#[case::missing_number("VOLT", -109)]
#[case::too_many_numbers("VOLT 1,2", -108)]
#[case::glued_lines("VOLT 25.0OUTP OFF", -131)]
#[case::question_without_mark("MEAS:VOLT", -113)]
fn the_supply_queues_an_error_and_changes_nothing(#[case] line: &str, #[case] code: i32) {
    let mut bench = ByHand::ideal();
    bench.supply("VOLT 5;:OUTP ON");
    assert_eq!(bench.supply(line), "");
    let error = bench.supply("SYST:ERR?");
    assert!(error.starts_with(&format!("{code},")), "{error}");
    assert_eq!(bench.supply("VOLT?;:OUTP?;:SYST:ERR?"), "5.000;1;0,\"No error\"");
}

#[rstest]
#[case::range_by_conf("CONF:CURR 1e-5;:CONF?", "\"CURR +1.000000E-05\"")]
#[case::volts_by_conf("CONF:VOLT:DC 0.5;:CONF?", "\"VOLT +1.000000E+00\"")]
#[case::next_range_up("CURR:RANG 2e-4;:SENS:CURR:DC:RANG:UPP?", "+1.000000E-03")]
#[case::automatic("CURR:RANG:AUTO ON;:CURR:RANG:AUTO?", "1")]
#[case::a_range_ends_automatic("CURR:RANG:AUTO ON;:CURR:RANG 0.1;:CURR:RANG:AUTO?", "0")]
#[case::aperture("SENS:CURR:NPLC 1;:CURR:NPLC?", "+1.000000E+00")]
#[case::range_too_high("CURR:RANG 3;:SYST:ERR?", "")]
fn the_meter_answers(#[case] line: &str, #[case] answer: &str) {
    assert_eq!(ByHand::ideal().meter(line), answer);
}

#[test]
fn an_error_queue_that_overflows_says_so_last() {
    let mut bench = ByHand::ideal();
    for _ in 0..20 {
        bench.supply("FROB");
    }
    let errors: Vec<String> = (0..17).map(|_| bench.supply("SYST:ERR?")).collect();
    assert!(errors[..15].iter().all(|error| error.starts_with("-113,")), "{errors:?}");
    assert!(errors[15].starts_with("-350,"), "{errors:?}");
    assert_eq!(errors[16], "0,\"No error\"");
}

#[test]
fn events_are_read_once_and_reset_does_not_clear_errors() {
    let mut bench = ByHand::ideal();
    bench.supply("FROB");
    bench.supply("*RST");
    assert_eq!(bench.supply("*ESR?"), "160");
    assert_eq!(bench.supply("*ESR?"), "0");
    assert!(bench.supply("SYST:ERR?").starts_with("-113,"));
    bench.supply("FROB");
    bench.supply("*CLS");
    assert_eq!(bench.supply("SYST:ERR?"), "0,\"No error\"");
}

#[test]
fn a_reading_comes_when_its_aperture_ends() {
    let mut bench = ByHand::ideal();
    bench.meter("CURR:NPLC 10");
    let begun = bench.0.now();
    bench.read();
    near(bench.0.now() - begun, 0.2, 1e-9);
}

#[test]
fn a_reading_waits_for_the_gap_of_a_new_range() {
    let mut bench = ByHand::ideal();
    bench.meter("CONF:CURR 1e-3;:CURR:NPLC 1");
    let begun = bench.0.now();
    bench.read();
    near(bench.0.now() - begun, 0.22, 1e-9);
}

#[test]
fn a_line_that_comes_before_the_reading_throws_it_away() {
    let mut bench = ByHand::ideal();
    bench.meter("READ?");
    assert_eq!(bench.meter("SYST:ERR?"), "-410,\"Query INTERRUPTED\"");
    bench.after(1.0);
    assert!(bench.0.say(Instrument::Meter).is_empty());
}

#[test]
fn a_conversion_can_be_begun_and_fetched_later() {
    let mut bench = ByHand::ideal();
    assert_eq!(bench.meter("FETC?"), "");
    assert!(bench.meter("SYST:ERR?").starts_with("-230,"));
    bench.meter("INIT");
    bench.after(1.0);
    assert_eq!(bench.meter("FETC?"), "+0.000000E+00");
    bench.meter("INIT;:ABOR");
    assert_eq!(bench.meter("FETC?"), "+0.000000E+00");
}

#[rstest]
#[case::forward("", 9.9e37)]
#[case::leads_swapped("swapped", -9.9e37)]
fn a_current_beyond_the_range_is_told_as_overload_with_its_sign(
    #[case] leads: &str,
    #[case] mark: f64,
) {
    let short = Physics { short_ohm: Some(1.0), ..Physics::nothing(volts(10.0)) };
    let mut bench = ByHand::ideal().with(&short).on("0.1");
    if leads == "swapped" {
        bench.0.suffer(Fault::MeterSwapped);
    }
    bench.supply("VOLT 10");
    bench.meter("CONF:CURR 1e-3");
    bench.after(1.0);
    near(bench.read(), mark, 1e-9);
}

#[test]
fn automatic_ranging_ends_on_the_range_that_fits() {
    let short = Physics { short_ohm: Some(1.0), ..Physics::nothing(volts(10.0)) };
    let mut bench = ByHand::ideal().with(&short).on("0.1");
    bench.supply("VOLT 5");
    bench.meter("CONF:CURR 1e-5;:CURR:RANG:AUTO ON");
    bench.after(1.0);
    near(bench.read(), 5.0 / 1001.0, 1e-4);
    assert_eq!(bench.meter("CURR:RANG?"), "+1.000000E-02");
    bench.supply("VOLT 0.05");
    for _ in 0..4 {
        bench.read();
    }
    near(bench.read(), 0.05 / 1001.0, 1e-3);
    assert_eq!(bench.meter("CURR:RANG?"), "+1.000000E-04");
}

#[test]
fn the_meter_shows_its_offset_and_whole_counts() {
    let mut options = ideal();
    options.meter.offset_counts = 3.0;
    let mut bench = ByHand::new(options);
    bench.meter("CONF:CURR 1e-5");
    near(bench.read(), 3e-10, 1e-9);
}

#[test]
fn a_tripped_supply_stays_off_until_it_is_forgiven() {
    let mut bench = ByHand::ideal();
    bench.supply("CURR 1;:CURR:PROT 1.1;:VOLT:PROT 5;:OUTP ON;:VOLT 6");
    bench.after(0.1);
    assert_eq!(bench.supply("VOLT:PROT:TRIP?;:CURR:PROT:TRIP?;:OUTP?"), "1;0;0");
    bench.supply("OUTP ON");
    assert!(bench.supply("SYST:ERR?").starts_with("-221,"));
    bench.supply("VOLT:PROT:CLE;:VOLT 1");
    assert_eq!(bench.supply("VOLT:PROT:TRIP?;:OUTP?"), "0;0");
    bench.supply("OUTP ON");
    near(bench.after(0.1).terminal_voltage.value, 1.0, 1e-6);
}

#[test]
fn the_over_current_trip_needs_its_delay() {
    let short = Physics { short_ohm: Some(1.0), ..Physics::nothing(volts(25.0)) };
    let mut bench = ByHand::ideal().with(&short);
    bench.supply("VOLT:PROT 66;:CURR 0.02;:CURR:PROT 0.01;:VOLT 0;:OUTP ON");
    bench.after(1.0);
    bench.supply("VOLT 25");
    assert!(!bench.after(0.009).tripped);
    assert!(bench.after(0.002).tripped);
    assert_eq!(bench.supply("CURR:PROT:TRIP?"), "1");
}

#[rstest]
#[case::behind_the_relay(true, "12.")]
#[case::in_front_of_the_relay(false, "0.000")]
fn the_supply_measures_where_the_model_says(#[case] behind: bool, #[case] told: &str) {
    let mut options = ideal();
    options.supply.measures_behind_relay = behind;
    let charged = Physics { charged_v: 12.5, ..Physics::capacitor(farads(1e-3), volts(25.0)) };
    let mut bench = ByHand::new(options).with(&charged);
    bench.after(0.1);
    let measured = bench.supply("MEAS:VOLT?");
    assert!(measured.starts_with(told), "{measured}");
}

proptest! {
    /// Whatever comes over the line, an instrument goes on answering.
    #[test]
    fn no_line_stops_an_instrument(line in "[ -~]{0,40}") {
        let mut bench = ByHand::ideal();
        bench.supply(&line);
        bench.meter(&line);
        bench.supply("*CLS;*RST");
        bench.meter("*CLS;*RST");
        prop_assert_eq!(bench.supply("*IDN?"), "SKARVIK,SIMULATED-SUPPLY,0001,1.0");
        prop_assert_eq!(bench.meter("*IDN?"), "SKARVIK,SIMULATED-METER,0001,1.0");
    }

    /// However it is driven, an ideal supply never puts more on the terminals than it was set to.
    #[test]
    fn the_terminals_never_exceed_the_highest_set_point(
        steps in prop::collection::vec((0_u32..60, 1_u32..1000, 0.001_f64..5.0), 1..12),
        microfarad in 0.01_f64..5000.0,
    ) {
        let part = Physics::capacitor(farads(microfarad * 1e-6), volts(60.0));
        let mut bench = ByHand::ideal().with(&part).on("1");
        let mut most = 0.0_f64;
        for (volts, milliamperes, seconds) in steps {
            bench.supply(&format!("CURR {};:VOLT {volts}", f64::from(milliamperes) * 1e-3));
            most = most.max(f64::from(volts));
            let look = bench.after(seconds);
            prop_assert!(look.terminal_voltage.value <= most + 1e-3);
            prop_assert!(-1e-3 <= look.part_voltage.value && look.part_voltage.value <= most + 1e-3);
        }
    }
}
