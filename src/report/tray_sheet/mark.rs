//! The mark of a verdict: a shape of its own, so that it is told without colour.

use maud::{Markup, html};

use crate::judge::Verdict;

/// What is to be said of a slot: a verdict, or none yet.
pub(in crate::report) type Said = Option<Verdict>;

/// Every thing that can be said, in the order of the sums.
pub(in crate::report) const ALL: [Said; 5] = [
    Some(Verdict::Within),
    Some(Verdict::Over),
    Some(Verdict::Undecided),
    Some(Verdict::Untested),
    None,
];

/// In words.
pub(in crate::report) fn words(said: Said) -> &'static str {
    match said {
        Some(Verdict::Within) => "within its limit",
        Some(Verdict::Over) => "over its limit",
        Some(Verdict::Undecided) => "undecided",
        Some(Verdict::Untested) => "untested",
        None => "not yet tested",
    }
}

/// The name of its style.
pub(in crate::report) fn style(said: Said) -> &'static str {
    said.map_or("open", Verdict::tag)
}

/// The mark: a disc with a tick, a square with a cross, a diamond with a question, an empty ring, a
/// broken ring.
pub(in crate::report) fn mark(said: Said) -> Markup {
    html! {
        svg.mark viewBox="0 0 24 24" aria-hidden="true" {
            @match said {
                Some(Verdict::Within) => {
                    circle.shape cx="12" cy="12" r="10" {}
                    polyline.sign points="7,12.5 10.7,16 17,8.5" {}
                }
                Some(Verdict::Over) => {
                    rect.shape x="3" y="3" width="18" height="18" {}
                    path.sign d="M8 8 L16 16 M16 8 L8 16" {}
                }
                Some(Verdict::Undecided) => {
                    polygon.shape points="12,1 23,12 12,23 1,12" {}
                    path.sign d="M9.3 9.6 C9.3 6.2 14.8 6.4 14.8 9.6 C14.8 11.8 12 11.8 12 14.2" {}
                    circle.point cx="12" cy="17.2" r="1.3" {}
                }
                Some(Verdict::Untested) => {
                    circle.ring cx="12" cy="12" r="9" {}
                    path.ring d="M5.6 18.4 L18.4 5.6" {}
                }
                None => {
                    circle.ring.broken cx="12" cy="12" r="9" {}
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_verdict_has_words_and_a_shape_of_its_own() {
        let shapes: Vec<String> = ALL.iter().map(|said| mark(*said).into_string()).collect();
        let words: Vec<&str> = ALL.iter().map(|said| words(*said)).collect();
        for (index, shape) in shapes.iter().enumerate() {
            assert!(!shapes[..index].contains(shape) && !words[..index].contains(&words[index]));
        }
        assert!(Verdict::ALL.iter().all(|verdict| ALL.contains(&Some(*verdict))));
    }
}
