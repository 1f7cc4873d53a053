//! What a stream shows, and when it counts.

use proptest::prelude::*;
use rstest::rstest;

use super::*;
use crate::quantity::{ohms, seconds};
use crate::station::driver::{read_meter, shipped};

/// A meter of this driver, held on its 10 mA range, opened at 0 s.
fn held(driver: &str) -> StreamingMeter {
    let mut driver = read_meter(driver, shipped(driver).unwrap()).unwrap();
    driver.ability.current_range.retain(|range| range.full_scale == amperes(1e-2));
    let crate::station::driver::MeterTalk::Streams(stream) = driver.talk.clone() else {
        panic!("no stream")
    };
    StreamingMeter::open(stream, &driver, SensedBy::Shunt, seconds(0.0))
}

/// The same, known since 0.3 s.
fn known(driver: &str, reading: &[u8]) -> StreamingMeter {
    let mut meter = held(driver);
    for _ in 0..2 {
        assert_eq!(meter.receive(reading, seconds(0.3)), []);
    }
    let says = meter.receive(reading, seconds(0.3));
    assert!(matches!(&says[..], [MeterSays::Identity(_)]), "{says:?}");
    meter
}

const LINE: &[u8] = b"+01.2340 mA DC MAN\r\n";

fn text() -> StreamingMeter {
    known("text-stream-meter", LINE)
}

/// A frame with these digits, unit, sign and state, and a check that holds.
fn frame(digits: [u8; 5], unit: u8, sign: u8, state: u8) -> Vec<u8> {
    let mut frame = vec![0xd5, 0x2a, sign, unit, digits[0], digits[1], digits[2], digits[3]];
    frame.extend([digits[4], state, 0x00]);
    let check = frame[2..].iter().fold(0, |sum, byte| sum ^ byte);
    frame.push(check);
    frame
}

/// 01.234
const GOOD: [u8; 5] = [0x3f, 0x06, 0x80 | 0x5b, 0x4f, 0x66];

/// 1.234 mA on the 10 mA range: "01.234", the point in front of the third digit.
fn good_frame() -> Vec<u8> {
    frame(GOOD, 0x02, 0x00, 0x11)
}

#[test]
fn a_line_of_text_is_a_reading() {
    let says = text().receive(b"-00.0021 mA DC MAN\r\n", seconds(0.5));
    let [MeterSays::Current(Sample::Value(current), HELD)] = says[..] else { panic!("{says:?}") };
    assert!((current.value + 2.1e-6).abs() < 1e-15, "{current:?}");
}

#[test]
fn a_frame_is_a_reading() {
    let mut meter = known("frame-stream-meter", &good_frame());
    let says = meter.receive(&good_frame(), seconds(0.5));
    let [MeterSays::Current(Sample::Value(current), HELD)] = says[..] else { panic!("{says:?}") };
    assert!((current.value - 1.234e-3).abs() < 1e-12, "{current:?}");
    let minus = frame([0x3f, 0x06, 0x80 | 0x5b, 0x4f, 0x66], 0x02, 0x08, 0x11);
    let says = meter.receive(&minus, seconds(0.5));
    assert!(matches!(says[..], [MeterSays::Current(Sample::Value(it), HELD)] if it.value < 0.0));
}

#[rstest]
#[case::positive(b"+OL mA DC MAN\n", false)]
#[case::negative(b"-OL mA DC MAN\n", true)]
#[case::the_end_of_the_range(b"+09.9900 mA DC MAN\n", false)]
fn an_overload_in_text_is_one(#[case] line: &[u8], #[case] negative: bool) {
    let says = text().receive(line, seconds(0.5));
    assert_eq!(says, [MeterSays::Current(Sample::Overload { negative }, HELD)]);
}

#[test]
fn an_overload_in_a_frame_is_one() {
    let mut meter = known("frame-stream-meter", &good_frame());
    let says = meter.receive(&frame([0, 0x3f, 0x38, 0, 0], 0x02, 0x08, 0x11), seconds(0.5));
    assert_eq!(says, [MeterSays::Current(Sample::Overload { negative: true }, HELD)]);
}

#[rstest]
#[case::another_range(b"+1.23400 mA DC MAN\n", "expected 10 mA, it shows 1 mA")]
#[case::another_unit(b"+01.2340 uA DC MAN\n", "expected 10 mA, it shows 10 \u{b5}A")]
#[case::volts(b"+01.2340 V DC MAN\n", "expected 10 mA, it shows 10 V")]
#[case::overload_of_a_finer_unit(b"+OL uA DC MAN\n", "it shows 100 \u{b5}A")]
#[case::alternating(b"+01.2340 mA AC MAN\n", "no direct current")]
#[case::held(b"+01.2340 mA DC HOLD\n", "display is held")]
fn a_reading_that_is_none_of_the_plan_s_disturbs(#[case] line: &[u8], #[case] what: &str) {
    let says = text().receive(line, seconds(0.5));
    let [MeterSays::Disturbed(said)] = &says[..] else { panic!("{says:?}") };
    assert!(said.contains(what), "{said}");
}

#[rstest]
#[case::held(0x15)]
#[case::against_a_stored_value(0x19)]
#[case::with_a_low_battery(0x31)]
#[case::alternating(0x12)]
fn a_frame_of_a_display_that_is_not_live_disturbs(#[case] state: u8) {
    let mut meter = known("frame-stream-meter", &good_frame());
    let says = meter.receive(&frame(GOOD, 0x02, 0x00, state), seconds(0.5));
    let [MeterSays::Disturbed(said)] = &says[..] else { panic!("{says:?}") };
    for what in ["held", "stored value", "low battery", "no direct current"] {
        assert!(said.contains(what), "{said}");
    }
}

#[rstest]
#[case::a_word_too_few(b"+01.2340 mA DC\n")]
#[case::a_word_too_many(b"+01.2340 mA DC MAN MAN\n")]
#[case::a_digit_too_few(b"+1.2340 mA DC MAN\n")]
#[case::a_comma(b"+01,2340 mA DC MAN\n")]
#[case::no_number(b"nan mA DC MAN\n")]
#[case::infinity(b"+inf mA DC MAN\n")]
#[case::an_unknown_unit(b"+01.2340 kA DC MAN\n")]
#[case::a_spoiled_byte(b"+01.2\xb40 mA DC MAN\n")]
#[case::two_lines_run_together(b"+01.2340 mA DC MAN+01.2340 mA DC MAN\n")]
fn a_line_that_does_not_read_is_no_reading(#[case] line: &[u8]) {
    let mut meter = text();
    let says = meter.receive(line, seconds(0.5));
    assert!(says.iter().all(|said| matches!(said, MeterSays::Disturbed(_))), "{says:?}");
}

#[test]
fn a_spoiled_frame_costs_no_other() {
    let mut meter = known("frame-stream-meter", &good_frame());
    let mut spoiled = good_frame();
    spoiled[6] ^= 0x10;
    let bytes = [&spoiled[..], &good_frame()].concat();
    assert_eq!(meter.receive(&bytes, seconds(0.5)).len(), 1);
    assert!(0 < meter.resyncs());
    // A start that is none, and one cut off by the next frame.
    let bytes =
        [&[0xd5, 0x2a, 0x11][..], &good_frame(), &good_frame()[..4], &good_frame()].concat();
    assert_eq!(meter.receive(&bytes, seconds(0.6)).len(), 2);
}

#[test]
fn segments_that_make_no_digit_are_no_reading() {
    let mut meter = known("frame-stream-meter", &good_frame());
    let odd = frame([0x3f, 0x06, 0x80 | 0x5a, 0x4f, 0x66], 0x02, 0x00, 0x11);
    assert_eq!(meter.receive(&odd, seconds(0.5)), []);
}

#[test]
fn rubbish_is_silence_and_silence_is_a_lost_line() {
    let mut meter = text();
    for at in 4..23 {
        let now = seconds(f64::from(at) / 10.0);
        assert_eq!(meter.receive(b"@@@@ mA\r\n", now), []);
        assert_eq!(meter.pass(now), []);
    }
    let says = meter.pass(seconds(2.4));
    assert!(matches!(&says[..], [MeterSays::Lost(_)]), "{says:?}");
    assert_eq!(meter.receive(LINE, seconds(2.5)), [], "what was lost does not come back by itself");
}

#[test]
fn nothing_counts_before_the_form_was_seen_three_times_in_a_row() {
    let mut meter = held("text-stream-meter");
    for bytes in [LINE, LINE, b"?\r\n", LINE, LINE] {
        assert_eq!(meter.receive(bytes, seconds(0.2)), []);
    }
    assert!(matches!(&meter.receive(LINE, seconds(0.2))[..], [MeterSays::Identity(_)]));
}

#[test]
fn volts_across_a_resistor_become_a_current() {
    // 1 V across 100 kΩ with 10 MΩ beside it: 10.1 µA (handbook §3.3).
    let name = "text-stream-meter";
    let mut driver = read_meter(name, shipped(name).unwrap()).unwrap();
    driver.ability.voltage_range.retain(|range| range.full_scale.value > 5.0);
    let crate::station::driver::MeterTalk::Streams(stream) = driver.talk.clone() else {
        panic!("no stream")
    };
    let sensed_by =
        SensedBy::Resistor(crate::station::Sense { resistance: ohms(1e5), tolerance: 0.001 });
    let mut meter = StreamingMeter::open(stream, &driver, sensed_by, seconds(0.0));
    let line = b"+01.0000 V DC MAN\n";
    for _ in 0..3 {
        meter.receive(line, seconds(0.1));
    }
    let says = meter.receive(line, seconds(0.2));
    let [MeterSays::Current(Sample::Value(current), _)] = says[..] else { panic!("{says:?}") };
    assert!((current.value - 1.01e-5).abs() < 1e-12, "{current:?}");
}

proptest! {
    #[test]
    fn any_cut_of_the_bytes_gives_the_same_readings(
        cuts in prop::collection::vec(0_usize..60, 0..8), frames in any::<bool>()
    ) {
        let (driver, one) = if frames {
            ("frame-stream-meter", good_frame())
        } else {
            ("text-stream-meter", LINE.to_vec())
        };
        let bytes = one.repeat(3);
        let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(bytes.len())).collect();
        cuts.extend([0, bytes.len()]);
        cuts.sort_unstable();
        let mut meter = known(driver, &one);
        let mut says = Vec::new();
        for pair in cuts.windows(2) {
            says.extend(meter.receive(&bytes[pair[0]..pair[1]], seconds(0.4)));
        }
        prop_assert_eq!(says, known(driver, &one).receive(&bytes, seconds(0.4)));
    }

    #[test]
    fn noise_gives_no_value_beyond_the_range(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        for (driver, one) in [("text-stream-meter", LINE.to_vec()), ("frame-stream-meter", good_frame())] {
            for said in known(driver, &one).receive(&bytes, seconds(0.4)) {
                if let MeterSays::Current(Sample::Value(current), _) = said {
                    prop_assert!(current.value.abs() < 1e-2);
                }
            }
        }
    }

    #[test]
    fn one_wrong_bit_in_a_frame_gives_no_other_value(at in 0_usize..96) {
        let mut spoiled = good_frame();
        spoiled[at / 8] ^= 1 << (at % 8);
        let says = known("frame-stream-meter", &good_frame()).receive(&spoiled, seconds(0.4));
        prop_assert!(says.is_empty(), "{:?}", says);
    }
}

#[test]
fn a_line_that_falls_asleep_is_written_to_as_often_as_its_driver_says() {
    let text = shipped("text-stream-meter").unwrap();
    let asleep = format!("{text}\n[awake]\nwords = \"\"\nevery = \"1.5 s\"\n");
    let mut driver = read_meter("asleep", &asleep).unwrap();
    driver.ability.current_range.retain(|range| range.full_scale == amperes(1e-2));
    let crate::station::driver::MeterTalk::Streams(stream) = driver.talk.clone() else {
        panic!("no stream")
    };
    let mut meter = StreamingMeter::open(stream, &driver, SensedBy::Shunt, seconds(0.0));
    let written: Vec<_> = [0.0, 0.1, 1.4, 1.5, 1.6, 3.1]
        .map(|at| meter.write(seconds(at)))
        .into_iter()
        .map(|bytes| bytes.is_some())
        .collect();
    assert_eq!(written, [true, false, false, true, false, true]);
    assert_eq!(meter.write(seconds(4.6)), Some(b"\n".to_vec()));
    assert_eq!(meter.wakes_at(), Some(seconds(5.0)), "the deadline comes first");
}

#[test]
fn a_meter_that_is_not_kept_awake_is_never_written_to_and_its_silence_names_power_saving() {
    let mut meter = text();
    assert_eq!(meter.write(seconds(0.3)), None);
    let says = meter.pass(seconds(10.0));
    let [MeterSays::Lost(why)] = &says[..] else { panic!("{says:?}") };
    assert!(why.contains("power saving"), "{why}");
}

#[rstest]
#[case::of_a_meter_that_is_asked("scpi-meter", "1 s", "for a meter that streams")]
#[case::without_a_pause("text-stream-meter", "0 s", "awake.every: expected 0.1 s or more")]
fn nothing_is_kept_awake_needlessly(
    #[case] driver: &str,
    #[case] every: &str,
    #[case] message: &str,
) {
    let text = shipped(driver).unwrap();
    let text = format!("{text}\n[awake]\nwords = \"\"\nevery = \"{every}\"\n");
    let error = read_meter("meter", &text).unwrap_err().to_string();
    assert!(error.contains(message), "{error}");
}
