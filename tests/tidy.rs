//! Holds the house to its own rules: what `DEVELOPERS.md` promises of the code, and what the pages
//! promise to their readers.
//!
//! Each rule is a function from text to complaints. One test asks it of the whole tree, another
//! shows it something bad: a rule that cannot complain holds nothing.

#[path = "tidy/code.rs"]
mod code;
#[path = "tidy/pages.rs"]
mod pages;

use std::fs;
use std::path::{Path, PathBuf};

/// A file of the project: its path from the root, with `/`, and its text.
struct Page {
    path: String,
    text: String,
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn page(path: &str) -> Page {
    let text = fs::read_to_string(root().join(path)).unwrap_or_else(|e| panic!("{path}: {e}"));
    Page { path: path.to_owned(), text }
}

/// All files below `folder` with one of these endings, in order; none if there is no such folder.
fn pages_in(folder: &str, endings: &[&str]) -> Vec<Page> {
    let mut paths = Vec::new();
    collect(&root().join(folder), &mut paths);
    paths.sort();
    let relative =
        |path: &PathBuf| path.strip_prefix(root()).expect("below the root").display().to_string();
    let wanted = |path: &String| endings.iter().any(|ending| path.ends_with(ending));
    paths.iter().map(relative).filter(wanted).map(|path| page(&path)).collect()
}

fn collect(folder: &Path, paths: &mut Vec<PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.map(|entry| entry.expect("a readable folder").path()) {
        let name = entry.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let foreign = matches!(name.as_str(), "target" | ".git") || name.starts_with("reststrom-");
        if entry.is_dir() && !foreign {
            collect(&entry, paths);
        } else if entry.is_file() {
            paths.push(entry);
        }
    }
}

#[track_caller]
fn nothing_in(complaints: &[String]) {
    assert!(complaints.is_empty(), "\n{}", complaints.join("\n"));
}

/// Whether `word` stands in `text` with nothing of a name on either side.
fn has_word(text: &str, word: &str) -> bool {
    let of_name = |letter: char| letter.is_alphanumeric() || letter == '_';
    text.match_indices(word).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        let after = text[at + word.len()..].chars().next();
        !before.is_some_and(of_name) && !after.is_some_and(of_name)
    })
}
