//! How leakage falls when the voltage is lowered (handbook §2.3), for estimates alone.

use super::family::{Dielectric, Family};
use crate::quantity::Voltage;

/// I over U, with everything counted from the rated voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VoltageLaw {
    /// I ∝ U: films, mica, surfaces, and most damaged parts.
    Ohmic,
    /// `I ∝ U·exp(s·√(U/U_R))` with this s.
    PooleFrenkel(f64),
    /// `I ∝ exp(b·U/U_R)` with this b.
    Exponential(f64),
}

impl VoltageLaw {
    /// What a leakage is multiplied by when the voltage goes from one to another.
    #[must_use]
    pub fn ratio(self, from: Voltage, to: Voltage, rated: Voltage) -> f64 {
        let (from, to) = ((from / rated).value, (to / rated).value);
        match self {
            Self::Ohmic => to / from,
            Self::PooleFrenkel(s) => to / from * (s * (to.max(0.0).sqrt() - from.sqrt())).exp(),
            Self::Exponential(b) => (b * (to - from)).exp(),
        }
    }
}

impl Family {
    /// The flattest law of its parts (handbook §2.9): the one that promises least of a lower
    /// voltage.
    #[must_use]
    pub fn flattest_law(self) -> VoltageLaw {
        match (self.dielectric(), self) {
            (_, Self::TantalumPolymer) => VoltageLaw::PooleFrenkel(4.0),
            (_, Self::NiobiumOxide) => VoltageLaw::PooleFrenkel(5.0),
            (_, Self::AluminiumHighVoltage | Self::AluminiumSnapIn | Self::AluminiumScrew) => {
                VoltageLaw::Exponential(4.0)
            }
            (_, Self::TantalumWet)
            | (
                Dielectric::WetAluminium | Dielectric::PolymerAluminium | Dielectric::DoubleLayer,
                _,
            ) => VoltageLaw::Exponential(3.0),
            (Dielectric::Tantalum, _) => VoltageLaw::PooleFrenkel(6.0),
            (Dielectric::CeramicTwo, _) => VoltageLaw::PooleFrenkel(2.0),
            (
                Dielectric::CeramicOne | Dielectric::Film | Dielectric::Paper | Dielectric::Mica,
                _,
            ) => VoltageLaw::Ohmic,
        }
    }

    /// Whether voltage grows its oxide back after years without (handbook §4.5).
    #[must_use]
    pub fn can_be_reformed(self) -> bool {
        self.dielectric() == Dielectric::WetAluminium || self == Self::AluminiumHybrid
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::volts;

    // Handbook §2.3: s = 7 gives 0.0075/0.064/0.38/0.63/1/1.55 at 25/50/80/90/100/110 %.
    #[rstest]
    #[case::a_quarter(25.0, 0.0075)]
    #[case::half(50.0, 0.064)]
    #[case::four_fifths(80.0, 0.38)]
    #[case::nine_tenths(90.0, 0.63)]
    #[case::rated(100.0, 1.0)]
    fn poole_frenkel_falls_as_the_handbook_has_it(#[case] volt: f64, #[case] ratio: f64) {
        let rated = volts(100.0);
        let found = VoltageLaw::PooleFrenkel(7.0).ratio(rated, volts(volt), rated);
        assert!((found / ratio - 1.0).abs() < 0.015, "{found}");
    }

    #[rstest]
    #[case::ohmic(VoltageLaw::Ohmic, 0.5)]
    // exp(−3·0.5).
    #[case::exponential(VoltageLaw::Exponential(3.0), 0.223)]
    fn at_half_the_voltage_a_part_leaks_less(#[case] law: VoltageLaw, #[case] ratio: f64) {
        let found = law.ratio(volts(25.0), volts(12.5), volts(25.0));
        assert!((found - ratio).abs() < 1e-3, "{found}");
    }

    #[test]
    fn every_family_leaks_less_at_a_lower_voltage() {
        for family in Family::ALL {
            let ratio = family.flattest_law().ratio(volts(20.0), volts(10.0), volts(25.0));
            assert!(ratio <= 0.5, "{family}: {ratio}");
        }
    }

    #[test]
    fn wet_aluminium_and_hybrids_are_re_formed_and_nothing_else() {
        let can: Vec<&str> = Family::ALL
            .iter()
            .filter(|family| family.can_be_reformed())
            .map(|family| family.tag())
            .collect();
        assert!(can.contains(&"al-wet") && can.contains(&"al-hybrid"), "{can:?}");
        assert!(!can.contains(&"al-polymer") && !can.contains(&"ta-wet"), "{can:?}");
    }
}
