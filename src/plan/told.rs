//! What instruments tell: a value or the reason for none, an output state or doubt.

/// What an instrument said: a value, or why there is none. Never a stand-in number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sample<Q> {
    /// A plausible value.
    Value(Q),
    /// Beyond the range in use.
    Overload {
        /// The overload is below the range's negative end.
        negative: bool,
    },
    /// The instrument said that it has no number.
    NotANumber,
}

/// The output state as the supply tells it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OutputState {
    /// Clearly on.
    On,
    /// Clearly off.
    Off,
    /// Neither; counts as on.
    Unknown,
}
