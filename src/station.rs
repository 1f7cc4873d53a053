//! Instruments: driver files, dialects, links.
