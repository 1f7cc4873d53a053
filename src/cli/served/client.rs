//! HTTP over the Unix socket of a program that serves a station.

use std::path::PathBuf;

use http_body_util::{BodyExt, Full};
use hyper::body::{Bytes, Incoming};
use hyper::client::conn::http1;
use hyper::{Request, Response};
use hyper_util::rt::TokioIo;
use serde::Serialize;
use serde_json::Value;
use tokio::net::UnixStream;
use tokio::task::JoinHandle;

use crate::cli::Exit;
use crate::cli::failure::Failure;

/// A program that serves a station.
pub(crate) struct Client {
    pub(super) station: String,
    path: PathBuf,
}

/// An answer of it.
pub(super) struct Answer {
    pub(super) status: u16,
    pub(super) body: Value,
}

/// A station that was borrowed; dropped, it is given back.
pub(crate) struct Loan {
    _body: Incoming,
    connection: JoinHandle<()>,
}

/// Its stream of events.
pub(super) struct Events {
    body: Incoming,
    connection: JoinHandle<()>,
    bytes: Vec<u8>,
}

impl Drop for Loan {
    fn drop(&mut self) {
        self.connection.abort();
    }
}

impl Drop for Events {
    fn drop(&mut self) {
        self.connection.abort();
    }
}

impl Answer {
    /// The body of an answer that says yes.
    pub(super) fn ok(self) -> Result<Value, Self> {
        if (200..300).contains(&self.status) { Ok(self.body) } else { Err(self) }
    }
}

impl Client {
    /// Reaches the program behind a socket; none if nobody listens there.
    pub(super) async fn reach(path: PathBuf, station: &str) -> Option<Self> {
        UnixStream::connect(&path).await.ok()?;
        Some(Self { station: station.to_owned(), path })
    }

    /// Asks something of the station.
    pub(super) async fn post(
        &self,
        what: &str,
        object: &impl Serialize,
    ) -> Result<Answer, Failure> {
        let body = serde_json::to_vec(object).map_err(|error| gone(&error))?;
        let (response, connection) = self.send("POST", &self.path_to(what), body).await?;
        let status = response.status().as_u16();
        let bytes = response.into_body().collect().await.map_err(|error| gone(&error))?.to_bytes();
        connection.abort();
        let body = serde_json::from_slice(&bytes).unwrap_or(Value::Null);
        Ok(Answer { status, body })
    }

    /// Borrows the station.
    pub(super) async fn lend(&self) -> Result<Result<Loan, Answer>, Failure> {
        let (response, connection) = self.send("POST", &self.path_to("lend"), Vec::new()).await?;
        let status = response.status().as_u16();
        let mut body = response.into_body();
        if status == 200 {
            return Ok(Ok(Loan { _body: body, connection }));
        }
        let mut bytes = Vec::new();
        while let Some(Ok(frame)) = body.frame().await {
            bytes.extend(frame.into_data().unwrap_or_default());
        }
        Ok(Err(Answer { status, body: serde_json::from_slice(&bytes).unwrap_or(Value::Null) }))
    }

    /// Follows what happens from now on.
    pub(super) async fn events(&self) -> Result<Events, Failure> {
        let (response, connection) = self.send("GET", "/api/events", Vec::new()).await?;
        Ok(Events { body: response.into_body(), connection, bytes: Vec::new() })
    }

    fn path_to(&self, what: &str) -> String {
        let escaped = crate::page::escaped(&self.station);
        format!("/api/stations/{escaped}/{what}")
    }

    async fn send(
        &self,
        method: &str,
        path: &str,
        body: Vec<u8>,
    ) -> Result<(Response<Incoming>, JoinHandle<()>), Failure> {
        let stream = UnixStream::connect(&self.path).await.map_err(|error| gone(&error))?;
        let (mut sender, connection) =
            http1::handshake(TokioIo::new(stream)).await.map_err(|error| gone(&error))?;
        let connection = tokio::spawn(async move {
            if let Err(error) = connection.await {
                tracing::debug!(%error, "the connection ended");
            }
        });
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", "localhost")
            .header("content-type", "application/json")
            .body(Full::new(Bytes::from(body)))
            .map_err(|error| gone(&error))?;
        let response = sender.send_request(request).await.map_err(|error| gone(&error))?;
        Ok((response, connection))
    }
}

impl Events {
    /// The next event: its kind and what it says.
    pub(super) async fn next(&mut self) -> Result<(String, Value), Failure> {
        loop {
            if let Some(end) = self.bytes.windows(2).position(|pair| pair == b"\n\n") {
                let event: Vec<u8> = self.bytes.drain(..end + 2).collect();
                if let Some(read) = read_event(&String::from_utf8_lossy(&event)) {
                    return Ok(read);
                }
                continue;
            }
            let frame = self.body.frame().await;
            let frame = frame.ok_or_else(|| gone(&"it has closed the connection"))?;
            let data = frame.map_err(|error| gone(&error))?.into_data();
            self.bytes.extend(data.unwrap_or_default());
        }
    }
}

fn read_event(event: &str) -> Option<(String, Value)> {
    let field = |name: &str| event.lines().find_map(|line| line.strip_prefix(name));
    let data = serde_json::from_str(field("data: ")?).ok()?;
    Some((field("event: ")?.to_owned(), data))
}

fn gone(error: &dyn std::fmt::Display) -> Failure {
    Failure::new(
        Exit::Fault,
        format!("the program that serves the station is gone: {error}"),
        "its keeper switches off and discharges: wait, then look with `reststrom runs`",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_is_read_by_its_kind_and_data() {
        let read = read_event("id: 1-2\nevent: reading\ndata: {\"phase\":\"soak\"}");
        assert_eq!(read, Some(("reading".into(), serde_json::json!({ "phase": "soak" }))));
        assert_eq!(read_event("retry: 1000"), None);
    }
}
