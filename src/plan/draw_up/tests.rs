//! Plans against the handbook's numbers, and every refusal.

use arrayvec::ArrayVec;
use rstest::rstest;

use super::*;
use crate::part::{Limit, Part};
use crate::plan::{
    Accuracy, Conversion, MeterFacts, MeterRange, SupplyFacts, TakenZero, draw_up_zero,
};
use crate::quantity::{celsius, joules, ohms};

fn bench() -> Bench {
    let decade = |full_scale: f64| MeterRange {
        full_scale: amperes(full_scale),
        resolution: amperes(full_scale * 1e-5),
        accuracy: Accuracy { fraction: 5e-4, fixed: amperes(full_scale * 1e-4) },
        burden: ohms(10.0),
    };
    Bench {
        supply: SupplyFacts {
            most_voltage: volts(60.0),
            most_current: amperes(1.0),
            voltage_step: volts(0.01),
            current_step: amperes(1e-4),
            read_back: Accuracy { fraction: 5e-4, fixed: volts(0.01) },
            senses: Sensing::AtTerminals,
        },
        meter: MeterFacts {
            ranges: [1e-5, 1e-4, 1e-3, 1e-2, 1e-1]
                .map(decade)
                .into_iter()
                .collect::<ArrayVec<_, 12>>(),
            interval: seconds(0.1),
            settling_readings: 2,
            conversion: Conversion::default(),
        },
        series: ohms(1000.0),
        bypass: false,
        bleeder: Bleeder::Fitted(ohms(10_000.0)),
        ceiling: volts(60.0),
        energy_bound: joules(10.0),
        safe_voltage: volts(5.0),
        zero: None,
        room: Some(Room::told(celsius(25.0), 1.0).unwrap()),
        lapse: 1.0,
    }
}

fn wish(words: &str) -> Wish {
    let part = Part::read(words).unwrap();
    let limit = part.default_limit().unwrap();
    Wish::of(part, limit)
}

fn drawn(words: &str) -> Drawn {
    draw_up(&wish(words), &bench()).unwrap()
}

#[track_caller]
fn refused(wish: &Wish, bench: &Bench) -> String {
    let refusals = draw_up(wish, bench).unwrap_err();
    refusals.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
}

#[test]
fn a_tantalum_is_judged_at_its_rating_after_five_minutes() {
    // Handbook §1.3: 22 µF 25 V has C·U = 550 µC and a limit of 5.5 µA at 5 min.
    let plan = drawn("22µF 25V tantalum").plan;
    assert!((plan.target.limit.value - 5.5e-6).abs() < 1e-12);
    assert_eq!((plan.test_voltage, plan.target.reading_time), (volts(25.0), seconds(300.0)));
    assert_eq!(plan.meter.range(plan.meter.soak).full_scale, amperes(1e-4));
}

#[test]
fn protections_stand_just_above_the_test_voltage() {
    // Handbook §4.2: 1.05 · U + 0.5 V.
    let plan = drawn("22µF 25V tantalum").plan;
    assert!((plan.supply.over_voltage.value - 26.75).abs() < 1e-9);
    assert!(plan.supply.current_limit < plan.supply.over_current);
}

#[test]
fn the_current_limit_leaves_room_for_the_bleeder() {
    // 10 kΩ takes 5 mA at 50 V from the supply's own limit.
    let plan = drawn("100µF 50V aluminium").plan;
    assert!(plan.supply.current_limit > amperes(6e-3), "{:?}", plan.supply.current_limit);
}

#[test]
fn a_large_can_is_charged_within_its_charging_current() {
    let mut wish = wish("10000uF 40V aluminium");
    wish.acknowledged = true;
    let plan = draw_up(&wish, &bench()).unwrap().plan;
    // Handbook §7: at most 50 mA into a small can; 0.4 C·1.6 take 12.8 s at least.
    assert!(plan.ramp.rise.value > 12.79, "{:?}", plan.ramp.rise);
}

#[test]
fn film_is_measured_at_the_voltage_of_the_table() {
    // Handbook §1.4: 10 V for ratings from 10 V up to 100 V; §7: 100 GΩ up to 0.33 µF.
    let drawn = drawn("100nF 63V polypropylene");
    assert_eq!(drawn.plan.test_voltage, volts(10.0));
    assert!((drawn.plan.target.limit.value - 1e-10).abs() < 1e-15);
    assert!(drawn.warnings.iter().any(|warning| warning.starts_with("meter-too-coarse")));
}

#[test]
fn a_small_part_is_charged_on_a_range_that_sees_its_charge() {
    let drawn = drawn("100nF 63V polypropylene");
    assert_eq!(drawn.plan.meter.surge, RangeIndex(1));
    assert_eq!(drawn_surge("22µF 25V tantalum"), amperes(1e-2));
}

fn drawn_surge(words: &str) -> Current {
    let plan = drawn(words).plan;
    plan.meter.range(plan.meter.surge).full_scale
}

#[test]
fn the_probe_is_the_handbooks() {
    // Handbook §3.13: min(0.05 U, 1 V) for tantalum, held for max(5 τ, 10 s).
    let probe = drawn("22µF 25V tantalum").plan.probe;
    assert_eq!((probe.voltage, probe.hold), (volts(1.0), seconds(10.0)));
    // Ten times 0.02 s⁻¹ · 22 µF · 1 V is 4.4 µA, and the meter's noise on top.
    assert!((4.4e-6..20e-6).contains(&probe.conducts.value), "{:?}", probe.conducts);
}

#[test]
fn cut_outs_are_the_handbooks() {
    let plan = drawn("22µF 25V tantalum").plan;
    // Handbook §4.2: a gap above 2 s; min(0.5 · I_lim, 100 · L); 50 mW for dipped tantalum.
    assert_eq!(plan.cut_out.stale, seconds(2.0));
    assert!((plan.cut_out.soak.value - 550e-6).abs() < 1e-9, "{:?}", plan.cut_out.soak);
    assert!((plan.cut_out.power.value - 50e-3).abs() < 1e-9, "{:?}", plan.cut_out.power);
    // What the supply's own limit lets through, with room for its error, and no more.
    let surge = (plan.cut_out.surge / plan.supply.current_limit).value;
    assert!((1.0..1.5).contains(&surge), "{surge}");
}

#[test]
fn a_discharge_is_proven_as_the_handbook_asks() {
    // Handbook §4.1 and §4.4: below 5 V, 30 s open, five rounds.
    let plan = drawn("22µF 25V tantalum").plan.discharge;
    assert_eq!((plan.safe_voltage, plan.rebound, plan.attempts), (volts(5.0), seconds(30.0), 5));
}

#[test]
fn the_meter_covers_the_bleeding_current() {
    let mut bench = bench();
    bench.bleeder = Bleeder::Relay(ohms(200.0));
    let plan = draw_up(&wish("22µF 25V tantalum"), &bench).unwrap().plan;
    // 25 V through 1.2 kΩ is 20.8 mA.
    assert_eq!(plan.meter.range(plan.meter.bleed).full_scale, amperes(0.1));
}

#[test]
fn the_surge_is_waited_out_for_seven_constants_at_least() {
    // Handbook §3.2: 7 τ; 1.6 · 2200 µF through 1.01 kΩ is 3.56 s.
    let plan = drawn("2200uF 25V aluminium").plan;
    assert!(plan.ramp.charge.value >= 7.0 * 3.55, "{:?}", plan.ramp.charge);
}

#[test]
fn the_doubt_of_the_voltage_is_that_of_the_read_back() {
    // 0.05 % of 25 V and 10 mV, rectangular: 22.5 mV / √3 (handbook §3.5).
    let doubt = drawn("22µF 25V tantalum").plan.supply.voltage_uncertainty;
    assert!((doubt.value - 0.0225 / 3_f64.sqrt()).abs() < 1e-9, "{doubt:?}");
}

#[test]
fn energy_alone_needs_to_be_acknowledged() {
    let mut bench = bench();
    bench.energy_bound = joules(100.0);
    // 10 mF hold 18 J at 60 V, which may be touched; 10 J is the bound (handbook §4.4).
    let mut wish = Wish { test_voltage: Some(volts(60.0)), ..wish("10000µF 63V al-wet") };
    bench.supply.most_voltage = volts(70.0);
    assert!(refused(&wish, &bench).contains("need to be acknowledged"));
    wish.acknowledged = true;
    assert!(draw_up(&wish, &bench).is_ok());
}

#[rstest]
#[case::zero(0.0)]
#[case::negative(-5.0)]
fn a_test_voltage_that_is_none_is_refused(#[case] volt: f64) {
    let wish = Wish { test_voltage: Some(volts(volt)), ..wish("22µF 25V tantalum") };
    assert!(refused(&wish, &bench()).contains("expected more than 0 V"));
}

#[rstest]
#[case::too_little(4e-3, 1e-4)]
#[case::too_coarse_a_step(10.0, 1.0)]
fn a_supply_that_cannot_give_the_limit_is_refused(#[case] most: f64, #[case] step: f64) {
    let mut bench = bench();
    bench.supply.most_current = amperes(most);
    bench.supply.current_step = amperes(step);
    let message = refused(&wish("22µF 25V tantalum"), &bench);
    assert!(message.contains("current limit"), "{message}");
}

#[test]
fn cautions_name_polarity_and_fire_first_hand() {
    let cautions = drawn("22µF 25V tantalum").cautions;
    assert!(cautions.iter().any(|caution| caution.to_string().contains("PLUS")));
    assert!(cautions.iter().any(|caution| caution.to_string().contains("burn")));
    let cautions = drawn("100µF 25V aluminium").cautions;
    assert!(cautions.iter().any(|caution| caution.to_string().contains("MINUS")));
}

#[rstest]
#[case::above_the_ceiling(
    "10µF 100V al-wet",
    "test voltage is 100 V, this station's ceiling is 60 V"
)]
#[case::above_the_supply("10µF 100V al-wet", "test voltage is 100 V, the supply ends at 60 V")]
#[case::too_much_energy("10000µF 63V al-wet", "the full part holds 19.8")]
fn a_part_that_this_bench_must_not_take_is_refused(#[case] words: &str, #[case] message: &str) {
    let message_found = refused(&wish(words), &bench());
    assert!(message_found.contains(message), "{message_found}");
}

#[test]
fn a_test_above_the_rating_is_refused() {
    let wish = Wish { test_voltage: Some(volts(30.0)), ..wish("22µF 25V tantalum") };
    assert_eq!(refused(&wish, &bench()), "test voltage is 30 V, the part is rated 25 V");
}

#[test]
fn a_raised_ceiling_still_needs_to_be_acknowledged() {
    let mut bench = bench();
    bench.ceiling = volts(450.0);
    bench.supply.most_voltage = volts(500.0);
    let mut wish = wish("1µF 400V al-wet");
    assert!(refused(&wish, &bench).contains("need to be acknowledged"));
    wish.acknowledged = true;
    let drawn = draw_up(&wish, &bench).unwrap();
    assert!(drawn.cautions[0].to_string().starts_with("DANGEROUS VOLTAGE"));
}

#[test]
fn a_lower_test_voltage_is_said_to_be_no_test_to_the_sheet() {
    let wish = Wish { test_voltage: Some(volts(12.0)), ..wish("22µF 25V tantalum") };
    let drawn = draw_up(&wish, &bench()).unwrap();
    assert!(drawn.warnings.iter().any(|warning| warning.contains("not a test to the data sheet")));
}

#[test]
fn a_supply_that_can_neither_see_nor_bleed_is_refused() {
    let mut bench = bench();
    bench.supply.senses = Sensing::BeforeRelay;
    bench.bleeder = Bleeder::SupplySinks;
    assert!(refused(&wish("22µF 25V tantalum"), &bench).contains("nothing would show"));
}

#[test]
fn a_soak_too_short_for_a_reading_is_refused() {
    let wish = Wish { soak: Some(seconds(5.0)), ..wish("22µF 25V tantalum") };
    assert!(refused(&wish, &bench()).contains("too short"));
}

#[test]
fn all_refusals_come_at_once() {
    let refusals = draw_up(&wish("10000µF 100V al-wet"), &bench()).unwrap_err();
    assert!(refusals.len() >= 3, "{refusals:?}");
    assert!(refusals.iter().all(|refusal| !refusal.help().is_empty()));
}

// Handbook §2.1 gives the usual size at the reading time; the most is above it, not by far.
#[rstest]
#[case::polypropylene("1µF 100V film-pp", 0.33e-9)]
#[case::polyester("1µF 100V film-pet", 1e-9)]
#[case::class_two_ceramic("1µF 50V cer-2", 3.3e-9)]
#[case::tantalum("10µF 16V ta-mno2", 3.5e-9)]
#[case::aluminium("1000µF 16V al-wet", 4e-6)]
#[case::low_leakage_aluminium("10µF 25V al-wet-ll", 0.13e-6)]
fn the_greatest_absorption_covers_what_the_handbook_calls_usual(
    #[case] words: &str,
    #[case] usual: f64,
) {
    let mut bench = bench();
    bench.ceiling = volts(450.0);
    bench.supply.most_voltage = volts(500.0);
    let wish = Wish { acknowledged: true, ..wish(words) };
    let plan = draw_up(&wish, &bench).unwrap().plan;
    let most = plan.greatest_absorption(plan.target.reading_time).value;
    assert!((usual..10.0 * usual).contains(&most), "{most}, usually {usual}");
    assert!(plan.greatest_absorption(seconds(1e6)).value < most);
}

#[test]
fn the_wishs_room_goes_before_the_stations_and_that_before_the_assumed_one() {
    let room = |wish: &Wish, bench: &Bench| draw_up(wish, bench).unwrap().plan.warmth.room;
    let (mut bench, asked) = (bench(), Room::told(celsius(19.0), 0.5).unwrap());
    let wish = wish("22µF 25V tantalum");
    assert_eq!(room(&Wish { room: Some(asked), ..wish.clone() }, &bench), asked);
    assert_eq!(Some(room(&wish, &bench)), bench.room);
    bench.room = None;
    assert_eq!(room(&wish, &bench), Room::ASSUMED);
    let warnings = draw_up(&wish, &bench).unwrap().warnings;
    assert!(warnings.iter().any(|told| told.contains("23 °C ± 3 K (assumed)")), "{warnings:?}");
}

#[rstest]
#[case::its_own("2uA @ 5min 40C", 40.0)]
#[case::that_of_the_family("2uA @ 5min", 25.0)]
fn a_limit_holds_at_its_own_temperature_or_at_that_of_its_family(
    #[case] limit: &str,
    #[case] reference: f64,
) {
    let wish = Wish { limit: Limit::read(limit).unwrap(), ..wish("22µF 25V tantalum") };
    let drawn = draw_up(&wish, &bench()).unwrap();
    assert_eq!(drawn.plan.warmth.reference, celsius(reference));
    let told = drawn.warnings.join("; ");
    assert_eq!(told.contains("temperature-off"), reference > 35.0, "{told}");
    assert_eq!(told.contains("the limit has no temperature"), reference < 26.0, "{told}");
}

// Handbook §3.9: film 0.8–1.25, wet aluminium 0.7–1.6. Over ±20 % that is 1–1.0417 and
// 0.875–1.3333, times what the printed tolerance leaves.
#[rstest]
#[case::film_of_five_per_cent("1µF 63V film-pp 5%", (0.95, 1.09375))]
#[case::film_without_a_tolerance("1µF 63V film-pp", (0.8, 1.25))]
#[case::aluminium_of_twenty_per_cent("100µF 25V al-wet 20%", (0.7, 1.6))]
#[case::aluminium_that_may_be_larger("100µF 25V al-wet -10+50%", (0.7875, 2.0))]
fn the_printed_tolerance_bounds_the_capacitance(#[case] words: &str, #[case] gate: (f64, f64)) {
    let drawn = draw_up(&wish(words), &bench()).unwrap();
    let found = drawn.plan.part.capacitance_gate;
    assert!((found.0 - gate.0).abs() < 1e-3 && (found.1 - gate.1).abs() < 1e-3, "{found:?}");
}

// 10 000 µF · 25 V · 0.02 1/s is 5 mA (handbook §4.5); squared times 20 kΩ that is 0.5 W.
#[rstest]
#[case::through_a_kilohm(1e3, None)]
#[case::through_twenty(20e3, Some("has to bear 500 mW"))]
fn a_resistor_that_gets_hot_while_a_part_is_re_formed_is_named(
    #[case] series: f64,
    #[case] expected: Option<&str>,
) {
    let wish = Wish { aim: Aim::Reform, ..wish("10000µF 25V al-snapin") };
    let bench = Bench { series: ohms(series), ..bench() };
    let warnings = draw_up(&wish, &bench).unwrap().warnings.join("\n");
    let named = warnings.contains(expected.unwrap_or("series resistor has to bear"));
    assert_eq!(named, expected.is_some(), "{warnings}");
}

fn bench_with_zero(ampere: f64, volt: f64, hours: f64) -> Bench {
    let zero = Zero { current: amperes(ampere), uncertainty: amperes(1e-10) };
    let taken = TakenZero { zero, voltage: volts(volt), age: seconds(hours * 3600.0) };
    Bench { zero: Some(taken), ..bench() }
}

#[test]
fn a_zero_is_taken_off_at_its_own_voltage() {
    let drawn = draw_up(&wish("22µF 25V tantalum"), &bench_with_zero(2e-9, 25.0, 1.0)).unwrap();
    assert_eq!(drawn.plan.zero, Zero { current: amperes(2e-9), uncertainty: amperes(1e-10) });
}

// The limit is 5.5 µA; a fifth of it is 1.1 µA (handbook §3.7).
#[rstest]
#[case::just_below_a_fifth(1.09e-6, false)]
#[case::just_above_a_fifth(1.11e-6, true)]
#[case::the_wrong_way_round(-1.11e-6, true)]
fn a_fixture_that_leaks_as_a_part_may_is_refused(#[case] ampere: f64, #[case] no: bool) {
    let bench = bench_with_zero(ampere, 25.0, 1.0);
    let drawn = draw_up(&wish("22µF 25V tantalum"), &bench);
    assert_eq!(drawn.is_err(), no, "{drawn:?}");
}

// 1 µF of polypropylene may leak a nanoampere or so; poor leads let 50 nA through at 50 V.
#[rstest]
#[case::never_taken(bench(), "nobody measured what the open fixture leaks")]
#[case::taken_too_low(bench_with_zero(1e-12, 5.0, 1.0), "taken at 5 V and tells nothing at 10 V")]
#[case::of_yesterday(bench_with_zero(1e-12, 60.0, 25.0), "zero is 25 h old")]
fn a_zero_that_is_wanting_is_told(#[case] bench: Bench, #[case] expected: &str) {
    let warnings = draw_up(&wish("1µF 50V film-pp"), &bench).unwrap().warnings.join("\n");
    assert!(warnings.contains(expected), "{warnings}");
}

#[test]
fn a_fresh_zero_and_a_generous_limit_leave_nothing_to_tell() {
    for bench in [bench_with_zero(1e-12, 60.0, 1.0), bench()] {
        let warnings = draw_up(&wish("3300µF 25V aluminium"), &bench).unwrap().warnings.join("\n");
        assert!(!warnings.contains("fixture"), "{warnings}");
    }
}

// A fixture is planned on the finest range, to the voltage that was asked for, with the bounds of a
// part: none above the ceiling, none above 60 V without a word for it.
#[test]
fn a_zero_is_planned_within_the_bounds_of_the_bench() {
    let drawn = draw_up_zero(&bench(), volts(50.0), seconds(60.0), false).unwrap();
    assert_eq!((drawn.plan.purpose, drawn.plan.meter.soak), (Purpose::Zero, RangeIndex(0)));
    assert_eq!((drawn.plan.test_voltage, drawn.plan.target.soak), (volts(50.0), seconds(60.0)));
    assert!(draw_up_zero(&bench(), volts(61.0), seconds(60.0), true).is_err());
    assert!(draw_up_zero(&bench(), volts(0.0), seconds(60.0), true).is_err());
    assert!(draw_up_zero(&bench(), volts(50.0), seconds(5.0), true).is_err());
    let mut high = Bench { ceiling: volts(200.0), ..bench() };
    high.supply.most_voltage = volts(200.0);
    assert!(draw_up_zero(&high, volts(100.0), seconds(60.0), false).is_err());
    assert!(draw_up_zero(&high, volts(100.0), seconds(60.0), true).is_ok());
}

#[rstest]
// A twentieth of two minutes is 6 s: 2.2 mF behind 1.01 kΩ take 2.2 s, 10 mF 10.1 s.
#[case::a_part_that_charges_soon("2200uF 25V aluminium", Aim::Soak, false)]
#[case::a_large_part("10mF 25V aluminium", Aim::Soak, true)]
#[case::a_large_part_to_be_formed("10mF 25V aluminium", Aim::Reform, false)]
fn the_series_resistor_is_bridged_where_it_would_hold_the_charging_up(
    #[case] part: &str,
    #[case] aim: Aim,
    #[case] bypassed: bool,
) {
    for fitted in [false, true] {
        let bench = Bench { bypass: fitted, ..bench() };
        let drawn = draw_up(&Wish { aim, ..wish(part) }, &bench).unwrap();
        assert_eq!(drawn.plan.bypassed, bypassed && fitted);
        let bound = drawn.warnings.iter().any(|said| said.contains("limit alone bounds"));
        assert_eq!(bound, bypassed && fitted, "{:?}", drawn.warnings);
        let held_up = drawn.warnings.iter().any(|said| said.contains("bridge it by relay"));
        assert_eq!(held_up, part.starts_with("10mF") && !drawn.plan.bypassed);
    }
}
