//! `soak`: tests the part in the clip.

use std::sync::Arc;

use tokio::sync::{mpsc, watch};

use super::ask::{WishArguments, drawn};
use super::failure::Failure;
use super::screen::LiveLine;
use super::{Exit, RecordArgument, plan, screen, show};
use crate::daemon::control::Control;
use crate::daemon::{Finished, Line, OpenStation, Progress, Stop};
use crate::judge::Left;
use crate::plan::{Drawn, Phase, Sample, Wish};
use crate::quantity::{Time, seconds, text};
use crate::record::{LimitOnRecord, NewRun, Record, RunFilter};
use crate::report::object::RunObject;
use crate::station::wiring::Station;

/// Arguments of `soak`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    wish: WishArguments,
    #[command(flatten)]
    record: RecordArgument,
    /// I have looked at the bench that the last run left locked out: output off, part empty
    #[arg(long)]
    unlock: bool,
    /// Print the result as JSON, not as a page
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let wish = arguments.wish.wish()?;
    let station = arguments.wish.station.load()?;
    let drawn = drawn(&wish, &station)?;
    let path = arguments.record.path()?;
    if !arguments.unlock {
        refuse_locked_out(&path, &station.name)?;
    }
    screen::complain(&plan::cautions(&drawn));
    screen::complain(&plan::short(&wish, &drawn));
    let finished = runtime()?.block_on(soak(&wish, &drawn, &station, &path))?;
    let run = Record::open_for_reading(&path)?.run(finished.id)?;
    if arguments.json {
        screen::tell_json(&RunObject::of(&run));
    } else {
        screen::tell(&show::page(&run));
    }
    let ruling = &finished.outcome.ruling;
    Ok(Exit::of(ruling.verdict, &ruling.findings, finished.outcome.left))
}

/// A station that was left locked out needs a person's word before anything is energised again.
fn refuse_locked_out(path: &std::path::Path, station: &str) -> Result<(), Failure> {
    if !path.exists() {
        return Ok(());
    }
    let last =
        RunFilter { limit: Some(1), station: Some(station.to_owned()), ..RunFilter::default() };
    let runs = Record::open(path)?.runs(&last)?;
    match runs.first().filter(|run| run.left() == Some(Left::LockedOut)) {
        None => Ok(()),
        Some(run) => Err(Failure::new(
            Exit::LockedOut,
            format!("station {station} is locked out: {} could not prove its part empty", run.id),
            "switch the supply off by hand, measure the part and discharge it through a resistor, \
             then repeat with --unlock",
        )),
    }
}

/// One thread drives the bench; the record and the screen have their own.
pub(crate) fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    Ok(tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?)
}

/// One soak at a station, with progress on the screen; signals end it safely.
pub(crate) async fn soak(
    wish: &Wish,
    drawn: &Drawn,
    station: &Station,
    path: &std::path::Path,
) -> Result<Finished, Failure> {
    let plan = Arc::new(drawn.plan.clone());
    let mut record = Record::open(path)?;
    let program = std::env::current_exe()?;
    let mut open = OpenStation::open(station, &program).await?;
    let (sender, mut stops) = mpsc::unbounded_channel();
    let control = Control::serve(&station.name, sender.clone())?;
    let signals = tokio::spawn(listen_for_signals(sender));
    let (progress, watched) = watch::channel(Progress::default());
    let screen = tokio::spawn(show_progress(watched, plan.target.soak, plan.target.window));
    let mut line = Line { progress: &progress, stops: &mut stops };
    let recovered = match open.recover(&mut record, &station.name, &plan, &mut line).await {
        Ok(recovered) => recovered,
        Err(error) => {
            open.close().await?;
            return Err(error.into());
        }
    };
    for run in recovered {
        screen::complain(&format!("{run} was cut off earlier; its bench has been made safe\n"));
    }
    let begun = new_run(wish, drawn, station, &open);
    let finished = open.soak(record, begun, plan, line).await;
    drop(progress);
    signals.abort();
    drop(control);
    if let Err(error) = screen.await {
        tracing::debug!(%error, "the progress line ended early");
    }
    open.close().await?;
    Ok(finished?)
}

fn new_run(wish: &Wish, drawn: &Drawn, station: &Station, open: &OpenStation) -> NewRun {
    let plan = plan::PlanObject::of(wish, drawn, station);
    NewRun {
        station: station.name.clone(),
        simulated: station.simulated,
        lapse: station.bench.lapse,
        part_name: wish.part.name.clone().unwrap_or_default(),
        family_tag: wish.part.family.tag().to_owned(),
        capacitance: wish.part.rating.capacitance(),
        tolerance: wish.part.tolerance.map(crate::part::Tolerance::above),
        rated: wish.part.rating.voltage(),
        test_voltage: drawn.plan.test_voltage,
        limit: Some(LimitOnRecord {
            current: drawn.plan.target.limit,
            rule: wish.limit.rule.to_string(),
            source: wish.limit.source.clone(),
            reading_time: Some(drawn.plan.target.reading_time),
            reference_celsius: wish.limit.reference.map(crate::quantity::Celsius::degrees),
        }),
        plan_json: serde_json::to_string(&plan).unwrap_or_default(),
        instruments: open.instruments.clone(),
        software: format!("reststrom {}", env!("CARGO_PKG_VERSION")),
        started: jiff::Timestamp::now(),
    }
}

/// Ctrl-C, SIGTERM and SIGHUP ask for the end; nothing leaves before the part is safe.
async fn listen_for_signals(stops: mpsc::UnboundedSender<Stop>) {
    use tokio::signal::unix::{SignalKind, signal};
    let kinds = [SignalKind::interrupt(), SignalKind::terminate(), SignalKind::hangup()];
    let [Ok(mut interrupt), Ok(mut terminate), Ok(mut hangup)] = kinds.map(signal) else {
        screen::complain("warning: signals can't be caught; stop with `reststrom stop`\n");
        return;
    };
    let mut asked = 0;
    loop {
        let name = tokio::select! {
            _ = interrupt.recv() => "Ctrl-C",
            _ = terminate.recv() => "SIGTERM",
            _ = hangup.recv() => "SIGHUP",
        };
        asked += 1;
        if asked == 1 {
            screen::complain(&format!("\n{name}: output off, discharging; please wait\n"));
        } else {
            screen::complain(
                "\nstill making safe; kill -9 would leave it to the keeper and the part may stay \
                 charged\n",
            );
        }
        if stops.send(Stop(format!("stopped by {name}"))).is_err() {
            return;
        }
    }
}

/// Shows a run as it goes on, five times a second on a terminal, by phases elsewhere.
async fn show_progress(mut watched: watch::Receiver<Progress>, soak: Time, window: Time) {
    let mut line = LiveLine::new();
    let mut shown = Phase::Idle;
    while watched.changed().await.is_ok() {
        let progress = *watched.borrow_and_update();
        if line.is_terminal() || progress.phase != shown {
            shown = progress.phase;
            line.show(&progress_line(&progress, soak + window / 2.0));
        }
        if line.is_terminal() {
            tokio::time::sleep(std::time::Duration::from_millis(200)).await;
        }
    }
    line.end();
}

fn progress_line(progress: &Progress, soak: Time) -> String {
    let current = match progress.current {
        Some(Sample::Value(current)) => text::current(three_digits(current)),
        Some(Sample::Overload { .. }) => "overload".into(),
        Some(Sample::NotANumber) | None => "no reading".into(),
    };
    let voltage = progress
        .voltage
        .map_or("unknown voltage".into(), |voltage| format!("{:.2} V at the part", voltage.value));
    let left = progress.full_voltage_at.map(|full| {
        let left = (full + soak - progress.time).max(seconds(0.0));
        format!(", {} of soak left", text::time(seconds(left.value.ceil())))
    });
    let left = left.filter(|_| progress.phase == Phase::Soak).unwrap_or_default();
    let expected = progress.forecast.map(|forecast| {
        let forecast = text::with_uncertainty(forecast.current, forecast.uncertainty);
        format!(", {forecast} expected then")
    });
    let expected = expected.unwrap_or_default();
    let energised = match progress.phase {
        Phase::Probe | Phase::Ramp | Phase::Charge | Phase::Settle | Phase::Soak => "ENERGISED",
        Phase::Bleed => "do not touch",
        Phase::Safe => "may be unclipped",
        Phase::LockedOut => "LOCKED OUT",
        Phase::Idle => "",
    };
    let time = text::time(seconds(progress.time.value.round()));
    format!(
        "{:<10} {time:>8}  {current}, {voltage}{left}{expected}  {energised}",
        progress.phase.tag()
    )
}

/// A live reading without digits that dance.
fn three_digits(current: crate::quantity::Current) -> crate::quantity::Current {
    let value = current.value;
    if value.abs() < 1e-15 {
        return crate::quantity::amperes(0.0);
    }
    let place = 10_f64.powf(value.abs().log10().floor() - 2.0);
    crate::quantity::amperes((value / place).round() * place)
}
