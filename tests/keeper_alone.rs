//! The keeper by itself: a heartbeat pipe that breaks, a supply's line, and no daemon.

use std::fs::File;
use std::io::{self, PipeReader, Read, Write};
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use rstest::rstest;
use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};

const DUTIES: &str = r#"{"end":"\n","output_off":"OUTP OFF","ask_output":"OUTP?",
    "measure_voltage":"MEAS:VOLT?","gap_ms":0,"stale_ms":2500,"safe_volt":5.0,"relay":null}"#;

/// A standard error, and its reading end where there is one.
type StandardError = (OwnedFd, Option<PipeReader>);

/// A standard error that takes no byte.
fn full() -> io::Result<StandardError> {
    let (reader, writer) = io::pipe()?;
    let mut file = File::from(OwnedFd::from(writer));
    let before = fcntl_getfl(&file)?;
    fcntl_setfl(&file, before | OFlags::NONBLOCK)?;
    while file.write(&[b'.'; 512]).is_ok() {}
    fcntl_setfl(&file, before)?;
    Ok((file.into(), Some(reader)))
}

/// A standard error whose reader went away.
fn closed() -> io::Result<StandardError> {
    let (_, writer) = io::pipe()?;
    Ok((writer.into(), None))
}

/// A keeper that was armed by a daemon which died at once.
fn start(stderr: OwnedFd) -> io::Result<(Child, UnixStream)> {
    let (supply, line) = UnixStream::pair()?;
    supply.set_read_timeout(Some(Duration::from_secs(5)))?;
    let mut keeper = Command::new(env!("CARGO_BIN_EXE_reststrom"))
        .arg("keeper")
        .stdin(Stdio::piped())
        .stdout(OwnedFd::from(line))
        .stderr(stderr)
        .spawn()?;
    // All at once, as it comes where the keeper is slow to start; then the pipe is dropped.
    let mut pipe = keeper.stdin.take().ok_or(io::ErrorKind::BrokenPipe)?;
    pipe.write_all(format!("{}\narm\n", DUTIES.replace('\n', "")).as_bytes())?;
    Ok((keeper, supply))
}

#[test]
fn an_orphan_waits_for_its_answer_before_it_asks_the_next_question() {
    let (mut keeper, mut supply) = start(closed().unwrap().0).unwrap();
    let mut seen = String::new();
    let mut bytes = [0; 256];
    // Nothing is answered: the output-off goes on, the question does not.
    while seen.matches("OUTP OFF").count() < 4 {
        let count = supply.read(&mut bytes).expect("the keeper goes on writing");
        seen.push_str(&String::from_utf8_lossy(&bytes[..count]));
    }
    assert_eq!(seen.matches('?').count(), 1, "{seen}");
    keeper.kill().unwrap();
    keeper.wait().unwrap();
}

#[rstest]
#[case::a_reader_that_stopped(full)]
#[case::a_reader_that_went_away(closed)]
fn an_orphan_is_switched_off_whatever_becomes_of_standard_error(
    #[case] kind: fn() -> io::Result<StandardError>,
) {
    let (stderr, _reader) = kind().unwrap();
    let (mut keeper, mut supply) = start(stderr).unwrap();
    let mut seen = Vec::new();
    let mut bytes = [0; 256];
    // Twice: once is not a proof that it goes on.
    while String::from_utf8_lossy(&seen).matches("OUTP OFF").count() < 2 {
        let count = supply.read(&mut bytes).expect("the keeper goes on writing");
        assert!(0 < count, "the keeper left: {}", String::from_utf8_lossy(&seen));
        seen.extend_from_slice(&bytes[..count]);
        assert!(seen.len() < 400, "off is not repeated: {}", String::from_utf8_lossy(&seen));
    }
    keeper.kill().unwrap();
    keeper.wait().unwrap();
}
