//! How much current the dielectric of a sound part still soaks up: β of i = β·C·U·t⁻ⁿ.

use super::family::Family;

impl Family {
    /// Greatest β of healthy parts, in s^(n−1) (handbook §2.9; §2.1 for rows that it lacks).
    ///
    /// Film across the mains is polypropylene or polyester, and takes the greater of the two.
    #[must_use]
    pub fn absorption_strength(self) -> f64 {
        match self {
            Self::TantalumMno2
            | Self::TantalumLowLeakage
            | Self::TantalumAt85
            | Self::TantalumAt125 => 10e-3,
            Self::TantalumPolymer | Self::NiobiumOxide => 15e-3,
            Self::TantalumWet => 12e-3,
            Self::AluminiumLowLeakage => 35e-3,
            Self::Aluminium
            | Self::AluminiumHighVoltage
            | Self::AluminiumLongLife
            | Self::AluminiumBipolar
            | Self::AluminiumSnapIn
            | Self::AluminiumScrew
            | Self::AluminiumVintage => 40e-3,
            Self::AluminiumPolymer | Self::AluminiumPolymerStack => 20e-3,
            Self::AluminiumHybrid => 30e-3,
            Self::CeramicOne | Self::CeramicOneMilitary => 1.6e-3,
            Self::CeramicTwo | Self::CeramicTwoLowVoltage | Self::CeramicTwoHighCapacitance => 7e-3,
            Self::Polypropylene | Self::PolyphenyleneSulphide => 2.6e-4,
            Self::Polyester | Self::FilmMains => 13e-4,
            Self::Paper => 13e-3,
            Self::Mica => 3e-3,
            Self::DoubleLayer => 200e-3,
        }
    }
}
