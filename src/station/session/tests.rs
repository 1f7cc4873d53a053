//! The conversation, byte by byte and moment by moment.

use proptest::prelude::*;
use rstest::rstest;

use super::*;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Ask {
    Voltage,
    Current,
}

const IDENTITY: &[u8] = b"MAKER,SUPPLY,0001,1.0\n";

fn timing() -> Timing {
    Timing {
        end: "\n".into(),
        gap: seconds(0.0),
        deadline: seconds(1.0),
        first_deadline: seconds(5.0),
        echo: false,
        acknowledgement: None,
        prompt: None,
        identity: IdentityForm::Fields,
    }
}

fn ask(question: Ask) -> Outgoing<Ask> {
    let words = match question {
        Ask::Voltage => "MEAS:VOLT?",
        Ask::Current => "MEAS:CURR?",
    };
    Outgoing::asking(words.into(), question)
}

/// A session in step at t = 1 s.
fn in_step() -> Session<Ask> {
    let mut session = Session::open(timing(), "*IDN?", seconds(0.0));
    assert_eq!(session.write(seconds(0.5)), Some(b"*IDN?\n".to_vec()));
    let heard = session.receive(IDENTITY, seconds(1.0));
    assert_eq!(heard, [Heard::InStep("MAKER,SUPPLY,0001,1.0".into())]);
    session
}

fn asked(question: Ask) -> Session<Ask> {
    let mut session = in_step();
    session.say(ask(question));
    assert!(session.write(seconds(1.0)).is_some());
    session
}

#[test]
fn nothing_is_asked_before_the_identity_is_known() {
    let mut session = Session::open(timing(), "*IDN?", seconds(0.0));
    session.say(ask(Ask::Voltage));
    assert_eq!(session.write(seconds(0.5)), Some(b"*IDN?\n".to_vec()));
    assert_eq!(session.write(seconds(0.6)), None);
    session.receive(IDENTITY, seconds(0.7));
    assert_eq!(session.write(seconds(0.7)), Some(b"MEAS:VOLT?\n".to_vec()));
}

#[test]
fn only_one_question_is_open_at_a_time() {
    let mut session = asked(Ask::Voltage);
    session.say(ask(Ask::Current));
    assert_eq!(session.write(seconds(1.1)), None);
    let heard = session.receive(b"25.0\n", seconds(1.2));
    assert_eq!(heard, [Heard::Answer(Ask::Voltage, b"25.0".to_vec())]);
    assert_eq!(session.write(seconds(1.2)), Some(b"MEAS:CURR?\n".to_vec()));
}

#[test]
fn a_late_answer_is_never_taken_for_the_next() {
    let mut session = asked(Ask::Voltage);
    session.say(ask(Ask::Current));
    assert_eq!(session.pass(seconds(2.0)), [Heard::Missed(Ask::Voltage)]);
    assert_eq!(session.write(seconds(2.05)), None, "must stay silent");
    assert_eq!(session.receive(b"25.012\n", seconds(2.3)), []);
    assert_eq!(session.write(seconds(3.2)), None, "quiet time starts again");
    assert_eq!(session.write(seconds(3.3)), Some(b"*IDN?\n".to_vec()));
    assert_eq!(session.receive(IDENTITY, seconds(3.4)).len(), 1);
    assert_eq!(session.write(seconds(3.4)), Some(b"MEAS:CURR?\n".to_vec()));
    let heard = session.receive(b"0.00213\n", seconds(3.5));
    assert_eq!(heard, [Heard::Answer(Ask::Current, b"0.00213".to_vec())]);
}

#[test]
fn two_lines_for_one_question_are_both_refused() {
    let mut session = asked(Ask::Current);
    let heard = session.receive(b"25.001\n0.0021\n", seconds(1.1));
    assert_eq!(heard, [Heard::Missed(Ask::Current)]);
    assert_eq!(session.resyncs(), 1);
}

#[test]
fn a_line_that_nobody_asked_for_loses_step() {
    let mut session = in_step();
    assert_eq!(session.receive(b"?\r", seconds(1.1)), []);
    session.say(ask(Ask::Voltage));
    assert_eq!(session.write(seconds(1.2)), None);
    assert_eq!(session.write(seconds(2.2)), Some(b"*IDN?\n".to_vec()));
}

#[test]
fn two_misses_in_a_row_are_a_lost_line() {
    let mut session = asked(Ask::Voltage);
    session.pass(seconds(2.0));
    assert_eq!(session.write(seconds(3.0)), Some(b"*IDN?\n".to_vec()));
    let heard = session.pass(seconds(4.0));
    assert!(matches!(&heard[..], [Heard::Lost(why)] if why.contains("*IDN?\\n")), "{heard:?}");
    session.say(ask(Ask::Voltage));
    assert_eq!(session.write(seconds(9.0)), None);
}

#[test]
fn another_instrument_on_the_line_is_a_lost_line() {
    let mut session = asked(Ask::Voltage);
    session.pass(seconds(2.0));
    session.write(seconds(3.0));
    let heard = session.receive(b"MAKER,METER,0002,1.0\n", seconds(3.1));
    assert!(matches!(&heard[..], [Heard::Lost(_)]), "{heard:?}");
}

#[test]
fn a_cut_out_ends_a_half_sent_line_and_drops_what_waits() {
    let mut session = in_step();
    session.say(Outgoing::order("VOLT 25".into()));
    assert_eq!(session.cut_out("OUTP OFF", seconds(1.0)), b"\nOUTP OFF\n");
    assert_eq!(session.write(seconds(1.1)), None);
    assert!(session.is_idle());
}

#[test]
fn a_cut_out_over_an_open_question_takes_no_answer_to_it() {
    let mut session = asked(Ask::Voltage);
    session.cut_out("OUTP OFF", seconds(1.1));
    assert_eq!(session.receive(b"25.0\n", seconds(1.2)), []);
    assert_eq!(session.write(seconds(2.2)), Some(b"*IDN?\n".to_vec()));
}

#[test]
fn a_cut_out_needs_no_open_line() {
    let mut session = Session::<Ask>::open(timing(), "*IDN?", seconds(0.0));
    session.pass(seconds(100.0));
    assert_eq!(session.cut_out("OUTP OFF", seconds(100.0)), b"\nOUTP OFF\n");
}

#[test]
fn the_gap_is_kept_between_lines() {
    let mut session = in_step();
    session.timing.gap = seconds(0.12);
    for words in ["CURR 0.01", "VOLT 25"] {
        session.say(Outgoing::order(words.into()));
    }
    assert!(session.write(seconds(2.0)).is_some());
    assert_eq!(session.write(seconds(2.1)), None);
    assert_eq!(session.write(seconds(2.12)), Some(b"VOLT 25\n".to_vec()));
}

#[test]
fn a_line_without_end_stays_small_and_is_no_answer() {
    let mut session = asked(Ask::Voltage);
    for _ in 0..100 {
        assert_eq!(session.receive(&[b'1'; 100], seconds(1.1)), []);
    }
    assert!(session.buffer.len() <= LONGEST_LINE);
    assert_eq!(session.receive(b"\n", seconds(1.2)), []);
}

#[test]
fn a_port_flush_empties_the_half_line_too() {
    let mut session = asked(Ask::Voltage);
    session.receive(b"1.2", seconds(1.5));
    session.pass(seconds(2.0));
    session.write(seconds(3.0));
    session.receive(IDENTITY, seconds(3.1));
    session.say(ask(Ask::Current));
    session.write(seconds(3.2));
    let heard = session.receive(b"3.4E-06\n", seconds(3.3));
    assert_eq!(heard, [Heard::Answer(Ask::Current, b"3.4E-06".to_vec())]);
}

/// A session in step with an instrument that echoes.
fn echoing() -> Session<Ask> {
    let mut session = Session::open(Timing { echo: true, ..timing() }, "*IDN?", seconds(0.0));
    session.write(seconds(0.5));
    assert_eq!(session.receive(b"*IDN?\r\n", seconds(0.9)), []);
    assert_eq!(session.receive(IDENTITY, seconds(1.0)).len(), 1);
    session
}

#[test]
fn an_echo_is_no_answer() {
    let mut session = echoing();
    session.say(ask(Ask::Voltage));
    session.write(seconds(1.0));
    assert_eq!(session.receive(b"MEAS:VOLT?\r\n", seconds(1.1)), []);
    let heard = session.receive(b"25.0\r\n", seconds(1.2));
    assert_eq!(heard, [Heard::Answer(Ask::Voltage, b"25.0".to_vec())]);
}

#[test]
fn a_prompt_before_an_answer_or_behind_it_is_no_part_of_it() {
    let timing = Timing { echo: true, prompt: Some("> ".into()), ..timing() };
    let mut session = Session::open(timing, "*IDN?", seconds(0.0));
    session.write(seconds(0.5));
    // The first time without a prompt, then with one in front of each line, at last behind it.
    assert_eq!(session.receive(b"*IDN?\r\n", seconds(0.9)), []);
    assert_eq!(session.receive(IDENTITY, seconds(1.0)).len(), 1);
    for reply in [b"> MEAS:CURR?\r\n> -0.2\r\n".as_slice(), b"MEAS:CURR?\r\n-0.2\r\n> "] {
        session.say(ask(Ask::Current));
        session.write(seconds(1.0));
        let heard = session.receive(reply, seconds(1.1));
        assert_eq!(heard, [Heard::Answer(Ask::Current, b"-0.2".to_vec())]);
    }
    assert_eq!(session.resyncs(), 0);
}

#[test]
fn a_prompt_that_the_driver_does_not_name_stays_in_the_answer() {
    let mut session = asked(Ask::Current);
    let heard = session.receive(b"> 0.2\r\n", seconds(1.1));
    assert_eq!(heard, [Heard::Answer(Ask::Current, b"> 0.2".to_vec())]);
}

#[test]
fn a_garbled_echo_spoils_the_answer_behind_it() {
    let mut session = echoing();
    session.say(ask(Ask::Voltage));
    session.write(seconds(1.0));
    let heard = session.receive(b"MEBS:VOLT?\r\n25.0\r\n", seconds(1.1));
    assert_eq!(heard, [Heard::Missed(Ask::Voltage)]);
}

#[test]
fn the_echo_of_a_cut_out_disturbs_nothing() {
    let mut session = echoing();
    session.cut_out("OUTP OFF", seconds(1.0));
    session.say(ask(Ask::Voltage));
    assert!(session.write(seconds(1.0)).is_some());
    let heard = session.receive(b"\r\nOUTP OFF\r\nMEAS:VOLT?\r\n0.0\r\n", seconds(1.1));
    assert_eq!(heard, [Heard::Answer(Ask::Voltage, b"0.0".to_vec())]);
    assert_eq!(session.resyncs(), 0);
}

#[test]
fn an_echo_that_a_cut_out_garbled_does_not_stand_before_the_next_identity() {
    let mut session = echoing();
    session.say(ask(Ask::Voltage));
    session.write(seconds(1.0));
    session.cut_out("OUTP OFF", seconds(1.1));
    // The off went out in the middle of the echo before it: its own never comes alone.
    session.receive(b"MEAS:VOUTP OFF\r\n", seconds(1.2));
    assert_eq!(session.write(seconds(2.2)), Some(b"*IDN?\n".to_vec()));
    session.receive(b"*IDN?\r\n", seconds(2.3));
    let heard = session.receive(IDENTITY, seconds(2.4));
    assert_eq!(heard, [Heard::InStep("MAKER,SUPPLY,0001,1.0".into())]);
}

/// A question open whose answer is four bytes long.
fn asked_bare() -> Session<Ask> {
    let mut session = in_step();
    session.say(Outgoing { ends: Ends::After(4), ..ask(Ask::Voltage) });
    session.write(seconds(1.0));
    session
}

#[test]
fn an_answer_without_an_end_mark_ends_after_its_length() {
    let mut session = asked_bare();
    assert_eq!(session.receive(b"\r25", seconds(1.1)), []);
    let heard = session.receive(b"00", seconds(1.2));
    assert_eq!(heard, [Heard::Answer(Ask::Voltage, b"2500".to_vec())]);
    assert_eq!(session.receive(b"\r\n", seconds(1.3)), [], "an end mark all the same");
    assert_eq!(session.resyncs(), 0);
}

#[rstest]
#[case::two_answers(b"25002500")]
#[case::one_and_a_half(b"250025")]
fn more_than_one_answer_without_an_end_mark_is_none(#[case] bytes: &[u8]) {
    let mut session = asked_bare();
    let heard = session.receive(bytes, seconds(1.1));
    let trusted = heard.iter().any(|heard| matches!(heard, Heard::Answer(..)));
    let later = session.receive(b"\n", seconds(1.1));
    assert!(!trusted || (later.is_empty() && 0 < session.resyncs()), "{heard:?}");
}

proptest! {
    #[test]
    fn any_cut_of_the_bytes_gives_the_same_answer(
        cuts in prop::collection::vec(0_usize..18, 0..6), end in prop::sample::select(vec!["\n", "\r", "\r\n", "\n\r"])
    ) {
        let bytes = format!("+1012.34E-09{end}").into_bytes();
        let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(bytes.len())).collect();
        cuts.extend([0, bytes.len()]);
        cuts.sort_unstable();
        let mut session = asked(Ask::Current);
        let mut heard = Vec::new();
        for pair in cuts.windows(2) {
            heard.extend(session.receive(&bytes[pair[0]..pair[1]], seconds(1.1)));
        }
        prop_assert_eq!(heard, [Heard::Answer(Ask::Current, b"+1012.34E-09".to_vec())]);
    }

    #[test]
    fn noise_never_stops_a_cut_out(noise in prop::collection::vec(any::<u8>(), 0..300)) {
        let mut session = asked(Ask::Voltage);
        session.receive(&noise, seconds(1.1));
        prop_assert_eq!(session.cut_out("OUTP OFF", seconds(1.2)), b"\nOUTP OFF\n".to_vec());
    }
}

#[test]
fn one_that_never_says_who_it_is_is_given_up() {
    let mut session: Session<Ask> = Session::open(timing(), "*IDN?", seconds(0.0));
    let mut heard = Vec::new();
    for second in 0_u32..40 {
        let now = seconds(f64::from(second) * 0.5 + 0.5);
        if session.write(now).is_some() {
            heard.extend(session.receive(b"*IDN?\r\n", now));
        }
    }
    let [Heard::Lost(why)] = &heard[..] else { panic!("{heard:?}") };
    insta::assert_snapshot!(why, @r#""*IDN?\n" is answered with "*IDN?", no identity"#);
}

#[test]
fn an_echo_is_no_name_though_any_text_would_do() {
    let any_text = Timing { identity: IdentityForm::Text, ..timing() };
    let mut session: Session<Ask> = Session::open(any_text, "N?", seconds(0.0));
    assert!(session.write(seconds(0.5)).is_some());
    assert_eq!(session.receive(b"N?\r\n", seconds(0.6)), []);
    assert!(session.write(seconds(2.0)).is_some());
    assert_eq!(
        session.receive(b"ATTIC SUPPLY\r\n", seconds(2.1)),
        [Heard::InStep("ATTIC SUPPLY".into())]
    );
}

#[test]
fn banners_after_a_reset_are_waited_out() {
    let mut session: Session<Ask> = Session::open(timing(), "*IDN?", seconds(0.0));
    for (asked, came) in [(0.5, &b"READY\r\n"[..]), (2.0, b"SELFTEST OK\r\n"), (4.0, IDENTITY)] {
        assert!(session.write(seconds(asked)).is_some(), "{asked}");
        let heard = session.receive(came, seconds(asked + 0.1));
        assert_eq!(heard.is_empty(), came != IDENTITY, "{heard:?}");
    }
}
