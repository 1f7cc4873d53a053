//! Pictures and sheets of what is on record.
