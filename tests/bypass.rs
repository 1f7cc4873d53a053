//! The relay that bridges the series resistor while a large part charges: on the bench of arithmetic.

mod plant;

use plant::{Bypass, Part, Rig, plan};
use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::{Phase, Plan};
use reststrom::procedure::{Input, Order, Switch};
use reststrom::quantity::{amperes, farads, seconds};
use rstest::rstest;

/// 10 mF behind 1 kΩ and 2 Ω: a time constant of 10 s, or of 20 ms with the resistor bridged.
const FARAD: f64 = 10e-3;

/// A plan for 10 mF, limit 2.5 mA, charged with 50 mA at most.
fn large(bypassed: bool) -> Plan {
    let mut plan = plan();
    plan.bypassed = bypassed;
    plan.part.capacitance = farads(FARAD);
    plan.target.limit = amperes(2.5e-3);
    plan.supply.current_limit = amperes(50e-3);
    plan.supply.over_current = amperes(100e-3);
    plan.cut_out.surge = amperes(62.5e-3);
    plan.cut_out.soak = amperes(25e-3);
    plan.cut_out.power = reststrom::quantity::watts(1.0);
    plan.meter.surge = reststrom::plan::RangeIndex(4);
    plan.meter.soak = reststrom::plan::RangeIndex(3);
    plan.meter.bleed = reststrom::plan::RangeIndex(4);
    plan.probe.hold = seconds(60.0);
    plan.probe.conducts = amperes(20e-3);
    plan.ramp.budget = seconds(200.0);
    plan.ramp.charge = seconds(if bypassed { 1.0 } else { 70.0 });
    plan.discharge.budget = seconds(1200.0);
    plan
}

fn part() -> Part {
    Part { farad: FARAD, leak: |u, _| u * 0.1e-3 / 25.0, ..Part::sound() }
}

/// When the part stood at full voltage, in seconds after the ramp began.
fn full_after_ramp(rig: &mut Rig) -> f64 {
    rig.until(Phase::Ramp, 200.0);
    let from = rig.plant.time;
    rig.until(Phase::Settle, 600.0);
    rig.run.full_voltage_at().expect("full voltage").value - from
}

#[test]
fn a_bridged_resistor_does_not_hold_the_charging_up() {
    // U(t) = U·(1 − e^(−t/τ)): a hundredth is missing after 4.6 τ, and the ramp's lag is τ.
    let slow = full_after_ramp(&mut Rig::start(large(false), part()));
    let quick = full_after_ramp(&mut Rig::start(large(true), part()));
    assert!(10.0 + 2.0 * 10.0 < slow && quick < 10.0 + 2.0, "{slow} s, bridged {quick} s");
}

#[test]
fn a_sound_part_is_within_and_left_safe() {
    let outcome = Rig::start(large(true), part()).finish();
    let got = (outcome.ruling.verdict, outcome.left);
    assert_eq!(got, (Verdict::Within, Left::Safe), "{outcome:#?}");
    assert!(outcome.evidence.charge_in && outcome.evidence.charge_out);
    let measured = outcome.capacitance.expect("a capacitance").value.value;
    assert!((measured / FARAD - 1.0).abs() < 0.03, "{measured} F");
}

#[test]
fn the_resistor_is_back_before_the_meter_settles_and_stays() {
    let mut rig = Rig::start(large(true), part());
    let mut turned = Vec::new();
    while rig.run.outcome().is_none() {
        let before = rig.plant.bypass;
        rig.advance();
        if rig.plant.bypass != before {
            turned.push((rig.run.phase(), rig.plant.bypass));
        }
        let bridged = rig.plant.bypass == Bypass::Closed;
        let may = matches!(rig.run.phase(), Phase::Probe | Phase::Ramp | Phase::Charge);
        assert!(may || !bridged, "bridged in {}", rig.run.phase());
    }
    assert_eq!(turned, [(Phase::Probe, Bypass::Closed), (Phase::Charge, Bypass::Open)]);
}

#[rstest]
#[case::in_the_probe(Phase::Probe)]
#[case::in_the_ramp(Phase::Ramp)]
#[case::in_the_charge(Phase::Charge)]
fn whatever_ends_the_run_brings_the_resistor_back_behind_the_cut_out(#[case] phase: Phase) {
    let mut rig = Rig::start(large(true), part());
    rig.until(phase, 300.0);
    let orders = rig.feed(Input::Stop);
    assert_eq!(orders.first(), Some(&Order::CutOut));
    assert!(orders.contains(&Order::Bypass(Switch::Off)), "{orders:?}");
    assert_eq!(rig.finish().left, Left::Safe);
}

#[test]
fn a_part_that_gives_way_while_the_resistor_is_bridged_is_over() {
    let mut rig = Rig::start(large(true), Part { gives_way_at: 15.0, ..part() });
    rig.until(Phase::Ramp, 200.0).until(Phase::Bleed, 12.0);
    let outcome = rig.finish();
    let got = (outcome.ruling.verdict, outcome.ruling.findings[0], outcome.left);
    assert_eq!(got, (Verdict::Over, Finding::BrokeDown, Left::Safe), "{outcome:#?}");
}

#[test]
fn a_clip_that_comes_off_while_the_resistor_is_bridged_is_seen() {
    let mut rig = Rig::start(large(true), part());
    rig.until(Phase::Charge, 300.0);
    rig.plant.unclip();
    let outcome = rig.finish();
    assert_ne!(outcome.ruling.verdict, Verdict::Within);
    assert_eq!(outcome.left, Left::LockedOut);
}

#[rstest]
#[case::open(Bypass::StuckOpen)]
#[case::closed(Bypass::StuckClosed)]
fn a_relay_that_sticks_makes_no_wrong_verdict_and_no_charged_part(#[case] stuck: Bypass) {
    for (milliampere, right) in [(0.1, Verdict::Within), (5.0, Verdict::Over)] {
        let leak: fn(f64, f64) -> f64 =
            if milliampere < 1.0 { |u, _| u * 0.1e-3 / 25.0 } else { |u, _| u * 5e-3 / 25.0 };
        let mut rig = Rig::start(large(true), Part { leak, ..part() });
        rig.plant.bypass = stuck;
        let outcome = rig.finish();
        let verdict = outcome.ruling.verdict;
        let honest = [right, Verdict::Undecided, Verdict::Untested].contains(&verdict);
        assert!(honest, "{milliampere} mA: {verdict:?}");
        assert!(outcome.left == Left::LockedOut || rig.plant.at_part() < 5.0);
    }
}
