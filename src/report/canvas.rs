//! From a list of marks to PNG or SVG.
//!
//! The drawing library counts in whole pixels. For PNG the page is therefore drawn larger and
//! averaged down, which also smooths its edges; for SVG it is drawn in tenths.

use std::error::Error;

use plotters::backend::{BitMapBackend, DrawingBackend, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor, TextStyle};

use super::DrawError;
use super::lettering::{FAMILY, Weight, cover};
use super::scene::{Anchor, At, Ink, Mark, PAGE_HEIGHT, PAGE_WIDTH, Scene, Type};

/// Pixels drawn for each page unit, before averaging.
const DRAWN: f64 = 3.0;
/// Pixels averaged into one, each way.
const AVERAGED: usize = 2;
/// Dots per metre that make the PNG an A4 sheet across: 2100 dots on 297 mm.
const DOTS_PER_METRE: u32 = 7071;
/// Units of the SVG's coordinates for each page unit.
const TENTHS: f64 = 10.0;
/// The library's SVG divides a font size by this.
const SVG_SIZE: f64 = 1.24;
/// The library's SVG hangs text this many em above its base line.
const SVG_HANG: f64 = 0.76;

/// The page as PNG.
pub(super) fn png(scene: &Scene) -> Result<Vec<u8>, DrawError> {
    let (width, height) = size(DRAWN);
    let mut pixels = vec![0; width as usize * height as usize * 3];
    let mut backend = BitMapBackend::with_buffer(&mut pixels, (width, height));
    put::<Pixels, _>(&mut backend, scene)?;
    backend.present().map_err(canvas)?;
    drop(backend);
    pack(&averaged(&pixels, width as usize), size(DRAWN / 2.0))
}

/// The page as SVG.
pub(super) fn svg(scene: &Scene) -> Result<Vec<u8>, DrawError> {
    let (width, height) = size(TENTHS);
    let mut text = String::new();
    let mut backend = SVGBackend::with_string(&mut text, (width, height));
    put::<Tenths, _>(&mut backend, scene)?;
    backend.present().map_err(canvas)?;
    drop(backend);
    // The view box stays in tenths, the page gets its true size.
    let drawn = format!("width=\"{width}\" height=\"{height}\"");
    let page = format!("width=\"{PAGE_WIDTH}\" height=\"{PAGE_HEIGHT}\" stroke-linejoin=\"round\"");
    Ok(text.replacen(&drawn, &page, 1).into_bytes())
}

/// What differs between pixels and SVG.
trait Ground {
    /// Units of the ground for each page unit.
    const SCALE: f64;
    /// Whether the corners of a wide line must be filled by hand.
    const FILL_CORNERS: bool;
    /// Sets a line of text.
    fn letter<B: Backend>(on: &mut B, text: &str, at: At, look: Type) -> Result<(), DrawError>;
}

/// A backend of the library whose errors can be passed on.
trait Backend: DrawingBackend<ErrorType: 'static> {}

impl<B: DrawingBackend<ErrorType: 'static>> Backend for B {}

/// Pixels, finer than those of the picture.
struct Pixels;

impl Ground for Pixels {
    const SCALE: f64 = DRAWN;
    const FILL_CORNERS: bool = true;

    fn letter<B: Backend>(on: &mut B, text: &str, at: At, look: Type) -> Result<(), DrawError> {
        let start = (look.left(text, at.0) * Self::SCALE, at.1 * Self::SCALE);
        let ink = colour(look.ink);
        let put = |pixel, share| on.draw_pixel(pixel, ink.mix(share).to_backend_color());
        cover(text, look.size * Self::SCALE, look.weight, start, put).map_err(canvas)
    }
}

/// Tenths of a page unit.
struct Tenths;

impl Ground for Tenths {
    const SCALE: f64 = TENTHS;
    const FILL_CORNERS: bool = false;

    fn letter<B: Backend>(on: &mut B, text: &str, at: At, look: Type) -> Result<(), DrawError> {
        let anchor = match look.anchor {
            Anchor::Left => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let weight = match look.weight {
            Weight::Regular => FontStyle::Normal,
            Weight::Bold => FontStyle::Bold,
        };
        let size = look.size * Self::SCALE * SVG_SIZE;
        let colour = colour(look.ink);
        let style = FontDesc::new(FontFamily::from(FAMILY), size, weight).color(&colour);
        let style: TextStyle<'_> = style.pos(Pos::new(anchor, VPos::Top));
        let hung = place::<Self>((at.0, at.1 - SVG_HANG * look.size));
        on.draw_text(text, &style, hung).map_err(canvas)
    }
}

/// Puts all marks on a ground, from the bottom up.
fn put<G: Ground, B: Backend>(backend: &mut B, scene: &Scene) -> Result<(), DrawError> {
    scene.marks.iter().try_for_each(|mark| put_mark::<G, B>(backend, mark))
}

/// Puts one mark on a ground.
fn put_mark<G: Ground, B: Backend>(backend: &mut B, mark: &Mark) -> Result<(), DrawError> {
    match mark {
        Mark::Fill { outline, ink } => {
            let corners = outline.iter().map(|&at| place::<G>(at));
            backend.fill_polygon(corners, &colour(*ink).filled()).map_err(canvas)
        }
        Mark::Stroke { path, width, ink } => put_stroke::<G, B>(backend, path, *width, *ink),
        Mark::Disc { centre, radius, ink } => {
            let radius = whole(radius * G::SCALE).unsigned_abs();
            let style = colour(*ink).filled();
            backend.draw_circle(place::<G>(*centre), radius, &style, true).map_err(canvas)
        }
        Mark::Text { text, at, look } => G::letter(backend, text, *at, *look),
    }
}

/// Draws a line; where the ground needs it, each piece on its own with discs at the corners,
/// because the library's outline of a jagged wide line has holes.
fn put_stroke<G: Ground, B: Backend>(
    backend: &mut B,
    path: &[At],
    width: f64,
    ink: Ink,
) -> Result<(), DrawError> {
    let dots = whole(width * G::SCALE).unsigned_abs().max(1);
    let style = colour(ink).stroke_width(dots);
    if !G::FILL_CORNERS {
        let path = path.iter().map(|&at| place::<G>(at));
        return backend.draw_path(path, &style).map_err(canvas);
    }
    for pair in path.windows(2) {
        let ends = [place::<G>(pair[0]), place::<G>(pair[1])];
        backend.draw_line(ends[0], ends[1], &style).map_err(canvas)?;
    }
    for &corner in path.iter().skip(1).rev().skip(1) {
        let corner = place::<G>(corner);
        backend.draw_circle(corner, dots / 2, &colour(ink).filled(), true).map_err(canvas)?;
    }
    Ok(())
}

/// An error of the library as ours.
fn canvas<E: Error + Send + Sync + 'static>(error: E) -> DrawError {
    DrawError::Canvas(Box::new(error))
}

/// A colour of the library.
fn colour(Ink(red, green, blue): Ink) -> RGBColor {
    RGBColor(red, green, blue)
}

/// A place in units of the ground.
fn place<G: Ground>((x, y): At) -> (i32, i32) {
    (whole(x * G::SCALE), whole(y * G::SCALE))
}

/// The nearest whole number.
#[expect(clippy::cast_possible_truncation, reason = "a page is at most 14 000 units wide")]
fn whole(value: f64) -> i32 {
    value.round() as i32
}

/// Width and height of the page at so many units each.
fn size(scale: f64) -> (u32, u32) {
    (whole(PAGE_WIDTH * scale).unsigned_abs(), whole(PAGE_HEIGHT * scale).unsigned_abs())
}

/// Each square of pixels as their mean; `width` is that of the pixels given.
fn averaged(pixels: &[u8], width: usize) -> Vec<u8> {
    let row = width * 3;
    let mut out = Vec::with_capacity(pixels.len() / (AVERAGED * AVERAGED));
    for rows in pixels.chunks_exact(row * AVERAGED) {
        let (upper, lower) = rows.split_at(row);
        for (a, b) in upper.chunks_exact(6).zip(lower.chunks_exact(6)) {
            for channel in 0..3 {
                let sum = [a[channel], a[channel + 3], b[channel], b[channel + 3]];
                let sum: u16 = sum.into_iter().map(u16::from).sum();
                out.push(u8::try_from((sum + 2) / 4).unwrap_or(u8::MAX));
            }
        }
    }
    out
}

/// Packs pixels as PNG.
fn pack(pixels: &[u8], (width, height): (u32, u32)) -> Result<Vec<u8>, DrawError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Default);
    encoder.set_filter(png::FilterType::NoFilter);
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: DOTS_PER_METRE,
        yppu: DOTS_PER_METRE,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(pixels)?;
    writer.finish()?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::super::scene::ink;
    use super::super::{Axes, Curve, Format, draw, example};
    use super::*;

    /// The pixels of a PNG with its width.
    fn pixels(bytes: &[u8]) -> (Vec<u8>, usize) {
        let mut reader = png::Decoder::new(bytes).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size()];
        let info = reader.next_frame(&mut pixels).unwrap();
        (pixels, info.width as usize)
    }

    /// The columns in which a row of pixels has an ink, give or take the smoothing.
    fn columns_with(pixels: &[u8], width: usize, row: usize, Ink(r, g, b): Ink) -> Vec<u32> {
        let near =
            |pixel: &[u8]| pixel.iter().zip([r, g, b]).all(|(have, want)| have.abs_diff(want) < 40);
        let line = pixels.chunks_exact(3).skip(row * width).take(width);
        (0..).zip(line).filter(|(_, pixel)| near(pixel)).map(|(column, _)| column).collect()
    }

    fn svg_of(curve: &Curve) -> String {
        String::from_utf8(draw(curve, Axes::LogLog, Format::Svg).unwrap()).unwrap()
    }

    #[test]
    fn a_png_is_a_sheet_of_a4_across() {
        let bytes = draw(&example::healthy(), Axes::LogLog, Format::Png).unwrap();
        let reader = png::Decoder::new(bytes.as_slice()).read_info().unwrap();
        let info = reader.info();
        assert_eq!(info.size(), (2100, 1485));
        let dots = info.pixel_dims.unwrap().xppu;
        let millimetres = f64::from(info.width) / f64::from(dots) * 1000.0;
        assert!((millimetres - 297.0).abs() < 0.1, "{millimetres}");
    }

    #[test]
    fn the_same_curve_gives_the_same_bytes() {
        for format in [Format::Png, Format::Svg] {
            let [first, second] =
                [(), ()].map(|()| draw(&example::film(), Axes::Linear, format).unwrap());
            assert!(first == second);
        }
    }

    #[test]
    fn a_spike_of_one_reading_in_ten_hours_is_seen_in_the_pixels() {
        let bytes = draw(&example::long_soak(), Axes::Linear, Format::Png).unwrap();
        let (pixels, width) = pixels(&bytes);
        // Half-way up the current panel, right of the charging surge and of the reading time.
        let columns = columns_with(&pixels, width, 700, ink::CURVE);
        let spike: Vec<u32> = columns.into_iter().filter(|column| *column > 300).collect();
        // 4 h of 10 h 12 s and 1.5 % between 124 and 1196 page units, at 1.5 pixels each.
        let expected = (124.0 + 1072.0 * 14_400.0 / (36_012.0 * 1.015)) * 1.5;
        assert!(!spike.is_empty());
        let off = spike.iter().map(|&column| (f64::from(column) - expected).abs());
        assert!(off.fold(0.0, f64::max) < 4.0, "{spike:?}, expected about {expected}");
    }

    #[test]
    fn an_svg_keeps_its_words_as_words() {
        let svg = svg_of(&example::healthy());
        for words in ["✓ within", "5.5 µA", "0.171 ± 0.012 µA", "≤ 0", "soak", "10 mA"] {
            assert!(svg.contains(&format!(">\n{words}\n</text>")), "{words}");
        }
        let font = |text: &str| text.split('"').next().map(str::to_owned);
        let fonts: HashSet<_> = svg.split("font-family=\"").skip(1).map(font).collect();
        assert_eq!(fonts, HashSet::from([Some(FAMILY.to_owned())]));
        assert!(FAMILY.ends_with("sans-serif"));
    }

    #[test]
    fn an_svg_has_the_size_of_the_page() {
        let svg = svg_of(&example::healthy());
        insta::assert_snapshot!(svg.lines().next().unwrap(), @r#"<svg width="1400" height="990" stroke-linejoin="round" viewBox="0 0 14000 9900" xmlns="http://www.w3.org/2000/svg">"#);
    }

    #[test]
    fn a_title_cannot_break_an_svg() {
        let title = "C1 <script> & \"co\"".to_owned();
        let svg = svg_of(&Curve { title, ..example::healthy() });
        assert!(!svg.contains("<script>"));
        assert!(svg.contains("C1 &lt;script&gt; &amp;"));
    }

    #[test]
    fn four_pixels_become_their_mean() {
        let upper = [0, 0, 0, 100, 200, 3];
        let lower = [0, 0, 0, 100, 200, 3];
        assert_eq!(averaged(&[upper, lower].concat(), 2), [50, 100, 2]);
    }
}
