//! The words of a picture of several runs: title, axes, what each number stands for, notes.

use uom::si::electric_current::ampere;
use uom::si::time::second;

use super::line::Line;
use super::marks::{badge, ink_of};
use super::{Against, Lines, Measure, Member, Panel, STRIP, Since, View};
use crate::judge::Verdict;
use crate::plan::Phase;
use crate::report::label::{counted, engineering};
use crate::report::lettering;
use crate::report::margin::reading_text;
use crate::report::panel::SIDES;
use crate::report::scene::{Anchor, Ink, PAGE_WIDTH, Scene, Type, ink};
use crate::report::spread::spread;
use crate::report::{EventKind, page};

/// Heights of a label of two lines, and of one.
const TWO_LINES: f64 = 34.0;
const ONE_LINE: f64 = 19.0;
/// Left edge of the labels' discs.
const LEFT: f64 = SIDES.1 + 30.0;

/// A long label is set smaller down to this share of its size.
const SMALLEST: f64 = 0.75;

/// Whose runs.
pub(super) fn title(lines: &Lines<'_>) -> String {
    let mut names: Vec<String> = Vec::new();
    for name in lines.all.iter().map(|line| name(line.member)) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    if let [line] = lines.all.as_slice() {
        return format!("{} · run {}", name(line.member), line.member.run);
    }
    let runs = counted(lines.all.len(), "run", "runs");
    let shown = names.len().min(8);
    let more = if shown < names.len() { " …" } else { "" };
    format!("{}{more}: {runs}", names[..shown].join(", "))
}

/// How they are drawn.
pub(in crate::report) fn subtitle(view: View) -> String {
    let measure = match view.measure {
        Measure::Current => "current",
        Measure::OfLimit => "current as a share of each part's limit",
        Measure::OfCharge => "current over each part's charge C·U",
    };
    let against = match (view.against, view.since) {
        (Against::Voltage, _) => "against the voltage at the part",
        (_, Since::SwitchOn) => "over the time since switch-on",
        (_, Since::FullVoltage) => "over the time since full voltage",
    };
    format!("{measure}, {against}")
}

/// What is printed on the parts; of equal parts once.
pub(super) fn parts(lines: &Lines<'_>) -> String {
    let mut parts: Vec<&str> = Vec::new();
    for line in &lines.all {
        if !parts.contains(&line.member.what.as_str()) {
            parts.push(&line.member.what);
        }
    }
    parts.join(" · ")
}

/// The title of the axis upwards.
pub(super) fn upwards(measure: Measure) -> &'static str {
    match measure {
        Measure::Current => "current",
        Measure::OfLimit => "share of limit",
        Measure::OfCharge => "µA for each µF·V",
    }
}

/// The title of the axis across.
pub(super) fn across(view: View) -> &'static str {
    match (view.against, view.since) {
        (Against::Voltage, _) => "voltage at the part",
        (_, Since::SwitchOn) => "time since switch-on",
        (_, Since::FullVoltage) => "time since full voltage",
    }
}

fn name(member: &Member) -> String {
    if member.name.is_empty() { member.run.to_string() } else { member.name.clone() }
}

/// Number, part and run of each curve beside the place where it ends, with reading and verdict; and
/// the limit, if there is one for all.
pub(super) fn labels(scene: &mut Scene, lines: &Lines<'_>, panel: &Panel) {
    let mut placed: Vec<(f64, Label<'_>)> = lines
        .all
        .iter()
        .enumerate()
        .map(|(index, line)| (end_of(line, panel), Label::Run(index, line)))
        .collect();
    if let Some(limit) = lines.limit() {
        placed.push((panel.y.place(limit), Label::Limit(limit_text(lines))));
    }
    placed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let lay = |height: f64, gap: f64| {
        let wishes: Vec<(f64, f64)> = placed.iter().map(|(y, _)| (*y, height)).collect();
        spread(&wishes, gap, panel.top - 10.0, panel.bottom + 40.0)
    };
    let (tops, height) = match lay(TWO_LINES, 7.0) {
        Some(tops) => (tops, TWO_LINES),
        None => (lay(ONE_LINE, 2.0).unwrap_or_default(), ONE_LINE),
    };
    for ((y, label), top) in placed.iter().zip(tops) {
        label.draw(scene, *y, top, height);
    }
}

enum Label<'a> {
    Run(usize, &'a Line<'a>),
    Limit(String),
}

impl Label<'_> {
    fn draw(&self, scene: &mut Scene, y: f64, top: f64, height: f64) {
        let middle = top + height / 2.0;
        let (ink, name, below) = match self {
            Self::Run(index, line) => (ink_of(*index), heading(line), said(line)),
            Self::Limit(text) => (ink::LIMIT, "limit".to_owned(), text.clone()),
        };
        scene.stroke(&[(SIDES.1, y), (LEFT - 12.0, middle)], 1.2, ink);
        let text = LEFT + 14.0;
        match self {
            Self::Run(index, _) => badge(scene, (LEFT, middle), *index),
            Self::Limit(_) => scene.dashes((LEFT - 10.0, middle), (LEFT + 10.0, middle), 2.6, ink),
        }
        let ink = if matches!(self, Self::Limit(_)) { ink } else { ink::TEXT };
        if height == ONE_LINE {
            return set(
                scene,
                &format!("{name}  {below}"),
                (text, top + 14.0),
                Type::plain(12.0, ink),
            );
        }
        set(scene, &name, (text, top + 14.0), Type::plain(13.5, ink).bold());
        set(scene, &below, (text, top + 30.0), Type::plain(12.0, ink));
    }
}

/// Sets a text that ends with the page at the latest: somewhat smaller if need be, then cut.
fn set(scene: &mut Scene, text: &str, at: (f64, f64), mut look: Type) {
    let room = PAGE_WIDTH - 6.0 - at.0;
    // A hair less than the room: the width is added up from rounded ones.
    let share = room * 0.99 / lettering::width(text, look.size, look.weight);
    look.size *= share.clamp(SMALLEST, 1.0);
    scene.text(lettering::fit(text, look.size, look.weight, room), at, look);
}

/// Part and run.
fn heading(line: &Line<'_>) -> String {
    let member = line.member;
    if member.name.is_empty() {
        return member.run.to_string();
    }
    format!("{} · {}", member.name, member.run)
}

/// Verdict as a sign, and the reading.
fn said(line: &Line<'_>) -> String {
    let curve = &line.member.curve;
    let sign = match curve.verdict {
        Some(Verdict::Within) => "✓",
        Some(Verdict::Over) => "✗",
        Some(Verdict::Undecided) => "?",
        Some(Verdict::Untested) | None => "–",
    };
    let reading = reading_text(curve).or_else(|| Some(curve.findings.first()?.to_string()));
    format!("{sign} {}", reading.unwrap_or_else(|| "no reading".to_owned()))
}

/// The limit in figures, or the line of all limits.
fn limit_text(lines: &Lines<'_>) -> String {
    match lines.view.measure {
        Measure::Current => lines.limit().map_or_else(String::new, |limit| engineering(limit, "A")),
        Measure::OfLimit => "of each part".to_owned(),
        Measure::OfCharge => "the same for all".to_owned(),
    }
}

/// How high the end of a curve stands: its reading, else its last current.
fn end_of(line: &Line<'_>, panel: &Panel) -> f64 {
    if let Some((_, value, _)) = line.reading() {
        let floor = panel.floor.filter(|_| value <= 0.0);
        return floor.unwrap_or_else(|| panel.y.place(value));
    }
    let trace = line.trace(&panel.x, &panel.y);
    let points = trace.strokes.iter().flatten().chain(&trace.dots);
    let last = points.max_by(|a, b| a.0.total_cmp(&b.0)).map(|at| at.1);
    last.or(panel.floor).unwrap_or(panel.bottom)
}

/// A strip for each run: how far it was in which phase.
pub(super) fn strips(scene: &mut Scene, lines: &Lines<'_>, panel: &Panel, top: f64) {
    if lines.strips() == 0 {
        return;
    }
    let look = Type::plain(9.5, ink::TEXT).hung(Anchor::Right);
    let mut y = top;
    for (index, line) in lines.all.iter().enumerate() {
        scene.text((index + 1).to_string(), (SIDES.0 - 5.0, y + 8.0), look);
        for span in &line.member.curve.phases {
            let Some(ink) = shade(span.phase, index) else { continue };
            let ends = [span.from, span.to].map(|at| line.moment(at.get::<second>()));
            let [Some(from), Some(to)] = ends else { continue };
            let (from, to) = (panel.x.place(from), panel.x.place(to));
            if from < to {
                scene.block((from, y + 1.5), (to, y + STRIP - 1.0), ink);
            }
        }
        y += STRIP;
    }
}

/// The soak in the ink of its curve, what comes before it ever paler the earlier it is.
fn shade(phase: Phase, index: usize) -> Option<Ink> {
    match phase {
        Phase::Probe => Some(ink::FAINT),
        Phase::Ramp => Some(ink::BAND_EDGE),
        Phase::Charge | Phase::Settle => Some(ink::QUIET),
        Phase::Soak => Some(ink_of(index)),
        Phase::Idle | Phase::Bleed | Phase::Safe | Phase::LockedOut => None,
    }
}

/// What a reader must know to read the picture right.
pub(super) fn notes(lines: &Lines<'_>) -> String {
    let mut notes = Vec::new();
    if lines.strips() > 0 {
        notes.push(
            "strips above: probe pale, ramp grey, charge and settle dark, soak in colour"
                .to_owned(),
        );
    }
    notes.push("diamonds: readings with their uncertainty, at the limit's temperature".to_owned());
    notes.extend(lines.window().map(|_| "shaded: the window they were taken in".to_owned()));
    notes.extend(event_note(lines));
    if lines.limit().is_none() && lines.all.iter().any(|line| line.limit().is_some()) {
        notes.push(format!("the limits differ: {}", limits(lines)));
    }
    let before = lines.before();
    if before > 0 {
        let count = counted(before, "reading", "readings");
        notes.push(format!("{count} before the axis begins are not drawn"));
    }
    notes.push("discharges are not drawn".to_owned());
    for line in lines.all.iter().filter(|line| 0 < line.member.curve.left_out) {
        notes.push(format!("{}: {}", line.member.run, page::count_note(&line.member.curve)));
    }
    notes.join("; ")
}

/// The limits, each with the numbers of the curves that it is for.
fn limits(lines: &Lines<'_>) -> String {
    let mut listed: Vec<(String, Vec<String>)> = Vec::new();
    for (index, line) in lines.all.iter().enumerate() {
        let limit = line.member.curve.limit.map(|limit| limit.current.get::<ampere>());
        let text = limit.map_or_else(|| "none".to_owned(), |limit| engineering(limit, "A"));
        let number = (index + 1).to_string();
        match listed.iter_mut().find(|(known, _)| *known == text) {
            Some((_, numbers)) => numbers.push(number),
            None => listed.push((text, vec![number])),
        }
    }
    let each = |(text, numbers): (String, Vec<String>)| {
        format!("{} of {}", text.replace(' ', "\u{a0}"), numbers.join(",\u{2009}"))
    };
    listed.into_iter().map(each).collect::<Vec<_>>().join(", ")
}

/// What the marks on the curves mean, as far as there are any.
fn event_note(lines: &Lines<'_>) -> Option<String> {
    if lines.view.against == Against::Voltage {
        return None;
    }
    let all = || lines.all.iter().flat_map(|line| &line.member.curve.events);
    let has = |kind: EventKind| all().any(|event| event.kind == kind);
    let named = [
        (EventKind::End, "cross: output off before time"),
        (EventKind::Burst, "ring: burst"),
        (EventKind::Range, "short upright stroke: change of range"),
    ];
    let told: Vec<&str> =
        named.into_iter().filter(|(kind, _)| has(*kind)).map(|(_, text)| text).collect();
    (!told.is_empty()).then(|| told.join("; "))
}
