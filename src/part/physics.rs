//! How the parts of a family behave and what they bear: what a plan and a verdict go by.
//!
//! Numbers are those of handbook §7 unless a field names another section. Families that the
//! handbook's table does not list take the row of the family they belong to.

use super::Rating;
use super::family::{Dielectric, Family};
use crate::quantity::{
    Current, Power, Rate, Time, Voltage, amperes, per_second, seconds, volts, watts,
};

/// What a plan and a verdict need to know of a part besides its rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Physics {
    /// Voltage of the first look at a part (handbook §3.13, §7).
    pub probe_voltage: Voltage,
    /// What a sound part may still take at the end of that look.
    pub probe_gate: ProbeGate,
    /// Most that may flow while the part is charged: `I_ch max`.
    pub greatest_charging_current: Current,
    /// Most that the part may turn into heat: `P_max`. Of several, that of the smallest case.
    pub greatest_dissipation: Power,
    /// Least accepted ratio of measured to printed capacitance (handbook §3.9).
    pub least_capacitance_ratio: f64,
    /// Greatest accepted ratio of measured to printed capacitance (handbook §3.9).
    pub greatest_capacitance_ratio: f64,
    /// d ln I / d ln U at the rated voltage (handbook §3.11).
    pub voltage_exponent: f64,
    /// Least and greatest exponent of the absorption current (§7, column n).
    pub absorption_exponents: (f64, f64),
    /// Mean and standard deviation of the exponent by which what looks constant in a curve still
    /// falls, chosen by the population study.
    pub settling: (f64, f64),
    /// Share of the reading time before which no soak ends early, chosen by the population study
    /// (`cargo run --release --example population`).
    pub least_early_share: f64,
    /// How long to stay on the bleeder below the safe voltage (handbook §4.4).
    pub bleed_hold: Time,
    /// Whether it must be connected the right way round (handbook §2.5).
    pub polarised: bool,
}

/// What a sound part may still take at the end of the probe (handbook §3.13, §7).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ProbeGate {
    /// This rate times C times the probe voltage, besides the meter's noise.
    Charge(Rate),
    /// Five times the scatter of the zero: nothing that the meter can tell.
    Noise,
    /// Anything: a double layer takes charge for hours.
    Open,
}

/// The part of handbook §7 that differs from family to family.
struct Row {
    probe: Probe,
    gate: ProbeGate,
    charging_milliampere: f64,
    dissipation_milliwatt: f64,
}

/// How the probe voltage follows from the rated one.
#[derive(Clone, Copy)]
enum Probe {
    /// This part of the rated voltage.
    Part(f64),
    /// So many volts.
    Volts(f64),
    /// This part of the rated voltage, and at most so many volts.
    PartUpTo(f64, f64),
}

impl Family {
    /// The family whose row of the handbook applies at this rating: wet aluminium above 100 V and
    /// class 2 ceramic up to 16 V have rows of their own (§7).
    #[must_use]
    pub fn at_rating(self, rating: &Rating) -> Self {
        let rated = rating.voltage();
        if self == Self::Aluminium && volts(100.0) < rated {
            Self::AluminiumHighVoltage
        } else if self == Self::CeramicTwo && rated <= volts(16.0) {
            Self::CeramicTwoLowVoltage
        } else {
            self
        }
    }

    /// How parts of this family and rating behave.
    #[must_use]
    pub fn physics(self, rating: &Rating) -> Physics {
        let family = self.at_rating(rating);
        let row = row(family);
        let (least_capacitance_ratio, greatest_capacitance_ratio) = capacitance_ratios(family);
        Physics {
            probe_voltage: row.probe.voltage(rating),
            probe_gate: row.gate,
            greatest_charging_current: amperes(row.charging_milliampere * 1e-3),
            greatest_dissipation: watts(row.dissipation_milliwatt * 1e-3),
            least_capacitance_ratio,
            greatest_capacitance_ratio,
            voltage_exponent: voltage_exponent(family),
            absorption_exponents: absorption_exponents(family),
            settling: settling(family),
            least_early_share: least_early_share(family),
            bleed_hold: bleed_hold(family),
            polarised: family.is_polarised(),
        }
    }
}

impl Probe {
    /// Never above the rated voltage, which the handbook's plain 10 V would be for some films.
    fn voltage(self, rating: &Rating) -> Voltage {
        let rated = rating.voltage();
        let voltage = match self {
            Self::Part(part) => part * rated,
            Self::Volts(most) => volts(most),
            Self::PartUpTo(part, most) => (part * rated).min(volts(most)),
        };
        voltage.min(rated)
    }
}

/// The row of handbook §7.
fn row(family: Family) -> Row {
    use Family as F;
    use Probe::{Part, PartUpTo, Volts};
    use ProbeGate::{Noise, Open};
    let gate = |rate| ProbeGate::Charge(per_second(rate));
    let (probe, gate, charging_milliampere, dissipation_milliwatt) = match family {
        F::TantalumMno2 | F::TantalumLowLeakage | F::TantalumAt85 | F::TantalumAt125 => {
            (PartUpTo(0.05, 1.0), gate(0.02), 50.0, 50.0)
        }
        F::TantalumPolymer => (PartUpTo(0.05, 1.0), gate(0.1), 50.0, 50.0),
        F::TantalumWet => (PartUpTo(0.05, 1.0), gate(0.02), 50.0, 100.0),
        F::NiobiumOxide => (PartUpTo(0.05, 0.5), gate(0.05), 50.0, 50.0),
        F::Aluminium => (PartUpTo(0.1, 3.0), gate(0.02), 50.0, 100.0),
        F::AluminiumHighVoltage => (Volts(3.0), gate(0.02), 20.0, 300.0),
        F::AluminiumLongLife => (PartUpTo(0.1, 3.0), gate(0.02), 50.0, 300.0),
        F::AluminiumLowLeakage => (PartUpTo(0.1, 3.0), gate(0.01), 20.0, 100.0),
        F::AluminiumBipolar => (PartUpTo(0.1, 3.0), gate(0.05), 50.0, 300.0),
        F::AluminiumSnapIn => (Volts(3.0), gate(0.02), 100.0, 1000.0),
        F::AluminiumScrew => (Volts(3.0), gate(0.02), 250.0, 1000.0),
        F::AluminiumVintage => (Volts(3.0), gate(0.2), 5.0, 300.0),
        F::AluminiumPolymer => (PartUpTo(0.05, 1.0), gate(0.2), 50.0, 100.0),
        F::AluminiumPolymerStack => (PartUpTo(0.05, 0.5), gate(0.1), 50.0, 100.0),
        F::AluminiumHybrid => (PartUpTo(0.1, 2.0), gate(0.02), 50.0, 200.0),
        F::CeramicOne | F::CeramicOneMilitary => (Part(0.1), Noise, 20.0, 20.0),
        F::CeramicTwo => (Part(0.1), gate(0.01), 50.0, 20.0),
        F::CeramicTwoLowVoltage | F::CeramicTwoHighCapacitance => {
            (Part(0.1), gate(0.02), 50.0, 20.0)
        }
        F::Polypropylene | F::Polyester | F::PolyphenyleneSulphide => {
            (Volts(10.0), Noise, 20.0, 20.0)
        }
        F::FilmMains => (Volts(10.0), Noise, 5.0, 20.0),
        F::Paper => (Volts(10.0), gate(0.01), 1.0, 50.0),
        F::Mica => (Volts(10.0), Noise, 1.0, 20.0),
        F::DoubleLayer => (Volts(0.2), Open, 1000.0, 100.0),
    };
    Row { probe, gate, charging_milliampere, dissipation_milliwatt }
}

/// Accepted ratios of measured to printed capacitance (handbook §3.9).
fn capacitance_ratios(family: Family) -> (f64, f64) {
    match family.dielectric() {
        Dielectric::Film | Dielectric::Mica | Dielectric::CeramicOne => (0.8, 1.25),
        Dielectric::Tantalum | Dielectric::PolymerAluminium => (0.7, 1.4),
        // Old parts were marked -10/+100 %.
        Dielectric::WetAluminium if family == Family::AluminiumVintage => (0.7, 2.2),
        Dielectric::WetAluminium => (0.7, 1.6),
        // Direct voltage takes away most of it.
        Dielectric::CeramicTwo => (0.15, 1.3),
        Dielectric::Paper => (0.7, 2.0),
        Dielectric::DoubleLayer => (0.6, 1.6),
    }
}

/// d ln I / d ln U (handbook §3.11). Where the handbook gives a range, its upper end: the exponent
/// spreads an error of voltage into the leakage, and must not spread it too little.
fn voltage_exponent(family: Family) -> f64 {
    match family.dielectric() {
        Dielectric::Film | Dielectric::Mica | Dielectric::CeramicOne | Dielectric::CeramicTwo => {
            1.0
        }
        // Poole-Frenkel with s = 7: 1 + s/2.
        Dielectric::Tantalum => 4.5,
        Dielectric::WetAluminium | Dielectric::PolymerAluminium => 5.0,
        // §2.9: ohmic to U².
        Dielectric::Paper => 2.0,
        // §2.9: exponential with b = 3.
        Dielectric::DoubleLayer => 3.0,
    }
}

/// The exponent of the absorption current (handbook §7, column n).
fn absorption_exponents(family: Family) -> (f64, f64) {
    use Family as F;
    match family.dielectric() {
        Dielectric::Tantalum if family == F::TantalumPolymer => (0.7, 1.0),
        Dielectric::Tantalum if matches!(family, F::TantalumWet | F::NiobiumOxide) => (0.8, 1.0),
        Dielectric::WetAluminium if family == F::AluminiumVintage => (0.5, 1.0),
        Dielectric::WetAluminium | Dielectric::PolymerAluminium | Dielectric::CeramicTwo => {
            (0.7, 1.0)
        }
        Dielectric::Film if family == F::Polyester => (0.7, 1.0),
        Dielectric::Tantalum | Dielectric::Film => (0.8, 1.1),
        Dielectric::Paper => (0.6, 0.9),
        Dielectric::CeramicOne | Dielectric::Mica => (0.8, 1.0),
        Dielectric::DoubleLayer => (0.5, 0.8),
    }
}

/// How what looks constant in a curve still falls: oxide that grows back (handbook §2.9, re-form
/// part), polymer that takes up moisture again.
fn settling(family: Family) -> (f64, f64) {
    use Family as F;
    match family.dielectric() {
        Dielectric::Tantalum if family == F::TantalumPolymer => (0.35, 0.4),
        Dielectric::Tantalum if family == F::TantalumWet => (0.1, 0.1),
        Dielectric::PolymerAluminium if family == F::AluminiumHybrid => (0.1, 0.1),
        Dielectric::PolymerAluminium => (0.35, 0.4),
        Dielectric::WetAluminium => (0.2, 0.13),
        Dielectric::DoubleLayer => (0.5, 0.5),
        Dielectric::Tantalum => (0.0, 0.05),
        Dielectric::CeramicOne
        | Dielectric::CeramicTwo
        | Dielectric::Film
        | Dielectric::Paper
        | Dielectric::Mica => (0.0, 0.01),
    }
}

/// Share of the reading time before which no soak ends early.
///
/// By the population study 0.03 to 0.1 catch the same late climbers (45 %) in every family, 0.2
/// catches 54 % and 0.4 69 %, at a median time of that share: those that have not begun to climb are
/// seen by no shorter soak than the whole. So all families have the share that costs no time.
fn least_early_share(family: Family) -> f64 {
    match family.dielectric() {
        Dielectric::Tantalum
        | Dielectric::WetAluminium
        | Dielectric::PolymerAluminium
        | Dielectric::CeramicOne
        | Dielectric::CeramicTwo
        | Dielectric::Film
        | Dielectric::Paper
        | Dielectric::Mica
        | Dielectric::DoubleLayer => 0.05,
    }
}

/// Absorption brings voltage back in aluminium and double layers (handbook §4.4).
fn bleed_hold(family: Family) -> Time {
    match family.dielectric() {
        Dielectric::WetAluminium | Dielectric::PolymerAluminium | Dielectric::DoubleLayer => {
            seconds(60.0)
        }
        Dielectric::Tantalum
        | Dielectric::CeramicOne
        | Dielectric::CeramicTwo
        | Dielectric::Film
        | Dielectric::Paper
        | Dielectric::Mica => seconds(10.0),
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;
    use uom::si::electric_potential::volt;

    use super::*;
    use crate::quantity::farads;

    fn rated(voltage: f64) -> Rating {
        Rating::new(farads(1e-6), volts(voltage)).unwrap()
    }

    // Handbook §3.13 and §7.
    #[rstest]
    #[case::tantalum_by_its_part(Family::TantalumMno2, 16.0, 0.8)]
    #[case::tantalum_at_its_bound(Family::TantalumMno2, 35.0, 1.0)]
    #[case::niobium_at_its_bound(Family::NiobiumOxide, 16.0, 0.5)]
    #[case::aluminium_by_its_part(Family::Aluminium, 16.0, 1.6)]
    #[case::aluminium_at_its_bound(Family::Aluminium, 63.0, 3.0)]
    #[case::aluminium_of_high_voltage(Family::Aluminium, 450.0, 3.0)]
    #[case::ceramic_by_its_part(Family::CeramicTwo, 50.0, 5.0)]
    #[case::film_at_ten_volts(Family::Polyester, 63.0, 10.0)]
    #[case::film_rated_below_ten_volts(Family::Polyester, 6.3, 6.3)]
    #[case::double_layer(Family::DoubleLayer, 2.7, 0.2)]
    fn the_probe_voltage_follows_the_rated_one(
        #[case] family: Family,
        #[case] rated_volt: f64,
        #[case] probe: f64,
    ) {
        let found = family.physics(&rated(rated_volt)).probe_voltage.get::<volt>();
        assert!((found - probe).abs() < 1e-9, "{found} V, expected {probe} V");
    }

    #[rstest]
    #[case::aluminium_up_to_100_volts(Family::Aluminium, 100.0, Family::Aluminium)]
    #[case::aluminium_above(Family::Aluminium, 160.0, Family::AluminiumHighVoltage)]
    #[case::ceramic_of_low_voltage(Family::CeramicTwo, 16.0, Family::CeramicTwoLowVoltage)]
    #[case::ceramic_from_25_volts(Family::CeramicTwo, 25.0, Family::CeramicTwo)]
    fn the_rating_chooses_the_row(
        #[case] family: Family,
        #[case] voltage: f64,
        #[case] row: Family,
    ) {
        assert_eq!(family.at_rating(&rated(voltage)), row);
    }

    #[test]
    fn high_voltage_aluminium_is_charged_more_gently() {
        let most = |voltage| Family::Aluminium.physics(&rated(voltage)).greatest_charging_current;
        assert_eq!(most(63.0), amperes(0.05));
        assert_eq!(most(450.0), amperes(0.02));
    }

    // Handbook §7, columns "pre-check", "I_ch max" and "P_max", at 50 V and 1 µF.
    #[rstest]
    #[case::ta_mno2("ta-mno2", 1.0, "0.02", 50.0, 50.0)]
    #[case::ta_low_leakage("ta-mno2-lowdcl", 1.0, "0.02", 50.0, 50.0)]
    #[case::ta_polymer("ta-polymer", 1.0, "0.1", 50.0, 50.0)]
    #[case::ta_wet("ta-wet", 1.0, "0.02", 50.0, 100.0)]
    #[case::nb_oxide("nb-oxide", 0.5, "0.05", 50.0, 50.0)]
    #[case::al_small("al-wet", 3.0, "0.02", 50.0, 100.0)]
    #[case::al_small_hv("al-wet-hv", 3.0, "0.02", 20.0, 300.0)]
    #[case::al_longlife("al-wet-long", 3.0, "0.02", 50.0, 300.0)]
    #[case::al_lowleak("al-wet-ll", 3.0, "0.01", 20.0, 100.0)]
    #[case::al_bipolar("al-bipolar", 3.0, "0.05", 50.0, 300.0)]
    #[case::al_snapin("al-snapin", 3.0, "0.02", 100.0, 1000.0)]
    #[case::al_screw("al-screw", 3.0, "0.02", 250.0, 1000.0)]
    #[case::al_vintage("al-vintage", 3.0, "0.2", 5.0, 300.0)]
    #[case::al_polymer("al-polymer", 1.0, "0.2", 50.0, 100.0)]
    #[case::al_polymer_stack("al-polymer-stack", 0.5, "0.1", 50.0, 100.0)]
    #[case::al_hybrid("al-hybrid", 2.0, "0.02", 50.0, 200.0)]
    #[case::cer_1("cer-1", 5.0, "noise", 20.0, 20.0)]
    #[case::cer_2("cer-2", 5.0, "0.01", 50.0, 20.0)]
    #[case::cer_2_lv("cer-2-lv", 5.0, "0.02", 50.0, 20.0)]
    #[case::film_pp("film-pp", 10.0, "noise", 20.0, 20.0)]
    #[case::film_pet("film-pet", 10.0, "noise", 20.0, 20.0)]
    #[case::film_pps("film-pps", 10.0, "noise", 20.0, 20.0)]
    #[case::film_xy("film-x2", 10.0, "noise", 5.0, 20.0)]
    #[case::paper("paper", 10.0, "0.01", 1.0, 50.0)]
    #[case::mica("mica", 10.0, "noise", 1.0, 20.0)]
    #[case::edlc("edlc", 0.2, "none", 1000.0, 100.0)]
    fn a_family_has_the_row_of_the_handbook(
        #[case] family: &str,
        #[case] probe: f64,
        #[case] gate: &str,
        #[case] milliampere: f64,
        #[case] milliwatt: f64,
    ) {
        let found = Family::read(family).unwrap().physics(&rated(50.0));
        let expected_gate = match gate {
            "noise" => ProbeGate::Noise,
            "none" => ProbeGate::Open,
            rate => ProbeGate::Charge(per_second(rate.parse().unwrap())),
        };
        assert_eq!(found.probe_gate, expected_gate);
        assert!((found.probe_voltage.get::<volt>() - probe).abs() < 1e-9);
        assert_eq!(found.greatest_charging_current, amperes(milliampere * 1e-3));
        assert_eq!(found.greatest_dissipation, watts(milliwatt * 1e-3));
    }

    // Handbook §3.9, §3.11 and §4.4.
    #[rstest]
    #[case::tantalum(Family::TantalumMno2, (0.7, 1.4), 4.5, 10.0)]
    #[case::aluminium(Family::Aluminium, (0.7, 1.6), 5.0, 60.0)]
    #[case::vintage(Family::AluminiumVintage, (0.7, 2.2), 5.0, 60.0)]
    #[case::ceramic_of_class_two(Family::CeramicTwo, (0.15, 1.3), 1.0, 10.0)]
    #[case::film(Family::Polypropylene, (0.8, 1.25), 1.0, 10.0)]
    #[case::double_layer(Family::DoubleLayer, (0.6, 1.6), 3.0, 60.0)]
    fn a_family_behaves_as_its_dielectric(
        #[case] family: Family,
        #[case] ratios: (f64, f64),
        #[case] exponent: f64,
        #[case] hold: f64,
    ) {
        let found = family.physics(&rated(50.0));
        let found_ratios = (found.least_capacitance_ratio, found.greatest_capacitance_ratio);
        assert_eq!(found_ratios, ratios);
        assert_eq!((found.voltage_exponent, found.bleed_hold), (exponent, seconds(hold)));
    }

    #[test]
    fn no_part_is_probed_above_its_rating() {
        for family in Family::ALL {
            for voltage in [0.1, 2.5, 6.3, 50.0, 450.0] {
                let rating = rated(voltage);
                assert!(family.physics(&rating).probe_voltage <= rating.voltage(), "{family}");
            }
        }
    }
}
