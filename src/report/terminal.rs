//! A plot for a terminal, in characters: for a bench that is reached by ssh.
//!
//! One run is drawn in dots of a raster of two by four to a character (Braille patterns, Unicode
//! §21.1); of several each has a figure or letter of its own. Axes, alignment and division are those
//! of the picture, and so is the thinning that loses no spike.

use super::label::{engineering, with_uncertainty};
use super::overlay::{Line, Lines};
use super::scale::{Scale, Tick};
use super::{Curve, Member, OverlayError, View};
use crate::judge::Verdict;

/// Room for the labels of the axis upwards.
const MARGIN: usize = 10;
/// Dots of a character across and upwards.
const DOTS: (usize, usize) = (2, 4);
/// What each of several runs is drawn with.
const SIGNS: [char; 12] = ['1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c'];

/// A terminal, in characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terminal {
    /// How wide it is.
    pub columns: usize,
    /// How many lines the plot may take.
    pub lines: usize,
}

impl Terminal {
    /// Draws runs in characters.
    ///
    /// # Errors
    ///
    /// [`OverlayError`] when these runs can't be drawn so.
    pub fn draw(self, members: &[Member], view: View) -> Result<String, OverlayError> {
        let lines = Lines::of(members, view)?;
        let words = said(members, view);
        let below = words.lines().count() + 3;
        let mut board = Board::new(
            self.columns.saturating_sub(MARGIN + 2).max(20),
            self.lines.saturating_sub(below).max(8),
            &lines,
        );
        board.limit(&lines);
        board.curves(&lines, members.len());
        board.readings(&lines);
        Ok(format!("{}{words}", board.text(&lines)))
    }
}

/// The characters of the panel, and the axes on its dots.
struct Board {
    width: usize,
    cells: Vec<Cell>,
    x: Scale,
    y: Scale,
}

/// What stands in the place of one character.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Cell {
    Empty,
    Limit,
    /// Dots of one run.
    Dots(u8),
    Sign(char),
}

impl Board {
    fn new(width: usize, height: usize, lines: &Lines<'_>) -> Self {
        #[expect(clippy::cast_precision_loss, reason = "a terminal is some hundred columns wide")]
        let (across, upwards) = ((width * DOTS.0) as f64, (height * DOTS.1) as f64);
        Self {
            width,
            cells: vec![Cell::Empty; width * height],
            x: Scale { range: lines.across, start: 0.0, end: across - 1.0 },
            y: Scale { range: lines.upwards, start: upwards - 1.0, end: 0.0 },
        }
    }

    fn limit(&mut self, lines: &Lines<'_>) {
        let Some(limit) = lines.limit() else { return };
        let row = whole(self.y.place(limit)) / DOTS.1;
        for column in 0..self.width {
            self.cells[row * self.width + column] = Cell::Limit;
        }
    }

    fn curves(&mut self, lines: &Lines<'_>, count: usize) {
        // The first is drawn last, so that it lies on top.
        for (index, line) in lines.all().iter().enumerate().rev() {
            let trace = line.trace(&self.x, &self.y);
            let sign = (1 < count).then(|| SIGNS[index % SIGNS.len()]);
            for stroke in &trace.strokes {
                for pair in stroke.windows(2) {
                    self.stretch(pair[0], pair[1], sign);
                }
            }
            for &dot in &trace.dots {
                self.stretch(dot, dot, sign);
            }
        }
    }

    /// A straight line of dots.
    fn stretch(&mut self, from: (f64, f64), to: (f64, f64), sign: Option<char>) {
        let steps = (to.0 - from.0).abs().max((to.1 - from.1).abs()).ceil().max(1.0);
        let mut step = 0.0;
        while step <= steps {
            let share = step / steps;
            self.dot(from.0 + (to.0 - from.0) * share, from.1 + (to.1 - from.1) * share, sign);
            step += 1.0;
        }
    }

    fn dot(&mut self, x: f64, y: f64, sign: Option<char>) {
        // Bits of the dots of a character by column and row (Unicode §21.1).
        const BITS: [[u8; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];
        let (x, y) = (whole(x), whole(y));
        let Some(cell) = self.cells.get_mut(y / DOTS.1 * self.width + x / DOTS.0) else { return };
        *cell = match (sign, *cell) {
            (Some(sign), _) => Cell::Sign(sign),
            (None, Cell::Dots(dots)) => Cell::Dots(dots | BITS[x % DOTS.0][y % DOTS.1]),
            (None, _) => Cell::Dots(BITS[x % DOTS.0][y % DOTS.1]),
        };
    }

    fn readings(&mut self, lines: &Lines<'_>) {
        for (x, value, _) in lines.all().iter().filter_map(Line::reading) {
            let (x, y) = (whole(self.x.place(x)), whole(self.y.place(value)));
            if let Some(cell) = self.cells.get_mut(y / DOTS.1 * self.width + x / DOTS.0) {
                *cell = Cell::Sign('◆');
            }
        }
    }

    fn text(&self, lines: &Lines<'_>) -> String {
        let mut text = String::new();
        let labels = self.labels(&lines.ticks_upwards());
        for (row, label) in self.cells.chunks(self.width).zip(labels) {
            let cells: String = row.iter().copied().map(Cell::letter).collect();
            let edge = if label.is_empty() { '│' } else { '┤' };
            text.push_str(format!("{label:>MARGIN$}{edge}{cells}").trim_end());
            text.push('\n');
        }
        text + &self.axis(&lines.ticks_across())
    }

    /// The label of each row, from the top down.
    fn labels(&self, ticks: &[Tick]) -> Vec<String> {
        let mut labels = vec![String::new(); self.cells.len() / self.width];
        for tick in ticks {
            let row = whole(self.y.place(tick.value)) / DOTS.1;
            if let (Some(label), Some(text)) = (labels.get_mut(row), &tick.label) {
                label.clone_from(text);
            }
        }
        labels
    }

    /// The axis across and its labels, none over another.
    fn axis(&self, ticks: &[Tick]) -> String {
        let mut line: Vec<char> = vec!['─'; self.width];
        let mut words = vec![' '; self.width + MARGIN];
        let mut taken = 0;
        for tick in ticks {
            let column = whole(self.x.place(tick.value)) / DOTS.0;
            let Some(label) = &tick.label else { continue };
            if let Some(place) = line.get_mut(column) {
                *place = '┴';
            }
            let start = column.saturating_sub(label.chars().count() / 2);
            if taken <= start && start + label.chars().count() <= words.len() {
                taken = start + label.chars().count() + 2;
                for (place, letter) in words.iter_mut().skip(start).zip(label.chars()) {
                    *place = letter;
                }
            }
        }
        let (line, words): (String, String) = (line.iter().collect(), words.iter().collect());
        let blanks = " ".repeat(MARGIN);
        format!("{blanks}└{line}\n{blanks} {}\n", words.trim_end())
    }
}

impl Cell {
    fn letter(self) -> char {
        match self {
            Self::Empty => ' ',
            Self::Limit => '╌',
            Self::Dots(dots) => char::from_u32(0x2800 + u32::from(dots)).unwrap_or('·'),
            Self::Sign(sign) => sign,
        }
    }
}

/// The nearest whole number from zero up.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "places on a terminal, held at zero"
)]
fn whole(value: f64) -> usize {
    value.round().max(0.0) as usize
}

/// What is drawn, and what was said of it.
fn said(members: &[Member], view: View) -> String {
    let mut lines = vec![super::overlay::subtitle(view)];
    for (member, sign) in members.iter().zip(SIGNS) {
        let sign = if members.len() == 1 { String::new() } else { format!("{sign}  ") };
        let simulated = if member.curve.simulated { "  (simulated)" } else { "" };
        lines.push(format!(
            "{sign}{} {}  {}  {}{simulated}",
            member.run,
            member.name,
            member.curve.verdict.map_or("no verdict yet", Verdict::tag),
            figures(&member.curve),
        ));
    }
    lines.push("◆ reading  ╌ limit; discharges are not drawn\n".to_owned());
    lines.join("\n")
}

/// Reading and limit.
fn figures(curve: &Curve) -> String {
    let limit = curve.limit.map_or(0.0, |limit| limit.current.value);
    let reading = curve.reading.map_or_else(
        || "no reading".to_owned(),
        |reading| with_uncertainty(reading.current.value, reading.uncertainty.value, limit, "A"),
    );
    if limit > 0.0 { format!("{reading}, limit {}", engineering(limit, "A")) } else { reading }
}

#[cfg(test)]
mod tests {
    use super::super::overlay::examples::{few, twelve};
    use super::super::{Against, Measure, Since};
    use super::*;

    const TERMINAL: Terminal = Terminal { columns: 78, lines: 22 };
    const VIEW: View =
        View { against: Against::LogTime, since: Since::FullVoltage, measure: Measure::Current };

    #[test]
    fn one_run_is_drawn_in_dots_with_limit_and_reading() {
        let text = TERMINAL.draw(&few()[..1], VIEW).unwrap();
        assert!(text.chars().any(|letter| ('\u{2801}'..='\u{28ff}').contains(&letter)), "{text}");
        assert!(text.contains('╌') && text.contains('◆'), "{text}");
        assert!(text.contains("within  0.171 ± 0.012 µA, limit 5.5 µA"), "{text}");
        assert!(text.lines().count() <= 22, "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 78), "{text}");
    }

    #[test]
    fn each_of_twelve_runs_has_a_sign_of_its_own() {
        let text = TERMINAL.draw(&twelve(), VIEW).unwrap();
        let plot = text.split('└').next().unwrap();
        for sign in SIGNS {
            assert!(text.contains(&format!("\n{sign}  r")), "{sign}: {text}");
        }
        let drawn = SIGNS.iter().filter(|sign| plot.contains(**sign)).count();
        assert!(10 <= drawn, "{drawn} of them can be seen: {text}");
    }
}
