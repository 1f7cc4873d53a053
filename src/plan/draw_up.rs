//! Draws a plan from a part, its limit and a bench, or says why nothing may be energised.
//!
//! Each default names its section of the handbook. What can't be kept is refused with the range,
//! never clamped.

use super::refusal::Refusal;
use crate::part::{Dielectric, Physics, ProbeGate, Room, Warmth};
use crate::quantity::{
    Charge, Current, Energy, Resistance, Time, Voltage, amperes, farads, seconds, volts,
};

use super::purpose::stairs;
use super::{
    Aim, Bench, Bleeder, CutOutPlan, DischargePlan, Drawn, Forming, MeterPlan, PartFacts, Plan,
    ProbePlan, Purpose, RampPlan, RangeIndex, Sensing, SupplyPlan, Target, Wish, Zero, cautions,
    range_for,
};

/// Highest voltage that may be touched (handbook §4.4: 60 V DC).
pub const TOUCH_SAFE: f64 = 60.0; // V
/// Most energy that is harmless (handbook §4.4: 10 J).
pub const HARMLESS: f64 = 10.0; // J
/// Charging takes this long where the current allows it (handbook §4.1: C·U / 10 s).
const RAMP_TIME: f64 = 10.0; // s
/// Least current limit for the part, so that the supply is not stuck in it (handbook §4.1: 1–5 mA).
const LEAST_LIMIT: f64 = 2e-3; // A
/// Longest reading time that is assumed where neither sheet nor family has one (handbook §1.2).
const READING_WINDOW: f64 = 10.0; // s
/// The limit's clock starts at this share of the test voltage (handbook §1.5).
const FULL_SHARE: f64 = 0.99;
const FULL_SHARE_OF_DOUBLE_LAYER: f64 = 0.95;
const LEAST_FULL_SHARE: f64 = 0.98;
/// A look at the clip lasts so many readings and time constants of path and part.
pub const LOOK_READINGS: f64 = 6.0;
/// See [`LOOK_READINGS`].
pub const LOOK_CONSTANTS: f64 = 5.0;
/// Capacitance of an empty fixture (handbook §2.9: 20 to 100 pF).
pub(super) const STRAY: f64 = 100e-12; // F
/// Readings of the short windows that an early end looks at: one more than make a window.
const FEWEST_EARLY_READINGS: u32 = 11;
/// A line that gives no value for this long, in host time, is silent (handbook §4.2: 2 s).
const STALE: f64 = 2.0; // s
/// Pause between two writings of an output-off that is not proven, in host time.
const REPEAT: f64 = 0.25; // s
/// Tolerance of capacitance that the family's accepted ratios are made for.
const USUAL_TOLERANCE: f64 = 0.2;
/// A fixture that leaks more than this share of the limit hides what the part does (handbook §3.7).
const GREATEST_ZERO: f64 = 0.2;
/// A series resistor whose R·C is above the reading time through this is bridged (handbook §3.1).
pub(super) const BYPASSED_SHARE: f64 = 20.0;
/// Counts of the last digit that a reading may wander by noise.
const NOISE_COUNTS: f64 = 3.0;

/// Draws a plan.
///
/// # Errors
///
/// Every [`Refusal`] that applies, so that all can be mended at once.
pub fn draw_up(wish: &Wish, bench: &Bench) -> Result<Drawn, Vec<Refusal>> {
    let rating = &wish.part.rating;
    let limit = wish.limit.current(rating).map_err(|error| vec![error.into()])?;
    let measured_at = wish.limit.measured_at.voltage(rating).map_err(|error| vec![error.into()])?;
    let voltage = wish.test_voltage.unwrap_or(measured_at.get());
    let draft = Draft { wish, bench, physics: wish.part.physics(), limit, voltage };
    draft.refuse()?;
    let plan = draft.plan()?;
    let cautions = cautions::cautions(wish, &plan);
    let warnings = cautions::warnings(wish, &plan, measured_at.get(), bench.zero.as_ref());
    let duration = cautions::duration(&plan);
    Ok(Drawn { energy: draft.energy(), plan, cautions, warnings, duration })
}

/// What a plan is drawn from.
struct Draft<'a> {
    wish: &'a Wish,
    bench: &'a Bench,
    physics: Physics,
    limit: Current,
    voltage: Voltage,
}

impl Draft<'_> {
    /// Energy of the part as printed, at the test voltage.
    fn energy(&self) -> Energy {
        let capacitance = self.wish.part.rating.capacitance();
        capacitance * self.voltage * self.voltage / 2.0
    }

    fn refuse(&self) -> Result<(), Vec<Refusal>> {
        let (bench, asked) = (self.bench, self.voltage);
        let rated = self.wish.part.rating.voltage();
        let energy = self.energy();
        let dangerous = volts(TOUCH_SAFE) < asked || HARMLESS < energy.value;
        let unseen =
            bench.supply.senses == Sensing::BeforeRelay && bench.bleeder == Bleeder::SupplySinks;
        let (ceiling, most) = (bench.ceiling, bench.supply.most_voltage);
        let bound = bench.energy_bound;
        let checks = [
            (asked <= volts(0.0), Refusal::NoVoltage(asked)),
            (rated < asked, Refusal::AboveRating { asked, rated }),
            (ceiling < asked, Refusal::AboveCeiling { asked, ceiling }),
            (most < asked, Refusal::AboveSupply { asked, most }),
            (bound < energy, Refusal::TooMuchEnergy { energy, bound }),
            (
                dangerous && !self.wish.acknowledged && asked <= ceiling && energy <= bound,
                Refusal::NotAcknowledged { voltage: asked, energy },
            ),
            (unseen, Refusal::Unseen),
            (
                self.limit * GREATEST_ZERO < self.zero().current.abs(),
                Refusal::FixtureLeaks { zero: self.zero().current, limit: self.limit },
            ),
        ];
        let refused: Vec<Refusal> = checks
            .into_iter()
            .filter_map(|(applies, refusal)| applies.then_some(refusal))
            .collect();
        if refused.is_empty() { Ok(()) } else { Err(refused) }
    }

    fn plan(&self) -> Result<Plan, Vec<Refusal>> {
        let rise = self.rise();
        let (part_limit, supply) = self.supply(rise)?;
        let meter = self.meter(supply.current_limit, rise);
        let burden = meter.range(meter.surge).burden;
        let path = self.bench.series + burden;
        let target = self.target(&meter).map_err(|refusal| vec![refusal])?;
        let bypassed = self.is_bypassed(path, target.reading_time);
        let charging = if bypassed { burden } else { path };
        let constant = charging * self.largest_capacitance();
        Ok(Plan {
            purpose: self.purpose(rise, &meter)?,
            test_voltage: self.voltage,
            part: self.part_facts(),
            target,
            probe: self.probe(constant, &meter),
            ramp: self.ramp(rise, constant, part_limit, &meter),
            cut_out: self.cut_out(part_limit, supply.current_limit),
            discharge: self.discharge(path),
            zero: self.zero(),
            series: self.bench.series,
            bypassed,
            supply,
            meter,
            warmth: self.warmth(),
            confidence: self.wish.confidence,
        })
    }

    /// Whether the series resistor is bridged while the part charges: where it can be, and would hold
    /// the charging up (handbook §3.1: R·C above a twentieth of the reading time). Forming is left
    /// to the resistor, which shares its heat.
    fn is_bypassed(&self, path: Resistance, reading_time: Time) -> bool {
        let slow = reading_time / BYPASSED_SHARE < path * self.wish.part.rating.capacitance();
        self.bench.bypass && slow && !matches!(self.wish.aim, Aim::Reform)
    }

    fn purpose(&self, rise: Time, meter: &MeterPlan) -> Result<Purpose, Vec<Refusal>> {
        match self.wish.aim {
            Aim::Soak => Ok(Purpose::Soak),
            Aim::Staircase { steps, dwell } => {
                let probe = self.probe(rise, meter).voltage;
                let stairs = stairs(probe, self.voltage, steps, dwell);
                Ok(Purpose::Staircase(stairs.map_err(|refusal| vec![refusal])?))
            }
            Aim::Reform => {
                let noise = meter.range(meter.surge).accuracy.fixed * 3.0;
                let forming = Forming::draw_up(&self.wish.part, self.voltage, self.limit, noise);
                Ok(Purpose::Reform(forming.map_err(|refusal| vec![refusal])?))
            }
        }
    }

    /// The fixture's own current at the test voltage; nothing where it was not measured.
    fn zero(&self) -> Zero {
        let unknown = Zero { current: amperes(0.0), uncertainty: amperes(0.0) };
        self.bench.zero.and_then(|taken| taken.at(self.voltage)).unwrap_or(unknown)
    }

    fn largest_capacitance(&self) -> crate::quantity::Capacitance {
        self.wish.part.rating.capacitance() * self.physics.greatest_capacitance_ratio
    }

    fn warmth(&self) -> Warmth {
        Warmth {
            room: self.wish.room.or(self.bench.room).unwrap_or(Room::ASSUMED),
            reference: self.wish.reference(),
            doubling: self.wish.part.family.doubling(),
        }
    }

    fn part_facts(&self) -> PartFacts {
        PartFacts {
            capacitance: self.wish.part.rating.capacitance(),
            rated: self.wish.part.rating.voltage(),
            least_ratio: self.physics.least_capacitance_ratio,
            greatest_ratio: self.physics.greatest_capacitance_ratio,
            capacitance_gate: self.capacitance_gate(),
            voltage_exponent: self.physics.voltage_exponent,
            voltage_law: self.wish.part.family.at_rating(&self.wish.part.rating).flattest_law(),
            can_be_reformed: self.wish.part.family.can_be_reformed(),
            absorption_exponents: self.physics.absorption_exponents,
            settling: self.physics.settling,
            absorption_strength: self.wish.part.family.absorption_strength(),
        }
    }

    /// The family's accepted ratios, narrowed or widened to the printed tolerance.
    ///
    /// The ratios of handbook §3.9 hold for parts of ±20 %; what they allow beyond that is the
    /// difference between direct charge and the value printed for alternating current.
    fn capacitance_gate(&self) -> (f64, f64) {
        let physics = &self.physics;
        let family = (physics.least_capacitance_ratio, physics.greatest_capacitance_ratio);
        let Some(tolerance) = self.wish.part.tolerance else { return family };
        let least = (family.0 / (1.0 - USUAL_TOLERANCE)).min(1.0);
        let greatest = (family.1 / (1.0 + USUAL_TOLERANCE)).max(1.0);
        ((1.0 - tolerance.below()) * least, (1.0 + tolerance.above()) * greatest)
    }

    fn target(&self, meter: &MeterPlan) -> Result<Target, Refusal> {
        let family = || self.wish.part.default_limit().ok().and_then(|limit| limit.reading_time);
        let reading_time =
            self.wish.limit.reading_time.or_else(family).ok_or(Refusal::NoReadingTime)?;
        let soak = self.wish.soak.unwrap_or(reading_time);
        let window = seconds(READING_WINDOW);
        if soak < window * 2.0 {
            return Err(Refusal::TooShort { asked: soak, least: window * 2.0 });
        }
        Ok(Target {
            limit: self.limit,
            full_share: self.full_share(meter),
            reading_time,
            soak,
            window,
            until: self.wish.until,
            least_early: reading_time * self.physics.least_early_share,
            early_window: self.early_window(reading_time).min(window),
        })
    }

    /// A part at its limit must be able to stand there, with what the path takes of the voltage; but
    /// no lower than a reading in the window may stand (design: 98 %).
    fn full_share(&self, meter: &MeterPlan) -> f64 {
        if self.wish.part.family.dielectric() == Dielectric::DoubleLayer {
            return FULL_SHARE_OF_DOUBLE_LAYER;
        }
        let path = self.bench.series + meter.range(meter.soak).burden;
        let drop = (self.limit * path / self.voltage).value;
        (FULL_SHARE - drop).max(LEAST_FULL_SHARE)
    }

    /// A sixtieth of the reading time, but long enough to hold a window's readings.
    fn early_window(&self, reading_time: Time) -> Time {
        let readings = self.bench.meter.interval * f64::from(FEWEST_EARLY_READINGS);
        (reading_time / 60.0).max(readings)
    }

    /// Time of the ramp: ten seconds, or longer where the charging current is bounded.
    fn rise(&self) -> Time {
        let charge = self.largest_capacitance() * self.voltage;
        let most =
            self.physics.greatest_charging_current.min(self.bench.supply.most_current * 0.25);
        seconds(RAMP_TIME).max(charge / most)
    }

    /// Current limit for the part alone, and the supply's settings with the bleeder's load.
    fn supply(&self, rise: Time) -> Result<(Current, SupplyPlan), Vec<Refusal>> {
        let facts = &self.bench.supply;
        let charging = self.largest_capacitance() * self.voltage / rise;
        let most = self.physics.greatest_charging_current;
        // Room above the limit for what forms and dries on the first minutes, where there is any.
        let spare = facts.most_current / 2.0 - self.bench.bleeder.load_at(self.voltage);
        let roomy = (self.limit * 20.0).min(spare);
        let wanted = (charging * 2.0).max(self.limit * 5.0).max(roomy).max(amperes(LEAST_LIMIT));
        let bearable = most.max(charging * 1.5);
        // Of two steps at least one is left when the whole is rounded down.
        let part_limit = wanted.min(bearable).max(facts.current_step * 2.0);
        let needed = part_limit + self.bench.bleeder.load_at(self.voltage);
        let steps = (needed.value / facts.current_step.value + 1e-9).floor();
        let current_limit = facts.current_step * steps;
        if bearable < part_limit || facts.most_current < current_limit * 2.0 {
            let (step, most) = (facts.current_step, facts.most_current);
            let needed = wanted.min(bearable) + self.bench.bleeder.load_at(self.voltage);
            return Err(vec![Refusal::CurrentOutOfReach { needed, step, most }]);
        }
        let error = self.voltage * facts.read_back.fraction + facts.read_back.fixed;
        let plan = SupplyPlan {
            current_limit,
            over_voltage: round_up(self.voltage * 1.05 + volts(0.5), facts.voltage_step),
            over_current: current_limit * 2.0,
            voltage_step: facts.voltage_step,
            agreement: error + facts.voltage_step * 2.0,
            voltage_uncertainty: error / 3_f64.sqrt(),
            senses: facts.senses,
        };
        Ok((part_limit, plan))
    }

    fn meter(&self, current_limit: Current, rise: Time) -> MeterPlan {
        let ranges = self.bench.meter.ranges.clone();
        let covering = range_for(&ranges, current_limit * 1.35);
        let surge = self.finer_surge(covering, rise);
        let wanted = range_for(&ranges, self.limit * 3.0);
        let loop_resistance = self.bench.series + self.bench.bleeder.resistance();
        let least = Resistance::default();
        let bleed = if least < loop_resistance {
            // A small part is empty before a reading is over, which then holds the mean.
            let mean = self.largest_capacitance() * self.voltage / self.bench.meter.interval;
            range_for(&ranges, (self.voltage / loop_resistance).min(mean * 2.0))
        } else {
            RangeIndex(u8::try_from(ranges.len().saturating_sub(1)).unwrap_or_default())
        };
        MeterPlan {
            soak: wanted.min(surge),
            surge,
            bleed: bleed.max(surge),
            settling_readings: self.bench.meter.settling_readings,
            interval: self.bench.meter.interval,
            conversion: self.bench.meter.conversion,
            ranges,
        }
    }

    /// The range for the way up: that which covers the supply's current limit, or a finer one
    /// where a small part's charge would drown in the covering range's noise. On a finer range an
    /// overload is a part that gave way, which is cut out just the same.
    fn finer_surge(&self, covering: RangeIndex, rise: Time) -> RangeIndex {
        let charge = self.wish.part.rating.charge() * self.physics.least_capacitance_ratio;
        let charge = charge * (self.voltage / self.wish.part.rating.voltage()).value;
        let flow = self.largest_capacitance() * self.voltage / rise;
        let ranges = &self.bench.meter.ranges;
        let mut chosen = covering;
        while self.charge_floor(chosen, rise) * 20.0 > charge && 0 < chosen.0 {
            let finer = RangeIndex(chosen.0 - 1);
            let full_scale = ranges[usize::from(finer.0)].full_scale;
            if full_scale < flow * 5.0 || full_scale < self.limit * 3.0 {
                break;
            }
            chosen = finer;
        }
        chosen
    }

    /// Charge that noise and the doubt about the zero can feign over `span` on a range.
    fn charge_floor(&self, range: RangeIndex, span: Time) -> Charge {
        let range = self.bench.meter.ranges[usize::from(range.0)];
        let readings = (span / self.bench.meter.interval).value.max(1.0);
        // The zero is the mean of a few readings before the output goes on.
        let zero = range.resolution * NOISE_COUNTS / (f64::from(super::ZERO_READINGS)).sqrt();
        let noise = range.resolution * NOISE_COUNTS / readings.sqrt();
        (zero + noise) * span
    }

    fn probe(&self, constant: Time, meter: &MeterPlan) -> ProbePlan {
        let step = self.bench.supply.voltage_step;
        let voltage = self.physics.probe_voltage.min(self.voltage * 0.5).max(step * 10.0);
        let hold = seconds(10.0).max(constant * 5.0);
        let rise = seconds(3.0);
        let noise = meter.range(meter.surge).accuracy.fixed * 5.0;
        let capacitance = self.wish.part.rating.capacitance();
        let conducts = match self.physics.probe_gate {
            // Ten times what a sound part may still take (handbook §3.13).
            ProbeGate::Charge(rate) => rate * capacitance * voltage * 10.0 + noise,
            ProbeGate::Noise => noise.max(self.limit * 10.0),
            ProbeGate::Open => self.bench.supply.most_current,
        };
        let stray = farads(STRAY) * voltage;
        let charge_floor = self.charge_floor(meter.surge, rise + hold) + stray;
        let look = constant * LOOK_CONSTANTS + self.bench.meter.interval * LOOK_READINGS;
        let look_floor = self.charge_floor(meter.surge, look) + stray;
        ProbePlan { voltage, rise, hold, conducts, charge_floor, look_floor }
    }

    fn ramp(&self, rise: Time, constant: Time, limit: Current, meter: &MeterPlan) -> RampPlan {
        let stale = self.stale();
        let target = (self.limit * 0.1).max(amperes(1e-12));
        // R·C·ln(I_x/i_f) to a tenth of the limit (handbook §3.1), and seven constants at least.
        let decay = constant * (limit / target).value.max(1.0).ln();
        let charge = decay.max(constant * 7.0).max(seconds(1.0));
        let per_turn = self.voltage * (seconds(0.5) / rise).value;
        let largest_step = per_turn.max(self.voltage * 0.02).max(self.bench.supply.voltage_step);
        RampPlan {
            rise,
            largest_step,
            budget: rise * 3.0 + constant * 10.0 + stale * 2.0,
            charge,
            charge_floor: self.charge_floor(meter.surge, rise) + farads(STRAY) * self.voltage,
        }
    }

    fn stale(&self) -> Time {
        (seconds(STALE) * self.bench.lapse).max(self.bench.meter.interval * 5.0)
    }

    fn cut_out(&self, part_limit: Current, current_limit: Current) -> CutOutPlan {
        CutOutPlan {
            surge: current_limit * 1.25,
            soak: (part_limit * 0.5).min((self.limit * 100.0).max(amperes(10e-6))),
            power: self.physics.greatest_dissipation.max(self.limit * self.voltage * 2.0),
            power_patience: seconds(2.0),
            stale: self.stale(),
        }
    }

    fn discharge(&self, path: Resistance) -> DischargePlan {
        let constant = (path + self.bench.bleeder.resistance()) * self.largest_capacitance();
        // ln(U/U_s) constants down to what counts as empty, twice over (handbook §4.4).
        let constants = (self.wish.part.rating.voltage().value / 0.2).max(2.0).ln() * 2.0;
        DischargePlan {
            bleeder: self.bench.bleeder,
            safe_voltage: self.bench.safe_voltage,
            hold: self.physics.bleed_hold,
            rebound: seconds(30.0),
            attempts: 5,
            budget: constant * constants + seconds(10.0) + self.stale() * 3.0,
            repeat: seconds(REPEAT) * self.bench.lapse,
        }
    }
}

/// Rounds a protection up to the supply's step: below it the run itself could trip.
fn round_up(voltage: Voltage, step: Voltage) -> Voltage {
    step * (voltage.value / step.value - 1e-9).ceil()
}

#[cfg(test)]
mod tests;
