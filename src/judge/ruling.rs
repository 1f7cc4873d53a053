//! The decision: what the evidence of a run says about the part.
//!
//! Only the upper end of the uncertainty interval at or below the limit is `within`, and only
//! with contact proven by charge before and after; only the lower end above it is `over`
//! (handbook §3.12). Too far from the limit's temperature nothing is `within`, and only a part that
//! leaks too much although it is colder is `over`. A hard fault is `over` without a reading; everything else is `undecided` or
//! `untested`.

use arrayvec::ArrayVec;

use super::{Budget, Finding, MeasuredCapacitance, Verdict};
use crate::part::{Reach, VoltageLaw};
use crate::quantity::{Current, Time, Voltage, amperes};

/// Share of the test voltage that the part must stand at through the window.
pub const LEAST_VOLTAGE_SHARE: f64 = 0.98;
/// Bursts from which on a part is unstable (handbook §4.2).
const BURSTS_ALLOWED: u32 = 2;
/// One burst above this multiple of the limit is enough (handbook §4.2).
const TALLEST_BURST: f64 = 10.0;
/// A guard of this share of the limit or more measures nothing (handbook §3.12).
const COARSE_SHARE: f64 = 0.5;

/// The reading in the window, with its budget.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Settled current at the limit's temperature: what is judged.
    pub current: Current,
    /// Settled current as it was read, less the fixture's zero.
    pub raw: Current,
    /// Uncertainty of the current at the limit's temperature.
    pub budget: Budget,
    /// Whether it could be carried there.
    pub reach: Reach,
    /// By how much the end of the window stood above all of it: a climb that begins.
    pub rise: Current,
    /// Middle of the window, counted from full voltage.
    pub at: Time,
    /// Lowest voltage at the part in the window.
    pub voltage: Voltage,
}

impl Reading {
    /// Upper end of the interval of its magnitude, a climb at its end included; there is none where it could not be carried.
    #[must_use]
    pub fn upper(&self) -> Current {
        match self.reach {
            Reach::Near => self.current.abs() + self.budget.expanded() + self.rise,
            Reach::Colder | Reach::Warmer => amperes(f64::INFINITY),
        }
    }

    /// Lower end of the interval of its magnitude; a part that was measured much too warm might
    /// leak anything less.
    #[must_use]
    pub fn lower(&self) -> Current {
        match self.reach {
            Reach::Near | Reach::Colder => self.current.abs() - self.budget.expanded(),
            Reach::Warmer => amperes(f64::NEG_INFINITY),
        }
    }
}

/// All that a run found out about the part.
#[expect(clippy::struct_excessive_bools, reason = "independent observations, not one state")]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// Highest leakage at which the part is within.
    pub limit: Current,
    /// Voltage at which the limit holds.
    pub test_voltage: Voltage,
    /// What ended the run before its time, if anything did.
    pub ended_by: Option<Finding>,
    /// While held below the test voltage, more charge went in than the part could hold.
    pub overfilled: bool,
    /// The reading, if the window was complete.
    pub reading: Option<Reading>,
    /// Time after full voltage at which the limit holds.
    pub reading_time: Time,
    /// The reading was taken before the limit's own reading time.
    pub early: bool,
    /// Charge went in as the part's capacitance asks.
    pub charge_in: bool,
    /// Charge came back at the end.
    pub charge_out: bool,
    /// Measured capacitance.
    pub capacitance: Option<MeasuredCapacitance>,
    /// The measured capacitance fits the printed one.
    pub capacitance_fits: bool,
    /// The current was still falling at the reading.
    pub still_falling: bool,
    /// Number of bursts.
    pub bursts: u32,
    /// Largest burst.
    pub tallest_burst: Current,
    /// The part came charged.
    pub came_charged: bool,
    /// The run re-formed the part instead of testing it: whether that did good.
    pub formed: Option<bool>,
    /// Printed voltage.
    pub rated: Voltage,
    /// How its leakage falls with the voltage, for estimates.
    pub law: VoltageLaw,
    /// Voltage grows the oxide of such parts back.
    pub can_be_reformed: bool,
}

/// Verdict and findings; the first finding is the reason.
#[derive(Debug, Clone, PartialEq)]
pub struct Ruling {
    /// What is said of the part.
    pub verdict: Verdict,
    /// Why, the reason first.
    pub findings: ArrayVec<Finding, 8>,
}

/// Decides.
#[must_use]
pub fn rule(evidence: &Evidence) -> Ruling {
    let (verdict, reason) = match evidence.ended_by {
        Some(finding) => (after_fault(finding, evidence.overfilled), finding),
        None => match evidence.formed {
            // Re-forming says nothing yet: the part is tested after a rest (handbook §4.5).
            Some(true) => (Verdict::Untested, Finding::Reformed),
            Some(false) => (Verdict::Untested, Finding::StillFalling),
            None => by_reading(evidence),
        },
    };
    let mut findings = ArrayVec::new();
    findings.push(reason);
    for (holds, finding) in remarks(evidence) {
        if holds && !findings.contains(&finding) && !findings.is_full() {
            findings.push(finding);
        }
    }
    Ruling { verdict, findings }
}

/// What a run that ended before its time says: a hard fault of the part is `over`.
fn after_fault(finding: Finding, overfilled: bool) -> Verdict {
    match finding {
        Finding::Shorted | Finding::BrokeDown | Finding::RunsAway | Finding::Bursts => {
            Verdict::Over
        }
        Finding::HeldBelowTestVoltage if overfilled => Verdict::Over,
        Finding::HeldBelowTestVoltage
        | Finding::ContactLost
        | Finding::MeterTooCoarse
        | Finding::CapacitanceOff
        | Finding::StillFalling
        | Finding::TemperatureOff
        | Finding::Settled
        | Finding::Early => Verdict::Undecided,
        Finding::NoContact
        | Finding::ConductsAtLowVoltage
        | Finding::Stopped
        | Finding::InstrumentLost
        | Finding::Reformed
        | Finding::AlreadyCharged => Verdict::Untested,
    }
}

fn by_reading(evidence: &Evidence) -> (Verdict, Finding) {
    let Some(reading) = evidence.reading else {
        return (Verdict::Undecided, Finding::InstrumentLost);
    };
    // Written so that a voltage that is no number falls short.
    let full = evidence.test_voltage * LEAST_VOLTAGE_SHARE <= reading.voltage;
    if !full {
        return (Verdict::Undecided, Finding::HeldBelowTestVoltage);
    }
    if evidence.tallest_burst > evidence.limit * TALLEST_BURST || evidence.bursts > BURSTS_ALLOWED {
        return (Verdict::Over, Finding::Bursts);
    }
    by_interval(evidence, &reading)
}

fn by_interval(evidence: &Evidence, reading: &Reading) -> (Verdict, Finding) {
    let guard = reading.budget.expanded();
    let reason = match reading.rise {
        rise if amperes(0.0) < rise => Finding::RunsAway,
        _ if evidence.still_falling => Finding::StillFalling,
        _ => Finding::Settled,
    };
    if evidence.limit < reading.lower() && evidence.charge_in && evidence.charge_out {
        return if evidence.early { (Verdict::Undecided, reason) } else { (Verdict::Over, reason) };
    }
    if evidence.limit * COARSE_SHARE <= guard {
        return (Verdict::Undecided, Finding::MeterTooCoarse);
    }
    if reading.current < -guard {
        // A current out of the part at full voltage is a wrong zero or swapped meter leads.
        return (Verdict::Undecided, Finding::InstrumentLost);
    }
    let doubt = [
        (!evidence.charge_in, Finding::NoContact),
        (!evidence.charge_out, Finding::ContactLost),
        (!evidence.capacitance_fits, Finding::CapacitanceOff),
        (reading.reach != Reach::Near, Finding::TemperatureOff),
    ];
    if let Some((_, finding)) = doubt.into_iter().find(|(holds, _)| *holds) {
        return (Verdict::Undecided, finding);
    }
    // Written so that a value that is no number falls to `undecided`.
    if reading.upper() <= evidence.limit {
        return (Verdict::Within, Finding::Settled);
    }
    (Verdict::Undecided, reason)
}

impl Evidence {
    /// Whether the end before the reading time is worth telling. One whose soak ran its whole time, but
    /// counted from before full voltage, is no less within for it; above the limit that is why it is not
    /// `over`.
    pub(super) fn tells_early(&self) -> bool {
        let Some(reading) = self.reading.filter(|_| self.early) else { return false };
        reading.at < self.reading_time || self.limit < reading.upper()
    }
}

fn remarks(evidence: &Evidence) -> [(bool, Finding); 5] {
    let measured = evidence.reading.is_some();
    [
        (measured && evidence.still_falling, Finding::StillFalling),
        (evidence.tells_early(), Finding::Early),
        (evidence.bursts > 0, Finding::Bursts),
        (evidence.capacitance.is_some() && !evidence.capacitance_fits, Finding::CapacitanceOff),
        (evidence.came_charged, Finding::AlreadyCharged),
    ]
}

#[cfg(test)]
impl Evidence {
    /// A sound 22 µF 25 V tantalum with this reading: contact proven twice, nothing out of order.
    pub(super) fn sound(limit: Current, reading: Reading) -> Self {
        use crate::quantity::{farads, seconds, volts};
        Self {
            limit,
            test_voltage: volts(25.0),
            ended_by: None,
            overfilled: false,
            reading: Some(reading),
            reading_time: seconds(300.0),
            early: false,
            charge_in: true,
            charge_out: true,
            capacitance: Some(MeasuredCapacitance {
                value: farads(22e-6),
                uncertainty: farads(0.5e-6),
            }),
            capacitance_fits: true,
            still_falling: false,
            bursts: 0,
            tallest_burst: amperes(0.0),
            came_charged: false,
            formed: None,
            rated: volts(25.0),
            law: VoltageLaw::PooleFrenkel(6.0),
            can_be_reformed: false,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;
    use crate::judge::Source;
    use crate::quantity::{Confidence, amperes, seconds, volts};

    /// A sound part: 0.2 µA against 1 µA, at full voltage, contact proven twice.
    fn sound() -> Evidence {
        Evidence::sound(amperes(1e-6), reading(0.2e-6, 10e-9, 24.99))
    }

    fn reading(current: f64, u: f64, voltage: f64) -> Reading {
        let budget = Budget::default().with(Source::Meter, amperes(u));
        let (current, at) = (amperes(current), seconds(300.0));
        let voltage = volts(voltage);
        let rise = amperes(0.0);
        Reading { current, raw: current, budget, reach: Reach::Near, rise, at, voltage }
    }

    #[track_caller]
    fn check(evidence: &Evidence, verdict: Verdict, reason: Finding) {
        let ruling = rule(evidence);
        assert_eq!((ruling.verdict, ruling.findings[0]), (verdict, reason), "{ruling:?}");
    }

    // u = 10 nA gives a guard of 19.6 nA: within up to 980.4 nA, over from 1019.6 nA.
    #[rstest]
    #[case::well_below(0.2e-6, Verdict::Within)]
    #[case::just_inside_the_guard(0.9803e-6, Verdict::Within)]
    #[case::just_inside_the_doubt(0.9805e-6, Verdict::Undecided)]
    #[case::at_the_limit(1.0e-6, Verdict::Undecided)]
    #[case::just_before_over(1.0195e-6, Verdict::Undecided)]
    #[case::just_over(1.0197e-6, Verdict::Over)]
    fn the_guard_stands_on_both_sides_of_the_limit(#[case] current: f64, #[case] verdict: Verdict) {
        let reading = Some(reading(current, 10e-9, 25.0));
        check(&Evidence { reading, ..sound() }, verdict, Finding::Settled);
    }

    // 0.9785 µA ± 10 nA: 1.96·u ends below 1 µA, 2.576·u (99 %) beyond it.
    #[rstest]
    #[case::usual(0.95, Verdict::Within)]
    #[case::surer(0.99, Verdict::Undecided)]
    fn who_wants_to_be_surer_gets_a_wider_guard(#[case] share: f64, #[case] verdict: Verdict) {
        let budget = Budget::at(Confidence::of(share).unwrap());
        let budget = budget.with(Source::Meter, amperes(10e-9));
        let reading = Some(Reading { budget, ..reading(0.9785e-6, 0.0, 25.0) });
        check(&Evidence { reading, ..sound() }, verdict, Finding::Settled);
    }

    #[rstest]
    #[case::low_in_the_cold(0.2e-6, Reach::Colder, Verdict::Undecided, Finding::TemperatureOff)]
    #[case::low_in_the_heat(0.2e-6, Reach::Warmer, Verdict::Undecided, Finding::TemperatureOff)]
    #[case::high_in_the_cold(2e-6, Reach::Colder, Verdict::Over, Finding::Settled)]
    #[case::high_in_the_heat(2e-6, Reach::Warmer, Verdict::Undecided, Finding::TemperatureOff)]
    fn far_from_the_limits_temperature_only_what_leaks_even_in_the_cold_is_judged(
        #[case] current: f64,
        #[case] reach: Reach,
        #[case] verdict: Verdict,
        #[case] reason: Finding,
    ) {
        let reading = Some(Reading { reach, ..reading(current, 10e-9, 25.0) });
        check(&Evidence { reading, ..sound() }, verdict, reason);
    }

    #[rstest]
    #[case::no_charge_went_in(Evidence { charge_in: false, ..sound() }, Finding::NoContact)]
    #[case::no_charge_came_back(Evidence { charge_out: false, ..sound() }, Finding::ContactLost)]
    #[case::voltage_fell_short(
        Evidence { reading: Some(reading(0.2e-6, 1e-8, 24.4)), ..sound() }, Finding::HeldBelowTestVoltage)]
    #[case::a_voltage_that_is_no_number(
        Evidence { reading: Some(reading(0.2e-6, 1e-8, f64::NAN)), ..sound() }, Finding::HeldBelowTestVoltage)]
    #[case::no_reading(Evidence { reading: None, ..sound() }, Finding::InstrumentLost)]
    #[case::wrong_capacitance(
        Evidence { capacitance_fits: false, ..sound() }, Finding::CapacitanceOff)]
    #[case::coarse_meter(
        Evidence { reading: Some(reading(0.1e-6, 300e-9, 25.0)), ..sound() }, Finding::MeterTooCoarse)]
    #[case::current_out_of_the_part(
        Evidence { reading: Some(reading(-50e-9, 10e-9, 25.0)), ..sound() }, Finding::InstrumentLost)]
    #[case::a_reading_that_is_no_number(
        Evidence { reading: Some(reading(f64::NAN, 10e-9, 25.0)), ..sound() }, Finding::Settled)]
    fn a_doubtful_part_is_undecided(#[case] evidence: Evidence, #[case] reason: Finding) {
        check(&evidence, Verdict::Undecided, reason);
    }

    #[rstest]
    #[case::short(Finding::Shorted, Verdict::Over)]
    #[case::breakdown(Finding::BrokeDown, Verdict::Over)]
    #[case::runaway(Finding::RunsAway, Verdict::Over)]
    #[case::empty_clip(Finding::NoContact, Verdict::Untested)]
    #[case::reversed(Finding::ConductsAtLowVoltage, Verdict::Untested)]
    #[case::a_person(Finding::Stopped, Verdict::Untested)]
    #[case::silence(Finding::InstrumentLost, Verdict::Untested)]
    #[case::a_fallen_clip(Finding::ContactLost, Verdict::Undecided)]
    fn a_run_that_ended_early_is_never_within(#[case] by: Finding, #[case] verdict: Verdict) {
        check(&Evidence { ended_by: Some(by), ..sound() }, verdict, by);
    }

    #[rstest]
    #[case::by_a_part_that_took_too_much_charge(true, Verdict::Over)]
    #[case::by_a_part_that_may_still_be_charging(false, Verdict::Undecided)]
    fn held_below_the_test_voltage(#[case] overfilled: bool, #[case] verdict: Verdict) {
        let ended_by = Some(Finding::HeldBelowTestVoltage);
        let evidence = Evidence { ended_by, overfilled, ..sound() };
        check(&evidence, verdict, Finding::HeldBelowTestVoltage);
    }

    #[test]
    fn a_climb_at_the_end_of_the_window_is_not_within() {
        // 0.5 µA in the middle, but 0.6 µA more at its end.
        let rise = amperes(0.6e-6);
        let reading = Some(Reading { rise, ..reading(0.5e-6, 1e-8, 25.0) });
        check(&Evidence { reading, ..sound() }, Verdict::Undecided, Finding::RunsAway);
    }

    #[test]
    fn a_falling_current_that_is_within_is_settled_with_a_remark() {
        let ruling = rule(&Evidence { still_falling: true, ..sound() });
        assert_eq!(ruling.verdict, Verdict::Within);
        assert_eq!(ruling.findings.as_slice(), [Finding::Settled, Finding::StillFalling]);
    }

    #[test]
    fn an_early_reading_over_the_limit_is_undecided() {
        let evidence =
            Evidence { early: true, reading: Some(reading(2e-6, 1e-8, 25.0)), ..sound() };
        check(&evidence, Verdict::Undecided, Finding::Settled);
    }

    // Its clock ran ahead of full voltage, so the reading counts as early; it was soaked for its time.
    #[rstest]
    #[case::after_its_whole_time(300.0, false)]
    #[case::before_its_time(299.0, true)]
    fn early_is_told_of_a_part_within_only_where_it_was_read_early(
        #[case] at: f64,
        #[case] told: bool,
    ) {
        let reading = Reading { at: seconds(at), ..reading(0.2e-6, 10e-9, 24.99) };
        let ruling = rule(&Evidence { early: true, reading: Some(reading), ..sound() });
        assert_eq!(ruling.verdict, Verdict::Within);
        assert_eq!(ruling.findings.contains(&Finding::Early), told, "{ruling:?}");
    }

    #[test]
    fn early_is_told_where_it_keeps_a_reading_above_the_limit_from_being_over() {
        let reading = reading(2e-6, 1e-8, 25.0);
        let ruling = rule(&Evidence { early: true, reading: Some(reading), ..sound() });
        assert!(ruling.findings.contains(&Finding::Early), "{ruling:?}");
    }

    #[test]
    fn swapped_leads_do_not_hide_a_large_leak() {
        check(
            &Evidence { reading: Some(reading(-12e-6, 1e-8, 25.0)), ..sound() },
            Verdict::Over,
            Finding::Settled,
        );
    }

    #[test]
    fn one_burst_far_above_the_limit_is_over() {
        let evidence = Evidence { bursts: 1, tallest_burst: amperes(500e-6), ..sound() };
        check(&evidence, Verdict::Over, Finding::Bursts);
    }

    #[test]
    fn three_small_bursts_are_over() {
        // Handbook §4.2: three in a soak, or one above ten times the limit.
        let evidence = |bursts| Evidence { bursts, tallest_burst: amperes(2e-6), ..sound() };
        check(&evidence(2), Verdict::Within, Finding::Settled);
        check(&evidence(3), Verdict::Over, Finding::Bursts);
    }

    #[rstest]
    #[case::no_charge_went_in(Evidence { charge_in: false, ..sound() }, Finding::NoContact)]
    #[case::no_charge_came_back(Evidence { charge_out: false, ..sound() }, Finding::ContactLost)]
    fn a_current_over_the_limit_is_not_laid_to_a_part_that_was_not_proven(
        #[case] evidence: Evidence,
        #[case] reason: Finding,
    ) {
        let reading = Some(reading(12e-6, 1e-8, 25.0));
        check(&Evidence { reading, ..evidence }, Verdict::Undecided, reason);
    }

    #[test]
    fn a_small_burst_is_a_remark_on_a_sound_part() {
        let evidence = Evidence { bursts: 1, tallest_burst: amperes(2e-6), ..sound() };
        let ruling = rule(&evidence);
        assert_eq!(ruling.verdict, Verdict::Within);
        assert_eq!(ruling.findings.as_slice(), [Finding::Settled, Finding::Bursts]);
    }

    proptest! {
        #[test]
        fn within_always_has_its_upper_end_below_the_limit(
            current in -2e-6_f64..2e-6, u in 0.0_f64..1e-6, voltage in 20.0_f64..26.0,
            charge_in: bool, charge_out: bool, fits: bool, early: bool,
        ) {
            let evidence = Evidence {
                reading: Some(reading(current, u, voltage)),
                charge_in, charge_out, capacitance_fits: fits, early,
                ..sound()
            };
            if rule(&evidence).verdict == Verdict::Within {
                prop_assert!(current.abs() + 1.96 * u <= 1e-6);
                prop_assert!(24.5 <= voltage && charge_in && charge_out && fits);
            }
        }
    }
}
