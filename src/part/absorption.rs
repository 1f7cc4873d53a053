//! How much current the dielectric of a sound part still soaks up at a given time: i = β·C·U·t⁻ⁿ.
//!
//! It hardly depends on temperature (handbook §2.1), so it is left out where a leakage is carried
//! to another one.

use super::family::Family;
use crate::quantity::{Charge, Current, Time, amperes};

/// Range of the absorption law within a family, healthy parts (handbook §2.9).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Absorption {
    /// Least and greatest β, in s^(n−1).
    pub strength: (f64, f64),
    /// Least and greatest n.
    pub exponent: (f64, f64),
}

impl Absorption {
    /// The most that a part of this charge C·U soaks up at `after` full voltage.
    #[must_use]
    pub fn most(&self, charge: Charge, after: Time) -> Current {
        let seconds = after.value.max(1.0);
        amperes(self.strength.1 * charge.value * seconds.powf(-self.exponent.0))
    }
}

impl Family {
    /// How strongly its dielectric absorbs (handbook §2.9; §2.1 and §7 for rows that it lacks).
    #[must_use]
    pub fn absorption(self) -> Absorption {
        let (strength, exponent) = match self {
            Self::TantalumMno2
            | Self::TantalumLowLeakage
            | Self::TantalumAt85
            | Self::TantalumAt125 => ((4e-3, 10e-3), (0.8, 1.1)),
            Self::TantalumPolymer => ((5e-3, 15e-3), (0.7, 1.0)),
            Self::TantalumWet => ((5e-3, 12e-3), (0.8, 1.0)),
            Self::NiobiumOxide => ((6e-3, 15e-3), (0.8, 1.0)),
            Self::AluminiumLowLeakage => ((20e-3, 35e-3), (0.7, 1.0)),
            Self::Aluminium
            | Self::AluminiumHighVoltage
            | Self::AluminiumLongLife
            | Self::AluminiumBipolar
            | Self::AluminiumSnapIn
            | Self::AluminiumScrew => ((20e-3, 40e-3), (0.7, 1.0)),
            Self::AluminiumVintage => ((20e-3, 40e-3), (0.5, 1.0)),
            Self::AluminiumPolymer | Self::AluminiumPolymerStack => ((5e-3, 20e-3), (0.7, 1.0)),
            Self::AluminiumHybrid => ((15e-3, 30e-3), (0.7, 1.0)),
            Self::CeramicOne | Self::CeramicOneMilitary => ((0.5e-3, 1.6e-3), (0.8, 1.0)),
            Self::CeramicTwo | Self::CeramicTwoLowVoltage | Self::CeramicTwoHighCapacitance => {
                ((2e-3, 7e-3), (0.7, 1.0))
            }
            Self::Polypropylene | Self::PolyphenyleneSulphide => ((1.3e-4, 2.6e-4), (0.8, 1.1)),
            Self::Polyester => ((5e-4, 13e-4), (0.7, 1.0)),
            // Of polypropylene or polyester.
            Self::FilmMains => ((1.3e-4, 13e-4), (0.7, 1.1)),
            Self::Paper => ((3e-3, 13e-3), (0.6, 0.9)),
            Self::Mica => ((1e-3, 3e-3), (0.8, 1.0)),
            Self::DoubleLayer => ((50e-3, 200e-3), (0.5, 0.8)),
        };
        Absorption { strength, exponent }
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::{coulombs, seconds};

    // Handbook §2.1 gives the usual size at the reading time; the most is above it, not by far.
    #[rstest]
    #[case::polypropylene(Family::Polypropylene, 1e-6 * 100.0, 60.0, 0.33e-9)]
    #[case::polyester(Family::Polyester, 1e-6 * 100.0, 60.0, 1e-9)]
    #[case::class_two_ceramic(Family::CeramicTwo, 1e-6 * 50.0, 60.0, 3.3e-9)]
    #[case::tantalum(Family::TantalumMno2, 10e-6 * 16.0, 300.0, 3.5e-9)]
    #[case::aluminium(Family::Aluminium, 1000e-6 * 16.0, 120.0, 4e-6)]
    #[case::low_leakage_aluminium(Family::AluminiumLowLeakage, 10e-6 * 25.0, 60.0, 0.13e-6)]
    fn the_most_covers_what_the_handbook_calls_usual(
        #[case] family: Family,
        #[case] coulomb: f64,
        #[case] second: f64,
        #[case] usual: f64,
    ) {
        let most = family.absorption().most(coulombs(coulomb), seconds(second)).value;
        assert!((usual..10.0 * usual).contains(&most), "{most}, usually {usual}");
    }

    #[test]
    fn it_dies_away_with_time() {
        let at = |time| Family::Aluminium.absorption().most(coulombs(1e-3), seconds(time));
        assert!(at(120.0) < at(60.0) && amperes(0.0) < at(1e6));
    }
}
