//! What a limit means at another temperature. Source: handbook §2.4.
//!
//! A guide only: the texts disagree about wet aluminium by a factor of two to three.

use super::family::Dielectric;
use crate::quantity::{Celsius, Current};

/// The kelvins that double the leakage of a dielectric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubling {
    /// The usual value.
    pub usual: f64,
    /// The least that is seen: the steepest rise.
    pub least: f64,
    /// The most that is seen: the flattest rise.
    pub most: f64,
}

impl Dielectric {
    /// The kelvins that double its leakage.
    #[must_use]
    pub fn doubling(self) -> Doubling {
        let (usual, least, most) = match self {
            Self::WetAluminium => (20.0, 10.0, 35.0),
            Self::Tantalum => (18.0, 15.0, 30.0),
            Self::PolymerAluminium => (20.0, 15.0, 30.0),
            Self::CeramicOne | Self::CeramicTwo => (30.0, 5.0, 30.0),
            Self::Film => (12.0, 8.0, 15.0),
            Self::Paper => (9.0, 9.0, 9.0),
            Self::Mica | Self::DoubleLayer => (12.0, 12.0, 12.0),
        };
        Doubling { usual, least, most }
    }
}

impl Doubling {
    /// A current at `from`, carried to `to`: usual, least and most.
    #[must_use]
    pub fn carry(self, current: Current, from: Celsius, to: Celsius) -> [Current; 3] {
        let kelvins = to.degrees() - from.degrees();
        let at = |step: f64| current * 2_f64.powf(kelvins / step);
        let (one, other) = (at(self.least), at(self.most));
        [at(self.usual), one.min(other), one.max(other)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{amperes, celsius};

    // Handbook §2.4: tantalum of the MnO2 kind leaks ten times as much at 85 °C as at 25 °C.
    #[test]
    fn a_tantalum_leaks_ten_times_as_much_at_85_degrees() {
        let doubling = Dielectric::Tantalum.doubling();
        let [usual, ..] = doubling.carry(amperes(1e-6), celsius(25.0), celsius(85.0));
        assert!((usual.value / 1e-5 - 1.0).abs() < 0.02, "{usual:?}");
    }

    #[test]
    fn colder_parts_leak_less_and_the_ends_stay_in_order() {
        let doubling = Dielectric::WetAluminium.doubling();
        let [usual, least, most] = doubling.carry(amperes(1e-6), celsius(20.0), celsius(0.0));
        assert!(least <= usual && usual <= most && most < amperes(1e-6));
    }
}
