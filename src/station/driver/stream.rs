//! Meters that send their readings unasked: how a line of text or a frame of bytes shows one.
//!
//! The range in use is not told but seen, by the unit and by where the point stands; so each range
//! is listed with what it looks like.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::de::{Deserialize, Deserializer, Error};

use super::super::written::Written;
use super::MeterAbility;
use crate::quantity::read;
use crate::quantity::{Current, Voltage};

/// A stream of readings.
#[derive(Debug, Clone, PartialEq)]
pub enum Stream {
    /// Lines of text.
    Text(TextStream),
    /// Frames of bytes that show what the display shows.
    Frames(FrameStream),
}

/// Readings as lines of text: words with blanks between.
#[derive(Debug, Clone, PartialEq, serde::Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TextStream {
    /// The words of a line, in their order.
    pub line: Vec<Field>,
    /// The word for direct current or voltage.
    pub kind: String,
    /// Words for a state in which what is shown is being measured; any other state is none.
    pub live: Vec<String>,
    /// What stands for an overload in place of digits, behind its sign.
    pub overload: String,
    /// What each range looks like.
    pub range: Vec<TextRange>,
}

/// A word of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Field {
    /// Sign and digits.
    Value,
    /// The unit.
    Unit,
    /// Direct or alternating.
    Kind,
    /// Live, held, …
    State,
}

/// What a range looks like in text.
#[derive(Debug, Clone, PartialEq, serde::Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TextRange {
    /// The unit as it is written.
    pub unit: String,
    /// Digits and point, with 0 for each digit.
    pub digits: String,
    /// What a shown 1 means.
    #[schemars(with = "Written")]
    pub one: Amount,
    /// Which range of the abilities this is.
    #[schemars(with = "Written")]
    pub full_scale: Amount,
}

/// Readings as frames of bytes that show what the display shows.
#[derive(Debug, Clone, PartialEq, serde::Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FrameStream {
    /// Bytes with which each frame begins.
    pub start: Vec<u8>,
    /// Length of a frame, start and check included.
    pub length: usize,
    /// What proves a frame whole.
    pub check: Check,
    /// Where the digits stand.
    pub digits: Digits,
    /// Characters of the display, and the segments that are lit for each.
    pub glyphs: BTreeMap<char, u8>,
    /// Character that shows an overload.
    pub overload: char,
    /// Set for a minus sign.
    pub negative: Bits,
    /// All of them hold while a direct current or voltage is being measured.
    pub live: Vec<Bits>,
    /// What each range looks like.
    pub range: Vec<FrameRange>,
}

/// A check byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Check {
    /// The exclusive-or of all bytes before it, from this one on.
    Xor {
        /// First byte that counts, from 0.
        from: usize,
        /// The check byte.
        at: usize,
    },
    /// The low eight bits of their sum.
    Sum {
        /// First byte that counts, from 0.
        from: usize,
        /// The check byte.
        at: usize,
    },
}

/// Where the digits of a frame stand: a byte each, the most significant first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Digits {
    /// Byte of the first digit, from 0.
    pub first: usize,
    /// Number of digits.
    pub count: usize,
    /// Bits of a byte that are segments.
    pub mask: u8,
    /// Bit that is set if the point stands in front of the digit.
    pub point: u8,
}

/// Bits of one byte that must stand in a certain way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Bits {
    /// The byte, from 0.
    pub byte: usize,
    /// The bits that are looked at.
    pub mask: u8,
    /// How they must stand.
    pub equals: u8,
}

/// What a range looks like in a frame.
#[derive(Debug, Clone, PartialEq, serde::Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FrameRange {
    /// Bits that show the unit.
    pub unit: Bits,
    /// Digits and point, with 0 for each digit.
    pub digits: String,
    /// What a shown 1 means.
    #[schemars(with = "Written")]
    pub one: Amount,
    /// Which range of the abilities this is.
    #[schemars(with = "Written")]
    pub full_scale: Amount,
}

/// An amount of current or of voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// A current.
    Current(Current),
    /// A voltage.
    Voltage(Voltage),
}

impl Amount {
    /// In amperes or volts.
    #[must_use]
    pub fn value(self) -> f64 {
        match self {
            Self::Current(current) => current.value,
            Self::Voltage(voltage) => voltage.value,
        }
    }
}

impl<'de> Deserialize<'de> for Amount {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let current = read::current(&text).map(Self::Current);
        current.or_else(|_no_current| read::voltage(&text).map(Self::Voltage)).map_err(|_neither| {
            D::Error::custom(format!(
                "expected a current or a voltage such as \"1 µA\", got \"{text}\""
            ))
        })
    }
}

impl Bits {
    /// Whether they stand so in a frame.
    #[must_use]
    pub fn hold(&self, frame: &[u8]) -> bool {
        frame.get(self.byte).is_some_and(|byte| byte & self.mask == self.equals)
    }

    fn fault(&self, length: usize) -> Option<&'static str> {
        if length <= self.byte {
            return Some("a byte lies beyond the frame");
        }
        let possible = self.mask != 0 && self.equals & !self.mask == 0;
        (!possible).then_some("bits are to equal what their mask leaves out, or there are none")
    }
}

impl Check {
    /// Whether a frame is whole.
    #[must_use]
    pub fn holds(&self, frame: &[u8]) -> bool {
        match *self {
            Self::Xor { from, at } => {
                let sum =
                    frame.get(from..at).map(|bytes| bytes.iter().fold(0, |sum, byte| sum ^ byte));
                sum.is_some() && sum == frame.get(at).copied()
            }
            Self::Sum { from, at } => {
                let add = |sum: u8, byte: &u8| sum.wrapping_add(*byte);
                let sum = frame.get(from..at).map(|bytes| bytes.iter().fold(0, add));
                sum.is_some() && sum == frame.get(at).copied()
            }
        }
    }
}

impl Stream {
    /// What keeps these readings from being understood for sure.
    pub(super) fn fault(&self, ability: &MeterAbility) -> Option<String> {
        let ranges: Vec<(&str, Amount, Amount)> = match self {
            Self::Text(text) => {
                text.range.iter().map(|it| (it.digits.as_str(), it.one, it.full_scale)).collect()
            }
            Self::Frames(frames) => {
                frames.range.iter().map(|it| (it.digits.as_str(), it.one, it.full_scale)).collect()
            }
        };
        if ranges.is_empty() {
            return Some("range: expected at least one".into());
        }
        let faults = ranges.into_iter().find_map(|range| range_fault(range, ability));
        faults.map(|what| format!("range: {what}")).or_else(|| match self {
            Self::Text(text) => text_fault(text).map(|what| format!("text.{what}")),
            Self::Frames(frames) => frame_fault(frames).map(|what| format!("frames.{what}")),
        })
    }
}

fn range_fault(
    (digits, one, full_scale): (&str, Amount, Amount),
    ability: &MeterAbility,
) -> Option<String> {
    let plain = digits.bytes().all(|byte| matches!(byte, b'0' | b'.' | b','));
    if !plain || 1 < digits.matches(['.', ',']).count() || !digits.contains('0') {
        return Some(format!("expected digits such as \"000.00\", got \"{digits}\""));
    }
    let same = |full: f64| (full / full_scale.value() - 1.0).abs() < 1e-6;
    let known = match (one, full_scale) {
        (Amount::Current(_), Amount::Current(_)) => {
            ability.current_range.iter().any(|range| same(range.full_scale.value))
        }
        (Amount::Voltage(_), Amount::Voltage(_)) => {
            ability.voltage_range.iter().any(|range| same(range.full_scale.value))
        }
        (Amount::Current(_), Amount::Voltage(_)) | (Amount::Voltage(_), Amount::Current(_)) => {
            false
        }
    };
    (!known).then(|| format!("full_scale of \"{digits}\" is none of the abilities' ranges"))
}

fn text_fault(text: &TextStream) -> Option<String> {
    let fields = [Field::Value, Field::Unit, Field::Kind, Field::State];
    let once = |field: &Field| text.line.iter().filter(|given| *given == field).count() == 1;
    if !fields.iter().all(once) {
        return Some("line: expected value, unit, kind and state, each once".into());
    }
    let same =
        |one: &TextRange, other: &TextRange| one.unit == other.unit && one.digits == other.digits;
    twins(&text.range, same).then(|| "range: two of them look alike".into())
}

fn frame_fault(frames: &FrameStream) -> Option<String> {
    let (Check::Xor { from, at } | Check::Sum { from, at }) = frames.check;
    if frames.start.is_empty() || frames.length <= at || at <= from {
        return Some(
            "start, length, check: expected start bytes, and the check within the frame".into(),
        );
    }
    let digits = frames.digits;
    if frames.length < digits.first + digits.count
        || digits.count == 0
        || digits.mask & digits.point != 0
    {
        return Some(
            "digits: expected them within the frame, and the point apart from the mask".into(),
        );
    }
    let lit: Vec<u8> = frames.glyphs.values().copied().collect();
    let clear =
        lit.iter().all(|code| code & !digits.mask == 0) && !twins(&lit, |one, other| one == other);
    let whole = ('0'..='9').all(|digit| frames.glyphs.contains_key(&digit));
    if !clear || !whole || !frames.glyphs.contains_key(&frames.overload) {
        return Some("glyphs: expected ten digits and the overload, each unlike the others".into());
    }
    let ranges = frames.range.iter().map(|range| &range.unit);
    let mut all = frames.live.iter().chain([&frames.negative]).chain(ranges);
    if let Some(what) = all.find_map(|bits| bits.fault(frames.length)) {
        return Some(format!("live, negative, unit: {what}"));
    }
    let same =
        |one: &FrameRange, other: &FrameRange| one.unit == other.unit && one.digits == other.digits;
    twins(&frames.range, same).then(|| "range: two of them look alike".into())
}

fn twins<T>(all: &[T], same: impl Fn(&T, &T) -> bool) -> bool {
    all.iter().enumerate().any(|(at, one)| all[..at].iter().any(|other| same(one, other)))
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use crate::station::driver::{read_meter, shipped};

    #[rstest]
    #[case::two_ranges_alike(
        "text-stream-meter",
        "digits = \"00.0000\"",
        "digits = \"000.000\"",
        "look alike"
    )]
    #[case::a_unit_left_out("text-stream-meter", "\"unit\", ", "", "each once")]
    #[case::an_unknown_range(
        "text-stream-meter",
        "full_scale = \"100 V\"\n\n[ability]",
        "full_scale = \"2 V\"\n\n[ability]",
        "none of the abilities' ranges"
    )]
    #[case::no_digits("text-stream-meter", "\"000.000\"", "\"ddd.ddd\"", "expected digits such as")]
    #[case::a_glyph_twice(
        "frame-stream-meter",
        "\"8\" = 0x7f",
        "\"8\" = 0x3f",
        "each unlike the others"
    )]
    #[case::no_digit_nine("frame-stream-meter", "\"9\" = 0x6f\n", "", "each unlike the others")]
    #[case::a_check_beyond_the_frame(
        "frame-stream-meter",
        "at = 11",
        "at = 12",
        "the check within the frame"
    )]
    #[case::bits_beyond_the_frame(
        "frame-stream-meter",
        "negative = { byte = 2",
        "negative = { byte = 12",
        "beyond the frame"
    )]
    #[case::both_ways(
        "frame-stream-meter",
        "[ability]",
        "[text]\nline = []\nkind = \"\"\nlive = []\noverload = \"\"\nrange = []\n[ability]",
        "expected one of [words], [text] and [frames]"
    )]
    fn a_stream_that_leaves_a_doubt_is_refused(
        #[case] driver: &str,
        #[case] from: &str,
        #[case] to: &str,
        #[case] message: &str,
    ) {
        let text = shipped(driver).unwrap();
        let spoiled = text.replacen(from, to, 1);
        assert_ne!(text, spoiled);
        let error = read_meter("my.toml", &spoiled).unwrap_err().to_string();
        assert!(error.contains(message), "{error}");
    }
}
