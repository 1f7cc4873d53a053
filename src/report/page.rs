//! The page: head, phases, two panels, and below them events and notes.

use uom::si::time::second;

use super::extent::{Extent, last_moment, reading_due};
use super::label::{counted, duration};
use super::lettering::{fit, wrap};
use super::panel::{self, Rows, SIDES, Sheet};
use super::scale::Scale;
use super::scene::{PAGE_HEIGHT, PAGE_WIDTH, Scene, Type, ink};
use super::strip::{self, Names};
use super::tally::Tally;
use super::{Axes, Curve, header, margin, trace};

/// Upper edge of the current panel.
const TOP: f64 = 212.0;
/// Lower edge of everything.
const BOTTOM: f64 = PAGE_HEIGHT - 26.0;
/// How events and notes are set.
const SMALL: Type = Type::plain(13.5, ink::TEXT);
/// Height of their lines.
const LINE: f64 = 19.0;
/// Left edge and width of the events.
const EVENTS: (f64, f64) = (40.0, 590.0);
/// Left edge and width of the notes.
const NOTES: (f64, f64) = (670.0, PAGE_WIDTH - 40.0 - 670.0);

/// A curve as a page of marks.
pub(super) fn compose(curve: &Curve, axes: Axes) -> Scene {
    let extent = Extent::of(curve, axes);
    let tally = Tally::of(curve, extent.time, extent.current);
    let time = Scale { range: extent.time, start: SIDES.0, end: SIDES.1 };
    let names = Names::of(curve, &time);
    let events = events(curve);
    let notes = wrap(&notes(curve, &extent, &tally, &names), SMALL.size, SMALL.weight, NOTES.1);
    #[expect(clippy::cast_precision_loss, reason = "a few lines")]
    let foot = BOTTOM - LINE * events.len().max(notes.len()) as f64;
    let needs = Rows::of(curve, &extent, &tally);
    let sheet = Sheet::lay(extent, needs, TOP, foot);
    let mut scene = Scene::default();
    scene.block((0.0, 0.0), (PAGE_WIDTH, PAGE_HEIGHT), ink::PAPER);
    panel::draw(&mut scene, curve, &sheet);
    names.draw(&mut scene, curve, &sheet, TOP);
    strip::flags(&mut scene, curve, &sheet);
    strip::clock(&mut scene, curve, &sheet);
    margin::draw(&mut scene, curve, &sheet);
    header::draw(&mut scene, curve);
    column(&mut scene, &events, EVENTS.0, foot);
    column(&mut scene, &notes, NOTES.0, foot);
    scene
}

/// Lines under each other.
fn column(scene: &mut Scene, lines: &[String], left: f64, top: f64) {
    let mut y = top + 14.0;
    for line in lines {
        scene.text(line.as_str(), (left, y), SMALL);
        y += LINE;
    }
}

/// The numbered events, a line each, and how many more there are.
fn events(curve: &Curve) -> Vec<String> {
    let numbered = strip::numbered(curve);
    let rest = curve.events.len() - numbered.len();
    let line = |(number, event): (usize, &super::Event)| {
        let text = format!("{number}   {}   {}", duration(event.at.get::<second>()), event.text);
        fit(&text, SMALL.size, SMALL.weight, EVENTS.1)
    };
    let mut lines: Vec<String> = numbered.into_iter().map(line).collect();
    if rest > 0 {
        lines.push(format!("{} between them without a number", counted(rest, "event", "events")));
    }
    lines
}

/// Everything a reader must know to read the picture right, in sentences.
fn notes(curve: &Curve, extent: &Extent, tally: &Tally, names: &Names<'_>) -> String {
    let mut notes = clock_notes(curve, extent);
    notes.extend(tally.notes(extent.time, extent.current));
    let pauses = trace::count_pauses(curve);
    if pauses > 0 {
        notes.push(format!("line broken at {}", counted(pauses, "pause", "pauses")));
    }
    if names.left_out > 0 {
        let names = counted(names.left_out, "short phase", "short phases");
        notes.push(format!("{names} drawn without a name"));
    }
    notes.push(counted(curve.points.len(), "reading in all", "readings in all"));
    notes.join("; ")
}

/// What is to be said about the limit's clock and the reading window.
fn clock_notes(curve: &Curve, extent: &Extent) -> Vec<String> {
    let mut notes = Vec::new();
    if curve.full_voltage_at.is_none() {
        notes.push("full voltage was never reached".to_owned());
    }
    if let Some(due) = reading_due(curve).filter(|&due| due > extent.time.high) {
        let ended = duration(last_moment(curve));
        notes.push(format!("reading due at {}, the run ended at {ended}", duration(due)));
    }
    if let Some(reading) = curve.reading {
        let ends = [reading.window.0, reading.window.1].map(|at| duration(at.get::<second>()));
        notes.push(format!("reading taken in the shaded window from {} to {}", ends[0], ends[1]));
    }
    notes
}
