//! Clients as pages are: they fetch, start a run, and listen.

use std::io::{BufRead, BufReader};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::Result;

/// A client of one address.
pub(crate) struct Client<'a> {
    base: &'a str,
}

impl<'a> Client<'a> {
    pub(crate) fn of(base: &'a str) -> Self {
        Self { base }
    }

    pub(crate) fn get(&self, path: &str) -> Result<Vec<u8>> {
        Ok(ureq::get(format!("{}{path}", self.base)).call()?.into_body().read_to_vec()?)
    }

    fn post(&self, path: &str, object: &Value) -> Result<Value> {
        let request = ureq::post(format!("{}/api{path}", self.base));
        let request = request.header("content-type", "application/json");
        let text = request.send(object.to_string())?.into_body().read_to_string()?;
        Ok(serde_json::from_str(&text)?)
    }

    /// Starts a soak that outlasts the measurement.
    pub(crate) fn start_soak(&self) -> Result<()> {
        let asked = json!({ "part": "C14 22µF 25V tantalum", "soak": "10h" });
        let mark = self.post("/stations/terne-bench/plan", &asked)?["mark"].clone();
        let start = json!({ "asked": asked, "mark": mark, "token": "bench-of-serve" });
        self.post("/stations/terne-bench/runs", &start).map(|_| ())
    }

    pub(crate) fn stop(&self) -> Result<()> {
        self.post("/stop", &json!({})).map(|_| ())
    }
}

/// How late each reading reaches each of `pages` clients that listen for `time`, in seconds.
pub(crate) fn freshness(base: &str, pages: usize, time: Duration) -> Result<Vec<f64>> {
    let listeners: Vec<_> = (0..pages)
        .map(|_| {
            let address = format!("{base}/api/events");
            std::thread::spawn(move || listen(&address, time))
        })
        .collect();
    let mut all = Vec::new();
    for listener in listeners {
        all.extend(listener.join().map_err(|_| "a listener ended in a panic")??);
    }
    Ok(all)
}

fn listen(address: &str, time: Duration) -> Result<Vec<f64>> {
    let body = ureq::get(address).call()?.into_body();
    let (mut late, begun, mut known) = (Vec::new(), Instant::now(), Value::Null);
    for line in BufReader::new(body.into_reader()).lines() {
        if time < begun.elapsed() {
            break;
        }
        let line = line?;
        let now = jiff::Timestamp::now();
        let Some(data) = line.strip_prefix("data: ") else { continue };
        let data: Value = serde_json::from_str(data)?;
        let Some(read_at) = data["read_at"].as_str() else { continue };
        // A reading that is told again is not late; what stood there at first is as old as it is.
        if known != data["readings"] && !known.is_null() {
            let read_at: jiff::Timestamp = read_at.parse()?;
            late.push(now.duration_since(read_at).as_secs_f64());
        }
        known = data["readings"].clone();
    }
    Ok(late)
}
