//! The curve against closed forms: currents that are known in their parts.

use rstest::rstest;

use super::*;
use crate::quantity::seconds;

const FLOOR: f64 = 1e-12;

/// A fit to `current` read ten times a second until `until`, on a clock that starts with the step.
fn fitted(until: f64, current: impl Fn(f64) -> f64) -> Curve {
    let mut curve = Curve::new((0.7, 1.1), seconds(0.0), seconds(0.5), seconds(300.0));
    let mut t = 1.0;
    while t < until {
        curve.add(seconds(t), amperes(current(t)), amperes(FLOOR));
        t += 0.1;
    }
    curve
}

#[track_caller]
fn near(found: f64, expected: f64, share: f64) {
    assert!((found / expected - 1.0).abs() <= share, "{found:e} against {expected:e}");
}

#[test]
fn leakage_and_absorption_are_told_apart() {
    // i = 50 nA + 2 µA·t^(−0.9): at 300 s absorption is 2 µA·300^(−0.9) = 11.79 nA.
    let fit = fitted(300.0, |t| 50e-9 + 2e-6 * t.powf(-0.9)).fit(seconds(300.0)).unwrap();
    assert!(fit.separable);
    near(fit.leakage.value, 50e-9, 0.02);
    near(fit.absorbing.value, 11.79e-9, 0.05);
    near(fit.exponent, 0.9, 0.03);
}

#[test]
fn the_three_point_form_gives_the_same_leakage() {
    // Handbook §2.7: x = (i2 − i3)/(i1 − i2), I_L = i3 − (i2 − i3)·x/(1 − x) for t, 2t, 4t.
    let current = |t: f64| 20e-9 + 0.7e-6 * t.powf(-0.8);
    let [i1, i2, i3] = [70.0, 140.0, 280.0].map(current);
    let x = (i2 - i3) / (i1 - i2);
    let by_hand = i3 - (i2 - i3) * x / (1.0 - x);
    near(by_hand, 20e-9, 1e-9);
    let fit = fitted(300.0, current).fit(seconds(300.0)).unwrap();
    near(fit.leakage.value, by_hand, 0.05);
}

#[test]
fn what_still_charges_is_no_absorption() {
    // 1 mA·exp(−t/0.5 s) on 10 nA: of the charging 0.14 mA is left at 1 s, nothing at 300 s.
    let current = |t: f64| 10e-9 + 1e-3 * (-t / 0.5).exp();
    let curve = fitted(300.0, current);
    let (early, late) = (curve.fit(seconds(1.0)).unwrap(), curve.fit(seconds(300.0)).unwrap());
    assert!(50e-6 < early.charging.value, "{early:?}");
    near(late.leakage.value, 10e-9, 0.02);
    assert!(late.absorbing.value < 0.5e-9 && late.charging.value < 1e-15, "{late:?}");
}

#[rstest]
#[case::tantalum(1.1)]
#[case::aluminium(0.7)]
fn the_reading_to_come_is_foreseen_from_a_tenth_of_the_time(#[case] exponent: f64) {
    let current = |t: f64| 30e-9 + 1e-6 * t.powf(-exponent);
    let forecast = fitted(30.0, current).forecast(seconds(300.0)).unwrap();
    let (seen, doubt) = (forecast.current.value, forecast.uncertainty.value);
    assert!((seen - current(300.0)).abs() <= doubt, "{seen:e} ± {doubt:e}");
    assert!(doubt < current(30.0) - current(300.0), "{doubt:e}");
}

#[test]
fn a_steady_current_is_forecast_as_it_is() {
    let forecast = fitted(60.0, |_| 1e-6).forecast(seconds(300.0)).unwrap();
    near(forecast.current.value, 1e-6, 0.01);
    assert!(forecast.uncertainty.value < 0.1e-6, "{forecast:?}");
}

#[test]
fn a_steady_current_cannot_be_separated() {
    assert!(!fitted(300.0, |_| 1e-6).fit(seconds(300.0)).unwrap().separable);
}

#[test]
fn bursts_and_missing_readings_do_not_move_the_fit() {
    // Every 37th reading a burst of a thousand times the leakage, and none at all for 20 s.
    let calm = |t: f64| 50e-9 + 2e-6 * t.powf(-0.9);
    let mut curve = Curve::new((0.7, 1.1), seconds(0.0), seconds(0.5), seconds(300.0));
    for index in 10_u32..3000 {
        let t = f64::from(index) * 0.1;
        let burst = if index % 37 == 0 { 50e-6 } else { 0.0 };
        if !(100.0..120.0).contains(&t) {
            curve.add(seconds(t), amperes(calm(t) + burst), amperes(FLOOR));
        }
    }
    near(curve.fit(seconds(300.0)).unwrap().leakage.value, 50e-9, 0.05);
}

#[test]
fn hum_in_the_readings_averages_out() {
    // A beat of 0.3 Hz and a fifth of the current.
    let hum = |t: f64| 10e-9 * (2.0 * std::f64::consts::PI * 0.3 * t).sin();
    let fit = fitted(300.0, |t| 50e-9 + 2e-6 * t.powf(-0.9) + hum(t)).fit(seconds(300.0)).unwrap();
    near(fit.leakage.value, 50e-9, 0.2);
}

#[test]
fn nothing_is_said_from_too_few_readings() {
    let curve = fitted(2.0, |_| 1e-6);
    assert_eq!((curve.fit(seconds(300.0)), curve.forecast(seconds(300.0))), (None, None));
}

#[test]
fn three_days_are_fitted_in_the_memory_of_three_minutes() {
    // A reading a second for 72 h; nothing of a curve is on the heap, so its size is all there is.
    let current = |t: f64| 1e-6 + 100e-6 * t.powf(-0.75);
    let mut curve = Curve::new((0.7, 1.1), seconds(0.0), seconds(0.5), seconds(259_200.0));
    for second in 1_u32..259_200 {
        curve.add(seconds(f64::from(second)), amperes(current(second.into())), amperes(FLOOR));
    }
    near(curve.fit(seconds(259_200.0)).unwrap().leakage.value, 1e-6, 0.02);
    assert!(std::mem::size_of::<Curve>() < 8192);
}
