//! What would decide: which part of the uncertainty stands in the way, and how far it must shrink.

use crate::judge::{Reading, Source};
use crate::quantity::{Current, amperes, text};

/// What stands between a reading and a decision.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Need {
    /// This source alone would do, if it came down to this share of what it is.
    Shrink { source: Source, share: f64 },
    /// No single source would do: the whole guard would have to come down to this.
    Guard(Current),
    /// It lies on its limit.
    OnTheLimit,
}

/// A guard that would have to shrink to less than this share of what it is decides nothing soon.
const LEAST_SHARE: f64 = 0.05;

impl Need {
    /// What it takes for a guard of at most `guard`, or none if it is met already.
    pub(super) fn of(reading: &Reading, guard: Current) -> Option<Self> {
        let budget = &reading.budget;
        let (source, largest) = budget.largest_first().first().copied()?;
        let standard = guard / budget.confidence().coverage();
        if budget.standard() <= standard {
            return None;
        }
        if standard < budget.standard() * LEAST_SHARE {
            return Some(Self::OnTheLimit);
        }
        let others = budget.standard().value.powi(2) - largest.value.powi(2);
        let room = standard.value.powi(2) - others;
        if room <= 0.0 {
            return Some(Self::Guard(guard));
        }
        Some(Self::Shrink { source, share: room.sqrt() / largest.value })
    }

    pub(super) fn in_words(&self) -> String {
        match self {
            Self::Shrink { source, share } => format!(
                "{source} is the largest doubt, and at {:.0} % of what it is this would be decided, \
                 by {}",
                // Rounded down: 49.6 % must not be told as enough at 50 %.
                (share * 100.0).floor().max(1.0),
                source.remedy()
            ),
            Self::Guard(guard) => format!(
                "a decision takes ±{}, and no single doubt stands for the rest",
                text::current(two_digits(*guard))
            ),
            Self::OnTheLimit => {
                "it lies on its limit, where no better bench decides; take it for over".into()
            }
        }
    }
}

/// Two significant digits, rounded down.
fn two_digits(current: Current) -> Current {
    let place = 10_f64.powf(current.value.abs().log10().floor() - 1.0);
    amperes((current.value / place + 1e-9).floor() * place)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Budget;
    use crate::part::Reach;
    use crate::quantity::{seconds, volts};

    fn reading(budget: Budget) -> Reading {
        let (current, at, voltage) = (amperes(1e-6), seconds(300.0), volts(25.0));
        Reading {
            current,
            raw: current,
            budget,
            reach: Reach::Near,
            rise: amperes(0.0),
            at,
            voltage,
        }
    }

    #[test]
    fn the_largest_doubt_is_told_how_far_it_must_shrink() {
        // 30 and 40 nA are 50 nA; for 1.96·√(30² + x²) = 78.4 nA, x is √(40² − 30²) = 26.5 nA.
        let budget = Budget::default()
            .with(Source::Scatter, amperes(30e-9))
            .with(Source::Meter, amperes(40e-9));
        let need = Need::of(&reading(budget), amperes(78.4e-9)).unwrap();
        let Need::Shrink { source, share } = need else { panic!("{need:?}") };
        assert_eq!(source, Source::Meter);
        assert!((share - 26.46 / 40.0).abs() < 1e-3, "{share}");
        assert!(need.in_words().starts_with("meter is the largest doubt, and at 66 %"), "{need:?}");
    }

    #[test]
    fn two_equal_doubts_are_not_laid_to_one() {
        let budget = Budget::default()
            .with(Source::Scatter, amperes(30e-9))
            .with(Source::Meter, amperes(30e-9));
        let need = Need::of(&reading(budget), amperes(50e-9)).unwrap();
        assert_eq!(need, Need::Guard(amperes(50e-9)));
        assert!(need.in_words().contains("±50 nA"), "{}", need.in_words());
    }

    #[test]
    fn a_part_on_its_limit_is_not_sent_for_a_better_meter() {
        let budget = Budget::default().with(Source::Meter, amperes(10e-9));
        assert_eq!(Need::of(&reading(budget), amperes(0.0)), Some(Need::OnTheLimit));
    }

    #[test]
    fn a_guard_that_is_narrow_enough_needs_nothing() {
        let budget = Budget::default().with(Source::Meter, amperes(10e-9));
        assert_eq!(Need::of(&reading(budget), amperes(20e-9)), None);
        assert_eq!(Need::of(&reading(Budget::default()), amperes(0.0)), None);
    }
}
