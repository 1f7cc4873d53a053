//! The head of the page: what part, what was said of it, and why.

use uom::si::time::second;

use super::Curve;
use super::label::duration;
use super::lettering::{fit, wrap};
use super::margin::{limit_text, reading_text};
use super::scene::{Anchor, Ink, PAGE_WIDTH, Scene, Type, ink};
use crate::judge::{Finding, Verdict};

/// Left and right edge of the head.
const EDGES: (f64, f64) = (40.0, PAGE_WIDTH - 40.0);
/// Room for the findings, right.
const FINDINGS: f64 = 520.0;

/// What a head says.
#[derive(Debug)]
pub(super) struct Head<'a> {
    pub(super) title: &'a str,
    pub(super) subtitle: &'a str,
    pub(super) summary: String,
    pub(super) verdict: Option<Verdict>,
    pub(super) findings: &'a [Finding],
    pub(super) simulated: bool,
}

/// Sets the head of a curve.
pub(super) fn draw(scene: &mut Scene, curve: &Curve) {
    let head = Head {
        title: &curve.title,
        subtitle: &curve.subtitle,
        summary: summary_text(curve),
        verdict: curve.verdict,
        findings: &curve.findings,
        simulated: curve.simulated,
    };
    set(scene, &head);
}

/// Sets a head.
pub(super) fn set(scene: &mut Scene, head: &Head<'_>) {
    if head.simulated {
        simulated(scene);
    }
    let pill = verdict(scene, head.verdict);
    let title = Type::plain(27.0, ink::TEXT).bold();
    let room = pill - EDGES.0 - 30.0;
    scene.text(fit(head.title, title.size, title.weight, room), (EDGES.0, 70.0), title);
    let subtitle = Type::plain(15.0, ink::QUIET);
    let room = EDGES.1 - EDGES.0 - FINDINGS - 30.0;
    let text = fit(head.subtitle, subtitle.size, subtitle.weight, room);
    scene.text(text, (EDGES.0, 97.0), subtitle);
    let summary = Type::plain(17.0, ink::TEXT);
    scene.text(head.summary.as_str(), (EDGES.0, 128.0), summary);
    findings(scene, head.findings);
}

/// A hatched strip across the page, so that a simulated curve is never taken for a part.
pub(super) fn simulated(scene: &mut Scene) {
    const HEIGHT: f64 = 30.0;
    scene.block((0.0, 0.0), (PAGE_WIDTH, HEIGHT), ink::FAINT);
    let mut x = -HEIGHT;
    while x < PAGE_WIDTH {
        let foot = [(x, HEIGHT), (x + HEIGHT, 0.0), (x + HEIGHT + 8.0, 0.0), (x + 8.0, HEIGHT)];
        scene.fill(&foot, ink::GRID);
        x += 24.0;
    }
    let look = Type::plain(16.0, ink::TEXT).bold().hung(Anchor::Middle);
    let text = "simulated: no real part was measured";
    let half = look.width(text) / 2.0 + 14.0;
    let middle = PAGE_WIDTH / 2.0;
    scene.block((middle - half, 0.0), (middle + half, HEIGHT), ink::PAPER);
    scene.text(text, (middle, 21.0), look);
}

/// Sets the verdict in the right corner; gives its left edge.
fn verdict(scene: &mut Scene, verdict: Option<Verdict>) -> f64 {
    let (sign, ground, letters) = match verdict {
        Some(Verdict::Within) => ("✓ ", ink::GOOD, ink::PAPER),
        Some(Verdict::Over) => ("✗ ", ink::ALARM, ink::PAPER),
        Some(Verdict::Undecided) => ("? ", ink::PAPER, ink::TEXT),
        Some(Verdict::Untested) => ("– ", ink::FAINT, ink::TEXT),
        None => ("", ink::PAPER, ink::QUIET),
    };
    let text = format!("{sign}{}", verdict.map_or("no verdict yet", Verdict::tag));
    let look = Type::plain(26.0, letters).bold();
    let left = EDGES.1 - look.width(&text) - 36.0;
    scene.block((left, 42.0), (EDGES.1, 82.0), ground);
    scene.edge((left, 42.0), (EDGES.1, 82.0), 2.0, edge(ground));
    scene.text(text, (left + 18.0, 71.0), look);
    left
}

/// The colour of the verdict's edge: its ground, or dark where that is paper.
fn edge(ground: Ink) -> Ink {
    if ground == ink::PAPER || ground == ink::FAINT { ink::TEXT } else { ground }
}

/// Reading and limit in a sentence; an SVG would fold common spaces into one.
fn summary_text(curve: &Curve) -> String {
    let reading = match reading_text(curve) {
        Some(text) => format!("reading {text}"),
        None => "no reading".to_owned(),
    };
    let limit = match (curve.limit, limit_text(curve)) {
        (Some(limit), Some(text)) => {
            let after = duration(limit.reading_time.get::<second>());
            format!("limit {text} after {after} at full voltage")
        }
        (Some(_), None) | (None, _) => "no limit known".to_owned(),
    };
    format!("{reading}\u{2003}·\u{2003}{limit}")
}

/// Sets the findings below the verdict, in plain words.
fn findings(scene: &mut Scene, findings: &[Finding]) {
    let words = findings.iter().map(|finding| finding.tag().replace('-', "\u{a0}"));
    let text = words.collect::<Vec<_>>().join("\u{a0}· ");
    let look = Type::plain(16.0, ink::TEXT).hung(Anchor::Right);
    let mut y = 105.0;
    for line in wrap(&text, look.size, look.weight, FINDINGS) {
        scene.text(line, (EDGES.1, y), look);
        y += 20.0;
    }
}

#[cfg(test)]
mod tests {
    use super::super::example;
    use super::*;

    fn texts(curve: &Curve) -> String {
        let mut scene = Scene::default();
        draw(&mut scene, curve);
        scene.texts().join("\n")
    }

    #[test]
    fn the_head_says_what_was_read_and_judged() {
        insta::assert_snapshot!(texts(&example::leaky()), @r"
        ✗ over
        C418 · tantalum 22 µF 25 V
        solid tantalum · ±10 % · receiver power board, Terne · bench 2 · 14 March
        reading 55.2 ± 1.6 µA · limit 5.5 µA after 5 min at full voltage
        settled
        ");
    }

    #[test]
    fn the_head_says_what_is_not_known() {
        let blank = Curve { limit: None, reading: None, verdict: None, ..example::healthy() };
        insta::assert_snapshot!(summary_text(&blank), @"no reading · no limit known");
    }

    #[test]
    fn all_findings_stand_in_words_and_none_is_left_out() {
        let curve = Curve { findings: Finding::ALL.to_vec(), ..example::healthy() };
        let words = texts(&curve).replace(['\u{a0}', '\n'], " ");
        for finding in Finding::ALL {
            assert!(words.contains(&finding.tag().replace('-', " ")), "{finding}: {words}");
        }
    }

    #[test]
    fn each_verdict_has_a_sign_and_a_look_of_its_own() {
        let look = |verdict| {
            let mut scene = Scene::default();
            super::verdict(&mut scene, Some(verdict));
            format!("{:?}", scene.marks)
        };
        let mut looks: Vec<String> = Verdict::ALL.iter().map(|&verdict| look(verdict)).collect();
        looks.sort();
        looks.dedup();
        assert_eq!(looks.len(), Verdict::ALL.len());
    }
}
