//! What a picture of a large run needs: the first readings all, and of the others each extreme.
//!
//! A picture is some thousand columns wide. Of a run of millions it is therefore drawn from an
//! overview: all readings of the beginning, which decades of time spread wide, and then of each
//! block of readings the first and the last, the least and the greatest current and voltage, and one
//! of each mark. A block is shorter than a column, whether time runs in decades or not, and holds
//! readings of one phase and one range only. Readings that a verdict rests on are all there.
//!
//! The overview is stored once a run has ended ([`Record::summarise`]) and made on the fly as long as
//! it is not: the picture is the same, it only takes longer.

use rusqlite::{OptionalExtension, params};

use super::columns::{READING, in_amperes, in_volts, reading};
use super::reading::{Flags, RecordedCurrent, Row};
use super::thin::Extremes;
use super::{Record, RecordError, RunId};
use crate::plan::Phase;
use crate::quantity::Current;

/// Runs of no more readings than this need no overview.
const FEW: u32 = 200_000;
/// So many readings from the start are all kept.
const ALL_OF_THE_FIRST: u32 = 50_000;
/// A block is at most this part of the readings before it: on a logarithmic axis 0.001 of a decade.
const PART_OF_BEFORE: u32 = 500;
/// A block is at most this part of all readings: on a linear axis a quarter of a dot.
const PART_OF_ALL: u32 = 4000;

/// Readings of a run, all of them or those that a picture needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Overview {
    /// In order.
    pub rows: Vec<Row>,
    /// How many more there are.
    pub left_out: u32,
}

impl Record {
    /// The readings that a picture of a run needs.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why the record cannot be read.
    pub fn overview(&self, id: RunId) -> Result<Overview, RecordError> {
        let last = self.last_sequence(id)?;
        if last < FEW {
            let mut rows = Vec::new();
            self.for_each_reading(id, |row| rows.push(row))?;
            return Ok(Overview { rows, left_out: 0 });
        }
        match self.stored_overview(id)? {
            Some(stored) => Ok(stored),
            None => self.pick_overview(id, last),
        }
    }

    /// Stores the overview of a run that has ended, if it is large and has none yet.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownRun`], or why it cannot be read or written; pictures are then drawn
    /// from all readings, as before.
    pub fn summarise(&mut self, id: RunId) -> Result<(), RecordError> {
        let last = self.last_sequence(id)?;
        if last < FEW || self.stored_count(id)?.is_some() {
            return Ok(());
        }
        let overview = self.pick_overview(id, last)?;
        let picked = u32::try_from(overview.rows.len()).unwrap_or(u32::MAX);
        let count = overview.left_out.saturating_add(picked);
        self.change("keep an overview", |transaction| {
            transaction.execute(
                "INSERT INTO overviews (run, readings) VALUES (?1, ?2)",
                params![id.row(), count],
            )?;
            let mut insert = transaction
                .prepare_cached("INSERT INTO overview_readings (run, sequence) VALUES (?1, ?2)")?;
            for row in &overview.rows {
                insert.execute(params![id.row(), row.sequence])?;
            }
            Ok(())
        })
    }

    /// The last sequence number of a run; 0 of one without readings.
    pub(super) fn last_sequence(&self, id: RunId) -> Result<u32, RecordError> {
        self.must_know(id)?;
        let sql = "SELECT max(sequence) FROM readings WHERE run = ?1";
        let last: Option<u32> = self
            .connection
            .query_one(sql, [id.row()], |row| row.get(0))
            .map_err(|source| RecordError::from_sqlite(&self.path, "count readings", source))?;
        Ok(last.unwrap_or_default())
    }

    /// How many readings the run of a stored overview has.
    fn stored_count(&self, id: RunId) -> Result<Option<u32>, RecordError> {
        self.connection
            .query_row("SELECT readings FROM overviews WHERE run = ?1", [id.row()], |row| {
                row.get(0)
            })
            .optional()
            .map_err(|source| RecordError::from_sqlite(&self.path, "find an overview", source))
    }

    fn stored_overview(&self, id: RunId) -> Result<Option<Overview>, RecordError> {
        let Some(count) = self.stored_count(id)? else { return Ok(None) };
        let sql = format!(
            "SELECT {READING} FROM overview_readings JOIN readings USING (run, sequence) \
             WHERE overview_readings.run = ?1 ORDER BY overview_readings.sequence"
        );
        let rows = self.list("read an overview", &sql, [id.row()], reading)?;
        let left_out = count.saturating_sub(u32::try_from(rows.len()).unwrap_or(u32::MAX));
        Ok(Some(Overview { rows, left_out }))
    }

    fn pick_overview(&self, id: RunId, last: u32) -> Result<Overview, RecordError> {
        let mut picker = Picker::new(last);
        self.for_each_reading(id, |row| picker.take(row))?;
        Ok(picker.finish())
    }
}

/// Picks the readings of an overview out of all, in order, with one block in memory.
#[derive(Debug)]
struct Picker {
    longest: u32,
    block: Option<Block>,
    rows: Vec<Row>,
    seen: u32,
}

/// Readings in a row of which a few are picked.
#[derive(Debug)]
struct Block {
    until: u32,
    phase: Phase,
    range: Option<Current>,
    first: Row,
    last: Row,
    current: Extremes<Row>,
    voltage: Extremes<Row>,
    /// The first overload, negative overload, reading without a number.
    marks: [Option<Row>; 3],
}

impl Picker {
    fn new(last: u32) -> Self {
        Self { longest: (last / PART_OF_ALL).max(1), block: None, rows: Vec::new(), seen: 0 }
    }

    fn take(&mut self, row: Row) {
        self.seen = self.seen.saturating_add(1);
        match &mut self.block {
            Some(block) if block.holds(&row) => block.take(row),
            Some(_) | None => {
                self.close();
                let length = (row.sequence / PART_OF_BEFORE).min(self.longest);
                let length = if row.sequence < ALL_OF_THE_FIRST { 1 } else { length };
                self.block = Some(Block::begin(row, row.sequence.saturating_add(length)));
            }
        }
        if row.flags.contains(Flags::IN_WINDOW) {
            self.close();
        }
    }

    fn close(&mut self) {
        if let Some(block) = self.block.take() {
            self.rows.extend(block.picked());
        }
    }

    fn finish(mut self) -> Overview {
        self.close();
        let picked = u32::try_from(self.rows.len()).unwrap_or(u32::MAX);
        Overview { left_out: self.seen.saturating_sub(picked), rows: self.rows }
    }
}

impl Block {
    fn begin(row: Row, until: u32) -> Self {
        let mut block = Self {
            until,
            phase: row.phase,
            range: row.range,
            first: row,
            last: row,
            current: Extremes::default(),
            voltage: Extremes::default(),
            marks: [None; 3],
        };
        block.take(row);
        block
    }

    fn holds(&self, row: &Row) -> bool {
        row.sequence < self.until && row.phase == self.phase && row.range == self.range
    }

    fn take(&mut self, row: Row) {
        self.last = row;
        match row.current {
            RecordedCurrent::Value(current) => self.current.take(in_amperes(current), row),
            RecordedCurrent::Overload { negative: false } => mark(&mut self.marks[0], row),
            RecordedCurrent::Overload { negative: true } => mark(&mut self.marks[1], row),
            RecordedCurrent::NotANumber => mark(&mut self.marks[2], row),
        }
        if let Some(voltage) = row.voltage {
            self.voltage.take(in_volts(voltage), row);
        }
    }

    fn picked(&self) -> Vec<Row> {
        let extremes = self.current.both().chain(self.voltage.both());
        let marks = self.marks.iter().flatten().copied();
        let mut picked: Vec<Row> =
            [self.first, self.last].into_iter().chain(extremes).chain(marks).collect();
        picked.sort_unstable_by_key(|row| row.sequence);
        picked.dedup_by_key(|row| row.sequence);
        picked
    }
}

fn mark(place: &mut Option<Row>, row: Row) {
    place.get_or_insert(row);
}

#[cfg(test)]
mod tests {
    use super::super::sample::{passed, reading as sample_reading, record, smoothing_capacitor};
    use super::*;
    use crate::quantity::amperes;

    /// A steady soak of so many readings with one spike and one overload.
    fn spiked(count: u32, spike: u32, overload: u32) -> impl Iterator<Item = Row> {
        (0..count).map(move |sequence| {
            let current = match sequence {
                sequence if sequence == spike => RecordedCurrent::Value(amperes(42e-6)),
                sequence if sequence == overload => RecordedCurrent::Overload { negative: false },
                _ => RecordedCurrent::Value(amperes(1e-7 + 1e-9 * f64::from(sequence % 7))),
            };
            Row { current, ..sample_reading(sequence) }
        })
    }

    fn holds(overview: &Overview, sequence: u32) -> bool {
        overview.rows.iter().any(|row| row.sequence == sequence)
    }

    #[test]
    fn one_spike_and_one_overload_in_ten_million_readings_are_picked() {
        let (count, spike, overload) = (10_000_000, 7_654_321, 3_210_987);
        let mut picker = Picker::new(count - 1);
        spiked(count, spike, overload).for_each(|row| picker.take(row));
        let overview = picker.finish();
        assert!(holds(&overview, spike) && holds(&overview, overload));
        assert!(holds(&overview, count - 1));
        assert!(overview.rows.len() < 120_000, "{} are picked", overview.rows.len());
        assert_eq!(overview.rows.len() + overview.left_out as usize, count as usize);
    }

    #[test]
    fn a_stored_overview_equals_the_one_made_on_the_fly() {
        let (_folder, mut record) = record();
        let id = record.begin(&smoothing_capacitor()).unwrap();
        let rows: Vec<Row> = spiked(260_000, 223_344, 211_111).collect();
        record.append(id, &rows).unwrap();
        record.finish(id, &passed()).unwrap();
        let on_the_fly = record.overview(id).unwrap();
        assert!(0 < on_the_fly.left_out && holds(&on_the_fly, 223_344));
        record.summarise(id).unwrap();
        record.summarise(id).unwrap();
        assert_eq!(record.stored_count(id).unwrap(), Some(260_000));
        assert_eq!(record.overview(id).unwrap(), on_the_fly);
    }

    #[test]
    fn a_small_run_is_given_whole() {
        let (_folder, mut record) = record();
        let id = record.begin(&smoothing_capacitor()).unwrap();
        let rows: Vec<Row> = (0..500).map(sample_reading).collect();
        record.append(id, &rows).unwrap();
        record.finish(id, &passed()).unwrap();
        record.summarise(id).unwrap();
        assert_eq!(record.stored_count(id).unwrap(), None);
        assert_eq!(record.overview(id).unwrap(), Overview { rows, left_out: 0 });
    }

    #[test]
    fn readings_that_a_verdict_rests_on_are_all_picked() {
        let mut picker = Picker::new(1_000_000);
        for row in spiked(1_000_000, 0, 1) {
            let window = (800_000..800_100).contains(&row.sequence);
            let flags = if window { Flags::IN_WINDOW } else { Flags::NONE };
            picker.take(Row { flags, ..row });
        }
        let overview = picker.finish();
        assert!((800_000..800_100).all(|sequence| holds(&overview, sequence)));
    }
}
