//! The strips beside the panels: phases above, events and the limit's clock between.

use uom::si::time::second;

use super::extent::{last_moment, reading_due};
use super::label::duration;
use super::panel::{SIDES, Sheet};
use super::scale::Scale;
use super::scene::{Anchor, At, Ink, Scene, Type, ink};
use super::spread::spread;
use super::{Curve, Event, Span};

/// How the names of phases are set.
const NAME: Type = Type::plain(14.0, ink::TEXT);
/// Height of the bar that shows the phases.
const BAR: f64 = 10.0;
/// Height over which lines lead from names to the bar.
const LEAD: f64 = 16.0;
/// How far a name may stand from its phase; farther off it would be taken for another's.
const FARTHEST: f64 = 220.0;
/// Most events that get a number; of more, the first and the last do.
const NUMBERED: usize = 8;

/// Names of phases with the middle of their span and where they begin, none over another.
#[derive(Debug)]
pub(super) struct Names<'a> {
    /// The span, the middle of what it takes on the page, and the left edge of its name.
    set: Vec<(&'a Span, f64, f64)>,
    /// How many names found no room.
    pub(super) left_out: usize,
}

impl<'a> Names<'a> {
    /// Names of the phases along a time axis; the shortest phases go first if room is short.
    pub(super) fn of(curve: &'a Curve, time: &Scale) -> Self {
        let place = |span: &Span| {
            let ends = [span.from, span.to].map(|at| time.place(at.get::<second>()));
            (f64::midpoint(ends[0], ends[1]), ends[1] - ends[0])
        };
        let mut named: Vec<_> = curve.phases.iter().map(|span| (span, place(span))).collect();
        named.sort_by(|(_, (a, _)), (_, (b, _))| a.total_cmp(b));
        loop {
            if let Some(set) = set(&named) {
                return Self { left_out: curve.phases.len() - named.len(), set };
            }
            drop_shortest(&mut named);
        }
    }

    /// Sets the names and the bar, whose lower edge is at `bottom`.
    pub(super) fn draw(&self, scene: &mut Scene, curve: &Curve, sheet: &Sheet, bottom: f64) {
        let top = bottom - BAR;
        for (index, span) in curve.phases.iter().enumerate() {
            let (from, to) = (sheet.x(span.from), sheet.x(span.to));
            let ink = if index % 2 == 0 { ink::QUIET } else { ink::BAND_EDGE };
            scene.block((from, top), (to.max(from + 1.0), bottom), ink);
        }
        for &(span, middle, left) in &self.set {
            let name = span.phase.tag();
            let under = left + NAME.width(name) / 2.0;
            scene.text(name, (left, top - LEAD - 4.0), NAME);
            scene.stroke(&[(under, top - LEAD + 1.0), (middle, top)], 0.9, ink::QUIET);
        }
    }
}

/// Names with the middle of their span and their left edge, if all find room near it.
fn set<'a>(named: &[(&'a Span, (f64, f64))]) -> Option<Vec<(&'a Span, f64, f64)>> {
    let width = |span: &Span| NAME.width(span.phase.tag());
    let wishes: Vec<_> = named.iter().map(|(span, (x, _))| (*x, width(span))).collect();
    let lefts = spread(&wishes, 10.0, SIDES.0, SIDES.1)?;
    let set = named.iter().zip(lefts).map(|((span, (x, _)), left)| (*span, *x, left));
    let set: Vec<_> = set.collect();
    let near =
        |&(span, x, left): &(&Span, f64, f64)| (left + width(span) / 2.0 - x).abs() <= FARTHEST;
    set.iter().all(near).then_some(set)
}

/// Takes the shortest span out of the names.
fn drop_shortest(named: &mut Vec<(&Span, (f64, f64))>) {
    let shortest = named.iter().enumerate().min_by(|(_, a), (_, b)| a.1.1.total_cmp(&b.1.1));
    if let Some((index, _)) = shortest {
        named.remove(index);
    }
}

/// The events that get a number, with it.
pub(super) fn numbered(curve: &Curve) -> Vec<(usize, &Event)> {
    let all = curve.events.len();
    let wanted =
        |index: usize| all <= NUMBERED || index < NUMBERED / 2 || index >= all - NUMBERED / 2;
    let events = curve.events.iter().enumerate();
    events.filter(|(index, _)| wanted(*index)).map(|(index, event)| (index + 1, event)).collect()
}

/// Numbers of the events, right below the current panel.
pub(super) fn flags(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    const RADIUS: f64 = 10.0;
    let mut events = numbered(curve);
    events.sort_by(|(_, a), (_, b)| sheet.x(a.at).total_cmp(&sheet.x(b.at)));
    let wishes: Vec<_> =
        events.iter().map(|(_, event)| (sheet.x(event.at), 2.0 * RADIUS)).collect();
    let lefts = spread(&wishes, 3.0, SIDES.0, SIDES.1).unwrap_or_default();
    let look = Type::plain(12.0, ink::PAPER).bold().hung(Anchor::Middle);
    let top = sheet.upper.1;
    for ((number, event), left) in events.into_iter().zip(lefts) {
        let centre = (left + RADIUS, top + 9.0 + RADIUS);
        scene.stroke(&[(sheet.x(event.at), top), centre], 1.0, ink::QUIET);
        scene.disc(centre, RADIUS, ink::TEXT);
        scene.text(number.to_string(), (centre.0, centre.1 + 4.5), look);
    }
}

/// The limit's clock as a measure from full voltage to the reading time.
pub(super) fn clock(scene: &mut Scene, curve: &Curve, sheet: &Sheet) {
    let Some(began) = curve.full_voltage_at else { return };
    let (from, y) = (sheet.x(began), sheet.lower.0 - 17.0);
    let look = Type::plain(14.0, ink::TEXT);
    let (Some(due), Some(limit)) = (reading_due(curve), curve.limit) else {
        return beside(scene, "full voltage", (from, from), y, look);
    };
    let to = sheet.time.place(due);
    let reached = match curve.verdict {
        _ if due <= last_moment(curve) => "",
        Some(_) => ", not reached",
        None => ", not yet reached",
    };
    let text = format!("{} at full voltage{reached}", duration(limit.reading_time.get::<second>()));
    let ends = (due <= sheet.time.range.high).then_some(to);
    measure(scene, (from, y), to, ends.is_some());
    if look.width(&text) + 60.0 < to - from {
        let middle = f64::midpoint(from, to);
        let half = look.width(&text) / 2.0 + 8.0;
        scene.block((middle - half, y - 8.0), (middle + half, y + 8.0), ink::PAPER);
        scene.text(text, (middle, y + 5.0), look.hung(Anchor::Middle));
    } else {
        beside(scene, &text, (from, to), y, look);
    }
}

/// A line between two moments with an arrow head at each end that is on the page.
fn measure(scene: &mut Scene, (from, y): At, to: f64, ends: bool) {
    scene.stroke(&[(from, y), (to, y)], 1.2, ink::TEXT);
    let reach = ((to - from) / 3.0).min(11.0);
    arrow(scene, (from, y), reach, ink::TEXT);
    if ends {
        arrow(scene, (to, y), -reach, ink::TEXT);
    }
}

/// An arrow head with its tip at a place, its foot `reach` to the right.
fn arrow(scene: &mut Scene, (x, y): At, reach: f64, ink: Ink) {
    scene.fill(&[(x, y), (x + reach, y - 4.0), (x + reach, y + 4.0)], ink);
}

/// A text right of two moments, or left of them if the page ends.
fn beside(scene: &mut Scene, text: &str, (from, to): At, y: f64, look: Type) {
    if to + 10.0 + look.width(text) <= SIDES.1 {
        scene.text(text, (to + 10.0, y + 5.0), look);
    } else {
        scene.text(text, (from - 10.0, y + 5.0), look.hung(Anchor::Right));
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::super::scale::{Kind, Range};
    use super::super::{EventKind, example};
    use super::*;
    use crate::plan::Phase;
    use crate::quantity::seconds;

    const TIME: Scale = Scale {
        range: Range { kind: Kind::Linear, low: 0.0, high: 305.0 },
        start: SIDES.0,
        end: SIDES.1,
    };

    #[test]
    fn phases_of_a_second_in_five_minutes_keep_their_names() {
        let curve = example::healthy();
        let names = Names::of(&curve, &TIME);
        assert_eq!((names.set.len(), names.left_out), (curve.phases.len(), 0));
        for pair in names.set.windows(2) {
            let end = pair[0].2 + NAME.width(pair[0].0.phase.tag());
            assert!(end + 9.9 < pair[1].2, "{pair:?}");
        }
    }

    #[test]
    fn the_shortest_of_too_many_phases_lose_their_names_and_are_counted() {
        let step = |index: u32| {
            let from = f64::from(index) * 6.0;
            let even = index.is_multiple_of(2);
            let (phase, last) = if even { (Phase::Ramp, 5.0) } else { (Phase::Charge, 1.0) };
            Span { phase, from: seconds(from), to: seconds(from + last) }
        };
        let curve = Curve { phases: (0..50).map(step).collect(), ..example::healthy() };
        let names = Names::of(&curve, &TIME);
        assert_eq!(names.set.len() + names.left_out, 50);
        let of = |phase| names.set.iter().filter(|(span, ..)| span.phase == phase).count();
        assert!(of(Phase::Charge) < of(Phase::Ramp), "{names:?}");
    }

    #[rstest]
    #[case::few(3, &[1, 2, 3])]
    #[case::many(30, &[1, 2, 3, 4, 27, 28, 29, 30])]
    fn the_first_and_the_last_of_many_events_are_numbered(
        #[case] count: u32,
        #[case] expected: &[usize],
    ) {
        let event = |index| Event {
            at: seconds(f64::from(index)),
            text: "range".to_owned(),
            kind: EventKind::Range,
        };
        let curve = Curve { events: (0..count).map(event).collect(), ..example::healthy() };
        let numbers: Vec<usize> = numbered(&curve).iter().map(|(number, _)| *number).collect();
        assert_eq!(numbers, expected);
    }
}
