//! `serve`: owns stations for as long as it lives; commands, page and API are its faces.

mod service;

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::thread::JoinHandle;

use tokio::task::JoinSet;

use super::ask::load_station;
use super::failure::Failure;
use super::{Exit, RecordArgument, screen};
use crate::daemon::control::http_socket_path;
use crate::daemon::served::Served;
use crate::page::{Faces, Tokens, Ways};
use crate::station::wiring::Station;

/// Arguments of `serve`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// A station's file; repeat it for more stations [default: station.toml in the user's reststrom
    /// configuration folder]
    #[arg(long = "station", env = "RESTSTROM_STATION", value_name = "FILE")]
    stations: Vec<PathBuf>,
    #[command(flatten)]
    record: RecordArgument,
    /// The page's port on this machine
    #[arg(long, value_name = "PORT", default_value_t = 7377)]
    port: u16,
    /// Serve the page at this address, such as 192.168.1.20:7377, in place of this machine only
    #[arg(long, value_name = "ADDRESS:PORT", requires = "tokens", conflicts_with = "port")]
    listen: Option<SocketAddr>,
    /// File, mode 600, with a line `read TOKEN` or `act TOKEN` for each who may look, or start too
    #[arg(long, value_name = "FILE")]
    tokens: Option<PathBuf>,
    /// A name by which this machine is asked, besides its addresses; with --listen
    #[arg(long = "host", value_name = "NAME", requires = "listen")]
    hosts: Vec<String>,
    /// Run this when a run ends, in place of a notification on the desktop: the notice comes as JSON
    /// on standard input, its words in `RESTSTROM_NOTICE` and `RESTSTROM_SAYS`
    #[arg(long, value_name = "COMMAND")]
    on_notice: Option<String>,
    /// Send each notice as JSON to this address
    #[arg(long, value_name = "URL")]
    webhook: Option<String>,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let stations = stations(arguments)?;
    let tokens = arguments.tokens.as_deref().map(Tokens::load).transpose();
    let tokens = tokens.map_err(|error| Failure::usage(error.to_string(), error.help()))?;
    let (served, threads) = begin(stations, arguments)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(Box::pin(serve(served, threads, arguments, tokens)))
}

fn stations(arguments: &Arguments) -> Result<Vec<Station>, Failure> {
    let paths: Vec<Option<PathBuf>> = match arguments.stations.as_slice() {
        [] => vec![None],
        named => named.iter().cloned().map(Some).collect(),
    };
    let mut stations: Vec<Station> = Vec::new();
    for path in paths {
        let station = load_station(path.as_deref())?;
        if stations.iter().any(|other| other.name == station.name) {
            return Err(Failure::usage(
                format!("two stations are named {}", station.name),
                "give each station file a `name` of its own",
            ));
        }
        stations.push(station);
    }
    Ok(stations)
}

/// Every station with its thread; if one fails, those that were begun are ended.
fn begin(
    stations: Vec<Station>,
    arguments: &Arguments,
) -> Result<(Vec<Served>, Vec<JoinHandle<()>>), Failure> {
    let (record, program) = (arguments.record.path()?, std::env::current_exe()?);
    let (mut served, mut threads) = (Vec::new(), Vec::new());
    for station in stations {
        match Served::begin(station, &record, program.clone()) {
            Ok((one, thread)) => {
                served.push(one);
                threads.push(thread);
            }
            Err(refused) => {
                close(&served, "another station could not be served");
                join(threads);
                return Err(refused.into());
            }
        }
    }
    Ok((served, threads))
}

fn close(served: &[Served], why: &str) {
    for one in served {
        one.close(why);
    }
}

fn join(threads: Vec<JoinHandle<()>>) {
    for thread in threads {
        if thread.join().is_err() {
            tracing::error!("a station's thread ended in a panic");
        }
    }
}

/// Serves until a signal comes and every part is safe.
async fn serve(
    served: Vec<Served>,
    threads: Vec<JoinHandle<()>>,
    arguments: &Arguments,
    tokens: Option<Tokens>,
) -> Result<Exit, Failure> {
    let opened = open(&served, arguments, tokens).await;
    let mut ends = JoinSet::new();
    for thread in threads {
        ends.spawn_blocking(move || thread.join().is_ok());
    }
    let faces = match opened {
        Ok(faces) => faces,
        Err(failure) => {
            close(&served, "the page could not be served");
            all_end(&mut ends).await;
            return Err(failure);
        }
    };
    let alive = tokio::spawn(service::stay_alive(served.clone()));
    let whole = until_closed(&served, &mut ends).await?;
    alive.abort();
    drop(faces);
    if whole {
        return Ok(Exit::Within);
    }
    Err(Failure::new(
        Exit::Fault,
        "a station's thread has ended by itself",
        "its keeper has switched off; look at the bench before you start again",
    ))
}

/// The faces, open; what a person has to know of them is said.
async fn open(
    served: &[Served],
    arguments: &Arguments,
    tokens: Option<Tokens>,
) -> Result<Faces, Failure> {
    let mut faces = Faces::of(served.to_vec(), &arguments.record.path()?);
    for one in served {
        faces.open_socket(http_socket_path(&one.station().name)?)?;
    }
    let own = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), arguments.port);
    let address = arguments.listen.unwrap_or(own);
    let names = arguments.hosts.clone();
    let bound = faces.open_port(address, names, tokens).await.map_err(|error| {
        Failure::usage(format!("{address}: {error}"), "choose another with --port or --listen")
    })?;
    let names: Vec<&str> = served.iter().map(|one| one.station().name.as_str()).collect();
    faces.send_notices(&Ways {
        command: arguments.on_notice.clone(),
        webhook: arguments.webhook.clone(),
    });
    screen::tell(&format!("serving {} at http://{bound}/\n", names.join(", ")));
    service::ready(served);
    Ok(faces)
}

/// Waits for a signal, then for the threads; false if one of them ended by itself.
async fn until_closed(served: &[Served], ends: &mut JoinSet<bool>) -> Result<bool, Failure> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hangup = signal(SignalKind::hangup())?;
    let mut closing = false;
    let mut whole = true;
    loop {
        let name = tokio::select! {
            _ = interrupt.recv() => "Ctrl-C",
            _ = terminate.recv() => "SIGTERM",
            _ = hangup.recv() => "SIGHUP",
            ended = ends.join_next() => match ended {
                None => return Ok(whole),
                Some(ended) => {
                    whole &= closing && matches!(ended, Ok(true));
                    close(served, "another station has failed");
                    closing = true;
                    continue;
                }
            },
        };
        let said =
            if closing { "still making safe" } else { "output off, discharging; please wait" };
        screen::complain(&format!("\n{name}: {said}\n"));
        service::stopping();
        close(served, &format!("stopped by {name}"));
        closing = true;
    }
}

async fn all_end(ends: &mut JoinSet<bool>) {
    while ends.join_next().await.is_some() {}
}
