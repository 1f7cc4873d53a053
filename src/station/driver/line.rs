//! Settings of a line, as driver files give them.

use serde::Deserialize;

use super::super::file::FileError;
use super::super::session::Timing;
use super::super::written::written;
use super::{IdentityForm, wrong};
use crate::quantity::Time;

/// Settings of a line.
#[derive(Debug, Clone, PartialEq, Deserialize)]
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
    pub gap: Time,
    /// Longest time for an answer.
    #[serde(deserialize_with = "written")]
    pub deadline: Time,
    /// The instrument sends back each line that it is told, ahead of its answer.
    #[serde(default)]
    pub echo: bool,
    /// Longest time for the first answer after opening.
    #[serde(deserialize_with = "written")]
    pub first_deadline: Time,
    /// State of DTR after opening; as the system leaves it if not given.
    pub dtr: Option<bool>,
    /// State of RTS after opening; as the system leaves it if not given.
    pub rts: Option<bool>,
}

impl LineSettings {
    /// The timing of a conversation on this line.
    #[must_use]
    pub fn timing(&self) -> Timing {
        Timing {
            end: self.end.clone(),
            gap: self.gap,
            deadline: self.deadline,
            first_deadline: self.first_deadline,
            echo: self.echo,
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
        Ok(())
    }
}

/// Parity of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even parity.
    Even,
    /// Odd parity.
    Odd,
}

/// Flow control of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flow {
    /// None.
    None,
    /// XON and XOFF.
    Software,
    /// RTS and CTS.
    Hardware,
}
