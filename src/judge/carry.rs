//! Carries a reading from the room's temperature to that of its limit (handbook §3.10).
//!
//! A reading x becomes a + (x − a)·f: the leakage goes with temperature, by f = 2^(ΔT/`T_d`) with ΔT
//! from room to reference; the share a that the dielectric absorbs does not. Neither a nor ΔT nor
//! `T_d` is known exactly, and each has its row in the budget.

use super::uncertainty::{Budget, Source, rectangular};
use crate::part::Warmth;
use crate::quantity::Current;

/// A current that was estimated, with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Estimate {
    /// The best value.
    pub current: Current,
    /// Its standard uncertainty.
    pub uncertainty: Current,
}

impl Estimate {
    /// Anywhere from nothing up to `most`.
    #[must_use]
    pub fn up_to(most: Current) -> Self {
        let half = most / 2.0;
        Self { current: half, uncertainty: rectangular(half) }
    }
}

/// A reading at its limit's temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carried {
    /// The current there.
    pub current: Current,
    /// Its budget: what the reading had, and what the way adds.
    pub budget: Budget,
}

/// Carries `raw`, of which `absorbing` is no leakage, to the limit's temperature.
///
/// Where that is too far away nothing is corrected; see [`Warmth::reach`]. On the way to a warmer
/// reference every doubt grows with the leakage. On the way to a colder one it does not shrink: who
/// corrects downwards must not gain certainty by it.
#[must_use]
pub fn carry(raw: Current, budget: Budget, warmth: &Warmth, absorbing: Estimate) -> Carried {
    let [factor, least, most] = warmth.factors();
    let leakage = raw - absorbing.current;
    let room = rectangular(leakage * (warmth.per_kelvin() * warmth.room.tolerance));
    let budget = budget
        .with(Source::RoomTemperature, room)
        .times(factor.max(1.0))
        .with(Source::TemperatureLaw, rectangular(leakage * ((most - least) / 2.0)))
        .with(Source::Absorption, absorbing.uncertainty * (1.0 - factor));
    Carried { current: absorbing.current + leakage * factor, budget }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;
    use crate::judge::uncertainty::through_voltage;
    use crate::part::{Doubling, Room};
    use crate::quantity::{amperes, celsius, volts};

    fn warmth(room: f64, tolerance: f64, reference: f64, doubling: (f64, f64, f64)) -> Warmth {
        let (usual, least, most) = doubling;
        Warmth {
            room: Room::told(celsius(room), tolerance).unwrap(),
            reference: celsius(reference),
            doubling: Doubling { usual, least, most },
        }
    }

    #[track_caller]
    fn near(found: Current, nanoampere: f64, by: f64) {
        let found = found.value * 1e9;
        assert!((found - nanoampere).abs() <= by, "{found} nA, expected {nanoampere} nA");
    }

    /// Handbook §3.12: tantalum 10 µF 16 V, 1.20 µA at 23 °C through 1 kΩ and a bench voltmeter.
    fn worked_example() -> (Current, Budget) {
        let raw = amperes(1.2e-6);
        let doubt = volts(16.0 * 0.005 / 3_f64.sqrt());
        let budget = Budget::default()
            .with(Source::SenseResistor, rectangular(raw * 0.001))
            // ±(0.005 % of 1.2 mV + 0.0035 % of 100 mV) on 1 kΩ.
            .with(Source::Meter, rectangular(amperes(3.56e-9)))
            .with(Source::FixtureZero, rectangular(amperes(2e-9)))
            .with(Source::Voltage, through_voltage(raw, 4.5, doubt, volts(16.0)))
            .with(Source::Scatter, amperes(5e-9));
        (raw, budget)
    }

    #[test]
    fn the_worked_example_of_the_handbook_comes_out() {
        let (raw, budget) = worked_example();
        let warmth = warmth(23.0, 1.0, 25.0, (18.0, 12.0, 30.0));
        let carried = carry(raw, budget, &warmth, Estimate::default());
        near(carried.current, 1296.0, 0.5);
        // The handbook's rows are those of the reading before it is multiplied by 1.080.
        let rows = carried.budget.times(1.0 / warmth.factors()[0]);
        near(rows.of(Source::SenseResistor), 0.7, 0.05);
        near(rows.of(Source::Meter), 2.1, 0.05);
        near(rows.of(Source::FixtureZero), 1.2, 0.05);
        near(rows.of(Source::RoomTemperature), 27.0, 0.5);
        near(rows.of(Source::Voltage), 16.0, 0.5);
        near(rows.of(Source::Scatter), 5.0, 0.05);
        near(carried.budget.of(Source::TemperatureLaw), 26.0, 0.5);
        let as_read = rows.with(Source::TemperatureLaw, carried.budget.of(Source::TemperatureLaw));
        near(as_read.standard(), 41.0, 0.5);
        // Multiplied as the value is: √(1.080²·(41² − 26²) + 26²) = 43 nA.
        near(carried.budget.standard(), 43.0, 0.5);
    }

    #[test]
    fn absorption_is_not_carried_along() {
        // 1 µA, of which 0.4 µA is absorption: 0.4 + 0.6·2^(−5/20) = 0.905 µA.
        let absorbing = Estimate { current: amperes(0.4e-6), uncertainty: amperes(0.1e-6) };
        let warmth = warmth(25.0, 1.0, 20.0, (20.0, 10.0, 35.0));
        let carried = carry(amperes(1e-6), Budget::default(), &warmth, absorbing);
        near(carried.current, 904.5, 0.2);
        // (1 − 0.841) · 100 nA.
        near(carried.budget.of(Source::Absorption), 15.9, 0.1);
    }

    #[test]
    fn a_share_that_is_not_known_may_be_all_or_nothing() {
        let absorbing = Estimate::up_to(amperes(1e-6));
        near(absorbing.current, 500.0, 1e-6);
        // Half of the width over √3.
        near(absorbing.uncertainty, 288.7, 0.1);
    }

    #[rstest]
    #[case::much_colder(9.0)]
    #[case::much_warmer(40.0)]
    fn nothing_is_corrected_over_more_than_ten_kelvins(#[case] room: f64) {
        let (raw, budget) = worked_example();
        let warmth = warmth(room, 1.0, 25.0, (18.0, 12.0, 30.0));
        let carried = carry(raw, budget, &warmth, Estimate::default());
        near(carried.current, 1200.0, 1e-9);
        near(carried.budget.of(Source::TemperatureLaw), 0.0, 1e-9);
    }

    proptest! {
        #[test]
        fn a_reading_is_never_surer_for_having_been_carried(
            room in 10.0_f64..40.0, share in 0.0_f64..1.0, current in 1e-9_f64..1e-3,
        ) {
            let budget = Budget::default().with(Source::Meter, amperes(current * 0.01));
            let warmth = warmth(room, 1.0, 25.0, (18.0, 12.0, 30.0));
            let absorbing = Estimate::up_to(amperes(current * share));
            let carried = carry(amperes(current), budget, &warmth, absorbing);
            prop_assert!(budget.standard() < carried.budget.standard());
        }

        #[test]
        fn a_colder_room_never_makes_a_part_look_worse_than_it_is_at_the_reference(
            below in 0.0_f64..10.0, share in 0.0_f64..1.0,
        ) {
            let warmth = warmth(25.0 - below, 1.0, 25.0, (18.0, 12.0, 30.0));
            let absorbing = Estimate::up_to(amperes(1e-6 * share));
            let carried = carry(amperes(1e-6), Budget::default(), &warmth, absorbing);
            prop_assert!(amperes(1e-6) <= carried.current);
        }
    }
}
