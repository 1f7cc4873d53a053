//! Many runs, and what came of them.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::atomic::{AtomicU64, Ordering};

use reststrom::judge::{Left, Verdict};
use reststrom::plan::Phase;

use crate::dice::Dice;
use crate::kinds::{AtBench, Kind, PHASES, Sown};
use crate::run::{Came, Ended, Run, verdict};
use crate::station::{Station, Truth, part};

/// Most faults in one run.
const MOST: usize = 3;
/// Runs that are carried out before the count of faults is looked at.
const BATCH: u64 = 256;
/// One run in so many keeps a real record.
const ON_RECORD: u64 = 64;
/// Violations that are told in full.
const TOLD: usize = 20;
/// Readings that show a clip that came off: one may have been under way, one is none yet.
const SHOWING: usize = 3;
/// Below this a part may be touched, V; the read-back is good to 22 mV there.
const TOUCHABLE: f64 = 5.0;
/// An output that is on below this harms nobody, V: a quarter of what may be touched.
const NEAR_ZERO: f64 = 1.25;

/// Counts of one kind of fault.
#[derive(Debug, Default, Clone)]
struct Row {
    by_phase: [u32; PHASES.len()],
    verdicts: [u32; 5],
    left: [u32; 3],
}

/// What came of all runs.
#[derive(Debug, Default)]
pub(crate) struct Study {
    seed: u64,
    runs: u64,
    faults: usize,
    rows: BTreeMap<Kind, Row>,
    violations: Vec<String>,
    unseen: u32,
    near_zero: u32,
}

/// What a run was and how it ended.
struct Case {
    run: u64,
    truth: Truth,
    ended: Ended,
}

fn case(station: &Station, seed: u64, run: u64) -> Case {
    let (truth, carried) = drawn(station, seed, run);
    Case { run, truth, ended: carried.finish() }
}

fn drawn(station: &Station, seed: u64, run: u64) -> (Truth, Run<'_>) {
    let mut dice = Dice::new(seed, run);
    let truth = match dice.below(10) {
        0..=4 => Truth::Sound,
        5..=7 => Truth::Leaky,
        8 => Truth::GivesWay,
        _ => Truth::Empty,
    };
    let count = 1 + dice.below(MOST);
    let sown = (0..count).map(|_| Sown::draw(&mut dice)).collect();
    let mut carried = Run::new(station, &part(truth), sown, dice);
    if run.is_multiple_of(ON_RECORD) {
        match carried.on_record() {
            Ok(kept) => carried = kept,
            Err(error) => panic!("no record can be kept: {error}"),
        }
    }
    (truth, carried)
}

/// One run in words, and what the procedure heard.
pub(crate) fn show(station: &Station, seed: u64, run: u64) -> String {
    let (truth, carried) = drawn(station, seed, run);
    let mut ended = carried.told().finish();
    let heard = std::mem::take(&mut ended.heard).join("\n");
    let case = Case { run, truth, ended };
    format!("{heard}\n{:#?}\n{}\n{:?}\n", case.ended, case.told(), case.faults())
}

impl Case {
    fn has(&self, kind: AtBench) -> bool {
        self.ended.came.iter().any(|came| came.sown.kind == Kind::AtBench(kind))
    }

    /// The clip came off when the meter could not show it, since it had failed before or its line was
    /// spoiled in those very moments: the terminals are all that is left to look at (SAFETY.md).
    fn came_off_behind_a_lost_meter(&self) -> bool {
        let came = &self.ended.came;
        let is_off = |came: &&Came| came.sown.kind == Kind::AtBench(AtBench::ClipFallsOff);
        let Some(off) = came.iter().find(is_off) else { return false };
        came.iter().any(|lost| {
            let near = lost.readings.abs_diff(off.readings) < SHOWING;
            let before = lost.readings <= off.readings;
            (lost.sown.blinds_the_meter() && (before || near))
                || (lost.sown.spoils_the_meters_line() && near)
        })
    }

    /// Called safe with a charged part beside the bench that nothing there could show.
    fn is_unseen(&self) -> bool {
        let left = self.ended.outcome.as_ref().map(|outcome| outcome.left);
        let charged = TOUCHABLE + 0.03 < self.ended.volt.abs();
        let blind = self.came_off_in_bleed() || self.came_off_behind_a_lost_meter();
        left == Some(Left::Safe) && charged && !self.ended.on && blind
    }

    /// Called safe on an output that says off, and is, but for its relay: it sticks, at a voltage that a
    /// restart or a hand has left near zero.
    fn sticks_near_zero(&self) -> bool {
        let left = self.ended.outcome.as_ref().map(|outcome| outcome.left);
        let low = self.ended.volt.abs() < NEAR_ZERO;
        left == Some(Left::Safe) && self.ended.on && low && self.has(AtBench::RelaySticks)
    }

    fn came_off_in_bleed(&self) -> bool {
        self.ended.came.iter().any(|came| {
            came.sown.kind == Kind::AtBench(AtBench::ClipFallsOff) && came.phase == Phase::Bleed
        })
    }

    /// The clip was off while the part was still being tested.
    fn came_off(&self) -> bool {
        self.ended.came.iter().any(|came| {
            came.sown.kind == Kind::AtBench(AtBench::ClipFallsOff) && came.phase != Phase::Bleed
        })
    }

    /// What must not be, in words.
    fn faults(&self) -> Vec<String> {
        let ended = &self.ended;
        let mut found = Vec::new();
        let wrong = match (self.truth, verdict(ended)) {
            (Truth::Sound | Truth::Empty, Some(Verdict::Over))
            | (Truth::Leaky | Truth::GivesWay | Truth::Empty, Some(Verdict::Within)) => true,
            (Truth::Sound, Some(Verdict::Within)) => self.came_off(),
            _ => false,
        };
        if wrong {
            found.push("wrong verdict".into());
        }
        let left = ended.outcome.as_ref().map(|outcome| outcome.left);
        let charged = ended.on || TOUCHABLE + 0.03 < ended.volt.abs();
        if left == Some(Left::Safe) && charged && !self.is_unseen() && !self.sticks_near_zero() {
            found.push(format!("called safe: output on {}, {:.2} V", ended.on, ended.volt));
        }
        let lost = ended.came.iter().any(|came| came.sown.kind.ends_control());
        if ended.on && !lost && !self.has(AtBench::ComesOnByItself) {
            found.push("the output was left on".into());
        }
        if left.is_none() && !ended.phases.is_empty() {
            found.push("the run has no end".into());
        }
        if 1 < ended.ordered_on {
            found.push(format!("ordered on {} times", ended.ordered_on));
        }
        if ended.readings.1.is_some_and(|kept| kept != ended.readings.0) {
            found.push("a reading is not on record".into());
        }
        let turned = self.has(AtBench::KnobUp) || self.has(AtBench::ComesOnByItself);
        let broken = ended.violations.iter().filter(|_| !turned && !self.has(AtBench::Restarts));
        found.extend(broken.cloned());
        found
    }

    fn told(&self) -> String {
        let came: Vec<String> = self
            .ended
            .came
            .iter()
            .map(|Came { sown, phase, .. }| {
                format!("{} ({:?}) in {phase}", sown.kind.tag(), sown.which)
            })
            .collect();
        let outcome = self.ended.outcome.as_ref();
        let verdict = outcome.map_or("none".into(), |outcome| {
            let findings = outcome.ruling.findings.iter().map(ToString::to_string);
            let findings: Vec<String> = findings.collect();
            format!("{} {} {:?}", outcome.ruling.verdict, findings.join(","), outcome.left)
        });
        format!("run {}: {:?}, {}: {verdict}", self.run, self.truth, came.join(", "))
    }
}

impl Study {
    /// Runs until so many faults have come.
    pub(crate) fn of(station: &Station, seed: u64, faults: usize) -> Self {
        let mut study = Self { seed, ..Self::default() };
        while study.faults < faults {
            let first = study.runs;
            let batch = BATCH.min(u64::try_from(faults - study.faults).unwrap_or(BATCH).max(8));
            for case in cases(station, seed, first..first + batch) {
                study.take(&case);
            }
            study.runs += batch;
        }
        study
    }

    fn take(&mut self, case: &Case) {
        let verdict = match verdict(&case.ended) {
            Some(Verdict::Within) => 0,
            Some(Verdict::Over) => 1,
            Some(Verdict::Undecided) => 2,
            Some(Verdict::Untested) => 3,
            None => 4,
        };
        let left = match case.ended.outcome.as_ref().map(|outcome| outcome.left) {
            Some(Left::Safe) => 0,
            Some(Left::LockedOut) => 1,
            None => 2,
        };
        for Came { sown, phase, .. } in &case.ended.came {
            self.faults += 1;
            let row = self.rows.entry(sown.kind).or_default();
            if let Some(at) = PHASES.iter().position(|known| known == phase) {
                row.by_phase[at] += 1;
            }
            row.verdicts[verdict] += 1;
            row.left[left] += 1;
        }
        self.unseen += u32::from(case.is_unseen());
        self.near_zero += u32::from(case.sticks_near_zero());
        for what in case.faults() {
            self.violations.push(format!("{what}: {}", case.told()));
        }
    }

    /// Whether nothing happened that must not.
    pub(crate) fn is_clean(&self) -> bool {
        self.violations.is_empty()
    }
}

/// These runs, in their order, by as many threads as there are cores.
fn cases(station: &Station, seed: u64, runs: std::ops::Range<u64>) -> Vec<Case> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicU64::new(runs.start);
    let work = || {
        let mut done = Vec::new();
        loop {
            let run = next.fetch_add(1, Ordering::Relaxed);
            if runs.end <= run {
                return done;
            }
            done.push(case(station, seed, run));
        }
    };
    let mut cases: Vec<Case> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..cores).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|thread| thread.join().unwrap_or_default()).collect()
    });
    cases.sort_by_key(|case| case.run);
    cases
}

impl fmt::Display for Study {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{} faults in {} runs, seed {}", self.faults, self.runs, self.seed)?;
        let phases = PHASES.map(|phase| format!("{:>6}", phase.tag())).join(" ");
        let words = "within   over  undec  untst  unend |   safe locked  unend";
        writeln!(f, "{:24} {phases} | {words}", "")?;
        let mut sum = Row::default();
        for (kind, row) in &self.rows {
            writeln!(f, "{:24} {row}", kind.tag())?;
            sum.add(row);
        }
        writeln!(f, "{:24} {sum}", "all")?;
        writeln!(
            f,
            "called safe though a clip had come off, charged, where no instrument could show it (in the \
             second of the bleed, or while the meter had failed or the host stood still): {}",
            self.unseen
        )?;
        writeln!(
            f,
            "called safe on an output whose relay sticks, near 0 V, and which says that it is off: {}",
            self.near_zero
        )?;
        writeln!(f, "violations: {}", self.violations.len())?;
        for violation in self.violations.iter().take(TOLD) {
            writeln!(f, "  {violation}")?;
        }
        Ok(())
    }
}

impl Row {
    fn add(&mut self, other: &Self) {
        let add = |sums: &mut [u32], counts: &[u32]| {
            for (sum, count) in sums.iter_mut().zip(counts) {
                *sum += count;
            }
        };
        add(&mut self.by_phase, &other.by_phase);
        add(&mut self.verdicts, &other.verdicts);
        add(&mut self.left, &other.left);
    }
}

impl fmt::Display for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told = |counts: &[u32]| {
            counts.iter().map(|count| format!("{count:>6}")).collect::<Vec<_>>().join(" ")
        };
        write!(f, "{} | {} | {}", told(&self.by_phase), told(&self.verdicts), told(&self.left))
    }
}
