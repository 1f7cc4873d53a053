//! Where the truth about a part lies: what its verdict is held against.

use crate::trial::{Case, Run};
use crate::truth::State;

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
            State::Unsteady => Self::Unsteady,
            State::OtherValue if run.value_doubt < case.truth.off_value => Self::OtherValue,
            // One whose measured value may still be the printed one goes by its leakage.
            State::OtherValue | State::Sound => Self::of_leakage(case, run),
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

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::faults::Class;
    use crate::station::MeterClass;
    use crate::truth::Truth;

    /// A part that leaks so many limits, read with an uncertainty of a tenth of the limit.
    fn grade(share: f64, state: State, off_value: f64) -> Grade {
        let reading = Some((share, 0.1));
        let run = Run { reading, value_doubt: 0.2, ..Run::endless([None; 3]) };
        let truth = Truth { state, leakage: share, off_value };
        let (class, meter) = (Class::Healthy, MeterClass::Bench);
        let case =
            Case { index: 0, row: 0, class, meter, limit: 1.0, truth, full: run, early: run };
        Grade::of(&case, &run)
    }

    #[rstest]
    #[case::clearly_within(0.89, Grade::Within)]
    #[case::too_near_to_say(0.91, Grade::Near)]
    #[case::too_near_on_the_other_side(1.09, Grade::Near)]
    #[case::over(1.11, Grade::Over)]
    #[case::over_by_a_fifth(1.31, Grade::FarOver)]
    fn a_sound_part_goes_by_its_leakage(#[case] share: f64, #[case] expected: Grade) {
        assert_eq!(grade(share, State::Sound, 0.0), expected);
    }

    #[test]
    fn a_value_within_the_doubt_about_it_is_none_of_another() {
        assert_eq!(grade(0.5, State::OtherValue, 0.1), Grade::Within);
        assert_eq!(grade(0.5, State::OtherValue, 0.3), Grade::OtherValue);
    }
}
