//! The same two lines with nothing between them but a thread that reads one and writes the other.

use std::fs::File;
use std::io::{Read, Write};
use std::thread;
use std::time::Duration;

use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use super::Result;
use super::layers::strike;
use super::terminal::Terminal;

/// The times of `count` readings answered by a thread that does not look at them.
pub(crate) fn measure(count: usize) -> Result<Vec<Duration>> {
    let (mut supply, mut meter) = (Terminal::open()?, Terminal::open()?);
    let (to_supply, from_meter) = (client(&supply)?, client(&meter)?);
    let answering = thread::spawn(move || answer(from_meter, to_supply, count));
    let times = (0..count).map(|_| strike(&mut supply, &mut meter)).collect();
    answering.join().map_err(|_| "the answering thread ended in a panic")??;
    times
}

/// The daemon's end of a line, without line editing.
fn client(terminal: &Terminal) -> Result<File> {
    let client = File::options().read(true).write(true).open(&terminal.name)?;
    let mut settings = tcgetattr(&client)?;
    settings.make_raw();
    tcsetattr(&client, OptionalActions::Now, &settings)?;
    Ok(client)
}

fn answer(mut from_meter: File, mut to_supply: File, count: usize) -> Result<()> {
    let mut buffer = [0; 64];
    for _ in 0..count {
        let read = from_meter.read(&mut buffer)?;
        if read == 0 {
            return Err("the meter's line is gone".into());
        }
        to_supply.write_all(b"\nOUTP OFF\n")?;
    }
    Ok(())
}
