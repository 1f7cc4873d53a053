//! Rows out of TOML: a `[[part]]` table for each part, a key for each column.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::column::Column;
use super::fault::{Fault, Wrong};
use super::row::{Cell, Place, Row};

/// The key of the list of parts.
const PART: &str = "part";

/// The rows of a text, and what is wrong with its form.
pub(super) fn rows(text: &str) -> (Vec<Row>, Vec<Fault>) {
    let (file, errors) = DeTable::parse_recoverable(text);
    let unreadable = errors.iter().map(|error| {
        let byte = error.span().map_or(0, |span| span.start);
        let why = Wrong::Unreadable { why: error.message().to_owned() };
        Fault::at(Place::of_byte(text, byte), None, why)
    });
    let mut faults: Vec<Fault> = unreadable.collect();
    // What stands after an error that the reader recovered from need not be what was meant.
    if !faults.is_empty() {
        return (Vec::new(), faults);
    }
    let mut rows = Vec::new();
    for (key, value) in file.get_ref() {
        if key.get_ref() == PART {
            rows.extend(parts(text, value, &mut faults));
        } else {
            let wrong = Wrong::UnknownKey { name: key.get_ref().to_string() };
            faults.push(Fault::at(Place::of_byte(text, key.span().start), None, wrong));
        }
    }
    if rows.is_empty() && faults.is_empty() {
        faults.push(Fault::at(Place { line: 1, column: 1 }, None, Wrong::Nothing));
    }
    (rows, faults)
}

fn parts(text: &str, value: &Spanned<DeValue<'_>>, faults: &mut Vec<Fault>) -> Vec<Row> {
    let Some(list) = value.get_ref().as_array() else {
        let place = Place::of_byte(text, value.span().start);
        faults.push(Fault::at(place, None, Wrong::NoList));
        return Vec::new();
    };
    list.iter().filter_map(|part| row(text, part, faults)).collect()
}

fn row(text: &str, part: &Spanned<DeValue<'_>>, faults: &mut Vec<Fault>) -> Option<Row> {
    let at = Place::of_byte(text, part.span().start);
    let Some(table) = part.get_ref().as_table() else {
        faults.push(Fault::at(at, None, Wrong::NoList));
        return None;
    };
    let mut cells: Vec<Cell> = Vec::new();
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|(key, _)| key.span().start);
    for (key, value) in entries {
        let at = Place::of_byte(text, key.span().start);
        match Column::read(key.get_ref()) {
            Ok(column) => match cells.iter().find(|cell| cell.column == column) {
                Some(first) => {
                    let first = first.at;
                    faults.push(Fault::at(at, Some(column), Wrong::ColumnTwice { first }));
                }
                None => match written(value.get_ref()) {
                    Ok(written) => {
                        let at = Place::of_byte(text, value.span().start);
                        cells.push(Cell::new(column, at, &written));
                    }
                    Err(wrong) => faults.push(Fault::at(at, Some(column), wrong)),
                },
            },
            Err(wrong) => faults.push(Fault::at(at, None, wrong)),
        }
    }
    Some(Row { at, cells })
}

/// The text of a value: a string, or a whole number such as that of a channel.
fn written(value: &DeValue<'_>) -> Result<String, Wrong> {
    match value {
        DeValue::String(text) => Ok(text.to_string()),
        DeValue::Integer(number) if number.radix() == 10 => Ok(number.as_str().to_owned()),
        DeValue::Integer(_)
        | DeValue::Float(_)
        | DeValue::Boolean(_)
        | DeValue::Datetime(_)
        | DeValue::Array(_)
        | DeValue::Table(_) => Err(Wrong::NotText { kind: value.type_str() }),
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[track_caller]
    fn fault(text: &str) -> String {
        let (_, faults) = rows(text);
        let [fault] = faults.as_slice() else { panic!("{faults:?}") };
        fault.to_string()
    }

    #[test]
    fn a_table_is_a_row_and_a_key_a_cell() {
        let text = "[[part]]\nposition = 7\nvalue = \"4,7 µF\"\n\n[[part]]\nvalue = \"1 µF\"\n";
        let (rows, faults) = rows(text);
        assert_eq!((faults, rows.len()), (vec![], 2));
        assert_eq!(rows[0].text(Column::Position), Some("7"));
        assert_eq!(rows[0].text(Column::Value), Some("4,7 µF"));
        assert_eq!(rows[0].place(Column::Value), Place { line: 3, column: 9 });
        assert_eq!(rows[1].at, Place { line: 5, column: 1 });
    }

    #[rstest]
    #[case::a_float(
        "[[part]]\nvalue = 4.7\n",
        "line 2, column 1 (value): expected text in quotes, came a float"
    )]
    #[case::an_unknown_key(
        "[[part]]\nvalu = \"1 µF\"\n",
        "line 2, column 1: expected a column that is known, came \"valu\""
    )]
    #[case::an_unknown_list(
        "[[parts]]\nvalue = \"1 µF\"\n",
        "line 1, column 3: expected [[part]] and nothing beside it, came \"parts\""
    )]
    #[case::no_list("part = 1\n", "line 1, column 8: expected a [[part]] table for each part")]
    #[case::nothing("# empty\n", "line 1, column 1: expected parts, came none")]
    #[case::twice_by_another_word(
        "[[part]]\nname = \"C1\"\npart = \"C2\"\n",
        "line 3, column 1 (designator): expected it once, came again after line 2, column 8"
    )]
    fn what_is_no_part_is_told_with_its_place(#[case] text: &str, #[case] said: &str) {
        assert_eq!(fault(text), said);
    }

    #[test]
    fn a_slip_of_the_form_is_told_where_it_stands() {
        assert!(fault("[[part]]\nvalue = \"1 µF\n").starts_with("line 2, column "));
    }
}
