//! What a person asks for, in words: the same for the command line, the API and the page.

use serde::{Deserialize, Serialize};

use super::refused::{Ground, Problem, Refused, chain};
use crate::part::sheet::Answer;
use crate::part::{Duty, Limit, Part, Room};
use crate::plan::{Aim, Drawn, Kind, Refusal, Until, Wish, draw_up};
use crate::quantity::{Confidence, Time, read};
use crate::station::wiring::Station;

/// A run that is asked for. Words are as on the command line; what is left out is as usual.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Asked {
    /// The part in words, in any order: `C14 22µF 25V tantalum 10%`.
    #[schema(example = "C14 22µF 25V tantalum")]
    pub part: String,
    /// `soak` or `staircase`; a soak if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "soak")]
    pub kind: Option<String>,
    /// Its leakage limit as the data sheet prints it, in place of its family's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<String>,
    /// Test voltage, if not that of the limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voltage: Option<String>,
    /// Length of the soak, if not the limit's reading time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soak: Option<String>,
    /// What may end the soak: `reading-time` or `early`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<String>,
    /// How sure the verdict has to be, such as `95%`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confidence: Option<String>,
    /// How warm it is at the part, such as `23C ±1K`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<String>,
    /// What the part does in its circuit, such as `coupling into 470k`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_circuit: Option<String>,
    /// Steps of a staircase.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steps: Option<u8>,
    /// Time at full voltage of each of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dwell: Option<String>,
    /// The person has read the cautions for more than 60 V or 10 J in this part.
    #[serde(default)]
    pub acknowledge: bool,
}

/// Steps of a staircase, where nobody said how many.
const STEPS: u8 = 10;
/// Time of each, where nobody said how long.
const DWELL: &str = "1min";

impl Asked {
    /// Reads the words.
    ///
    /// # Errors
    ///
    /// [`Refused`] names the word that is not understood and what was expected.
    pub fn wish(&self) -> Result<Wish, Refused> {
        let part =
            Part::read(&self.part).map_err(|error| Refused::usage(chain(&error), error.help()))?;
        let soak = self.soak.as_deref().map(time).transpose()?;
        let refused = |error: read::ReadError| Refused::usage(error.to_string(), error.help());
        let voltage = self.voltage.as_deref().map(read::voltage).transpose().map_err(refused)?;
        let duty = self.in_circuit.as_deref().map(Duty::read).transpose();
        let limit = limit(self.limit.as_deref(), &part, soak)?;
        Ok(Wish {
            test_voltage: voltage,
            soak,
            aim: self.aim()?,
            until: self.until.as_deref().map_or(Ok(Until::ReadingTime), until)?,
            acknowledged: self.acknowledge,
            confidence: self.confidence.as_deref().map_or(Ok(Confidence::USUAL), confidence)?,
            room: self.room.as_deref().map(room).transpose()?,
            duty: duty.map_err(|error| Refused::usage(error.to_string(), error.help()))?,
            ..Wish::of(part, limit)
        })
    }

    /// The same as JSON, for the record.
    #[must_use]
    pub fn in_json(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    fn aim(&self) -> Result<Aim, Refused> {
        let kind = match self.kind.as_deref() {
            None => Kind::Soak,
            Some(word) => Kind::from_tag(word)
                .ok_or_else(|| expected("kind of run", word, Kind::ALL.iter().map(|k| k.tag())))?,
        };
        Ok(match kind {
            Kind::Soak => Aim::Soak,
            Kind::Reform => Aim::Reform,
            Kind::Staircase => Aim::Staircase {
                steps: self.steps.unwrap_or(STEPS),
                dwell: time(self.dwell.as_deref().unwrap_or(DWELL))?,
            },
        })
    }

    /// The words read, and the plan that comes of them at a station.
    ///
    /// # Errors
    ///
    /// [`Refused`] with everything that is in the way.
    pub fn drawn(&self, station: &Station) -> Result<(Wish, Drawn), Refused> {
        let wish = self.wish()?;
        let drawn = drawn(&wish, station)?;
        Ok((wish, drawn))
    }
}

/// Draws the plan of a wish, or says everything that is in its way.
///
/// # Errors
///
/// [`Refused`] with all refusals of the plan.
pub fn drawn(wish: &Wish, station: &Station) -> Result<Drawn, Refused> {
    draw_up(wish, &station.bench).map_err(|refusals| planless(&refusals))
}

/// Everything that is in the way of a plan.
#[must_use]
pub fn planless(refusals: &[Refusal]) -> Refused {
    let problem =
        |refusal: &Refusal| Problem { message: refusal.to_string(), help: refusal.help() };
    Refused { ground: Ground::Usage, problems: refusals.iter().map(problem).collect() }
}

/// The limit by which a run goes: the line that was typed, else that of the part's family.
///
/// # Errors
///
/// [`Refused`] with the question that the line raises, or why there is no limit.
pub fn limit(line: Option<&str>, part: &Part, soak: Option<Time>) -> Result<Limit, Refused> {
    match line {
        None => {
            part.default_limit().map_err(|error| Refused::usage(error.to_string(), error.help()))
        }
        Some(line) => match part.stated_limit(line) {
            Answer::Limits(printed) => Ok(printed.for_bench(soak)),
            Answer::Question(question) => Err(Refused::question(line, &question)),
        },
    }
}

/// Reads a time that was typed.
///
/// # Errors
///
/// [`Refused`] names the word.
pub fn time(word: &str) -> Result<Time, Refused> {
    read::time(word).map_err(|error| Refused::usage(error.to_string(), error.help()))
}

fn until(word: &str) -> Result<Until, Refused> {
    Until::from_tag(word)
        .ok_or_else(|| expected("end of a soak", word, Until::ALL.iter().map(|until| until.tag())))
}

/// Reads how sure a verdict has to be.
///
/// # Errors
///
/// [`Refused`] names the word.
pub fn confidence(word: &str) -> Result<Confidence, Refused> {
    Confidence::read(word).map_err(|error| Refused::usage(error.to_string(), error.help()))
}

/// Reads how warm it is at the part.
///
/// # Errors
///
/// [`Refused`] names the word.
pub fn room(words: &str) -> Result<Room, Refused> {
    Room::read(words).map_err(|error| Refused::usage(error.to_string(), error.help()))
}

fn expected<'a>(what: &str, came: &str, words: impl Iterator<Item = &'a str>) -> Refused {
    let words: Vec<&str> = words.collect();
    Refused::usage(format!("no {what} \"{came}\""), format!("expected {}", words.join(" or ")))
}
