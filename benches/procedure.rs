//! How fast the pure procedure is: single steps in the soak, and whole five-minute soaks through
//! procedure and judge, from the first order to the verdict.
//!
//! Every aim stands in the name of its line; divan prints items per second below the times.

mod follower;
#[path = "../tests/plant/mod.rs"]
mod plant;

use std::sync::Arc;

use divan::Bencher;
use divan::counter::ItemsCount;
use follower::{Follower, INTERVAL};
use reststrom::judge::Verdict;
use reststrom::plan::{Phase, RangeIndex, Sample};
use reststrom::procedure::{Input, Procedure};
use reststrom::quantity::{amperes, seconds, volts};

/// Readings of one timed stretch: 250 s of a soak, which lasts 300 s.
const READINGS: u32 = 2_500;
/// A reading comes with a voltage and a tick, as it does from the daemon.
const STEPS_A_READING: u32 = 3;

fn main() {
    divan::main();
}

/// A run at the begin of its soak, its time, and the range that it reads on.
fn soaking() -> (Procedure, f64, RangeIndex) {
    let mut bench = Follower::start(Arc::new(plant::plan()));
    loop {
        let read = bench.read();
        bench.take(read);
        if bench.run.phase() == Phase::Soak {
            return (bench.run, read.at.value, read.range);
        }
    }
}

#[divan::bench(name = "steps in the soak, aim above 5 million/s", sample_count = 1000)]
fn steps_in_the_soak(bencher: Bencher) {
    let (run, since, range) = soaking();
    bencher
        .counter(ItemsCount::new(READINGS * STEPS_A_READING))
        .with_inputs(|| run.clone())
        .bench_values(|mut run| {
            for reading in 1..=READINGS {
                let now = seconds(since + f64::from(reading) * INTERVAL);
                let current = Sample::Value(amperes(0.18e-6));
                divan::black_box(run.step(now, Input::Voltage(Sample::Value(volts(25.0)))));
                divan::black_box(run.step(now, Input::Current { sample: current, range }));
                divan::black_box(run.step(now, Input::Tick));
            }
            assert_eq!(run.phase(), Phase::Soak, "the timed steps are those of a soak");
            run
        });
}

#[divan::bench(name = "five-minute soaks, first order to verdict", sample_count = 1000)]
fn five_minute_soaks(bencher: Bencher) {
    let plan = Arc::new(plant::plan());
    bencher.counter(ItemsCount::new(1_u32)).bench(|| {
        let mut bench = Follower::start(plan.clone());
        let outcome = loop {
            let read = bench.read();
            bench.take(read);
            if let Some(outcome) = bench.run.outcome() {
                break outcome;
            }
        };
        assert_eq!(outcome.ruling.verdict, Verdict::Within, "{outcome:#?}");
        outcome
    });
}
