//! The font inside this program: how wide a text runs, and where it is broken.
//!
//! The font files lie beside this file with their licence. A viewer of an SVG that lacks the font
//! takes the next of the list, which is about as wide.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, Glyph, PxScale, ScaleFont, point};

use super::DrawError;

/// The names an SVG asks its viewer for, in this order.
pub(super) const FAMILY: &str = "DejaVu Sans, Verdana, sans-serif";

static FACES: LazyLock<Option<[FontRef<'static>; 2]>> = LazyLock::new(|| {
    let regular = FontRef::try_from_slice(include_bytes!("font/DejaVuSans.ttf")).ok()?;
    let bold = FontRef::try_from_slice(include_bytes!("font/DejaVuSans-Bold.ttf")).ok()?;
    Some([regular, bold])
});

/// How heavy a text stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

/// Whether the font can be used; without it, texts have no width and leave no trace.
pub(super) fn ready() -> Result<(), DrawError> {
    if FACES.is_some() { Ok(()) } else { Err(DrawError::Font) }
}

/// The face of a weight.
fn face(weight: Weight) -> Option<&'static FontRef<'static>> {
    let faces = FACES.as_ref()?;
    match weight {
        Weight::Regular => faces.first(),
        Weight::Bold => faces.last(),
    }
}

/// The font library's measure of a size in em: the height from descent to ascent.
#[expect(clippy::cast_possible_truncation, reason = "sizes are small numbers")]
fn px(face: &FontRef<'_>, size: f64) -> PxScale {
    let heights = face.units_per_em().map(|em| face.height_unscaled() / em);
    PxScale::from(size as f32 * heights.unwrap_or(1.0))
}

/// The glyphs of a text from the origin on, and where the next would stand.
fn set(face: &FontRef<'_>, text: &str, size: f64) -> (Vec<Glyph>, f32) {
    let scaled = face.as_scaled(px(face, size));
    let mut glyphs: Vec<Glyph> = Vec::new();
    let mut x = 0.0;
    for letter in text.chars() {
        let id = face.glyph_id(letter);
        x += glyphs.last().map_or(0.0, |before| scaled.kern(before.id, id));
        glyphs.push(id.with_scale_and_position(px(face, size), point(x, 0.0)));
        x += scaled.h_advance(id);
    }
    (glyphs, x)
}

/// How wide a text of this size (em) runs.
pub(super) fn width(text: &str, size: f64, weight: Weight) -> f64 {
    face(weight).map_or(0.0, |face| f64::from(set(face, text, size).1))
}

/// How much of each pixel a text covers that starts at a place on its base line: calls `cover`
/// with the pixel and a share from 0 to 1. The library that draws lines sets glyphs without their
/// side bearings, which leaves holes in words.
#[expect(clippy::cast_possible_truncation, reason = "pixels of a page")]
pub(super) fn cover<E>(
    text: &str,
    size: f64,
    weight: Weight,
    (left, base): (f64, f64),
    mut cover: impl FnMut((i32, i32), f64) -> Result<(), E>,
) -> Result<(), E> {
    let Some(face) = face(weight) else { return Ok(()) };
    for mut glyph in set(face, text, size).0 {
        glyph.position += point(left as f32, base as f32);
        let Some(outline) = face.outline_glyph(glyph) else { continue };
        let corner = outline.px_bounds().min;
        let mut pixels = Vec::new();
        outline.draw(|x, y, share| pixels.push((x, y, share)));
        for (x, y, share) in pixels {
            let at = (corner.x as i32 + x.cast_signed(), corner.y as i32 + y.cast_signed());
            cover(at, f64::from(share))?;
        }
    }
    Ok(())
}

/// The text in lines no wider than `room`, broken at spaces; a longer word is cut.
pub(super) fn wrap(text: &str, size: f64, weight: Weight, room: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&longer, size, weight) <= room {
            line = longer;
        } else {
            lines.extend((!line.is_empty()).then_some(line));
            line = fit(word, size, weight, room);
        }
    }
    lines.extend((!line.is_empty()).then_some(line));
    lines
}

/// The text, or as much of it as fits with `…` behind it.
pub(super) fn fit(text: &str, size: f64, weight: Weight, room: f64) -> String {
    if width(text, size, weight) <= room {
        return text.to_owned();
    }
    let mut kept = text.to_owned();
    while kept.pop().is_some() {
        let cut = format!("{}…", kept.trim_end());
        if width(&cut, size, weight) <= room {
            return cut;
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_shipped_font_has_the_signs_of_the_trade() {
        ready().unwrap();
        let missing = width("\u{e123}", 20.0, Weight::Bold);
        for sign in ["Ω", "µ", "±", "≤", "√", "·", "✓", "✗", "−", "…", "\u{202f}"] {
            for weight in [Weight::Regular, Weight::Bold] {
                let across = width(sign, 20.0, weight);
                assert!(across > 0.0 && (across - missing).abs() > 0.01, "{sign}");
            }
        }
    }

    #[test]
    fn a_text_twice_the_size_is_twice_as_wide() {
        let (small, big) =
            (width("0.84 µA", 12.0, Weight::Regular), width("0.84 µA", 24.0, Weight::Regular));
        assert!((big - 2.0 * small).abs() < 1e-3);
        assert!(small > 12.0 * 0.5 * 5.0, "{small}");
    }

    #[test]
    fn a_line_is_broken_at_a_space() {
        let lines = wrap("still falling, held below test voltage", 14.0, Weight::Regular, 130.0);
        assert_eq!(lines, ["still falling, held", "below test voltage"]);
    }

    proptest! {
        /// Whatever the text, no line runs out of its column.
        #[test]
        fn no_line_is_wider_than_its_room(text in "[ -~µΩ≤]{0,80}", room in 30.0..400.0f64) {
            for line in wrap(&text, 14.0, Weight::Bold, room) {
                prop_assert!(width(&line, 14.0, Weight::Bold) <= room);
            }
        }
    }
}
