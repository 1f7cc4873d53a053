//! Readings as Parquet, for an existing engine to go through thousands of runs.
//!
//! One table of readings, in row groups of 131 072. What is known of each run, as JSON
//! objects like those of `show --json`, stands in the file's own notes under `reststrom.runs`.

use std::path::Path;
use std::sync::Arc;

use parquet::basic::{Compression, Encoding};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int32Type, Int64Type};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use parquet::schema::types::ColumnPath;

use super::{Draft, ExportError, ampere, flags, mark, piped};
use crate::record::{Record, Row, RunId};
use crate::report::object::RunObject;

const SCHEMA: &str = "message readings {
    required binary run (string);
    required int32 sequence;
    required double time_second;
    required int64 wall (timestamp(millis, true));
    optional double current_ampere;
    optional double voltage_volt;
    optional double range_ampere;
    optional binary mark (string);
    required binary flags (string);
    required binary phase (string);
}";
/// Readings of a row group: enough to pack well, few enough that reading goes on while one is packed.
const GROUP: usize = 1 << 17;
/// Columns in which nearly every value is another: a dictionary would only cost.
const DISTINCT: [&str; 4] = ["sequence", "time_second", "wall", "current_ampere"];
/// The name under which the runs stand in the file's notes.
pub const RUNS: &str = "reststrom.runs";

/// Writes the readings of runs as one table; gives how many there are.
///
/// # Errors
///
/// [`ExportError`] when the record can't be read or the file not be written; no half file is left
/// under its name.
pub fn write(record: &Record, runs: &[RunId], path: &Path) -> Result<u64, ExportError> {
    let objects: Vec<RunObject> = runs
        .iter()
        .map(|id| Ok(RunObject::of(&record.run(*id)?)))
        .collect::<Result<_, ExportError>>()?;
    let properties = properties(serde_json::to_string(&objects)?);
    let mut draft = Draft::new(path)?;
    let (draft, count) = piped(record, runs, move |blocks| {
        let schema = Arc::new(parse_message_type(SCHEMA)?);
        let mut writer = SerializedFileWriter::new(&mut draft.file, schema, Arc::new(properties))?;
        let (mut group, mut count) = (Group::default(), 0);
        for (run, rows) in blocks {
            let run = ByteArray::from(run.to_string().into_bytes());
            for row in &rows {
                group.take(&run, row);
            }
            count += rows.len() as u64;
            if GROUP <= group.sequence.len() {
                group.write(writer.next_row_group()?)?;
                group.clear();
            }
        }
        if !group.sequence.is_empty() {
            group.write(writer.next_row_group()?)?;
        }
        writer.close()?;
        Ok((draft, count))
    })?;
    draft.finish()?;
    Ok(count)
}

fn properties(runs: String) -> WriterProperties {
    let mut properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .set_created_by(format!("reststrom {}", env!("CARGO_PKG_VERSION")))
        .set_key_value_metadata(Some(vec![KeyValue::new(RUNS.to_owned(), runs)]));
    for column in DISTINCT {
        properties = properties.set_column_dictionary_enabled(ColumnPath::from(column), false);
    }
    for column in ["sequence", "wall"] {
        properties =
            properties.set_column_encoding(ColumnPath::from(column), Encoding::DELTA_BINARY_PACKED);
    }
    properties.build()
}

/// A row group by its columns.
#[derive(Default)]
struct Group {
    run: Vec<ByteArray>,
    sequence: Vec<i32>,
    time: Vec<f64>,
    wall: Vec<i64>,
    current: Optional<f64>,
    voltage: Optional<f64>,
    range: Optional<f64>,
    mark: Optional<ByteArray>,
    flags: Vec<ByteArray>,
    phase: Vec<ByteArray>,
    words: Words,
}

/// A column that may be empty: the values that are there, and for each row whether one is.
#[derive(Default)]
struct Optional<T> {
    values: Vec<T>,
    levels: Vec<i16>,
}

impl<T> Optional<T> {
    fn push(&mut self, value: Option<T>) {
        self.levels.push(i16::from(value.is_some()));
        self.values.extend(value);
    }

    fn clear(&mut self) {
        self.values.clear();
        self.levels.clear();
    }
}

/// Words that come over and over, each held once.
#[derive(Default)]
struct Words(Vec<(&'static str, ByteArray)>);

impl Words {
    fn of(&mut self, word: &'static str) -> ByteArray {
        if let Some((_, bytes)) = self.0.iter().find(|(known, _)| *known == word) {
            return bytes.clone();
        }
        let bytes = ByteArray::from(word);
        self.0.push((word, bytes.clone()));
        bytes
    }
}

impl Group {
    fn take(&mut self, run: &ByteArray, row: &Row) {
        self.run.push(run.clone());
        // A sequence number beyond 2³¹ would take 60 years at a reading a second.
        self.sequence.push(i32::try_from(row.sequence).unwrap_or(i32::MAX));
        self.time.push(row.time.value);
        self.wall.push(row.wall.as_millisecond());
        self.current.push(ampere(row));
        self.voltage.push(row.voltage.map(|voltage| voltage.value));
        self.range.push(row.range.map(|range| range.value));
        let mark = mark(row);
        let mark = (!mark.is_empty()).then(|| self.words.of(mark));
        self.mark.push(mark);
        let (flags, phase) = (self.words.of(flags(row)), self.words.of(row.phase.tag()));
        self.flags.push(flags);
        self.phase.push(phase);
    }

    fn clear(&mut self) {
        self.run.clear();
        self.sequence.clear();
        self.time.clear();
        self.wall.clear();
        for optional in [&mut self.current, &mut self.voltage, &mut self.range] {
            optional.clear();
        }
        self.mark.clear();
        self.flags.clear();
        self.phase.clear();
    }

    /// Columns in the order of the schema.
    fn write<W: std::io::Write + Send>(
        &self,
        mut group: SerializedRowGroupWriter<'_, W>,
    ) -> Result<(), ExportError> {
        column::<ByteArrayType, W>(&mut group, &self.run, None)?;
        column::<Int32Type, W>(&mut group, &self.sequence, None)?;
        column::<DoubleType, W>(&mut group, &self.time, None)?;
        column::<Int64Type, W>(&mut group, &self.wall, None)?;
        for optional in [&self.current, &self.voltage, &self.range] {
            column::<DoubleType, W>(&mut group, &optional.values, Some(&optional.levels))?;
        }
        column::<ByteArrayType, W>(&mut group, &self.mark.values, Some(&self.mark.levels))?;
        column::<ByteArrayType, W>(&mut group, &self.flags, None)?;
        column::<ByteArrayType, W>(&mut group, &self.phase, None)?;
        group.close()?;
        Ok(())
    }
}

fn column<T: parquet::data_type::DataType, W: std::io::Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: &[T::T],
    levels: Option<&[i16]>,
) -> Result<(), ExportError> {
    let Some(mut column) = group.next_column()? else { return Err(ExportError::Unfinished) };
    column.typed::<T>().write_batch(values, levels, None)?;
    column.close()?;
    Ok(())
}
