//! A program that serves a rig's station, asked over HTTP as a page or a script asks it.

#![allow(dead_code, unreachable_pub, reason = "each test program uses its own part of it")]

use std::io::{BufRead, BufReader};
use std::time::Duration;

use serde_json::{Value, json};

use crate::rig::{PATIENCE, Rig, Running, STATION, until};

/// A program that serves, and where.
pub struct Web {
    /// The program.
    pub run: Running,
    /// Its address, such as `http://127.0.0.1:40123`.
    pub base: String,
    agent: ureq::Agent,
}

/// An answer: its status and its body.
#[derive(Debug, Clone)]
pub struct Reply {
    /// Status of HTTP.
    pub status: u16,
    /// Its body, as text.
    pub text: String,
}

/// An event of a stream.
#[derive(Debug, Clone)]
pub struct Event {
    /// Its id.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// What it says.
    pub data: Value,
}

/// A stream of events.
pub struct Events(BufReader<ureq::BodyReader<'static>>);

impl Reply {
    /// The body as JSON.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

impl Web {
    /// Serves the station of a rig.
    pub fn of(rig: &Rig) -> Self {
        Self::with(rig, &[])
    }

    /// Serves with more words.
    pub fn with(rig: &Rig, words: &[&str]) -> Self {
        let own = ["serve", "--port", "0"];
        let port = if words.contains(&"--listen") { &own[..1] } else { &own[..] };
        let mut run = rig.start(&[port, words].concat());
        until(PATIENCE, "the address of the page", || {
            assert!(!run.has_ended(), "{}", run.said());
            run.told().contains('\n')
        });
        let told = run.told();
        let base =
            told.trim().trim_end_matches('/').rsplit(' ').next().unwrap_or_default().to_owned();
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_connect(Some(PATIENCE))
            .max_redirects(0)
            .build();
        Self { run, base, agent: config.into() }
    }

    /// Looks at something.
    #[track_caller]
    pub fn get(&self, path: &str) -> Reply {
        self.get_with(path, &[])
    }

    /// Looks at something, with headers.
    #[track_caller]
    pub fn get_with(&self, path: &str, headers: &[(&str, &str)]) -> Reply {
        let mut request = self.agent.get(format!("{}{path}", self.base));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        read(request.call())
    }

    /// Sends JSON.
    #[track_caller]
    pub fn post(&self, path: &str, object: &Value) -> Reply {
        self.post_with(path, object, &[])
    }

    /// Sends JSON, with headers.
    #[track_caller]
    pub fn post_with(&self, path: &str, object: &Value, headers: &[(&str, &str)]) -> Reply {
        let mut request = self.agent.post(format!("{}{path}", self.base));
        request = request.header("content-type", "application/json");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        read(request.send(object.to_string()))
    }

    /// Sends a form of a page.
    #[track_caller]
    pub fn submit(&self, path: &str, fields: &[(&str, &str)]) -> Reply {
        let form = fields.iter().copied();
        read(self.agent.post(format!("{}{path}", self.base)).send_form(form))
    }

    /// The path of the rig's station in the API.
    #[expect(clippy::unused_self, reason = "it reads as a question to the program")]
    pub fn station(&self, what: &str) -> String {
        format!("/api/stations/{STATION}{what}")
    }

    /// How the rig's station stands.
    #[track_caller]
    pub fn standing(&self) -> Value {
        self.get(&self.station("")).json()
    }

    /// The mark of a plan, for which the cautions are shown.
    #[track_caller]
    pub fn mark(&self, asked: &Value) -> String {
        let reply = self.post(&self.station("/plan"), asked);
        assert_eq!(reply.status, 200, "{reply:?}");
        reply.json()["mark"].as_str().expect("a mark").to_owned()
    }

    /// Starts a run.
    #[track_caller]
    pub fn start(&self, asked: &Value, token: &str) -> Reply {
        let start = json!({ "asked": asked, "mark": self.mark(asked), "token": token });
        self.post(&self.station("/runs"), &start)
    }

    /// Waits until the station stands like this.
    #[track_caller]
    pub fn stands(&self, what: &str, done: impl Fn(&Value) -> bool) -> Value {
        let mut standing = Value::Null;
        until(PATIENCE, what, || {
            standing = self.standing();
            std::thread::sleep(Duration::from_millis(20));
            done(&standing)
        });
        standing
    }

    /// Waits for the end of the run that goes on; what it came to.
    #[track_caller]
    pub fn ends(&self) -> Value {
        self.stands("the end of the run", |standing| standing["doing"] == "idle")["last"].clone()
    }

    /// Follows what happens, from after an event if one is given.
    pub fn events(&self, after: Option<&str>) -> Events {
        let mut request = self.agent.get(format!("{}/api/events", self.base));
        if let Some(id) = after {
            request = request.header("last-event-id", id);
        }
        let response = request.call().expect("a stream");
        Events(BufReader::new(response.into_body().into_reader()))
    }
}

#[track_caller]
fn read(reply: Result<ureq::http::Response<ureq::Body>, ureq::Error>) -> Reply {
    let mut reply = reply.expect("an answer");
    let status = reply.status().as_u16();
    Reply { status, text: reply.body_mut().read_to_string().expect("text") }
}

impl Iterator for Events {
    type Item = Event;

    fn next(&mut self) -> Option<Event> {
        let mut event = Event { id: String::new(), kind: String::new(), data: Value::Null };
        loop {
            let mut line = String::new();
            if self.0.read_line(&mut line).ok()? == 0 {
                return None;
            }
            match line.trim_end().split_once(": ") {
                Some(("id", id)) => id.clone_into(&mut event.id),
                Some(("event", kind)) => kind.clone_into(&mut event.kind),
                Some(("data", data)) => event.data = serde_json::from_str(data).expect("JSON"),
                _ if line == "\n" && !event.kind.is_empty() => return Some(event),
                _ => {}
            }
        }
    }
}
