//! Several runs in one picture: aligned, normalised, told apart without colour.
//!
//! Each curve is named by a number that stands on it and beside it, so that nothing has to be
//! looked up in a box that would hide data, and a print in black and white keeps them apart. What is
//! left out, such as the discharge, is said below. `line` puts the runs on common axes, `marks`
//! draws them, `legend` names them.

#[cfg(test)]
pub(super) mod examples;
mod legend;
mod line;
mod marks;

use super::scale::{Scale, Tick};
use super::scene::{Anchor, PAGE_HEIGHT, PAGE_WIDTH, Scene, Type, ink};
use super::{Curve, header, lettering, panel::SIDES};
use crate::quantity::Charge;
use crate::record::{Record, RecordError, Run, RunId};
use crate::words::words;
pub(super) use legend::subtitle;
pub(super) use line::{Line, Lines};

/// Most runs in one picture: more than that nobody can tell apart.
pub const MOST_RUNS: usize = 12;

words! {
    /// What the current is drawn against.
    Against {
        /// Decades of current over decades of time.
        LogTime = "log-log",
        /// Current over time as they are.
        Time = "linear",
        /// Decades of current over the voltage at the part.
        Voltage = "voltage",
    }
}

words! {
    /// From when time is counted, so that runs lie over each other.
    Since {
        /// The first order to the supply.
        SwitchOn = "switch-on",
        /// Full voltage, from which a limit's reading time counts.
        FullVoltage = "full-voltage",
    }
}

words! {
    /// What the current is divided by, so that different parts compare.
    Measure {
        /// Nothing: amperes.
        Current = "current",
        /// The part's own limit.
        OfLimit = "limit",
        /// The part's own charge C·U, as sheets write their rules.
        OfCharge = "charge",
    }
}

/// How several runs are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct View {
    /// The axis across.
    pub against: Against,
    /// Where time begins.
    pub since: Since,
    /// The axis upwards.
    pub measure: Measure,
}

/// One run of several.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// Which run.
    pub run: RunId,
    /// The part, such as `C14`; empty if it has no name.
    pub name: String,
    /// What is printed on it, and its family.
    pub what: String,
    /// C·U at the test voltage.
    pub charge: Charge,
    /// Its readings and what was made of them.
    pub curve: Curve,
}

/// Reads a run as one of several.
///
/// # Errors
///
/// [`RecordError`] if the record can't be read.
pub fn member(record: &Record, run: &Run) -> Result<Member, RecordError> {
    let begun = &run.begun;
    Ok(Member {
        run: run.id,
        name: begun.part_name.clone(),
        what: super::from_record::printed(run),
        charge: begun.capacitance * begun.test_voltage,
        curve: super::curve(record, run)?,
    })
}

/// Why runs can't be drawn together.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum OverlayError {
    /// None was named.
    #[error("no run to draw")]
    None,
    /// So many can't be told apart.
    #[error("{0} runs in one picture, expected at most {MOST_RUNS}")]
    TooMany(usize),
    /// It has no limit to be divided by.
    #[error("{0} has no limit, so it can't be drawn as a share of one")]
    NoLimit(RunId),
    /// It never stood at full voltage.
    #[error("{0} never reached full voltage, so it can't be aligned there")]
    NoFullVoltage(RunId),
}

impl OverlayError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::None | Self::TooMany(_) => "name one to twelve runs, such as r3 r7 r12",
            Self::NoLimit(_) => "leave it out, or draw amperes or shares of the charge",
            Self::NoFullVoltage(_) => "leave it out, or align at switch-on",
        }
    }
}

/// Where the panel stands: left, top, right, bottom.
#[derive(Debug, Clone, Copy)]
pub(super) struct Panel {
    top: f64,
    bottom: f64,
    /// Middle of the row for overloads, above the axis.
    overload: Option<f64>,
    /// Middle of the row for what a logarithmic axis does not have.
    floor: Option<f64>,
    x: Scale,
    y: Scale,
}

/// Height of a row beside the axis.
const ROW: f64 = 26.0;
/// Lower edge of the head.
const HEAD: f64 = 142.0;
/// Height of a run's strip of phases.
const STRIP: f64 = 10.0;
/// Room below the panel for the labels of its axis.
const AXIS: f64 = 62.0;
/// How notes are set, and the height of their lines.
const SMALL: Type = Type::plain(13.5, ink::TEXT);
const LINE: f64 = 19.0;
/// Size of labels on axes.
const LABEL: f64 = 14.0;
/// Left edge and width of the notes.
const NOTES: (f64, f64) = (40.0, PAGE_WIDTH - 80.0);

/// Runs as a page of marks.
pub(super) fn compose(members: &[Member], view: View) -> Result<Scene, OverlayError> {
    let lines = Lines::of(members, view)?;
    let notes = lettering::wrap(&legend::notes(&lines), SMALL.size, SMALL.weight, NOTES.1);
    #[expect(clippy::cast_precision_loss, reason = "a few lines and runs")]
    let (below, strips) = (LINE * notes.len() as f64, STRIP * lines.strips() as f64);
    let bottom = PAGE_HEIGHT - 22.0 - below;
    let panel = Panel::lay(&lines, HEAD + strips + 24.0, bottom - AXIS);
    let mut scene = Scene::default();
    scene.block((0.0, 0.0), (PAGE_WIDTH, PAGE_HEIGHT), ink::PAPER);
    panel.ground(&mut scene, &lines);
    marks::draw(&mut scene, &lines, &panel);
    legend::strips(&mut scene, &lines, &panel, HEAD);
    legend::labels(&mut scene, &lines, &panel);
    head(&mut scene, &lines);
    for (line, y) in notes.iter().zip((1..).map(|row| bottom + LINE * f64::from(row) - 5.0)) {
        scene.text(line.as_str(), (NOTES.0, y), SMALL);
    }
    Ok(scene)
}

/// What runs, and how they are drawn.
fn head(scene: &mut Scene, lines: &Lines<'_>) {
    if lines.simulated() {
        header::simulated(scene);
    }
    let room = PAGE_WIDTH - 80.0;
    let title = Type::plain(27.0, ink::TEXT).bold();
    scene.text(
        lettering::fit(&legend::title(lines), title.size, title.weight, room),
        (40.0, 70.0),
        title,
    );
    let look = Type::plain(16.0, ink::TEXT);
    scene.text(legend::subtitle(lines.view), (40.0, 98.0), look);
    let quiet = Type::plain(14.0, ink::QUIET);
    scene.text(
        lettering::fit(&legend::parts(lines), quiet.size, quiet.weight, room),
        (40.0, 121.0),
        quiet,
    );
}

impl Panel {
    fn lay(lines: &Lines<'_>, top: f64, bottom: f64) -> Self {
        let (overloads, floors) = lines.rows();
        let row = |needed: bool| if needed { ROW } else { 0.0 };
        Self {
            top,
            bottom,
            overload: overloads.then_some(top + ROW / 2.0),
            floor: floors.then_some(bottom - ROW / 2.0),
            x: Scale { range: lines.across, start: SIDES.0, end: SIDES.1 },
            y: Scale {
                range: lines.upwards,
                start: bottom - row(floors),
                end: top + row(overloads),
            },
        }
    }

    /// Window, grid, axes, the word across a simulated picture.
    fn ground(&self, scene: &mut Scene, lines: &Lines<'_>) {
        if let Some((from, to)) = lines.window() {
            let (from, to) = (self.x.place(from), self.x.place(to));
            scene.block((from, self.top), (to.max(from + 3.0), self.bottom), ink::WINDOW);
        }
        if lines.simulated() {
            let look = Type::plain(150.0, ink::WATERMARK).bold().hung(Anchor::Middle);
            let middle = f64::midpoint(self.top, self.bottom) + 50.0;
            scene.text("simulated", (f64::midpoint(SIDES.0, SIDES.1), middle), look);
        }
        self.grid(scene, lines);
        for (row, name) in [(self.overload, "overload"), (self.floor, "≤ 0")] {
            let Some(y) = row else { continue };
            let look = Type::plain(LABEL, ink::TEXT).hung(Anchor::Right);
            scene.text(name, (SIDES.0 - 10.0, y + 5.0), look);
            scene.stroke(&[(SIDES.0, y), (SIDES.1, y)], 0.8, ink::GRID);
        }
        for y in [self.y.start, self.y.end] {
            scene.stroke(&[(SIDES.0, y), (SIDES.1, y)], 1.0, ink::QUIET);
        }
        if lines.view.since == Since::FullVoltage && lines.view.against == Against::Time {
            let x = self.x.place(0.0);
            scene.stroke(&[(x, self.top), (x, self.bottom)], 1.4, ink::TEXT);
        }
        scene.edge((SIDES.0, self.top), (SIDES.1, self.bottom), 1.4, ink::TEXT);
    }

    fn grid(&self, scene: &mut Scene, lines: &Lines<'_>) {
        let shade = |tick: &Tick| if tick.label.is_some() { ink::GRID } else { ink::FAINT };
        let across = Type::plain(LABEL, ink::TEXT).hung(Anchor::Middle);
        let mut taken = 0.0;
        for tick in lines.ticks_across() {
            let x = self.x.place(tick.value);
            scene.stroke(&[(x, self.top), (x, self.bottom)], 0.8, shade(&tick));
            let Some(text) = tick.label else { continue };
            let half = across.width(&text) / 2.0;
            if taken <= x - half {
                taken = x + half + 8.0;
                scene.text(text, (x, self.bottom + 20.0), across);
            }
        }
        for tick in lines.spoken_times() {
            let x = self.x.place(tick.value);
            scene.stroke(&[(x, self.bottom), (x, self.bottom + 5.0)], 1.2, ink::QUIET);
            let look = Type { ink: ink::QUIET, ..across };
            scene.text(tick.label.unwrap_or_default(), (x, self.bottom + 38.0), look);
        }
        let upright = Type::plain(LABEL, ink::TEXT).hung(Anchor::Right);
        for tick in lines.ticks_upwards() {
            let y = self.y.place(tick.value);
            scene.stroke(&[(SIDES.0, y), (SIDES.1, y)], 0.8, shade(&tick));
            scene.text(tick.label.unwrap_or_default(), (SIDES.0 - 10.0, y + 5.0), upright);
        }
        let title = legend::upwards(lines.view.measure);
        let title_look = Type::plain(LABEL, ink::TEXT).bold();
        scene.text(title, (40.0, self.top - 10.0), title_look);
        let look = title_look.hung(Anchor::Right);
        scene.text(legend::across(lines.view), (SIDES.1, self.bottom + 52.0), look);
    }
}

#[cfg(test)]
mod tests;
