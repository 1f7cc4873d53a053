//! The part under test: family, value, rating and the leakage its sheet allows.
