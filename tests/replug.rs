//! Lines that go away in the middle of a run and come back, and connections that swallow everything: the
//! run ends safe and is never gone on with, and nothing of before is delivered.

mod rig;

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use reststrom::quantity::seconds;
use reststrom::simbench::{BenchOptions, Fault, Instrument, Serve, Speaker};
use rig::{CUT_OUT, Ended, PATIENCE, Rig, part, until};
use rstest::rstest;
use rustix::process::Signal;

const LONG_SOAK: [&str; 8] = ["soak", "C14", "22uF", "25V", "tantalum", "--soak", "2h", "--json"];

/// A rig whose instrument is named by a link, as `/dev/serial/by-id` does it.
fn by_id(lapse: f64, which: Instrument) -> Rig {
    let rig = Rig::holding(lapse, "C14");
    let port = match which {
        Instrument::Supply => rig.bench.supply_port(),
        Instrument::Meter | Instrument::Switch => rig.bench.meter_port(),
    };
    let name = rig.path("by-id");
    std::os::unix::fs::symlink(&port, &name).expect("a link");
    rig.rewire(&format!("\"{port}\""), &format!("\"{}\"", name.display()));
    rig
}

/// Pulls the plug and plugs it in again: another port, the same name.
fn replug(rig: &mut Rig, which: Instrument) {
    std::fs::remove_file(rig.path("by-id")).expect("the link");
    let port = rig.bench.replug(which).expect("a port");
    std::os::unix::fs::symlink(port, rig.path("by-id")).expect("a link");
}

#[track_caller]
fn is_untested_and(left: &str, ended: &Ended) {
    let object = ended.json();
    assert_eq!(object["verdict"], "untested", "{ended:?}");
    assert_eq!(object["findings"][0], "instrument-lost", "{ended:?}");
    assert_eq!(object["left"], left, "{ended:?}");
}

#[test]
fn a_supply_that_is_plugged_in_again_is_proven_off_and_never_on_again() {
    let mut rig = by_id(4.0, Instrument::Supply);
    let mut run = rig.start(&LONG_SOAK);
    run.reaches("soak");
    rig.comes_on();
    replug(&mut rig, Instrument::Supply);
    rig.goes_off_within(PATIENCE);
    let ended = run.ends();
    is_untested_and("safe", &ended);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert!(ended.json()["advice"].as_str().unwrap_or_default().contains("output may be ON"));
    assert_eq!(rig.times_on(), 1);
    rig.is_left_safe();
    // Off is the first that the supply hears on its new port, in a line of its own.
    let log = rig.bench.log();
    let lines: Vec<&str> = log
        .iter()
        .filter(|line| line.speaker == Speaker::Client && line.instrument == Instrument::Supply)
        .map(|line| line.line.as_str())
        .collect();
    let name = lines.iter().rposition(|line| *line == "*IDN?").expect("a name asked for");
    assert_eq!(lines[name - 2..name], ["", "OUTP OFF"], "just before the name is asked for");
}

#[test]
fn the_keeper_holds_the_line_that_came_back() {
    let mut rig = by_id(1.0, Instrument::Supply);
    let mut run = rig.start(&LONG_SOAK);
    run.reaches("ramp");
    let before = rig.keeper();
    replug(&mut rig, Instrument::Supply);
    rig.goes_off_within(PATIENCE);
    until(PATIENCE, "another keeper alone", || matches!(*rig.keepers(), [one] if one != before));
    run.signal(Signal::KILL);
    let offs = rig.heard_by_supply("OUTP OFF");
    until(CUT_OUT * 2, "the keeper's output-off", || offs < rig.heard_by_supply("OUTP OFF"));
    rig.keeper_ends();
    rig.is_left_safe();
}

#[test]
fn a_run_that_lost_its_meter_is_not_gone_on_with() {
    let mut rig = by_id(20.0, Instrument::Meter);
    let mut run = rig.start(&LONG_SOAK);
    run.reaches("soak");
    replug(&mut rig, Instrument::Meter);
    let ended = run.ends();
    is_untested_and("safe", &ended);
    assert_eq!((ended.code, rig.times_on()), (Some(3), 1));
    rig.is_left_safe();
    // And the next run finds the meter by its name.
    let look = rig.run(&["station", "check"]);
    assert_eq!(look.code, Some(0), "{look:?}");
}

/// A network between client and instrument that can swallow what goes through it.
struct Network {
    address: String,
    swallows: Arc<AtomicBool>,
}

impl Network {
    fn before(instrument: String) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = listener.local_addr().expect("an address").to_string();
        let swallows = Arc::new(AtomicBool::new(false));
        let mine = swallows.clone();
        std::thread::spawn(move || {
            for client in listener.incoming().flatten() {
                let Ok(server) = TcpStream::connect(&instrument) else { return };
                for (from, to) in [(&client, &server), (&server, &client)] {
                    let from = from.try_clone().expect("a handle");
                    let to = to.try_clone().expect("a handle");
                    let swallows = mine.clone();
                    std::thread::spawn(move || pass_on(from, to, &swallows));
                }
            }
        });
        Self { address, swallows }
    }
}

/// Passes bytes on, or leaves them where they are.
fn pass_on(mut from: TcpStream, mut to: TcpStream, swallows: &AtomicBool) {
    let mut bytes = [0; 512];
    while let Ok(count @ 1..) = from.read(&mut bytes) {
        while swallows.load(Ordering::Acquire) {
            std::thread::sleep(Duration::from_millis(2));
        }
        if to.write_all(&bytes[..count]).is_err() {
            break;
        }
    }
    // The other side learns that this one is gone; it may know already.
    drop(to.shutdown(std::net::Shutdown::Both));
}

#[test]
fn what_a_swallowed_connection_still_holds_is_never_delivered() {
    let options = BenchOptions { lapse: 4.0, serve: Serve::Loopback, ..BenchOptions::default() };
    let rig = Rig::on(options, &part("C14"));
    let port = rig.bench.supply_port();
    let network = Network::before(port.clone());
    rig.rewire(&port, &network.address);
    let mut run = rig.start(&LONG_SOAK);
    run.reaches("soak");
    network.swallows.store(true, Ordering::Release);
    run.reaches("bleed");
    // Two questions without an answer, and the connection is broken off.
    let given_up = rig.bench.look().time + seconds(24.0);
    until(PATIENCE, "a connection that is given up", || given_up < rig.bench.look().time);
    network.swallows.store(false, Ordering::Release);
    let ended = run.ends();
    is_untested_and("safe", &ended);
    assert_eq!(rig.times_on(), 1);
    rig.is_left_safe();
}

#[rstest]
#[case::of_the_supply(Fault::SupplySilent, "supply")]
#[case::of_the_meter(Fault::MeterSilent, "meter")]
fn a_port_that_gives_no_answer_is_told_with_what_was_sent_and_what_to_try(
    #[case] fault: Fault,
    #[case] role: &str,
) {
    let rig = Rig::holding(20.0, "C14");
    rig.bench.inject(fault);
    let ended = rig.run(&["soak", "C14", "22uF", "25V", "tantalum", "--json"]);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    for words in [role, "*IDN?\\n", "end mark", "dtr"] {
        assert!(ended.stderr.contains(words), "{words}: {}", ended.stderr);
    }
    assert_eq!(rig.times_on(), 0);
}

/// A relay box that would move at every byte hangs on a port of its own.
#[test]
fn ports_that_the_station_does_not_name_are_never_opened() {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let box_end = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a terminal");
    grantpt(&box_end).expect("a grant");
    unlockpt(&box_end).expect("a lock");
    let name = ptsname(&box_end, Vec::new()).expect("a name").into_string().expect("text");
    let rig = Rig::holding(20.0, "C14");
    std::os::unix::fs::symlink(&name, rig.path("ttyUSB-relay-box")).expect("a link");
    assert_eq!(rig.run(&["station", "check"]).code, Some(0));
    rustix::io::ioctl_fionbio(&box_end, true).expect("no waiting");
    // Nobody has opened the other end: to read is an error, not silence and not bytes.
    let read = rustix::io::read(&box_end, &mut [0; 16]);
    assert!(matches!(read, Err(_) | Ok(0)), "{read:?}");
}

#[test]
fn a_supply_under_local_control_is_locked_out() {
    let rig = Rig::holding(25.0, "C14");
    let mut run = rig.start(&["soak", "C14", "22uF", "25V", "tantalum", "--soak", "60s", "--json"]);
    run.reaches("soak");
    rig.bench.inject(Fault::SupplyLocal);
    let ended = run.ends();
    let object = ended.json();
    assert_eq!((object["left"].as_str(), ended.code), (Some("locked-out"), Some(4)), "{ended:?}");
    let advice = object["advice"].as_str().unwrap_or_default();
    assert!(advice.contains("switch the supply off by hand"), "{advice}");
    assert_eq!(rig.times_on(), 1);
    // Whoever gives the supply back finds it switched off by the keeper.
    rig.bench.mend();
    rig.goes_off_within(CUT_OUT * 4);
}

#[rstest]
#[case::on_the_way_up("ramp")]
#[case::while_it_charges("charge")]
#[case::in_the_soak("soak")]
fn a_protection_that_trips_anywhere_ends_the_run_once(#[case] phase: &str) {
    let rig = Rig::holding(20.0, "C14");
    let mut run = rig.start(&LONG_SOAK);
    run.reaches(phase);
    rig.bench.inject(Fault::SupplyTripped);
    let ended = run.ends();
    assert_eq!(ended.json()["verdict"], "untested", "{ended:?}");
    assert_eq!((rig.times_on(), rig.bench.look().output_on), (1, false));
    // A latched protection is a person's to clear.
    assert_eq!(rig.heard_by_supply("VOLT:PROT:CLE"), 0);
    until(PATIENCE, "an empty part", || {
        rig.bench.advance(seconds(1.0));
        rig.part_volt().abs() < 5.0
    });
}
