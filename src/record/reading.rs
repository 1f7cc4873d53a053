//! One reading as it is kept, and the spans that readings of one phase make.

use std::ops::BitOr;

use jiff::Timestamp;

use crate::plan::Phase;
use crate::quantity::{Current, Time, Voltage};

/// One reading of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Counts the readings of the run; the only order that readings have.
    pub sequence: u32,
    /// Since switch-on, in bench seconds, by a monotonic clock.
    pub time: Time,
    /// When it arrived by the wall clock, which may step; kept to the millisecond.
    pub wall: Timestamp,
    /// What the meter said.
    pub current: RecordedCurrent,
    /// Voltage at the part, where it was known.
    pub voltage: Option<Voltage>,
    /// Full scale of the meter's range, where it was known.
    pub range: Option<Current>,
    /// What else is known about the reading.
    pub flags: Flags,
    /// Where the run stood.
    pub phase: Phase,
}

/// What the meter said: a number, or why there is none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RecordedCurrent {
    /// A current. One that is not finite is kept as [`RecordedCurrent::NotANumber`].
    Value(Current),
    /// Beyond the range.
    Overload {
        /// Whether it went beyond the negative end.
        negative: bool,
    },
    /// The meter's mark for "no number".
    NotANumber,
}

/// Marks on a reading, any number of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Flags(u32);

impl Flags {
    /// No mark.
    pub const NONE: Self = Self(0);
    /// Came out of a backlog: its arrival says little about when it was taken.
    pub const LATE: Self = Self(1);
    /// Taken just after a change of range or voltage.
    pub const SETTLING: Self = Self(1 << 1);
    /// One of the readings that the verdict rests on.
    pub const IN_WINDOW: Self = Self(1 << 2);

    /// Whether every mark of `other` is set.
    #[must_use]
    pub const fn contains(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// The marks as they are stored, one bit each.
    #[must_use]
    pub const fn bits(self) -> u32 {
        self.0
    }

    /// The marks of stored bits; bits without a name are kept.
    #[must_use]
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits)
    }
}

impl BitOr for Flags {
    type Output = Self;

    fn bitor(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// Readings of one phase in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseSpan {
    /// The phase.
    pub phase: Phase,
    /// Time of its first reading, since switch-on.
    pub from: Time,
    /// Time of its last reading, since switch-on.
    pub to: Time,
    /// How many readings.
    pub readings: u32,
}

impl PhaseSpan {
    /// Puts a reading into the last span, or begins the next one with it.
    pub(super) fn extend(spans: &mut Vec<Self>, row: &Row) {
        match spans.last_mut() {
            Some(last) if last.phase == row.phase => {
                last.to = row.time;
                last.readings += 1;
            }
            Some(_) | None => {
                spans.push(Self { phase: row.phase, from: row.time, to: row.time, readings: 1 });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_add_up_without_touching_each_other() {
        let both = Flags::LATE | Flags::IN_WINDOW;
        assert!(both.contains(Flags::LATE) && both.contains(Flags::IN_WINDOW));
        assert!(!both.contains(Flags::SETTLING));
        assert!(!Flags::LATE.contains(both));
        assert_eq!(Flags::from_bits(both.bits()), both);
        assert!(both.contains(Flags::NONE));
    }
}
