//! The whole population, part by part, over all cores.
//!
//! A part is drawn from the seed and its own number alone, and what comes of it is put in its
//! place in the list, so that the tables are the same whatever the number of threads.

use std::panic::resume_unwind;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

use reststrom::judge::Verdict;
use reststrom::plan::Until;
use reststrom::quantity::seconds;

use crate::catalogue::Row;
use crate::dice::{Dice, Purpose};
use crate::faults::Class;
use crate::specimen::Specimen;
use crate::station::Station;
use crate::trial::{Case, Run, Trial};
use crate::truth::State;

/// Least shares of the reading time that are tried for an early end.
pub(crate) const LEAST_SHARES: [f64; 5] = [0.03, 0.05, 0.1, 0.2, 0.4];
/// Reading time of the short runs in which contacts are lost, s.
const SHORT: f64 = 20.0;
/// Parts that a thread takes at a time.
const BATCH: u64 = 64;
/// Other parts than those of the population.
const CONTACTS: u64 = 1 << 40;
const TRADES: u64 = 1 << 41;

/// What is studied.
#[derive(Debug, Clone)]
pub(crate) struct Study {
    /// Seed of everything.
    pub(crate) seed: u64,
    /// Families.
    pub(crate) rows: Vec<Row>,
}

/// A clip that was empty, or came off before the reading was done.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Contact {
    /// Its number in the study.
    pub(crate) index: u64,
    /// Row of the catalogue.
    pub(crate) row: usize,
    /// Which of the two.
    pub(crate) class: Class,
    /// When it came off, s of the run.
    pub(crate) off_at: f64,
    /// What came of it.
    pub(crate) run: Run,
}

/// A part tried with several least shares of an early end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Trade {
    /// Row of the catalogue.
    pub(crate) row: usize,
    /// It climbs late, or is healthy.
    pub(crate) climbs: bool,
    /// True leakage over the limit.
    pub(crate) share: f64,
    /// What came of each share.
    pub(crate) runs: [Run; LEAST_SHARES.len()],
}

impl Study {
    /// Runs `count` parts of the population, each to the full time and with an early end.
    pub(crate) fn population(&self, count: u64) -> Vec<Option<Case>> {
        in_parallel(count, |index| self.case(index))
    }

    /// Runs `count` short soaks in which the clip is empty or comes off; gives those tries in which
    /// it was so before the reading was done.
    pub(crate) fn contacts(&self, count: u64) -> Vec<Option<Contact>> {
        in_parallel(count, |index| self.contact(index))
    }

    /// Runs `count` parts, half of them late climbers, with several least shares.
    pub(crate) fn trades(&self, count: u64) -> Vec<Option<Trade>> {
        in_parallel(count, |index| self.trade(index + TRADES))
    }

    fn dice(&self, index: u64, purpose: Purpose) -> Dice {
        Dice::new(self.seed, index, purpose)
    }

    fn trial(&self, index: u64, specimen: Specimen) -> Trial {
        let station = Station::draw(&mut self.dice(index, Purpose::Station), &specimen);
        Trial { specimen, station, noise: self.dice(index, Purpose::Noise) }
    }

    fn row(&self, index: u64) -> usize {
        let rows = u64::try_from(self.rows.len()).unwrap_or(1);
        usize::try_from(index % rows).unwrap_or_default()
    }

    /// What happens in the run of a part to the full time, line by line.
    pub(crate) fn diary(&self, index: u64) -> Option<String> {
        let trial = self.trial(index, self.specimen(index)?);
        Some(trial.diary(trial.plan(Until::ReadingTime)?))
    }

    /// What happens in the run of a try with a contact, line by line.
    pub(crate) fn contact_diary(&self, index: u64) -> Option<String> {
        let trial = self.contact_trial(index)?;
        let diary = trial.diary(trial.plan(Until::ReadingTime)?);
        Some(format!("{:#?}\n{diary}", trial.specimen))
    }

    /// The part of this number; none if its family's table has no limit for it.
    pub(crate) fn specimen(&self, index: u64) -> Option<Specimen> {
        let row = &self.rows[self.row(index)];
        Specimen::draw(&mut self.dice(index, Purpose::Part), row)
    }

    /// What comes of it; none if the family has no limit for it, or the bench refuses.
    pub(crate) fn case(&self, index: u64) -> Option<Case> {
        let row = self.row(index);
        let specimen = self.specimen(index)?;
        let trial = self.trial(index, specimen);
        let plan = trial.plan(Until::ReadingTime)?;
        let truth = trial.truth(&plan);
        let full = trial.run(plan);
        let early = trial.run(trial.plan(Until::Early)?);
        let (class, limit) = (trial.specimen.class, trial.specimen.limit);
        Some(Case { index, row, class, meter: trial.station.meter, limit, truth, full, early })
    }

    /// A short soak with an empty clip or one that comes off; none if it came off too late.
    pub(crate) fn contact(&self, index: u64) -> Option<Contact> {
        let row = self.row(index);
        let trial = self.contact_trial(index)?;
        let run = trial.run(trial.plan(Until::ReadingTime)?);
        let class = trial.specimen.class;
        let absent = class == Class::Open || run.absent;
        let off_at = trial.specimen.comes_off_at;
        absent.then_some(Contact { index, row, class, off_at, run })
    }

    /// The part and the instruments of such a try.
    pub(crate) fn contact_trial(&self, index: u64) -> Option<Trial> {
        let (row, index) = (&self.rows[self.row(index)], index + CONTACTS);
        let mut dice = self.dice(index, Purpose::Part);
        let class = if dice.chance(0.5) { Class::Open } else { Class::LosesContact };
        Some(self.trial(index, Specimen::of(&mut dice, row, class, Some(SHORT))?))
    }

    fn trade(&self, index: u64) -> Option<Trade> {
        let row = self.row(index);
        let mut dice = self.dice(index, Purpose::Part);
        let climbs = dice.chance(0.5);
        let class = if climbs { Class::LateClimber } else { Class::Healthy };
        let specimen = Specimen::of(&mut dice, &self.rows[row], class, None)?;
        let trial = self.trial(index, specimen);
        let plan = trial.plan(Until::Early)?;
        let truth = trial.truth(&plan);
        let runs = LEAST_SHARES.map(|share| {
            let mut plan = plan.clone();
            plan.target.least_early = seconds(share * trial.specimen.reading_time);
            trial.run(plan)
        });
        let share = truth.leakage / trial.specimen.limit;
        let counts = truth.state == State::Sound;
        counts.then_some(Trade { row, climbs, share, runs })
    }
}

/// Whether a run said `within`.
pub(crate) fn is_within(run: &Run) -> bool {
    run.verdict == Some(Verdict::Within)
}

/// The results of all indices below `count`, in order, by all cores.
fn in_parallel<T: Send>(count: u64, one: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, std::num::NonZero::get);
    by_threads(threads, count, one)
}

fn by_threads<T: Send>(threads: usize, count: u64, one: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = AtomicU64::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let from = next.fetch_add(BATCH, Ordering::Relaxed);
            if count <= from {
                return done;
            }
            done.extend((from..(from + BATCH).min(count)).map(|index| (index, one(index))));
        }
    };
    let mut all: Vec<(u64, T)> = thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let results = workers.into_iter().map(thread::ScopedJoinHandle::join);
        results.flat_map(|done| done.unwrap_or_else(|cause| resume_unwind(cause))).collect()
    });
    all.sort_unstable_by_key(|(index, _)| *index);
    all.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_number_of_threads_changes_nothing() {
        let squares = |threads| by_threads(threads, 1000, |index| index * index);
        assert_eq!(squares(1), squares(3));
        assert_eq!(squares(3)[999], 998_001);
    }
}
