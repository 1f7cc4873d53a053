//! The parts of a tray as data: what is written on each, what is true of it, and its physics.

use serde::Deserialize;

use crate::simbench::part::Physics;

/// The demo's tray: the radio room of the pilot boat.
const SKARVIK: &str = include_str!("../../fixtures/skarvik.toml");

/// A bench and the parts that come to it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// What the parts come from.
    pub title: String,
    /// How the bench is wired.
    pub bench: BenchEntry,
    /// The parts, in the order in which they are clipped in.
    #[serde(rename = "part")]
    pub parts: Vec<SimPart>,
}

/// The wiring that a scenario is made for.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchEntry {
    /// Series resistor (Ω).
    pub series_ohm: f64,
    /// Bleeder across the supply (Ω), if fitted.
    pub bleeder_ohm: Option<f64>,
}

/// A part for the clip.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SimPart {
    /// Designator on the board.
    pub clip: String,
    /// Where it sits.
    pub note: String,
    /// What a user types for it.
    pub words: String,
    /// What a user types as its limit, if not the family's default.
    #[serde(default)]
    pub limit: Option<String>,
    /// What a run must find.
    pub truth: Truth,
    /// What it is made of.
    pub physics: Physics,
}

/// What a run must find, in the tags of verdicts and findings.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    /// Tag of the verdict.
    pub verdict: String,
    /// Tags of the findings.
    pub findings: Vec<String>,
}

/// Why a scenario cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// The text is no TOML, or a key is unknown or missing.
    #[error("{name} is not a scenario")]
    Text {
        /// File, or what stands for it.
        name: String,
        /// What is wrong with it.
        source: toml::de::Error,
    },
    /// A number that no part can have.
    #[error("{name}: part {clip} has {key} = {value}, expected a number above 0")]
    Number {
        /// File, or what stands for it.
        name: String,
        /// The part's designator.
        clip: String,
        /// The number's key.
        key: &'static str,
        /// The number.
        value: f64,
    },
}

impl Scenario {
    /// Reads a scenario; `name` is for the error message.
    ///
    /// # Errors
    ///
    /// [`ScenarioError`] if the text is not TOML, a key is unknown or missing, or a number is one
    /// that no part can have.
    pub fn parse(name: &str, text: &str) -> Result<Self, ScenarioError> {
        let name = name.to_owned();
        let scenario: Self = match toml::from_str(text) {
            Ok(scenario) => scenario,
            Err(source) => return Err(ScenarioError::Text { name, source }),
        };
        for part in &scenario.parts {
            if let Some((key, value)) = part.physics.impossible() {
                return Err(ScenarioError::Number { name, clip: part.clip.clone(), key, value });
            }
        }
        Ok(scenario)
    }

    /// The part with this designator.
    #[must_use]
    pub fn part(&self, clip: &str) -> Option<&SimPart> {
        self.parts.iter().find(|part| part.clip == clip)
    }
}

impl SimPart {
    /// A part that only its physics matter of.
    #[must_use]
    pub fn bare(physics: Physics) -> Self {
        let truth = Truth { verdict: String::new(), findings: Vec::new() };
        let (clip, note, words) = (String::new(), String::new(), String::new());
        Self { clip, note, words, limit: None, truth, physics }
    }
}

/// The demo's scenario.
///
/// # Errors
///
/// [`ScenarioError`], if the file that is built in is broken.
pub fn scenario() -> Result<Scenario, ScenarioError> {
    Scenario::parse("fixtures/skarvik.toml", SKARVIK)
}
