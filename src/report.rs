//! Pictures and sheets of what is on record.
//!
//! A plot is a function from a [`Curve`] to a picture: [`draw`] gives its bytes, [`save`] writes
//! them to a file. How it is made, in reading order: `curve` says what is drawn, `extent` how far
//! the axes reach, `tally` what a reader must be told, `trace` turns readings into strokes and
//! marks, `page` arranges everything on one sheet as a list of marks (`scene`), and `canvas` turns
//! that list into PNG or SVG. Everything above `canvas` is pure and is tested without a picture.
//! [`tray_sheet`] sets small curves and verdicts of a whole tray on a page of HTML.

mod canvas;
pub mod comparison;
mod curve;
pub mod export;
mod extent;
mod fitted;
mod from_record;
mod happenings;
mod header;
mod label;
mod lettering;
mod margin;
pub mod object;
mod overlay;
mod page;
mod panel;
pub mod run_sheet;
mod scale;
mod scene;
mod small_curve;
mod spread;
mod steps;
mod strip;
mod tally;
mod terminal;
mod trace;
pub mod tray_sheet;

#[cfg(test)]
mod example;

use std::path::{Path, PathBuf};

pub use from_record::curve;
pub use overlay::{Against, MOST_RUNS, Measure, Member, OverlayError, Since, View, member};
pub use steps::{Steps, steps};
pub use terminal::Terminal;

pub use curve::{Curve, Event, EventKind, Limit, Part, Parts, Point, Reading, Sample, Span};

/// How the axes of the upper panel run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axes {
    /// Decades of current over decades of time: a power law is a straight line.
    LogLog,
    /// Current over time as they are, scaled to the settled current and the limit.
    Linear,
}

/// The kind of picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Pixels, an A4 sheet across at 300 dots per inch.
    Png,
    /// Lines and text as such.
    Svg,
}

impl Format {
    /// The format that a file's ending asks for: `.png` or `.svg`.
    #[must_use]
    pub fn of_path(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_ascii_lowercase();
        match ending.as_str() {
            "png" => Some(Self::Png),
            "svg" => Some(Self::Svg),
            _ => None,
        }
    }
}

/// Draws a run's current over time, and the voltage at the part below it, on one page.
///
/// The same curve gives the same bytes on every machine: the font is part of this program.
///
/// # Errors
///
/// [`DrawError::Font`], [`DrawError::Canvas`] or [`DrawError::Encode`]; none depends on the curve.
pub fn draw(curve: &Curve, axes: Axes, format: Format) -> Result<Vec<u8>, DrawError> {
    lettering::ready()?;
    paint(&page::compose(curve, axes), format)
}

/// Draws several runs in one picture.
///
/// # Errors
///
/// As [`draw`], and [`DrawError::Together`] when these runs can't be drawn so.
pub fn draw_together(members: &[Member], view: View, format: Format) -> Result<Vec<u8>, DrawError> {
    lettering::ready()?;
    paint(&overlay::compose(members, view)?, format)
}

/// Draws to a file; its ending says the format.
///
/// # Errors
///
/// As [`draw`], and [`DrawError::Ending`] or [`DrawError::Write`], which name the file.
pub fn save(curve: &Curve, axes: Axes, path: &Path) -> Result<(), DrawError> {
    write(path, &draw(curve, axes, format_of(path)?)?)
}

/// Draws several runs to a file; its ending says the format.
///
/// # Errors
///
/// As [`draw_together`] and [`save`].
pub fn save_together(members: &[Member], view: View, path: &Path) -> Result<(), DrawError> {
    write(path, &draw_together(members, view, format_of(path)?)?)
}

/// Draws a staircase, current over voltage, to a file; its ending says the format.
///
/// # Errors
///
/// As [`save`].
pub fn save_steps(steps: &Steps, path: &Path) -> Result<(), DrawError> {
    let format = format_of(path)?;
    lettering::ready()?;
    write(path, &paint(&steps::compose(steps), format)?)
}

fn format_of(path: &Path) -> Result<Format, DrawError> {
    Format::of_path(path).ok_or_else(|| DrawError::Ending { path: path.to_owned() })
}

fn paint(scene: &scene::Scene, format: Format) -> Result<Vec<u8>, DrawError> {
    match format {
        Format::Png => canvas::png(scene),
        Format::Svg => canvas::svg(scene),
    }
}

fn write(path: &Path, picture: &[u8]) -> Result<(), DrawError> {
    std::fs::write(path, picture)
        .map_err(|source| DrawError::Write { path: path.to_owned(), source })
}

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum DrawError {
    /// The file's ending names no format.
    #[error("cannot tell the picture's format from {}, expected a name ending in .png or .svg", path.display())]
    Ending {
        /// The file asked for.
        path: PathBuf,
    },
    /// The file could not be written.
    #[error("cannot write the picture to {}", path.display())]
    Write {
        /// The file asked for.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// These runs can't be drawn together.
    #[error(transparent)]
    Together(#[from] OverlayError),
    /// The font inside this program could not be read.
    #[error("the font inside this program is damaged")]
    Font,
    /// A line or a text could not be put on the canvas.
    #[error("cannot draw on the canvas")]
    Canvas(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// The pixels could not be packed.
    #[error("cannot pack the picture as PNG")]
    Encode(#[from] png::EncodingError),
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::upper_case("c12.PNG", Some(Format::Png))]
    #[case::lower_case("runs/c12.svg", Some(Format::Svg))]
    #[case::no_ending("c12", None)]
    #[case::another_ending("c12.pdf", None)]
    fn the_ending_of_a_file_says_its_format(#[case] path: &str, #[case] format: Option<Format>) {
        assert_eq!(Format::of_path(Path::new(path)), format);
    }

    #[test]
    fn an_unknown_ending_is_refused_and_the_file_named() {
        let error = save(&example::healthy(), Axes::LogLog, Path::new("c12.pdf")).unwrap_err();
        insta::assert_snapshot!(error, @"cannot tell the picture's format from c12.pdf, expected a name ending in .png or .svg");
    }

    #[test]
    fn a_file_that_cannot_be_written_is_named() {
        let error =
            save(&example::healthy(), Axes::LogLog, Path::new("no/such/c12.svg")).unwrap_err();
        insta::assert_snapshot!(error, @"cannot write the picture to no/such/c12.svg");
    }

    #[test]
    fn a_picture_is_small_enough_to_send_around() {
        let picture = draw(&example::healthy(), Axes::LogLog, Format::Png).unwrap();
        assert!(picture.len() < 800_000, "{} bytes", picture.len());
    }

    #[test]
    fn a_saved_picture_holds_the_bytes_that_were_drawn() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("c12.svg");
        save(&example::healthy(), Axes::Linear, &path).unwrap();
        let drawn = draw(&example::healthy(), Axes::Linear, Format::Svg).unwrap();
        assert_eq!(std::fs::read(path).unwrap(), drawn);
    }
}
