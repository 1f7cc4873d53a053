//! `stop`: output off and discharge at a station, from any terminal.

use super::failure::Failure;
use super::{Exit, screen};
use crate::daemon::control;

/// Arguments of `stop`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The station's name; all of this user's stations if none is given
    #[arg(value_name = "STATION")]
    station: Option<String>,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let paths = match &arguments.station {
        Some(station) => vec![control::socket_path(station)?],
        None => control::sockets()?,
    };
    let mut stopped = 0;
    for path in &paths {
        let name = path.file_stem().map(|name| name.to_string_lossy().into_owned());
        match control::ask_to_stop(path) {
            Ok(reply) => {
                stopped += 1;
                screen::tell(&format!("{}: {reply}\n", name.unwrap_or_default()));
            }
            Err(error) => {
                tracing::debug!(path = %path.display(), %error, "nobody serves this socket");
            }
        }
    }
    if stopped == 0 {
        return Err(Failure::new(
            Exit::Fault,
            "no run to stop was found",
            "if an output is on, switch the supply off by hand and discharge the part",
        ));
    }
    Ok(Exit::Within)
}
