//! Served unattended: what a service manager, a command of the user's and a webhook are told.

mod rig;
mod web;

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpListener;
use std::os::unix::net::UnixDatagram;
use std::time::Duration;

use rig::{PATIENCE, Rig, until};
use rustix::process::Signal;
use serde_json::{Value, json};
use web::Web;

fn short() -> Value {
    json!({ "part": "C14 22uF 25V tantalum", "limit": "0.01CU @ 1min" })
}

/// Waits until the manager has been told this.
#[track_caller]
fn is_told(manager: &UnixDatagram, what: &str) {
    let mut told = String::new();
    until(PATIENCE, what, || {
        let mut bytes = [0; 512];
        if let Ok(count) = manager.recv(&mut bytes) {
            told.push_str(&String::from_utf8_lossy(&bytes[..count]));
        }
        told.contains(what)
    });
}

#[test]
fn a_service_manager_is_told_ready_alive_and_stopping() {
    let rig = Rig::holding(25.0, "C14");
    let path = rig.path("manager");
    let manager = UnixDatagram::bind(&path).unwrap();
    manager.set_read_timeout(Some(Duration::from_millis(100))).unwrap();
    let mut command = rig.command(&["serve", "--port", "0"]);
    command.env("NOTIFY_SOCKET", &path).env("WATCHDOG_USEC", "3000000");
    let mut web = Web::started(command);
    is_told(&manager, "READY=1");
    is_told(&manager, "WATCHDOG=1");
    is_told(&manager, "WATCHDOG=1");
    web.run.signal(Signal::TERM);
    is_told(&manager, "STOPPING=1");
    assert_eq!(web.run.ends().code, Some(0));
}

#[test]
fn the_end_of_a_run_is_told_to_a_command_and_to_a_webhook() {
    let rig = Rig::holding(25.0, "C14");
    let hook = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}/told", hook.local_addr().unwrap());
    let file = rig.path("told").display().to_string();
    let command =
        format!("echo \"$RESTSTROM_NOTICE: $RESTSTROM_SAYS\" > {file}.new && mv {file}.new {file}");
    let posted = std::thread::spawn(move || posted_to(&hook));
    let web = Web::with(&rig, &["--on-notice", &command, "--webhook", &address]);
    assert_eq!(web.start(&short(), "to-be-told").status, 201);
    until(PATIENCE, "the command's file", || rig.path("told").exists());
    let told = std::fs::read_to_string(rig.path("told")).unwrap();
    assert!(told.starts_with("finished: terne-rig: C14 22 µF 25 V ta-mno2 is within"), "{told}");
    assert!(told.trim_end().ends_with("may be unclipped"), "{told}");
    let posted = posted.join().unwrap();
    assert_eq!((posted["notice"].as_str(), posted["run"].as_str()), (Some("finished"), Some("r1")));
}

/// The JSON of the one request that comes.
fn posted_to(hook: &TcpListener) -> Value {
    let (stream, _) = hook.accept().expect("a request");
    let mut reader = BufReader::new(stream);
    let mut length = 0;
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).expect("a head");
        if let Some(("content-length", value)) = line.to_lowercase().trim_end().split_once(": ") {
            length = value.parse().expect("a length");
        }
        if line == "\r\n" {
            break;
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).expect("a body");
    reader.get_mut().write_all(b"HTTP/1.1 204 No Content\r\n\r\n").expect("an answer");
    serde_json::from_slice(&body).expect("JSON")
}

#[test]
fn a_command_that_hangs_holds_up_no_run() {
    let rig = Rig::holding(25.0, "C14");
    let web = Web::with(&rig, &["--on-notice", "sleep 600"]);
    for token in ["hung-one", "hung-two"] {
        assert_eq!(web.start(&short(), token).status, 201);
        assert_eq!(web.ends()["verdict"], "within");
    }
    assert_eq!(rig.times_on(), 2);
}
