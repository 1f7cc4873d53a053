//! What goes into the record comes out again, in its order, and an end is stored once.

use jiff::{Timestamp, ToSpan};
use proptest::prelude::*;
use rstest::rstest;

use super::sample::{
    BENCH, bare_ending, bare_run, later, passed, reading, readings, record, smoothing_capacitor,
    soak_begins, start,
};
use super::*;
use crate::judge::{Finding, Left, Verdict};
use crate::plan::Phase;
use crate::quantity::{amperes, seconds, volts};

fn stored_readings(record: &Record, run: RunId) -> Vec<Row> {
    let mut rows = Vec::new();
    record.for_each_reading(run, |row| rows.push(row)).unwrap();
    rows
}

#[rstest]
#[case::with_all_that_may_be_known(smoothing_capacitor())]
#[case::with_nothing_that_may_be_left_out(bare_run())]
fn a_run_reads_back_as_it_was_begun_and_is_open(#[case] begun: NewRun) {
    let (_folder, mut record) = record();
    let id = record.begin(&begun).unwrap();
    let run = record.run(id).unwrap();
    assert_eq!(run, Run { id, begun, state: RunState::Open });
    assert_eq!((run.verdict(), run.left()), (None, None));
    assert!(run.findings().is_empty());
}

#[rstest]
#[case::with_all_that_may_be_known(passed())]
#[case::with_nothing_that_may_be_left_out(bare_ending())]
fn an_ending_reads_back_as_it_was_stored(#[case] ending: Ending) {
    let (_folder, mut record) = record();
    let id = record.begin(&smoothing_capacitor()).unwrap();
    record.finish(id, &ending).unwrap();
    let run = record.run(id).unwrap();
    assert_eq!(run.verdict(), Some(ending.verdict));
    assert_eq!(run.left(), Some(ending.left));
    assert_eq!(run.findings(), ending.findings);
    assert_eq!(run.state, RunState::Ended(Box::new(ending)));
}

#[test]
fn every_word_of_a_verdict_reads_back() {
    let (_folder, mut record) = record();
    for (&verdict, &left) in Verdict::ALL.iter().flat_map(|v| Left::ALL.iter().map(move |l| (v, l)))
    {
        let ending = Ending { verdict, left, findings: Finding::ALL.to_vec(), ..passed() };
        let id = record.begin(&bare_run()).unwrap();
        record.finish(id, &ending).unwrap();
        assert_eq!(record.run(id).unwrap().state, RunState::Ended(Box::new(ending)));
    }
}

#[test]
fn every_phase_and_every_mark_of_a_reading_reads_back() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    let rows: Vec<Row> = (0..)
        .zip(Phase::ALL)
        .map(|(sequence, &phase)| Row {
            phase,
            flags: Flags::from_bits(sequence),
            ..reading(sequence)
        })
        .collect();
    record.append(id, &rows).unwrap();
    assert_eq!(stored_readings(&record, id), rows);
}

#[rstest]
#[case::overload(RecordedCurrent::Overload { negative: false }, None)]
#[case::negative_overload(RecordedCurrent::Overload { negative: true }, None)]
#[case::no_number(RecordedCurrent::NotANumber, None)]
#[case::nan(RecordedCurrent::Value(amperes(f64::NAN)), Some(RecordedCurrent::NotANumber))]
#[case::infinite(RecordedCurrent::Value(amperes(f64::INFINITY)), Some(RecordedCurrent::NotANumber))]
#[case::zero(RecordedCurrent::Value(amperes(0.0)), None)]
fn a_reading_without_a_number_never_comes_back_as_one(
    #[case] current: RecordedCurrent,
    #[case] otherwise: Option<RecordedCurrent>,
) {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    let row = Row { current, voltage: None, range: None, ..reading(0) };
    record.append(id, &[row]).unwrap();
    let expected = Row { current: otherwise.unwrap_or(current), ..row };
    assert_eq!(stored_readings(&record, id), [expected]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// A plot or an export of the record must show what the meter said, to the last bit.
    #[test]
    fn any_number_reads_back_exactly(
        current in any::<f64>().prop_filter("finite", |a| a.is_finite()),
        voltage in -1e3..1e3,
        time in 0.0..1e9,
    ) {
        let (_folder, mut record) = record();
        let id = record.begin(&bare_run()).unwrap();
        let row = Row {
            time: seconds(time),
            current: RecordedCurrent::Value(amperes(current)),
            voltage: Some(volts(voltage)),
            ..reading(0)
        };
        record.append(id, &[row]).unwrap();
        prop_assert_eq!(stored_readings(&record, id), [row]);
    }
}

#[test]
fn readings_keep_their_order_when_the_wall_clock_steps() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    let walls = [start(), start() - 1.hour(), start() + 1.hour(), Timestamp::UNIX_EPOCH];
    let rows: Vec<Row> =
        (0..).zip(walls).map(|(sequence, wall)| Row { wall, ..reading(sequence) }).collect();
    record.append(id, &rows[..2]).unwrap();
    record.append(id, &rows[2..]).unwrap();
    assert_eq!(stored_readings(&record, id), rows);
}

#[test]
fn the_newest_run_comes_first_whatever_the_wall_clock_said() {
    let (_folder, mut record) = record();
    let first = record.begin(&bare_run()).unwrap();
    let after_a_step_back = NewRun { started: Timestamp::UNIX_EPOCH, ..bare_run() };
    let second = record.begin(&after_a_step_back).unwrap();
    let ids: Vec<RunId> =
        record.runs(&RunFilter::default()).unwrap().iter().map(|run| run.id).collect();
    assert_eq!(ids, [second, first]);
}

#[rstest]
#[case::all(RunFilter::default(), &["r4", "r3", "r2", "r1"])]
#[case::newest_two(RunFilter { limit: Some(2), ..RunFilter::default() }, &["r4", "r3"])]
#[case::station(RunFilter { station: Some("attic".into()), ..RunFilter::default() }, &["r3"])]
#[case::part(RunFilter { part: Some("C7".into()), ..RunFilter::default() }, &["r4", "r2"])]
#[case::verdict(RunFilter { verdict: Some(Verdict::Within), ..RunFilter::default() }, &["r1"])]
#[case::interrupted_is_untested(
    RunFilter { verdict: Some(Verdict::Untested), ..RunFilter::default() },
    &["r2"]
)]
#[case::none(RunFilter { station: Some("pier".into()), ..RunFilter::default() }, &[])]
fn runs_are_listed_by_filter(#[case] filter: RunFilter, #[case] expected: &[&str]) {
    let (_folder, mut record) = record();
    let c7 = NewRun { part_name: "C7".to_owned(), ..bare_run() };
    let attic = NewRun { station: "attic".to_owned(), ..smoothing_capacitor() };
    for run in [&smoothing_capacitor(), &c7, &attic, &c7] {
        record.begin(run).unwrap();
    }
    record.finish("r1".parse().unwrap(), &passed()).unwrap();
    record.mark_interrupted("r2".parse().unwrap(), later(0), "found at start").unwrap();
    let ids: Vec<String> =
        record.runs(&filter).unwrap().iter().map(|run| run.id.to_string()).collect();
    assert_eq!(ids, expected);
}

#[test]
fn an_end_is_stored_once_and_the_first_one_stands() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.finish(id, &bare_ending()).unwrap();
    let again = record.finish(id, &passed()).unwrap_err();
    assert!(matches!(again, RecordError::NotOpen { run, ref state, .. }
        if run == id && state == "ended"));
    let marked = record.mark_interrupted(id, later(0), "too late").unwrap_err();
    assert!(matches!(marked, RecordError::NotOpen { .. }));
    assert_eq!(record.run(id).unwrap().state, RunState::Ended(Box::new(bare_ending())));
}

#[test]
fn an_interrupted_run_is_untested_and_never_called_safe() {
    let (_folder, mut record) = record();
    let id = record.begin(&smoothing_capacitor()).unwrap();
    record.mark_interrupted(id, later(5_000), "no program held the station").unwrap();
    let run = record.run(id).unwrap();
    let note = "no program held the station".to_owned();
    assert_eq!(run.state, RunState::Interrupted { found: later(5_000), note });
    assert_eq!(run.verdict(), Some(Verdict::Untested));
    assert_eq!(run.findings(), [Finding::Stopped]);
    assert_eq!(run.left(), None);
    assert!(matches!(record.finish(id, &passed()), Err(RecordError::NotOpen { .. })));
}

#[test]
fn a_run_that_is_over_takes_events_but_no_readings() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.finish(id, &bare_ending()).unwrap();
    assert!(matches!(record.append(id, &[reading(0)]), Err(RecordError::NotOpen { .. })));
    let acknowledged = EventRow { kind: "acknowledged".to_owned(), ..soak_begins() };
    record.event(id, &acknowledged).unwrap();
    assert_eq!(record.events(id).unwrap(), [acknowledged]);
    assert_eq!(record.count_readings(id).unwrap(), 0);
}

#[test]
fn readings_are_stored_all_or_none() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.append(id, &readings(3)).unwrap();
    let twice = [reading(3), reading(1)];
    assert!(matches!(record.append(id, &twice), Err(RecordError::Sqlite { .. })));
    assert_eq!(stored_readings(&record, id), readings(3));
}

#[test]
fn two_runs_keep_their_readings_and_events_apart() {
    let (_folder, mut record) = record();
    let one = record.begin(&smoothing_capacitor()).unwrap();
    let two = record.begin(&bare_run()).unwrap();
    record.append(one, &readings(4)).unwrap();
    record.append(two, &[Row { phase: Phase::Probe, ..reading(0) }]).unwrap();
    record.event(two, &soak_begins()).unwrap();
    assert_eq!(record.count_readings(one).unwrap(), 4);
    assert_eq!(stored_readings(&record, two)[0].phase, Phase::Probe);
    assert_eq!(record.events(one).unwrap(), []);
    let open: Vec<RunId> = record.open_runs(BENCH).unwrap().iter().map(|run| run.id).collect();
    assert_eq!(open, [one, two]);
}

#[test]
fn a_phase_that_comes_twice_makes_two_spans() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    let phases = [Phase::Ramp, Phase::Ramp, Phase::Soak, Phase::Ramp];
    let rows: Vec<Row> =
        (0..).zip(phases).map(|(sequence, phase)| Row { phase, ..reading(sequence) }).collect();
    record.append(id, &rows).unwrap();
    let span = |phase, from: f64, to: f64, readings| PhaseSpan {
        phase,
        from: seconds(from),
        to: seconds(to),
        readings,
    };
    assert_eq!(
        record.phase_spans(id).unwrap(),
        [
            span(Phase::Ramp, 0.0, 0.1, 2),
            span(Phase::Soak, 0.2, 0.2, 1),
            span(Phase::Ramp, 0.3, 0.3, 1),
        ]
    );
}

#[rstest]
#[case::less_than_a_chunk(1)]
#[case::a_chunk(4096)]
#[case::one_more_than_a_chunk(4097)]
fn streaming_hands_out_every_reading_once_and_in_order(#[case] count: u32) {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.append(id, &readings(count)).unwrap();
    let mut next = 0;
    record
        .for_each_reading(id, |row| {
            assert_eq!(row.sequence, next);
            next += 1;
        })
        .unwrap();
    assert_eq!(next, count);
}

#[test]
fn readings_can_be_followed_from_where_one_left_off() {
    let (_folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.append(id, &readings(6)).unwrap();
    assert_eq!(record.readings_after(id, Some(2), 2).unwrap(), [reading(3), reading(4)]);
    assert_eq!(record.readings_after(id, Some(5), 2).unwrap(), []);
    assert_eq!(record.readings_after(id, None, 1).unwrap(), [reading(0)]);
}

#[test]
fn a_slow_listener_does_not_keep_the_log_from_being_emptied() {
    let (folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    record.append(id, &readings(5000)).unwrap();
    let listener = Record::open_for_reading(folder.path().join("record.db")).unwrap();
    let mut heard = 0;
    listener
        .for_each_reading(id, |row| {
            heard += 1;
            if row.sequence == 10 {
                record.append(id, &[reading(5000)]).unwrap();
                assert_eq!(record.empty_log().unwrap(), 0);
            }
        })
        .unwrap();
    assert_eq!(heard, 5001);
}

#[test]
fn the_zero_of_a_station_is_the_one_stored_last() {
    let (_folder, mut record) = record();
    let zero = Zero {
        station: BENCH.to_owned(),
        taken: later(0),
        current: amperes(2.1e-9),
        uncertainty: amperes(0.4e-9),
        voltage: volts(24.5),
        celsius: Some(19.5),
    };
    let later_by_order = Zero { taken: start() - 1.hour(), celsius: None, ..zero.clone() };
    let elsewhere = Zero { station: "attic".to_owned(), ..zero.clone() };
    for zero in [&zero, &later_by_order, &elsewhere] {
        record.keep_zero(zero).unwrap();
    }
    assert_eq!(record.latest_zero(BENCH).unwrap(), Some(later_by_order));
    assert_eq!(record.latest_zero("pier").unwrap(), None);
}

#[test]
fn a_run_that_does_not_exist_is_named_by_every_call() {
    let (_folder, mut record) = record();
    let id: RunId = "r99".parse().unwrap();
    let answers = [
        record.run(id).err(),
        record.count_readings(id).err(),
        record.events(id).err(),
        record.for_each_reading(id, |_| ()).err(),
        record.append(id, &[reading(0)]).err(),
        record.event(id, &soak_begins()).err(),
        record.finish(id, &passed()).err(),
        record.mark_interrupted(id, later(0), "").err(),
    ];
    for answer in answers {
        assert!(matches!(answer, Some(RecordError::UnknownRun { run, .. }) if run == id));
    }
}

#[test]
fn the_room_to_plan_for_a_reading_is_enough() {
    let (folder, mut record) = record();
    let id = record.begin(&bare_run()).unwrap();
    let size = || folder.path().join("record.db").metadata().unwrap().len();
    record.empty_log().unwrap();
    let before = size();
    for rows in readings(20_000).chunks(5) {
        record.append(id, rows).unwrap();
    }
    record.empty_log().unwrap();
    let each = (size() - before) / 20_000;
    assert!((BYTES_PER_READING / 2..=BYTES_PER_READING).contains(&each), "{each} bytes");
}
