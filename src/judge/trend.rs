//! Watches how the current moves during the soak: still falling, climbing, or bursting.
//!
//! Works on means over blocks of ten seconds and keeps a handful of numbers, however long the
//! soak. Thresholds are those of handbook §2.7 and §4.2.

use crate::quantity::{Charge, Current, Time, amperes, seconds};

/// Length of a block.
const BLOCK: f64 = 10.0; // s
/// Blocks kept: enough to look back two minutes.
const BLOCKS: usize = 12;
/// A climb is measured against the block so many before.
const CLIMB_BLOCKS: usize = 3;
/// A rise by this factor within 30 s is a climb (handbook §4.2, "rising").
const CLIMB: f64 = 1.2;
/// Blocks in a row that must climb (handbook §4.2: confirmed twice).
const CONFIRMATIONS: u8 = 2;
/// A log slope −d ln i / d ln t from which on a current is still settling (handbook §2.7).
const STILL_SETTLING: f64 = 0.3;
/// A reading this many deviations from its block is a burst (handbook §3.8).
const BURST_DEVIATIONS: f64 = 6.0;
/// Readings in a row that make a new level: scintillation lasts 10 ms at most (handbook §2.9).
const NEW_LEVEL: u32 = 4;
/// Time constants of path and part after which the tail of a burst is over.
const TAIL: f64 = 7.0;
/// What supplies step by, as a part of the voltage: some 100 ppm (handbook §1.4).
const SUPPLY_STEP: f64 = 2e-4;
/// A burst is at least this share of the limit (handbook §4.2).
const BURST_SHARE: f64 = 0.2;

/// The course of a soak.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    limit: Current,
    around: Around,
    block: Block,
    means: [Option<Mean>; BLOCKS],
    reference: Option<Mean>,
    reference_from: Time,
    climbs: u8,
    bursts: Jumps,
    /// Jumps the other way: what steps both ways is the supply, a part only bursts upwards.
    dips: Jumps,
    /// Readings in a row up to the newest that stand off, and when the first of them came.
    row: (u32, Time),
}

/// What a reading of the part passes through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Around {
    /// Time constant of path and part.
    pub constant: Time,
    /// Time that one reading integrates over.
    pub interval: Time,
    /// Charge of the full part.
    pub charge: Charge,
}

impl Around {
    /// What a step of the supply sends through the part in one reading.
    fn kick(&self) -> Current {
        self.charge * SUPPLY_STEP / self.interval.max(self.constant)
    }
}

/// Readings that stand apart from their neighbours.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Jumps {
    count: u32,
    largest: Current,
}

impl Jumps {
    fn add(&mut self, height: Current) {
        self.count = self.count.saturating_add(1);
        self.largest = self.largest.max(height);
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Mean {
    at: Time,
    current: Current,
}

#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Block {
    from: Option<Time>,
    sum: Current,
    deviation: Current,
    count: u32,
}

impl Trend {
    /// A watch against `limit` over a soak that is judged at `judged_at`.
    #[must_use]
    pub fn new(limit: Current, judged_at: Time, around: Around) -> Self {
        Self {
            limit,
            around,
            block: Block::default(),
            means: [None; BLOCKS],
            reference: None,
            reference_from: judged_at * (2.0 / 3.0),
            climbs: 0,
            bursts: Jumps::default(),
            dips: Jumps::default(),
            row: (0, seconds(0.0)),
        }
    }

    /// Adds a reading; `error` is the meter's error at that reading.
    pub fn add(&mut self, at: Time, current: Current, error: Current) {
        if self.is_dip(current, error) {
            self.dips.add(self.block.mean() - current);
            return;
        }
        if self.is_burst(current, error) {
            let (readings, since) = if self.row.0 == 0 { (0, at) } else { self.row };
            self.row = (readings + 1, since);
            self.bursts.largest = self.bursts.largest.max(current);
            if readings == 0 {
                self.bursts.count = self.bursts.count.saturating_add(1);
            }
            if self.row.0 < NEW_LEVEL || at - since <= self.around.constant * TAIL {
                return;
            }
            // So many in a row are no burst but a new level: the watch begins anew on it.
            self.bursts.count = self.bursts.count.saturating_sub(1);
            self.begin_anew();
        }
        self.row = (0, at);
        self.block.add(at, current);
        if self.block.from.is_some_and(|from| at - from >= seconds(BLOCK)) {
            self.close_block(at, error);
        }
    }

    fn is_burst(&self, current: Current, error: Current) -> bool {
        let Some(calm) = self.means[0].map(|mean| mean.current) else { return false };
        self.block.count >= 3 && current - calm.max(self.block.mean()) > self.bound(error)
    }

    /// A single reading far below its neighbours; a lasting fall is none.
    fn is_dip(&self, current: Current, error: Current) -> bool {
        let Some(calm) = self.means[0].map(|mean| mean.current) else { return false };
        self.block.count >= 3 && calm.min(self.block.mean()) - current > self.bound(error)
    }

    /// How far a reading must stand off to be a burst.
    fn bound(&self, error: Current) -> Current {
        (self.block.mean_deviation() * BURST_DEVIATIONS)
            .max(self.limit * BURST_SHARE)
            .max(error * 2.0)
            .max(self.around.kick())
    }

    fn close_block(&mut self, at: Time, error: Current) {
        let mean = Mean { at: at - seconds(BLOCK / 2.0), current: self.block.mean() };
        self.block = Block::default();
        // A beat of ripple climbs too, but no higher than it stood before.
        let highest = self.means.iter().flatten().all(|past| past.current < mean.current);
        let climbing = self.means[CLIMB_BLOCKS - 1].is_some_and(|past| {
            let rise = mean.current - past.current;
            mean.current > self.limit * 0.5 && rise > past.current * (CLIMB - 1.0) && rise > error
        });
        let climbing = climbing && highest;
        self.climbs = if climbing { self.climbs.saturating_add(1) } else { 0 };
        if self.reference.is_none() && self.reference_from <= mean.at {
            self.reference = Some(mean);
        }
        self.means.rotate_right(1);
        self.means[0] = Some(mean);
    }

    /// Compares no reading with those so far; bursts that were seen stay counted.
    pub fn begin_anew(&mut self) {
        self.block = Block::default();
        self.means = [None; BLOCKS];
        self.climbs = 0;
    }

    /// Whether the current climbs, confirmed.
    #[must_use]
    pub fn climbs(&self) -> bool {
        CONFIRMATIONS <= self.climbs
    }

    /// Number of bursts so far, less the jumps the other way.
    #[must_use]
    pub fn bursts(&self) -> u32 {
        self.bursts.count.saturating_sub(self.dips.count)
    }

    /// Largest burst so far; none where a dip of half its height shows that the supply stepped.
    #[must_use]
    pub fn tallest_burst(&self) -> Current {
        let supply = self.bursts.largest <= self.dips.largest * 2.0;
        if supply { amperes(0.0) } else { self.bursts.largest }
    }

    /// Whether the current was still falling over the last third before `at`, where it read
    /// `current` with standard uncertainty `scatter`.
    #[must_use]
    pub fn still_falling(&self, at: Time, current: Current, scatter: Current) -> bool {
        let Some(reference) = self.reference.filter(|mean| mean.at < at) else { return false };
        let fall = reference.current - current;
        if fall <= scatter * 3.0 || current.value <= 0.0 {
            return false;
        }
        let slope = (reference.current / current).value.ln() / (at / reference.at).value.ln();
        STILL_SETTLING <= slope
    }
}

impl Block {
    fn add(&mut self, at: Time, current: Current) {
        self.from.get_or_insert(at);
        if self.count > 0 {
            self.deviation += (current - self.mean()).abs();
        }
        self.sum += current;
        self.count = self.count.saturating_add(1);
    }

    fn mean(&self) -> Current {
        self.sum / f64::from(self.count.max(1))
    }

    fn mean_deviation(&self) -> Current {
        self.deviation / f64::from(self.count.saturating_sub(1).max(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::coulombs;

    const LIMIT: f64 = 1e-6;

    fn watched(until: f64, current: impl Fn(f64) -> f64) -> Trend {
        watched_through(0.01, until, current)
    }

    /// The same with a time constant of path and part, in seconds.
    fn watched_through(constant: f64, until: f64, current: impl Fn(f64) -> f64) -> Trend {
        let (constant, interval) = (seconds(constant), seconds(0.1));
        let around = Around { constant, interval, charge: coulombs(100e-6) };
        let mut trend = Trend::new(amperes(LIMIT), seconds(300.0), around);
        let mut t = 0.1;
        while t < until {
            trend.add(seconds(t), amperes(current(t)), amperes(1e-9));
            t += 0.1;
        }
        trend
    }

    #[test]
    fn a_current_that_doubles_in_a_minute_climbs() {
        assert!(watched(120.0, |t| 0.6e-6 * 2_f64.powf(t / 60.0)).climbs());
    }

    #[test]
    fn a_steady_current_neither_climbs_nor_falls() {
        let trend = watched(300.0, |_| 0.8e-6);
        assert!(!trend.climbs());
        assert!(!trend.still_falling(seconds(300.0), amperes(0.8e-6), amperes(1e-9)));
    }

    #[test]
    fn one_rise_is_not_confirmed_as_a_climb() {
        assert!(!watched(60.0, |t| if t < 41.0 { 0.6e-6 } else { 0.8e-6 }).climbs());
    }

    #[test]
    fn an_absorption_current_is_still_falling() {
        // i = A/t has the log slope 1 at all times (handbook §2.2).
        let trend = watched(300.0, |t| 100e-6 / t);
        assert!(trend.still_falling(seconds(300.0), amperes(100e-6 / 300.0), amperes(1e-9)));
    }

    #[test]
    fn a_fall_within_the_scatter_is_no_fall() {
        let trend = watched(300.0, |t| 100e-6 / t);
        assert!(!trend.still_falling(seconds(300.0), amperes(100e-6 / 300.0), amperes(1e-6)));
    }

    #[test]
    fn a_step_to_a_new_level_is_no_burst() {
        let trend = watched(300.0, |t| if t < 150.0 { 0.1e-6 } else { 0.5e-6 });
        assert_eq!(trend.bursts(), 0);
        assert!(!trend.climbs());
    }

    #[test]
    fn the_tail_of_a_burst_is_part_of_it() {
        // Three bursts that die away with 1.5 s each: three, and no new level.
        let burst = |t: f64| 20e-6 * (-((t - 60.0) % 70.0) / 1.5).exp();
        let current = |t: f64| 0.1e-6 + if (60.0..=260.0).contains(&t) { burst(t) } else { 0.0 };
        assert_eq!(watched_through(1.5, 300.0, current).bursts(), 3);
    }

    #[test]
    fn a_slow_beat_of_ripple_is_no_climb() {
        let beat = |t: f64| 0.8e-6 + 0.3e-6 * (t * std::f64::consts::TAU / 90.0).cos();
        assert!(!watched(300.0, beat).climbs());
    }

    #[test]
    fn a_step_of_the_supply_is_no_burst() {
        // 2·10⁻⁴ of 100 µC in a reading of 0.1 s is 0.2 µA; ten times that is a burst all the same.
        let stepped = |height: f64| {
            move |t: f64| 0.1e-6 + if (60.0..60.1).contains(&t) { height } else { 0.0 }
        };
        let around = |charge| {
            let (constant, interval) = (seconds(0.01), seconds(0.1));
            Around { constant, interval, charge: coulombs(charge) }
        };
        assert!((around(100e-6).kick().value - 0.2e-6).abs() < 1e-12);
        assert_eq!(watched(300.0, stepped(0.19e-6)).bursts(), 0);
        assert_eq!(watched(300.0, stepped(2e-6)).bursts(), 1);
    }

    #[test]
    fn a_climb_from_a_new_level_is_still_seen() {
        let climb = |t: f64| 0.6e-6 * 2_f64.powf((t - 60.0) / 60.0);
        assert!(watched(180.0, |t| if t < 60.0 { 0.1e-6 } else { climb(t) }).climbs());
    }

    #[test]
    fn a_supply_that_steps_both_ways_is_no_burst_of_the_part() {
        // Up by 3 µA every 70 s, and down by as much 30 s later.
        let trend = watched(300.0, |t| match (t + 0.05) % 70.0 {
            phase if phase < 0.1 && t > 1.0 => 3.2e-6,
            phase if (30.0..30.1).contains(&phase) && t > 31.0 => -2.8e-6,
            _ => 2e-7,
        });
        assert!(trend.bursts() <= 1, "{}", trend.bursts());
        assert_eq!(trend.tallest_burst(), amperes(0.0));
    }

    #[test]
    fn single_tall_readings_are_counted_as_bursts() {
        let trend =
            watched(300.0, |t| if (t + 0.05) % 70.0 < 0.1 && t > 1.0 { 5e-6 } else { 2e-7 });
        assert_eq!(trend.bursts(), 4);
        assert_eq!(trend.tallest_burst(), amperes(5e-6));
        assert!(!trend.climbs());
    }
}
