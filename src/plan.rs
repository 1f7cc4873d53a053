//! Part and station to what will be done: voltages, limits, times, energies, cautions.
//!
//! A [`Plan`] holds every number that a run goes by, so that it can be shown whole before anything
//! is energised. It is drawn from a part, the limit on its leakage and the [`Bench`] facts of a
//! station; the defaults are those of the handbook, named at each constant.

mod bench;
mod cautions;
mod draw_up;
mod keeping;
mod phase;
mod purpose;
mod refusal;
mod told;
mod wish;
mod zero;

pub use bench::{
    Accuracy, Bench, Bleeder, Conversion, MOST_RANGES, MeterFacts, MeterRange, RangeIndex, Sensing,
    SupplyFacts, TakenZero, Zero,
};
pub use cautions::{Caution, Obstacle};
pub use draw_up::{HARMLESS, LOOK_CONSTANTS, LOOK_READINGS, TOUCH_SAFE, draw_up};
pub use keeping::{KEPT_OF_A_STRETCH, Keeping};
pub use phase::Phase;
pub use purpose::{FORMING_SHARES, Forming, MOST_STAIRS, Purpose, Stairs};
pub use refusal::Refusal;
pub use told::{OutputState, Sample};
pub use wish::{Aim, Drawn, Kind, Wish};
pub use zero::draw_up_zero;

use arrayvec::ArrayVec;

use crate::part::{VoltageLaw, Warmth};
use crate::quantity::{
    Capacitance, Charge, Confidence, Current, Power, Resistance, Time, Voltage, amperes,
};
use crate::words::words;

/// Readings before the output goes on whose mean is the meter's zero for counting charge.
pub const ZERO_READINGS: u8 = 5;

/// Every number that a run goes by.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What the run is for.
    pub purpose: Purpose,
    /// Voltage at which the leakage is measured.
    pub test_voltage: Voltage,
    /// What the part is, as the run needs it.
    pub part: PartFacts,
    /// What it is judged against.
    pub target: Target,
    /// Settings of the supply.
    pub supply: SupplyPlan,
    /// Ranges of the meter.
    pub meter: MeterPlan,
    /// Resistor in series with the part.
    pub series: Resistance,
    /// That resistor is bridged from switch-on until the part is full (handbook §3.1).
    pub bypassed: bool,
    /// The look at a few per cent of the test voltage.
    pub probe: ProbePlan,
    /// The way up.
    pub ramp: RampPlan,
    /// What ends the run at once.
    pub cut_out: CutOutPlan,
    /// How the part is emptied.
    pub discharge: DischargePlan,
    /// Leakage of the open fixture.
    pub zero: Zero,
    /// From the room's temperature to the limit's.
    pub warmth: Warmth,
    /// How sure a verdict has to be.
    pub confidence: Confidence,
}

/// The part, as a run needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartFacts {
    /// Printed capacitance.
    pub capacitance: Capacitance,
    /// Printed voltage: never exceeded.
    pub rated: Voltage,
    /// Smallest accepted ratio of measured to printed capacitance (handbook §3.9).
    pub least_ratio: f64,
    /// Largest accepted ratio of measured to printed capacitance (handbook §3.9).
    pub greatest_ratio: f64,
    /// Least and greatest ratio of measured to printed capacitance that the printed tolerance
    /// allows; without one, the two ratios above.
    pub capacitance_gate: (f64, f64),
    /// Relative change of leakage per relative change of voltage (handbook §3.11).
    pub voltage_exponent: f64,
    /// How its leakage falls with the voltage, for estimates.
    pub voltage_law: VoltageLaw,
    /// Voltage grows its oxide back (handbook §4.5).
    pub can_be_reformed: bool,
    /// Least and greatest exponent of the absorption current (handbook §7, column n).
    pub absorption_exponents: (f64, f64),
    /// Mean and standard deviation of the exponent by which what looks constant still falls.
    pub settling: (f64, f64),
    /// Greatest β of the absorption current (handbook §2.9), in s^(n−1).
    pub absorption_strength: f64,
}

/// What the part is judged against, and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Target {
    /// Highest leakage at which the part is within.
    pub limit: Current,
    /// The limit's clock starts when the part stands at this share of the test voltage
    /// (handbook §1.5: 0.99, 0.95 for double layers).
    pub full_share: f64,
    /// Time after full voltage at which the limit holds.
    pub reading_time: Time,
    /// Time after full voltage at which the soak ends.
    pub soak: Time,
    /// Length of the reading window around the moment that is judged (handbook §3.8: 10 s).
    pub window: Time,
    /// What may end the soak.
    pub until: Until,
    /// No soak ends earlier than this.
    pub least_early: Time,
    /// Length of the windows that are looked at for an early end.
    pub early_window: Time,
}

words! {
    /// What may end a soak that goes well.
    Until {
        /// The limit's reading time, or the soak time asked for.
        ReadingTime = "reading-time",
        /// A reading that is safely within and does not rise, if it comes sooner.
        Early = "early",
    }
}

impl Target {
    /// The moment that is judged: the reading time, or the end of a shorter soak.
    #[must_use]
    pub fn judged_at(&self) -> Time {
        self.reading_time.min(self.soak)
    }
}

/// Settings of the supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupplyPlan {
    /// Current limit.
    pub current_limit: Current,
    /// Over-voltage protection (handbook §4.2: 1.05 · test voltage + 0.5 V).
    pub over_voltage: Voltage,
    /// Over-current protection.
    pub over_current: Current,
    /// Step of the voltage setting; orders are rounded down to it.
    pub voltage_step: Voltage,
    /// Half-width within which measured and set voltage count as equal.
    pub agreement: Voltage,
    /// Standard uncertainty of the measured voltage at the test voltage.
    pub voltage_uncertainty: Voltage,
    /// Where the supply measures.
    pub senses: Sensing,
}

/// Ranges of the meter that the run uses.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterPlan {
    /// All ranges, most sensitive first.
    pub ranges: ArrayVec<MeterRange, MOST_RANGES>,
    /// Covers the supply's current limit: for probe, ramp and charge.
    pub surge: RangeIndex,
    /// Fits the limit: for settle and soak.
    pub soak: RangeIndex,
    /// Covers the bleeding current.
    pub bleed: RangeIndex,
    /// Readings to leave unused after a range change.
    pub settling_readings: u8,
    /// Time that one reading integrates over.
    pub interval: Time,
    /// How well the conversion from volts to amperes is known.
    pub conversion: Conversion,
}

impl MeterPlan {
    /// The range with this index.
    ///
    /// An index beyond the table means the least sensitive range, which has the largest errors.
    #[must_use]
    pub fn range(&self, index: RangeIndex) -> MeterRange {
        let last = self.ranges.len().saturating_sub(1);
        self.ranges[usize::from(index.0).min(last)]
    }

    /// The most sensitive range whose full scale is at least `current`, else the least sensitive.
    #[must_use]
    pub fn range_for(&self, current: Current) -> RangeIndex {
        range_for(&self.ranges, current)
    }
}

/// The most sensitive of `ranges` whose full scale is at least `current`, else the last.
#[must_use]
pub fn range_for(ranges: &[MeterRange], current: Current) -> RangeIndex {
    let fits = ranges.iter().position(|range| current <= range.full_scale);
    let index = fits.unwrap_or(ranges.len().saturating_sub(1));
    RangeIndex(u8::try_from(index).unwrap_or(u8::MAX))
}

/// The look at a few per cent of the test voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProbePlan {
    /// Probe voltage (handbook §3.13).
    pub voltage: Voltage,
    /// Time over which it is raised, so that no charge slips between two readings.
    pub rise: Time,
    /// Time it is held (handbook §3.13: the greater of 5 τ and 10 s).
    pub hold: Time,
    /// A part that still takes more than this at the end of the hold conducts.
    pub conducts: Current,
    /// Least charge that the meter can tell from its own noise over the probe.
    pub charge_floor: Charge,
    /// The same over one look at the clip, which is shorter.
    pub look_floor: Charge,
}

/// The way up to the test voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RampPlan {
    /// Time from the probe voltage to the test voltage (handbook §4.1: C·U / 10 s as current).
    pub rise: Time,
    /// Largest single step.
    pub largest_step: Voltage,
    /// Time after which a ramp that has not arrived is held by the current limit.
    pub budget: Time,
    /// Time for the charging current to die away to a tenth of the limit.
    pub charge: Time,
    /// Least charge that the meter can tell from its own noise over the ramp.
    pub charge_floor: Charge,
}

/// What ends the run at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutOutPlan {
    /// Before the soak: current that only a failed limit can give.
    pub surge: Current,
    /// In the soak (handbook §4.2: the lesser of half the current limit and 100 · limit).
    pub soak: Current,
    /// Dissipation in the part, held for [`CutOutPlan::power_patience`].
    pub power: Power,
    /// How long the dissipation may last.
    pub power_patience: Time,
    /// A reading older than this is no reading.
    pub stale: Time,
}

/// How the part is emptied, and when it counts as empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DischargePlan {
    /// What empties it.
    pub bleeder: Bleeder,
    /// Below this the part may be touched.
    pub safe_voltage: Voltage,
    /// Time to stay on the bleeder below the safe voltage (handbook §4.4).
    pub hold: Time,
    /// Time to wait for absorption to bring voltage back (handbook §4.4: 30 s).
    pub rebound: Time,
    /// How often the bleed is repeated after a rebound (handbook §4.1: 5).
    pub attempts: u8,
    /// Time after which a part that is not below the safe voltage locks the station out.
    pub budget: Time,
    /// Time between two writings of an output-off that is not proven yet.
    pub repeat: Time,
}

impl Plan {
    /// Resistance between the supply's terminals and the part, with the meter on `range`.
    #[must_use]
    pub fn path(&self, range: RangeIndex) -> Resistance {
        self.series + self.meter.range(range).burden
    }

    /// The same until the part is full: without the series resistor where that is bridged.
    #[must_use]
    pub fn charging_path(&self, range: RangeIndex) -> Resistance {
        if self.bypassed { self.meter.range(range).burden } else { self.path(range) }
    }

    /// Resistance of the loop that the part empties through, with the meter on `range`.
    #[must_use]
    pub fn bleed_loop(&self, range: RangeIndex) -> Resistance {
        self.path(range) + self.discharge.bleeder.resistance()
    }

    /// The time that a reading through `path` speaks for when `span` has passed since the one before.
    ///
    /// A reading is the mean over its own interval. What flowed between the end of one and the
    /// begin of the next was not measured: after a step it has died away by exp(−t/τ), so the
    /// gap counts by the share x/(eˣ − 1) with x = interval/τ, which is 1 for a slow part and 0
    /// for a quick one.
    #[must_use]
    pub fn spoken_for(&self, span: Time, path: Resistance) -> Time {
        let interval = self.meter.interval;
        let constant = path * self.part.capacitance;
        let x = (interval / constant).value.max(1e-6);
        let gap = (span - interval).max(Time::default());
        span.min(interval) + gap * (x / x.exp_m1())
    }

    /// Charge of the full part.
    #[must_use]
    pub fn full_charge(&self) -> Charge {
        self.part.capacitance * self.test_voltage
    }

    /// The most that the dielectric of a sound part still soaks up `after` full voltage:
    /// β·C·U·t^(−n) with the family's greatest β and least n (handbook §2.1, §2.9).
    #[must_use]
    pub fn greatest_absorption(&self, after: Time) -> Current {
        let seconds = after.value.max(1.0);
        let (least, _) = self.part.absorption_exponents;
        let rate = self.part.absorption_strength * seconds.powf(-least);
        amperes(rate * self.full_charge().value)
    }
}
