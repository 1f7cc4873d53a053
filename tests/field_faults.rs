//! The faults that were met at real benches, `fixtures/field-faults.jsonl`, and what holds each of them:
//! the names of tests, or the reason why a row does not apply to this program.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use serde_json::Value;

/// What becomes of a row.
enum Kept {
    /// These tests hold it.
    By(&'static [&'static str]),
    /// It does not apply, because.
    Not(&'static str),
}

use Kept::{By, Not};

/// Each row of the fixture.
const ROWS: &[(&str, Kept)] = &[
    (
        "OPN-001",
        By(&[
            "a_banner_is_no_name_and_the_name_is_asked_for_again",
            "a_supply_that_comes_back_shows_all_its_settings_first",
        ]),
    ),
    (
        "OPN-002",
        By(&[
            "the_dead_state_of_the_line_is_the_safe_one",
            "the_bleeder_comes_off_just_before_the_output_goes_on",
            "a_part_that_does_not_empty_locks_out",
        ]),
    ),
    ("OPN-003", By(&["a_port_that_gives_no_answer_is_told_with_what_was_sent_and_what_to_try"])),
    (
        "OPN-004",
        By(&[
            "errors_left_over_by_others_are_told_and_refuse_nothing",
            "a_range_that_was_not_taken_is_told",
        ]),
    ),
    (
        "OPN-005",
        By(&["a_port_has_one_owner", "what_is_no_number_gives_no_reading_and_is_asked_again"]),
    ),
    ("OPN-006", By(&["the_group_of_a_port_has_a_name"])),
    (
        "OPN-007",
        By(&[
            "unasked_lines_of_a_probing_service_are_no_answers",
            "errors_left_over_by_others_are_told_and_refuse_nothing",
            "a_supply_that_comes_back_shows_all_its_settings_first",
        ]),
    ),
    (
        "OPN-008",
        By(&[
            "a_stream_joined_in_the_middle_begins_with_a_whole_line",
            "of_two_lines_at_once_neither_is_an_answer",
        ]),
    ),
    (
        "OPN-009",
        By(&[
            "what_was_sent_before_the_line_was_opened_is_thrown_away",
            "nothing_counts_before_the_form_was_seen_three_times_in_a_row",
        ]),
    ),
    ("OPN-010", By(&["ports_that_the_station_does_not_name_are_never_opened"])),
    (
        "LNK-001",
        By(&[
            "a_lost_instrument_ends_the_run_safely",
            "a_hung_up_line_is_an_error_and_not_silence",
        ]),
    ),
    (
        "LNK-002",
        By(&[
            "what_cannot_be_proven_off_is_locked_out",
            "a_supply_that_is_plugged_in_again_is_proven_off_and_never_on_again",
        ]),
    ),
    (
        "LNK-003",
        By(&[
            "a_supply_that_is_plugged_in_again_is_proven_off_and_never_on_again",
            "a_run_that_lost_its_meter_is_not_gone_on_with",
        ]),
    ),
    (
        "LNK-004",
        By(&[
            "an_instrument_with_another_identity_is_refused",
            "another_instrument_after_a_replug_is_told_by_its_name_and_nothing_more_is_said",
        ]),
    ),
    (
        "LNK-005",
        By(&[
            "a_cut_out_goes_ahead_of_a_line_that_nobody_reads",
            "what_cannot_be_proven_off_is_locked_out",
        ]),
    ),
    (
        "LNK-006",
        By(&[
            "two_misses_are_a_lost_line_long_before_anything_old_could_arrive",
            "what_a_swallowed_connection_still_holds_is_never_delivered",
        ]),
    ),
    (
        "LNK-007",
        By(&[
            "a_lost_instrument_ends_the_run_safely",
            "an_instrument_that_fell_silent_is_named_with_its_last_value",
            "a_line_that_falls_asleep_is_written_to_as_often_as_its_driver_says",
            "a_meter_that_is_not_kept_awake_is_never_written_to_and_its_silence_names_power_saving",
        ]),
    ),
    (
        "LNK-008",
        By(&[
            "what_cannot_be_proven_off_is_locked_out",
            "a_locked_out_supply_stays_with_the_keeper_until_it_is_proven_off",
        ]),
    ),
    (
        "FRM-001",
        By(&[
            "silence_tells_the_bytes_that_were_sent_with_their_end_mark",
            "a_port_that_gives_no_answer_is_told_with_what_was_sent_and_what_to_try",
        ]),
    ),
    ("FRM-002", By(&["end_marks_of_all_kinds_end_a_line_once"])),
    (
        "FRM-003",
        By(&[
            "one_unclear_answer_about_the_output_is_asked_again_and_two_are_told",
            "of_two_lines_at_once_neither_is_an_answer",
        ]),
    ),
    ("FRM-004", By(&["a_reply_in_pieces_is_one_and_half_a_reply_is_none"])),
    ("FRM-005", By(&["of_two_lines_at_once_neither_is_an_answer"])),
    ("FRM-006", By(&["a_reply_byte_by_byte_is_one_reading_for_every_cut"])),
    (
        "FRM-007",
        By(&[
            "a_reply_byte_by_byte_is_one_reading_for_every_cut",
            "any_cut_of_the_bytes_gives_the_same_readings",
        ]),
    ),
    (
        "FRM-008",
        By(&[
            "a_short_reply_of_fixed_length_is_none",
            "an_answer_without_an_end_mark_ends_after_its_length",
        ]),
    ),
    (
        "FRM-009",
        By(&[
            "only_an_exact_echo_is_taken_away",
            "an_answer_without_the_echo_before_it_is_none",
            "a_prompt_before_an_answer_or_behind_it_is_no_part_of_it",
            "what_is_no_number_gives_no_reading_and_is_asked_again",
        ]),
    ),
    (
        "FRM-010",
        By(&[
            "nuls_between_lines_are_dropped_and_one_inside_stays_to_spoil_it",
            "what_is_no_number_gives_no_reading_and_is_asked_again",
        ]),
    ),
    (
        "FRM-011",
        By(&[
            "a_line_that_never_gives_a_name_is_given_up_with_what_came",
            "what_is_no_number_gives_no_reading_and_is_asked_again",
        ]),
    ),
    ("FRM-012", By(&["a_stop_byte_in_what_came_does_not_hold_back_a_cut_out"])),
    (
        "FRM-013",
        By(&["a_spoiled_frame_costs_no_other", "one_wrong_bit_in_a_frame_gives_no_other_value"]),
    ),
    ("FRM-014", By(&["a_port_flush_empties_the_half_line_too"])),
    (
        "FRM-015",
        By(&[
            "what_confirms_an_order_is_no_answer_to_a_question",
            "an_order_that_is_not_confirmed_puts_the_line_out_of_step",
        ]),
    ),
    (
        "NUM-001",
        By(&[
            "a_reading_is_a_value_or_says_why_it_is_none",
            "what_is_no_number_gives_no_reading_and_is_asked_again",
        ]),
    ),
    (
        "NUM-002",
        By(&[
            "a_reading_is_a_value_or_says_why_it_is_none",
            "a_line_of_another_kind_is_no_reading_of_the_run",
        ]),
    ),
    ("NUM-003", By(&["a_reading_is_a_value_or_says_why_it_is_none", "marks_become_variants"])),
    ("NUM-004", By(&["a_reading_is_a_value_or_says_why_it_is_none"])),
    ("NUM-005", By(&["what_is_no_number_gives_no_reading_and_is_asked_again"])),
    (
        "NUM-006",
        By(&[
            "what_is_no_number_gives_no_reading_and_is_asked_again",
            "no_bytes_give_a_number_that_is_not_finite",
        ]),
    ),
    (
        "NUM-007",
        By(&[
            "a_reading_is_a_value_or_says_why_it_is_none",
            "a_voltage_that_the_supply_cannot_give_is_no_reading",
        ]),
    ),
    (
        "NUM-008",
        By(&[
            "a_reading_is_a_value_or_says_why_it_is_none",
            "an_overload_of_a_stream_is_one_however_it_is_spelt",
        ]),
    ),
    (
        "NUM-009",
        By(&[
            "a_supply_that_drops_lines_sent_too_soon_is_not_switched_on_unset",
            "a_voltage_that_is_missing_in_the_window_spoils_it",
        ]),
    ),
    (
        "NUM-010",
        By(&[
            "a_decimal_comma_is_one_only_where_the_driver_says_so",
            "a_stream_with_a_decimal_comma_is_read_where_its_driver_shows_one",
        ]),
    ),
    ("NUM-011", By(&["a_reading_is_a_value_or_says_why_it_is_none"])),
    (
        "NUM-012",
        By(&["a_reading_is_a_value_or_says_why_it_is_none", "negative_zero_is_plain_zero"]),
    ),
    (
        "NUM-013",
        By(&["every_micro_sign_is_micro", "a_line_of_another_kind_is_no_reading_of_the_run"]),
    ),
    (
        "NUM-014",
        By(&[
            "what_is_no_number_gives_no_reading_and_is_asked_again",
            "the_message_shows_what_came",
        ]),
    ),
    ("NUM-015", By(&["an_output_state_is_read_in_all_its_spellings", "only_a_clear_off_is_off"])),
    (
        "NUM-016",
        By(&[
            "end_marks_of_all_kinds_end_a_line_once",
            "an_answer_without_an_end_mark_ends_after_its_length",
        ]),
    ),
    ("NUM-017", By(&["a_frame_is_a_reading", "segments_that_make_no_digit_are_no_reading"])),
    (
        "QRY-001",
        By(&[
            "a_late_answer_is_drained_and_the_name_asked_for_before_anything_else",
            "answers_that_come_too_late_are_never_taken_for_those_of_the_next_question",
        ]),
    ),
    (
        "QRY-002",
        By(&[
            "only_one_question_is_open_at_a_time",
            "a_cut_out_over_an_open_question_takes_no_answer_to_it",
        ]),
    ),
    ("QRY-003", By(&["an_error_after_a_lost_question_is_no_refused_setting"])),
    (
        "QRY-004",
        By(&[
            "errors_left_over_by_others_are_told_and_refuse_nothing",
            "an_error_queue_that_never_empties_is_given_up",
        ]),
    ),
    ("QRY-005", By(&["no_error_is_spelled_in_many_ways"])),
    (
        "QRY-006",
        By(&[
            "a_supply_without_an_error_queue_is_asked_for_it_once",
            "a_meter_without_an_error_queue_is_read_all_the_same",
        ]),
    ),
    ("QRY-007", Not("no driver asks for operation-complete: phases leave on measured values")),
    ("QRY-008", By(&["no_driver_resets_an_instrument_or_says_two_things_in_one_line"])),
    (
        "QRY-009",
        By(&[
            "settings_are_looked_at_again_right_after_the_first_measurement",
            "a_current_limit_turned_by_hand_is_noticed_at_a_supply_that",
        ]),
    ),
    ("QRY-010", By(&["a_first_answer_may_take_its_time_and_a_later_one_may_not"])),
    (
        "CMD-001",
        By(&[
            "a_supply_that_drops_lines_sent_too_soon_is_not_switched_on_unset",
            "a_gap_that_the_driver_knows_is_kept_and_the_run_works",
        ]),
    ),
    (
        "CMD-002",
        By(&[
            "a_lost_instrument_ends_the_run_safely",
            "a_second_cut_out_is_said_without_the_end_mark_that_may_have_swallowed_the_first",
        ]),
    ),
    ("CMD-003", By(&["a_cut_out_ends_a_half_sent_line_and_drops_what_waits"])),
    ("CMD-004", By(&["on_is_said_once_whatever_becomes_of_its_answer"])),
    (
        "CMD-005",
        By(&[
            "a_setting_that_was_not_taken_stops_the_start",
            "a_set_point_that_is_clipped_is_no_test_at_the_rating",
        ]),
    ),
    (
        "CMD-006",
        By(&[
            "a_value_rounded_to_the_step_of_the_supply_is_taken",
            "a_setting_that_was_not_taken_stops_the_start",
        ]),
    ),
    ("CMD-007", By(&["a_set_point_never_passes_for_a_measured_voltage"])),
    (
        "CMD-008",
        Not(
            "drivers describe one channel; one that is selected by an order needs words that carry it",
        ),
    ),
    (
        "CMD-009",
        By(&["settings_are_made_and_read_back_as_a_group", "orders_against_the_rules_are_found"]),
    ),
    ("CMD-010", By(&["no_driver_resets_an_instrument_or_says_two_things_in_one_line"])),
    ("CMD-011", By(&["a_setting_that_was_not_taken_stops_the_start"])),
    (
        "PSU-001",
        Not("no driver asks for a limit state: it follows from measured voltage and current"),
    ),
    ("PSU-002", By(&["a_supply_that_swings_is_never_soaked_at"])),
    ("PSU-003", By(&["a_supply_that_tripped_but_tells_on_ends_safely"])),
    ("PSU-004", By(&["a_protection_that_trips_anywhere_ends_the_run_once"])),
    ("PSU-005", By(&["a_fault_cuts_out_first_in_every_phase"])),
    ("PSU-006", By(&["an_output_that_comes_on_by_itself_is_locked_out_and_switched_off_again"])),
    (
        "PSU-007",
        By(&[
            "a_lost_instrument_ends_the_run_safely",
            "a_supply_under_local_control_is_locked_out",
        ]),
    ),
    (
        "PSU-008",
        Not(
            "one channel, one read-back: tracking shows as a capacitance that is off, or not at all",
        ),
    ),
    (
        "PSU-009",
        By(&[
            "protections_stand_just_above_the_test_voltage",
            "a_lost_instrument_ends_the_run_safely",
        ]),
    ),
    (
        "PSU-010",
        By(&[
            "a_part_that_comes_charged_is_bled_first_and_then_judged",
            "a_part_that_does_not_empty_by_itself_is_never_energised",
        ]),
    ),
    (
        "PSU-011",
        By(&[
            "a_part_that_always_comes_back_is_locked_out",
            "a_part_that_does_not_empty_locks_out",
        ]),
    ),
    ("PSU-012", By(&["a_supply_that_restarts_ends_the_run_with_its_output_off"])),
    ("PSU-013", By(&["a_part_that_fell_off_before_the_end_is_not_called_empty"])),
    (
        "SCN-001",
        By(&[
            "a_relay_that_did_not_move_or_moved_too_many_is_told",
            "a_relay_that_does_not_close_is_told_and_nothing_else_is_closed",
        ]),
    ),
    ("SCN-002", By(&["a_part_that_is_not_proven_empty_ends_the_tray"])),
    (
        "MTR-001",
        By(&[
            "a_line_of_another_kind_is_no_reading_of_the_run",
            "a_stream_on_another_range_than_the_station_s_is_refused_by_the_check",
        ]),
    ),
    ("MTR-002", By(&["a_frame_of_a_display_that_is_not_live_disturbs"])),
    ("MTR-003", By(&["a_frame_of_a_display_that_is_not_live_disturbs"])),
    (
        "MTR-004",
        By(&[
            "a_line_of_another_kind_is_no_reading_of_the_run",
            "a_range_change_in_the_window_spoils_it",
        ]),
    ),
    ("MTR-005", By(&["a_pause_within_the_deadline_is_none_and_beyond_it_a_lost_meter"])),
    ("MTR-006", By(&["a_meter_that_tells_its_last_reading_for_ever_never_gives_within"])),
    (
        "MTR-007",
        By(&[
            "a_clip_that_falls_off_never_gives_within_and_locks_out_a_charged_part",
            "a_wrong_part_is_asked_about_and_an_empty_clip_is_untested",
        ]),
    ),
    (
        "MTR-008",
        By(&[
            "a_lost_instrument_ends_the_run_safely",
            "an_instrument_that_fell_silent_is_named_with_its_last_value",
        ]),
    ),
    (
        "MTR-009",
        By(&[
            "words_without_a_value_are_silence_to_whoever_waits_for_one",
            "a_lost_instrument_ends_the_run_safely",
        ]),
    ),
    ("MTR-010", By(&["a_frame_of_a_display_that_is_not_live_disturbs"])),
    ("MTR-011", By(&["neighbours_that_move_together_widen_the_scatter"])),
    ("MTR-012", By(&["swapped_leads_do_not_hide_a_large_leak"])),
    (
        "MTR-013",
        Not(
            "no driver has words for a filter; integration is set with every range, and the supply's current limit bounds what a slow meter hides",
        ),
    ),
    (
        "MTR-014",
        By(&[
            "a_reading_is_a_value_or_says_why_it_is_none",
            "the_end_of_a_range_is_an_overload_and_so_is_a_number_beyond",
        ]),
    ),
    (
        "TIM-001",
        By(&[
            "a_daemon_that_stands_still_is_switched_off_and_ends_safely_when_it_goes_on",
            "a_host_that_slept_is_noticed",
        ]),
    ),
    ("TIM-002", By(&["a_host_that_slept_is_noticed"])),
    ("TIM-003", By(&["readings_keep_their_order_when_the_wall_clock_steps"])),
    ("TIM-004", By(&["bunches_of_an_adapter_cost_no_answer"])),
    (
        "TIM-005",
        By(&[
            "of_a_backlog_every_line_is_given_at_once_and_the_newest_last",
            "readings_that_were_held_up_on_their_way_are_on_record_as_late",
            "readings_wait_in_order_while_another_program_holds_the_record",
        ]),
    ),
    (
        "TIM-006",
        By(&[
            "bytes_that_trickle_for_ever_miss_the_deadline_of_the_whole_reply",
            "a_line_without_end_stays_small_and_is_no_answer",
        ]),
    ),
    (
        "STO-001",
        By(&[
            "a_log_cut_anywhere_keeps_every_transaction_before_the_cut",
            "commits_are_synced_and_readers_do_not_block_them",
        ]),
    ),
    ("STO-002", By(&["readings_wait_in_order_while_another_program_holds_the_record"])),
    ("STO-003", By(&["a_full_disk_refuses_the_readings_and_keeps_what_was_written"])),
    ("STO-004", By(&["a_slow_listener_does_not_keep_the_log_from_being_emptied"])),
    ("STO-005", Not("no text file is ever appended to: exports are made from the record")),
    ("STO-006", By(&["an_interrupted_run_is_untested_and_never_called_safe"])),
    ("STO-007", By(&["a_newer_record_is_refused_and_not_a_byte_of_it_changes"])),
    ("PLT-001", By(&["overloads_and_readings_off_the_axis_are_marked"])),
    ("PLT-002", By(&["the_shipped_font_has_the_signs_of_the_trade"])),
    ("PLT-003", By(&["one_spike_among_a_third_of_a_million_readings_stays_visible"])),
    ("PRO-001", By(&["a_killed_daemon_leaves_the_output_off_and_the_part_empty"])),
    (
        "PRO-002",
        By(&[
            "a_reader_that_leaves_after_the_first_line_does_no_harm",
            "a_closed_standard_output_does_no_harm",
        ]),
    ),
    ("PRO-003", By(&["a_second_and_a_third_ctrl_c_change_nothing_but_a_message"])),
    (
        "PRO-004",
        By(&[
            "a_killed_daemon_leaves_the_output_off_and_the_part_empty",
            "a_run_without_its_keeper_ends_safely",
            "a_supply_that_both_left_on_is_found_and_made_safe_by_the_next_soak",
        ]),
    ),
    (
        "PRO-005",
        By(&["a_daemon_that_stands_still_is_switched_off_and_ends_safely_when_it_goes_on"]),
    ),
    ("PRO-006", By(&["a_beat_with_an_old_reading_is_no_comfort"])),
    ("BEN-001", By(&["the_reading_is_the_leakage_at_the_reading_time"])),
    ("BEN-002", By(&["a_part_that_is_held_by_its_path_alone_is_undecided"])),
    ("BEN-003", By(&["a_meter_that_is_too_coarse_is_told_what_would_do"])),
    ("BEN-004", By(&["the_first_readings_after_a_range_change_are_left_unused"])),
    ("BEN-005", By(&["a_part_gets_its_verdict"])),
    ("BEN-006", By(&["the_reading_carries_its_whole_budget"])),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The rows of the fixture by their names.
fn fixture() -> BTreeSet<String> {
    let path = root().join("fixtures/field-faults.jsonl");
    let text = fs::read_to_string(path).expect("the fixture");
    text.lines()
        .map(|line| {
            let row: Value = serde_json::from_str(line).expect("a row");
            row["id"].as_str().expect("a name").to_owned()
        })
        .collect()
}

fn rust_below(folder: &Path, texts: &mut Vec<String>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            rust_below(&path, texts);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            texts.push(fs::read_to_string(path).expect("a text"));
        }
    }
}

/// Whether `text` has a test of this name: a function with a mark of a test above it, before the
/// end of whatever comes before.
fn has_test(text: &str, name: &str) -> bool {
    let Some(at) = text.find(&format!("fn {name}(")) else { return false };
    let before = &text[..at];
    let start = [before.rfind("}\n"), before.rfind(";\n")].into_iter().flatten().max().unwrap_or(0);
    let marks = &before[start..];
    ["#[test]", "#[rstest]", "#[tokio::test"].iter().any(|mark| marks.contains(mark))
}

#[test]
fn every_row_of_the_fixture_is_held_by_tests_or_has_a_reason() {
    let told: BTreeSet<String> = ROWS.iter().map(|(id, _)| (*id).to_owned()).collect();
    assert_eq!(told.len(), ROWS.len(), "a row is told twice");
    assert_eq!(told, fixture());
    for (id, kept) in ROWS {
        let said = match kept {
            By(tests) => !tests.is_empty(),
            Not(reason) => 20 < reason.len(),
        };
        assert!(said, "{id} has neither a test nor a reason");
    }
}

#[test]
fn every_test_that_holds_a_row_is_there() {
    let mut texts = Vec::new();
    for folder in ["src", "tests"] {
        rust_below(&root().join(folder), &mut texts);
    }
    let missing: Vec<String> = ROWS
        .iter()
        .filter_map(|(id, kept)| match kept {
            By(named) => Some((id, named)),
            Not(_) => None,
        })
        .flat_map(|(id, tests)| tests.iter().map(move |test| (id, *test)))
        .filter(|(_, test)| !texts.iter().any(|text| has_test(text, test)))
        .map(|(id, test)| format!("{id}: {test}"))
        .collect();
    assert_eq!(missing, Vec::<String>::new());
}

#[test]
fn a_function_without_the_mark_of_a_test_is_none() {
    assert!(has_test("#[test]\nfn a_rule_of_words() {}", "a_rule_of_words"));
    assert!(!has_test("#[test]\nfn other() {}\n\nfn a_rule_of_words() {}", "a_rule_of_words"));
    assert!(!has_test("// a_rule_of_words", "a_rule_of_words"));
}
