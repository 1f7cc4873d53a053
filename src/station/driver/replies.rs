//! How a supply's replies are formed, where that is not SCPI-1999's way.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::super::picture::Picture;
use super::super::reply::{self, ReplyError, Unit};
use super::super::session::Ends;
use crate::plan::{OutputState, Sample};

/// The forms of a supply's replies; those not given are SCPI-1999's.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SupplyReplies {
    /// Who is there.
    pub identity: IdentityForm,
    /// The voltage that is set.
    pub set_voltage: NumberForm,
    /// The current limit.
    pub current_limit: NumberForm,
    /// The over-voltage protection.
    pub over_voltage: NumberForm,
    /// The over-current protection.
    pub over_current: NumberForm,
    /// The output state.
    pub output: OutputForm,
    /// The measured voltage.
    pub measure_voltage: NumberForm,
}

/// The form of an identity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum IdentityForm {
    /// Four fields or more with commas between (IEEE 488.2 §10.14).
    #[default]
    Fields,
    /// Any printable line with a letter in it.
    Text,
}

/// The form of a number.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NumberForm {
    /// The reply with its number.
    pub shape: Picture,
    /// Whether an end mark follows; if not, the shape must have a fixed length.
    #[serde(default = "yes")]
    pub ended: bool,
}

impl Default for NumberForm {
    fn default() -> Self {
        Self { shape: Picture::default(), ended: true }
    }
}

const fn yes() -> bool {
    true
}

impl NumberForm {
    /// Where the reply ends.
    #[must_use]
    pub fn ends(&self) -> Ends {
        match self.shape.length() {
            Some(length) if !self.ended => Ends::After(length),
            Some(_) | None => Ends::Mark,
        }
    }

    /// Reads the reply.
    ///
    /// # Errors
    ///
    /// [`ReplyError`] for anything that is not of this form.
    pub fn read(&self, bytes: &[u8], unit: Unit) -> Result<Sample<f64>, ReplyError> {
        self.shape.read(bytes, unit)
    }
}

/// The form of an output state.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum OutputForm {
    /// 0 or 1, or the words ON and OFF.
    #[default]
    Flag,
    /// These very words.
    Words {
        /// The output is on.
        on: String,
        /// The output is off.
        off: String,
    },
    /// One byte without an end mark.
    StatusByte {
        /// Bits that are set in every such byte; they keep it apart from an end mark.
        always: u8,
        /// Bits that are set in none.
        never: u8,
        /// The bit that is set while the output is on.
        on: u8,
    },
}

impl OutputForm {
    /// Where the reply ends.
    #[must_use]
    pub fn ends(&self) -> Ends {
        match self {
            Self::Flag | Self::Words { .. } => Ends::Mark,
            Self::StatusByte { .. } => Ends::After(1),
        }
    }

    /// Reads the reply; what is not clear is unknown, and unknown counts as on.
    #[must_use]
    pub fn read(&self, bytes: &[u8]) -> OutputState {
        match self {
            Self::Flag => reply::output_state(bytes),
            Self::Words { on, off } => match bytes.trim_ascii() {
                word if word == on.trim().as_bytes() => OutputState::On,
                word if word == off.trim().as_bytes() => OutputState::Off,
                _ => OutputState::Unknown,
            },
            Self::StatusByte { always, never, on } => match bytes {
                [byte] if byte & always != *always || byte & never != 0 => OutputState::Unknown,
                [byte] if byte & on == *on => OutputState::On,
                [byte] if byte & on == 0 => OutputState::Off,
                _ => OutputState::Unknown,
            },
        }
    }
}

impl SupplyReplies {
    /// What keeps these forms from being read for sure.
    pub(super) fn fault(&self) -> Option<String> {
        let numbers = [
            ("set_voltage", &self.set_voltage),
            ("current_limit", &self.current_limit),
            ("over_voltage", &self.over_voltage),
            ("over_current", &self.over_current),
            ("measure_voltage", &self.measure_voltage),
        ];
        let endless = numbers.iter().find(|(_, form)| !form.ended && form.shape.length().is_none());
        if let Some((key, _)) = endless {
            return Some(format!(
                "replies.{key}: without an end mark the number needs a width, such as {{00.00}}"
            ));
        }
        match &self.output {
            OutputForm::Words { on, off } if on.trim() == off.trim() => {
                Some("replies.output: on and off are the same word".into())
            }
            // Below 0x20 lie the end marks, and NUL, which noise is made of.
            OutputForm::StatusByte { always, .. } if always & 0xe0 == 0 => Some(
                "replies.output: expected a bit of 0x20 or above among those always set".into(),
            ),
            OutputForm::StatusByte { always, never, on } => {
                let clear =
                    on.is_power_of_two() && always & never == 0 && (always | never) & on == 0;
                (!clear).then(|| {
                    "replies.output: always, never and on share bits, or on is none".into()
                })
            }
            OutputForm::Flag | OutputForm::Words { .. } => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    const STATUS: OutputForm = OutputForm::StatusByte { always: 0x40, never: 0x80, on: 0x01 };

    #[rstest]
    #[case::off(b"@", OutputState::Off)]
    #[case::on(b"A", OutputState::On)]
    #[case::on_and_limiting(b"C", OutputState::On)]
    #[case::off_and_tripped(b"D", OutputState::Off)]
    #[case::an_end_mark(b"\r", OutputState::Unknown)]
    #[case::nothing_at_all(b"\0", OutputState::Unknown)]
    #[case::a_disturbed_line(b"\xff", OutputState::Unknown)]
    #[case::two_bytes(b"@@", OutputState::Unknown)]
    #[case::no_byte(b"", OutputState::Unknown)]
    fn only_a_clear_status_byte_is_off(#[case] bytes: &[u8], #[case] state: OutputState) {
        assert_eq!(STATUS.read(bytes), state);
    }

    #[test]
    fn only_the_very_words_are_taken() {
        let form = OutputForm::Words { on: "output on".into(), off: "output off".into() };
        assert_eq!(form.read(b"output off\r"), OutputState::Off);
        assert_eq!(form.read(b"output on"), OutputState::On);
        for other in [&b"off"[..], b"output of", b"output offf", b"0"] {
            assert_eq!(form.read(other), OutputState::Unknown);
        }
    }

    #[rstest]
    #[case::no_width(
        "measure_voltage = { shape = \"{}\", ended = false }",
        "replies.measure_voltage: without an end mark"
    )]
    #[case::one_word_for_both(
        "output = { words = { on = \"1\", off = \"1 \" } }",
        "on and off are the same word"
    )]
    #[case::a_status_that_may_be_an_end_mark(
        "output = { status-byte = { always = 0x08, never = 0, on = 1 } }",
        "a bit of 0x20 or above"
    )]
    #[case::a_bit_that_is_always_set(
        "output = { status-byte = { always = 0x41, never = 0, on = 1 } }",
        "share bits"
    )]
    fn a_form_that_leaves_a_doubt_is_refused(#[case] text: &str, #[case] message: &str) {
        let replies: SupplyReplies = toml::from_str(text).unwrap();
        let fault = replies.fault().unwrap();
        assert!(fault.contains(message), "{fault}");
    }
}
