//! Parts out of rows: every cell read, every fault noted, nothing stopped at.

use super::column::Column;
use super::fault::{Fault, Wrong};
use super::row::{Place, Row};
use super::{Channel, Position, Tray, TrayPart};
use crate::part::sheet::Answer;
use crate::part::{Duty, Family, Limit, MeasuringVoltage, Part, Rating, RatingError, Tolerance};
use crate::quantity::{Time, Voltage, read};

/// The tray of these rows, unless they or their form have faults.
pub(super) fn tray(rows: &[Row], mut faults: Vec<Fault>) -> Result<Tray, Vec<Fault>> {
    let is_numbered = rows.iter().any(|row| row.text(Column::Position).is_some());
    let mut parts = Vec::with_capacity(rows.len());
    for (index, row) in rows.iter().enumerate() {
        let mut desk = Desk { row, faults: &mut faults };
        let position = if is_numbered {
            desk.needed(Column::Position, Position::read)
        } else {
            Position::read(&(index + 1).to_string()).ok()
        };
        parts.extend(position.zip(desk.part()).map(|(position, part)| part.on(position)));
    }
    for column in [Column::Position, Column::Designator, Column::Channel] {
        twice(rows, column, &mut faults);
    }
    gaps(rows, &mut faults);
    if rows.is_empty() && faults.is_empty() {
        faults.push(Fault::at(Place { line: 2, column: 1 }, None, Wrong::Nothing));
    }
    faults.sort_by_key(|fault| fault.place);
    if faults.is_empty() { Ok(Tray { parts }) } else { Err(faults) }
}

/// What two parts of a tray can't share.
fn twice(rows: &[Row], column: Column, faults: &mut Vec<Fault>) {
    let mut seen: Vec<(String, Place)> = Vec::new();
    for row in rows {
        let Some(text) = row.text(column) else { continue };
        let (key, place) = (key(column, text), row.place(column));
        match seen.iter().find(|(known, _)| *known == key) {
            Some((_, first)) => {
                let wrong = Wrong::Twice { text: text.to_owned(), first: *first };
                faults.push(Fault::at(place, Some(column), wrong));
            }
            None => seen.push((key, place)),
        }
    }
}

/// What is the same for two texts that mean the same.
fn key(column: Column, text: &str) -> String {
    let number = Channel::read(text).ok().filter(|_| column == Column::Channel);
    number.map_or_else(|| text.to_lowercase(), |number| number.to_string())
}

/// Parts without a channel among parts that have one.
fn gaps(rows: &[Row], faults: &mut Vec<Fault>) {
    let has_one = |row: &&Row| row.text(Column::Channel).is_some();
    if rows.iter().any(|row| has_one(&row)) {
        let without = rows.iter().filter(|row| !has_one(row));
        let column = Column::Channel;
        faults.extend(
            without.map(|row| Fault::at(row.place(column), Some(column), Wrong::NoChannel)),
        );
    }
}

/// A part that has no position yet.
struct Unplaced {
    part: Part,
    limit: Limit,
    test_voltage: Option<Voltage>,
    soak: Option<Time>,
    channel: Option<Channel>,
    duty: Option<Duty>,
    note: Option<String>,
}

impl Unplaced {
    fn on(self, position: Position) -> TrayPart {
        let Self { part, limit, test_voltage, soak, channel, duty, note } = self;
        TrayPart { position, part, limit, test_voltage, soak, channel, duty, note }
    }
}

/// Where one row is read.
struct Desk<'a> {
    row: &'a Row,
    faults: &'a mut Vec<Fault>,
}

impl Desk<'_> {
    /// The part of the row. Its limit can be read only once family, value and rating are known.
    fn part(&mut self) -> Option<Unplaced> {
        let name = self.row.text(Column::Designator).map(str::to_owned);
        let family = self.needed(Column::Family, |text| Ok(Family::read(text)?));
        let capacitance = self.needed(Column::Value, |text| Ok(read::capacitance(text)?));
        let rated = self.needed(Column::Rating, |text| Ok(read::voltage(text)?));
        let tolerance = self.optional(Column::Tolerance, |text| Ok(Tolerance::read(text)?));
        let asked = self.optional(Column::TestVoltage, |text| Ok(read::voltage(text)?));
        let reading_time = self.optional(Column::ReadingTime, time);
        let soak = self.optional(Column::Soak, time);
        let channel = self.optional(Column::Channel, Channel::read);
        let duty = self.optional(Column::InCircuit, |text| Ok(Duty::read(text)?));
        let made = Rating::new(capacitance?, rated?).map_err(|error| rating_fault(&error));
        let rating = self.noting(made)?;
        let test_voltage = asked.and_then(|asked| self.test_voltage(asked, &rating));
        let part = Part { name, family: family?, rating, tolerance };
        let limit = self.limit(&part, reading_time, soak)?;
        let note = self.row.text(Column::Note).map(str::to_owned);
        Some(Unplaced { part, limit, test_voltage, soak, channel, duty, note })
    }

    fn needed<T>(&mut self, column: Column, read: impl Fn(&str) -> Result<T, Wrong>) -> Option<T> {
        // A column that the head lacks is one fault, not one for each row.
        let lacks = |fault: &Fault| fault.column == Some(column) && fault.wrong == Wrong::NoColumn;
        if self.row.text(column).is_none() && !self.faults.iter().any(lacks) {
            self.note(column, Wrong::Blank);
        }
        self.optional(column, read)
    }

    fn optional<T>(
        &mut self,
        column: Column,
        read: impl Fn(&str) -> Result<T, Wrong>,
    ) -> Option<T> {
        let read = self.row.text(column).map(read)?;
        self.noting(read.map_err(|wrong| (column, wrong)))
    }

    fn limit(&mut self, part: &Part, reading: Option<Time>, soak: Option<Time>) -> Option<Limit> {
        let limit = match self.row.text(Column::Limit) {
            Some(line) => stated(line, part, reading, soak),
            None => part.default_limit().map_err(Wrong::from),
        };
        let mut limit = self.noting(limit.map_err(|wrong| (Column::Limit, wrong)))?;
        let fits = limit.current(&part.rating).map_err(|error| (Column::Limit, error.into()));
        self.noting(fits)?;
        match (limit.reading_time, reading) {
            (Some(own), Some(asked)) if own != asked => {
                self.note(Column::ReadingTime, Wrong::TwoTimes { own, asked });
            }
            (own, asked) => limit.reading_time = own.or(asked),
        }
        Some(limit)
    }

    fn test_voltage(&mut self, asked: Voltage, rating: &Rating) -> Option<Voltage> {
        let rated = rating.voltage();
        if rated < asked {
            self.note(Column::TestVoltage, Wrong::AboveRating { asked, rated });
            return None;
        }
        let above_zero = MeasuringVoltage::at(asked, rating);
        self.noting(above_zero.map_err(|error| (Column::TestVoltage, error.into())))?;
        Some(asked)
    }

    fn noting<T>(&mut self, result: Result<T, (Column, Wrong)>) -> Option<T> {
        result.map_err(|(column, wrong)| self.note(column, wrong)).ok()
    }

    fn note(&mut self, column: Column, wrong: Wrong) {
        self.faults.push(Fault::at(self.row.place(column), Some(column), wrong));
    }
}

/// The limit of a line: of several that with the asked reading time, else that for the bench.
fn stated(
    line: &str,
    part: &Part,
    reading: Option<Time>,
    soak: Option<Time>,
) -> Result<Limit, Wrong> {
    match part.stated_limit(line) {
        Answer::Limits(printed) => Ok(printed.for_bench(reading.or(soak))),
        Answer::Question(question) => Err(Wrong::Limit { line: line.to_owned(), question }),
    }
}

fn time(text: &str) -> Result<Time, Wrong> {
    let time = read::time(text)?;
    if Time::default() < time { Ok(time) } else { Err(Wrong::NoTime(time)) }
}

/// A rating's fault belongs to the cell that is to blame.
fn rating_fault(error: &RatingError) -> (Column, Wrong) {
    let column = match error {
        RatingError::Capacitance(_) => Column::Value,
        RatingError::Voltage(_) | RatingError::AboveRated { .. } | RatingError::Together(..) => {
            Column::Rating
        }
    };
    (column, (*error).into())
}
