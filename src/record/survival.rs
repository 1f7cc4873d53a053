//! Kills, cut logs, strangers' files, newer files, locks and full disks.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use proptest::prelude::*;
use rstest::rstest;
use rusqlite::{Connection, TransactionBehavior};
use tempfile::TempDir;

use super::path::beside;
use super::sample::{
    BENCH, bare_run, later, passed, reading, readings, record, smoothing_capacitor, soak_begins,
};
use super::*;
use crate::plan::Kind;
use crate::quantity::amperes;

fn file_in(folder: &TempDir) -> PathBuf {
    folder.path().join("record.db")
}

fn names_in(folder: &TempDir) -> BTreeSet<OsString> {
    fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect()
}

/// What a power cut leaves of the record at `path`: the file, and so much of its log.
fn after_a_cut(path: &Path, log: &[u8]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let copy = file_in(&folder);
    fs::copy(path, &copy).unwrap();
    fs::write(beside(&copy, "-wal"), log).unwrap();
    (folder, copy)
}

fn log_of(path: &Path) -> Vec<u8> {
    fs::read(beside(path, "-wal")).unwrap()
}

/// Gives a closed record file this application id and schema number.
fn relabel(path: &Path, application: i32, number: i32) {
    let other = Connection::open(path).unwrap();
    other.pragma_update(None, "application_id", application).unwrap();
    other.pragma_update(None, "user_version", number).unwrap();
}

fn message(error: &RecordError, folder: &TempDir) -> String {
    format!("{error}; {}", error.help()).replace(folder.path().to_str().unwrap(), "HOME")
}

#[test]
fn a_killed_run_is_found_open_with_every_committed_reading() {
    let (folder, mut record) = record();
    let ended = record.begin(&bare_run()).unwrap();
    record.finish(ended, &passed()).unwrap();
    let killed = record.begin(&smoothing_capacitor()).unwrap();
    record.append(killed, &readings(25)).unwrap();
    record.event(killed, &soak_begins()).unwrap();
    let path = file_in(&folder);

    let (_left, copy) = after_a_cut(&path, &log_of(&path));
    let mut found = Record::open(&copy).unwrap();
    let open = found.open_runs(BENCH).unwrap();
    assert_eq!(open.iter().map(|run| run.id).collect::<Vec<_>>(), [killed]);
    assert_eq!(found.readings_after(killed, None, 100).unwrap(), readings(25));
    assert_eq!(found.events(killed).unwrap(), [soak_begins()]);
    found.mark_interrupted(killed, later(60_000), "found at start").unwrap();
    assert_eq!(found.open_runs(BENCH).unwrap(), []);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// A log that ends anywhere, even in a block of zeros, gives back exactly the transactions
    /// that were complete before its end: none is lost, none is half there.
    #[test]
    fn a_log_cut_anywhere_keeps_every_transaction_before_the_cut(
        part in 0.0..=1.0_f64,
        zeros in prop_oneof![Just(0_usize), Just(512)],
    ) {
        let (folder, mut record) = record();
        let path = file_in(&folder);
        let id = record.begin(&bare_run()).unwrap();
        let mut complete_at = Vec::new();
        for sequence in 0..12 {
            record.append(id, &[reading(sequence)]).unwrap();
            complete_at.push(log_of(&path).len());
        }
        let mut log = log_of(&path);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss, reason = "a place in a short file")]
        let cut = (part * log.len() as f64) as usize;
        log.truncate(cut);
        log.resize(cut + zeros, 0);

        let (_left, copy) = after_a_cut(&path, &log);
        let found = Record::open(&copy).unwrap();
        let complete = complete_at.iter().filter(|&&end| end <= cut).count();
        let kept = match found.readings_after(id, None, 100) {
            Err(RecordError::UnknownRun { .. }) => Vec::new(),
            read => read.unwrap(),
        };
        prop_assert_eq!(kept, readings(u32::try_from(complete).unwrap()));
        let runs = found.runs(&RunFilter::default()).unwrap();
        prop_assert!(runs.iter().all(|run| run.state == RunState::Open));
    }
}

#[test]
fn commits_are_synced_and_readers_do_not_block_them() {
    let (_folder, record) = record();
    let journal: String =
        record.connection.pragma_query_value(None, "journal_mode", |row| row.get(0)).unwrap();
    let synchronous: i64 =
        record.connection.pragma_query_value(None, "synchronous", |row| row.get(0)).unwrap();
    assert_eq!((journal.as_str(), synchronous), ("wal", 2), "SQLite: 2 is FULL");
}

#[test]
fn a_newer_record_is_refused_and_not_a_byte_of_it_changes() {
    let (folder, record) = record();
    let path = file_in(&folder);
    drop(record);
    relabel(&path, 0x5265_7374, 1 + schema::last_of(schema::STEPS));
    let (bytes, names) = (fs::read(&path).unwrap(), names_in(&folder));
    let refused = [Record::open(&path).unwrap_err(), Record::open_for_reading(&path).unwrap_err()];
    for error in refused {
        insta::allow_duplicates! {
            insta::assert_snapshot!(message(&error, &folder), @"HOME/record.db: record has schema 6, this program knows 5; use the newer program that wrote it, or another file; this one was left as it is");
        }
    }
    assert_eq!(fs::read(&path).unwrap(), bytes);
    assert_eq!(names_in(&folder), names);
}

#[test]
fn a_newer_number_that_only_the_log_has_is_refused_too() {
    let (folder, record) = record();
    let path = file_in(&folder);
    record.connection.pragma_update(None, "user_version", 7).unwrap();
    let log = log_of(&path);
    let (_left, copy) = after_a_cut(&path, &log);
    let bytes = fs::read(&copy).unwrap();
    let error = Record::open(&copy).unwrap_err();
    assert!(matches!(error, RecordError::Newer { found: 7, .. }));
    assert_eq!((fs::read(&copy).unwrap(), log_of(&copy)), (bytes, log));
}

#[rstest]
#[case::number_zero_with_tables(0x5265_7374, 0)]
#[case::no_application_id(0, 0)]
#[case::no_application_id_but_a_number(0, 1)]
#[case::another_application(0x0000_0042, 1)]
#[case::negative_number(0x5265_7374, -1)]
fn a_database_that_is_not_ours_is_refused_unchanged(#[case] application: i32, #[case] number: i32) {
    let folder = tempfile::tempdir().unwrap();
    let path = file_in(&folder);
    Connection::open(&path).unwrap().execute_batch("CREATE TABLE catches (kg REAL)").unwrap();
    relabel(&path, application, number);
    let (bytes, names) = (fs::read(&path).unwrap(), names_in(&folder));
    assert!(matches!(Record::open(&path), Err(RecordError::Foreign { .. })));
    assert!(matches!(Record::open_for_reading(&path), Err(RecordError::Foreign { .. })));
    assert_eq!((fs::read(&path).unwrap(), names_in(&folder)), (bytes, names));
}

#[rstest]
#[case::text(b"part;leakage\nC12;0.84\n".as_slice())]
#[case::beginning_of_sqlite(b"SQLite format 3\0".as_slice())]
#[case::zeros([0_u8; 4096].as_slice())]
fn a_file_of_another_kind_is_refused_unchanged(#[case] content: &[u8]) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(file_in(&folder), content).unwrap();
    let error = Record::open(file_in(&folder)).unwrap_err();
    insta::allow_duplicates! {
        insta::assert_snapshot!(message(&error, &folder), @"HOME/record.db: not a record of reststrom, but a file of another kind; name another file; this one was left as it is");
    }
    assert_eq!(fs::read(file_in(&folder)).unwrap(), content);
}

#[test]
fn a_strangers_database_is_named_by_what_it_is() {
    let folder = tempfile::tempdir().unwrap();
    Connection::open(file_in(&folder)).unwrap().execute_batch("CREATE TABLE x (y)").unwrap();
    let error = Record::open(file_in(&folder)).unwrap_err();
    insta::assert_snapshot!(message(&error, &folder), @"HOME/record.db: not a record of reststrom, but an SQLite file with application id 0x0 and schema 0 (a record has id 0x52657374, schemas up to 5 are known); name another file; this one was left as it is");
}

#[test]
fn listing_neither_makes_nor_changes_a_record() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("reststrom").join("record.db");
    let error = Record::open_for_reading(&path).unwrap_err();
    insta::assert_snapshot!(message(&error, &folder), @"HOME/reststrom/record.db: no record there; run a part first, or name the record file that you mean");
    assert_eq!(names_in(&folder), BTreeSet::new());

    let id = Record::open(&path).unwrap().begin(&bare_run()).unwrap();
    let bytes = fs::read(&path).unwrap();
    let mut listing = Record::open_for_reading(&path).unwrap();
    assert_eq!(listing.run(id).unwrap().begun, bare_run());
    assert!(matches!(listing.finish(id, &passed()), Err(RecordError::OutOfReach { .. })));
    drop(listing);
    assert_eq!(fs::read(&path).unwrap(), bytes);
}

#[test]
fn a_record_that_was_closed_opens_again_with_all_it_had() {
    let (folder, mut record) = record();
    let id = record.begin(&smoothing_capacitor()).unwrap();
    record.append(id, &readings(3)).unwrap();
    record.finish(id, &passed()).unwrap();
    drop(record);
    let again = Record::open(file_in(&folder)).unwrap();
    assert_eq!(again.count_readings(id).unwrap(), 3);
    assert_eq!(again.run(id).unwrap().state, RunState::Ended(Box::new(passed())));
}

#[test]
fn several_programs_may_make_the_record_at_the_same_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = file_in(&folder);
    let begun = || Record::open(&path).and_then(|mut record| record.begin(&bare_run()));
    let mut ids: Vec<RunId> = thread::scope(|scope| {
        let threads: Vec<_> = (0..6).map(|_| scope.spawn(begun)).collect();
        threads.into_iter().map(|thread| thread.join().unwrap().unwrap()).collect()
    });
    ids.sort_unstable();
    let expected: Vec<RunId> = (1..=6).map(RunId::from_row).collect();
    assert_eq!(ids, expected);
}

#[test]
fn a_record_opens_while_another_program_writes() {
    let (folder, record) = record();
    record.connection.execute_batch("BEGIN IMMEDIATE").unwrap();
    let other = Record::open(file_in(&folder)).unwrap();
    assert_eq!(other.runs(&RunFilter::default()).unwrap(), []);
}

/// How often a change waited for the lock in the test below.
static WAITED: AtomicUsize = AtomicUsize::new(0);

#[test]
fn a_change_waits_until_another_program_has_written() {
    let (folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    let wait = |_| {
        WAITED.fetch_add(1, Ordering::SeqCst);
        thread::yield_now();
        true
    };
    record.connection.busy_handler(Some(wait)).unwrap();
    let mut other = Record::open(file_in(&folder)).unwrap();
    let theirs = other.connection.transaction_with_behavior(TransactionBehavior::Immediate);
    let theirs = theirs.unwrap();
    theirs.execute("UPDATE runs SET software = 'a viewer'", []).unwrap();
    thread::scope(|scope| {
        let ours = scope.spawn(|| record.append(id, &readings(3)));
        while WAITED.load(Ordering::SeqCst) == 0 && !ours.is_finished() {
            thread::yield_now();
        }
        theirs.commit().unwrap();
        ours.join().unwrap().unwrap();
    });
    assert_eq!(record.count_readings(id).unwrap(), 3);
    assert_eq!(record.run(id).unwrap().begun.software, "a viewer");
}

#[test]
fn steps_of_the_schema_are_taken_all_or_none() {
    let (folder, mut record) = record();
    let path = file_in(&folder);
    let id = record.begin(&bare_run()).unwrap();
    let note = "ALTER TABLE runs ADD COLUMN note TEXT";
    let and = |steps: &[&'static str]| [schema::STEPS, steps].concat();
    let broken = and(&[note, "ALTER TABLE nowhere ADD COLUMN note TEXT"]);
    assert!(schema::bring_forward(&mut record.connection, &path, &broken).is_err());
    let columns =
        |record: &Record| record.connection.prepare("SELECT * FROM runs").unwrap().column_count();
    let before = columns(&record);
    schema::bring_forward(&mut record.connection, &path, &and(&[note])).unwrap();
    assert_eq!(columns(&record), before + 1);
    assert_eq!(record.run(id).unwrap().begun, bare_run());
    assert!(matches!(Record::open(&path), Err(RecordError::Newer { .. })));
}

#[test]
fn a_record_of_the_first_schema_is_brought_forward_with_all_it_had() {
    let folder = tempfile::tempdir().unwrap();
    let path = file_in(&folder);
    let mut old = Connection::open(&path).unwrap();
    schema::bring_forward(&mut old, &path, &schema::STEPS[..1]).unwrap();
    old.execute_batch(
        "INSERT INTO runs (station, simulated, lapse, part, family, capacitance_f, rated_v, test_v, \
         plan_json, software, started_ms) \
         VALUES ('attic', 0, 1.0, 'C7', 'ta-mno2', 22e-6, 25.0, 25.0, '{}', 'reststrom 0.1.0', 0); \
         INSERT INTO endings (run, state, verdict, findings, current_a, uncertainty_a, \
         current_at_s, left_as, advice, ended_ms) \
         VALUES (1, 'ended', 'within', 'settled', 177e-9, 11e-9, 300.0, 'safe', 'Keep it.', 1);",
    )
    .unwrap();
    old.close().unwrap();
    let older = Record::open_for_reading(&path);
    assert!(matches!(older, Err(RecordError::Older { found: 1, .. })));
    let run = Record::open(&path).unwrap().run("r1".parse().unwrap()).unwrap();
    // What an old run was judged at, and that nothing was corrected, is known; the rest is not.
    assert_eq!(run.begun.conditions, Conditions::default());
    assert_eq!((run.begun.kind, run.begun.follows), (Kind::Soak, None));
    let RunState::Ended(ending) = run.state else { panic!("{:?}", run.state) };
    let current = ending.current.unwrap();
    assert_eq!((current.value, current.raw), (amperes(177e-9), amperes(177e-9)));
    assert_eq!((ending.budget, ending.capacitance_uncertainty), (Vec::new(), None));
    assert!(Record::open_for_reading(&path).is_ok());
}

#[test]
fn a_folder_that_cannot_be_written_is_named_with_what_to_do() {
    let error = Record::open("/proc/reststrom/record.db").unwrap_err();
    let said = format!("{error}; {}", error.help());
    insta::assert_snapshot!(said, @"/proc/reststrom: cannot make the folder; name a file in a folder that you may write to, or copy the record into one");
    let error = Record::open("/proc/record.db").unwrap_err();
    insta::assert_snapshot!(error.to_string(), @"/proc/record.db: cannot open the record");
}

#[test]
fn a_path_below_a_file_is_named_with_the_folder() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("notes"), "C12 leaks").unwrap();
    let error = Record::open(folder.path().join("notes").join("record.db")).unwrap_err();
    insta::assert_snapshot!(message(&error, &folder), @"HOME/notes/record.db: cannot look at the record; name a file in a folder that you may write to, or copy the record into one");
}

#[test]
fn a_full_disk_refuses_the_readings_and_keeps_what_was_written() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.append(id, &readings(10)).unwrap();
    let pages: u32 =
        record.connection.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
    record.connection.pragma_update(None, "max_page_count", pages).unwrap();
    let more: Vec<Row> = (10..1000).map(reading).collect();
    let error = record.append(id, &more).unwrap_err();
    assert!(matches!(error, RecordError::Full { free: Some(free), .. } if 0 < free));
    assert!(error.to_string().contains("record.db: cannot keep readings: disk full, "));
    assert_eq!(record.readings_after(id, None, 2000).unwrap(), readings(10));
}

#[test]
fn a_stored_word_that_nobody_knows_is_damage_and_not_a_guess() {
    let (folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.append(id, &readings(1)).unwrap();
    record.connection.execute("UPDATE readings SET phase = 'brew'", []).unwrap();
    let error = record.for_each_reading(id, |_| ()).unwrap_err();
    insta::assert_snapshot!(message(&error, &folder), @"HOME/record.db: cannot read readings: record is damaged; keep a copy of the file and of its -wal neighbour before anything else");
    let cause = std::error::Error::source(&error).unwrap().to_string();
    assert!(cause.contains("column phase holds `brew`, a word that is not known"), "{cause}");
}

#[test]
fn the_store_itself_refuses_an_ending_that_claims_more_than_was_seen() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    let claims = [
        "'interrupted', 'within', 'settled', NULL",
        "'interrupted', 'untested', 'stopped', 'safe'",
        "'ended', 'within', 'settled', NULL",
        "'fine', 'within', 'settled', 'safe'",
    ];
    for claim in claims {
        let sql = format!(
            "INSERT INTO endings (run, advice, ended_ms, state, verdict, findings, left_as) \
             VALUES ({}, '', 0, {claim})",
            id.row()
        );
        let refused = record.connection.execute(&sql, []).unwrap_err().to_string();
        assert!(refused.contains("CHECK constraint failed"), "{refused}");
    }
}
