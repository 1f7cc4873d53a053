//! How leakage rises with temperature. Source: handbook §2.4 and §7.
//!
//! The texts disagree about wet aluminium by a factor of two to three: the range goes wherever the
//! usual value goes.

use super::family::{Dielectric, Family};
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
            Self::Paper => (9.0, 7.0, 12.0),
            Self::Mica | Self::DoubleLayer => (12.0, 8.0, 20.0),
        };
        Doubling { usual, least, most }
    }
}

/// Families whose row in the handbook is narrower than that of their dielectric, or lies elsewhere.
const OWN_ROWS: [(Family, Doubling); 5] = [
    (Family::AluminiumVintage, Doubling { usual: 15.0, least: 8.0, most: 35.0 }),
    (Family::AluminiumHybrid, Doubling { usual: 20.0, least: 12.0, most: 30.0 }),
    (Family::Polypropylene, Doubling { usual: 13.0, least: 12.0, most: 15.0 }),
    (Family::Polyester, Doubling { usual: 10.0, least: 8.0, most: 12.0 }),
    (Family::PolyphenyleneSulphide, Doubling { usual: 13.0, least: 10.0, most: 15.0 }),
];

impl Family {
    /// The kelvins that double its leakage.
    #[must_use]
    pub fn doubling(self) -> Doubling {
        let own = OWN_ROWS.iter().find(|(family, _)| *family == self);
        own.map_or_else(|| self.dielectric().doubling(), |(_, doubling)| *doubling)
    }
}

impl Doubling {
    /// What a current at `from` is multiplied by to be that at `to`: usual, least and most.
    #[must_use]
    pub fn factors(self, from: Celsius, to: Celsius) -> [f64; 3] {
        let kelvins = to.degrees() - from.degrees();
        let by = |step: f64| 2_f64.powf(kelvins / step);
        let (one, other) = (by(self.least), by(self.most));
        [by(self.usual), one.min(other), one.max(other)]
    }

    /// A current at `from`, carried to `to`: usual, least and most.
    #[must_use]
    pub fn carry(self, current: Current, from: Celsius, to: Celsius) -> [Current; 3] {
        self.factors(from, to).map(|factor| current * factor)
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
    fn no_usual_value_lies_outside_its_range() {
        for family in Family::ALL {
            let Doubling { usual, least, most } = family.doubling();
            assert!(least <= usual && usual <= most && 0.0 < least, "{family}");
        }
    }

    #[test]
    fn colder_parts_leak_less_and_the_ends_stay_in_order() {
        let doubling = Dielectric::WetAluminium.doubling();
        let [usual, least, most] = doubling.carry(amperes(1e-6), celsius(20.0), celsius(0.0));
        assert!(least <= usual && usual <= most && most < amperes(1e-6));
    }
}
