//! `--trace`: every byte on the lines, both ways, as a text that people and tests can read.
//!
//! The links tell what passes as `tracing` events of their own target; this writes them down, a line
//! each, on a thread of its own, so that no reading waits for the disk.

use std::fs::File;
use std::io::{self, Write};
use std::path::Path;
use std::time::Instant;

use tracing::field::{Field, Visit};
use tracing::{Event, Subscriber};
use tracing_appender::non_blocking::{NonBlocking, NonBlockingBuilder, WorkerGuard};
use tracing_subscriber::Layer;
use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::layer::Context;
use tracing_subscriber::registry::LookupSpan;

use crate::station::LINE_TARGET;

/// Lines that may wait for the disk; beyond that they are dropped and counted.
const MOST_WAITING: usize = 1_000_000;

/// A trace under way; what waits is written when it is dropped.
#[derive(Debug)]
pub(super) struct Trace {
    _worker: WorkerGuard,
}

/// Writes down what passes on the lines.
#[derive(Debug)]
struct TraceLayer {
    writer: NonBlocking,
    began: Instant,
}

/// Begins a trace in `path`, in place of what the file held.
///
/// # Errors
///
/// The system's, if the file can't be made.
pub(super) fn begin<S>(path: &Path) -> io::Result<(impl Layer<S>, Trace)>
where
    S: Subscriber + for<'a> LookupSpan<'a>,
{
    let mut file = File::create(path)?;
    write!(
        file,
        "# Begun at {}. Seconds since then, port, `>` told or `<` came back, bytes; those that do\n\
         # not print are escaped.\n",
        jiff::Timestamp::now()
    )?;
    let (writer, worker) = NonBlockingBuilder::default()
        .buffered_lines_limit(MOST_WAITING)
        .thread_name("trace")
        .finish(file);
    let only_lines = Targets::new().with_target(LINE_TARGET, LevelFilter::TRACE);
    let layer = TraceLayer { writer, began: Instant::now() }.with_filter(only_lines);
    Ok((layer, Trace { _worker: worker }))
}

/// The fields of an event of a line.
#[derive(Debug, Default)]
struct Passed {
    port: String,
    way: String,
    bytes: String,
}

impl Visit for Passed {
    fn record_debug(&mut self, field: &Field, value: &dyn std::fmt::Debug) {
        let place = match field.name() {
            "port" => &mut self.port,
            "way" => &mut self.way,
            "bytes" => &mut self.bytes,
            _ => return,
        };
        *place = format!("{value:?}");
    }
}

impl<S: Subscriber> Layer<S> for TraceLayer {
    fn on_event(&self, event: &Event<'_>, _context: Context<'_, S>) {
        let mut passed = Passed::default();
        event.record(&mut passed);
        let Passed { port, way, bytes } = passed;
        let line = format!("{:12.6} {port} {way} {bytes}\n", self.began.elapsed().as_secs_f64());
        let mut writer = self.writer.clone();
        if let Err(error) = writer.write_all(line.as_bytes()) {
            tracing::debug!(%error, "a line of the trace is lost");
        }
    }
}
