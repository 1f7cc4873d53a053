//! Whole files: both forms give the same tray, and every fault is told at once.

use proptest::prelude::*;
use rstest::rstest;

use super::*;
use crate::quantity::{farads, seconds, volts};

const CSV: &str = include_str!("../../fixtures/terne-tray.csv");
const TOML: &str = include_str!("../../fixtures/terne-tray.toml");
const MISTAKES: &str = include_str!("../../fixtures/terne-tray-mistakes.csv");

fn terne() -> Tray {
    read(CSV, Form::Csv).unwrap()
}

/// Faults as a person reads them.
fn said(text: &str, form: Form) -> String {
    let faults = read(text, form).unwrap_err();
    let lines = faults.iter().map(|fault| format!("{fault}\n  {}\n", fault.help()));
    lines.collect()
}

#[test]
fn a_spreadsheet_and_a_listing_of_one_tray_are_the_same_tray() {
    assert!(CSV.starts_with('\u{feff}') && CSV.contains("\r\n") && CSV.contains("4,7 µF"));
    assert_eq!(read(TOML, Form::Toml), Ok(terne()));
    assert_eq!(terne().parts().len(), 24);
}

#[test]
fn a_part_of_the_tray_is_what_its_row_says() {
    let tray = terne();
    let slot = tray.slot(&Position::read("10").unwrap()).unwrap();
    let part = tray.part(slot).unwrap();
    assert_eq!(part.part.to_string(), "C25 4.7 µF 35 V ta-mno2 ±20%");
    assert_eq!(part.limit.to_string(), "0.01CU floor 500 nA @ 5 min 25 °C");
    assert_eq!(part.test_voltage, Some(volts(30.0)));
    assert_eq!(part.note.as_deref(), Some("echo sounder, receiver board; runs at 28 V"));
    assert_eq!(part.part.rating.capacitance(), farads(4.7e-6));
}

#[test]
fn a_limit_without_a_time_takes_that_of_its_column() {
    // 0.01·2.2·50 + 3 = 4.1 µA.
    let tray = terne();
    let part = &tray.parts()[13];
    assert_eq!(part.limit.reading_time, Some(seconds(120.0)));
    let current = part.limit.current(&part.part.rating).unwrap();
    assert!((current.value - 4.1e-6).abs() < 1e-12, "{current:?}");
    assert_eq!(part.note.as_deref(), Some("intercom; \"A\" side"));
}

#[test]
fn a_wish_asks_for_what_the_row_asks_for() {
    let wish = terne().parts()[16].wish(&Terms::usual());
    assert_eq!((wish.test_voltage, wish.soak), (Some(volts(37.5)), Some(seconds(600.0))));
    assert!(!wish.acknowledged);
}

#[test]
fn parts_without_a_position_are_numbered_in_their_order() {
    let text = "family,value,rating\ntantalum,10u,35V\ntantalum,22u,25V\n";
    let tray = read(text, Form::Csv).unwrap();
    let positions: Vec<&str> = tray.parts().iter().map(|part| part.position.as_str()).collect();
    assert_eq!(positions, ["1", "2"]);
    assert!(!tray.has_channels());
}

#[test]
fn twenty_mistakes_are_told_at_once_each_with_its_place_and_what_to_do() {
    let faults = read(MISTAKES, Form::Csv).unwrap_err();
    assert_eq!(faults.len(), 20);
    insta::assert_snapshot!(said(MISTAKES, Form::Csv), @r#"
    line 1, column 12: expected a column that is known, came "colour"
      name it as one of position, designator, family, value, tolerance, rating, limit, test voltage, reading time, soak, channel, in-circuit, note, or leave it out
    line 2, column 3 (family): expected a family of capacitors, came "tantaline"
      write one of ta-mno2, ta-mno2-lowdcl, ta-mno2-85C, ta-mno2-125C, ta-polymer, ta-wet, nb-oxide, al-wet, al-wet-hv, al-wet-ll, al-wet-long, al-bipolar, al-snapin, al-screw, al-vintage, al-polymer, al-polymer-stack, al-hybrid, cer-1, cer-1-mil, cer-2, cer-2-lv, cer-2-hc, film-pp, film-pet, film-pps, film-x2, paper, mica, edlc
    line 3, column 3 (family): expected one family of capacitors, came "film", which may be film-pp, film-pet, film-pps, film-x2
      write one of film-pp, film-pet, film-pps, film-x2
    line 4, column 4 (value): expected a capacitance such as 22 µF or 4n7, came "22 uX": "uX" is no unit of it
      write it as in 22 µF or 4n7
    line 5, column 4 (value): expected a capacitance such as 22 µF or 4n7, came "22": it has no unit
      write the unit after the number, as in 22 µF or 4n7
    line 6, column 4 (value): expected something here, came nothing
      fill it in
    line 7, column 4 (value): expected a capacitance such as 22 µF or 4n7, came "1,234 µF": the comma may be a decimal mark or part thousands
      write a decimal point, or no mark at all
    line 8, column 6 (rating): expected a voltage above zero, came 0 V
      write the values as printed on the part, such as 22 µF 25 V
    line 9, column 5 (tolerance): expected a tolerance such as 10%, ±10% or -10+50%, came "20"
      write it as in 10%, ±20% or -10+50%
    line 10, column 7 (limit): expected a limit with one meaning, came "0,02CV or 5 mA, 5 min": nothing says whether this second value is a floor or a cap; perhaps 5 mA by `0.02CU floor 5 mA` or 7 µA by `0.02CU cap 5 mA`
      look at the sheet and write the one that is meant, as shown
    line 11, column 7 (limit): expected a limit with one meaning, came "as usual": a word, sign or digit here is not understood or garbled
      write what is meant, as in 0.01CU floor 0.5uA @ 5min 25C or 3sqrt(CU) cap 5mA
    line 12, column 8 (test voltage): expected at most the rated 25 V, came 63 V
      ask for the rated voltage or less
    line 13, column 9 (reading time): expected the limit's own reading time of 2 min, came 5 min
      leave the reading time out; `soak` sets the length of the soak
    line 14, column 10 (soak): expected a time above zero, came 0 s
      write a time as in 90s, 5 min or 2 h
    line 15, column 1 (position): expected each once, came "13" as at line 14, column 1 already
      give each part its own
    line 16, column 2 (designator): expected each once, came "c14" as at line 2, column 2 already
      give each part its own
    line 17, column 11 (channel): expected the number of a channel such as 101, came "upper row"
      write the number alone, of at most five digits
    line 18, column 11 (channel): expected a channel for each part or for none, came none here
      fill in all channels for a scanner, or none to clip in by hand
    line 19, column 7 (limit): expected a limit, as its family has none at this rating: expected cer-2 up to 16 V or from 25 V, came 20 V
      write the limit of its own sheet, such as 0.01CU floor 3uA @ 2min 20C
    line 20, column 14: expected 13 cells as in the head, came 14
      put a cell with the mark in it between quotes, or export with semicolons
    "#);
}

#[rstest]
#[case::no_value("[[part]]\nfamily = \"tantalum\"\nrating = \"25V\"\n")]
#[case::no_head_that_fits("family;rating\ntantalum;25V\ntantalum;35V\n")]
fn a_needed_column_is_missed_once(#[case] text: &str) {
    let form = if text.starts_with('[') { Form::Toml } else { Form::Csv };
    let faults = read(text, form).unwrap_err();
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert_eq!(faults[0].column, Some(Column::Value));
}

#[rstest]
#[case::nothing("")]
#[case::blank_lines("\n;;;\n")]
#[case::a_head_alone("family;value;rating\r\n")]
fn a_tray_without_parts_is_a_fault(#[case] text: &str) {
    assert_eq!(read(text, Form::Csv).unwrap_err()[0].wrong, Wrong::Nothing);
}

#[test]
fn channels_are_the_same_by_number_not_by_spelling() {
    let text = "family;value;rating;channel\ntantalum;10u;35V;7\ntantalum;10u;35V;007\n";
    let faults = read(text, Form::Csv).unwrap_err();
    let first = Place { line: 2, column: 4 };
    assert_eq!(faults[0].wrong, Wrong::Twice { text: "007".into(), first });
}

#[test]
fn a_tray_with_all_channels_is_one_for_a_scanner() {
    let text = "family;value;rating;channel\ntantalum;10u;35V;101\ntantalum;10u;35V;102\n";
    let tray = read(text, Form::Csv).unwrap();
    assert!(tray.has_channels());
    assert_eq!(tray.parts()[1].channel.map(Channel::number), Some(102));
}

proptest! {
    /// Whatever comes in, the reader answers, and its faults lie in the file.
    #[test]
    fn noise_in_a_file_is_answered_with_places_in_it(
        at in 0..CSV.len(),
        noise in "[;,\t\"\r\n0-9a-zµ ]{0,6}",
    ) {
        let cut = CSV.floor_char_boundary(at);
        for (text, form) in [(CSV, Form::Csv), (TOML, Form::Toml)] {
            let cut = text.floor_char_boundary(cut.min(text.len()));
            let text = format!("{}{noise}{}", &text[..cut], &text[cut..]);
            if let Err(faults) = read(&text, form) {
                prop_assert!(!faults.is_empty());
                let lines = text.matches('\n').count() + 1;
                prop_assert!(faults.iter().all(|fault| (1..=lines).contains(&fault.place.line)));
            }
        }
    }
}
