//! What goes wrong on lines, byte by byte and moment by moment: late, missing, split, glued, garbled,
//! echoed and stale replies, wrong end marks, banners and strangers.
//!
//! `fixtures/field-faults.jsonl` has what was met at real benches, `tests/field_faults.rs` says which
//! test holds which of its rows.

use reststrom::quantity::{Time, seconds};
use reststrom::station::driver::IdentityForm;
use reststrom::station::{Ends, Heard, Outgoing, Session, Timing};
use rstest::rstest;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Ask {
    Voltage,
    Current,
}

const NAME: &[u8] = b"MAKER,SUPPLY-A,0001,1.0\r\n";

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

/// A session at a moment.
struct Talk {
    session: Session<Ask>,
    now: f64,
}

impl Talk {
    fn opened(timing: Timing) -> Self {
        let mut talk = Self { session: Session::open(timing, "*IDN?", seconds(0.0)), now: 0.0 };
        talk.at(0.1).says("*IDN?");
        talk
    }

    /// In step since 0.2 s.
    fn in_step(timing: Timing) -> Self {
        let (echo, mut talk) = (timing.echo, Self::opened(timing));
        if echo {
            assert_eq!(talk.at(0.15).hears(b"*IDN?\r\n"), []);
        }
        assert_eq!(talk.at(0.2).hears(NAME).len(), 1);
        talk
    }

    fn asked(ask: Ask) -> Self {
        let mut talk = Self::in_step(timing());
        talk.asks(ask);
        talk
    }

    fn at(&mut self, second: f64) -> &mut Self {
        self.now = second;
        self
    }

    fn time(&self) -> Time {
        seconds(self.now)
    }

    #[track_caller]
    fn says(&mut self, words: &str) {
        let bytes = self.session.write(self.time());
        let said = bytes.map(|bytes| String::from_utf8(bytes).expect("text"));
        assert_eq!(said.as_deref().map(str::trim_end), Some(words), "at {} s", self.now);
    }

    #[track_caller]
    fn is_silent(&mut self) {
        assert_eq!(self.session.write(self.time()), None, "at {} s", self.now);
    }

    #[track_caller]
    fn asks(&mut self, ask: Ask) {
        let words = match ask {
            Ask::Voltage => "MEAS:VOLT?",
            Ask::Current => "MEAS:CURR?",
        };
        self.session.say(Outgoing::asking(words.into(), ask));
        self.says(words);
    }

    fn hears(&mut self, bytes: &[u8]) -> Vec<Heard<Ask>> {
        self.session.receive(bytes, self.time())
    }

    fn passes(&mut self) -> Vec<Heard<Ask>> {
        self.session.pass(self.time())
    }
}

fn answer(ask: Ask, line: &[u8]) -> Heard<Ask> {
    Heard::Answer(ask, line.to_vec())
}

#[test]
fn a_banner_is_no_name_and_the_name_is_asked_for_again() {
    let mut talk = Talk::opened(timing());
    assert_eq!(talk.at(2.0).hears(b"READY\r\n"), []);
    talk.at(2.5).is_silent();
    talk.at(3.0).says("*IDN?");
    assert!(matches!(&talk.at(3.1).hears(NAME)[..], [Heard::InStep(_)]));
}

#[test]
fn a_line_that_never_gives_a_name_is_given_up_with_what_came() {
    let mut talk = Talk::opened(timing());
    let mut heard = Vec::new();
    for round in 0..6 {
        talk.at(f64::from(round) * 2.0 + 0.5);
        // Four fields as a meter with even parity sends them to a line without.
        heard.extend(talk.hears(b"\xcd\xc1\xcb,A\xd2,\xb1,\xb1.\xb0\n"));
        talk.at(f64::from(round) * 2.0 + 2.0);
        talk.session.write(talk.time());
    }
    let [Heard::Lost(why)] = &heard[..] else { panic!("{heard:?}") };
    assert!(why.contains("*IDN?\\n") && why.contains("parity"), "{why}");
}

#[test]
fn silence_tells_the_bytes_that_were_sent_with_their_end_mark() {
    let mut talk = Talk::opened(timing());
    talk.at(5.2).passes();
    talk.at(6.3).says("*IDN?");
    let heard = talk.at(11.4).passes();
    assert!(matches!(&heard[..], [Heard::Lost(why)] if why.contains("\"*IDN?\\n\"")), "{heard:?}");
}

#[test]
fn a_first_answer_may_take_its_time_and_a_later_one_may_not() {
    let mut talk = Talk::opened(Timing { first_deadline: seconds(12.0), ..timing() });
    assert_eq!(talk.at(9.9).passes(), []);
    assert!(matches!(&talk.at(10.0).hears(NAME)[..], [Heard::InStep(_)]));
    talk.asks(Ask::Voltage);
    assert_eq!(talk.at(11.0).passes(), [Heard::Missed(Ask::Voltage)]);
}

#[test]
fn what_was_sent_before_the_line_was_opened_is_thrown_away() {
    let mut talk = Talk { session: Session::open(timing(), "*IDN?", seconds(0.0)), now: 0.0 };
    for step in 0..15_u8 {
        talk.at(0.01 * f64::from(step + 1));
        assert_eq!(talk.hears(b"+0.001E-06\r\n"), []);
        talk.is_silent();
    }
    talk.at(0.15 + 1.0).says("*IDN?");
}

#[test]
fn end_marks_of_all_kinds_end_a_line_once() {
    let mut talk = Talk::in_step(timing());
    for (bytes, line) in [
        (&b"25.000\r\n"[..], &b"25.000"[..]),
        (b"25.001\n", b"25.001"),
        (b"25.002\r", b"25.002"),
        (b"25.003\n\r", b"25.003"),
        (b"0.0021\n\r", b"0.0021"),
    ] {
        talk.asks(Ask::Voltage);
        assert_eq!(talk.hears(bytes), [answer(Ask::Voltage, line)]);
    }
    assert_eq!(talk.session.resyncs(), 0);
}

#[rstest]
#[case::two_lines(b"25.012\r\n0.00213\r\n")]
#[case::half_a_line_and_a_line(b"34E-06\r\n+0.12E-06\r\n")]
#[case::an_error_and_an_answer(b"0**ERR -108\r\n\r\n25.01\r\n")]
fn of_two_lines_at_once_neither_is_an_answer(#[case] bytes: &[u8]) {
    let mut talk = Talk::asked(Ask::Current);
    assert_eq!(talk.hears(bytes), [Heard::Missed(Ask::Current)]);
    talk.at(1.1).is_silent();
    talk.at(1.3).says("*IDN?");
}

#[test]
fn a_reply_in_pieces_is_one_and_half_a_reply_is_none() {
    let mut talk = Talk::asked(Ask::Current);
    for (at, piece) in [(0.2, &b"+1.2"[..]), (0.38, b"34E-"), (0.56, b"06\r")] {
        let heard = talk.at(at).hears(piece);
        let whole = piece.ends_with(b"\r").then(|| answer(Ask::Current, b"+1.234E-06"));
        assert_eq!(heard, Vec::from_iter(whole));
    }
    assert_eq!(talk.at(0.74).hears(b"\n"), []);
    talk.asks(Ask::Current);
    assert_eq!(talk.at(0.9).hears(b"+1.2"), []);
    assert_eq!(talk.at(1.74).passes(), [Heard::Missed(Ask::Current)]);
    talk.at(2.8).says("*IDN?");
    let heard = talk.at(3.8).passes();
    assert!(matches!(&heard[..], [Heard::Lost(_)]), "{heard:?}");
}

#[test]
fn a_reply_byte_by_byte_is_one_reading_for_every_cut() {
    let line = b"+1012.34E-09\r\n";
    for cut in 0..line.len() {
        let mut talk = Talk::asked(Ask::Current);
        let mut heard = talk.hears(&line[..cut]);
        heard.extend(talk.at(0.205).hears(&line[cut..]));
        assert_eq!(heard, [answer(Ask::Current, b"+1012.34E-09")], "cut at {cut}");
    }
    let mut talk = Talk::asked(Ask::Current);
    let heard: Vec<_> = line.iter().flat_map(|byte| talk.hears(&[*byte])).collect();
    assert_eq!(heard, [answer(Ask::Current, b"+1012.34E-09")]);
}

#[test]
fn bytes_that_trickle_for_ever_miss_the_deadline_of_the_whole_reply() {
    let mut talk = Talk::asked(Ask::Current);
    let mut missed = false;
    for step in 1..60 {
        talk.at(0.2 + 0.09 * f64::from(step));
        assert!(talk.hears(b"1").is_empty());
        missed |= talk.passes() == [Heard::Missed(Ask::Current)];
        assert!(!missed || 1.1 < talk.now, "after the deadline, not before");
    }
    assert!(missed);
}

#[test]
fn bunches_of_an_adapter_cost_no_answer() {
    // 16 ms, and a cut after 62 bytes.
    let mut talk = Talk::asked(Ask::Current);
    let line = format!("{:0>70}\r\n", "1.5E-06");
    assert_eq!(talk.at(0.216).hears(&line.as_bytes()[..62]), []);
    assert_eq!(talk.at(0.232).hears(&line.as_bytes()[62..]).len(), 1);
}

#[test]
fn nuls_between_lines_are_dropped_and_one_inside_stays_to_spoil_it() {
    let mut talk = Talk::asked(Ask::Current);
    let heard = talk.hears(b"\0\0+012.34E-06\r\n");
    assert_eq!(heard, [answer(Ask::Current, b"+012.34E-06")]);
    talk.asks(Ask::Current);
    assert_eq!(talk.hears(b"+012\0.34E-06\r\n"), [answer(Ask::Current, b"+012\0.34E-06")]);
}

#[test]
fn unasked_lines_of_a_probing_service_are_no_answers() {
    let mut talk = Talk::in_step(timing());
    assert_eq!(talk.hears(b"?\r?\r"), []);
    talk.session.say(Outgoing::asking("MEAS:VOLT?".into(), Ask::Voltage));
    talk.at(1.0).is_silent();
    talk.at(1.2).says("*IDN?");
    talk.hears(NAME);
    talk.says("MEAS:VOLT?");
    assert_eq!(talk.hears(b"25.0\r"), [answer(Ask::Voltage, b"25.0")]);
}

#[test]
fn a_late_answer_is_drained_and_the_name_asked_for_before_anything_else() {
    let mut talk = Talk::asked(Ask::Voltage);
    assert_eq!(talk.at(1.2).passes(), [Heard::Missed(Ask::Voltage)]);
    talk.session.say(Outgoing::asking("MEAS:CURR?".into(), Ask::Current));
    for (at, bytes) in [(1.5, &b"25.012\n"[..]), (1.51, b"0.00213\n")] {
        assert_eq!(talk.at(at).hears(bytes), []);
        talk.is_silent();
    }
    talk.at(2.51).says("*IDN?");
    talk.hears(NAME);
    talk.says("MEAS:CURR?");
}

#[test]
fn another_instrument_after_a_replug_is_told_by_its_name_and_nothing_more_is_said() {
    let mut talk = Talk::asked(Ask::Voltage);
    talk.at(1.2).passes();
    talk.at(2.3).says("*IDN?");
    let heard = talk.hears(b"MAKER,METER-B,0002,1.0\n");
    let [Heard::Lost(why)] = &heard[..] else { panic!("{heard:?}") };
    assert!(why.contains("SUPPLY-A") && why.contains("METER-B"), "{why}");
    talk.session.say(Outgoing::order("OUTP ON".into()));
    talk.at(9.0).is_silent();
}

#[test]
fn only_an_exact_echo_is_taken_away() {
    let mut talk = Talk::in_step(Timing { echo: true, ..timing() });
    talk.asks(Ask::Current);
    assert_eq!(talk.hears(b"MEAS:CURR?\r\n0.00213\r\n"), [answer(Ask::Current, b"0.00213")]);
    talk.asks(Ask::Current);
    assert_eq!(talk.hears(b"MEAS:CURR\r\n"), [Heard::Missed(Ask::Current)]);
}

#[test]
fn an_answer_without_the_echo_before_it_is_none() {
    let mut talk = Talk::in_step(Timing { echo: true, ..timing() });
    talk.asks(Ask::Current);
    assert_eq!(talk.hears(b"0.00213\r\n"), [Heard::Missed(Ask::Current)]);
}

#[test]
fn a_garbled_echo_in_a_piece_of_its_own_is_no_name() {
    let mut talk = Talk::opened(Timing { echo: true, ..timing() });
    assert_eq!(talk.at(0.2).hears(b"*I,D,N,?\r\n"), []);
    assert_eq!(talk.at(0.3).hears(NAME), []);
    talk.at(1.4).says("*IDN?");
}

fn confirming() -> Timing {
    Timing { acknowledgement: Some("OK".into()), ..timing() }
}

#[test]
fn what_confirms_an_order_is_no_answer_to_a_question() {
    let mut talk = Talk::in_step(confirming());
    talk.session.say(Outgoing::order("U25.00".into()));
    talk.says("U25.00");
    talk.asks(Ask::Voltage);
    assert_eq!(talk.hears(b"OK\r\n25.00\r\n"), [answer(Ask::Voltage, b"25.00")]);
    assert_eq!(talk.session.resyncs(), 0);
}

#[rstest]
#[case::refused(b"ERR\r\n25.00\r\n")]
#[case::not_confirmed(b"25.00\r\n")]
fn an_order_that_is_not_confirmed_puts_the_line_out_of_step(#[case] bytes: &[u8]) {
    let mut talk = Talk::in_step(confirming());
    talk.session.say(Outgoing::order("U25.00".into()));
    talk.says("U25.00");
    talk.asks(Ask::Voltage);
    assert_eq!(talk.hears(bytes), [Heard::Missed(Ask::Voltage)]);
    assert_eq!(talk.session.resyncs(), 1);
}

#[test]
fn a_short_reply_of_fixed_length_is_none() {
    let mut talk = Talk::in_step(timing());
    let ends = Ends::After(5);
    talk.session.say(Outgoing { words: "V?".into(), question: Some(Ask::Voltage), ends });
    talk.says("V?");
    assert_eq!(talk.hears(b"25.0"), []);
    assert_eq!(talk.at(1.2).passes(), [Heard::Missed(Ask::Voltage)]);
    assert_eq!(talk.at(1.5).hears(b"0"), [], "late bytes are drained");
    talk.at(2.5).says("*IDN?");
}

#[test]
fn two_misses_are_a_lost_line_long_before_anything_old_could_arrive() {
    let mut talk = Talk::asked(Ask::Voltage);
    talk.session.say(Outgoing::order("OUTP ON".into()));
    talk.at(1.2).passes();
    talk.at(2.2).says("*IDN?");
    let heard = talk.at(3.2).passes();
    assert!(matches!(&heard[..], [Heard::Lost(_)]), "{heard:?}");
    talk.at(1200.0).is_silent();
}
