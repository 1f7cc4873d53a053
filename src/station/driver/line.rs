//! Settings of a line, as driver files give them.

use schemars::JsonSchema;
use serde::Deserialize;

use super::super::file::FileError;
use super::super::session::Timing;
use super::super::written::{Written, written, written_if_given};
use super::{IdentityForm, wrong};
use crate::quantity::Time;

/// Settings of a line.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LineSettings {
    /// Bits per second.
    pub baud: u32,
    /// Data bits: 5 to 8.
    pub data_bits: u8,
    /// Parity.
    pub parity: Parity,
    /// Stop bits: 1 or 2.
    pub stop_bits: u8,
    /// Flow control.
    pub flow: Flow,
    /// Bytes that end each line to the instrument.
    pub end: String,
    /// Pause that the instrument needs between two lines.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub gap: Time,
    /// Longest time for an answer.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub deadline: Time,
    /// The instrument sends back each line that it is told, ahead of its answer.
    #[serde(default)]
    pub echo: bool,
    /// What the instrument answers to each order, if it answers: a word such as `OK`.
    pub acknowledgement: Option<String>,
    /// What the instrument puts in front of its lines when it is ready, such as `> `.
    pub prompt: Option<String>,
    /// Longest time for the first answer after opening.
    #[serde(deserialize_with = "written")]
    #[schemars(with = "Written")]
    pub first_deadline: Time,
    /// State of DTR after opening; as the system leaves it if not given.
    pub dtr: Option<bool>,
    /// State of RTS after opening; as the system leaves it if not given.
    pub rts: Option<bool>,
}

/// Settings in which a station's line differs from its driver's: this very unit was set so.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LineChange {
    /// Bits per second.
    pub baud: Option<u32>,
    /// Data bits: 5 to 8.
    pub data_bits: Option<u8>,
    /// Parity.
    pub parity: Option<Parity>,
    /// Stop bits: 1 or 2.
    pub stop_bits: Option<u8>,
    /// Flow control.
    pub flow: Option<Flow>,
    /// Bytes that end each line to the instrument.
    pub end: Option<String>,
    /// Pause that the instrument needs between two lines.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    pub gap: Option<Time>,
    /// Longest time for an answer.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    pub deadline: Option<Time>,
    /// Longest time for the first answer after opening.
    #[serde(default, deserialize_with = "written_if_given")]
    #[schemars(with = "Option<Written>")]
    pub first_deadline: Option<Time>,
    /// State of DTR after opening.
    pub dtr: Option<bool>,
    /// State of RTS after opening.
    pub rts: Option<bool>,
}

impl LineSettings {
    /// The same with a station's changes.
    ///
    /// # Errors
    ///
    /// [`FileError`], naming `file`, where no such line can be.
    pub(in crate::station) fn changed(
        self,
        change: &LineChange,
        file: &str,
    ) -> Result<Self, FileError> {
        let changed = Self {
            baud: change.baud.unwrap_or(self.baud),
            data_bits: change.data_bits.unwrap_or(self.data_bits),
            parity: change.parity.unwrap_or(self.parity),
            stop_bits: change.stop_bits.unwrap_or(self.stop_bits),
            flow: change.flow.unwrap_or(self.flow),
            end: change.end.clone().unwrap_or(self.end),
            gap: change.gap.unwrap_or(self.gap),
            deadline: change.deadline.unwrap_or(self.deadline),
            first_deadline: change.first_deadline.unwrap_or(self.first_deadline),
            dtr: change.dtr.or(self.dtr),
            rts: change.rts.or(self.rts),
            echo: self.echo,
            acknowledgement: self.acknowledgement,
            prompt: self.prompt,
        };
        changed.check(file)?;
        Ok(changed)
    }

    /// The timing of a conversation on this line.
    #[must_use]
    pub fn timing(&self) -> Timing {
        Timing {
            end: self.end.clone(),
            gap: self.gap,
            deadline: self.deadline,
            first_deadline: self.first_deadline,
            echo: self.echo,
            acknowledgement: self.acknowledgement.clone(),
            prompt: self.prompt.clone(),
            identity: IdentityForm::Fields,
        }
    }

    /// Whether such a line can be.
    pub(super) fn check(&self, file: &str) -> Result<(), FileError> {
        if !(5..=8).contains(&self.data_bits) {
            return Err(wrong(
                file,
                format!("line.data_bits: expected 5 to 8, got {}", self.data_bits),
            ));
        }
        if !(1..=2).contains(&self.stop_bits) {
            return Err(wrong(
                file,
                format!("line.stop_bits: expected 1 or 2, got {}", self.stop_bits),
            ));
        }
        if self.end.is_empty() {
            return Err(wrong(
                file,
                "line.end: expected the bytes that end a line, got none".into(),
            ));
        }
        if let Some(prompt) = self.prompt.as_deref().filter(|prompt| !is_prompt(prompt)) {
            return Err(wrong(
                file,
                format!(
                    "line.prompt: expected words that end in one of {PROMPT_ENDS:?}, such as \
                     \"> \", got {prompt:?}"
                ),
            ));
        }
        Ok(())
    }
}

/// Signs that end a prompt: no answer begins with one, so none is cut short.
const PROMPT_ENDS: [char; 5] = ['>', '#', '$', '%', ':'];

fn is_prompt(prompt: &str) -> bool {
    prompt.trim_end_matches(' ').ends_with(PROMPT_ENDS) && !prompt.contains(char::is_control)
}

/// Parity of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even parity.
    Even,
    /// Odd parity.
    Odd,
    /// A parity bit that is always 1.
    Mark,
    /// A parity bit that is always 0.
    Space,
}

/// Flow control of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Flow {
    /// None.
    None,
    /// XON and XOFF.
    Software,
    /// RTS and CTS.
    Hardware,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_prompt_is_nothing_that_an_answer_begins_with() {
        for prompt in ["> ", "psu>", "$ ", "ready: "] {
            assert!(is_prompt(prompt), "{prompt:?}");
        }
        for answer in ["", " ", "-", "1", "ON", ">\n"] {
            assert!(!is_prompt(answer), "{answer:?}");
        }
    }
}
