//! What a small population must hold already.

use crate::catalogue;
use crate::grade::Grade;
use crate::study::{Study, is_within};
use crate::tables;
use crate::trial::Case;

fn study() -> Study {
    Study { seed: 1976, rows: catalogue::rows() }
}

fn cases(count: u64) -> Vec<Case> {
    study().population(count).into_iter().flatten().collect()
}

#[test]
fn the_same_seed_gives_the_same_table() {
    let table = || tables::confusion(&study(), &cases(72), |case| &case.full);
    assert_eq!(table(), table());
}

#[test]
fn no_part_that_is_far_over_passes_at_the_full_time() {
    let cases = cases(1000);
    let far = cases.iter().filter(|case| Grade::of(case, &case.full) == Grade::FarOver);
    let passed: Vec<u64> =
        far.filter(|case| is_within(&case.full)).map(|case| case.index).collect();
    assert_eq!(passed, Vec::<u64>::new());
}

#[test]
fn no_absent_part_passes_at_any_time() {
    let cases = cases(1000);
    let runs = cases.iter().flat_map(|case| [(case, &case.full), (case, &case.early)]);
    let absent = runs.filter(|(case, run)| Grade::of(case, run) == Grade::Absent);
    let passed: Vec<u64> =
        absent.filter(|(_, run)| is_within(run)).map(|(case, _)| case.index).collect();
    assert_eq!(passed, Vec::<u64>::new());
}

#[test]
fn most_healthy_parts_pass_and_every_run_ends() {
    let cases = cases(1000);
    assert!(cases.iter().all(|case| case.full.verdict.is_some() && case.early.verdict.is_some()));
    let within = cases.iter().filter(|case| is_within(&case.full)).count();
    assert!(cases.len() / 5 < within, "{within} of {}", cases.len());
}

#[test]
fn no_empty_clip_and_no_lost_contact_passes() {
    let tries = study().contacts(2000);
    assert!(tries.iter().flatten().count() > 1000);
    assert!(!tries.iter().flatten().any(|tried| is_within(&tried.run)));
}
