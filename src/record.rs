//! Runs, readings and events in SQLite.
