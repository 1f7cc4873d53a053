//! `simulate`: a simulated bench in the foreground.

use std::io::BufRead;
use std::path::PathBuf;

use super::failure::Failure;
use super::{Exit, bench, screen};
use crate::simbench::{Bench, BenchOptions, Scenario, Serve};
use crate::station::wiring;

/// Arguments of `simulate`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The invented part in the clip at the start
    #[arg(long, value_name = "NAME", default_value = "C14")]
    part: String,
    /// Bench seconds per second
    #[arg(long, value_name = "N", default_value_t = 60.0)]
    lapse: f64,
    /// Serve TCP on loopback, not pseudo-terminals
    #[arg(long)]
    tcp: bool,
    /// Write the station file here as well
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let scenario = bench::parts()?;
    let serve = if arguments.tcp { Serve::Loopback } else { Serve::Terminals };
    let options = BenchOptions { lapse: arguments.lapse, serve, ..BenchOptions::default() };
    let bench = bench::start(options)?;
    clip(&bench, &scenario, &arguments.part)?;
    let port = |port: String| if arguments.tcp { format!("tcp:{port}") } else { port };
    let (supply, meter) = (port(bench.supply_port()), port(bench.meter_port()));
    let file = bench::station_file("skarvik-simulated", arguments.lapse, &supply, &meter);
    wiring::read(std::path::Path::new("simulated"), &file)?;
    if let Some(path) = &arguments.out {
        std::fs::write(path, &file).map_err(|error| {
            Failure::usage(format!("{}: {error}", path.display()), "name another file with --out")
        })?;
    }
    screen::tell(&file);
    screen::tell(
        "\n# Type `clip NAME`, `unclip`, `parts`, `look`; Ctrl-C or end of input ends the bench.\n",
    );
    for line in std::io::stdin().lock().lines() {
        obey(&bench, &scenario, &line?);
    }
    Ok(Exit::Within)
}

fn clip(bench: &Bench, scenario: &Scenario, name: &str) -> Result<(), Failure> {
    let part = scenario.part(name).ok_or_else(|| {
        let names: Vec<&str> = scenario.parts.iter().map(|part| part.clip.as_str()).collect();
        Failure::usage(format!("no part {name}"), format!("expected one of {}", names.join(", ")))
    })?;
    bench.clip_in(part);
    Ok(())
}

fn obey(bench: &Bench, scenario: &Scenario, line: &str) {
    match line.trim().split_once(' ').unwrap_or((line.trim(), "")) {
        ("clip", name) => match clip(bench, scenario, name.trim()) {
            Ok(()) => screen::tell(&format!("# {name} is in the clip\n")),
            Err(failure) => screen::complain(&failure.text()),
        },
        ("unclip", _) => bench.unclip(),
        ("parts", _) => {
            for part in &scenario.parts {
                screen::tell(&format!("# {:<5} {:<24} {}\n", part.clip, part.words, part.note));
            }
        }
        ("look", _) => screen::tell(&format!("# {:?}\n", bench.look())),
        ("", _) => {}
        (word, _) => {
            screen::complain(&format!("# expected clip, unclip, parts or look, got {word}\n"));
        }
    }
}
