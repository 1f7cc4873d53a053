//! Where the truth about a part lies: what its verdict is held against.

use crate::specimen::State;
use crate::trial::{Case, Run};

/// A part that is over by this and the uncertainty must never pass.
const FAR: f64 = 1.2;

/// Where the truth lies, against the limit and the uncertainty of the reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grade {
    /// Within, by more than the uncertainty.
    Within,
    /// So near to the limit that the uncertainty holds it.
    Near,
    /// Over by more than the uncertainty.
    Over,
    /// Over by 20 % and the uncertainty.
    FarOver,
    /// Still within at the reading time, but climbing or bursting.
    Unsteady,
    /// Bad whatever it leaks.
    Bad,
    /// Not of the printed value.
    OtherValue,
    /// Not there.
    Absent,
}

impl Grade {
    /// All of them.
    pub(crate) const ALL: [Self; 8] = [
        Self::Within,
        Self::Near,
        Self::Over,
        Self::FarOver,
        Self::Unsteady,
        Self::Bad,
        Self::OtherValue,
        Self::Absent,
    ];

    /// That of a part in one of its runs.
    pub(crate) fn of(case: &Case, run: &Run) -> Self {
        match case.state(run) {
            State::Absent => Self::Absent,
            State::Bad => Self::Bad,
            State::OtherValue => Self::OtherValue,
            State::Unsteady => Self::Unsteady,
            State::Sound => Self::of_leakage(case, run),
        }
    }

    fn of_leakage(case: &Case, run: &Run) -> Self {
        let uncertainty = run.reading.map_or(0.0, |(_, half_width)| half_width);
        let (leakage, limit) = (case.truth.leakage, case.limit);
        if limit * FAR + uncertainty < leakage {
            Self::FarOver
        } else if limit + uncertainty < leakage {
            Self::Over
        } else if limit - uncertainty < leakage {
            Self::Near
        } else {
            Self::Within
        }
    }

    /// Whether `within` is false of it.
    pub(crate) fn forbids_within(self) -> bool {
        match self {
            Self::Over | Self::FarOver | Self::Bad | Self::OtherValue | Self::Absent => true,
            Self::Within | Self::Near | Self::Unsteady => false,
        }
    }

    /// Whether its leakage or its faults make it a bad part.
    pub(crate) fn is_bad(self) -> bool {
        matches!(self, Self::Over | Self::FarOver | Self::Bad)
    }

    /// The word in the tables.
    pub(crate) fn tag(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Near => "near the limit",
            Self::Over => "over",
            Self::FarOver => "over by 20 %",
            Self::Unsteady => "within, unsteady",
            Self::Bad => "bad",
            Self::OtherValue => "other value",
            Self::Absent => "absent",
        }
    }
}
