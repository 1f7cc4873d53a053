//! Closed forms of the handbook against the stepped circuit.

use proptest::prelude::*;
use rstest::rstest;

use super::*;

fn capacitor(farad: f64, rated: f64) -> Physics {
    Physics::capacitor(farads(farad), volts(rated))
}

#[rstest]
#[case::half_a_time_constant(0.5)]
#[case::one_time_constant(1.0)]
#[case::three_time_constants(3.0)]
fn a_part_charges_through_the_resistor_as_one_less_exp(#[case] constants: f64) {
    let mut bench = ByHand::ideal().with(&capacitor(470e-6, 25.0)).on("1");
    bench.supply("VOLT 10");
    let look = bench.after(constants * 0.47);
    near(look.part_voltage.value, 10.0 * (1.0 - (-constants).exp()), 1e-3);
    near(look.part_current.value, 0.01 * (-constants).exp(), 2e-3);
}

#[test]
fn in_current_limit_the_voltage_climbs_by_limit_over_capacitance() {
    let mut bench = ByHand::ideal().with(&capacitor(100e-6, 50.0)).on("0.002");
    bench.supply("VOLT 50");
    bench.after(0.01);
    let early = bench.after(0.0).part_voltage.value;
    let late = bench.after(1.0).part_voltage.value;
    near(late - early, 20.0, 1e-4);
    near(bench.after(3.0).terminal_voltage.value, 50.0, 1e-6);
}

#[rstest]
#[case::tantalum(22e-6, 0.006, 1.0)]
#[case::aluminium(470e-6, 0.03, 0.8)]
#[case::steep(10e-6, 0.006, 1.1)]
fn absorption_draws_its_power_law_for_three_decades(
    #[case] farad: f64,
    #[case] beta: f64,
    #[case] n: f64,
) {
    let absorption = Some(Absorption { beta, n });
    let mut options = ideal();
    options.series = ohms(10.0);
    let physics = Physics { absorption, ..capacitor(farad, 25.0) };
    let mut bench = ByHand::new(options).with(&physics).on("1");
    bench.supply("VOLT 25");
    let mut passed = 0.0;
    for t in [1.0, 3.0, 10.0, 60.0, 300.0, 1000.0_f64] {
        let current = bench.after(t - passed).part_current.value;
        passed = t;
        near(current, beta * farad * 25.0 * t.powf(-n), 0.03);
    }
}

/// Handbook §2.1: `β·[ln((t_d+t_o)/t_d) − ln((t_d+t_o+t_c)/(t_d+t_c))]` of the voltage returns. The
/// formula takes absorption as small beside the capacitance, so β is small here.
#[test]
fn a_shorted_aluminium_part_climbs_back_as_the_recovery_formula_says() {
    let absorption = Some(Absorption { beta: 0.001, n: 1.0 });
    let mut options = ideal();
    options.series = ohms(1.0);
    let mut bench =
        ByHand::new(options).with(&Physics { absorption, ..capacitor(100e-6, 50.0) }).on("1");
    bench.supply("VOLT 45");
    bench.after(600.0);
    bench.supply("OUTP OFF");
    bench.0.circuit.bleeder = Some(0.1);
    bench.after(10.0);
    bench.0.circuit.gap = true;
    let share = 0.001 * ((70.0_f64 / 10.0).ln() - (670.0_f64 / 610.0).ln());
    near(bench.after(60.0).part_voltage.value, 45.0 * share, 0.03);
}

#[test]
fn the_bleeder_discharges_with_resistance_times_capacitance() {
    let mut options = ideal();
    options.bleeder = Some(ohms(9e3));
    let charged = Physics { charged_v: 50.0, ..capacitor(100e-6, 50.0) };
    let mut bench = ByHand::new(options).with(&charged);
    let until_five_volts = 10e3 * 100e-6 * 10.0_f64.ln();
    near(bench.after(until_five_volts).part_voltage.value, 5.0, 2e-3);
}

#[test]
fn without_a_bleeder_the_part_keeps_its_charge() {
    let charged = Physics { charged_v: 50.0, ..capacitor(100e-6, 50.0) };
    let mut bench = ByHand::ideal().with(&charged);
    near(bench.after(600.0).part_voltage.value, 50.0, 0.01);
}

#[rstest]
#[case::on_its_shunt(1e-3, 100.0)]
#[case::one_range_up(1e-2, 10.0)]
fn the_meter_burdens_the_part_with_its_shunt(#[case] range: f64, #[case] shunt: f64) {
    let leakage = Some(Leakage::Ohmic { rated_ua: 1000.0 });
    let options = BenchOptions { meter: MeterModel::default(), ..ideal() };
    let mut bench =
        ByHand::new(options).with(&Physics { leakage, ..capacitor(1e-6, 25.0) }).on("1");
    bench.meter(&format!("CONF:CURR {range}"));
    bench.supply("VOLT 10");
    // 25 kΩ of leakage in line with 1 kΩ and the shunt.
    near(bench.after(5.0).part_voltage.value, 10.0 * 25e3 / (26e3 + shunt), 1e-6);
}

#[test]
fn a_volt_meter_across_the_sense_resistor_reads_one_per_cent_low() {
    let leakage = Some(Leakage::Ohmic { rated_ua: 10.0 });
    let options = BenchOptions { sensing: Sensing::Resistor(ohms(100e3)), ..ideal() };
    let mut bench =
        ByHand::new(options).with(&Physics { leakage, ..capacitor(1e-8, 10.0) }).on("1");
    bench.meter("CONF:VOLT 1");
    bench.supply("VOLT 10");
    bench.after(5.0);
    let sensed = 1.0 / (1.0 / 100e3 + 1.0 / 10e6);
    near(sensed, 99_010.0, 1e-5);
    near(bench.read(), 10.0 * sensed / (1e6 + 1e3 + sensed), 1e-4);
}

#[test]
fn a_reading_is_the_charge_of_its_aperture_by_its_length() {
    let mut bench = ByHand::ideal().with(&capacitor(470e-6, 25.0)).on("1");
    bench.meter("CONF:CURR 0.1;:CURR:NPLC 10");
    bench.after(1.0);
    bench.supply("VOLT 10");
    let charge = 470e-6 * 10.0 * (1.0 - (-0.2_f64 / 0.47).exp());
    near(bench.read(), charge / 0.2, 1e-3);
}

#[test]
fn readings_asked_back_to_back_miss_no_charge() {
    let mut bench = ByHand::ideal().with(&capacitor(470e-6, 25.0)).on("1");
    bench.meter("CONF:CURR 0.1;:CURR:NPLC 1");
    bench.after(1.0);
    bench.read();
    bench.supply("VOLT 10");
    let mut charge = 0.0;
    for _ in 0..300 {
        charge += bench.read() * 0.02;
        bench.after(0.005);
    }
    near(charge, 470e-6 * 10.0, 2e-3);
}

#[test]
fn a_part_gives_way_at_its_breakdown_voltage_and_stays_so() {
    let breakdown = Some(Breakdown { at_v: 20.0, then_ohm: 60.0 });
    let mut bench =
        ByHand::ideal().with(&Physics { breakdown, ..capacitor(10e-6, 35.0) }).on("0.001");
    bench.supply("VOLT 35");
    // 100 V/s: 20 V come after 0.2 s.
    near(bench.after(0.199).part_voltage.value, 19.9, 2e-3);
    near(bench.after(0.2).part_voltage.value, 0.06, 1e-3);
    bench.supply("VOLT 1");
    near(bench.after(1.0).part_current.value, 1.0 / 1060.0, 1e-3);
}

#[test]
fn re_forming_leaves_only_the_settled_leakage() {
    let leakage = Some(Leakage::Ohmic { rated_ua: 1.0 });
    let reforming = Some(Reforming { excess: 50.0, tau_s: 10.0 });
    let mut bench =
        ByHand::ideal().with(&Physics { leakage, reforming, ..capacitor(1e-6, 25.0) }).on("1");
    bench.supply("VOLT 25");
    near(bench.after(10.0).part_leakage.value, 1e-6 * (1.0 + 50.0 * 2.0_f64.powf(-0.8)), 0.02);
    near(bench.after(9990.0).part_leakage.value, 1e-6 * (1.0 + 50.0 * 1001.0_f64.powf(-0.8)), 0.02);
}

#[test]
fn a_runaway_grows_by_its_share_every_second() {
    let leakage = Some(Leakage::Ohmic { rated_ua: 1.0 });
    let physics = Physics { leakage, runaway_per_s: 0.01, ..capacitor(1e-6, 25.0) };
    let mut bench = ByHand::ideal().with(&physics).on("1");
    bench.supply("VOLT 25");
    bench.after(1.0);
    let early = bench.after(0.0).part_leakage.value;
    near(bench.after(100.0).part_leakage.value / early, std::f64::consts::E, 1e-3);
}

#[test]
fn bursts_bring_their_charge_at_their_rate() {
    let bursts = Some(Bursts { per_minute: 6.0, charge_uc: 1.0, width_ms: 5.0 });
    let mut bench = ByHand::ideal().with(&Physics { bursts, ..capacitor(1e-6, 25.0) }).on("1");
    bench.supply("VOLT 25");
    bench.after(1.0);
    let before = bench.0.state.through_part;
    bench.after(6000.0);
    // 600 bursts of 1 µC on average; the deviation of such a count is 4 %.
    near(bench.0.state.through_part - before, 600.0 * 1e-6, 0.15);
}

#[test]
fn a_part_held_by_hard_conduction_keeps_the_supply_in_current_limit() {
    let leakage = Some(Leakage::Steep { there_ua: 5000.0, at_v: 21.0, slope_v: 0.3 });
    let mut bench =
        ByHand::ideal().with(&Physics { leakage, ..capacitor(47e-6, 35.0) }).on("0.005");
    bench.supply("VOLT 35");
    let look = bench.after(60.0);
    near(look.part_voltage.value, 21.0, 1e-3);
    near(look.supply_current.value, 0.005, 1e-9);
}

#[test]
fn a_clip_that_fell_off_leaves_the_part_charged_and_the_meter_at_zero() {
    let leakage = Some(Leakage::Ohmic { rated_ua: 5.0 });
    let falls_off_s = Some(20.0);
    let physics = Physics { leakage, falls_off_s, ..capacitor(100e-6, 25.0) };
    let mut bench = ByHand::ideal().with(&physics).on("1");
    bench.supply("VOLT 25");
    assert!(bench.after(19.9).contact);
    let look = bench.after(1.0);
    assert!(!look.contact);
    near(look.part_voltage.value, 25.0, 0.01);
    assert!(look.part_current.value.abs() < 1e-15);
}

#[rstest]
#[case::across_the_terminals(true, 12.0)]
#[case::in_front_of_the_relay(false, 0.0)]
fn the_output_capacitor_is_where_the_model_says(#[case] behind: bool, #[case] left: f64) {
    let mut options = ideal();
    options.supply.output_capacitance = farads(100e-6);
    options.supply.capacitor_behind_relay = behind;
    options.bleeder = Some(ohms(1e6));
    let mut bench = ByHand::new(options).on("1");
    bench.supply("VOLT 12");
    bench.after(1.0);
    bench.supply("OUTP OFF");
    let seen = bench.after(0.1).terminal_voltage.value;
    assert!((seen - left).abs() < 0.02, "{seen} V against {left} V");
}

#[test]
fn only_a_sinking_supply_pulls_a_part_down() {
    for (sink, left) in [(0.0, 20.0), (0.5, 1.0)] {
        let mut options = ideal();
        options.supply.sink = amperes(sink);
        let mut bench = ByHand::new(options).with(&capacitor(10e-6, 25.0)).on("1");
        bench.supply("VOLT 20");
        bench.after(1.0);
        bench.supply("VOLT 1");
        near(bench.after(1.0).part_voltage.value, left, 0.01);
    }
}

#[test]
fn a_drifting_supply_is_off_by_its_drift_after_an_hour() {
    let mut options = ideal();
    options.supply.drift_per_hour = 0.01;
    let mut bench = ByHand::new(options).on("1");
    bench.supply("VOLT 10");
    near(bench.after(3600.0).terminal_voltage.value, 10.1, 1e-4);
}

#[test]
fn the_same_seed_gives_the_same_readings_and_another_gives_others() {
    let readings = |seed| {
        let mut bench = ByHand::new(BenchOptions { seed, ..BenchOptions::default() });
        bench.meter("CONF:CURR 1e-5");
        (0..8).map(|_| bench.read().to_bits()).collect::<Vec<_>>()
    };
    assert_eq!(readings(1), readings(1));
    assert_ne!(readings(1), readings(2));
}

#[test]
fn a_read_back_scatters_by_its_noise() {
    let mut bench = ByHand::new(BenchOptions::default());
    let squares: f64 =
        (0..2000).map(|_| bench.supply("MEAS:VOLT?").parse::<f64>().unwrap().powi(2)).sum();
    // 2 mV of noise, and 1 mV steps that add a twelfth of their square.
    near((squares / 2000.0).sqrt(), (4e-6_f64 + 1e-6 / 12.0).sqrt(), 0.06);
}

proptest! {
    /// Whatever is done, the charge that went in is the charge that is there.
    #[test]
    fn charge_into_an_ideal_part_is_capacitance_times_voltage(
        steps in prop::collection::vec((0_u32..25, 1_u32..100, 0.001_f64..2.0), 1..12),
        microfarad in 0.1_f64..5000.0,
    ) {
        let mut options = ideal();
        options.bleeder = Some(ohms(10e3));
        options.supply.output_capacitance = farads(100e-6);
        let farad = microfarad * 1e-6;
        let mut bench = ByHand::new(options).with(&capacitor(farad, 25.0)).on("1");
        for (volts, milliamperes, seconds) in steps {
            let limit = f64::from(milliamperes) * 1e-3;
            bench.supply(&format!("CURR {limit};:VOLT {volts};:OUTP {}", volts % 5));
            bench.after(seconds);
        }
        let held = farad * bench.0.state.part.u;
        prop_assert!((bench.0.state.through_part - held).abs() <= 1e-6 * farad * 25.0);
    }
}

#[test]
fn an_overshoot_comes_at_output_on_and_goes() {
    let mut options = ideal();
    options.supply.overshoot = 0.5;
    let mut bench = ByHand::new(options);
    bench.supply("CURR 1;:VOLT 2;:OUTP ON");
    near(bench.after(0.001).terminal_voltage.value, 3.0, 0.02);
    near(bench.after(1.0).terminal_voltage.value, 2.0, 1e-3);
}
