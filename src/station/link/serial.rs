//! A serial device: its settings, its control lines, and a second handle to write to.

use std::fs::{File, OpenOptions};
use std::os::unix::fs::OpenOptionsExt;

use rustix::termios::{
    ControlModes, OptionalActions, QueueSelector, ioctl_tiocexcl, tcflush, tcgetattr, tcsetattr,
};
use tokio_serial::{
    DataBits, FlowControl, SerialPort, SerialPortBuilderExt, SerialStream, StopBits,
};

use super::error::{LinkError, explain, explain_serial};
use crate::station::driver::{Flow, LineSettings, Parity};

/// Opens a device with its settings: a stream to read from, and a second handle of it that is
/// written to without waiting, and duplicated.
pub(super) fn open(path: &str, settings: &LineSettings) -> Result<(SerialStream, File), LinkError> {
    let failed = |error| explain(path, error);
    let flags = rustix::fs::OFlags::NOCTTY | rustix::fs::OFlags::NONBLOCK;
    let device = OpenOptions::new()
        .read(true)
        .write(true)
        .custom_flags(flags.bits().cast_signed())
        .open(path)
        .map_err(failed)?;
    let mut stream = open_stream(path, settings).map_err(|error| explain_serial(path, error))?;
    set_control_lines(&mut stream, settings).map_err(|error| explain_serial(path, error))?;
    set_sticky_parity(&device, settings.parity).map_err(|error| failed(error.into()))?;
    ioctl_tiocexcl(&device).map_err(|error| failed(error.into()))?;
    // What lies in the buffers is from before: it answers no question of ours.
    tcflush(&device, QueueSelector::IOFlush).map_err(|error| failed(error.into()))?;
    Ok((stream, device))
}

fn open_stream(path: &str, settings: &LineSettings) -> tokio_serial::Result<SerialStream> {
    let data_bits = match settings.data_bits {
        5 => DataBits::Five,
        6 => DataBits::Six,
        7 => DataBits::Seven,
        _ => DataBits::Eight,
    };
    let parity = match settings.parity {
        // The parity bits that never change are set once the port is open.
        Parity::None | Parity::Mark | Parity::Space => tokio_serial::Parity::None,
        Parity::Even => tokio_serial::Parity::Even,
        Parity::Odd => tokio_serial::Parity::Odd,
    };
    let flow = match settings.flow {
        Flow::None => FlowControl::None,
        Flow::Software => FlowControl::Software,
        Flow::Hardware => FlowControl::Hardware,
    };
    let stop_bits = if settings.stop_bits == 2 { StopBits::Two } else { StopBits::One };
    // Our own handle holds the lock; the port is made exclusive once both are open.
    tokio_serial::new(path, settings.baud)
        .data_bits(data_bits)
        .parity(parity)
        .stop_bits(stop_bits)
        .flow_control(flow)
        .exclusive(false)
        .open_native_async()
}

fn set_control_lines(
    stream: &mut SerialStream,
    settings: &LineSettings,
) -> Result<(), tokio_serial::Error> {
    if let Some(level) = settings.dtr {
        stream.write_data_terminal_ready(level)?;
    }
    if let Some(level) = settings.rts {
        stream.write_request_to_send(level)?;
    }
    Ok(())
}

/// Mark and space parity, which the serial library does not know.
fn set_sticky_parity(device: &File, parity: Parity) -> rustix::io::Result<()> {
    let Some(modes) = sticky(parity) else { return Ok(()) };
    let mut settings = tcgetattr(device)?;
    settings.control_modes.remove(ControlModes::PARODD);
    settings.control_modes.insert(modes);
    tcsetattr(device, OptionalActions::Now, &settings)
}

/// The modes of a parity bit that is always 1 (mark) or always 0 (space): termios(3), `CMSPAR`.
fn sticky(parity: Parity) -> Option<ControlModes> {
    let always = ControlModes::PARENB | ControlModes::CMSPAR;
    match parity {
        Parity::Mark => Some(always | ControlModes::PARODD),
        Parity::Space => Some(always),
        Parity::None | Parity::Even | Parity::Odd => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // termios(3): with CMSPAR set, PARODD makes the bit always 1, no PARODD always 0.
    #[test]
    fn a_parity_bit_that_never_changes_is_mark_or_space() {
        let mark = sticky(Parity::Mark).unwrap();
        let space = sticky(Parity::Space).unwrap();
        assert!(mark.contains(ControlModes::CMSPAR | ControlModes::PARENB));
        assert!(mark.contains(ControlModes::PARODD) && !space.contains(ControlModes::PARODD));
        assert_eq!(sticky(Parity::Even), None);
    }
}
