//! The families of the population and the ranges that their parts are drawn from.
//!
//! Ranges are those of handbook §2.9, gates on the capacitance those of §3.9. Capacitances and
//! voltages are what each family is commonly made in; the bench's own bounds keep them small.

use reststrom::part::Family;

use crate::conduction::Law;
use crate::dice::Dice;

/// A range to draw from.
pub(crate) type Range = (f64, f64);

/// One family.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    /// The family.
    pub(crate) family: Family,
    /// Printed capacitance, F.
    pub(crate) farad: Range,
    /// Printed voltages, V.
    pub(crate) rated: &'static [f64],
    /// Leakage at the reading time over the limit: median, and deviation of the logarithm.
    pub(crate) leakage: Range,
    /// Strength β of the absorption.
    pub(crate) strength: Range,
    /// Its exponent n.
    pub(crate) exponent: Range,
    /// How leakage rises with voltage.
    pub(crate) law: Law,
    /// Half the range of that law's number.
    pub(crate) law_spread: f64,
    /// Kelvins that double it.
    pub(crate) doubling: Range,
    /// Series resistance, Ω.
    pub(crate) esr: Range,
    /// True capacitance over the printed one.
    pub(crate) ratio: Range,
    /// What part of the leakage re-forms, and in what time.
    pub(crate) reforming: Reforming,
    /// Accepted ratios of the capacitance (§3.9).
    pub(crate) gate: Range,
    /// The limit, where that of the family's table cannot be read within an hour.
    pub(crate) limit: Option<&'static str>,
}

/// Whether and how the leakage of a sound part falls after voltage is applied.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Reforming {
    /// Not at all.
    No,
    /// Share f, and time constant in s.
    Share(Range, Range),
    /// A dry polymer's excess, and time constant in s.
    Dry(Range, Range),
}

impl Row {
    /// The law of one part.
    pub(crate) fn draw_law(&self, dice: &mut Dice) -> Law {
        let off = dice.either_way() * self.law_spread;
        match self.law {
            Law::Ohmic => Law::Ohmic,
            Law::PooleFrenkel(s) => Law::PooleFrenkel(s + off),
            Law::Exponential(b) => Law::Exponential(b + off),
            Law::Power(power) => Law::Power(power + off),
        }
    }
}

/// One sheet of a double layer is not to be read for three days: a screening after half an hour
/// that its healthy parts pass, pores still charging (handbook §7).
const SCREENING: &str = "0.02 A/F @ 30min 25C";

/// Every family of §2.9.
pub(crate) fn rows() -> Vec<Row> {
    let aluminium = [small_aluminium(), large_aluminium(), solid_aluminium()].concat();
    [tantalum(), aluminium, ceramics(), films(), others()].concat()
}

fn tantalum() -> Vec<Row> {
    let solid = Row {
        family: Family::TantalumMno2,
        farad: (0.47e-6, 220e-6),
        rated: &[6.3, 10.0, 16.0, 25.0, 35.0],
        leakage: (0.03, 1.0),
        strength: (4e-3, 10e-3),
        exponent: (0.8, 1.1),
        law: Law::PooleFrenkel(7.0),
        law_spread: 1.0,
        doubling: (15.0, 20.0),
        esr: (0.05, 3.0),
        ratio: (0.85, 1.15),
        reforming: Reforming::No,
        gate: (0.7, 1.4),
        limit: None,
    };
    let polymer = Row {
        family: Family::TantalumPolymer,
        farad: (10e-6, 470e-6),
        rated: &[2.5, 6.3, 10.0, 16.0, 25.0],
        leakage: (0.05, 1.1),
        strength: (5e-3, 15e-3),
        exponent: (0.7, 1.0),
        law: Law::PooleFrenkel(5.5),
        law_spread: 1.5,
        doubling: (15.0, 30.0),
        esr: (5e-3, 0.1),
        ratio: (0.8, 1.2),
        reforming: Reforming::Dry((1.0, 30.0), (5.0, 600.0)),
        ..solid.clone()
    };
    let wet = Row {
        family: Family::TantalumWet,
        farad: (10e-6, 470e-6),
        rated: &[25.0, 50.0, 75.0, 100.0],
        leakage: (0.15, 0.7),
        strength: (5e-3, 12e-3),
        exponent: (0.8, 1.0),
        law: Law::Exponential(4.0),
        esr: (0.5, 5.0),
        reforming: Reforming::Share((0.2, 0.5), (60.0, 600.0)),
        ..solid.clone()
    };
    let niobium = Row {
        family: Family::NiobiumOxide,
        farad: (4.7e-6, 330e-6),
        rated: &[2.5, 4.0, 6.3, 10.0],
        leakage: (0.1, 0.9),
        strength: (6e-3, 15e-3),
        exponent: (0.8, 1.0),
        law: Law::PooleFrenkel(6.0),
        esr: (0.1, 1.0),
        ratio: (0.8, 1.2),
        ..solid.clone()
    };
    vec![solid, polymer, wet, niobium]
}

fn wet_aluminium() -> Row {
    Row {
        family: Family::Aluminium,
        farad: (1e-6, 4700e-6),
        rated: &[6.3, 10.0, 16.0, 25.0, 50.0, 63.0, 100.0],
        leakage: (0.05, 0.9),
        strength: (20e-3, 40e-3),
        exponent: (0.7, 1.0),
        law: Law::Exponential(4.0),
        law_spread: 1.0,
        doubling: (10.0, 30.0),
        esr: (0.02, 5.0),
        ratio: (0.8, 1.2),
        reforming: Reforming::Share((0.3, 0.9), (10.0, 100.0)),
        gate: (0.7, 1.6),
        limit: None,
    }
}

fn small_aluminium() -> Vec<Row> {
    let small = wet_aluminium();
    let low_leakage = Row {
        family: Family::AluminiumLowLeakage,
        farad: (0.47e-6, 470e-6),
        rated: &[6.3, 16.0, 25.0, 50.0],
        leakage: (0.25, 0.6),
        strength: (20e-3, 35e-3),
        esr: (0.2, 10.0),
        reforming: Reforming::Share((0.2, 0.6), (10.0, 60.0)),
        ..small.clone()
    };
    vec![small, high_voltage(), low_leakage]
}

fn high_voltage() -> Row {
    Row {
        family: Family::AluminiumHighVoltage,
        farad: (1e-6, 220e-6),
        rated: &[160.0, 250.0, 350.0, 450.0],
        leakage: (0.12, 0.8),
        law: Law::Exponential(5.0),
        doubling: (10.0, 25.0),
        esr: (0.1, 20.0),
        reforming: Reforming::Share((0.4, 0.95), (20.0, 200.0)),
        ..wet_aluminium()
    }
}

fn large_aluminium() -> Vec<Row> {
    let snap_in = Row {
        family: Family::AluminiumSnapIn,
        farad: (100e-6, 2200e-6),
        rated: &[63.0, 100.0, 200.0, 400.0],
        leakage: (0.1, 0.8),
        esr: (5e-3, 0.2),
        reforming: Reforming::Share((0.4, 0.95), (60.0, 600.0)),
        ..high_voltage()
    };
    let screw = Row {
        family: Family::AluminiumScrew,
        farad: (1000e-6, 22_000e-6),
        rated: &[25.0, 63.0, 100.0],
        ..snap_in.clone()
    };
    vec![snap_in, screw]
}

fn solid_aluminium() -> Vec<Row> {
    let polymer = Row {
        family: Family::AluminiumPolymer,
        farad: (10e-6, 1000e-6),
        rated: &[2.5, 6.3, 16.0, 25.0],
        leakage: (0.1, 1.2),
        strength: (5e-3, 20e-3),
        doubling: (15.0, 30.0),
        esr: (5e-3, 0.03),
        reforming: Reforming::Dry((0.1, 10.0), (5.0, 600.0)),
        gate: (0.7, 1.4),
        ..wet_aluminium()
    };
    let hybrid = Row {
        family: Family::AluminiumHybrid,
        farad: (10e-6, 330e-6),
        rated: &[25.0, 35.0, 63.0],
        leakage: (0.1, 0.8),
        strength: (15e-3, 30e-3),
        doubling: (12.0, 30.0),
        esr: (0.01, 0.05),
        reforming: Reforming::Share((0.1, 0.4), (10.0, 60.0)),
        gate: (0.7, 1.4),
        ..wet_aluminium()
    };
    vec![polymer, hybrid]
}

fn polypropylene() -> Row {
    Row {
        family: Family::Polypropylene,
        farad: (1e-9, 10e-6),
        rated: &[63.0, 100.0, 250.0, 400.0, 630.0],
        leakage: (0.1, 0.8),
        strength: (1.3e-4, 2.6e-4),
        exponent: (0.8, 1.1),
        law: Law::Ohmic,
        law_spread: 0.0,
        doubling: (12.0, 15.0),
        esr: (0.01, 0.1),
        ratio: (0.9, 1.1),
        reforming: Reforming::No,
        gate: (0.8, 1.25),
        limit: None,
    }
}

fn films() -> Vec<Row> {
    let polypropylene = polypropylene();
    let polyester = Row {
        family: Family::Polyester,
        leakage: (0.15, 0.7),
        strength: (5e-4, 13e-4),
        exponent: (0.7, 1.0),
        doubling: (8.0, 12.0),
        ..polypropylene.clone()
    };
    vec![polypropylene, polyester]
}

fn ceramics() -> Vec<Row> {
    let ceramic_one = Row {
        family: Family::CeramicOne,
        farad: (330e-12, 0.1e-6),
        rated: &[50.0, 100.0, 200.0, 500.0],
        leakage: (0.003, 1.0),
        strength: (0.5e-3, 1.6e-3),
        exponent: (0.8, 1.0),
        doubling: (10.0, 30.0),
        ratio: (0.95, 1.05),
        ..polypropylene()
    };
    let ceramic_two = Row {
        family: Family::CeramicTwo,
        farad: (1e-9, 22e-6),
        rated: &[6.3, 16.0, 25.0, 50.0, 100.0],
        leakage: (0.03, 1.0),
        strength: (2e-3, 7e-3),
        exponent: (0.7, 1.0),
        law: Law::PooleFrenkel(3.0),
        law_spread: 1.0,
        // (0.8–1.2) × what the voltage leaves of it, 0.2–1.
        ratio: (0.2, 1.2),
        gate: (0.15, 1.3),
        ..ceramic_one.clone()
    };
    vec![ceramic_one, ceramic_two]
}

fn others() -> Vec<Row> {
    let paper = Row {
        family: Family::Paper,
        farad: (1e-9, 4e-6),
        rated: &[200.0, 400.0, 600.0],
        leakage: (30.0, 1.5),
        strength: (3e-3, 13e-3),
        exponent: (0.6, 0.9),
        law: Law::Power(1.5),
        law_spread: 0.5,
        doubling: (8.0, 10.0),
        esr: (0.1, 1.0),
        ratio: (1.0, 1.4),
        gate: (0.7, 2.0),
        ..polypropylene()
    };
    let mica = Row {
        family: Family::Mica,
        farad: (100e-12, 10e-9),
        rated: &[100.0, 300.0, 500.0],
        leakage: (0.05, 1.0),
        strength: (1e-3, 3e-3),
        exponent: (0.8, 1.0),
        doubling: (12.0, 12.001),
        ratio: (0.98, 1.02),
        ..polypropylene()
    };
    let double_layer = Row {
        family: Family::DoubleLayer,
        farad: (0.1, 5.0),
        rated: &[2.7, 5.5],
        leakage: (0.05, 0.8),
        strength: (50e-3, 200e-3),
        exponent: (0.5, 0.8),
        law: Law::Exponential(3.0),
        doubling: (12.0, 12.001),
        esr: (1e-3, 50.0),
        ratio: (0.8, 1.2),
        gate: (0.6, 1.6),
        limit: Some(SCREENING),
        ..polypropylene()
    };
    vec![paper, mica, double_layer]
}
