//! The phrases of the collection in other typographies: the same answer, or a question; never
//! another number.

use rstest::rstest;

use super::rows::{Outcome, Row, rows};

fn full_width(phrase: &str) -> String {
    let wide = |sign: char| match sign {
        '!'..='~' => char::from_u32(u32::from(sign) + 0xfee0).unwrap_or(sign),
        ' ' => '\u{3000}',
        other => other,
    };
    phrase.chars().map(wide).collect()
}

fn narrow_blanks(phrase: &str) -> String {
    phrase.replace(' ', "\u{202f}")
}

fn double_blanks(phrase: &str) -> String {
    phrase.replace(' ', "  ")
}

fn greek_mu(phrase: &str) -> String {
    phrase.replace('\u{b5}', "\u{3bc}")
}

fn typewriter_mu(phrase: &str) -> String {
    phrase.replace(['\u{b5}', '\u{3bc}'], "u")
}

fn ascii_comparisons(phrase: &str) -> String {
    phrase.replace(['≤', '≦'], "<=").replace(['≥', '≧'], ">=")
}

fn slanted_comparisons(phrase: &str) -> String {
    phrase.replace(['≤', '≦'], "⩽").replace(['≥', '≧'], "⩾")
}

fn middle_dots(phrase: &str) -> String {
    phrase.replace(['·', '×'], "∙")
}

fn full_stop(phrase: &str) -> String {
    format!("{phrase}.")
}

fn bullet(phrase: &str) -> String {
    format!(" {phrase} ")
}

fn voltage_is_u(phrase: &str) -> String {
    phrase.replace("CV", "CU").replace("VR", "UR")
}

fn joined_units(phrase: &str) -> String {
    phrase.replace("µA", "㎂").replace("°C", "℃")
}

fn ring_for_degrees(phrase: &str) -> String {
    phrase.replace("°C", "ºC")
}

#[rstest]
#[case::full_width(full_width, 100)]
#[case::narrow_blanks(narrow_blanks, 100)]
#[case::double_blanks(double_blanks, 95)]
#[case::greek_mu(greek_mu, 100)]
#[case::typewriter_mu(typewriter_mu, 100)]
#[case::ascii_comparisons(ascii_comparisons, 100)]
#[case::slanted_comparisons(slanted_comparisons, 100)]
#[case::middle_dots(middle_dots, 100)]
#[case::full_stop(full_stop, 100)]
#[case::bullet(bullet, 100)]
#[case::voltage_is_u(voltage_is_u, 100)]
#[case::joined_units(joined_units, 100)]
#[case::ring_for_degrees(ring_for_degrees, 100)]
fn another_typography_changes_no_number(#[case] vary: fn(&str) -> String, #[case] percent: usize) {
    let rows = rows();
    let outcomes: Vec<(&Row, Outcome)> =
        rows.iter().map(|row| (row, row.outcome(&vary(&row.phrase)))).collect();
    let told = |wanted: fn(&Outcome) -> bool| -> Vec<String> {
        let told = outcomes.iter().filter(|(_, outcome)| wanted(outcome));
        told.map(|(row, outcome)| format!("{} {} {outcome:?}", row.id, vary(&row.phrase))).collect()
    };
    let wrong = told(|outcome| matches!(outcome, Outcome::Wrong(_)));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let asked = told(|outcome| matches!(outcome, Outcome::Asked(_)));
    let allowed = rows.len() * (100 - percent) / 100;
    assert!(asked.len() <= allowed, "{} asked\n{}", asked.len(), asked.join("\n"));
}

/// Cuts a phrase short at every sign: what is left may say less, but no other current than the
/// whole, unless it says so by asking.
#[test]
fn a_phrase_cut_in_a_number_or_formula_is_counted() {
    let mut others = 0;
    let mut all = 0;
    for row in rows() {
        for (cut, _) in row.phrase.char_indices().skip(1) {
            all += 1;
            others += usize::from(matches!(row.outcome(&row.phrase[..cut]), Outcome::Wrong(_)));
        }
    }
    // A line that ends early can be whole by itself: `0.01CV or 3 µA` before `, whichever is
    // greater`. Most cuts are seen all the same.
    assert!(others * 2 < all, "{others} of {all}");
}
