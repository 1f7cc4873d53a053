//! The right margin: limit and reading, each named and in figures beside where it lies.

use uom::si::electric_current::ampere;

use super::Curve;
use super::label::{engineering, with_uncertainty};
use super::panel::{SIDES, Sheet};
use super::scale::floor_log;
use super::scene::{Ink, PAGE_WIDTH, Scene, Type, ink};
use super::spread::spread;
use super::tally::Fate;

/// Height of a label of two lines.
const HEIGHT: f64 = 38.0;

/// Left edge of the labels.
const LEFT: f64 = SIDES.1 + 24.0;

/// The reading in figures.
pub(super) fn reading_text(curve: &Curve) -> Option<String> {
    let reading = curve.reading?;
    let limit = curve.limit.map_or(0.0, |limit| limit.current.get::<ampere>());
    let (value, half) = (reading.current.get::<ampere>(), reading.uncertainty.get::<ampere>());
    Some(with_uncertainty(value, half, limit, "A"))
}

/// The limit in figures.
pub(super) fn limit_text(curve: &Curve) -> Option<String> {
    curve.limit.map(|limit| engineering(limit.current.get::<ampere>(), "A"))
}

/// Sets the labels beside the current panel and leads each to its height.
pub(super) fn draw(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let limit = curve.limit.map(|limit| sheet.y(limit.current.get::<ampere>()));
    let reading = curve.reading.map(|reading| sheet.y(reading.current.get::<ampere>()));
    let limit = limit.zip(limit_text(curve)).map(|(y, text)| (y, "limit", text, ink::LIMIT));
    let reading = reading.zip(reading_text(curve)).map(|(y, text)| (y, "reading", text, ink::TEXT));
    let parts = parts(curve, sheet);
    let mut labels: Vec<(f64, &str, String, Ink)> =
        limit.into_iter().chain(reading).chain(parts).collect();
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let wishes: Vec<_> = labels.iter().map(|label| (label.0, HEIGHT)).collect();
    let tops = spread(&wishes, 8.0, sheet.upper.0, sheet.upper.1).unwrap_or_default();
    for ((y, name, text, ink), top) in labels.into_iter().zip(tops) {
        let middle = top + HEIGHT / 2.0;
        scene.stroke(&[(SIDES.1, y), (SIDES.1 + 18.0, middle)], 1.4, ink);
        scene.text(name, (LEFT, top + 14.0), Type::plain(14.0, ink));
        let look = figures(&text, ink);
        scene.text(text, (LEFT, top + 33.0), look);
    }
}

/// The fitted parts of the current at the reading, where they can be told apart.
fn parts(curve: &Curve, sheet: &Sheet) -> Vec<(f64, &'static str, String, Ink)> {
    let Some(parts) = curve.parts.as_ref().filter(|parts| parts.separable) else {
        return Vec::new();
    };
    let Some(last) = parts.at.last() else { return Vec::new() };
    let named = [("leakage, fitted", last.leakage), ("absorption, fitted", last.absorption)];
    let shown = |amperes: f64| matches!(Fate::at(amperes, sheet.current.range), Fate::Value(_));
    named
        .into_iter()
        .map(|(name, current)| (name, current.get::<ampere>()))
        .filter(|(_, amperes)| shown(*amperes))
        .map(|(name, amperes)| (sheet.y(amperes), name, two_digits(amperes), ink::PARTS))
        .collect()
}

/// A fitted current to two digits, which is more than a fit can promise.
fn two_digits(amperes: f64) -> String {
    let place = 10_f64.powi(floor_log(amperes.abs().max(f64::MIN_POSITIVE)) - 1);
    engineering((amperes / place).round() * place, "A")
}

/// How figures are set: smaller if many digits would run off the page.
fn figures(text: &str, ink: Ink) -> Type {
    let usual = Type::plain(16.0, ink).bold();
    let room = PAGE_WIDTH - LEFT - 8.0;
    Type { size: usual.size * (room / usual.width(text)).min(1.0), ..usual }
}

#[cfg(test)]
mod tests {
    use super::super::{Reading, example};
    use super::*;
    use crate::quantity::amperes;

    fn read(current: f64, uncertainty: f64) -> Curve {
        let example = example::healthy();
        let (current, uncertainty) = (amperes(current), amperes(uncertainty));
        let reading = example.reading.map(|shape| Reading { current, uncertainty, ..shape });
        Curve { reading, ..example }
    }

    #[test]
    fn reading_and_limit_are_printed_in_one_unit() {
        let curve = read(0.0842e-6, 0.0061e-6);
        assert_eq!(reading_text(&curve).unwrap(), "0.084 ± 0.006 µA");
        assert_eq!(limit_text(&curve).unwrap(), "5.5 µA");
    }

    #[test]
    fn a_reading_of_many_digits_is_set_smaller_to_stay_on_the_page() {
        let curve = Curve { limit: None, ..read(8.422_42e-3, 3.6e-6) };
        let text = reading_text(&curve).unwrap();
        let look = figures(&text, ink::TEXT);
        assert!(look.size < 16.0 && LEFT + look.width(&text) < PAGE_WIDTH, "{text}");
        assert!((figures("5.5 µA", ink::TEXT).size - 16.0).abs() < 1e-9);
    }
}
