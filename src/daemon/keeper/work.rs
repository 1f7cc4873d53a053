//! The keeper's hands: pipe, line, relay.

use std::io;
use std::os::fd::AsFd;
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::termios::{QueueSelector, tcflush};

use super::Duties;
use super::watch::{Duty, Watch};
use crate::plan::{OutputState, Sample};
use crate::station::reply::Unit;
use crate::station::wiring::{ControlLine, RelayLine};
use crate::station::{Ends, Relay};

/// How often the keeper looks up.
const LOOK: Duration = Duration::from_millis(50);
/// Pause between two writings of output-off.
const REPEAT: Duration = Duration::from_millis(250);
/// How long a keeper tries to prove an orphaned bench safe before it frees the port.
const PATIENCE: Duration = Duration::from_mins(10);
/// Longest time for an answer: until then nothing else is asked, so that a late answer is not taken
/// for that to the next question.
const ANSWER: Duration = Duration::from_secs(2);
/// How long the part is watched below the safe voltage.
const WATCHED: Duration = Duration::from_secs(3);

/// Runs the keeper until the daemon ends or the orphaned bench is safe.
///
/// Standard input is the heartbeat, standard output the supply's line.
///
/// # Errors
///
/// The system's, if the pipe can't be read; the output has then been ordered off.
pub fn keep() -> io::Result<()> {
    ignore_signals()?;
    let mut pipe = Pipe::default();
    let Some(first) = pipe.first_line()? else { return Ok(()) };
    let duties: Duties = serde_json::from_str(&first)?;
    Work::new(duties).run(&mut pipe)
}

/// A terminal's signals are for the daemon; the keeper ends with its pipe.
fn ignore_signals() -> io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    for signal in [SIGHUP, SIGINT, SIGTERM] {
        signal_hook::flag::register(signal, std::sync::Arc::default())?;
    }
    Ok(())
}

/// Standard input, cut into lines.
#[derive(Debug, Default)]
struct Pipe {
    buffer: Vec<u8>,
    /// Lines that came together with the first one.
    early: Vec<String>,
    closed: bool,
}

impl Pipe {
    fn first_line(&mut self) -> io::Result<Option<String>> {
        while !self.closed {
            let mut lines = self.lines()?.into_iter();
            if let Some(first) = lines.next() {
                self.early = lines.collect();
                return Ok(Some(first));
            }
        }
        Ok(None)
    }

    /// Waits a moment and gives the lines that came.
    fn lines(&mut self) -> io::Result<Vec<String>> {
        let mut lines = std::mem::take(&mut self.early);
        let stdin = io::stdin();
        if !self.closed && is_readable(&stdin, LOOK)? {
            let mut bytes = [0; 4096];
            match rustix::io::read(stdin.as_fd(), &mut bytes) {
                Ok(0) => self.closed = true,
                Ok(count) => self.buffer.extend_from_slice(&bytes[..count]),
                Err(rustix::io::Errno::INTR | rustix::io::Errno::AGAIN) => {}
                Err(_) => self.closed = true,
            }
        }
        if let Some(end) = self.buffer.iter().rposition(|byte| *byte == b'\n') {
            let whole: Vec<u8> = self.buffer.drain(..=end).collect();
            lines.extend(String::from_utf8_lossy(&whole).lines().map(str::to_owned));
        }
        Ok(lines)
    }
}

fn is_readable(source: &impl AsFd, wait: Duration) -> io::Result<bool> {
    let mut polled = [PollFd::new(source, PollFlags::IN)];
    let wait = Timespec { tv_sec: 0, tv_nsec: wait.subsec_nanos().into() };
    match poll(&mut polled, Some(&wait)) {
        Ok(count) => Ok(0 < count),
        Err(rustix::io::Errno::INTR) => Ok(false),
        Err(error) => Err(error.into()),
    }
}

struct Work {
    duties: Duties,
    start: Instant,
    watch: Watch,
    /// When anything was last written.
    written: Option<Duration>,
    /// When output-off was last written: no question puts off the next one.
    ordered_off: Option<Duration>,
    relay: Option<Relay>,
    orphaned: Option<Duration>,
    safe_since: Option<Duration>,
    output: OutputState,
    replies: Vec<u8>,
    asked_voltage: bool,
    line_gone: bool,
    /// How often output-off was written.
    offs: u32,
    /// When the question was asked that is still open.
    asked: Option<Duration>,
}

impl Work {
    fn new(duties: Duties) -> Self {
        Self {
            relay: duties.relay.as_ref().and_then(open_relay),
            duties,
            start: Instant::now(),
            watch: Watch::Idle,
            written: None,
            ordered_off: None,
            orphaned: None,
            safe_since: None,
            output: OutputState::Unknown,
            replies: Vec::new(),
            asked_voltage: false,
            line_gone: false,
            offs: 0,
            asked: None,
        }
    }

    fn run(mut self, pipe: &mut Pipe) -> io::Result<()> {
        loop {
            if pipe.closed {
                std::thread::sleep(LOOK);
            }
            let lines = pipe.lines()?;
            let now = self.start.elapsed();
            for line in lines {
                if line == "hush"
                    && let Err(error) = hush()
                {
                    tell(&format!("standard error can't be let go of: {error}"));
                }
                self.watch.hear(&line, now);
            }
            if pipe.closed {
                self.watch.closed();
            }
            let stale = Duration::from_millis(self.duties.stale_ms);
            match self.watch.duty(now, stale) {
                Duty::Wait => self.ordered_off = None,
                Duty::SwitchOff(why) => self.switch_off(&why, now),
                Duty::MakeSafe => {
                    if self.make_safe(now) {
                        return Ok(());
                    }
                }
                Duty::End => return Ok(()),
            }
        }
    }

    /// Writes output-off, at once and then at intervals, and lets the relay bleed.
    fn switch_off(&mut self, why: &str, now: Duration) {
        let gap = Duration::from_millis(self.duties.gap_ms);
        let recent = |at: Option<Duration>, pause| at.is_some_and(|at| now < at + pause);
        // A supply that needs a gap would lose an off that follows a question too soon.
        if recent(self.ordered_off, REPEAT) || recent(self.written, gap) {
            return;
        }
        let end = &self.duties.end;
        // An end mark first ends a line that was half sent. A supply that needs a gap may take it
        // for a line and lose what follows, so every second time it is left out.
        let first = if self.offs.is_multiple_of(2) { end } else { "" };
        self.offs = self.offs.wrapping_add(1);
        write(&format!("{first}{}{end}", self.duties.output_off));
        self.written = Some(now);
        if self.ordered_off.replace(now).is_none() {
            tell(&format!("{why}; switching the output off"));
        }
        if let Some(Err(error)) = self.relay.as_mut().map(Relay::fall) {
            tell(&format!("the bleeder relay does not obey: {error}"));
        }
    }

    /// One look at an orphaned bench; true once it is safe or patience is at an end.
    fn make_safe(&mut self, now: Duration) -> bool {
        let since = *self.orphaned.get_or_insert(now);
        if PATIENCE < now.saturating_sub(since) {
            tell("could not prove the part empty: treat it as charged");
            return true;
        }
        self.hear_replies(now);
        if self.line_gone {
            tell("the supply's line is gone: switch its output off by hand");
            return true;
        }
        if self.output != OutputState::Off {
            self.switch_off("the daemon is gone", now);
        }
        self.ask(now);
        self.safe_since.is_some_and(|safe| WATCHED < now.saturating_sub(safe))
    }

    /// Asks for the output state and the voltage in turn, some time after the last line.
    fn ask(&mut self, now: Duration) {
        let quiet = Duration::from_millis(self.duties.gap_ms).max(LOOK * 2);
        let waits = self.asked.is_some_and(|asked| now < asked + ANSWER);
        if waits || self.written.is_some_and(|written| now < written + quiet) {
            return;
        }
        self.asked = Some(now);
        self.asked_voltage = self.output == OutputState::Off && !self.asked_voltage;
        let words =
            if self.asked_voltage { &self.duties.measure_voltage } else { &self.duties.ask_output };
        let text = format!("{words}{}", self.duties.end);
        self.replies.clear();
        self.written = Some(now);
        write(&text);
    }

    /// Takes the reply to the question that is open, if it has come.
    fn hear_replies(&mut self, now: Duration) {
        let line = io::stdout();
        while is_readable(&line, Duration::ZERO).unwrap_or(false) {
            let mut bytes = [0; 512];
            match rustix::io::read(line.as_fd(), &mut bytes) {
                Ok(count) if 0 < count => self.replies.extend_from_slice(&bytes[..count]),
                Err(rustix::io::Errno::AGAIN | rustix::io::Errno::INTR) => break,
                Ok(_) | Err(_) => {
                    self.line_gone = true;
                    break;
                }
            }
        }
        let duties = &self.duties;
        let (words, ends) = if self.asked_voltage {
            (&duties.measure_voltage, duties.voltage_form.ends())
        } else {
            (&duties.ask_output, duties.output_form.ends())
        };
        let echo = words.as_bytes().trim_ascii();
        let Some(reply) = take_reply(&mut self.replies, ends, duties.echo.then_some(echo)) else {
            return;
        };
        if self.asked.take().is_none() {
            return;
        }
        if self.asked_voltage {
            self.hear_voltage(&reply, now);
        } else {
            self.output = self.duties.output_form.read(&reply);
        }
    }

    fn hear_voltage(&mut self, reply: &[u8], now: Duration) {
        let read = self.duties.voltage_form.read(reply, Unit::Volt);
        let Ok(Sample::Value(volt)) = read else { return };
        if self.duties.sees_part && volt.abs() < self.duties.safe_volt {
            self.safe_since.get_or_insert(now);
        } else {
            self.safe_since = None;
        }
    }
}

/// Takes the first whole reply off what came since a question; where the line is echoed, the echo
/// comes first and is dropped.
fn take_reply(came: &mut Vec<u8>, ends: Ends, echo: Option<&[u8]>) -> Option<Vec<u8>> {
    let blank = came.iter().take_while(|byte| matches!(byte, b'\r' | b'\n' | 0)).count();
    came.drain(..blank);
    let mark = came.iter().position(|byte| matches!(byte, b'\r' | b'\n'));
    if let (Some(echo), Some(mark)) = (echo, mark)
        && came[..mark].trim_ascii() == echo
    {
        came.drain(..=mark);
        return take_reply(came, ends, None);
    }
    let end = match (ends, echo) {
        (Ends::After(length), None) => Some(length).filter(|length| *length <= came.len()),
        (Ends::After(_) | Ends::Mark, _) => mark,
    }?;
    Some(came.drain(..end).collect())
}

/// Lets go of standard error: the daemon has told the end, and whoever reads it waits for no more.
fn hush() -> io::Result<()> {
    let nowhere = std::fs::File::options().write(true).open("/dev/null")?;
    rustix::stdio::dup2_stderr(nowhere)?;
    Ok(())
}

/// Writes to the supply's line, ahead of what its driver still holds.
fn write(text: &str) {
    let line = io::stdout();
    // A queue that can't be flushed (a socket, a pipe) takes the bytes all the same.
    tcflush(line.as_fd(), QueueSelector::OFlush).unwrap_or(());
    if let Err(error) = rustix::io::write(line.as_fd(), text.as_bytes()) {
        tell(&format!("the supply's line takes nothing: {error}"));
    }
}

/// Tells a person, if that needs no waiting: a standard error that is full or closed must keep
/// nobody from switching off.
fn tell(text: &str) {
    let stderr = io::stderr();
    let mut polled = [PollFd::new(&stderr, PollFlags::OUT)];
    let at_once = Timespec { tv_sec: 0, tv_nsec: 0 };
    if !matches!(poll(&mut polled, Some(&at_once)), Ok(1..)) {
        return;
    }
    let line = format!("reststrom keeper: {text}\n");
    match rustix::io::write(stderr.as_fd(), line.as_bytes()) {
        // Where nobody reads there is nobody to tell.
        Ok(_) | Err(_) => {}
    }
}

fn open_relay((port, line): &(String, String)) -> Option<Relay> {
    let line = if line == "dtr" { ControlLine::Dtr } else { ControlLine::Rts };
    match Relay::open(&RelayLine { port: port.clone(), line }) {
        Ok(relay) => Some(relay),
        Err(error) => {
            tell(&error.to_string());
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::a_line("\r\n0\r\n", Ends::Mark, None, Some("0"))]
    #[case::half_a_line("0", Ends::Mark, None, None)]
    #[case::a_byte("@", Ends::After(1), None, Some("@"))]
    #[case::half_a_number("+24", Ends::After(6), None, None)]
    #[case::behind_its_echo("out ?\r\nis off\r\n", Ends::Mark, Some("out ?"), Some("is off"))]
    #[case::an_echo_alone("out ?\r\n", Ends::Mark, Some("out ?"), None)]
    #[case::a_byte_behind_its_echo("S?\r@", Ends::After(1), Some("S?"), Some("@"))]
    #[case::no_echo_where_one_is_due("0\r", Ends::Mark, Some("S?"), Some("0"))]
    fn a_reply_is_taken_whole(
        #[case] came: &str,
        #[case] ends: Ends,
        #[case] echo: Option<&str>,
        #[case] reply: Option<&str>,
    ) {
        let taken = take_reply(&mut came.as_bytes().to_vec(), ends, echo.map(str::as_bytes));
        assert_eq!(taken.as_deref(), reply.map(str::as_bytes));
    }
}
