//! Limits as a person types them: in the written form of one meaning, or as a sheet prints them.

use super::Exit;
use super::failure::Failure;
use crate::part::sheet::{self, Answer, Convention, Printed, Question};
use crate::part::{Dielectric, Limit, Part, Rating};
use crate::quantity::{Time, text};

/// Reads a limit in either form.
///
/// The sheet's reader goes first, since it knows what is doubtful about print: `3,000 µA` on a sheet
/// are three milliamperes. Only what is clearly in the written form overrules its question.
pub(crate) fn answer(line: &str, rating: &Rating, dielectric: Option<Dielectric>) -> Answer {
    let written = || Limit::read(line).ok().filter(|limit| is_written_form(line, limit));
    match sheet::read(line, rating, dielectric) {
        Answer::Limits(printed) => Answer::Limits(printed),
        Answer::Question(question) => match written() {
            Some(limit) => Answer::Limits(Printed { limits: vec![limit], conventions: Vec::new() }),
            None => Answer::Question(question),
        },
    }
}

/// Words of the written form that no sheet prints so.
const WRITTEN: [&str; 8] =
    ["floor", "cap", "sqrt(CU)", "(CU)^", "upto(", "smaller(", "greater(", "x("];

fn is_written_form(line: &str, limit: &Limit) -> bool {
    WRITTEN.iter().any(|word| line.contains(word))
        || line.starts_with("R ")
        || line.starts_with("RC ")
        || line.contains("CU") && limit.to_string() == line
}

/// The limit by which a run goes, or the question that the line raises.
pub(crate) fn limit(line: &str, part: &Part, soak: Option<Time>) -> Result<Limit, Failure> {
    match answer(line, &part.rating, Some(part.family.dielectric())) {
        Answer::Limits(printed) => Ok(fitting(&printed, soak)),
        Answer::Question(question) => Err(failure(line, &question)),
    }
}

/// Of several limits that for the bench: near 20 to 25 °C, and read no later than the soak lasts.
fn fitting(printed: &Printed, soak: Option<Time>) -> Limit {
    let off = |limit: &Limit| {
        limit.reference.map_or(0.0, |celsius| {
            let degrees = celsius.degrees();
            (20.0 - degrees).max(degrees - 25.0).max(0.0)
        })
    };
    let nearest = printed.limits.iter().map(off).fold(f64::INFINITY, f64::min);
    let near: Vec<&Limit> = printed.limits.iter().filter(|limit| off(limit) <= nearest).collect();
    let time = |limit: &&&Limit| limit.reading_time.unwrap_or_default().value;
    let longest = |limits: &[&Limit]| -> Option<Limit> {
        limits.iter().max_by(|one, other| time(one).total_cmp(&time(other))).map(|l| (*l).clone())
    };
    let in_time: Vec<&Limit> = near
        .iter()
        .copied()
        .filter(|limit| soak.is_none_or(|soak| limit.reading_time.unwrap_or_default() <= soak))
        .collect();
    let chosen = longest(&in_time).or_else(|| longest(&near));
    let mut limit = chosen.unwrap_or_else(|| printed.limits[0].clone());
    if 1 < printed.limits.len() {
        limit.source =
            format!("{}, of {} limits {}", limit.source, printed.limits.len(), at(&limit));
    }
    limit
}

/// `the one at 5 min and 20 °C`.
fn at(limit: &Limit) -> String {
    let time = limit.reading_time.map(text::time);
    let celsius = limit.reference.map(text::temperature_celsius);
    let both: Vec<String> = [time, celsius].into_iter().flatten().collect();
    format!("the one at {}", both.join(" and "))
}

/// A question as it is shown: the place, the reasons, the readings and how to write them.
pub(crate) fn failure(line: &str, question: &Question) -> Failure {
    let mut lines = vec!["the limit can be read in more than one way or not at all".to_owned()];
    lines.push(line.replace(['\n', '\t', '\r'], " "));
    if let Some(place) = question.place {
        let column = line.get(..place).map_or(0, |before| before.chars().count());
        lines.push(format!("{}^", " ".repeat(column)));
    }
    lines.extend(question.why.iter().map(|why| format!("- {why}")));
    lines.extend(question.readings.iter().map(|reading| {
        let current = text::current(reading.current);
        format!("perhaps {current:<12} {}", reading.formula)
    }));
    let message = lines.join("\n       ");
    let help = if question.readings.is_empty() {
        "look at the sheet and type what is meant, as in \"0.01CU floor 0.5uA @ 5min 25C\", \
         \"3sqrt(CU) cap 5mA\" or \"smaller(R 10Gohm, RC 500s)\""
    } else {
        "look at the sheet and type the one that is meant, as written here on the right, in quotes"
    };
    Failure::new(Exit::Undecided, message, help)
}

/// What an answer rests on, each in a sentence.
pub(crate) fn conventions(printed: &Printed) -> Vec<String> {
    printed.conventions.iter().map(Convention::to_string).collect()
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::{farads, seconds, volts};

    fn part() -> Part {
        Part::read("100µF 63V al-wet").unwrap()
    }

    /// The current in µA that a run goes by.
    fn microamperes(line: &str, soak: Option<f64>) -> f64 {
        let limit = limit(line, &part(), soak.map(seconds)).unwrap();
        limit.current(&part().rating).unwrap().value * 1e6
    }

    // CU = 6300 µC.
    #[rstest]
    #[case::written_form("0.01CU floor 3uA @ 2min 20C", 63.0)]
    #[case::printed_form("I ≤ 0.01CV or 3 µA, whichever is greater", 63.0)]
    #[case::written_root("3sqrt(CU) cap 5mA", 238.118)]
    #[case::written_resistance("R 10Gohm @ 50V 1min", 0.005)]
    #[case::thousands_of_a_sheet("3,000 µA", 3000.0)]
    fn both_forms_are_taken(#[case] line: &str, #[case] expected: f64) {
        let rating = Rating::new(farads(100e-6), volts(63.0)).unwrap();
        let Answer::Limits(printed) = answer(line, &rating, None) else { panic!("{line}: asked") };
        let current = printed.limits[0].current(&rating).unwrap().value * 1e6;
        assert!((current / expected - 1.0).abs() < 1e-3, "{current}");
    }

    #[rstest]
    #[case::the_longest_time(None, 166.0)]
    #[case::no_later_than_the_soak(Some(60.0), 352.0)]
    #[case::shorter_than_any(Some(10.0), 166.0)]
    fn a_run_goes_by_the_limit_that_fits_its_soak(
        #[case] soak: Option<f64>,
        #[case] expected: f64,
    ) {
        // 0.04·6300 + 100 = 352 µA; 0.02·6300 + 40 = 166 µA.
        let line = "after 1 minute: 0.04CV+100; after 5 minutes: 0.02CV+40";
        assert!((microamperes(line, soak) - expected).abs() < 1e-6);
    }

    #[test]
    fn a_run_goes_by_the_limit_for_the_bench_and_says_which() {
        let line = "85 °C: 0.1CV; 20 °C: 0.01CV; 5 min";
        let limit = limit(line, &part(), None).unwrap();
        assert_eq!(limit.source, "the printed line, of 2 limits the one at 5 min and 20 °C");
        assert!((microamperes(line, None) - 63.0).abs() < 1e-6);
    }

    #[test]
    fn a_question_shows_place_reasons_and_readings() {
        let failure = limit("0.02CV or 5 mA, 5 min", &part(), None).unwrap_err();
        assert_eq!(failure.exit, Exit::Undecided);
        insta::assert_snapshot!(failure.text(), @r"
        error: the limit can be read in more than one way or not at all
               0.02CV or 5 mA, 5 min
                         ^
               - nothing says whether this second value is a floor or a cap
               perhaps 5 mA         0.02CU floor 5 mA
               perhaps 126 µA       0.02CU cap 5 mA
         help: look at the sheet and type the one that is meant, as written here on the right, in quotes
        ");
    }
}
