//! What a reading or two say of a part that seems to give way: it is over only if it then proves to
//! hold no charge. A garbled line, a supply that a hand raised and a protection that tripped are none
//! of the part.

mod plant;

use plant::said::{SURGE, ampere, in_phase, overload, volt};
use plant::{Part, Rig, plan};
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Phase, RangeIndex, Sample};
use reststrom::procedure::{Input, Instrument};
use reststrom::quantity::amperes;
use rstest::rstest;

/// The range of the soak.
const SOAK: RangeIndex = RangeIndex(1);

#[track_caller]
fn ends(rig: &mut Rig, verdict: Verdict, finding: Finding, left: Left) {
    let outcome = rig.finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (verdict, finding, left), "{outcome:#?}");
}

/// A sound part in the soak, its meter settled.
fn soaking() -> Rig {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Soak);
    for _ in 0..20 {
        rig.advance();
    }
    rig
}

/// A run in the ramp at 10 V, on a supply that can deliver more than the cut-out allows.
fn on_the_way_up(part: Part) -> Rig {
    let mut plan = plan();
    plan.supply.current_limit = amperes(15e-3);
    let mut rig = Rig::start(plan, part);
    rig.until(Phase::Ramp, 100.0);
    while rig.plant.at_part() < 9.8 {
        rig.advance();
    }
    assert_eq!(rig.run.phase(), Phase::Ramp);
    rig
}

#[test]
fn a_part_that_gives_way_after_the_ramp_stood_still_is_over() {
    let mut rig = on_the_way_up(Part { gives_way_at: 10.6, ..Part::sound() });
    // The supply answers late: no step goes up, and nothing flows into the part that is there.
    for _ in 0..5 {
        for said in rig.plant.advance() {
            if matches!(said, Input::Current { .. }) {
                rig.feed(said);
            }
        }
    }
    ends(&mut rig, Verdict::Over, Finding::BrokeDown, Left::Safe);
}

#[test]
fn one_reading_of_a_surge_after_steps_that_nothing_took_is_none_of_the_part() {
    let mut rig = on_the_way_up(Part::sound());
    rig.plant.unclip();
    for _ in 0..4 {
        rig.advance();
    }
    rig.feed(ampere(9.5e-3, SURGE));
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::LockedOut);
}

#[rstest]
#[case::once(&[600e-6])]
#[case::twice(&[80e-6, 600e-6])]
fn a_surge_of_a_supply_that_was_raised_by_hand_is_none_of_the_part(#[case] surge: &[f64]) {
    let mut rig = soaking();
    for value in surge {
        rig.feed(ampere(*value, SOAK));
    }
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}

#[test]
fn a_current_that_stays_is_one_of_the_part() {
    let mut rig = soaking();
    for value in [60e-6, 80e-6, 600e-6] {
        rig.feed(ampere(value, SOAK));
    }
    ends(&mut rig, Verdict::Over, Finding::BrokeDown, Left::Safe);
}

#[test]
fn a_surge_that_is_heard_late_explains_no_sag() {
    let mut rig = soaking();
    // The protection trips, and the reading of the surge before it comes only then.
    rig.plant.trips();
    rig.feed(ampere(140e-6, SOAK));
    rig.feed(volt(15.0));
    assert_eq!(rig.run.phase(), Phase::Bleed);
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}

#[test]
fn a_stale_overload_after_a_supply_tripped_makes_no_breakdown() {
    let mut rig = soaking();
    rig.plant.trips();
    rig.feed(ampere(-80e-6, SOAK));
    rig.feed(volt(18.0));
    assert_eq!(rig.run.phase(), Phase::Bleed);
    rig.feed(overload(SURGE));
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}

#[test]
fn a_voltage_of_before_a_surge_makes_no_short() {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Probe);
    let hold = plan().probe.rise.value + plan().probe.hold.value;
    while rig.plant.time < hold - 1.0 {
        rig.advance();
    }
    // A knob is turned up while the supply's replies do not arrive.
    for _ in 0..30 {
        rig.plant.advance();
        rig.feed(ampere(1.2e-3, SURGE));
        if rig.run.phase() != Phase::Probe {
            break;
        }
    }
    let outcome = rig.finish();
    assert_ne!(outcome.ruling.verdict, Verdict::Over, "{outcome:#?}");
}

#[test]
fn a_short_that_gives_back_what_a_full_part_holds_is_none() {
    let mut rig = in_phase(plan(), Part { charged_to: 20.0, ..Part::sound() }, Phase::Probe);
    while !rig.plant.is_on() {
        rig.advance();
    }
    rig.advance();
    rig.plant.clip_in(Part { charged_to: 20.0, ..Part::sound() });
    rig.feed(ampere(9.5e-3, SURGE));
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}

#[test]
fn a_sag_after_a_surge_that_the_meter_does_not_live_to_explain_is_none_of_the_part() {
    let mut rig = soaking();
    rig.feed(ampere(140e-6, SOAK));
    // The protection trips, and from then on only the supply answers.
    rig.plant.trips();
    while rig.run.outcome().is_none() {
        for said in rig.plant.advance() {
            if !matches!(said, Input::Current { .. }) {
                rig.feed(said);
            }
        }
        rig.feed(Input::Tick);
    }
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}

/// Goes on with a display that stands, whatever the part does, to the end of the run.
fn hangs(rig: &mut Rig, display: f64) {
    while rig.run.outcome().is_none() {
        for said in rig.plant.advance() {
            let display = ampere(display, SURGE);
            rig.feed(if matches!(said, Input::Current { .. }) { display } else { said });
        }
        assert!(rig.plant.time < 1000.0);
    }
}

#[test]
fn a_display_that_stands_proves_no_breakdown() {
    let mut rig = soaking();
    rig.feed(ampere(1.2e-6, SOAK));
    rig.feed(ampere(600e-6, SOAK));
    assert_eq!(rig.run.phase(), Phase::Bleed);
    hangs(&mut rig, 1.2e-6);
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}

#[test]
fn a_display_that_stands_does_not_hold_a_part_below_its_voltage() {
    let mut rig = on_the_way_up(Part::sound());
    // 1.5 V of the path that nothing drops.
    hangs(&mut rig, 1.5e-3);
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}

#[test]
fn the_meters_zero_is_not_taken_for_a_part_that_hung_on_its_clips() {
    for falls_off in [false, true] {
        let leaking = Part { leak: |u, _| u * 50e-6 / 25.0, ..Part::sound() };
        let mut rig = Rig::start(plan(), leaking);
        rig.plant.offset = 1.5;
        rig.until(Phase::Charge, 100.0);
        if falls_off {
            rig.plant.unclip();
        }
        for _ in 0..5 {
            rig.advance();
        }
        assert_eq!(rig.run.phase(), Phase::Charge);
        rig.feed(Input::Lost(Instrument::Meter));
        while rig.run.outcome().is_none() {
            for said in rig.plant.advance() {
                if !matches!(said, Input::Current { .. }) {
                    rig.feed(said);
                }
            }
            rig.feed(Input::Tick);
        }
        let left = if falls_off { Left::LockedOut } else { Left::Safe };
        assert_eq!(rig.finish().left, left, "fell off: {falls_off}");
    }
}

#[test]
fn a_reading_before_a_change_of_range_is_weighed_by_the_range_it_was_read_on() {
    for falls_off in [false, true] {
        let leaking = Part { leak: |u, _| u * 50e-6 / 25.0, ..Part::sound() };
        let mut rig = Rig::start(plan(), leaking);
        rig.plant.offset = 0.3;
        rig.until(Phase::Charge, 100.0);
        if falls_off {
            rig.plant.unclip();
        }
        for _ in 0..5 {
            rig.advance();
        }
        while rig.run.outcome().is_none() {
            for said in rig.plant.advance() {
                let Input::Current { range, .. } = said else {
                    rig.feed(said);
                    continue;
                };
                rig.feed(Input::Current { sample: Sample::NotANumber, range });
            }
            rig.feed(Input::Tick);
        }
        let left = if falls_off { Left::LockedOut } else { Left::Safe };
        assert_eq!(rig.finish().left, left, "fell off: {falls_off}");
    }
}

#[test]
fn a_surge_after_which_the_meter_sleeps_until_the_part_is_empty_is_none_of_the_part() {
    let mut rig = soaking();
    rig.feed(ampere(600e-6, SOAK));
    assert_eq!(rig.run.phase(), Phase::Bleed);
    // Longer than its readings may be old, and than the part takes to empty.
    for _ in 0..30 {
        for said in rig.plant.advance() {
            if !matches!(said, Input::Current { .. }) {
                rig.feed(said);
            }
        }
    }
    ends(&mut rig, Verdict::Untested, Finding::InstrumentLost, Left::Safe);
}
