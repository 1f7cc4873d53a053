//! Limits as a person types them, and the questions that they raise.

use super::Exit;
use super::failure::Failure;
use crate::part::sheet::{Answer, Convention, Printed, Question};
use crate::part::{Limit, Part};
use crate::quantity::{Time, text};

/// The limit by which a run goes, or the question that the line raises.
pub(crate) fn limit(line: &str, part: &Part, soak: Option<Time>) -> Result<Limit, Failure> {
    match part.stated_limit(line) {
        Answer::Limits(printed) => Ok(printed.for_bench(soak)),
        Answer::Question(question) => Err(failure(line, &question)),
    }
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
    use super::*;

    #[test]
    fn a_question_shows_place_reasons_and_readings() {
        let part = Part::read("100µF 63V al-wet").unwrap();
        let failure = limit("0.02CV or 5 mA, 5 min", &part, None).unwrap_err();
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
