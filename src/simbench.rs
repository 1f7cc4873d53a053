//! A simulated bench on real pseudo-terminals and TCP.
