//! Part and station to what will be done: voltages, limits, times, energies, cautions.

mod phase;

pub use phase::Phase;
