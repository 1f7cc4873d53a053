//! What the scanner says and hears, line by line.

use super::*;
use crate::station::driver::{read_scanner, shipped};

const IDENTITY: &[u8] = b"MAKER,SWITCH,1,1\n";

fn channels() -> Vec<Channel> {
    [101, 102, 103].map(Channel::numbered).to_vec()
}

/// A scanner that groups its three channels by two, at t = 0.1 s, its relays read as `first`.
fn scanner(first: [&str; 2]) -> Scanner {
    let text = shipped("scpi-switch").unwrap().replacen("at_once = 16", "at_once = 2", 1);
    let driver = read_scanner("scpi-switch.toml", &text).unwrap();
    let mut scanner = Scanner::begin(driver, &channels(), seconds(0.0));
    expect(&mut scanner, 0.1, "*IDN?");
    assert!(matches!(&scanner.receive(IDENTITY, seconds(0.1))[..], [ScannerSays::Identity(_)]));
    answer(&mut scanner, 0.1, "SYST:ERR?", "0");
    look(&mut scanner, 0.1, first);
    scanner
}

#[track_caller]
fn expect(scanner: &mut Scanner, at: f64, line: &str) {
    let bytes = scanner.write(seconds(at)).map(|bytes| String::from_utf8(bytes).unwrap());
    assert_eq!(bytes.as_deref().map(str::trim), Some(line));
}

#[track_caller]
fn answer(scanner: &mut Scanner, at: f64, question: &str, reply: &str) -> Vec<ScannerSays> {
    expect(scanner, at, question);
    scanner.receive(format!("{reply}\n").as_bytes(), seconds(at))
}

/// Answers both questions of a look.
#[track_caller]
fn look(scanner: &mut Scanner, at: f64, [first, second]: [&str; 2]) -> Vec<ScannerSays> {
    assert_eq!(answer(scanner, at, "ROUT:CLOS? (@101,102)", first), []);
    answer(scanner, at, "ROUT:CLOS? (@103)", second)
}

/// Takes an order to 102 up to the look after it, at t = 0.2 s.
fn closing() -> Scanner {
    let mut scanner = scanner(["0,0", "0"]);
    scanner.close(Channel::numbered(102)).unwrap();
    assert_eq!(look(&mut scanner, 0.1, ["0,0", "0"]), []);
    expect(&mut scanner, 0.1, "ROUT:CLOS (@102)");
    assert_eq!(scanner.write(seconds(0.12)), None, "the relay moves");
    answer(&mut scanner, 0.2, "SYST:ERR?", "0");
    scanner
}

#[test]
fn a_channel_closes_once_all_are_read_open_and_counts_once_it_is_read_back() {
    let mut scanner = closing();
    assert_eq!(scanner.contacts(), Contacts::Unknown);
    let only = Contacts::Only(Channel::numbered(102));
    assert_eq!(look(&mut scanner, 0.2, ["0,1", "0"]), [ScannerSays::Stands(only)]);
    assert_eq!(scanner.contacts(), only);
}

#[test]
fn the_question_waits_until_the_relay_has_moved() {
    let mut scanner = scanner(["0,0", "0"]);
    scanner.open_all();
    expect(&mut scanner, 0.1, "ROUT:OPEN:ALL");
    assert_eq!(scanner.wakes_at(), Some(seconds(0.1) + seconds(0.05)));
    assert_eq!(scanner.write(seconds(0.149)), None);
    expect(&mut scanner, 0.151, "SYST:ERR?");
}

#[test]
fn a_second_channel_is_refused_while_one_is_closed() {
    let mut scanner = scanner(["1,0", "0"]);
    let (wanted, closed) = (Channel::numbered(103), Channel::numbered(101));
    assert_eq!(scanner.close(wanted), Err(NotClosed::Occupied { wanted, closed }));
    assert_eq!(scanner.write(seconds(1.0)), None, "nothing is said");
}

#[test]
fn a_channel_is_refused_while_the_relays_are_not_known() {
    let wanted = Channel::numbered(103);
    let mut scanner = closing();
    assert_eq!(scanner.close(wanted), Err(NotClosed::Unproven { wanted }));
    let foreign = Channel::numbered(999);
    assert_eq!(scanner.close(foreign), Err(NotClosed::Foreign { wanted: foreign }));
}

#[test]
fn a_relay_closed_by_hand_after_the_last_look_is_found_before_another_closes() {
    let mut scanner = scanner(["0,0", "0"]);
    scanner.close(Channel::numbered(102)).unwrap();
    let says = look(&mut scanner, 0.1, ["0,0", "1"]);
    let [ScannerSays::Refused(what)] = &says[..] else { panic!("{says:?}") };
    insta::assert_snapshot!(what, @"all were to be open before channel 102 closes, the scanner says: closed 103");
    assert_eq!(scanner.write(seconds(1.0)), None, "nothing was closed");
}

#[test]
fn a_relay_that_did_not_move_or_moved_too_many_is_told() {
    for reply in [["0,0", "0"], ["1,1", "0"]] {
        let mut scanner = closing();
        let says = look(&mut scanner, 0.2, reply);
        assert!(matches!(&says[..], [ScannerSays::Refused(_)]), "{says:?}");
        assert!(scanner.rests());
    }
}

#[test]
fn a_welded_relay_is_found_when_it_is_to_open() {
    let mut scanner = scanner(["1,0", "0"]);
    scanner.open(Channel::numbered(101));
    expect(&mut scanner, 0.2, "ROUT:OPEN (@101)");
    answer(&mut scanner, 0.3, "SYST:ERR?", "0");
    let says = look(&mut scanner, 0.3, ["1,0", "0"]);
    let [ScannerSays::Refused(what)] = &says[..] else { panic!("{says:?}") };
    insta::assert_snapshot!(what, @"all channels were to be open, the scanner says: closed 101");
}

#[test]
fn a_reply_for_the_wrong_number_of_channels_is_no_reading() {
    let mut scanner = closing();
    assert_eq!(answer(&mut scanner, 0.2, "ROUT:CLOS? (@101,102)", "1"), []);
    expect(&mut scanner, 1.3, "*IDN?");
    scanner.receive(IDENTITY, seconds(1.3));
    let only = Contacts::Only(Channel::numbered(102));
    assert_eq!(look(&mut scanner, 1.3, ["0,1", "0"]), [ScannerSays::Stands(only)]);
}

#[test]
fn after_a_restart_nothing_counts_before_it_was_read_again() {
    let mut scanner = scanner(["1,0", "0"]);
    scanner.receive(b"READY\n", seconds(0.5));
    expect(&mut scanner, 1.6, "*IDN?");
    scanner.receive(IDENTITY, seconds(1.6));
    assert_eq!(scanner.contacts(), Contacts::Unknown);
    answer(&mut scanner, 1.6, "SYST:ERR?", "0");
    let says = look(&mut scanner, 1.6, ["0,0", "0"]);
    assert_eq!(says, [ScannerSays::Stands(Contacts::AllOpen)]);
}

#[test]
fn the_answer_to_an_earlier_look_is_not_taken_for_a_later_one() {
    let mut scanner = scanner(["0,0", "0"]);
    scanner.look();
    expect(&mut scanner, 0.2, "ROUT:CLOS? (@101,102)");
    scanner.look();
    assert_eq!(scanner.receive(b"1,1\n", seconds(0.2)), []);
    let says = look(&mut scanner, 0.2, ["0,0", "0"]);
    assert_eq!(says, [ScannerSays::Stands(Contacts::AllOpen)]);
}

#[test]
fn an_order_that_waits_is_dropped_for_a_newer_one() {
    let mut scanner = scanner(["0,0", "0"]);
    scanner.look();
    expect(&mut scanner, 0.2, "ROUT:CLOS? (@101,102)");
    scanner.open(Channel::numbered(101));
    scanner.open_all();
    scanner.receive(b"0,0\n", seconds(0.2));
    expect(&mut scanner, 0.2, "ROUT:OPEN:ALL");
    assert_eq!(scanner.write(seconds(0.2)), None);
}

#[test]
fn an_order_is_never_repeated() {
    let mut scanner = closing();
    // The look after the order is missed once: it is asked again, and the order is not.
    expect(&mut scanner, 0.2, "ROUT:CLOS? (@101,102)");
    scanner.pass(seconds(1.3));
    expect(&mut scanner, 2.4, "*IDN?");
    scanner.receive(IDENTITY, seconds(2.4));
    let says = look(&mut scanner, 2.4, ["0,0", "0"]);
    assert!(matches!(&says[..], [ScannerSays::Refused(_)]), "{says:?}");
    assert_eq!(scanner.write(seconds(9.0)), None);
}

#[test]
fn a_lost_line_leaves_the_relays_unknown() {
    let mut scanner = scanner(["0,0", "0"]);
    scanner.look();
    expect(&mut scanner, 0.2, "ROUT:CLOS? (@101,102)");
    scanner.pass(seconds(1.3));
    assert!(scanner.write(seconds(2.4)).is_some());
    let says = scanner.pass(seconds(3.5));
    assert!(matches!(&says[..], [ScannerSays::Lost(_)]), "{says:?}");
    assert_eq!((scanner.contacts(), scanner.rests()), (Contacts::Unknown, true));
}
