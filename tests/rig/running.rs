//! A process of the program under test: what it says, how it ends.

use std::io::Read;
use std::process::{Child, Command};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

use rustix::process::{Pid, Signal, kill_process};

use super::{PATIENCE, until};

/// The phases as progress lines begin with them.
const PHASES: [&str; 8] =
    ["probe", "ramp", "charge", "settle", "soak", "bleed", "safe", "locked-out"];

/// A process that was started.
pub struct Running {
    child: Child,
    stdout: Stream,
    stderr: Stream,
}

/// How a process ended.
#[derive(Debug)]
pub struct Ended {
    /// Exit code; none if a signal ended it.
    pub code: Option<i32>,
    /// What it wrote to standard output.
    pub stdout: String,
    /// What it wrote to standard error, and its keeper with it.
    pub stderr: String,
}

/// What comes out of a process, gathered by a thread.
struct Stream {
    text: Arc<Mutex<Vec<u8>>>,
    thread: JoinHandle<()>,
}

impl Stream {
    fn gather(mut from: impl Read + Send + 'static) -> Self {
        let text = Arc::new(Mutex::new(Vec::new()));
        let gathered = text.clone();
        let thread = std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = from.read(&mut bytes) {
                gathered.lock().expect("a lock").extend_from_slice(&bytes[..count]);
            }
        });
        Self { text, thread }
    }

    fn text(&self) -> String {
        String::from_utf8_lossy(&self.text.lock().expect("a lock")).into_owned()
    }
}

impl Running {
    /// Starts a command whose streams are piped; a stream that is not counts as empty.
    pub fn start(mut command: Command) -> Self {
        let mut child = command.spawn().expect("a process");
        let stdout = match child.stdout.take() {
            Some(stdout) => Stream::gather(stdout),
            None => Stream::gather(std::io::empty()),
        };
        let stderr = match child.stderr.take() {
            Some(stderr) => Stream::gather(stderr),
            None => Stream::gather(std::io::empty()),
        };
        Self { child, stdout, stderr }
    }

    /// Its process number.
    pub fn pid(&self) -> Pid {
        Pid::from_child(&self.child)
    }

    /// Sends it a signal.
    pub fn signal(&self, signal: Signal) {
        kill_process(self.pid(), signal).expect("a process to signal");
    }

    /// What it has said on standard error so far.
    pub fn said(&self) -> String {
        self.stderr.text()
    }

    /// What it has said on standard output so far.
    pub fn told(&self) -> String {
        self.stdout.text()
    }

    /// The phases that it told so far.
    pub fn phases(&self) -> Vec<&'static str> {
        let said = self.said();
        let first = |line: &str| line.split_whitespace().next().unwrap_or_default().to_owned();
        said.lines()
            .filter_map(|line| PHASES.into_iter().find(|phase| first(line) == *phase))
            .collect()
    }

    /// The phase that it told last.
    pub fn phase(&self) -> &'static str {
        self.phases().last().copied().unwrap_or("none")
    }

    /// Waits until it tells this phase.
    #[track_caller]
    pub fn reaches(&mut self, phase: &str) {
        self.says_when(&format!("phase {phase}"), |run| run.phases().contains(&phase));
    }

    /// Waits until it says this on standard error.
    #[track_caller]
    pub fn says(&mut self, words: &str) {
        self.says_when(words, |run| run.said().contains(words));
    }

    #[track_caller]
    fn says_when(&mut self, what: &str, done: impl Fn(&Self) -> bool) {
        until(PATIENCE, what, || {
            let ended = self.has_ended();
            let done = done(self);
            assert!(done || !ended, "ended before {what}: {}", self.said());
            done
        });
    }

    /// Whether it has ended.
    pub fn has_ended(&mut self) -> bool {
        self.child.try_wait().expect("a child").is_some()
    }

    /// Waits for its end.
    #[track_caller]
    pub fn ends(&mut self) -> Ended {
        self.ends_within(PATIENCE)
    }

    /// Waits for its end for so long.
    #[track_caller]
    pub fn ends_within(&mut self, patience: Duration) -> Ended {
        until(patience, "the end of the process", || self.has_ended());
        let code = self.child.wait().expect("a child").code();
        until(PATIENCE, "the end of what it says", || {
            self.stdout.thread.is_finished() && self.stderr.thread.is_finished()
        });
        Ended { code, stdout: self.stdout.text(), stderr: self.stderr.text() }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // One that has ended can't be killed, and need not be.
        if self.child.kill().is_ok() {
            self.child.wait().expect("a child");
        }
    }
}

impl Ended {
    /// Its standard output as JSON.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}
