//! What a service manager is told: ready, alive, stopping. Without one nothing is said.

use std::time::Duration;

use sd_notify::NotifyState;

use crate::daemon::served::Served;

/// A station's thread gives a sign of life every second; after this long it hangs.
const HANGS: Duration = Duration::from_secs(5);

/// Says that all is open.
pub(super) fn ready(served: &[Served]) {
    let names: Vec<&str> = served.iter().map(|one| one.station().name.as_str()).collect();
    say(&[NotifyState::Ready, NotifyState::Status(&format!("serving {}", names.join(", ")))]);
}

/// Says that the end was asked for.
pub(super) fn stopping() {
    say(&[NotifyState::Stopping, NotifyState::Status("output off, discharging")]);
}

/// Says that all stations are alive, as often as the manager asks for; one that hangs keeps that from
/// being said.
pub(super) async fn stay_alive(served: Vec<Served>) {
    let Some(asked) = sd_notify::watchdog_enabled() else { return };
    let mut turns = tokio::time::interval(asked / 3);
    turns.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Skip);
    loop {
        turns.tick().await;
        match served.iter().find(|one| HANGS < one.silent_for()) {
            None => say(&[NotifyState::Watchdog]),
            Some(hangs) => tracing::error!(station = hangs.station().name, "hangs"),
        }
    }
}

fn say(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::warn!(%error, "the service manager does not listen");
    }
}
