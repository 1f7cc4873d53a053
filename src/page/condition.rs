//! What a person has to know of a station before anything else, in words that are read from across
//! the room.

use crate::daemon::{Doing, Standing};
use crate::judge::Left;
use crate::plan::Phase;
use crate::words::words;

words! {
    /// What a person has to know of a station before anything else.
    Condition {
        /// Nothing is energised by this program; nothing is known of what is in the clip.
        Idle = "idle",
        /// Voltage stands at the clips, or is about to.
        Energised = "energised",
        /// The output is off, the part is not proven empty.
        Discharging = "discharging",
        /// The part was measured empty.
        Safe = "may-be-unclipped",
        /// Not proven empty; a person has to look.
        LockedOut = "locked-out",
        /// Another command has the station.
        InUse = "in-use",
    }
}

impl Condition {
    /// Of a station whose run is in this phase.
    pub(super) fn of(standing: &Standing, phase: Phase) -> Self {
        match standing.doing {
            Doing::Lent => return Self::InUse,
            Doing::Starting => return Self::Energised,
            Doing::Running | Doing::MakingSafe => return Self::in_phase(phase),
            Doing::Idle | Doing::Closing => {}
        }
        if standing.locked_out.is_some() {
            return Self::LockedOut;
        }
        match standing.last.as_ref().map(|last| last.left) {
            Some(Some(Left::Safe)) => Self::Safe,
            Some(Some(Left::LockedOut)) => Self::LockedOut,
            // Cut off, and not made safe yet: nobody saw it empty.
            Some(None) if standing.last.as_ref().is_some_and(|last| last.verdict.is_none()) => {
                Self::Discharging
            }
            Some(None) | None => Self::Idle,
        }
    }

    /// Of a run in this phase.
    pub(super) fn in_phase(phase: Phase) -> Self {
        match phase {
            Phase::Idle
            | Phase::Probe
            | Phase::Ramp
            | Phase::Charge
            | Phase::Settle
            | Phase::Soak => Self::Energised,
            Phase::Bleed => Self::Discharging,
            Phase::Safe => Self::Safe,
            Phase::LockedOut => Self::LockedOut,
        }
    }

    /// The words that are read from across the room.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Self::Idle => "IDLE",
            Self::Energised => "ENERGISED",
            Self::Discharging => "DISCHARGING",
            Self::Safe => "MAY BE UNCLIPPED",
            Self::LockedOut => "LOCKED OUT",
            Self::InUse => "IN USE",
        }
    }

    /// What that means for hands.
    #[must_use]
    pub fn means(self) -> &'static str {
        match self {
            Self::Idle => {
                "Nothing is energised from here. Measure before you touch what is clipped in."
            }
            Self::Energised => "Do not touch the clips.",
            Self::Discharging => "Output off, not proven empty. Do not touch the clips.",
            Self::Safe => "Measured empty after the last run.",
            Self::LockedOut => {
                "Not proven empty. Do not touch. Switch the supply off by hand, measure the part, \
                 discharge it through a resistor."
            }
            Self::InUse => "Another command has this station. It may be energised: do not touch.",
        }
    }
}
