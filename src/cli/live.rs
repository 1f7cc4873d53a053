//! A run as it goes on, in one line on the screen.

use tokio::sync::watch;

use super::screen::LiveLine;
use crate::daemon::Progress;
use crate::plan::Phase;
use crate::quantity::{Time, seconds, text};

/// Shows a run as it goes on, five times a second on a terminal, by phases elsewhere.
pub(crate) async fn show_progress(mut watched: watch::Receiver<Progress>, soak: Option<Time>) {
    let mut line = LiveLine::new();
    let mut shown = Phase::Idle;
    while watched.changed().await.is_ok() {
        let progress = *watched.borrow_and_update();
        if line.is_terminal() || progress.phase != shown {
            shown = progress.phase;
            line.show(&progress_line(&progress, soak));
        }
        if line.is_terminal() {
            tokio::time::sleep(std::time::Duration::from_millis(200)).await;
        }
    }
    line.end();
}

fn progress_line(progress: &Progress, soak: Option<Time>) -> String {
    let current = progress.reads();
    let voltage = progress
        .voltage
        .map_or("unknown voltage".into(), |voltage| format!("{:.2} V at the part", voltage.value));
    let left = progress.full_voltage_at.zip(soak).map(|(full, soak)| {
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
