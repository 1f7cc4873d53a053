//! From a list of marks to PNG or SVG.
//!
//! The drawing library counts in whole pixels. For PNG the page is therefore drawn larger and
//! averaged down, which also smooths its edges, a stripe at a time; for SVG it is drawn in tenths.

use std::error::Error;
use std::num::NonZero;
use std::sync::Mutex;
use std::thread;

use plotters::backend::{BitMapBackend, DrawingBackend, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor, TextStyle};

use super::DrawError;
use super::lettering::{FAMILY, Weight, cover};
use super::scene::{Anchor, At, Ink, Mark, PAGE_HEIGHT, PAGE_WIDTH, Scene, Type};

/// Pixels drawn for each page unit, before averaging.
const DRAWN: f64 = 5.0;
/// Pixels averaged into one, each way.
const AVERAGED: usize = 2;
/// Dots per metre that make the PNG an A4 sheet across, 3500 dots on 297 mm: 299 dots an inch.
const DOTS_PER_METRE: u32 = 11_785;
/// Rows of the picture that are drawn at once: the whole page before averaging would take 100 MB.
const STRIPE: usize = 99;
/// Units of the SVG's coordinates for each page unit.
const TENTHS: f64 = 10.0;
/// The library's SVG divides a font size by this.
const SVG_SIZE: f64 = 1.24;
/// The library's SVG hangs text this many em above its base line.
const SVG_HANG: f64 = 0.76;

/// The page as PNG, drawn in stripes by as many threads as there are processors.
pub(super) fn png(scene: &Scene) -> Result<Vec<u8>, DrawError> {
    let (width, height) = size(DRAWN / 2.0);
    let row = width as usize * 3;
    let mut picture = vec![0; row * height as usize];
    let stripes: Vec<(usize, &mut [u8])> = picture.chunks_mut(row * STRIPE).enumerate().collect();
    let hands = thread::available_parallelism().map_or(1, NonZero::get);
    let work = Mutex::new(stripes);
    let draw_some = || loop {
        let next = work.lock().map_err(|_| DrawError::Font)?.pop();
        let Some((number, pixels)) = next else { return Ok(()) };
        stripe(scene, number * STRIPE, width as usize, pixels)?;
    };
    thread::scope(|scope| {
        let drawing: Vec<_> = (0..hands).map(|_| scope.spawn(draw_some)).collect();
        drawing.into_iter().try_for_each(|hand| hand.join().unwrap_or(Err(DrawError::Font)))
    })?;
    pack(&picture, (width, height))
}

/// Draws the rows of the picture from `first` on that fit into `out`.
fn stripe(scene: &Scene, first: usize, width: usize, out: &mut [u8]) -> Result<(), DrawError> {
    let rows = out.len() / (width * 3);
    let (wide, high) = (width * AVERAGED, rows * AVERAGED);
    let mut pixels = vec![0; wide * high * 3];
    #[expect(clippy::cast_precision_loss, reason = "a page has a few thousand rows")]
    let (top, bottom) =
        ((first * AVERAGED) as f64 / DRAWN, ((first + rows) * AVERAGED) as f64 / DRAWN);
    let ends = [wide, high].map(|count| u32::try_from(count).unwrap_or(u32::MAX));
    let mut backend = BitMapBackend::with_buffer(&mut pixels, (ends[0], ends[1]));
    put(&Pixels { top, bottom }, &mut backend, scene)?;
    backend.present().map_err(canvas)?;
    drop(backend);
    average(&pixels, wide, out);
    Ok(())
}

/// The page as SVG.
pub(super) fn svg(scene: &Scene) -> Result<Vec<u8>, DrawError> {
    let (width, height) = size(TENTHS);
    let mut text = String::new();
    let mut backend = SVGBackend::with_string(&mut text, (width, height));
    put(&Tenths, &mut backend, scene)?;
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
    /// Upper edge of the ground on the page.
    fn top(&self) -> f64;
    /// Whether anything between two heights of the page lies on the ground.
    fn holds(&self, from: f64, to: f64) -> bool;
    /// Sets a line of text.
    fn letter<B: Backend>(
        &self,
        on: &mut B,
        text: &str,
        at: At,
        look: Type,
    ) -> Result<(), DrawError>;

    /// A place in units of the ground.
    fn place(&self, (x, y): At) -> (i32, i32) {
        (whole(x * Self::SCALE), whole((y - self.top()) * Self::SCALE))
    }
}

/// A backend of the library whose errors can be passed on.
trait Backend: DrawingBackend<ErrorType: 'static> {}

impl<B: DrawingBackend<ErrorType: 'static>> Backend for B {}

/// Pixels, finer than those of the picture, of a stripe between two heights of the page.
struct Pixels {
    top: f64,
    bottom: f64,
}

impl Ground for Pixels {
    const SCALE: f64 = DRAWN;
    const FILL_CORNERS: bool = true;

    fn top(&self) -> f64 {
        self.top
    }

    fn holds(&self, from: f64, to: f64) -> bool {
        self.top <= to && from <= self.bottom
    }

    fn letter<B: Backend>(
        &self,
        on: &mut B,
        text: &str,
        at: At,
        look: Type,
    ) -> Result<(), DrawError> {
        let start = (look.left(text, at.0) * Self::SCALE, (at.1 - self.top) * Self::SCALE);
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

    fn top(&self) -> f64 {
        0.0
    }

    fn holds(&self, _from: f64, _to: f64) -> bool {
        true
    }

    fn letter<B: Backend>(
        &self,
        on: &mut B,
        text: &str,
        at: At,
        look: Type,
    ) -> Result<(), DrawError> {
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
        let hung = self.place((at.0, at.1 - SVG_HANG * look.size));
        on.draw_text(text, &style, hung).map_err(canvas)
    }
}

/// Puts all marks on a ground, from the bottom up.
fn put<G: Ground, B: Backend>(ground: &G, on: &mut B, scene: &Scene) -> Result<(), DrawError> {
    scene.marks.iter().try_for_each(|mark| put_mark(ground, on, mark))
}

/// Puts one mark on a ground, if it reaches it.
fn put_mark<G: Ground, B: Backend>(ground: &G, on: &mut B, mark: &Mark) -> Result<(), DrawError> {
    match mark {
        Mark::Fill { outline, ink } => {
            let heights = outline.iter().map(|at| at.1);
            let (from, to) = heights.fold((f64::MAX, f64::MIN), |(a, b), y| (a.min(y), b.max(y)));
            if !ground.holds(from, to) {
                return Ok(());
            }
            let corners = outline.iter().map(|&at| ground.place(at));
            on.fill_polygon(corners, &colour(*ink).filled()).map_err(canvas)
        }
        Mark::Stroke { path, width, ink } => put_stroke(ground, on, path, *width, *ink),
        Mark::Disc { centre, radius, ink } => {
            if !ground.holds(centre.1 - radius - 1.0, centre.1 + radius + 1.0) {
                return Ok(());
            }
            let dots = whole(radius * G::SCALE).unsigned_abs();
            let style = colour(*ink).filled();
            on.draw_circle(ground.place(*centre), dots, &style, true).map_err(canvas)
        }
        Mark::Text { text, at, look } => {
            let reach = (at.1 - look.size * 1.2, at.1 + look.size * 0.5);
            if ground.holds(reach.0, reach.1) {
                ground.letter(on, text, *at, *look)
            } else {
                Ok(())
            }
        }
    }
}

/// Draws a line; where the ground needs it, each piece on its own with discs at the corners,
/// because the library's outline of a jagged wide line has holes.
fn put_stroke<G: Ground, B: Backend>(
    ground: &G,
    on: &mut B,
    path: &[At],
    width: f64,
    ink: Ink,
) -> Result<(), DrawError> {
    let dots = whole(width * G::SCALE).unsigned_abs().max(1);
    let style = colour(ink).stroke_width(dots);
    if !G::FILL_CORNERS {
        let path = path.iter().map(|&at| ground.place(at));
        return on.draw_path(path, &style).map_err(canvas);
    }
    let reaches = |from: f64, to: f64| ground.holds(from.min(to) - width, from.max(to) + width);
    for pair in path.windows(2).filter(|pair| reaches(pair[0].1, pair[1].1)) {
        on.draw_line(ground.place(pair[0]), ground.place(pair[1]), &style).map_err(canvas)?;
    }
    for &corner in path.iter().skip(1).rev().skip(1).filter(|at| reaches(at.1, at.1)) {
        let style = colour(ink).filled();
        on.draw_circle(ground.place(corner), dots / 2, &style, true).map_err(canvas)?;
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
fn average(pixels: &[u8], width: usize, out: &mut [u8]) {
    let row = width * 3;
    let rows = out.chunks_exact_mut(row / AVERAGED);
    for (means, rows) in rows.zip(pixels.chunks_exact(row * AVERAGED)) {
        let (upper, lower) = rows.split_at(row);
        let squares = upper.chunks_exact(6).zip(lower.chunks_exact(6));
        for (mean, (a, b)) in means.chunks_exact_mut(3).zip(squares) {
            for (channel, mean) in mean.iter_mut().enumerate() {
                let sum = [a[channel], a[channel + 3], b[channel], b[channel + 3]];
                let sum: u16 = sum.into_iter().map(u16::from).sum();
                *mean = u8::try_from((sum + 2) / 4).unwrap_or(u8::MAX);
            }
        }
    }
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
        assert_eq!(info.size(), (3500, 2475));
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
        let columns = columns_with(&pixels, width, 1167, ink::CURVE);
        let spike: Vec<u32> = columns.into_iter().filter(|column| *column > 500).collect();
        // 4 h of 10 h 12 s and 1.5 % between 124 and 1196 page units, at 2.5 pixels each.
        let expected = (124.0 + 1072.0 * 14_400.0 / (36_012.0 * 1.015)) * 2.5;
        assert!(!spike.is_empty());
        let off = spike.iter().map(|&column| (f64::from(column) - expected).abs());
        assert!(off.fold(0.0, f64::max) < 6.0, "{spike:?}, expected about {expected}");
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
        let mut mean = [0; 3];
        average(&[upper, lower].concat(), 2, &mut mean);
        assert_eq!(mean, [50, 100, 2]);
    }
}
