//! Conversations with a supply, line by line.

use rstest::rstest;

use super::*;
use crate::quantity::amperes;
use crate::station::driver::{SHIPPED, read_supply};

fn supply() -> Supply {
    let driver = read_supply(SHIPPED[0].0, SHIPPED[0].1).unwrap();
    let mut supply = Supply::open(driver, SupplyPace::at_lapse(1.0), seconds(0.0));
    assert_eq!(supply.write(seconds(0.1)), Some(b"*IDN?\n".to_vec()));
    let says = supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(0.1));
    assert_eq!(says, [SupplySays::Identity("MAKER,SUPPLY,1,1".into())]);
    assert_eq!(answer(&mut supply, "SYST:ERR?", "0,\"\""), []);
    supply
}

/// Asserts that the next line is `line`.
#[track_caller]
fn expect(supply: &mut Supply, line: &str) {
    let bytes = supply.write(seconds(0.1)).map(|bytes| String::from_utf8(bytes).unwrap());
    assert_eq!(bytes.as_deref().map(str::trim), Some(line));
}

#[track_caller]
fn answer(supply: &mut Supply, question: &str, reply: &str) -> Vec<SupplySays> {
    expect(supply, question);
    supply.receive(format!("{reply}\n").as_bytes(), seconds(0.1))
}

fn settings() -> Settings {
    Settings {
        current_limit: amperes(0.0075),
        over_voltage: volts(26.75),
        over_current: amperes(0.02),
    }
}

#[track_caller]
fn set(supply: &mut Supply) {
    supply.arm(settings());
    for line in ["VOLT 0.00", "VOLT:PROT 26.75", "CURR:PROT 0.0200", "CURR 0.0075"] {
        expect(supply, line);
    }
    assert_eq!(answer(supply, "SYST:ERR?", "+0,\"No error\""), []);
}

/// A supply whose settings are made and read back.
fn armed() -> Supply {
    let mut supply = supply();
    set(&mut supply);
    for (question, reply) in
        [("VOLT?", "0"), ("CURR?", "0.0075"), ("VOLT:PROT?", "26.75"), ("CURR:PROT?", "0.02")]
    {
        answer(&mut supply, question, reply);
    }
    supply
}

#[test]
fn settings_are_made_and_read_back_as_a_group() {
    let mut supply = supply();
    set(&mut supply);
    assert_eq!(answer(&mut supply, "VOLT?", "0.00"), []);
    assert_eq!(answer(&mut supply, "CURR?", "7.5E-03"), []);
    assert_eq!(answer(&mut supply, "VOLT:PROT?", "26.75"), []);
    assert_eq!(answer(&mut supply, "CURR:PROT?", "0.02A"), [SupplySays::Armed]);
}

#[rstest]
#[case::voltage_that_stayed("60.00", "7.5E-03", "26.75", "voltage: asked 0 V")]
#[case::current_limit_that_was_lost("0", "1.000", "26.75", "current limit: asked 0.0075 A")]
#[case::protection_that_moved("0", "0.0075", "75.0", "over-voltage protection: asked 26.75 V")]
fn a_setting_that_was_not_taken_is_refused(
    #[case] voltage: &str,
    #[case] current: &str,
    #[case] protection: &str,
    #[case] message: &str,
) {
    let mut supply = supply();
    set(&mut supply);
    let mut says = answer(&mut supply, "VOLT?", voltage);
    says.extend(answer(&mut supply, "CURR?", current));
    says.extend(answer(&mut supply, "VOLT:PROT?", protection));
    assert!(matches!(&says[..], [SupplySays::Refused(what)] if what.contains(message)), "{says:?}");
}

#[test]
fn an_error_after_a_setting_is_a_refusal() {
    let mut supply = supply();
    supply.arm(settings());
    for _ in 0..4 {
        supply.write(seconds(0.1));
    }
    let says = answer(&mut supply, "SYST:ERR?", "-222,\"Data out of range\"");
    assert!(matches!(&says[..], [SupplySays::Refused(what)] if what.contains("-222")), "{says:?}");
}

#[test]
fn a_cut_out_forgets_the_settings_that_wait() {
    let mut supply = supply();
    supply.arm(settings());
    supply.write(seconds(0.1));
    assert_eq!(supply.cut_out(seconds(0.1)), Some(b"\nOUTP OFF\n".to_vec()));
    expect(&mut supply, "OUTP?");
}

#[test]
fn a_repeated_cut_out_does_not_cost_the_answer_that_would_prove_it() {
    let mut supply = supply();
    assert!(supply.cut_out(seconds(0.1)).is_some());
    expect(&mut supply, "OUTP?");
    assert_eq!(supply.cut_out(seconds(0.4)), None);
    supply.pass(seconds(1.2));
    assert!(supply.cut_out(seconds(1.3)).is_some(), "the deadline is over");
}

#[test]
fn a_second_cut_out_is_said_without_the_end_mark_that_may_have_swallowed_the_first() {
    let mut supply = supply();
    assert!(supply.cut_out(seconds(0.1)).is_some());
    answer(&mut supply, "OUTP?", "1");
    assert_eq!(supply.cut_out(seconds(0.4)), None);
    expect(&mut supply, "OUTP OFF");
}

#[test]
fn a_cut_out_stops_a_supply_that_is_about_to_sink() {
    let mut supply = supply();
    supply.cut_out(seconds(0.1));
    supply.sink_at_zero();
    expect(&mut supply, "VOLT 0.00");
    expect(&mut supply, "VOLT?");
    assert!(supply.cut_out(seconds(0.2)).is_some());
    supply.receive(b"0.00\n", seconds(0.2));
    assert_eq!(supply.write(seconds(0.3)), None, "on must not follow");
}

#[test]
fn a_cut_out_after_on_was_said_is_never_held_back() {
    let mut supply = armed();
    supply.switch_on();
    expect(&mut supply, "OUTP ON");
    expect(&mut supply, "OUTP?");
    assert!(supply.cut_out(seconds(0.2)).is_some());
}

#[test]
fn the_output_state_is_asked_right_after_a_cut_out() {
    let mut supply = supply();
    supply.cut_out(seconds(0.1));
    let says = answer(&mut supply, "OUTP?", "0");
    assert_eq!(says, [SupplySays::Output(OutputState::Off)]);
    let says = answer(&mut supply, "MEAS:VOLT?", "24.98");
    assert_eq!(says, [SupplySays::Voltage(Sample::Value(volts(24.98)))]);
}

#[test]
fn a_reply_that_does_not_fit_is_not_taken() {
    let mut supply = supply();
    supply.cut_out(seconds(0.1));
    answer(&mut supply, "OUTP?", "0");
    assert_eq!(answer(&mut supply, "MEAS:VOLT?", "0**ERR -108"), []);
    assert_eq!((supply.write(seconds(0.2)), supply.resyncs()), (None, 1));
}

#[test]
fn a_voltage_that_the_supply_cannot_give_is_no_reading() {
    let mut supply = supply();
    supply.cut_out(seconds(0.1));
    answer(&mut supply, "OUTP?", "0");
    let says = answer(&mut supply, "MEAS:VOLT?", "9.900E+03");
    assert_eq!(says, [SupplySays::Voltage(Sample::Overload { negative: false })]);
}

#[test]
fn sinking_switches_on_only_at_a_proven_zero() {
    let mut supply = supply();
    supply.sink_at_zero();
    expect(&mut supply, "VOLT 0.00");
    let says = answer(&mut supply, "VOLT?", "25.0");
    assert!(matches!(&says[..], [SupplySays::Refused(_)]), "{says:?}");
    supply.sink_at_zero();
    expect(&mut supply, "VOLT 0.00");
    answer(&mut supply, "VOLT?", "0.0");
    expect(&mut supply, "OUTP ON");
}

#[rstest]
#[case::garbled(Some("7.5E-0"))]
#[case::silent(None)]
fn a_read_back_that_did_not_come_is_waited_for_before_the_supply_is_armed(
    #[case] reply: Option<&str>,
) {
    let mut supply = supply();
    set(&mut supply);
    answer(&mut supply, "VOLT?", "0.00");
    let lost = if let Some(reply) = reply {
        answer(&mut supply, "CURR?", &format!("{reply}??"))
    } else {
        expect(&mut supply, "CURR?");
        supply.pass(seconds(1.2))
    };
    assert_eq!(lost, []);
    assert_eq!(supply.write(seconds(2.5)), Some(b"*IDN?\n".to_vec()));
    supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(2.5));
    let next = supply.write(seconds(2.5));
    assert_eq!(next, Some(b"CURR?\n".to_vec()), "the current limit is not proven yet");
}

#[test]
fn on_is_not_said_after_a_cut_out() {
    let mut supply = armed();
    supply.cut_out(seconds(0.1));
    supply.switch_on();
    expect(&mut supply, "OUTP?");
}

#[test]
fn a_slow_supply_still_shows_every_setting_that_is_watched() {
    let mut supply = armed();
    let mut asked = Vec::new();
    // A fifth of a second for every answer: the voltage is due again each time.
    for fifth in 1..400 {
        let now = seconds(0.1 + 0.2 * f64::from(fifth));
        let Some(words) = supply.write(now) else { continue };
        let reply: &[u8] = match &words[..] {
            b"CURR?\n" => b"0.0075\n",
            b"VOLT:PROT?\n" => b"26.75\n",
            b"CURR:PROT?\n" => b"0.02\n",
            _ => b"0\n",
        };
        supply.receive(reply, now);
        asked.push(String::from_utf8(words).unwrap());
    }
    for setting in ["VOLT?\n", "CURR?\n", "VOLT:PROT?\n", "CURR:PROT?\n"] {
        assert!(asked.iter().any(|words| words == setting), "{setting:?} never asked");
    }
}

#[test]
fn a_supply_that_comes_back_shows_all_its_settings_first() {
    let mut supply = armed();
    supply.receive(b"READY\n", seconds(0.2));
    assert_eq!(supply.write(seconds(1.5)), Some(b"*IDN?\n".to_vec()));
    supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(1.5));
    assert_eq!(supply.write(seconds(1.5)), Some(b"SYST:ERR?\n".to_vec()));
    supply.receive(b"0,\"\"\n", seconds(1.5));
    assert_eq!(supply.write(seconds(1.5)), Some(b"CURR?\n".to_vec()));
    let says = supply.receive(b"3.0\n", seconds(1.5));
    assert!(matches!(&says[..], [SupplySays::Disturbed(_)]), "{says:?}");
}
