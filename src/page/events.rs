//! Server-sent events: what happens at the stations, with replay after a lost connection.
//!
//! A task per station looks at what the station shows of itself, at most ten times a second, and
//! puts it into the [`Log`]; each client reads from there at its own pace. A client that does not
//! read holds up its own connection and nothing else.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use serde::Serialize;
use tokio::sync::watch;
use tokio::time::Instant;

use super::House;
use super::objects::StationObject;
use super::reading::ReadingObject;
use crate::daemon::served::Served;

/// Events that can be replayed: some minutes of one station's run.
const KEPT: usize = 4096;
/// Readings follow each other no sooner: an eye sees no more, a chart needs no more.
const PACE: Duration = Duration::from_millis(100);
/// Without a new reading the state is told this often while a run goes on.
const SLOW_PACE: Duration = Duration::from_secs(1);
/// A word now and then: a page that hears none knows that what it shows is old.
const SIGN_OF_LIFE: Duration = Duration::from_secs(5);

/// The newest events, by number.
pub(super) struct Log {
    /// Tells the events of this program from those of the one before it.
    boot: String,
    kept: Mutex<Kept>,
    newest: watch::Sender<u64>,
}

struct Kept {
    /// Number of the first one that is kept.
    first: u64,
    events: VecDeque<Bytes>,
}

impl Log {
    pub(super) fn new() -> Self {
        let boot = format!("{:x}", jiff::Timestamp::now().as_millisecond());
        let kept = Kept { first: 1, events: VecDeque::new() };
        Self { boot, kept: Mutex::new(kept), newest: watch::Sender::new(0) }
    }

    fn push(&self, kind: &str, object: &impl Serialize) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let number = kept.first + kept.events.len() as u64;
        kept.events.push_back(event(kind, &self.id(number), object));
        if KEPT < kept.events.len() {
            kept.events.pop_front();
            kept.first += 1;
        }
        drop(kept);
        self.newest.send_replace(number);
    }

    fn id(&self, number: u64) -> String {
        format!("{}-{number}", self.boot)
    }

    /// The number of an event of this program.
    fn number(&self, id: &str) -> Option<u64> {
        let (boot, number) = id.split_once('-')?;
        (boot == self.boot).then(|| number.parse().ok()).flatten()
    }

    /// The events after a number; none if some of them are no longer kept, or never were.
    fn after(&self, number: u64) -> Option<Vec<Bytes>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let from = (number + 1).checked_sub(kept.first)?;
        let from = usize::try_from(from).ok().filter(|from| *from <= kept.events.len())?;
        Some(kept.events.range(from..).cloned().collect())
    }

    fn newest(&self) -> u64 {
        *self.newest.borrow()
    }
}

fn event(kind: &str, id: &str, object: &impl Serialize) -> Bytes {
    let data = serde_json::to_string(object).unwrap_or_default();
    format!("id: {id}\nevent: {kind}\ndata: {data}\n\n").into()
}

/// Tells what happens at a station, for as long as there is one.
pub(super) async fn tell(house: std::sync::Arc<House>, served: Served) {
    let (mut standing, mut progress) = (served.standing(), served.progress());
    let mut told = Told { readings: 0, phase: "", at: Instant::now() - SLOW_PACE };
    loop {
        tokio::select! {
            changed = standing.changed() => {
                if changed.is_err() { return; }
                house.log.push("station", &StationObject::of(&served));
            }
            changed = progress.changed() => {
                if changed.is_err() { return; }
                tokio::time::sleep_until(told.at + PACE).await;
                progress.mark_unchanged();
                if let Some(reading) = ReadingObject::of(&served).filter(|new| told.is_news(new)) {
                    house.log.push("reading", &reading);
                }
            }
        }
    }
}

/// What was told last of a run.
struct Told {
    readings: u32,
    phase: &'static str,
    at: Instant,
}

impl Told {
    fn is_news(&mut self, new: &ReadingObject) -> bool {
        let changed = self.readings != new.readings || self.phase != new.phase;
        let news = changed || SLOW_PACE <= self.at.elapsed();
        if news {
            *self = Self { readings: new.readings, phase: new.phase, at: Instant::now() };
        }
        news
    }
}

/// A client, and what is on its way to it.
struct Client {
    house: std::sync::Arc<House>,
    sent: u64,
    newest: watch::Receiver<u64>,
    first: Option<Vec<Bytes>>,
}

/// The events after `last`, if they are still known; else how everything stands, and from there on.
pub(super) fn stream(house: &std::sync::Arc<House>, last: Option<&str>) -> Response {
    let known = last.and_then(|id| house.log.number(id)).filter(|n| house.log.after(*n).is_some());
    let newest = house.log.newest.subscribe();
    let (sent, first) = match known {
        Some(number) => (number, Vec::new()),
        None => snapshot(house, last.is_some()),
    };
    let client = Client { house: house.clone(), sent, newest, first: Some(first) };
    let events = stream::unfold(client, |mut client| async move {
        let bytes = client.next().await;
        Some((Ok::<_, std::convert::Infallible>(bytes), client))
    });
    ([(header::CONTENT_TYPE, "text/event-stream")], Body::from_stream(events)).into_response()
}

/// How everything stands; a client that has missed something is told so first.
fn snapshot(house: &House, missed: bool) -> (u64, Vec<Bytes>) {
    let newest = house.log.newest();
    let id = house.log.id(newest);
    let mut first = vec![Bytes::from_static(b"retry: 1000\n\n")];
    if missed {
        first.push(event("missed", &id, &serde_json::json!({})));
    }
    for served in &house.stations {
        first.push(event("station", &id, &StationObject::of(served)));
        first.extend(ReadingObject::of(served).map(|reading| event("reading", &id, &reading)));
    }
    (newest, first)
}

impl Client {
    /// The next bytes for it.
    async fn next(&mut self) -> Bytes {
        if let Some(first) = self.first.take().filter(|first| !first.is_empty()) {
            return first.concat().into();
        }
        loop {
            let newest = *self.newest.borrow_and_update();
            if self.sent < newest {
                return self.catch_up(newest);
            }
            match tokio::time::timeout(SIGN_OF_LIFE, self.newest.changed()).await {
                Ok(Ok(())) => {}
                Ok(Err(_closed)) => std::future::pending().await,
                Err(_elapsed) => return Bytes::from_static(b"event: alive\ndata: {}\n\n"),
            }
        }
    }

    fn catch_up(&mut self, newest: u64) -> Bytes {
        if let Some(events) = self.house.log.after(self.sent) {
            self.sent += events.len() as u64;
            return events.concat().into();
        }
        let (_, first) = snapshot(&self.house, true);
        self.sent = newest;
        first.concat().into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(count: usize) -> Log {
        let log = Log::new();
        for number in 1..=count {
            log.push("reading", &number);
        }
        log
    }

    fn text(events: &[Bytes]) -> String {
        String::from_utf8(events.concat()).unwrap()
    }

    #[test]
    fn what_came_after_an_event_is_replayed_in_order() {
        let log = filled(5);
        let id = log.id(3);
        let replayed = text(&log.after(log.number(&id).unwrap()).unwrap());
        let data: Vec<&str> = replayed.lines().filter(|line| line.starts_with("data")).collect();
        assert_eq!(data, ["data: 4", "data: 5"]);
        assert!(replayed.contains(&format!("id: {}\n", log.id(5))));
    }

    #[test]
    fn nothing_is_replayed_with_a_hole_in_it() {
        let log = filled(KEPT + 2);
        assert_eq!(log.after(1), None, "event 2 is no longer kept");
        assert_eq!(log.after(2).map(|events| events.len()), Some(KEPT));
        assert_eq!(log.after(KEPT as u64 + 9), None, "it was never told");
    }

    #[test]
    fn an_event_of_an_earlier_program_is_not_known() {
        let log = filled(1);
        assert_eq!(log.number("1-1"), None);
        assert_eq!(log.number(""), None);
        assert_eq!(log.number(&log.id(1)), Some(1));
    }
}
