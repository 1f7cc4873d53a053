//! The columns of a tray's file, and the words for them.

use super::fault::Wrong;
use crate::words::words;

words! {
    /// A column of a CSV file, a key of a TOML file.
    Column {
        /// Place on the tray; the number of the part where the file has none.
        Position = "position",
        /// Place on the board: `C14`.
        Designator = "designator",
        /// What it is made of.
        Family = "family",
        /// Printed capacitance.
        Value = "value",
        /// Tolerance of its capacitance.
        Tolerance = "tolerance",
        /// Printed voltage.
        Rating = "rating",
        /// Leakage limit, as a sheet prints it or in the written form.
        Limit = "limit",
        /// Voltage to test at.
        TestVoltage = "test voltage",
        /// When the limit is read, where the limit itself does not say so.
        ReadingTime = "reading time",
        /// Length of the soak.
        Soak = "soak",
        /// Channel of the scanner.
        Channel = "channel",
        /// Where it sits in its circuit.
        InCircuit = "in-circuit",
        /// Whatever else is said of it.
        Note = "note",
    }
}

/// Other words for a column, as they are after [`plain`].
const SYNONYMS: &[(&str, Column)] = &[
    ("pos", Column::Position),
    ("place", Column::Position),
    ("part", Column::Designator),
    ("name", Column::Designator),
    ("ref", Column::Designator),
    ("reference", Column::Designator),
    ("type", Column::Family),
    ("kind", Column::Family),
    ("capacitance", Column::Value),
    ("tol", Column::Tolerance),
    ("rated", Column::Rating),
    ("rated voltage", Column::Rating),
    ("leakage", Column::Limit),
    ("leakage limit", Column::Limit),
    ("test at", Column::TestVoltage),
    ("read at", Column::ReadingTime),
    ("soak time", Column::Soak),
    ("scanner channel", Column::Channel),
    ("circuit", Column::InCircuit),
    ("notes", Column::Note),
    ("remark", Column::Note),
    ("remarks", Column::Note),
    ("comment", Column::Note),
];

/// Words that may mean either of two columns.
const DOUBTFUL: &[(&str, [Column; 2])] = &[
    ("voltage", [Column::Rating, Column::TestVoltage]),
    ("time", [Column::ReadingTime, Column::Soak]),
];

impl Column {
    /// Columns that no file can do without.
    pub(super) const NEEDED: [Self; 3] = [Self::Family, Self::Value, Self::Rating];

    /// Reads the name of a column in any case, its words apart by blank, hyphen or underscore.
    pub(super) fn read(name: &str) -> Result<Self, Wrong> {
        let plain_name = plain(name);
        let by_tag = Self::ALL.iter().find(|column| plain(column.tag()) == plain_name);
        let by_synonym = || SYNONYMS.iter().find(|(word, _)| *word == plain_name);
        if let Some(column) = by_tag.copied().or_else(|| by_synonym().map(|(_, column)| *column)) {
            return Ok(column);
        }
        let name = name.trim().to_owned();
        Err(match DOUBTFUL.iter().find(|(word, _)| *word == plain_name) {
            Some((_, may_be)) => Wrong::DoubtfulColumn { name, may_be: *may_be },
            None => Wrong::UnknownColumn { name },
        })
    }
}

/// In lower case, words parted by one blank.
fn plain(name: &str) -> String {
    let blanks = name.to_lowercase().replace(['-', '_', '\u{a0}'], " ");
    blanks.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::as_it_is("test voltage", Column::TestVoltage)]
    #[case::as_a_key("test_voltage", Column::TestVoltage)]
    #[case::as_a_title("  Test  Voltage ", Column::TestVoltage)]
    #[case::with_a_hyphen("in-circuit", Column::InCircuit)]
    #[case::without_it("In circuit", Column::InCircuit)]
    #[case::by_another_word("Part", Column::Designator)]
    fn a_column_goes_by_its_name_however_it_is_set(#[case] name: &str, #[case] column: Column) {
        assert_eq!(Column::read(name), Ok(column));
    }

    #[test]
    fn every_word_names_one_column_only() {
        let tags = Column::ALL.iter().map(|column| plain(column.tag()));
        let mut words: Vec<String> = tags.collect();
        words.extend(SYNONYMS.iter().map(|(word, _)| (*word).to_owned()));
        words.extend(DOUBTFUL.iter().map(|(word, _)| (*word).to_owned()));
        let all = words.len();
        words.sort();
        words.dedup();
        assert_eq!(words.len(), all);
        assert!(words.iter().all(|word| *word == plain(word)));
    }

    #[test]
    fn a_voltage_may_be_that_of_the_part_or_that_of_the_test() {
        let may_be = [Column::Rating, Column::TestVoltage];
        let doubt = Wrong::DoubtfulColumn { name: "Voltage".into(), may_be };
        assert_eq!(Column::read("Voltage"), Err(doubt));
    }
}
