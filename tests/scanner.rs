//! The scanner over a pseudo-terminal: one part connected at a time, whatever its relays do.

mod rig;

use reststrom::daemon::{OpenScanner, ScannerError};
use reststrom::judge::Left;
use reststrom::simbench::{BenchOptions, Fault, SimPart, SwitchFault, SwitchModel};
use reststrom::station::wiring::{self, WiredScanner};
use reststrom::station::{Channel, Contacts};
use rig::{Rig, part};
use rstest::rstest;

const FIRST: Channel = Channel::numbered(101);
const SECOND: Channel = Channel::numbered(102);

/// A bench with a switch of three channels, parts on the first two, and its wiring.
fn switched(lapse: f64, parts: [&SimPart; 2]) -> (Rig, WiredScanner) {
    let options =
        BenchOptions { lapse, switch: Some(SwitchModel::of(3)), ..BenchOptions::default() };
    let rig = Rig::on(options, parts[0]);
    rig.bench.clip_in_at(102, parts[1]);
    let station = wiring::load(&rig.path("station.toml")).expect("a station");
    (rig, station.scanner.expect("a scanner"))
}

fn two_sound() -> (Rig, WiredScanner) {
    switched(25.0, [&part("C14"), &part("C31")])
}

#[tokio::test]
async fn parts_are_soaked_one_after_another_through_their_relays() {
    let (rig, wiring) = two_sound();
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    for (clip, words) in [("C1", "22µF 25V tantalum"), ("C2", "470µF 25V al-wet")] {
        let channel = wiring.channel(clip).unwrap();
        let mut connected = scanner.close(channel).await.unwrap();
        assert_eq!(rig.bench.closed_channels(), [channel.number()]);
        let words: Vec<&str> =
            ["soak", "--json", clip].into_iter().chain(words.split(' ')).collect();
        let ended = rig.run(&words);
        assert_eq!(ended.json()["verdict"], "within", "{ended:?}");
        connected.still().await.unwrap();
        connected.open_after(Left::Safe).await.unwrap();
        assert!(rig.bench.closed_channels().is_empty());
    }
    rig.is_left_safe();
}

#[tokio::test]
async fn a_part_that_is_not_proven_empty_keeps_its_bleeder() {
    let (rig, wiring) = two_sound();
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    let connected = scanner.close(FIRST).await.unwrap();
    let error = connected.open_after(Left::LockedOut).await.unwrap_err();
    assert!(matches!(error, ScannerError::NotEmpty { channel: FIRST, .. }), "{error}");
    assert_eq!(rig.bench.closed_channels(), [101]);
    // Whoever forgets that is refused a second part.
    let refused = scanner.close(SECOND).await.unwrap_err();
    assert!(matches!(refused, ScannerError::NotClosed { .. }), "{refused}");
    assert_eq!(rig.bench.closed_channels(), [101]);
}

#[tokio::test]
async fn a_relay_that_an_earlier_run_left_closed_is_found() {
    let (rig, wiring) = two_sound();
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    drop(scanner.close(SECOND).await.unwrap());
    drop(scanner);
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    assert_eq!(scanner.contacts(), Contacts::Only(SECOND));
    assert!(scanner.close(FIRST).await.is_err());
    scanner.found_closed().unwrap().open_after(Left::Safe).await.unwrap();
    scanner.close(FIRST).await.unwrap().open_after(Left::Safe).await.unwrap();
    assert!(rig.bench.violations().is_empty(), "{:?}", rig.bench.violations());
}

#[tokio::test]
async fn a_relay_that_does_not_close_is_told_and_nothing_else_is_closed() {
    let (rig, wiring) = two_sound();
    rig.bench.inject(Fault::Switch(SwitchFault::Dead(101)));
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    let error = scanner.close(FIRST).await.unwrap_err();
    let told = "channel 101 was to be closed, the scanner says: all open";
    assert!(error.to_string().ends_with(told), "{error}");
    scanner.close(SECOND).await.unwrap().open_after(Left::Safe).await.unwrap();
}

#[tokio::test]
async fn no_part_is_connected_beside_a_welded_relay() {
    let (rig, wiring) = two_sound();
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    let connected = scanner.close(FIRST).await.unwrap();
    rig.bench.inject(Fault::Switch(SwitchFault::Welded(101)));
    let error = connected.open_after(Left::Safe).await.unwrap_err();
    assert!(matches!(error, ScannerError::Refused { .. }), "{error}");
    assert!(matches!(scanner.open_all().await, Err(ScannerError::Refused { .. })));
    assert!(matches!(scanner.close(SECOND).await, Err(ScannerError::NotClosed { .. })));
    assert!(rig.bench.violations().is_empty(), "{:?}", rig.bench.violations());
}

#[tokio::test]
async fn a_relay_closed_by_hand_after_the_last_look_keeps_all_others_open() {
    let (rig, wiring) = two_sound();
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    rig.bench.inject(Fault::Switch(SwitchFault::ClosedByHand(103)));
    let error = scanner.close(FIRST).await.unwrap_err();
    assert!(matches!(error, ScannerError::Refused { .. }), "{error}");
    assert_eq!(rig.bench.closed_channels(), [103]);
}

#[tokio::test]
async fn a_scanner_that_restarts_beside_a_run_is_noticed_by_the_watch() {
    // Real time: the restart takes 4 s of the bench, less than a lost line needs to be told.
    let (rig, wiring) = switched(20.0, [&part("C14"), &part("C31")]);
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    let mut connected = scanner.close(FIRST).await.unwrap();
    connected.still().await.unwrap();
    rig.bench.inject(Fault::Switch(SwitchFault::Restarts));
    let error = connected.watch().await;
    assert!(matches!(error, ScannerError::Moved { channel: FIRST, .. }), "{error}");
    let error = connected.open_after(Left::Safe).await.unwrap_err();
    assert!(matches!(error, ScannerError::Moved { .. }), "{error}");
}

#[rstest]
#[case::silent(SwitchFault::Silent)]
#[case::unplugged(SwitchFault::HangUp)]
#[tokio::test]
async fn a_scanner_that_is_gone_ends_the_watch(#[case] fault: SwitchFault) {
    let (rig, wiring) = two_sound();
    let mut scanner = OpenScanner::open(&wiring).await.unwrap();
    let mut connected = scanner.close(FIRST).await.unwrap();
    rig.bench.inject(Fault::Switch(fault));
    let error = connected.watch().await;
    assert!(matches!(error, ScannerError::Silent { .. }), "{error}");
    assert_eq!(scanner.contacts(), Contacts::Unknown);
}

#[test]
fn the_check_tells_scanner_and_relays_and_moves_none() {
    let (rig, _) = two_sound();
    let ended = rig.run(&["station", "check"]);
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert!(ended.stdout.contains("SKARVIK,SIMULATED-SWITCH,0001,1.0"), "{ended:?}");
    rig.bench.inject(Fault::Switch(SwitchFault::ClosedByHand(102)));
    let ended = rig.run(&["station", "check"]);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert!(ended.stdout.contains("channel 102 is closed"), "{ended:?}");
    assert_eq!(rig.bench.closed_channels(), [102]);
}
