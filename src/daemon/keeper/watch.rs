//! The keeper's judgement, without clock or pipe: when to switch off.

use std::time::Duration;

/// Silence of the heartbeat from which on the daemon hangs. The actor beats ten times a second.
const LONGEST_SILENCE: Duration = Duration::from_millis(700);

/// What the daemon last said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Watch {
    /// The output has not been on yet, or the part is measured empty.
    Idle,
    /// Output on or part charged: the last beat came then.
    Armed { beat: Duration, age: Duration },
    /// The pipe was closed with the output on.
    Orphaned,
    /// The pipe was closed with nothing to keep.
    Done,
}

/// What there is to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Duty {
    /// Nothing.
    Wait,
    /// The daemon hangs, for this reason: write output-off, but leave its replies to it.
    SwitchOff(String),
    /// The daemon is dead: switch off, bleed, watch the voltage, then end.
    MakeSafe,
    /// End.
    End,
}

impl Watch {
    /// Takes a line from the pipe.
    pub(super) fn hear(&mut self, line: &str, now: Duration) {
        let age = |text: &str| text.trim().parse().map_or(Duration::MAX, Duration::from_millis);
        match line.split_once(' ') {
            None if line == "arm" => *self = Self::Armed { beat: now, age: Duration::ZERO },
            None if line == "release" => *self = Self::Idle,
            Some(("beat", text)) if matches!(self, Self::Armed { .. }) => {
                *self = Self::Armed { beat: now, age: age(text) };
            }
            _ => {}
        }
    }

    /// The pipe was closed: the daemon has ended, one way or another.
    pub(super) fn closed(&mut self) {
        *self = match self {
            Self::Armed { .. } | Self::Orphaned => Self::Orphaned,
            Self::Idle | Self::Done => Self::Done,
        };
    }

    /// What there is to do at `now`, if no judged reading may be older than `stale`.
    pub(super) fn duty(&self, now: Duration, stale: Duration) -> Duty {
        match *self {
            Self::Idle => Duty::Wait,
            Self::Done => Duty::End,
            Self::Orphaned => Duty::MakeSafe,
            Self::Armed { beat, age } => {
                let silence = now.saturating_sub(beat);
                if LONGEST_SILENCE < silence {
                    return Duty::SwitchOff(format!("no heartbeat for {} ms", silence.as_millis()));
                }
                if stale < age {
                    return Duty::SwitchOff(format!(
                        "no reading judged for {} ms",
                        age.as_millis()
                    ));
                }
                Duty::Wait
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STALE: Duration = Duration::from_secs(2);

    fn at(ms: u64) -> Duration {
        Duration::from_millis(ms)
    }

    fn told(lines: &[(&str, u64)]) -> Watch {
        let mut watch = Watch::Idle;
        for (line, ms) in lines {
            watch.hear(line, at(*ms));
        }
        watch
    }

    #[test]
    fn a_daemon_that_was_never_armed_may_go_quietly() {
        let mut watch = told(&[]);
        assert_eq!(watch.duty(at(60_000), STALE), Duty::Wait);
        watch.closed();
        assert_eq!(watch.duty(at(60_000), STALE), Duty::End);
    }

    #[test]
    fn a_dead_daemon_is_noticed_at_once() {
        let mut watch = told(&[("arm", 0), ("beat 50", 100)]);
        watch.closed();
        assert_eq!(watch.duty(at(101), STALE), Duty::MakeSafe);
    }

    #[test]
    fn a_hanging_daemon_is_noticed_within_a_second() {
        let watch = told(&[("arm", 0), ("beat 50", 100)]);
        assert_eq!(watch.duty(at(700), STALE), Duty::Wait);
        assert!(matches!(watch.duty(at(1100), STALE), Duty::SwitchOff(_)));
    }

    #[test]
    fn a_beat_with_an_old_reading_is_no_comfort() {
        let watch = told(&[("arm", 0), ("beat 2100", 100)]);
        assert!(matches!(watch.duty(at(101), STALE), Duty::SwitchOff(why) if why.contains("2100")));
    }

    #[test]
    fn a_beat_that_makes_no_sense_counts_as_old() {
        let watch = told(&[("arm", 0), ("beat soon", 100)]);
        assert!(matches!(watch.duty(at(101), STALE), Duty::SwitchOff(_)));
    }

    #[test]
    fn a_beat_alone_does_not_arm_and_a_release_ends_the_watch() {
        assert_eq!(told(&[("beat 9000", 0)]).duty(at(5000), STALE), Duty::Wait);
        let watch = told(&[("arm", 0), ("release", 10)]);
        assert_eq!(watch.duty(at(5000), STALE), Duty::Wait);
    }

    #[test]
    fn a_daemon_that_comes_back_is_trusted_again() {
        let mut watch = told(&[("arm", 0)]);
        assert!(matches!(watch.duty(at(1000), STALE), Duty::SwitchOff(_)));
        watch.hear("beat 10", at(1100));
        assert_eq!(watch.duty(at(1100), STALE), Duty::Wait);
    }
}
