//! A table of text: columns as wide as their widest cell.

/// Lays out rows under a head; the last column is not padded.
pub(crate) fn table(head: &[&str], rows: &[Vec<String>]) -> String {
    let mut widths: Vec<usize> = head.iter().map(|cell| cell.chars().count()).collect();
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let head: Vec<String> = head.iter().map(|cell| (*cell).to_owned()).collect();
    let mut text = line(&head, &widths);
    for row in rows {
        text.push_str(&line(row, &widths));
    }
    text
}

fn line(cells: &[String], widths: &[usize]) -> String {
    let mut text = String::new();
    for (index, (cell, width)) in cells.iter().zip(widths).enumerate() {
        let last = index + 1 == cells.len();
        let blanks = if last { 0 } else { width + 2 - cell.chars().count() };
        text.push_str(cell);
        text.push_str(&" ".repeat(blanks));
    }
    text.push('\n');
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_under_each_other() {
        let rows = [
            vec!["r1".into(), "0.1 µA".into(), "x".into()],
            vec!["r10".into(), "2 A".into(), "y".into()],
        ];
        assert_eq!(
            table(&["run", "µ", "note"], &rows),
            "run  µ       note\nr1   0.1 µA  x\nr10  2 A     y\n"
        );
    }
}
