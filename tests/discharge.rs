//! What proves that a part still hung on the clips, and that it is empty.

mod plant;

use plant::said::{SURGE, ampere, hear, in_phase, overload, volt};
use plant::{Part, Rig, plan};
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Bleeder, OutputState, Phase, Plan, Sensing};
use reststrom::procedure::{Input, Instrument, Order, Switch};
use reststrom::quantity::{ohms, seconds, volts};
use rstest::rstest;

/// The plan with another bleeder.
fn bled_by(bleeder: Bleeder) -> Plan {
    let mut plan = plan();
    plan.discharge.bleeder = bleeder;
    plan
}

#[test]
fn a_small_part_shows_its_charge_to_a_quick_relay() {
    // 1 µF empties through 11 kΩ with 11 ms: all within the first reading.
    let plan = bled_by(Bleeder::Relay(ohms(10_000.0)));
    let outcome = Rig::start(plan_of_a_microfarad(plan), microfarad()).finish();
    let got = (outcome.ruling.verdict, outcome.left);
    assert_eq!(got, (Verdict::Within, Left::Safe), "{outcome:#?}");
}

fn plan_of_a_microfarad(plan: Plan) -> Plan {
    let capacitance = reststrom::quantity::farads(1e-6);
    Plan { part: reststrom::plan::PartFacts { capacitance, ..plan.part }, ..plan }
}

fn microfarad() -> Part {
    Part { farad: 1e-6, ..Part::sound() }
}

#[rstest]
#[case::with_a_resistor(Bleeder::Fitted(ohms(10_000.0)))]
#[case::with_a_relay(Bleeder::Relay(ohms(10_000.0)))]
#[case::into_the_supply(Bleeder::SupplySinks)]
fn the_meters_zero_is_not_taken_for_returned_charge(#[case] bleeder: Bleeder) {
    for offset in [-1.0, 1.0] {
        let plan = plan_of_a_microfarad(bled_by(bleeder));
        let mut rig = Rig::start(plan, Part { falls_off_at: 150.0, ..microfarad() });
        rig.plant.offset = offset;
        let outcome = rig.finish();
        assert!(!outcome.evidence.charge_out, "{outcome:#?}");
        assert_ne!(outcome.ruling.verdict, Verdict::Within);
        assert_eq!(outcome.left, Left::LockedOut);
    }
}

#[test]
fn leakage_that_ceases_is_not_taken_for_returned_charge() {
    let mut plan = plan();
    plan.target.soak = seconds(600.0);
    plan.ramp.rise = seconds(60.0);
    plan.ramp.budget = seconds(200.0);
    // The reading stands at 300 s; the clip falls off between it and the end of the soak.
    let part = Part { leak: |u, _| u * 4e-6 / 25.0, falls_off_at: 500.0, ..Part::sound() };
    let outcome = Rig::start(plan, part).finish();
    let got = (outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (Finding::ContactLost, Left::LockedOut), "{outcome:#?}");
}

#[test]
fn a_part_far_over_its_limit_still_proves_its_contact_after_a_slow_ramp() {
    let mut plan = plan();
    plan.ramp.rise = seconds(60.0);
    plan.ramp.budget = seconds(200.0);
    let part = Part { leak: |u, _| 150e-6 * (u / 25.0).powi(2), ..Part::sound() };
    let outcome = Rig::start(plan, part).finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (Verdict::Over, Finding::Settled, Left::Safe), "{outcome:#?}");
}

#[rstest]
#[case::a_person_stops(Input::Stop)]
#[case::the_supply_is_disturbed(Input::Disturbed)]
fn a_part_that_fell_off_before_the_end_is_not_called_empty(#[case] input: Input) {
    for phase in [Phase::Charge, Phase::Settle, Phase::Soak] {
        for falls_off in [false, true] {
            let mut rig = Rig::start(plan(), Part::sound());
            rig.until(phase, 100.0);
            if falls_off {
                rig.plant.unclip();
            }
            for _ in 0..5 {
                rig.advance();
            }
            rig.feed(input);
            let left = if falls_off { Left::LockedOut } else { Left::Safe };
            assert_eq!(rig.finish().left, left, "{phase}, fell off: {falls_off}");
        }
    }
}

/// A run that an unreadable line of the meter ends in the soak, just after a reading that showed the
/// part; the meter is heard again at once.
#[track_caller]
fn after_a_spoiled_line(bleeder: Bleeder, falls_off: bool) -> (Finding, Left) {
    let leaking = Part { leak: |u, _| u * 3e-6 / 25.0, ..Part::sound() };
    let mut rig = Rig::start(bled_by(bleeder), leaking);
    rig.until(Phase::Soak, 100.0);
    for _ in 0..20 {
        rig.advance();
    }
    if falls_off {
        rig.plant.unclip();
    }
    rig.feed(Input::Lost(Instrument::Meter));
    let outcome = rig.finish();
    (outcome.ruling.findings[0], outcome.left)
}

#[rstest]
#[case::with_a_resistor(Bleeder::Fitted(ohms(10_000.0)))]
#[case::with_a_relay(Bleeder::Relay(ohms(10_000.0)))]
#[case::into_the_supply(Bleeder::SupplySinks)]
fn what_the_last_reading_showed_proves_no_contact_to_a_meter_that_is_heard(
    #[case] bleeder: Bleeder,
) {
    let lost = Finding::InstrumentLost;
    assert_eq!(after_a_spoiled_line(bleeder, false), (lost, Left::Safe));
    assert_eq!(after_a_spoiled_line(bleeder, true), (lost, Left::LockedOut));
}

#[rstest]
#[case::with_a_resistor(Bleeder::Fitted(ohms(10_000.0)))]
#[case::into_the_supply(Bleeder::SupplySinks)]
fn a_clip_that_comes_off_between_the_proof_and_the_bleed_is_missed(#[case] bleeder: Bleeder) {
    let mut rig = Rig::start(bled_by(bleeder), Part::sound());
    rig.until(Phase::Bleed, 400.0);
    rig.plant.unclip();
    assert!(rig.plant.left_with() > 5.0);
    let outcome = rig.finish();
    let got = (outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (Finding::ContactLost, Left::LockedOut), "{outcome:#?}");
}

#[test]
fn a_small_part_that_was_empty_before_the_meter_looked_is_safe_by_what_it_showed_last() {
    // 1 µF empties through 11 kΩ with 11 ms; the meter takes half a second to change its range.
    let leaking = Part { leak: |u, _| u * 3e-6 / 25.0, ..microfarad() };
    let mut rig = in_phase(plan_of_a_microfarad(plan()), leaking, Phase::Soak);
    rig.feed(Input::Stop);
    for _ in 0..5 {
        rig.plant.advance();
    }
    assert_eq!(rig.finish().left, Left::Safe);
}

#[test]
fn a_part_of_a_few_volts_proves_its_contact_to_a_relay() {
    let mut plan = bled_by(Bleeder::Relay(ohms(100_000.0)));
    plan.test_voltage = volts(4.0);
    plan.part.rated = volts(4.0);
    plan.supply.over_voltage = volts(4.7);
    let outcome = Rig::start(plan, Part::sound()).finish();
    let got = (outcome.ruling.verdict, outcome.left);
    assert_eq!(got, (Verdict::Within, Left::Safe), "{outcome:#?}");
}

/// A run whose meter is lost in the soak, with the supply reading `volt` from then on, which falls by
/// 0.7 % in ten seconds: what stands still on a bleeder would be driven.
fn without_meter(volt_read: f64) -> Left {
    let mut rig = in_phase(plan(), Part::sound(), Phase::Soak);
    rig.feed(Input::Lost(Instrument::Meter));
    let from = rig.plant.time;
    for ten in 0..15 {
        let (at, read) = (from + 10.0 * f64::from(ten), volt_read * 0.993_f64.powi(ten));
        hear(&mut rig.run, at, 100, &[Input::Output(OutputState::Off), volt(read)]);
    }
    rig.run.outcome().expect("the run has ended").left
}

#[test]
fn without_a_meter_the_voltage_behind_the_relay_is_the_proof() {
    assert_eq!(without_meter(4.0), Left::Safe);
    // The path of 1 kΩ and more keeps a tenth of it from the terminals: the part is above 5 V.
    assert_eq!(without_meter(4.95), Left::LockedOut);
}

#[test]
fn a_bleeding_current_that_overloads_is_an_unknown_voltage() {
    let mut plan = plan();
    plan.supply.senses = Sensing::BeforeRelay;
    let mut rig = in_phase(plan, Part::sound(), Phase::Soak);
    rig.feed(Input::Stop);
    let from = rig.plant.time;
    rig.run.step(rig.now(), ampere(-1e-4, SURGE));
    hear(&mut rig.run, from, 1500, &[Input::Output(OutputState::Off), volt(0.0), overload(SURGE)]);
    assert_eq!(rig.run.outcome().unwrap().left, Left::LockedOut);
}

/// A stopped run whose part has shown its charge and is below 5 V, with another bleeder.
fn emptied(bleeder: Bleeder) -> Rig {
    let mut plan = plan();
    plan.discharge.bleeder = bleeder;
    let mut rig = in_phase(plan, Part::sound(), Phase::Soak);
    rig.feed(Input::Stop);
    while rig.plant.at_part() > 4.0 {
        rig.advance();
    }
    rig
}

#[test]
fn absorption_that_brings_voltage_back_is_bled_again() {
    let mut rig = emptied(Bleeder::Relay(ohms(100_000.0)));
    let from = rig.plant.time;
    // Hold and rebound wait: 40 s. At 30 s the part has crept back.
    hear(&mut rig.run, from, 300, &[volt(0.1), ampere(0.0, SURGE)]);
    let orders = hear(&mut rig.run, from + 30.0, 1, &[volt(6.0), ampere(0.0, SURGE)]);
    assert!(orders.contains(&Order::Bleeder(Switch::On)), "{orders:?}");
    hear(&mut rig.run, from + 30.1, 300, &[volt(0.1), ampere(0.0, SURGE)]);
    assert_eq!(rig.run.phase(), Phase::Bleed, "the wait begins anew");
    hear(&mut rig.run, from + 60.1, 200, &[volt(0.1), ampere(0.0, SURGE)]);
    assert_eq!(rig.run.outcome().unwrap().left, Left::Safe);
}

#[test]
fn a_part_that_always_comes_back_is_locked_out() {
    let mut rig = emptied(Bleeder::Relay(ohms(100_000.0)));
    let from = rig.plant.time;
    for round in 0_u32..8 {
        let at = from + f64::from(round) * 20.0;
        hear(&mut rig.run, at, 150, &[volt(0.1), ampere(0.0, SURGE)]);
        hear(&mut rig.run, at + 15.0, 50, &[volt(6.0), ampere(0.0, SURGE)]);
    }
    assert_eq!(rig.run.outcome().unwrap().left, Left::LockedOut);
}

#[rstest]
#[case::an_output_that_says_on(&[Input::Output(OutputState::On), volt(0.1), ampere(0.0, SURGE)])]
#[case::an_output_in_doubt(&[Input::Output(OutputState::Unknown), volt(0.1), ampere(0.0, SURGE)])]
#[case::a_supply_that_is_gone(&[Input::Lost(Instrument::Supply), volt(0.1), ampere(0.0, SURGE)])]
fn a_low_voltage_proves_nothing_beside(#[case] said: &[Input]) {
    let mut rig = emptied(Bleeder::Fitted(ohms(10_000.0)));
    let from = rig.plant.time;
    hear(&mut rig.run, from, 3000, said);
    assert_eq!(rig.run.outcome().unwrap().left, Left::LockedOut);
}

#[rstest]
#[case::a_person_stops(Input::Stop)]
#[case::the_meter_is_lost(Input::Lost(Instrument::Meter))]
#[case::the_output_is_in_doubt(Input::Output(OutputState::Unknown))]
#[case::a_setting_changed(Input::Disturbed)]
fn a_supply_that_sinks_is_cut_out_at_the_first_trouble(#[case] input: Input) {
    let mut plan = plan();
    plan.discharge.bleeder = Bleeder::SupplySinks;
    let mut rig = Rig::start(plan, Part::sound());
    rig.until(Phase::Bleed, 400.0);
    assert!(rig.plant.is_on(), "it pulls the part down");
    assert_eq!(rig.feed(input).first(), Some(&Order::CutOut));
}
