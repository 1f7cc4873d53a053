//! A measured value with its uncertainty: `0.84 ± 0.06 µA`.

use uom::si::capacitance::farad;
use uom::si::electric_current::ampere;

use super::ladder::{CAPACITANCE, CURRENT, Digits, Ladder, exponent_of};
use crate::quantity::{Capacitance, Current};

/// A current and its expanded uncertainty, both to the same place and under the same prefix.
///
/// The uncertainty keeps one significant digit, or two if the first of them is 1 or 2: rounding 0.14
/// to 0.1 would hide a third of it. The prefix is the least that needs no zeros for places that are
/// not known: 840 nA known to 60 nA is `0.84 ± 0.06 µA`.
#[must_use]
pub fn with_uncertainty(value: Current, expanded: Current) -> String {
    both(&CURRENT, value.get::<ampere>(), expanded.get::<ampere>())
}

/// A capacitance and its expanded uncertainty in the same way: `21.0 ± 0.6 µF`.
#[must_use]
pub fn capacitance_with_uncertainty(value: Capacitance, expanded: Capacitance) -> String {
    both(&CAPACITANCE, value.get::<farad>(), expanded.get::<farad>())
}

fn both(ladder: &Ladder, value: f64, expanded: f64) -> String {
    let expanded = expanded.abs();
    if !(value.is_finite() && expanded.is_normal()) {
        return without_place(ladder, value, expanded);
    }
    let place = last_place(expanded);
    let exponent = exponent_of(&format!("{:e}", value.abs().max(expanded)));
    let step = ladder.step_for_place(exponent, place);
    let decimals = usize::try_from(step.power - place).unwrap_or(0);
    let scale = 10_f64.powi(-step.power);
    let written = |number: f64| {
        let known = if step.power < place { rounded(number, place) } else { number };
        format!("{:.decimals$}", known * scale)
    };
    format!("{} ± {} {}", unsigned_zero(written(value)), written(expanded), step.unit)
}

/// Rounded to ten to the `place`.
fn rounded(number: f64, place: i32) -> f64 {
    let unit = 10_f64.powi(place);
    (number / unit).round() * unit
}

/// The power of ten of the last digit that an uncertainty keeps.
fn last_place(expanded: f64) -> i32 {
    let two_digits = format!("{expanded:.1e}");
    let first = exponent_of(&two_digits);
    if two_digits.starts_with(['1', '2']) { first - 1 } else { first }
}

/// A value whose uncertainty gives no place to round to.
fn without_place(ladder: &Ladder, value: f64, expanded: f64) -> String {
    let value = ladder.write(value, Digits::Four);
    let expanded = if expanded == 0.0 { "0" } else { "unknown" };
    format!("{value} ± {expanded}")
}

/// `-0.00` is nothing but zero.
fn unsigned_zero(written: String) -> String {
    match written.strip_prefix('-') {
        Some(zero) if zero.chars().all(|letter| ['0', '.'].contains(&letter)) => zero.to_owned(),
        _ => written,
    }
}
