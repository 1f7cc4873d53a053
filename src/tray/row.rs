//! A tray's file as rows of cells, whatever its form.

use super::column::Column;

/// Where something stands in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The line, from 1.
    pub line: usize,
    /// The column, from 1: cells in CSV, characters in TOML.
    pub column: usize,
}

impl Place {
    /// The place of a byte of a text, in lines and characters.
    pub(super) fn of_byte(text: &str, byte: usize) -> Self {
        let before = text.get(..byte).unwrap_or(text);
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        Self {
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        }
    }
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "line {}, column {}", self.line, self.column)
    }
}

/// What a file says of one part.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// Where it begins.
    pub(super) at: Place,
    /// Its cells, blank ones too.
    pub(super) cells: Vec<Cell>,
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cell {
    pub(super) column: Column,
    pub(super) at: Place,
    text: String,
}

impl Cell {
    /// A cell; a spreadsheet's unbreakable blanks become plain ones.
    pub(super) fn new(column: Column, at: Place, text: &str) -> Self {
        let text = text.replace(['\u{a0}', '\u{202f}'], " ").trim().to_owned();
        Self { column, at, text }
    }
}

impl Row {
    /// What is written in a column, unless it is blank.
    pub(super) fn text(&self, column: Column) -> Option<&str> {
        let cell = self.cells.iter().find(|cell| cell.column == column)?;
        Some(cell.text.as_str()).filter(|text| !text.is_empty())
    }

    /// Where a column stands, or would stand.
    pub(super) fn place(&self, column: Column) -> Place {
        let cell = self.cells.iter().find(|cell| cell.column == column);
        cell.map_or(self.at, |cell| cell.at)
    }

    /// Whether nothing is written at all.
    pub(super) fn is_blank(&self) -> bool {
        self.cells.iter().all(|cell| cell.text.is_empty())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_counts_lines_and_characters_from_one() {
        let text = "µ = 1\nvalue = \"22µF\"\n";
        let at = text.find('F').unwrap();
        assert_eq!(Place::of_byte(text, at).to_string(), "line 2, column 13");
        assert_eq!(Place::of_byte(text, 0).to_string(), "line 1, column 1");
    }

    #[test]
    fn unbreakable_blanks_are_blanks() {
        let at = Place { line: 2, column: 1 };
        let cells = vec![Cell::new(Column::Value, at, "\u{a0}22\u{202f}µF ")];
        assert_eq!(Row { at, cells }.text(Column::Value), Some("22 µF"));
    }
}
