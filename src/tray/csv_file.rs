//! Rows out of CSV as a spreadsheet exports it.
//!
//! The mark between cells is that which the head has most of, outside of quotes. Blank rows are
//! passed over; a row may be shorter than the head, never longer.

use csv::{ReaderBuilder, StringRecord};

use super::column::Column;
use super::fault::{Fault, Wrong};
use super::row::{Cell, Place, Row};

/// The columns of the head, each with the number of its cell.
type Head = Vec<(usize, Column)>;

/// The rows of a text, and what is wrong with its form.
pub(super) fn rows(text: &str) -> (Vec<Row>, Vec<Fault>) {
    let mut faults = Vec::new();
    let mut records = records(text, &mut faults).into_iter();
    let Some((line, first)) = records.next() else {
        let nothing = Fault::at(Place { line: 1, column: 1 }, None, Wrong::Nothing);
        return (Vec::new(), vec![nothing]);
    };
    let head = head(line, &first, &mut faults);
    let rows = records
        .inspect(|(line, record)| surplus(*line, record, first.len(), &mut faults))
        .map(|(line, record)| row(line, &record, &head))
        .filter(|row| !row.is_blank())
        .collect();
    (rows, faults)
}

/// The records that hold anything, each with its line.
fn records(text: &str, faults: &mut Vec<Fault>) -> Vec<(usize, StringRecord)> {
    let mut reader = ReaderBuilder::new()
        .delimiter(mark(text))
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut records = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => records.push((line_of(text, &record), record)),
            Err(error) => {
                let why = Wrong::Unreadable { why: error.to_string() };
                faults.push(Fault::at(Place { line: 1, column: 1 }, None, why));
            }
        }
    }
    records.retain(|(_, record)| record.iter().any(|cell| !cell.trim().is_empty()));
    faults.extend(open_quote(text, &records));
    records
}

/// The line on which a record begins, blank lines before it passed over.
fn line_of(text: &str, record: &StringRecord) -> usize {
    let byte = record.position().map_or(0, csv::Position::byte);
    let begin = usize::try_from(byte).unwrap_or_default();
    let blank = text[begin..].len() - text[begin..].trim_start_matches(['\r', '\n']).len();
    Place::of_byte(text, begin + blank).line
}

/// The mark that parts cells: the one that the head has most of.
fn mark(text: &str) -> u8 {
    let head = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let outside: String = head.split('"').step_by(2).collect();
    let count = |mark: u8| outside.bytes().filter(|byte| *byte == mark).count();
    [b',', b'\t', b';'].into_iter().max_by_key(|mark| count(*mark)).unwrap_or(b';')
}

/// A quote that nobody closes takes all that follows into one cell.
fn open_quote(text: &str, records: &[(usize, StringRecord)]) -> Option<Fault> {
    let odd = text.matches('"').count() % 2 == 1;
    let (line, last) = records.last()?;
    let number = last.iter().position(|cell| cell.contains('\n'))?;
    let place = Place { line: *line, column: number + 1 };
    odd.then(|| Fault::at(place, None, Wrong::OpenQuote))
}

fn head(line: usize, record: &StringRecord, faults: &mut Vec<Fault>) -> Head {
    let mut head = Head::new();
    for (index, name) in record.iter().enumerate().filter(|(_, name)| !name.trim().is_empty()) {
        let place = Place { line, column: index + 1 };
        match Column::read(name) {
            Ok(column) => match head.iter().find(|(_, known)| *known == column) {
                Some((first, _)) => {
                    let first = Place { line, column: first + 1 };
                    faults.push(Fault::at(place, Some(column), Wrong::ColumnTwice { first }));
                }
                None => head.push((index, column)),
            },
            Err(wrong) => faults.push(Fault::at(place, None, wrong)),
        }
    }
    let missing = Column::NEEDED.iter().filter(|needed| !head.iter().any(|(_, c)| c == *needed));
    let place = Place { line, column: record.len() + 1 };
    faults.extend(missing.map(|column| Fault::at(place, Some(*column), Wrong::NoColumn)));
    head
}

/// A row longer than the head: a decimal comma in a file parted by commas, most likely.
fn surplus(line: usize, record: &StringRecord, columns: usize, faults: &mut Vec<Fault>) {
    let cells: Vec<&str> = record.iter().collect();
    let filled = cells.iter().rposition(|cell| !cell.trim().is_empty()).map_or(0, |at| at + 1);
    if columns < filled {
        let place = Place { line, column: columns + 1 };
        faults.push(Fault::at(place, None, Wrong::Surplus { cells: filled, columns }));
    }
}

fn row(line: usize, record: &StringRecord, head: &Head) -> Row {
    let cell = |(index, column): &(usize, Column)| {
        let place = Place { line, column: index + 1 };
        Cell::new(*column, place, record.get(*index).unwrap_or_default())
    };
    Row { at: Place { line, column: 1 }, cells: head.iter().map(cell).collect() }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    fn texts(text: &str) -> Vec<(usize, Vec<String>)> {
        let (rows, faults) = rows(text);
        assert_eq!(faults, []);
        let texts = |row: &Row| {
            let cells = row.cells.iter().map(|cell| row.text(cell.column).unwrap_or_default());
            (row.at.line, cells.map(str::to_owned).collect())
        };
        rows.iter().map(texts).collect()
    }

    #[rstest]
    #[case::semicolons("family;value;rating\r\ntantal;4,7 µF;35 V\r\n")]
    #[case::tabs("family\tvalue\trating\ntantal\t4,7 µF\t35 V\n")]
    #[case::commas_and_quotes("family,value,rating\ntantal,\"4,7 µF\",35 V")]
    #[case::quotes_all_over("\"family\";\"value\";\"rating\"\n\"tantal\";\"4,7 µF\";\"35 V\"\n")]
    #[case::a_shorter_row_above_blanks("family;value;rating;note\ntantal;4,7 µF;35 V\n;;;\n\n")]
    fn the_mark_between_cells_is_found_in_the_head(#[case] text: &str) {
        let (line, cells) = texts(text).pop().unwrap();
        assert_eq!(
            (line, &cells[..3]),
            (2, ["tantal", "4,7 µF", "35 V"].map(String::from).as_slice())
        );
    }

    #[test]
    fn lines_are_those_of_the_file_after_blank_lines_and_broken_cells() {
        let text =
            "\r\nfamily;value;rating;note\r\n\r\na;b;c;\"two\r\nlines\"\r\n\r\n\r\nd;e;f;g\r\n";
        let lines: Vec<usize> = texts(text).iter().map(|(line, _)| *line).collect();
        assert_eq!(lines, [4, 8]);
    }

    #[test]
    fn a_quote_left_open_is_told_with_its_cell() {
        let text = "family;value;rating;note\na;b;c;\"a disk\nd;e;f;g\n";
        let (_, faults) = rows(text);
        assert_eq!(faults, [Fault::at(Place { line: 2, column: 4 }, None, Wrong::OpenQuote)]);
    }

    #[test]
    fn a_decimal_comma_among_commas_makes_a_row_too_long() {
        let (_, faults) = rows("family,value,rating\ntantal,4,7 µF,35 V\n");
        let surplus = Wrong::Surplus { cells: 4, columns: 3 };
        assert_eq!(faults, [Fault::at(Place { line: 2, column: 4 }, None, surplus)]);
    }
}
