//! Answers for scripts: SI base units, names carry the unit.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::super::failure::Failure;
use super::super::{Exit, screen};
use crate::part::sheet::{self, Answer, Convention, Printed, Question};
use crate::part::{Dielectric, Limit, Loose, Measuring, Rating, stated};
use crate::quantity::{Celsius, farads, volts};

/// What is said of a line.
#[derive(Debug, Serialize)]
pub(super) struct AnswerObject {
    limits: Vec<LimitObject>,
    formula: String,
    conventions: Vec<String>,
    question: Option<QuestionObject>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    guides: Vec<GuideObject>,
}

#[derive(Debug, Serialize)]
struct LimitObject {
    ampere: f64,
    reading_time_second: Option<f64>,
    reference_celsius: Option<f64>,
    resistance_ohm: Option<f64>,
    measuring_volt: Option<f64>,
}

#[derive(Debug, Serialize)]
struct QuestionObject {
    why: String,
    readings: Vec<ReadingObject>,
}

#[derive(Debug, Serialize)]
struct ReadingObject {
    formula: String,
    ampere: f64,
}

/// What a limit means at another temperature: no limit of the sheet.
#[derive(Debug, Serialize)]
struct GuideObject {
    celsius: f64,
    about_ampere: f64,
    least_ampere: f64,
    most_ampere: f64,
}

impl AnswerObject {
    pub(super) fn of(answer: &Answer, rating: &Rating, at: Option<Celsius>, part: &Loose) -> Self {
        match answer {
            Answer::Limits(printed) => Self {
                limits: printed.limits.iter().filter_map(|limit| object(limit, rating)).collect(),
                formula: formula(&printed.limits),
                conventions: conventions(printed),
                question: None,
                guides: guides(&printed.limits, at, part),
            },
            Answer::Question(question) => Self {
                limits: Vec::new(),
                formula: String::new(),
                conventions: Vec::new(),
                question: Some(asked(question)),
                guides: Vec::new(),
            },
        }
    }

    /// A family's limit rests on its source.
    pub(super) fn name_source(&mut self, answer: &Answer) {
        if let Answer::Limits(printed) = answer {
            let sources = printed.limits.iter().map(|limit| format!("source: {}", limit.source));
            self.conventions.extend(sources);
        }
    }

    fn unreadable(why: String) -> Self {
        Self {
            limits: Vec::new(),
            formula: String::new(),
            conventions: Vec::new(),
            question: Some(QuestionObject { why, readings: Vec::new() }),
            guides: Vec::new(),
        }
    }
}

/// The rule alone, or each limit with its conditions.
fn formula(limits: &[Limit]) -> String {
    match limits {
        [limit] => limit.rule.to_string(),
        limits => limits.iter().map(Limit::to_string).collect::<Vec<_>>().join("; "),
    }
}

fn object(limit: &Limit, rating: &Rating) -> Option<LimitObject> {
    let current = limit.current(rating).ok()?;
    let measured = limit.measured_at.voltage(rating).ok()?.get().value;
    let resistance = limit.rule.insulation(rating);
    let stated = resistance.is_some() || limit.measured_at != Measuring::Rated;
    Some(LimitObject {
        ampere: current.value,
        reading_time_second: limit.reading_time.map(|time| time.value),
        reference_celsius: limit.reference.map(Celsius::degrees),
        resistance_ohm: resistance.map(|resistance| resistance.value),
        measuring_volt: stated.then_some(measured),
    })
}

fn guides(limits: &[Limit], at: Option<Celsius>, part: &Loose) -> Vec<GuideObject> {
    let Some(at) = at else { return Vec::new() };
    let guide = |limit: &Limit| {
        let current = limit.current(&part.rating).ok()?;
        let [about, least, most] = super::carried(limit, current, part, at)?;
        Some(GuideObject {
            celsius: at.degrees(),
            about_ampere: about.value,
            least_ampere: least.value,
            most_ampere: most.value,
        })
    };
    limits.iter().filter_map(guide).collect()
}

fn asked(question: &Question) -> QuestionObject {
    let reading = |reading: &sheet::Reading| ReadingObject {
        formula: reading.formula.clone(),
        ampere: reading.current.value,
    };
    QuestionObject {
        why: question.why.join("; "),
        readings: question.readings.iter().map(reading).collect(),
    }
}

/// A line of the file.
#[derive(Debug, Deserialize)]
struct LineObject {
    phrase: String,
    c_farad: f64,
    u_volt: f64,
    family: Option<String>,
}

/// Answers each line of a file, in order.
pub(super) fn many(path: &Path) -> Result<Exit, Failure> {
    let place = path.display();
    let text = std::fs::read_to_string(path).map_err(|error| {
        Failure::usage(format!("{place}: {error}"), "name a file that can be read")
    })?;
    let mut answers = String::new();
    let mut asked = false;
    for (index, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        let number = index + 1;
        let refused = |error: serde_json::Error| {
            Failure::usage(
                format!("{place}, line {number}: {error}"),
                "write {\"phrase\": \"0.01CV\", \"c_farad\": 1e-4, \"u_volt\": 63, \"family\": null}",
            )
        };
        let line: LineObject = serde_json::from_str(line).map_err(refused)?;
        let answer = line.answer();
        asked |= answer.question.is_some();
        answers.push_str(&serde_json::to_string(&answer).map_err(refused)?);
        answers.push('\n');
    }
    screen::tell(&answers);
    Ok(if asked { Exit::Undecided } else { Exit::Within })
}

impl LineObject {
    fn answer(&self) -> AnswerObject {
        let rating = match Rating::new(farads(self.c_farad), volts(self.u_volt)) {
            Ok(rating) => rating,
            Err(error) => return AnswerObject::unreadable(error.to_string()),
        };
        let dielectric: Option<Dielectric> = self.family.as_deref().and_then(sheet::dielectric_of);
        let answer = stated(&self.phrase, &rating, dielectric);
        AnswerObject::of(&answer, &rating, None, &Loose { rating, dielectric, family: None })
    }
}

/// What an answer rests on, each in a sentence.
pub(super) fn conventions(printed: &Printed) -> Vec<String> {
    printed.conventions.iter().map(Convention::to_string).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn json(line: &str) -> String {
        let line: LineObject = serde_json::from_str(line).unwrap();
        serde_json::to_string_pretty(&line.answer()).unwrap()
    }

    // 5000 s / 0.68 µF = 7.353 GΩ; 100 V through it are 13.6 nA.
    #[test]
    fn an_insulation_resistance_is_answered_with_ohms_and_volts() {
        let line = r#"{"phrase": "≥ 5000 s, 100 V, 60 s", "c_farad": 0.68e-6, "u_volt": 275, "family": "film"}"#;
        insta::assert_snapshot!(json(line), @r#"
        {
          "limits": [
            {
              "ampere": 1.36e-8,
              "reading_time_second": 60.0,
              "reference_celsius": null,
              "resistance_ohm": 7352941176.470589,
              "measuring_volt": 100.0
            }
          ],
          "formula": "RC 5000 s",
          "conventions": [
            "leakage follows from the insulation resistance at the printed measuring voltage"
          ],
          "question": null
        }
        "#);
    }

    #[test]
    fn a_question_is_answered_with_its_readings() {
        let line = r#"{"phrase": "0.02CV or 5 mA", "c_farad": 1e-4, "u_volt": 63, "family": null}"#;
        insta::assert_snapshot!(json(line), @r#"
        {
          "limits": [],
          "formula": "",
          "conventions": [],
          "question": {
            "why": "nothing says whether this second value is a floor or a cap",
            "readings": [
              {
                "formula": "0.02CU floor 5 mA",
                "ampere": 0.005
              },
              {
                "formula": "0.02CU cap 5 mA",
                "ampere": 0.000126
              }
            ]
          }
        }
        "#);
    }

    #[test]
    fn a_part_that_cannot_be_is_a_question_too() {
        let line = r#"{"phrase": "0.02CV", "c_farad": 0, "u_volt": 63, "family": null}"#;
        insta::assert_snapshot!(json(line), @r#"
        {
          "limits": [],
          "formula": "",
          "conventions": [],
          "question": {
            "why": "expected a capacitance above zero, came 0 F",
            "readings": []
          }
        }
        "#);
    }
}
