//! How many readings a second come over a line, against what the line can carry.
//!
//! The instrument is a thread on a pseudo-terminal that takes its time as a serial line does: ten bit
//! times a byte, for the question on its way in and the answer on its way out. It answers `READ?` at
//! once, so the line is the only limit. Beside our own link and meter, in the same run, a plain Python
//! script with pyserial does the same question in a loop, if Python has that module.

#![expect(clippy::print_stdout, reason = "a benchmark prints its numbers")]

#[path = "../cut_out/terminal.rs"]
mod terminal;

use std::error::Error;
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use reststrom::quantity::{Time, seconds};
use reststrom::station::driver::{read_meter, shipped};
use reststrom::station::wiring::Port;
use reststrom::station::{Link, Meter, MeterSays, SensedBy};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use terminal::Terminal;

type Result<T> = std::result::Result<T, Box<dyn Error + Send + Sync>>;

/// How long each loop runs.
const SPAN: Duration = Duration::from_secs(5);
const QUESTION: &str = "READ?\n";
const ANSWER: &str = "+1.795000E-07\n";
/// Start, eight data and stop bits.
const BITS_PER_BYTE: f64 = 10.0;

fn main() -> Result<()> {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    for baud in [9600, 19200, 115_200] {
        let bytes = QUESTION.len() + ANSWER.len();
        #[expect(clippy::cast_precision_loss, reason = "a few bytes")]
        let most = f64::from(baud) / (bytes as f64 * BITS_PER_BYTE);
        let ours = runtime.block_on(ours(baud))?;
        println!(
            "{baud} baud: the line carries {most:.1} readings a second; ours {ours:.1}, {:.1} % (aim 95 %)",
            ours / most * 100.0
        );
        match theirs(baud)? {
            Some(theirs) => {
                println!("    a plain pyserial loop {theirs:.1}, {:.1} %", theirs / most * 100.0);
            }
            None => println!("    no Python with pyserial here: not compared"),
        }
    }
    Ok(())
}

/// Readings a second through link and meter.
async fn ours(baud: u32) -> Result<f64> {
    let name = instrument(baud)?;
    let mut driver = read_meter("scpi-meter", shipped("scpi-meter").ok_or("no driver")?)?;
    driver.line.baud = baud;
    let mut link = Link::open(&Port::Serial(name), &driver.line).await?;
    let start = Instant::now();
    let now = || seconds(start.elapsed().as_secs_f64());
    let mut meter = Meter::open(&driver, SensedBy::Shunt, now());
    let (mut count, mut counted_from) = (0_u32, None);
    loop {
        if let Some(bytes) = meter.write(now()) {
            link.write(&bytes)?;
        }
        for said in next(&mut link, &mut meter, &now).await? {
            match said {
                MeterSays::Current(..) => {
                    let from = *counted_from.get_or_insert_with(Instant::now);
                    if SPAN < from.elapsed() {
                        return Ok(f64::from(count) / from.elapsed().as_secs_f64());
                    }
                    count += 1;
                }
                MeterSays::Lost(why) | MeterSays::Disturbed(why) => return Err(why.into()),
                MeterSays::Identity(_) | MeterSays::Complains(_) => {}
            }
        }
    }
}

async fn next(
    link: &mut Link,
    meter: &mut Meter,
    now: &impl Fn() -> Time,
) -> Result<Vec<MeterSays>> {
    let mut buffer = [0; 256];
    let wait = Duration::from_millis(20);
    Ok(match tokio::time::timeout(wait, link.read(&mut buffer)).await {
        Ok(read) => meter.receive(&buffer[..read?], now()),
        Err(_elapsed) => meter.pass(now()),
    })
}

/// Readings a second of the script; none where it can't run.
fn theirs(baud: u32) -> Result<Option<f64>> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/readings/query_loop.py");
    let has = Command::new("python3").args(["-c", "import serial"]).output();
    if !has.is_ok_and(|output| output.status.success()) {
        return Ok(None);
    }
    let name = instrument(baud)?;
    let output = Command::new("python3")
        .arg(script)
        .args([name, baud.to_string(), SPAN.as_secs().to_string()])
        .output()?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned().into());
    }
    Ok(Some(String::from_utf8(output.stdout)?.trim().parse()?))
}

/// A meter on a line of this rate; gives the path of the other end.
fn instrument(baud: u32) -> Result<String> {
    let terminal = Terminal::open()?;
    let mut modes = tcgetattr(&terminal.master)?;
    modes.make_raw();
    tcsetattr(&terminal.master, OptionalActions::Now, &modes)?;
    let name = terminal.name.clone();
    // The end of the other side ends the thread: reading is an error then.
    thread::spawn(move || answer(terminal, baud));
    Ok(name)
}

fn answer(mut terminal: Terminal, baud: u32) -> Result<()> {
    let transport = |bytes: usize| {
        #[expect(clippy::cast_precision_loss, reason = "a few bytes")]
        Duration::from_secs_f64(bytes as f64 * BITS_PER_BYTE / f64::from(baud))
    };
    let (mut pending, mut buffer, mut range) = (Vec::new(), [0; 256], String::from("1E-1"));
    loop {
        let Ok(read) = terminal.read(&mut buffer) else {
            // Nobody has opened the other end yet, or it is closed for good.
            thread::sleep(Duration::from_millis(5));
            continue;
        };
        let arrived = Instant::now();
        pending.extend_from_slice(read);
        while let Some(end) = pending.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = pending.drain(..=end).collect();
            let words = String::from_utf8_lossy(&line).trim().to_owned();
            let said = match words.as_str() {
                "READ?" => ANSWER.to_owned(),
                "*IDN?" => "SKARVIK,BENCH-METER,1,1.0\n".to_owned(),
                "SYST:ERR?" => "0,\"No error\"\n".to_owned(),
                "CURR:DC:RANG?" => format!("{range}\n"),
                _ => {
                    if let Some(asked) = words.strip_prefix("CONF:CURR:DC ") {
                        asked.clone_into(&mut range);
                    }
                    continue;
                }
            };
            let due = arrived + transport(line.len()) + transport(said.len());
            // The last moment is not slept: the scheduler is no part of the line.
            let nearly = due.checked_sub(Duration::from_micros(150)).unwrap_or(due);
            thread::sleep(nearly.saturating_duration_since(Instant::now()));
            while Instant::now() < due {
                std::hint::spin_loop();
            }
            terminal.write(said.as_bytes())?;
        }
    }
}
