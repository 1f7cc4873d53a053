//! Tables that are sent while they are read: ten million readings fill no memory.

use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use axum::body::{Body, Bytes};
use futures_util::stream;
use tokio::runtime::Handle;
use tokio::sync::mpsc;

use crate::record::{Record, RunId};
use crate::report::export::csv::{self, Decimal};

/// Pieces that may wait for a client.
const WAITING: usize = 4;
/// A client that takes nothing for so long gets no more: the record would be held open for it.
const PATIENCE: Duration = Duration::from_secs(30);

type Piece = io::Result<Bytes>;

/// The readings of a run as a body that grows while the client takes it. Where the record can't be
/// read to its end the transfer breaks off, so that no half table looks whole.
pub(super) fn readings(record: PathBuf, id: RunId, decimal: Decimal) -> Body {
    let (sender, receiver) = mpsc::channel::<Piece>(WAITING);
    let client = Client { pieces: sender.clone(), runtime: Handle::current() };
    tokio::task::spawn_blocking(move || {
        let sent = Record::open_for_reading(&record)
            .map_err(Into::into)
            .and_then(|record| csv::send(&record, id, decimal, client));
        if let Err(error) = sent {
            tracing::warn!(%error, run = %id, "a table was not sent to its end");
            // Told behind what waits, or a half table would look whole; one that is gone need not be.
            drop(sender.blocking_send(Err(io::Error::other(error))));
        }
    });
    Body::from_stream(stream::unfold(receiver, |mut receiver| async {
        receiver.recv().await.map(|piece| (piece, receiver))
    }))
}

/// A client as something to write to, from a thread that may wait.
struct Client {
    pieces: mpsc::Sender<Piece>,
    runtime: Handle,
}

impl Write for Client {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let piece = Ok(Bytes::copy_from_slice(bytes));
        let sent = self.runtime.block_on(self.pieces.send_timeout(piece, PATIENCE));
        sent.map_err(|error| io::Error::new(io::ErrorKind::TimedOut, error.to_string()))?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
