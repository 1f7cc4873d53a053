//! The right margin: limit and reading, each named and in figures beside where it lies.

use uom::si::electric_current::ampere;

use super::Curve;
use super::label::{engineering, with_uncertainty};
use super::panel::{SIDES, Sheet};
use super::scene::{Ink, Scene, Type, ink};
use super::spread::spread;

/// Height of a label of two lines.
const HEIGHT: f64 = 38.0;

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
    let mut labels: Vec<(f64, &str, String, Ink)> = limit.into_iter().chain(reading).collect();
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let wishes: Vec<_> = labels.iter().map(|label| (label.0, HEIGHT)).collect();
    let tops = spread(&wishes, 8.0, sheet.upper.0, sheet.upper.1).unwrap_or_default();
    for ((y, name, text, ink), top) in labels.into_iter().zip(tops) {
        let middle = top + HEIGHT / 2.0;
        scene.stroke(&[(SIDES.1, y), (SIDES.1 + 18.0, middle)], 1.4, ink);
        scene.text(name, (SIDES.1 + 24.0, top + 14.0), Type::plain(14.0, ink));
        scene.text(text, (SIDES.1 + 24.0, top + 33.0), Type::plain(16.0, ink).bold());
    }
}
