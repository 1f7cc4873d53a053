//! The instruments that a part is measured with: what their sheets promise, and what this one
//! really does within its promise.

use arrayvec::ArrayVec;
use reststrom::plan::{
    Accuracy, Bench, Bleeder, Conversion, MOST_RANGES, MeterFacts, MeterRange, Sensing,
    SupplyFacts, TakenZero, Zero,
};
use reststrom::quantity::{amperes, joules, ohms, seconds, volts};

use crate::dice::Dice;
use crate::specimen::Specimen;

/// The kinds of meter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum MeterClass {
    /// A bench ammeter with decades of ranges down to 10 nA.
    Bench,
    /// A hand meter after handbook §3.5: ±(1 % + 3 digits), ranges of 6, 60, 600 … µA.
    Hand,
    /// A bench voltmeter across a sense resistor.
    Sense,
}

impl MeterClass {
    /// All of them.
    pub(crate) const ALL: [Self; 3] = [Self::Bench, Self::Hand, Self::Sense];

    /// The word in the tables.
    pub(crate) fn tag(self) -> &'static str {
        match self {
            Self::Bench => "bench ammeter",
            Self::Hand => "hand meter",
            Self::Sense => "sense resistor",
        }
    }

    /// Seconds from one reading to the next.
    fn interval(self) -> f64 {
        match self {
            Self::Bench => 0.25,
            Self::Hand => 0.5,
            Self::Sense => 0.4,
        }
    }
}

/// The kinds of supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SupplyClass {
    /// A good bench supply up to 60 V, which sinks.
    Fine,
    /// A plain one up to 60 V, with a resistor across its terminals.
    Plain,
    /// One up to 650 V, with a bleeder relay.
    High,
}

/// A station and its secrets.
#[derive(Debug, Clone)]
pub(crate) struct Station {
    /// Kind of meter.
    pub(crate) meter: MeterClass,
    /// What a plan is drawn from.
    pub(crate) facts: Bench,
    /// The secrets.
    pub(crate) truth: Errors,
}

/// What the instruments really do.
#[derive(Debug, Clone)]
pub(crate) struct Errors {
    /// The meter's gain error, as a share of what its sheet allows.
    pub(crate) gain: f64,
    /// The sense resistor's error, as a share of its tolerance.
    pub(crate) resistor: f64,
    /// The error of what is told of the voltmeter's input, as a share of its tolerance.
    pub(crate) input: f64,
    /// The meter's offset on each range, as a share of what its sheet allows.
    pub(crate) offsets: [f64; MOST_RANGES],
    /// Deviation of a reading's noise, in last digits.
    pub(crate) noise: f64,
    /// Relative error of the supply's setting.
    pub(crate) setting: f64,
    /// The read-back's error, as a share of what its sheet allows.
    pub(crate) read_back: f64,
    /// Drift of the supply, relative, 1/s.
    pub(crate) drift: f64,
    /// Steps of the supply: rate (1/s) and relative size.
    pub(crate) steps: (f64, f64),
    /// Ripple of 100 Hz that reaches the part (V), and what the meter leaves of it.
    pub(crate) ripple: (f64, f64),
    /// Frequency at which what is left of it beats with the readings, Hz.
    pub(crate) beat: f64,
    /// Leakage of the fixture, S.
    pub(crate) fixture: f64,
    /// Capacitance of the fixture with nothing in the clips, F.
    pub(crate) stray: f64,
    /// Share of readings that get lost.
    pub(crate) lost: f64,
    /// Longest pause after a change of range, s.
    pub(crate) pause: f64,
    /// A pause of this meter's own every so many seconds.
    pub(crate) own_pause: f64,
}

impl Station {
    /// A station that takes this part.
    pub(crate) fn draw(dice: &mut Dice, specimen: &Specimen) -> Self {
        let meter = dice.pick(&MeterClass::ALL);
        let low = specimen.rated <= 60.0;
        let supply = match (low, dice.chance(0.5)) {
            (true, true) => SupplyClass::Fine,
            (true, false) => SupplyClass::Plain,
            (false, _) => SupplyClass::High,
        };
        let (ranges, series) = meter_ranges(dice, meter, specimen);
        let truth = Errors::draw(dice, meter, supply, specimen);
        let facts = Bench {
            supply: supply_facts(supply),
            meter: MeterFacts {
                ranges,
                interval: seconds(meter.interval()),
                settling_readings: 2,
                conversion: conversion(meter, specimen),
            },
            series: ohms(series),
            bypass: false,
            bleeder: bleeder(supply, specimen.printed),
            ceiling: volts(700.0),
            energy_bound: joules(2000.0),
            safe_voltage: volts(5.0),
            zero: Some(zero(dice, &truth, specimen.volt)),
            room: None,
            lapse: 1.0,
        };
        Self { meter, facts, truth }
    }
}

/// The fixture's zero as it was measured at the test voltage, to a twentieth.
fn zero(dice: &mut Dice, truth: &Errors, volt: f64) -> TakenZero {
    let flows = truth.fixture * volt;
    let uncertainty = 0.05 * flows;
    let zero = Zero {
        current: amperes(flows + dice.normal() * uncertainty),
        uncertainty: amperes(uncertainty),
    };
    TakenZero { zero, voltage: volts(volt), age: seconds(3600.0) }
}

fn supply_facts(class: SupplyClass) -> SupplyFacts {
    let (most_voltage, most_current, voltage_step, current_step, fraction, fixed) = match class {
        SupplyClass::Fine => (64.0, 3.0, 0.001, 0.5e-3, 0.5e-3, 5e-3),
        SupplyClass::Plain => (64.0, 5.0, 0.01, 1e-3, 1e-3, 20e-3),
        SupplyClass::High => (650.0, 1.2, 0.05, 0.1e-3, 1e-3, 0.2),
    };
    SupplyFacts {
        most_voltage: volts(most_voltage),
        most_current: amperes(most_current),
        voltage_step: volts(voltage_step),
        current_step: amperes(current_step),
        read_back: Accuracy { fraction, fixed: volts(fixed) },
        senses: Sensing::AtTerminals,
    }
}

/// A bleeder by handbook §4.4: 3 s/C, 100 Ω to 100 kΩ, at most half an ampere.
fn bleeder(class: SupplyClass, farad: f64) -> Bleeder {
    match class {
        SupplyClass::Fine => Bleeder::SupplySinks,
        SupplyClass::Plain if farad <= 1e-3 => Bleeder::Fitted(ohms(10e3)),
        SupplyClass::Plain => Bleeder::Relay(ohms((3.0 / farad).clamp(100.0, 100e3))),
        SupplyClass::High => Bleeder::Relay(ohms((3.0 / farad).clamp(1300.0, 100e3))),
    }
}

/// A range of so many amperes: digits to full scale, error fraction, error digits, burden.
fn range(full_scale: f64, digits: f64, fraction: f64, counts: f64, burden: f64) -> MeterRange {
    let resolution = full_scale / digits;
    MeterRange {
        full_scale: amperes(full_scale),
        resolution: amperes(resolution),
        accuracy: Accuracy { fraction, fixed: amperes(counts * resolution) },
        burden: ohms(burden),
    }
}

/// The meter's ranges, and the resistor in series with it.
fn meter_ranges(
    dice: &mut Dice,
    class: MeterClass,
    specimen: &Specimen,
) -> (ArrayVec<MeterRange, MOST_RANGES>, f64) {
    match class {
        MeterClass::Bench => {
            let decade = |full: f64| range(full, 1e5, 5e-4, 10.0, (0.02 / full).min(1e4));
            let ranges = [1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 0.1, 1.0, 3.0].map(decade);
            (ranges.into_iter().collect(), protective(dice, specimen))
        }
        MeterClass::Hand => {
            let decade = |full: f64| {
                let burden = if full < 1e-3 { 1000.0 } else { 3.0 };
                range(full, 6000.0, 0.01, 3.0, burden)
            };
            let ranges = [6e-6, 60e-6, 600e-6, 6e-3, 60e-3, 0.6, 6.0].map(decade);
            (ranges.into_iter().collect(), protective(dice, specimen))
        }
        MeterClass::Sense => (sense_ranges(sense_resistor(specimen)), 0.0),
    }
}

/// R·C up to a twentieth of the reading time (handbook §3.1), more ohms for small currents
/// (handbook §7), and up to a hundredth of the voltage at the limit; except at a bench where there
/// is one resistor for all.
fn protective(dice: &mut Dice, specimen: &Specimen) -> f64 {
    let for_all = dice.chance(0.1);
    let fits = |ohm: &f64| {
        ohm * specimen.printed <= specimen.reading_time / 30.0
            && (for_all || ohm * specimen.limit <= specimen.volt * 0.01)
            && (*ohm <= 1000.0 || ohm * specimen.limit <= 0.1 && !for_all)
    };
    [1e6, 1e5, 1000.0, 100.0, 10.0].into_iter().find(fits).unwrap_or(3.0)
}

/// The largest of some decades that drops 0.2 V and a hundredth of the voltage at most at the
/// limit (handbook §3.3), with R·C well below the reading time.
fn sense_resistor(specimen: &Specimen) -> f64 {
    let fits = |ohm: &f64| {
        ohm * specimen.limit <= (specimen.volt * 0.01).min(0.2)
            && ohm * specimen.printed <= specimen.reading_time / 60.0
    };
    [10e6, 1e6, 100e3, 10e3, 1e3, 100.0, 10.0].into_iter().find(fits).unwrap_or(3.0)
}

/// A resistor of ±0.1 % with an input of 10 MΩ ± 1 % beside it (handbook §3.3).
fn conversion(class: MeterClass, specimen: &Specimen) -> Conversion {
    match class {
        MeterClass::Sense => {
            let ohm = sense_resistor(specimen);
            Conversion { resistor: 1e-3, input: 0.01 * ohm / (ohm + 1e7) }
        }
        MeterClass::Bench | MeterClass::Hand => Conversion::default(),
    }
}

/// A voltmeter of ±(0.005 % + 0.0035 % of range + 5 µV) across a resistor, with its input of
/// 10 MΩ beside it and a bias of 50 pA (handbook §3.3, §3.5).
fn sense_ranges(ohm: f64) -> ArrayVec<MeterRange, MOST_RANGES> {
    let parallel = ohm * 1e7 / (ohm + 1e7);
    let step = |full: f64| {
        let fixed = (3.5e-5 * full + 5e-6) / parallel + 50e-12;
        MeterRange {
            full_scale: amperes(full / parallel),
            resolution: amperes(full * 1e-5 / parallel),
            accuracy: Accuracy { fraction: 5e-5, fixed: amperes(fixed) },
            burden: ohms(parallel),
        }
    };
    [0.1, 1.0, 10.0, 100.0, 1000.0].map(step).into_iter().collect()
}

impl Errors {
    fn draw(dice: &mut Dice, meter: MeterClass, supply: SupplyClass, part: &Specimen) -> Self {
        let (setting, drift, ripple) = match supply {
            SupplyClass::Fine => (3e-4, 20e-6, 0.3e-3),
            SupplyClass::Plain => (5e-4, 200e-6, 5e-3),
            SupplyClass::High => (5e-4, 100e-6, 5e-3),
        };
        let decibels = match meter {
            MeterClass::Bench | MeterClass::Sense => (50.0, 80.0),
            MeterClass::Hand => (30.0, 60.0),
        };
        let insulation = dice.over_decades((1e10, 1e13));
        Self {
            gain: dice.either_way() * 0.9,
            resistor: dice.either_way(),
            input: dice.either_way(),
            offsets: [(); MOST_RANGES].map(|()| dice.either_way() * 0.8),
            noise: dice.between((0.2, 1.0)),
            setting: dice.either_way() * setting,
            read_back: dice.either_way() * 0.9,
            drift: dice.either_way() * drift / 60.0,
            steps: (dice.over_decades((1e-4, 1e-2)), drift),
            ripple: (
                dice.over_decades((0.2e-3, ripple)),
                10_f64.powf(-dice.between(decibels) / 20.0),
            ),
            beat: dice.over_decades((1e-3, 0.5)),
            // A fixture that leaks a seventh of the limit would be cleaned first.
            fixture: (1.0 / insulation).min(0.15 * part.limit / part.volt),
            stray: dice.between((20e-12, 100e-12)),
            lost: dice.over_decades((1e-4, 1e-2)),
            pause: dice.between((0.1, 1.0)),
            own_pause: dice.between((30.0, 300.0)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue;
    use crate::dice::Purpose;
    use crate::faults::Class;

    fn specimen(index: u64) -> Specimen {
        let mut dice = Dice::new(1, index, Purpose::Part);
        let rows = catalogue::rows();
        Specimen::of(&mut dice, &rows[0], Class::Healthy, None).expect("tantalum has a limit")
    }

    #[test]
    fn a_hand_meter_misses_a_microampere_by_a_quarter() {
        // Handbook §3.5: the 600 µA range at 1.2 µA has a half-width of 0.312 µA.
        let (ranges, _) =
            meter_ranges(&mut Dice::new(1, 1, Purpose::Station), MeterClass::Hand, &specimen(1));
        let error = ranges[2].error_at(amperes(1.2e-6)).value;
        assert!((error - 0.312e-6).abs() < 1e-12, "{error}");
    }

    #[test]
    fn a_sense_resistor_drops_little_and_settles_soon() {
        for index in 0..200 {
            let part = specimen(index);
            let ohm = sense_resistor(&part);
            assert!(ohm * part.limit <= 0.2 && ohm * part.printed <= part.reading_time / 60.0);
        }
    }
}
