//! What a run is for: a soak, a staircase of voltages, re-forming, or watching the clip.

use arrayvec::ArrayVec;

use super::{Plan, Refusal, Target, Until};
use crate::part::Part;
use crate::quantity::{Charge, Current, Power, Time, Voltage, amperes, per_second, seconds, volts};

/// The most steps of a staircase.
pub const MOST_STAIRS: usize = 24;

/// What a run is for.
#[derive(Debug, Clone, PartialEq)]
pub enum Purpose {
    /// One reading at the test voltage.
    Soak,
    /// A reading at each of several voltages.
    Staircase(Stairs),
    /// Growing the oxide of an aged wet aluminium part back.
    Reform(Forming),
    /// Reading what flows through the open fixture, with nothing in the clips.
    Zero,
    /// Looking, at the probe voltage, for a part to come out of the clip and another to go in.
    ClipWatch {
        /// The part that was there before must come out first.
        awaits_gone: bool,
    },
}

/// The steps of a staircase.
#[derive(Debug, Clone, PartialEq)]
pub struct Stairs {
    /// Voltages from the lowest up; the last is the test voltage.
    pub voltages: ArrayVec<Voltage, MOST_STAIRS>,
    /// Time at full voltage of each step; its reading is taken at the end.
    pub dwell: Time,
}

/// How a part is re-formed (handbook §4.5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forming {
    /// The part takes no more than this while the voltage creeps up.
    pub current: Current,
    /// A holding current below this, times the step's share of the voltage, is low enough.
    pub enough: Current,
    /// Least current that the meter can tell, times three.
    pub noise: Current,
    /// Shortest hold of a step.
    pub least_hold: Time,
    /// Longest hold of a step; at the last step, the final hold.
    pub most_hold: Time,
    /// Length of the final hold.
    pub final_hold: Time,
    /// A voltage that stays below its step for longer has stalled.
    pub stall: Time,
    /// More charge than this, beyond what a part at its limit leaks meanwhile, goes into no part
    /// that can be saved.
    pub charge_bound: Charge,
}

/// Steps of the re-forming, as shares of the rated voltage (handbook §4.5).
pub const FORMING_SHARES: [f64; 5] = [0.25, 0.5, 0.75, 0.9, 1.0];

impl Plan {
    /// The same plan for a reading at a lower voltage after a dwell: one step of a staircase.
    ///
    /// The supply's protections stay those of the whole, since they are set once.
    #[must_use]
    pub fn at_stair(&self, voltage: Voltage, dwell: Time) -> Self {
        let window = self.target.window.min(dwell / 2.0);
        let target = Target {
            reading_time: dwell,
            soak: dwell,
            window,
            until: Until::ReadingTime,
            ..self.target
        };
        Self { test_voltage: voltage, target, ..self.clone() }
    }

    /// The step of a staircase with this number, none beyond the last.
    #[must_use]
    pub fn stair(&self, number: usize) -> Option<Self> {
        let Purpose::Staircase(stairs) = &self.purpose else { return None };
        let voltage = *stairs.voltages.get(number)?;
        Some(self.at_stair(voltage, stairs.dwell))
    }

    /// Voltage of a look at the clip while hands are on it: that of the probe, but none that may not
    /// be touched (handbook §4.4: 5 V).
    fn look_voltage(&self) -> Voltage {
        self.probe.voltage.min(self.discharge.safe_voltage)
    }

    /// What the series resistor has to bear while a part is re-formed: I²·R.
    #[must_use]
    pub fn heat_of_forming(&self, forming: &Forming) -> Power {
        forming.current * forming.current * self.series
    }

    /// Whether the meter can see at the probe voltage that this part is clipped in.
    #[must_use]
    pub fn sees_clip(&self) -> bool {
        let charge = self.part.capacitance * self.part.least_ratio * self.look_voltage();
        self.probe.look_floor * LOOK_MARGIN <= charge
    }

    /// The same plan for a look at the clip: the supply's protection stands just above the look's
    /// voltage, as over the test voltage in a run (handbook §4.2), and what never stood above that is
    /// emptied without a rest.
    #[must_use]
    pub fn for_clip_watch(&self, awaits_gone: bool) -> Self {
        let mut plan = Self { purpose: Purpose::ClipWatch { awaits_gone }, ..self.clone() };
        plan.bypassed = false;
        plan.probe.voltage = self.look_voltage();
        plan.test_voltage = self.look_voltage();
        let step = self.supply.voltage_step;
        let most = self.look_voltage() * 1.05 + volts(0.5);
        plan.supply.over_voltage = step * (most / step).value.ceil();
        plan.discharge.hold = seconds(0.0);
        plan.discharge.rebound = seconds(0.0);
        plan
    }
}

/// A fifth of the part's charge is what a look at the clip goes by: it must be three times what
/// the meter can't tell.
const LOOK_MARGIN: f64 = 15.0;
/// Shortest dwell of a step: two windows of ten readings at a reading a second.
const LEAST_DWELL: f64 = 20.0; // s
/// `I_form` = 0.02 1/s · C·U, held between 0.2 mA and 5 mA (handbook §4.5).
const FORMING_RATE: f64 = 0.02; // 1/s
const FORMING_CURRENTS: (f64, f64) = (0.2e-3, 5e-3); // A
/// 20 · C·U at the forming rate of 0.02 1/s takes this long (handbook §4.5).
const FORMING_TIME: f64 = 1000.0; // s
/// Above this voltage the final hold is an hour, not half of one (handbook §4.5).
const HIGH_VOLTAGE: f64 = 100.0; // V

/// Equal steps up to `top`; those that the probe already reaches are left out.
pub(super) fn stairs(
    probe: Voltage,
    top: Voltage,
    steps: u8,
    dwell: Time,
) -> Result<Stairs, Refusal> {
    let least = seconds(LEAST_DWELL);
    if !(2..=MOST_STAIRS).contains(&usize::from(steps)) {
        return Err(Refusal::Steps { asked: steps });
    }
    if dwell < least {
        return Err(Refusal::TooShort { asked: dwell, least });
    }
    let all = (1..=steps).map(|step| top * (f64::from(step) / f64::from(steps)));
    Ok(Stairs { voltages: all.filter(|voltage| probe < *voltage).collect(), dwell })
}

impl Forming {
    /// How `part` is re-formed to `voltage`; `limit` is what it may leak then, `noise` what the
    /// meter can't tell on the way.
    pub(super) fn draw_up(
        part: &Part,
        voltage: Voltage,
        limit: Current,
        noise: Current,
    ) -> Result<Self, Refusal> {
        if !part.family.can_be_reformed() {
            return Err(Refusal::NotReformed(part.family));
        }
        let (least, most) = FORMING_CURRENTS;
        let by_charge = part.rating.charge() * per_second(FORMING_RATE);
        let by_heat = part.physics().greatest_dissipation / 2.0 / voltage;
        let current = by_charge.max(amperes(least)).min(amperes(most)).min(by_heat);
        let high = volts(HIGH_VOLTAGE) < voltage;
        let final_hold = seconds(if high { 3600.0 } else { 1800.0 });
        Ok(Self {
            current,
            enough: limit,
            noise,
            least_hold: seconds(300.0),
            most_hold: seconds(3600.0),
            final_hold,
            stall: seconds(1800.0),
            charge_bound: current * seconds(FORMING_TIME),
        })
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::watts;

    fn forming(words: &str) -> Result<Forming, Refusal> {
        let part = Part::read(words).unwrap();
        let voltage = part.rating.voltage();
        Forming::draw_up(&part, voltage, amperes(10e-6), amperes(1e-7))
    }

    // 0.02 1/s · C·U, between 0.2 and 5 mA, and not above half of P_max (handbook §4.5, §7).
    #[rstest]
    #[case::of_a_small_part("22µF 25V al-wet", 0.2e-3, 1800.0)]
    #[case::of_a_middling_part("1000µF 25V al-wet", 0.5e-3, 1800.0)]
    #[case::of_a_large_part_by_its_heat("10000µF 63V al-snapin", 5e-3, 1800.0)]
    #[case::of_high_voltage_by_its_heat("100µF 400V al-wet", 0.375e-3, 3600.0)]
    fn the_forming_current(#[case] words: &str, #[case] current: f64, #[case] final_hold: f64) {
        let found = forming(words).unwrap();
        assert!((found.current.value / current - 1.0).abs() < 1e-9, "{found:?}");
        assert!((found.final_hold.value - final_hold).abs() < 1e-9, "{found:?}");
        let part = Part::read(words).unwrap();
        assert!(found.current * part.rating.voltage() <= watts(1.0) / 2.0);
    }

    #[rstest]
    #[case::tantalum("22µF 25V ta-mno2")]
    #[case::polymer("22µF 25V al-polymer")]
    #[case::film("1µF 100V film-pp")]
    #[case::ceramic("1µF 50V cer-2")]
    fn what_has_no_wet_oxide_to_grow_is_not_re_formed(#[case] words: &str) {
        assert!(matches!(forming(words), Err(Refusal::NotReformed(_))));
    }

    #[test]
    fn steps_that_the_probe_reaches_are_left_out() {
        let found = stairs(volts(5.0), volts(50.0), 20, seconds(60.0)).unwrap();
        assert_eq!(found.voltages.first(), Some(&volts(7.5)));
        assert_eq!(found.voltages.last(), Some(&volts(50.0)));
    }

    #[rstest]
    #[case::one_step(1, 60.0)]
    #[case::more_than_are_kept(25, 60.0)]
    #[case::a_dwell_of_a_moment(10, 5.0)]
    fn a_staircase_that_tells_nothing_is_refused(#[case] steps: u8, #[case] dwell: f64) {
        assert!(stairs(volts(1.0), volts(25.0), steps, seconds(dwell)).is_err());
    }
}
