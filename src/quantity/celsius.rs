//! Temperature on the Celsius scale, as data sheets and thermometers give it.

/// A temperature on the Celsius scale. Not a difference: 20 °C and 20 K of warming are two things.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Celsius(f64);

/// Absolute zero, below which no temperature lies.
pub(super) const ABSOLUTE_ZERO: Celsius = Celsius(-273.15);

/// A temperature of so many degrees Celsius.
#[must_use]
pub const fn celsius(degrees: f64) -> Celsius {
    Celsius(degrees)
}

impl Celsius {
    /// Degrees above the freezing point of water.
    #[must_use]
    pub const fn degrees(self) -> f64 {
        self.0
    }
}
