//! What goes wrong with instruments, as their drivers hear it: marks, units, queues, settings that were
//! not taken, displays that are held.
//!
//! `fixtures/field-faults.jsonl` has what was met at real benches, `tests/field_faults.rs` says which
//! test holds which of its rows.

use reststrom::plan::{OutputState, RangeIndex, Sample};
use reststrom::quantity::{amperes, seconds, volts};
use reststrom::station::driver::{SHIPPED, read_meter, read_supply, shipped};
use reststrom::station::{Meter, MeterSays, SensedBy, Settings, Supply, SupplyPace, SupplySays};
use rstest::rstest;

fn supply_of(text: &str) -> Supply {
    let driver = read_supply("supply.toml", text).expect("a driver");
    Supply::open(driver, SupplyPace::at_lapse(1.0), seconds(0.0))
}

#[track_caller]
fn next(supply: &mut Supply) -> String {
    let said = (0..100).find_map(|tenth| supply.write(seconds(0.1 + 0.01 * f64::from(tenth))));
    String::from_utf8(said.expect("something to say")).expect("text").trim_end().to_owned()
}

#[track_caller]
fn answered(supply: &mut Supply, question: &str, reply: &str) -> Vec<SupplySays> {
    assert_eq!(next(supply), question);
    supply.receive(format!("{reply}\n").as_bytes(), seconds(0.2))
}

/// A supply whose error queue holds what was left over.
fn known(left_over: &[&str]) -> (Supply, Vec<SupplySays>) {
    let mut supply = supply_of(shipped("scpi-supply").expect("a driver that is shipped"));
    let mut says = answered(&mut supply, "*IDN?", "MAKER,SUPPLY,1,1");
    for entry in left_over {
        says.extend(answered(&mut supply, "SYST:ERR?", entry));
    }
    says.extend(answered(&mut supply, "SYST:ERR?", "0,\"No error\""));
    (supply, says)
}

fn settings() -> Settings {
    Settings {
        current_limit: amperes(0.01),
        over_voltage: volts(27.5),
        over_current: amperes(0.02),
    }
}

/// Makes settings and answers the read-backs as `reply` says.
fn armed(supply: &mut Supply, reply: impl Fn(&str) -> &'static str) -> Vec<SupplySays> {
    supply.arm(settings());
    let mut says = Vec::new();
    for _ in 0..9 {
        let line = next(supply);
        if line.ends_with('?') {
            says.extend(supply.receive(format!("{}\n", reply(&line)).as_bytes(), seconds(0.2)));
        }
    }
    says
}

fn right(question: &str) -> &'static str {
    match question {
        "SYST:ERR?" => "0 No Error",
        "VOLT?" => "0.000",
        "CURR?" => "1.000E-02",
        "VOLT:PROT?" => "27.50",
        "CURR:PROT?" => "0.0200A",
        other => panic!("{other} is not expected"),
    }
}

#[test]
fn errors_left_over_by_others_are_told_and_refuse_nothing() {
    let (mut supply, says) = known(&["-113,\"Undefined header\"", "-350,\"Queue overflow\""]);
    let complaints = says.iter().filter(|said| matches!(said, SupplySays::Complains(_))).count();
    assert_eq!(complaints, 2, "{says:?}");
    assert_eq!(armed(&mut supply, right), [SupplySays::Armed]);
}

#[test]
fn an_error_queue_that_never_empties_is_given_up() {
    let mut supply = supply_of(shipped("scpi-supply").expect("a driver that is shipped"));
    answered(&mut supply, "*IDN?", "MAKER,SUPPLY,1,1");
    let mut asked = 0;
    while asked < 100 && next(&mut supply) == "SYST:ERR?" {
        supply.receive(b"-350,\"Queue overflow\"\n", seconds(0.2));
        asked += 1;
    }
    assert!((3..30).contains(&asked), "{asked}");
}

#[test]
fn a_supply_without_an_error_queue_is_asked_for_it_once() {
    let mut supply = supply_of(shipped("scpi-supply").expect("a driver that is shipped"));
    answered(&mut supply, "*IDN?", "MAKER,SUPPLY,1,1");
    assert_eq!(next(&mut supply), "SYST:ERR?");
    assert!(!supply.is_settled());
    let says = supply.pass(seconds(3.0));
    assert!(matches!(&says[..], [SupplySays::Complains(_)]), "{says:?}");
    assert_eq!(supply.write(seconds(4.1)), Some(b"*IDN?\n".to_vec()));
    supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(4.1));
    assert!(supply.is_settled());
    let next = supply.write(seconds(4.1));
    assert_ne!(next, Some(b"SYST:ERR?\n".to_vec()));
}

#[test]
fn an_error_after_a_lost_question_is_no_refused_setting() {
    let (mut supply, _) = known(&[]);
    armed(&mut supply, right);
    while next(&mut supply) != "MEAS:VOLT?" {
        supply.receive(b"0\n", seconds(0.2));
    }
    assert_eq!(supply.pass(seconds(3.0)), []);
    assert_eq!(supply.write(seconds(4.1)), Some(b"*IDN?\n".to_vec()));
    supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(4.1));
    assert_eq!(supply.write(seconds(4.1)), Some(b"SYST:ERR?\n".to_vec()));
    let says = supply.receive(b"-420,\"Query UNTERMINATED\"\n", seconds(4.1));
    assert!(
        matches!(&says[..], [SupplySays::Complains(what)] if what.contains("-420")),
        "{says:?}"
    );
}

#[rstest]
#[case::clipped_to_what_the_unit_can("VOLT?", "60.000", "the supply holds \"60.000\"")]
#[case::a_current_limit_that_got_lost("CURR?", "3.000", "current limit: asked 0.01 A")]
#[case::a_protection_that_follows_the_set_point("VOLT:PROT?", "75", "over-voltage protection")]
#[case::rounded_to_a_coarse_step("CURR?", "0.000", "current limit: asked 0.01 A")]
#[case::a_refused_order("SYST:ERR?", "-221,\"Settings conflict\"", "-221")]
#[case::local_control("SYST:ERR?", "-203,\"Command protected\"", "-203")]
fn a_setting_that_was_not_taken_stops_the_start(
    #[case] question: &'static str,
    #[case] reply: &'static str,
    #[case] what: &str,
) {
    let (mut supply, _) = known(&[]);
    let says = armed(&mut supply, |asked| if asked == question { reply } else { right(asked) });
    let refused =
        says.iter().any(|said| matches!(said, SupplySays::Refused(why) if why.contains(what)));
    assert!(refused, "{says:?}");
}

#[test]
fn a_value_rounded_to_the_step_of_the_supply_is_taken() {
    let coarse = shipped("scpi-supply")
        .expect("a driver that is shipped")
        .replace("voltage_step = \"10 mV\"", "voltage_step = \"20 mV\"");
    let mut supply = supply_of(&coarse);
    answered(&mut supply, "*IDN?", "MAKER,SUPPLY,1,1");
    answered(&mut supply, "SYST:ERR?", "-0,\"No error\"");
    let reply = |asked: &str| if asked == "VOLT:PROT?" { "27.49" } else { right(asked) };
    assert_eq!(armed(&mut supply, reply), [SupplySays::Armed]);
}

/// A supply that is on, with its output told and no voltage measured yet.
fn on() -> Supply {
    let (mut supply, _) = known(&[]);
    assert_eq!(armed(&mut supply, right), [SupplySays::Armed]);
    supply.switch_on();
    assert_eq!(next(&mut supply), "OUTP ON");
    let says = answered(&mut supply, "OUTP?", "1");
    assert_eq!(says, [SupplySays::Output(OutputState::On)]);
    supply
}

#[test]
fn settings_are_looked_at_again_right_after_the_first_measurement() {
    let mut supply = on();
    let mut seen = Vec::new();
    for step in 0..40 {
        let now = seconds(0.3 + 0.02 * f64::from(step));
        let Some(words) = supply.write(now) else { continue };
        let words = String::from_utf8(words).unwrap().trim_end().to_owned();
        let reply: &[u8] = match words.as_str() {
            "MEAS:VOLT?" => b"0.00\n",
            // The measurement has put the limit to its greatest value.
            "CURR?" => b"1.050E-01\n",
            "OUTP?" => b"1\n",
            _ => b"27.5\n",
        };
        seen.extend(supply.receive(reply, now));
        if words == "CURR?" {
            break;
        }
    }
    let last = seen.last();
    assert!(
        matches!(last, Some(SupplySays::Disturbed(what)) if what.contains("current limit")),
        "{seen:?}"
    );
}

#[test]
fn on_is_said_once_whatever_becomes_of_its_answer() {
    let (mut supply, _) = known(&[]);
    armed(&mut supply, right);
    supply.switch_on();
    assert_eq!(next(&mut supply), "OUTP ON");
    assert_eq!(next(&mut supply), "OUTP?");
    let mut said = Vec::new();
    for tenth in 0..200 {
        let now = seconds(0.5 + 0.1 * f64::from(tenth));
        supply.pass(now);
        supply.switch_on();
        let words = supply.write(now).unwrap_or_default();
        if words == b"*IDN?\n" {
            supply.receive(b"MAKER,SUPPLY,1,1\n", now);
        }
        said.extend(words);
    }
    let said = String::from_utf8(said).unwrap();
    assert!(said.contains("*IDN?") && !said.contains("OUTP ON"), "{said}");
}

#[test]
fn one_unclear_answer_about_the_output_is_asked_again_and_two_are_told() {
    let mut supply = on();
    supply.cut_out(seconds(0.3));
    for unclear in ["0**ERR -108", "2"] {
        let mut now = 0.3;
        let asked = loop {
            now += 0.01;
            assert!(now < 10.0, "the output is not asked about");
            match supply.write(seconds(now)).as_deref() {
                Some(b"*IDN?\n") => drop(supply.receive(b"MAKER,SUPPLY,1,1\n", seconds(now))),
                Some(b"OUTP?\n") => {
                    break supply.receive(format!("{unclear}\n").as_bytes(), seconds(now));
                }
                Some(_) => drop(supply.receive(b"0\n", seconds(now))),
                None => {}
            }
        };
        let told =
            if unclear == "2" { vec![SupplySays::Output(OutputState::Unknown)] } else { vec![] };
        assert_eq!(asked, told);
    }
}

#[rstest]
#[case::one("1", OutputState::On)]
#[case::signed("+1", OutputState::On)]
#[case::a_float("1.0000E+00", OutputState::On)]
#[case::a_word("ON", OutputState::On)]
#[case::two_digits("01", OutputState::On)]
#[case::off("0", OutputState::Off)]
fn an_output_state_is_read_in_all_its_spellings(#[case] reply: &str, #[case] state: OutputState) {
    let mut supply = on();
    supply.cut_out(seconds(0.3));
    let says = answered(&mut supply, "OUTP?", reply);
    assert_eq!(says, [SupplySays::Output(state)]);
}

#[test]
fn a_set_point_never_passes_for_a_measured_voltage() {
    let mut supply = on();
    let mut says = Vec::new();
    for step in 0..2000 {
        let now = seconds(0.3 + 0.02 * f64::from(step));
        let Some(words) = supply.write(now) else { continue };
        let reply: &[u8] = match words.as_slice() {
            b"MEAS:VOLT?\n" => b"0.003\n",
            b"VOLT?\n" => b"0.000\n",
            b"CURR?\n" => b"0.0100\n",
            b"VOLT:PROT?\n" => b"27.500\n",
            b"CURR:PROT?\n" => b"0.0200\n",
            _ => b"1\n",
        };
        says.extend(supply.receive(reply, now));
    }
    let measured = SupplySays::Voltage(Sample::Value(volts(0.003)));
    let told = SupplySays::Output(OutputState::On);
    assert!(says.iter().all(|said| *said == measured || *said == told), "{says:?}");
}

#[test]
fn no_driver_resets_an_instrument_or_says_two_things_in_one_line() {
    for (name, text) in SHIPPED {
        let words = text.lines().filter(|line| !line.trim_start().starts_with('#'));
        for line in words.filter_map(|line| line.split_once('"')).map(|(_, words)| words) {
            let words = line.split('"').next().unwrap_or_default();
            assert!(!words.contains("*RST") && !words.contains(';'), "{name}: {words}");
            assert!(!words.contains('?') || words.len() <= 30, "{name}: {words} is long");
        }
    }
}

/// A meter on its 100 µA range that is about to be asked for a reading.
fn meter_of(text: &str) -> Meter {
    let driver = read_meter("meter.toml", text).expect("a driver");
    let mut meter = Meter::open(&driver, SensedBy::Shunt, seconds(0.0));
    let mut said = Vec::new();
    for _ in 0..8 {
        let Some(words) = meter.write(seconds(0.1)) else { break };
        let reply: &[u8] = match words.as_slice() {
            b"*IDN?\n" => {
                meter.select(RangeIndex(1));
                b"MAKER,METER,1,1\n"
            }
            b"SYST:ERR?\n" => b"0\n",
            b"CURR:DC:RANG?\n" => b"1E-4\n",
            b"READ?\n" => return meter,
            _ => continue,
        };
        said.extend(meter.receive(reply, seconds(0.1)));
    }
    panic!("not asked for a reading: {said:?}");
}

fn reads(text: &str, reply: &[u8]) -> Vec<MeterSays> {
    let mut meter = meter_of(text);
    meter.receive(&[reply, b"\n"].concat(), seconds(0.2))
}

fn scpi_meter() -> &'static str {
    shipped("scpi-meter").expect("a driver that is shipped")
}

fn is(sample: Sample<f64>) -> Vec<MeterSays> {
    let sample = match sample {
        Sample::Value(value) => Sample::Value(amperes(value)),
        Sample::Overload { negative } => Sample::Overload { negative },
        Sample::NotANumber => Sample::NotANumber,
    };
    vec![MeterSays::Current(sample, RangeIndex(1))]
}

#[rstest]
#[case::a_unit_glued_on(b"1.234E-06A", Sample::Value(1.234e-6))]
#[case::no_unit(b"1.00E-06", Sample::Value(1e-6))]
#[case::a_sign_between_minus_one_and_zero(b"-.5E-06", Sample::Value(-0.5e-6))]
#[case::a_blank_behind_the_sign(b"+ 1.20E-06", Sample::Value(1.2e-6))]
#[case::negative_zero(b"-0.00E+00", Sample::Value(0.0))]
#[case::zero_between_blanks(b" +0.0000 ", Sample::Value(0.0))]
#[case::the_mark_for_infinity(b"+9.90000000E+37", Sample::Overload { negative: false })]
#[case::the_same_with_a_minus(b"-9.9E+37", Sample::Overload { negative: true })]
#[case::the_mark_for_no_number(b"-9.91E+37", Sample::NotANumber)]
#[case::a_mark_of_its_own(b"9.900E+03", Sample::Overload { negative: false })]
#[case::another(b"199.999E+99", Sample::Overload { negative: false })]
#[case::the_end_of_the_range(b"9.999E-05", Sample::Overload { negative: false })]
#[case::letters(b"OL", Sample::Overload { negative: false })]
#[case::letters_with_a_zero(b"0L", Sample::Overload { negative: false })]
#[case::letters_with_a_sign(b"-OL", Sample::Overload { negative: true })]
#[case::dashes(b"----", Sample::NotANumber)]
fn a_reading_is_a_value_or_says_why_it_is_none(#[case] reply: &[u8], #[case] sample: Sample<f64>) {
    assert_eq!(reads(scpi_meter(), reply), is(sample));
}

#[rstest]
#[case::the_wrong_unit(b"0.6V")]
#[case::a_prefix(b"12.3 uA")]
#[case::mega(b"12.3 MA")]
#[case::a_word(b"Err")]
#[case::nan(b"nan")]
#[case::infinity(b"INF")]
#[case::negative_infinity(b"-infinity")]
#[case::too_large_for_any_number(b"1E400")]
#[case::a_decimal_comma(b"+1,234E-06")]
#[case::a_comma_for_thousands(b"1,234.5")]
#[case::a_list(b"+2.500E+01,+2.1E-06,+9.91E+37,+1.2E+02,+0")]
#[case::a_list_with_a_hole(b"+2.500E+01,,+9.91E+37")]
#[case::two_points(b"1.23.4E-06")]
#[case::an_exponent_without_digits(b"+1.234E-")]
#[case::a_top_bit(b"\xb2\xb1.5\xb1")]
#[case::an_old_two_byte_sign(b"1.002k\xa6\xb8")]
#[case::a_nul_inside(b"+012\0.34E-06")]
#[case::a_prompt(b"> 0.00213")]
fn what_is_no_number_gives_no_reading_and_is_asked_again(#[case] reply: &[u8]) {
    let mut meter = meter_of(scpi_meter());
    assert_eq!(meter.receive(&[reply, b"\n"].concat(), seconds(0.2)), []);
    assert_eq!(meter.resyncs(), 1);
    assert_eq!(meter.write(seconds(2.3)), Some(b"*IDN?\n".to_vec()));
}

#[test]
fn a_decimal_comma_is_one_only_where_the_driver_says_so() {
    let text = scpi_meter().replace("read = \"READ?\"", "read = \"READ?\"\nreading = \"{,}\"");
    assert_eq!(reads(&text, b"+1,234E-06"), is(Sample::Value(1.234e-6)));
    for other in [&b"1,234.5"[..], b"+1,2,3", b"1.234E-06"] {
        assert_eq!(reads(&text, other), []);
    }
}

#[test]
fn words_without_a_value_are_silence_to_whoever_waits_for_one() {
    let mut meter = meter_of(scpi_meter());
    let mut values = 0;
    for step in 1..200 {
        let now = seconds(0.2 + 0.1 * f64::from(step));
        let says = meter.receive(b"Err\r\n", now);
        values += says.iter().filter(|said| matches!(said, MeterSays::Current(..))).count();
        meter.pass(now);
        meter.write(now);
    }
    assert_eq!(values, 0);
}

#[test]
fn a_meter_without_an_error_queue_is_read_all_the_same() {
    let driver = read_meter("meter.toml", scpi_meter()).expect("a driver");
    let mut meter = Meter::open(&driver, SensedBy::Shunt, seconds(0.0));
    assert_eq!(meter.write(seconds(0.1)), Some(b"*IDN?\n".to_vec()));
    meter.receive(b"MAKER,METER,1,1\n", seconds(0.1));
    assert_eq!(meter.write(seconds(0.1)), Some(b"SYST:ERR?\n".to_vec()));
    assert!(!meter.is_settled());
    meter.pass(seconds(2.2));
    assert_eq!(meter.write(seconds(4.3)), Some(b"*IDN?\n".to_vec()));
    meter.receive(b"MAKER,METER,1,1\n", seconds(4.3));
    assert!(meter.is_settled());
    let next = meter.write(seconds(4.3)).expect("something to say");
    assert!(next.starts_with(b"CONF"), "{}", next.escape_ascii());
}

/// A streaming meter on its 10 µA range, known by three lines.
fn streaming(change: impl Fn(String) -> String) -> Meter {
    let text = change(shipped("text-stream-meter").expect("a driver that is shipped").to_owned());
    let mut driver = read_meter("stream.toml", &text).expect("a driver");
    driver.ability.current_range.retain(|range| range.full_scale == amperes(1e-5));
    Meter::open(&driver, SensedBy::Shunt, seconds(0.0))
}

fn follows(line: &[u8], meter: &mut Meter) -> Vec<MeterSays> {
    meter.receive(&[line, b"\r\n"].concat(), seconds(0.5))
}

fn known_stream() -> Meter {
    let mut meter = streaming(|text| text);
    for _ in 0..3 {
        follows(b"+00.1200 uA DC MAN", &mut meter);
    }
    meter
}

#[rstest]
#[case::an_ascii_letter(b"+02.3000 uA DC MAN")]
#[case::latin_1(b"+02.3000 \xb5A DC MAN")]
#[case::the_micro_sign(b"+02.3000 \xc2\xb5A DC MAN")]
#[case::the_greek_letter(b"+02.3000 \xce\xbcA DC MAN")]
fn every_micro_sign_is_micro(#[case] line: &[u8]) {
    let says = follows(line, &mut known_stream());
    let [MeterSays::Current(Sample::Value(current), _)] = says[..] else { panic!("{says:?}") };
    assert!((current.value - 2.3e-6).abs() < 1e-15, "{current:?}");
}

#[rstest]
#[case::milli(b"+02.3000 mA DC MAN")]
#[case::mega(b"+02.3000 MA DC MAN")]
#[case::alternating(b"+02.3000 uA AC MAN")]
#[case::volts(b"+02.3000 mV DC MAN")]
#[case::held(b"+00.4200 uA DC HOLD")]
#[case::a_minimum(b"+00.4200 uA DC MIN")]
#[case::relative(b"+00.1000 uA DC REL")]
#[case::a_low_battery(b"+00.1000 uA DC LOBAT")]
#[case::an_old_prefix_with_a_new_number(b"+0.60000 uA DC MAN")]
#[case::the_next_range(b"+0.60100 mA DC MAN")]
fn a_line_of_another_kind_is_no_reading_of_the_run(#[case] line: &[u8]) {
    let says = follows(line, &mut known_stream());
    let counted = says.iter().any(|said| matches!(said, MeterSays::Current(..)));
    assert!(!counted, "{says:?}");
}

#[rstest]
#[case::letters(b"+OL uA DC MAN", false)]
#[case::with_a_zero(b"0L uA DC MAN", false)]
#[case::with_a_point_before(b".OL uA DC MAN", false)]
#[case::with_a_point_between(b"O.L uA DC MAN", false)]
#[case::with_a_minus(b"-OL uA DC MAN", true)]
#[case::the_end_of_the_range(b"+09.9990 uA DC MAN", false)]
fn an_overload_of_a_stream_is_one_however_it_is_spelt(#[case] line: &[u8], #[case] negative: bool) {
    let says = follows(line, &mut known_stream());
    assert!(
        matches!(says[..], [MeterSays::Current(Sample::Overload { negative: got }, _)] if got == negative),
        "{says:?}"
    );
}

#[test]
fn a_stream_joined_in_the_middle_begins_with_a_whole_line() {
    let mut meter = streaming(|text| text);
    let bytes = b"\xc3\x90\x7f\x00\xfe34.0000 uA DC MAN\r\n";
    assert_eq!(meter.receive(bytes, seconds(0.1)), []);
    for _ in 0..2 {
        assert_eq!(follows(b"+00.1200 uA DC MAN", &mut meter), []);
    }
    assert!(matches!(&follows(b"+00.1200 uA DC MAN", &mut meter)[..], [MeterSays::Identity(_)]));
}

#[test]
fn a_stream_with_a_decimal_comma_is_read_where_its_driver_shows_one() {
    let mut meter = streaming(|text| text.replace("\"00.0000\"", "\"00,0000\""));
    for _ in 0..3 {
        follows(b"+00,1200 uA DC MAN", &mut meter);
    }
    let says = follows(b"+02,3000 uA DC MAN", &mut meter);
    let [MeterSays::Current(Sample::Value(current), _)] = says[..] else { panic!("{says:?}") };
    assert!((current.value - 2.3e-6).abs() < 1e-15, "{current:?}");
    assert_eq!(follows(b"+02.3000 uA DC MAN", &mut meter), []);
}

#[test]
fn a_pause_within_the_deadline_is_none_and_beyond_it_a_lost_meter() {
    let mut meter = known_stream();
    assert_eq!(meter.pass(seconds(2.4)), []);
    let says = meter.receive(b"+00.1200 uA DC MAN\r\n", seconds(2.4));
    assert_eq!(says.len(), 1);
    assert!(matches!(&meter.pass(seconds(4.5))[..], [MeterSays::Lost(_)]));
}

#[test]
fn of_a_backlog_every_line_is_given_at_once_and_the_newest_last() {
    let mut meter = known_stream();
    let mut backlog = b"+00.1200 uA DC MAN\r\n".repeat(199);
    backlog.extend(b"+09.9990 uA DC MAN\r\n");
    // Reads bring a thousand bytes at most.
    let says: Vec<MeterSays> =
        backlog.chunks(1024).flat_map(|piece| meter.receive(piece, seconds(1.0))).collect();
    assert_eq!(says.len(), 200);
    assert!(matches!(says.last(), Some(MeterSays::Current(Sample::Overload { .. }, _))));
}
