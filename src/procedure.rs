//! The state machine of a run: inputs in, orders out. Pure.
