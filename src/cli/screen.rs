//! The only place that prints. A reader that went away is no error: the run goes on.

use std::io::{IsTerminal, Write};

/// Writes a result to standard output.
pub(crate) fn tell(text: &str) {
    put(&mut std::io::stdout().lock(), text);
}

/// Writes a complaint or a caution to standard error.
pub(crate) fn complain(text: &str) {
    put(&mut std::io::stderr().lock(), text);
}

/// Writes an object as JSON to standard output.
pub(crate) fn tell_json(object: &impl serde::Serialize) {
    match serde_json::to_string_pretty(object) {
        Ok(text) => tell(&format!("{text}\n")),
        Err(error) => complain(&format!("error: no JSON can be made of the result: {error}\n")),
    }
}

fn put(to: &mut impl Write, text: &str) {
    if let Err(error) = to.write_all(text.as_bytes()).and_then(|()| to.flush()) {
        tracing::debug!(%error, "nobody reads the output");
    }
}

/// A line that is written over and over on a terminal, and only when it changes elsewhere.
#[derive(Debug)]
pub(crate) struct LiveLine {
    terminal: bool,
    width: usize,
}

impl LiveLine {
    pub(crate) fn new() -> Self {
        Self { terminal: std::io::stderr().is_terminal(), width: 0 }
    }

    pub(crate) fn is_terminal(&self) -> bool {
        self.terminal
    }

    /// Shows `text` in place of what it showed before.
    pub(crate) fn show(&mut self, text: &str) {
        if !self.terminal {
            return complain(&format!("{text}\n"));
        }
        let width = text.chars().count();
        let blanks = " ".repeat(self.width.saturating_sub(width));
        complain(&format!("\r{text}{blanks}"));
        self.width = width;
    }

    /// Leaves the line as it is and goes to the next.
    pub(crate) fn end(&mut self) {
        if self.terminal && 0 < self.width {
            complain("\n");
            self.width = 0;
        }
    }
}
