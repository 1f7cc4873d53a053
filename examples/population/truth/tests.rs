//! What the truth about a part is.

use super::*;
use crate::catalogue;
use crate::conduction::Climb;
use crate::dice::{Dice, Purpose};
use crate::faults::Event;

/// A tantalum part of a class.
fn part(index: u64, class: Class) -> Specimen {
    let rows = catalogue::rows();
    let mut dice = Dice::new(1, index, Purpose::Part);
    Specimen::of(&mut dice, &rows[0], class, None).expect("tantalum has a limit at any voltage")
}

#[test]
fn a_climber_that_begins_after_the_reading_time_is_within() {
    let mut climber = part(1, Class::LateClimber);
    climber.conduction.climb =
        Climb::Late { start: climber.reading_time * 1.2, span: 1.0, power: 2.0 };
    let truth = climber.truth(10.0, 1.0);
    assert_eq!(truth.state, State::Sound);
    assert!(truth.leakage < climber.limit);
}

#[test]
fn a_climber_that_is_still_below_its_limit_is_unsteady() {
    let mut climber = part(1, Class::LateClimber);
    let span = climber.reading_time;
    climber.conduction.base = climber.limit * 0.2;
    climber.conduction.climb = Climb::Late { start: 0.0, span, power: 1.0 };
    assert_eq!(climber.truth(10.0, 1.0).state, State::Unsteady);
}

#[test]
fn a_scar_before_the_reading_counts_and_one_after_it_does_not() {
    let mut scarred = part(1, Class::Healthy);
    let before = scarred.truth(10.0, 1.0).leakage;
    let burst = |at| Event { at, lasts: 0.0, kind: EventKind::Burst { coulomb: 1e-9, scar: 5.0 } };
    scarred.events = vec![burst(scarred.reading_time + 30.0)];
    assert!((scarred.truth(10.0, 1.0).leakage - before).abs() < 1e-15);
    scarred.events = vec![burst(30.0)];
    assert!(before * 2.0 < scarred.truth(10.0, 1.0).leakage);
}

#[test]
fn three_bursts_that_can_be_seen_make_a_part_bad() {
    let mut bursting = part(1, Class::Scintillating);
    let coulomb = bursting.limit * 2.0;
    bursting.farad = 1.0;
    let burst = |at| Event { at, lasts: 0.0, kind: EventKind::Burst { coulomb, scar: 1.0 } };
    bursting.events = vec![burst(30.0), burst(60.0), burst(90.0)];
    bursting.printed = 1.0;
    assert_eq!(bursting.truth(10.0, 1.0).state, State::Bad);
    bursting.events.pop();
    assert_eq!(bursting.truth(10.0, 1.0).state, State::Unsteady);
}

#[test]
fn a_tenth_of_the_value_is_of_another() {
    let truth = part(1, Class::WrongValue).truth(10.0, 1.0);
    assert_eq!(truth.state, State::OtherValue);
    assert!(0.4 < truth.off_value);
}
