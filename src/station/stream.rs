//! A meter that sends its readings unasked, as [`super::Meter`] is asked for them.
//!
//! It cannot be told anything, so it stands on the one range that a person put it on and the station
//! file names; a reading that shows another range, another kind of current or a held display ends
//! the run. What it is can only be seen: a few readings of its form in a row count as its name.
//! Only whole readings with a value feed the deadline, so a stream of rubbish is silence.

mod frames;
mod text;

use super::driver::{Amount, MeterAbility, MeterDriver, Stream};
use super::meter::{MeterSays, SensedBy, USABLE_SHARE, conductance, facts};
use super::reply;
use crate::plan::{MeterFacts, RangeIndex, Sample};
use crate::quantity::{Current, Time, amperes, text as written, volts};

/// Readings in a row by which the meter counts as known.
const KNOWN_BY: u8 = 3;
/// Bytes kept while a reading is incomplete; more is noise.
const MOST_PENDING: usize = 1024;
/// Index of the one range that the meter stands on.
const HELD: RangeIndex = RangeIndex(0);

/// What a whole line or frame shows.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shown {
    /// A value, on the range with this full scale.
    Value(f64, Amount),
    /// An overload; the ranges that it may be on have this full scale at most.
    Overload { negative: bool, widest: Amount },
    /// The display is held, stands against a stored value, warns of a low battery, or shows something
    /// that is no direct current or voltage.
    Idle,
}

/// Takes whole lines or frames off the front of a buffer.
trait Reader {
    /// The next one and what it shows, if it can be read; nothing while it is not whole.
    fn next(&self, pending: &mut Vec<u8>) -> Option<Result<Shown, Vec<u8>>>;
}

impl Reader for Stream {
    fn next(&self, pending: &mut Vec<u8>) -> Option<Result<Shown, Vec<u8>>> {
        match self {
            Self::Text(form) => text::next(form, pending),
            Self::Frames(form) => frames::next(form, pending),
        }
    }
}

/// What is seen of a stream that nobody expected.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seen {
    /// Lines or frames of the form.
    pub fitting: usize,
    /// Others.
    pub other: usize,
    /// The range of the newest reading.
    pub full_scale: Option<Amount>,
}

/// Looks at bytes as a stream of this form.
#[must_use]
pub fn look(stream: &Stream, bytes: &[u8]) -> Seen {
    let (mut pending, mut seen) = (bytes.to_vec(), Seen::default());
    while let Some(next) = stream.next(&mut pending) {
        match next {
            Ok(Shown::Value(_, on)) => {
                seen.fitting += 1;
                seen.full_scale = Some(on);
            }
            Ok(Shown::Overload { .. } | Shown::Idle) => seen.fitting += 1,
            Err(_unreadable) => seen.other += 1,
        }
    }
    seen
}

/// The line that keeps an adapter awake.
#[derive(Debug, Clone)]
struct Wake {
    line: Vec<u8>,
    every: Time,
    next: Time,
}

/// A meter that sends its readings unasked.
#[derive(Debug, Clone)]
pub(super) struct StreamingMeter {
    stream: Stream,
    describes: String,
    ability: MeterAbility,
    sensed_by: SensedBy,
    facts: MeterFacts,
    deadline: Time,
    first_deadline: Time,
    pending: Vec<u8>,
    /// Until then a reading must have come.
    until: Time,
    awake: Option<Wake>,
    in_a_row: u8,
    lost: bool,
    misfits: u32,
}

impl StreamingMeter {
    /// A meter on a line that was opened at `now`.
    pub(super) fn open(
        stream: Stream,
        driver: &MeterDriver,
        sensed_by: SensedBy,
        now: Time,
    ) -> Self {
        let ability = driver.ability.clone();
        Self {
            stream,
            describes: driver.describes.clone(),
            facts: facts(&ability, sensed_by),
            ability,
            sensed_by,
            deadline: driver.line.deadline,
            first_deadline: driver.line.first_deadline,
            pending: Vec::new(),
            until: now + driver.line.first_deadline,
            awake: driver.awake.as_ref().map(|awake| Wake {
                line: format!("{}{}", awake.words, driver.line.end).into_bytes(),
                every: awake.every,
                next: now,
            }),
            in_a_row: 0,
            lost: false,
            misfits: 0,
        }
    }

    /// The next moment at which something is due.
    pub(super) fn wakes_at(&self) -> Option<Time> {
        let next = self.awake.as_ref().map_or(self.until, |awake| awake.next.min(self.until));
        (!self.lost).then_some(next)
    }

    /// What is to be written at `now`: at most what keeps the line awake.
    pub(super) fn write(&mut self, now: Time) -> Option<Vec<u8>> {
        let awake = self.awake.as_mut().filter(|awake| awake.next <= now && !self.lost)?;
        awake.next = now + awake.every;
        Some(awake.line.clone())
    }

    /// Takes bytes that came at `now`.
    pub(super) fn receive(&mut self, bytes: &[u8], now: Time) -> Vec<MeterSays> {
        if self.lost {
            return Vec::new();
        }
        self.pending.extend_from_slice(bytes);
        let mut says = Vec::new();
        while let Some(next) = self.stream.next(&mut self.pending) {
            match next {
                Ok(shown) => says.extend(self.take(shown, now)),
                Err(_unreadable) => {
                    self.misfits = self.misfits.saturating_add(1);
                    if self.in_a_row < KNOWN_BY {
                        self.in_a_row = 0;
                    }
                }
            }
        }
        if MOST_PENDING < self.pending.len() {
            self.pending.clear();
        }
        says
    }

    fn take(&mut self, shown: Shown, now: Time) -> Option<MeterSays> {
        let sample = match self.sampled(shown) {
            Ok(sample) => sample,
            Err(what) => return self.is_known().then_some(MeterSays::Disturbed(what)),
        };
        self.until = now + self.deadline;
        if self.is_known() {
            return Some(MeterSays::Current(sample, HELD));
        }
        self.in_a_row += 1;
        self.is_known().then(|| MeterSays::Identity(format!("{} (by its stream)", self.describes)))
    }

    fn is_known(&self) -> bool {
        KNOWN_BY <= self.in_a_row
    }

    /// A reading on the range that the meter is held on, or what it shows instead.
    fn sampled(&self, shown: Shown) -> Result<Sample<Current>, String> {
        let held = self.full_scale();
        let is_held = |amount: Amount| (amount.value() / held.value() - 1.0).abs() < 1e-6;
        match shown {
            Shown::Value(value, on) if self.is_kind(on) && is_held(on) => {
                if value.abs() < held.value() * USABLE_SHARE {
                    return Ok(Sample::Value(self.to_current(value)));
                }
                Ok(Sample::Overload { negative: value < 0.0 })
            }
            Shown::Overload { negative, widest }
                if self.is_kind(widest) && held.value() * 0.999 < widest.value() =>
            {
                Ok(Sample::Overload { negative })
            }
            Shown::Value(_, on) | Shown::Overload { widest: on, .. } => {
                Err(format!("meter range: expected {}, it shows {}", unit(held), unit(on)))
            }
            Shown::Idle => {
                Err("the meter's display is held, stands against a stored value, warns of a low \
                     battery, or shows no direct current or voltage"
                    .into())
            }
        }
    }

    fn full_scale(&self) -> Amount {
        match self.sensed_by {
            SensedBy::Shunt => Amount::Current(
                self.ability.current_range.first().map_or(amperes(0.0), |range| range.full_scale),
            ),
            SensedBy::Resistor(_) => Amount::Voltage(
                self.ability.voltage_range.first().map_or(volts(0.0), |range| range.full_scale),
            ),
        }
    }

    fn is_kind(&self, amount: Amount) -> bool {
        match (self.sensed_by, amount) {
            (SensedBy::Shunt, Amount::Current(_)) | (SensedBy::Resistor(_), Amount::Voltage(_)) => {
                true
            }
            (SensedBy::Shunt, Amount::Voltage(_)) | (SensedBy::Resistor(_), Amount::Current(_)) => {
                false
            }
        }
    }

    fn to_current(&self, value: f64) -> Current {
        match self.sensed_by {
            SensedBy::Shunt => amperes(value),
            SensedBy::Resistor(sense) => {
                amperes(value * conductance(sense.resistance, &self.ability))
            }
        }
    }

    /// Time has passed.
    pub(super) fn pass(&mut self, now: Time) -> Vec<MeterSays> {
        if self.lost || now < self.until {
            return Vec::new();
        }
        self.lost = true;
        let came = reply::readable(&self.pending);
        // Some adapters stop what comes unasked while nothing is written to them.
        let hint = if self.is_known() && self.awake.is_none() {
            "; if it ran before, look at the power saving of its USB adapter, or let its driver keep \
             it [awake]"
        } else {
            ""
        };
        vec![MeterSays::Lost(format!("no reading came in time, {came} is pending{hint}"))]
    }

    /// The abilities as planning needs them.
    pub(super) fn facts(&self) -> &MeterFacts {
        &self.facts
    }

    /// The line was gone and is there again: what it is has to be seen anew.
    pub(super) fn comes_back(&mut self, now: Time) {
        self.pending.clear();
        self.in_a_row = 0;
        self.lost = false;
        self.until = now + self.first_deadline;
        if let Some(awake) = &mut self.awake {
            awake.next = now;
        }
    }

    /// How many lines or frames could not be read.
    pub(super) fn resyncs(&self) -> u32 {
        self.misfits
    }
}

fn unit(amount: Amount) -> String {
    match amount {
        Amount::Current(current) => written::current(current),
        Amount::Voltage(voltage) => written::voltage(voltage),
    }
}

/// The value that digits and point (or comma, where the range is written with one) show, where a shown 1 is `one`; nothing if there is any other
/// character among them.
fn shown_value(negative: bool, digits: &str, one: Amount) -> Option<f64> {
    let (whole, decimals) = digits.split_once(['.', ',']).unwrap_or((digits, ""));
    let figures = whole.bytes().chain(decimals.bytes());
    let right =
        figures.clone().all(|byte| byte.is_ascii_digit()) && figures.clone().next().is_some();
    let sum =
        figures.filter(|_| right).fold(0.0, |sum, digit| sum * 10.0 + f64::from(digit - b'0'));
    let places = i32::try_from(decimals.len()).ok().filter(|_| right)?;
    let value = sum / 10_f64.powi(places) * one.value();
    Some(if negative && value != 0.0 { -value } else { value })
}

/// Digits and point with 0 for each digit, to be compared with those of a range.
fn outline(digits: &str) -> String {
    digits.chars().map(|letter| if letter.is_ascii_digit() { '0' } else { letter }).collect()
}

/// The widest of some ranges.
fn widest(ranges: impl Iterator<Item = Amount>) -> Option<Amount> {
    ranges.max_by(|one, other| one.value().total_cmp(&other.value()))
}

#[cfg(test)]
mod tests;
