//! The keeper by itself: a heartbeat pipe that breaks, a supply's line, and no daemon.

use std::fs::File;
use std::io::{PipeReader, Read, Write, pipe};
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use reststrom::daemon::keeper::Duties;
use reststrom::station::driver::{NumberForm, OutputForm};
use rstest::rstest;
use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};

/// The first line to a keeper: what it must know of the station, in one line.
fn duties(sees_part: bool) -> String {
    let duties = Duties {
        end: "\n".into(),
        output_off: "OUTP OFF".into(),
        ask_output: "OUTP?".into(),
        output_form: OutputForm::default(),
        measure_voltage: "MEAS:VOLT?".into(),
        voltage_form: NumberForm::default(),
        echo: false,
        gap_ms: 0,
        stale_ms: 2500,
        safe_volt: 5.0,
        sees_part,
        relay: None,
    };
    serde_json::to_string(&duties).expect("duties as JSON")
}

/// A standard error that takes no byte, with its reading end.
fn full() -> (OwnedFd, Option<PipeReader>) {
    let (reader, writer) = pipe().expect("the system grants it");
    let (mut file, flags) = (File::from(OwnedFd::from(writer)), OFlags::NONBLOCK);
    let before = fcntl_getfl(&file).expect("the system grants it");
    fcntl_setfl(&file, before | flags).expect("the system grants it");
    while file.write(&[b'.'; 512]).is_ok() {}
    fcntl_setfl(&file, before).expect("the system grants it");
    (file.into(), Some(reader))
}

/// A standard error whose reader went away.
fn closed() -> (OwnedFd, Option<PipeReader>) {
    let (_, writer) = pipe().expect("the system grants it");
    (writer.into(), None)
}

fn start(stderr: OwnedFd) -> (Child, UnixStream) {
    let (supply, line) = UnixStream::pair().expect("the system grants it");
    supply.set_read_timeout(Some(Duration::from_secs(5))).expect("the system grants it");
    let mut keeper = Command::new(env!("CARGO_BIN_EXE_reststrom"))
        .arg("keeper")
        .stdin(Stdio::piped())
        .stdout(OwnedFd::from(line))
        .stderr(stderr)
        .spawn()
        .expect("the system grants it");
    // All at once, as it comes where the keeper is slow to start; then the daemon dies.
    let mut pipe = keeper.stdin.take().expect("the system grants it");
    pipe.write_all(format!("{}\narm\n", duties(true)).as_bytes()).expect("the system grants it");
    (keeper, supply)
}

#[test]
fn an_orphan_waits_for_its_answer_before_it_asks_the_next_question() {
    let (mut keeper, mut supply) = start(closed().0);
    let mut seen = String::new();
    let mut bytes = [0; 256];
    // Nothing is answered: the output-off goes on, the question does not.
    while seen.matches("OUTP OFF").count() < 4 {
        let count = supply.read(&mut bytes).expect("the keeper goes on writing");
        seen.push_str(&String::from_utf8_lossy(&bytes[..count]));
    }
    assert_eq!(seen.matches('?').count(), 1, "{seen}");
    keeper.kill().expect("the system grants it");
    keeper.wait().expect("the system grants it");
}

#[rstest]
#[case::a_reader_that_stopped(full())]
#[case::a_reader_that_went_away(closed())]
fn an_orphan_is_switched_off_whatever_becomes_of_standard_error(
    #[case] (stderr, _reader): (OwnedFd, Option<PipeReader>),
) {
    let (mut keeper, mut supply) = start(stderr);
    let mut seen = Vec::new();
    let mut bytes = [0; 256];
    // Twice: once is not a proof that it goes on.
    while String::from_utf8_lossy(&seen).matches("OUTP OFF").count() < 2 {
        let count = supply.read(&mut bytes).expect("the keeper goes on writing");
        assert!(0 < count, "the keeper left: {}", String::from_utf8_lossy(&seen));
        seen.extend_from_slice(&bytes[..count]);
        assert!(seen.len() < 400, "off is not repeated: {}", String::from_utf8_lossy(&seen));
    }
    keeper.kill().expect("the system grants it");
    keeper.wait().expect("the system grants it");
}

#[rstest]
#[case::behind_its_relay(true)]
#[case::before_its_relay(false)]
fn a_zero_frees_the_port_only_where_the_supply_sees_the_part(#[case] sees_part: bool) {
    let duties = duties(sees_part);
    let (supply, line) = UnixStream::pair().expect("the system grants it");
    supply.set_read_timeout(Some(Duration::from_millis(200))).expect("the system grants it");
    let mut keeper = Command::new(env!("CARGO_BIN_EXE_reststrom"))
        .arg("keeper")
        .stdin(Stdio::piped())
        .stdout(OwnedFd::from(line))
        .stderr(closed().0)
        .spawn()
        .expect("the system grants it");
    let mut pipe = keeper.stdin.take().expect("the system grants it");
    pipe.write_all(format!("{}\narm\n", duties.replace('\n', "")).as_bytes())
        .expect("the system grants it");
    drop(pipe);
    let ended = answers_zero_until_it_ends(&mut keeper, supply, Duration::from_secs(6));
    assert_eq!(ended, sees_part);
    keeper.kill().expect("the system grants it");
    keeper.wait().expect("the system grants it");
}

/// A supply that is off and measures nothing; true if the keeper ends within `patience`.
fn answers_zero_until_it_ends(
    keeper: &mut Child,
    mut supply: UnixStream,
    patience: Duration,
) -> bool {
    let start = std::time::Instant::now();
    let mut bytes = [0; 256];
    while start.elapsed() < patience {
        if let Ok(count) = supply.read(&mut bytes)
            && bytes[..count].contains(&b'?')
            && supply.write_all(b"0\n").is_err()
        {
            return true;
        }
        if matches!(keeper.try_wait(), Ok(Some(_))) {
            return true;
        }
    }
    false
}
