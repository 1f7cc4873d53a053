//! A picture as a list of marks, in page units (an A4 sheet across is 1400 by 990), y downwards.
//!
//! Nothing here knows pixels or files, so what stands where can be asserted in a test.

use super::lettering::{self, Weight};

/// Width of the page.
pub(super) const PAGE_WIDTH: f64 = 1400.0;
/// Height of the page: A4 across.
pub(super) const PAGE_HEIGHT: f64 = 990.0;

/// A place on the page: right of its left edge, below its upper edge.
pub(super) type At = (f64, f64);

/// A colour of red, green and blue. All are opaque, and all that matter differ in lightness too,
/// so that a print in black and white keeps them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Ink(pub(super) u8, pub(super) u8, pub(super) u8);

/// The colours of the house, safe for the common kinds of colour blindness.
pub(super) mod ink {
    use super::Ink;

    pub(crate) const PAPER: Ink = Ink(255, 255, 255);
    pub(crate) const TEXT: Ink = Ink(24, 32, 38);
    pub(crate) const QUIET: Ink = Ink(92, 102, 110);
    pub(crate) const GRID: Ink = Ink(205, 211, 216);
    pub(crate) const FAINT: Ink = Ink(231, 235, 238);
    pub(crate) const BAND: Ink = Ink(245, 246, 244);
    pub(crate) const BAND_EDGE: Ink = Ink(168, 176, 182);
    pub(crate) const WINDOW: Ink = Ink(252, 236, 196);
    pub(crate) const WINDOW_EDGE: Ink = Ink(176, 136, 40);
    pub(crate) const CURVE: Ink = Ink(12, 74, 132);
    pub(crate) const VOLTAGE: Ink = Ink(84, 62, 120);
    pub(crate) const LIMIT: Ink = Ink(190, 74, 16);
    pub(crate) const ALARM: Ink = Ink(136, 20, 62);
    pub(crate) const PARTS: Ink = Ink(62, 120, 96);
    pub(crate) const INTERVAL: Ink = Ink(214, 224, 236);
    pub(crate) const GOOD: Ink = Ink(10, 98, 84);
    pub(crate) const WATERMARK: Ink = Ink(233, 229, 222);
}

/// Which point of a text stands at its place; the height is always its base line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Left,
    Middle,
    Right,
}

/// How a text looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Type {
    /// Size of the em.
    pub(super) size: f64,
    pub(super) weight: Weight,
    pub(super) ink: Ink,
    pub(super) anchor: Anchor,
}

impl Type {
    /// Upright text that starts at its place.
    pub(super) const fn plain(size: f64, ink: Ink) -> Self {
        Self { size, weight: Weight::Regular, ink, anchor: Anchor::Left }
    }

    /// The same in bold.
    pub(super) const fn bold(self) -> Self {
        Self { weight: Weight::Bold, ..self }
    }

    /// The same, hung from another point.
    pub(super) const fn hung(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }

    /// How wide a text runs in it.
    pub(super) fn width(self, text: &str) -> f64 {
        lettering::width(text, self.size, self.weight)
    }

    /// Where a text hung at `x` begins.
    pub(super) fn left(self, text: &str, x: f64) -> f64 {
        match self.anchor {
            Anchor::Left => x,
            Anchor::Middle => x - self.width(text) / 2.0,
            Anchor::Right => x - self.width(text),
        }
    }
}

/// One thing to put on the page; later ones lie on top.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    /// A filled outline.
    Fill { outline: Vec<At>, ink: Ink },
    /// A line through points.
    Stroke { path: Vec<At>, width: f64, ink: Ink },
    /// A filled circle.
    Disc { centre: At, radius: f64, ink: Ink },
    /// A line of text.
    Text { text: String, at: At, look: Type },
}

/// The marks of a page, from the bottom up.
#[derive(Debug, Default)]
pub(super) struct Scene {
    pub(super) marks: Vec<Mark>,
}

impl Scene {
    /// Fills an outline.
    pub(super) fn fill(&mut self, outline: &[At], ink: Ink) {
        self.marks.push(Mark::Fill { outline: outline.to_vec(), ink });
    }

    /// Fills an upright rectangle between two corners.
    pub(super) fn block(&mut self, (left, top): At, (right, bottom): At, ink: Ink) {
        self.fill(&[(left, top), (right, top), (right, bottom), (left, bottom)], ink);
    }

    /// Draws a line.
    pub(super) fn stroke(&mut self, path: &[At], width: f64, ink: Ink) {
        self.marks.push(Mark::Stroke { path: path.to_vec(), width, ink });
    }

    /// Draws a straight line of dashes.
    pub(super) fn dashes(&mut self, from: At, to: At, width: f64, ink: Ink) {
        const DASH: f64 = 9.0;
        const PITCH: f64 = 15.0;
        let (across, down) = (to.0 - from.0, to.1 - from.1);
        let length = across.hypot(down);
        let at = |run: f64| (from.0 + across * run / length, from.1 + down * run / length);
        let mut run = 0.0;
        while run < length {
            self.stroke(&[at(run), at((run + DASH).min(length))], width, ink);
            run += PITCH;
        }
    }

    /// Draws a line through points with pen strokes and gaps of these lengths along it.
    pub(super) fn dashed(&mut self, path: &[At], (dash, gap): (f64, f64), width: f64, ink: Ink) {
        let mut piece: Vec<At> = path.first().copied().into_iter().collect();
        let mut left = dash;
        let mut drawn = true;
        for pair in path.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let length = (to.0 - from.0).hypot(to.1 - from.1);
            let mut run = 0.0;
            while left < length - run {
                run += left;
                let share = run / length;
                let at = (from.0 + (to.0 - from.0) * share, from.1 + (to.1 - from.1) * share);
                if drawn {
                    piece.push(at);
                    self.stroke(&piece, width, ink);
                }
                drawn = !drawn;
                left = if drawn { dash } else { gap };
                piece = vec![at];
            }
            left -= length - run;
            piece.push(to);
        }
        if drawn && 1 < piece.len() {
            self.stroke(&piece, width, ink);
        }
    }

    /// Draws the edge of an upright rectangle.
    pub(super) fn edge(&mut self, (left, top): At, (right, bottom): At, width: f64, ink: Ink) {
        let corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)];
        self.stroke(&corners, width, ink);
    }

    /// Puts a dot.
    pub(super) fn disc(&mut self, centre: At, radius: f64, ink: Ink) {
        self.marks.push(Mark::Disc { centre, radius, ink });
    }

    /// Puts a ring: a dot with a hole of paper.
    pub(super) fn ring(&mut self, centre: At, radius: f64, width: f64, ink: Ink) {
        self.disc(centre, radius, ink);
        self.disc(centre, radius - width, ink::PAPER);
    }

    /// Puts a triangle that points up (`reach` above zero) or down.
    pub(super) fn triangle(&mut self, (x, y): At, reach: f64, ink: Ink) {
        let half = reach.abs() * 0.42;
        let (tip, foot) = (y - reach / 2.0, y + reach / 2.0);
        self.fill(&[(x - half, foot), (x, tip), (x + half, foot)], ink);
    }

    /// Sets a line of text; an empty one leaves no mark.
    pub(super) fn text(&mut self, text: impl Into<String>, at: At, look: Type) {
        let text = text.into();
        if !text.is_empty() {
            self.marks.push(Mark::Text { text, at, look });
        }
    }
}

#[cfg(test)]
impl Scene {
    /// All texts, in the order they were set.
    pub(super) fn texts(&self) -> Vec<&str> {
        self.boxes().iter().map(|(text, _)| *text).collect()
    }

    /// All texts with left, top, right and bottom of their boxes; the watermark lies below all.
    pub(super) fn boxes(&self) -> Vec<(&str, [f64; 4])> {
        let boxed = |mark| match mark {
            &Mark::Text { ref text, at: (x, y), look } if look.ink != ink::WATERMARK => {
                let (left, width) = (look.left(text, x), look.width(text));
                let (rise, sink) = (look.size * 0.74, look.size * 0.2);
                Some((text.as_str(), [left, y - rise, left + width, y + sink]))
            }
            Mark::Text { .. } | Mark::Fill { .. } | Mark::Stroke { .. } | Mark::Disc { .. } => None,
        };
        self.marks.iter().filter_map(boxed).collect()
    }

    /// Pairs of texts that lie over each other, and texts that leave the page.
    pub(super) fn clashes(&self) -> Vec<String> {
        let boxes = self.boxes();
        let off =
            |b: &[f64; 4]| b[0] < 0.0 || b[1] < 0.0 || b[2] > PAGE_WIDTH || b[3] > PAGE_HEIGHT;
        let meet =
            |a: &[f64; 4], b: &[f64; 4]| a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
        let mut found: Vec<String> =
            boxes.iter().filter(|(_, b)| off(b)).map(|(text, _)| format!("{text}: off")).collect();
        for (index, (text, own)) in boxes.iter().enumerate() {
            let others = boxes[index + 1..].iter().filter(|(_, other)| meet(own, other));
            found.extend(others.map(|(other, _)| format!("{text} / {other}")));
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_leave_gaps_and_end_where_the_line_ends() {
        let mut scene = Scene::default();
        scene.dashes((0.0, 0.0), (50.0, 0.0), 1.0, ink::LIMIT);
        let ends: Vec<(f64, f64)> = scene
            .marks
            .iter()
            .filter_map(|mark| match mark {
                Mark::Stroke { path, .. } => Some((path[0].0, path[1].0)),
                Mark::Fill { .. } | Mark::Disc { .. } | Mark::Text { .. } => None,
            })
            .collect();
        assert_eq!(ends, [(0.0, 9.0), (15.0, 24.0), (30.0, 39.0), (45.0, 50.0)]);
    }

    #[test]
    fn dashes_go_round_corners() {
        let mut scene = Scene::default();
        scene.dashed(&[(0.0, 0.0), (6.0, 0.0), (6.0, 10.0)], (8.0, 4.0), 1.0, ink::PARTS);
        let stroke =
            |path: &[At]| Mark::Stroke { path: path.to_vec(), width: 1.0, ink: ink::PARTS };
        let first = stroke(&[(0.0, 0.0), (6.0, 0.0), (6.0, 2.0)]);
        assert_eq!(scene.marks, [first, stroke(&[(6.0, 6.0), (6.0, 10.0)])]);
    }

    #[test]
    fn texts_over_each_other_are_found() {
        let mut scene = Scene::default();
        let look = Type::plain(14.0, ink::TEXT);
        scene.text("ramp", (10.0, 20.0), look);
        scene.text("charge", (30.0, 22.0), look);
        scene.text("soak", (400.0, 20.0), look);
        scene.text("bleed", (1390.0, 20.0), look);
        assert_eq!(scene.clashes(), ["bleed: off", "ramp / charge"]);
    }
}
