//! One part of the population: what is printed on it, and what it is.

use reststrom::part::{Family, Limit, Part, Rating, Room};
use reststrom::plan::{Until, Wish};
use reststrom::quantity::{Celsius, celsius, farads, seconds, volts};

use crate::absorption::Absorption;
use crate::catalogue::{Reforming, Row};
use crate::conduction::{Climb, Conduction, Law, Reversal, Settling};
use crate::dice::Dice;
use crate::faults::{Class, Event, bursts, contacts};

/// A part, its limit and its secrets. Numbers are SI.
#[derive(Debug, Clone)]
pub(crate) struct Specimen {
    /// What it came as.
    pub(crate) class: Class,
    pub(crate) part: Part,
    sheet: Limit,
    /// Highest leakage at which it is within, A.
    pub(crate) limit: f64,
    /// Voltage that this is stated for, V.
    pub(crate) volt: f64,
    /// Printed voltage, V.
    pub(crate) rated: f64,
    /// Time after full voltage that it is stated for, s.
    pub(crate) reading_time: f64,
    /// Printed capacitance, F.
    pub(crate) printed: f64,
    /// True capacitance, F.
    pub(crate) farad: f64,
    /// Series resistance, Ω.
    pub(crate) esr: f64,
    /// Accepted ratios of true to printed capacitance.
    pub(crate) gate: (f64, f64),
    /// What it soaks up.
    pub(crate) absorption: Absorption,
    /// What it conducts.
    pub(crate) conduction: Conduction,
    /// What happens to it, counted from when it first stood at `armed_at`.
    pub(crate) events: Vec<Event>,
    /// Share of the test voltage at which its clock of events begins.
    pub(crate) armed_at: f64,
    /// When the clip comes off, in s of the run.
    pub(crate) comes_off_at: f64,
    /// When the clip opens for a moment: begin and end, in s of the run.
    pub(crate) flutter: Option<(f64, f64)>,
    /// The room.
    pub(crate) warmth: Warmth,
}

/// How warm it is where the part lies.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Warmth {
    /// Mean of the room, above the reference, K.
    offset: f64,
    swing: f64,
    period: f64,
    phase: f64,
    /// What a thermometer said, if anybody looked.
    told: Option<Room>,
}

impl Warmth {
    /// A room near to the reference that a thermometer tells to a kelvin, or one of which nobody
    /// says anything.
    fn draw(dice: &mut Dice, reference: Celsius) -> Self {
        let swing = dice.between((0.05, 0.4));
        let looked = dice.chance(0.7);
        let nobody = Room::ASSUMED.at.degrees() - reference.degrees();
        let within = Room::ASSUMED.tolerance - swing;
        let offset = if looked {
            dice.either_way() * FROM_REFERENCE
        } else {
            nobody + dice.either_way() * within
        };
        let shown = reference.degrees() + offset + dice.either_way() * (THERMOMETER - swing);
        Self {
            offset,
            swing,
            period: dice.over_decades((300.0, 1800.0)),
            phase: dice.between((0.0, std::f64::consts::TAU)),
            told: Room::told(celsius(shown), THERMOMETER).ok().filter(|_| looked),
        }
    }

    /// Kelvins above the reference at a time of the run.
    pub(crate) fn above(&self, time: f64) -> f64 {
        self.offset + self.swing * (std::f64::consts::TAU * time / self.period + self.phase).sin()
    }
}

/// A room whose temperature is looked at is kept this near to the limit's, K.
const FROM_REFERENCE: f64 = 4.0;
/// What its thermometer may miss the part by, K.
const THERMOMETER: f64 = 1.0;
/// No sound part has a larger R·C of its own, s.
const SLOWEST: f64 = 2.0;
/// Rise of the run from probe to full voltage that moments of the run are drawn for, s.
const RISE: f64 = 30.0;
impl Specimen {
    /// Draws a part of a family; none if the family's table has no limit for it.
    pub(crate) fn draw(dice: &mut Dice, row: &Row) -> Option<Self> {
        let class = Class::draw(dice, row.family);
        Self::of(dice, row, class, None)
    }

    /// A part of a class, to be read after `reading_time` seconds where that is told.
    pub(crate) fn of(
        dice: &mut Dice,
        row: &Row,
        class: Class,
        reading_time: Option<f64>,
    ) -> Option<Self> {
        let printed = two_digits(dice.over_decades(row.farad));
        let rated = dice.pick(row.rated);
        let rating = Rating::new(farads(printed), volts(rated)).ok()?;
        let part = Part { name: None, family: row.family, rating, tolerance: None };
        let mut sheet = match row.limit {
            Some(text) => Limit::read(text).ok()?,
            None => part.default_limit().ok()?,
        };
        if let Some(time) = reading_time {
            sheet.reading_time = Some(seconds(time));
        }
        let limit = sheet.current(&rating).ok()?.value;
        let volt = sheet.measured_at.voltage(&rating).ok()?.get().value;
        let reading_time = sheet.reading_time?.value;
        let farad = printed * dice.between(row.ratio);
        let conduction = sound(dice, row, limit, volt, reading_time);
        let character = (dice.between(row.strength), dice.between(row.exponent));
        let absorption = Absorption::draw(dice, farad, character, reading_time);
        // Double layers are rated with their pores in it, where others have them beside it.
        let pores = if row.family == Family::DoubleLayer { absorption.taken_in(RISE) } else { 0.0 };
        let farad = (farad - pores).max(farad * 0.3);
        let warmth = Warmth::draw(dice, Wish::of(part.clone(), sheet.clone()).reference());
        let mut specimen = Self {
            class,
            part,
            sheet,
            limit,
            volt,
            rated,
            reading_time,
            printed,
            farad,
            esr: dice.over_decades((row.esr.0, row.esr.1.min(SLOWEST / farad))),
            gate: row.gate,
            absorption,
            conduction,
            events: Vec::new(),
            armed_at: 0.97,
            comes_off_at: f64::INFINITY,
            flutter: None,
            warmth,
        };
        specimen.spoil(dice, row);
        specimen.flutters(dice);
        Some(specimen)
    }

    /// What a person would ask for.
    pub(crate) fn wish(&self, until: Until) -> Wish {
        Wish {
            until,
            acknowledged: true,
            room: self.warmth.told,
            ..Wish::of(self.part.clone(), self.sheet.clone())
        }
    }

    /// Gives the part the fault of its class.
    fn spoil(&mut self, dice: &mut Dice, row: &Row) {
        let until = self.reading_time + 60.0;
        match self.class {
            Class::Healthy => {}
            Class::DriedOut => {
                self.shrink(dice.between((0.05, 0.6)));
                self.esr *= dice.over_decades((3.0, 100.0));
                self.conduction.base *= 0.3;
            }
            Class::Unformed => self.unform(dice),
            Class::Leaky => {
                let times = 10_f64.powf(dice.between((0.3, 2.5)));
                self.conduction.siemens = self.limit * times / self.volt;
            }
            Class::HardShort => self.conduction.siemens = 1.0 / dice.over_decades((0.05, 50.0)),
            Class::SoftShort => self.conduction.siemens = 1.0 / dice.over_decades((50.0, 10e3)),
            Class::Intermittent => {
                self.armed_at = dice.between((0.3, 0.9));
                self.events = contacts(dice, until);
            }
            Class::Open => self.shrink(1e-6),
            Class::Scintillating => self.events = bursts(dice, until),
            Class::Runaway => {
                let constant = dice.over_decades((20.0, 300.0));
                self.conduction.climb = Climb::Runaway { constant };
            }
            Class::Reversed => self.reverse(dice, row),
            Class::Marginal => {
                self.conduction.base = self.limit * dice.over_decades((0.6, 1.6));
            }
            Class::LateClimber => self.climb(dice),
            Class::WrongValue => self.shrink(0.1),
            Class::LosesContact => {
                self.comes_off_at = dice.between((0.0, RISE + self.reading_time));
            }
        }
    }

    /// Begins to climb somewhere between the begin of the soak and half as long again, on the
    /// whole to more than its limit if it had begun at once.
    fn climb(&mut self, dice: &mut Dice) {
        let start = self.reading_time * dice.between((0.02, 1.5));
        let times = self.limit / self.conduction.base.max(self.limit * 1e-4);
        let power = dice.between((0.7, 2.0));
        let reach = times * dice.over_decades((0.5, 30.0));
        let span = self.reading_time / reach.powf(1.0 / power);
        self.conduction.climb = Climb::Late { start, span, power };
    }

    /// i0 = 5–500·L, τ 30–3000 s; seven in ten end healthy, the others at 1–5·L (handbook §2.9).
    fn unform(&mut self, dice: &mut Dice) {
        if dice.chance(0.3) {
            self.conduction.base = self.limit * dice.between((1.0, 5.0));
        }
        let excess = self.limit * dice.over_decades((5.0, 500.0)) / self.conduction.base;
        let constant = dice.over_decades((30.0, 3000.0));
        self.conduction.settling = Settling::Unformed { excess, constant };
    }

    fn reverse(&mut self, dice: &mut Dice, row: &Row) {
        let aluminium = row.family.tag().starts_with("al");
        let reversal = if aluminium {
            Reversal::Aluminium { constant: dice.between((10.0, 60.0)) }
        } else {
            Reversal::Tantalum { breaks_at: self.volt * dice.between((0.15, 0.3)) }
        };
        self.conduction.reversed = Some((reversal, self.farad));
    }

    fn shrink(&mut self, by: f64) {
        self.farad *= by;
        for branch in &mut self.absorption.0 {
            branch.farad *= by;
        }
    }

    /// One contact in fifty opens for a moment.
    fn flutters(&mut self, dice: &mut Dice) {
        if dice.chance(0.02) {
            let from = dice.between((0.0, RISE + self.reading_time));
            self.flutter = Some((from, from + dice.over_decades((0.05, 3.0))));
        }
    }
}

/// The leakage of a part with nothing wrong.
fn sound(dice: &mut Dice, row: &Row, limit: f64, volt: f64, reading_time: f64) -> Conduction {
    let (median, sigma) = row.leakage;
    // Healthy ends at 0.9; a family that is expected to be bad has no such end.
    let most = if median < 1.0 { 0.9 } else { f64::INFINITY };
    let mut share = f64::INFINITY;
    while most < share || share.is_infinite() {
        share = median * (dice.normal() * sigma).exp();
    }
    let settling = match row.reforming {
        Reforming::No => Settling::Steady,
        Reforming::Share(share, constant) => Settling::Reforming {
            share: dice.between(share),
            constant: dice.between(constant),
            reading_time,
        },
        Reforming::Dry(excess, constant) => Settling::Dry {
            excess: dice.over_decades(excess),
            constant: dice.over_decades(constant),
            stretch: dice.between((0.4, 1.0)),
        },
    };
    let law: Law = row.draw_law(dice);
    let doubling = dice.between(row.doubling);
    let base = share * limit;
    let (climb, siemens, reversed) = (Climb::Never, 0.0, None);
    Conduction { base, volt, law, doubling, settling, climb, siemens, reversed }
}

/// Two significant digits, as values are printed.
fn two_digits(value: f64) -> f64 {
    let scale = 10_f64.powf(value.log10().floor() - 1.0);
    (value / scale).round() * scale
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_printed_with_two_digits() {
        assert!((two_digits(4.678e-6) - 4.7e-6).abs() < 1e-12);
        assert!((two_digits(1.02e-3) - 1.0e-3).abs() < 1e-9);
    }
}
