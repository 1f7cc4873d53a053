//! A limit on leakage: a rule, and the conditions under which it holds.
//!
//! Written: `rule @ conditions`, the conditions in any order, each at most once:
//! `0.01CU floor 0.5uA @ 5min 25C`, `R 10Gohm @ 500V 1min`, `RC 3000s @ table 1min 20C`.

use uom::si::electric_current::ampere;

use super::cursor::{Cursor, NotationError};
use super::notation;
use super::rating::{MeasuringVoltage, Rating, RatingError};
use super::rule::LeakageRule;
use crate::quantity::{Celsius, Current, Time, Voltage, read, text, volts};

/// What a part may leak, when and under what conditions.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// How much.
    pub rule: LeakageRule,
    /// The voltage at which it is measured.
    pub measured_at: Measuring,
    /// Time after full voltage at which it is read. Without one it says little (handbook §1.5).
    pub reading_time: Option<Time>,
    /// Temperature at which it holds.
    pub reference: Option<Celsius>,
    /// Where it comes from, in words for a person.
    pub source: String,
}

/// At what voltage a leakage is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measuring {
    /// At the rated voltage.
    Rated,
    /// At this voltage.
    At(Voltage),
    /// At the voltage of the table for insulation resistances (handbook §1.4, IEC 60384-1).
    Table,
    /// At the category voltage of a solid tantalum above 85 °C: two thirds of the rated one, about
    /// (handbook §5.1). A sheet that prints another, such as 4.0 V for 6.3 V, goes first.
    Category,
}

impl Measuring {
    /// The measuring voltage of a part of this rating.
    ///
    /// # Errors
    ///
    /// [`RatingError::AboveRated`] if the part is not made for the voltage of the limit.
    pub fn voltage(self, rating: &Rating) -> Result<MeasuringVoltage, RatingError> {
        let rated = rating.voltage();
        let voltage = match self {
            Self::Rated => rated,
            Self::At(voltage) => voltage,
            Self::Table => table_voltage(rated),
            Self::Category => rated * (2.0 / 3.0),
        };
        MeasuringVoltage::at(voltage, rating)
    }
}

/// The measuring voltage for insulation resistances by rated voltage (handbook §1.4).
fn table_voltage(rated: Voltage) -> Voltage {
    [500.0, 100.0, 10.0].map(volts).into_iter().find(|step| *step <= rated).unwrap_or(rated)
}

impl Limit {
    /// Reads a limit in its written form: `0.01CU floor 0.5uA @ 5min 25C`.
    ///
    /// # Errors
    ///
    /// [`NotationError`] with the byte at which the text stops making sense.
    pub fn read(text: &str) -> Result<Self, NotationError> {
        let mut cursor = Cursor::new(text);
        let mut limit = Self::bare(notation::rule(&mut cursor)?);
        if cursor.take_any(&["@"]) {
            limit.conditions(&mut cursor)?;
        }
        cursor.end("@ or the end of the limit")?;
        Ok(limit)
    }

    fn bare(rule: LeakageRule) -> Self {
        let source = "as typed".to_owned();
        Self { rule, measured_at: Measuring::Rated, reading_time: None, reference: None, source }
    }

    fn conditions(&mut self, cursor: &mut Cursor<'_>) -> Result<(), NotationError> {
        let mut measured_at = None;
        loop {
            let before = cursor.position();
            let fresh = match condition(cursor)? {
                Condition::Measuring(measuring) => measured_at.replace(measuring).is_none(),
                Condition::Time(time) => self.reading_time.replace(time).is_none(),
                Condition::Temperature(celsius) => self.reference.replace(celsius).is_none(),
            };
            if !fresh {
                cursor.back_to(before);
                return Err(cursor.unexpected("each condition once"));
            }
            if cursor.is_at_end() {
                break;
            }
        }
        self.measured_at = measured_at.unwrap_or(Measuring::Rated);
        Ok(())
    }

    /// The highest current at which a part of this rating is still within.
    ///
    /// # Errors
    ///
    /// [`LimitError`] if the part is not made for the measuring voltage, or no current comes out.
    pub fn current(&self, rating: &Rating) -> Result<Current, LimitError> {
        let current = self.rule.limit(rating, self.measured_at.voltage(rating)?);
        // A limit of infinity or none would let every part pass, or none.
        if current.get::<ampere>().is_normal() { Ok(current) } else { Err(LimitError::Extreme) }
    }
}

impl std::fmt::Display for Limit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let measured_at = match self.measured_at {
            Measuring::Rated => None,
            Measuring::At(voltage) => Some(text::exact::voltage(voltage)),
            Measuring::Table => Some("table".to_owned()),
            Measuring::Category => Some("category".to_owned()),
        };
        let time = self.reading_time.map(text::exact::time);
        let temperature = self.reference.map(text::exact::temperature_celsius);
        let conditions: Vec<String> =
            [measured_at, time, temperature].into_iter().flatten().collect();
        if conditions.is_empty() {
            return write!(f, "{}", self.rule);
        }
        write!(f, "{} @ {}", self.rule, conditions.join(" "))
    }
}

enum Condition {
    Measuring(Measuring),
    Time(Time),
    Temperature(Celsius),
}

fn condition(cursor: &mut Cursor<'_>) -> Result<Condition, NotationError> {
    for (word, measuring) in [
        ("rated", Measuring::Rated),
        ("table", Measuring::Table),
        ("category", Measuring::Category),
    ] {
        if cursor.take_word(word) {
            return Ok(Condition::Measuring(measuring));
        }
    }
    if !cursor.at_number() {
        return Err(cursor.unexpected("a voltage, a time, a temperature, rated, table or category"));
    }
    match cursor.quantity_text().chars().last() {
        Some('V' | 'v') => positive_voltage(cursor),
        Some('C' | '℃') => cursor.quantity(read::temperature_celsius).map(Condition::Temperature),
        _ => positive_time(cursor),
    }
}

fn positive_voltage(cursor: &mut Cursor<'_>) -> Result<Condition, NotationError> {
    let before = cursor.position();
    let voltage = cursor.quantity(read::voltage)?;
    if volts(0.0) < voltage {
        return Ok(Condition::Measuring(Measuring::At(voltage)));
    }
    cursor.back_to(before);
    Err(cursor.unexpected("a voltage above zero"))
}

fn positive_time(cursor: &mut Cursor<'_>) -> Result<Condition, NotationError> {
    let before = cursor.position();
    let time = cursor.quantity(read::time)?;
    if Time::default() < time {
        return Ok(Condition::Time(time));
    }
    cursor.back_to(before);
    Err(cursor.unexpected("a time above zero"))
}

/// Why a limit gives no current for a part.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LimitError {
    /// The limit does not fit the rating.
    #[error(transparent)]
    Rating(#[from] RatingError),
    /// Rating and rule together are beyond all that exists.
    #[error("expected a limit that can be measured, came one beyond all numbers")]
    Extreme,
}

impl LimitError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::Rating(source) => source.help(),
            Self::Extreme => "look at the rating and at the limit again",
        }
    }
}

#[cfg(test)]
mod tests;
