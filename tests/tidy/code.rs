//! Rules of the code: floors, pure rooms, names, attributes.

use rstest::rstest;

use super::{Page, has_word, nothing_in, page, pages_in};

/// The floors, lowest first: a room knows the floors below it and none of its neighbours.
const FLOORS: [&[&str]; 6] = [
    &["words", "quantity"],
    &["part"],
    &["judge", "plan"],
    &["procedure", "station", "record", "tray"],
    &["daemon", "report"],
    &["cli"],
];
/// The simulated bench stands apart: it borrows quantities, and only commands know of it.
const APART: &str = "simbench";
/// Rooms, and single files of others, without clock, port, file, chance or store.
const PURE: [&str; 16] = [
    "src/words.rs",
    "src/quantity",
    "src/part",
    "src/judge",
    "src/plan",
    "src/procedure",
    "src/tray",
    "src/station/reply.rs",
    "src/station/picture.rs",
    "src/station/session.rs",
    "src/station/supply.rs",
    "src/station/meter",
    "src/station/stream",
    "src/station/scanner.rs",
    "src/station/interview.rs",
    "src/daemon/keeper/watch.rs",
];
const IMPURE: [&str; 14] = [
    "tokio",
    "std::io",
    "std::fs",
    "std::net",
    "std::env",
    "std::thread",
    "std::process",
    "Instant",
    "SystemTime",
    "rand",
    "rustix",
    "serde_json",
    "rusqlite",
    "std::{",
];
const VAGUE: [&str; 10] = [
    "util", "utils", "helper", "helpers", "common", "misc", "types", "manager", "managers", "stuff",
];

/// The text without comments: paths in them bind nobody.
fn without_comments(text: &str) -> String {
    let code = |line: &str| line.split("//").next().unwrap_or_default().to_owned() + "\n";
    text.lines().map(code).collect()
}

/// The code of a file that ships: no comments, and no test module at its end.
fn shipped(text: &str) -> String {
    let code = without_comments(text);
    let tests = code.match_indices("#[cfg(test)]").find(|(at, mark)| {
        let next = code[at + mark.len()..].trim_start().lines().next().unwrap_or_default();
        next.starts_with("mod ") && next.ends_with('{')
    });
    tests.map_or(code.clone(), |(at, _)| code[..at].to_owned())
}

/// Files that are only there for tests: declared under `#[cfg(test)]`, or below such a file.
fn is_test(path: &str, all: &[Page]) -> bool {
    all.iter().any(|parent| {
        let folder = parent.path.trim_end_matches(".rs");
        parent.text.split("#[cfg(test)]").skip(1).any(|after| {
            let name = after.trim_start().strip_prefix("mod ").and_then(|rest| {
                rest.lines().next().unwrap_or_default().trim_end().strip_suffix(';')
            });
            name.is_some_and(|name| {
                path == format!("{folder}/{name}.rs")
                    || path.starts_with(&format!("{folder}/{name}/"))
            })
        })
    })
}

/// The code that ships, without comments and tests.
fn house() -> Vec<Page> {
    let all = pages_in("src", &[".rs"]);
    assert!(all.len() > 50, "the walk found only {} files", all.len());
    all.iter()
        .filter(|page| !is_test(&page.path, &all))
        .map(|page| Page { path: page.path.clone(), text: shipped(&page.text) })
        .collect()
}

fn rust() -> Vec<Page> {
    ["src", "tests", "benches"].iter().flat_map(|folder| pages_in(folder, &[".rs"])).collect()
}

fn room_of(path: &str) -> &str {
    let inside = path.strip_prefix("src/").unwrap_or(path);
    inside.split(['/', '.']).next().unwrap_or_default()
}

fn floor_of(room: &str) -> Option<usize> {
    FLOORS.iter().position(|floor| floor.contains(&room))
}

fn may_know(from: &str, to: &str) -> bool {
    if from == to {
        return true;
    }
    match (from, to) {
        (APART, _) => floor_of(to) == Some(0),
        (_, APART) => from == "cli",
        _ => match (floor_of(from), floor_of(to)) {
            (Some(from), Some(to)) => to < from,
            (None, _) | (_, None) => false,
        },
    }
}

/// The rooms that a text names by `crate::`.
fn named_rooms(code: &str) -> impl Iterator<Item = String> {
    code.split("crate::").skip(1).map(|after| {
        after.chars().take_while(|letter| letter.is_alphanumeric() || *letter == '_').collect()
    })
}

fn climbs(page: &Page) -> Vec<String> {
    let (path, room) = (&page.path, room_of(&page.path));
    let climbs = |to: &String| !may_know(room, to);
    let mut complaints: Vec<String> = named_rooms(&page.text)
        .filter(climbs)
        .map(|to| format!("{path}: {room} must not know of `{to}`"))
        .collect();
    let to_the_root = "super::".repeat(path.matches('/').count());
    if page.text.contains(&to_the_root) {
        complaints.push(format!("{path}: names another room by `{to_the_root}`, not by `crate::`"));
    }
    complaints
}

fn impurities(page: &Page) -> Vec<String> {
    let found = IMPURE.iter().filter(|word| has_word(&page.text, word));
    found.map(|word| format!("{}: a pure room names `{word}`", page.path)).collect()
}

fn lies_in(path: &str, place: &str) -> bool {
    path == place || path == format!("{place}.rs") || path.starts_with(&format!("{place}/"))
}

fn headless(page: &Page) -> Option<String> {
    let headless = !page.text.starts_with("//! ");
    headless.then(|| format!("{}: opens without `//!`", page.path))
}

fn vague(page: &Page) -> Vec<String> {
    let parts = page.path.trim_end_matches(".rs").split('/');
    let inline = page.text.lines().filter_map(|line| {
        line.trim_start().trim_start_matches("pub ").strip_prefix("mod ")?.split([' ', ';']).next()
    });
    let found = parts.chain(inline).filter(|name| VAGUE.contains(name));
    found.map(|name| format!("{}: `{name}` says nothing", page.path)).collect()
}

/// Tests that do not run, code that is not there, lints that are silenced without a reason.
fn shirking(page: &Page) -> Vec<String> {
    let code = without_comments(&page.text);
    let tokens = [concat!("#[", "ignore"), concat!("todo", "!("), concat!("unimplemented", "!(")];
    let found = tokens.iter().filter(|token| code.contains(**token)).map(|token| (*token).into());
    let bare = code.split(concat!("[", "allow(")).skip(1).filter_map(|after| {
        let inside = after.split(")]").next().unwrap_or_default();
        (!inside.contains("reason")).then(|| format!("allow without a reason: {inside}"))
    });
    found.chain(bare).map(|what: String| format!("{}: {what}", page.path)).collect()
}

#[test]
fn imports_only_go_down() {
    let outside = ["src/lib.rs", "src/main.rs"];
    let rooms = house().into_iter().filter(|page| !outside.contains(&page.path.as_str()));
    nothing_in(&rooms.flat_map(|page| climbs(&page)).collect::<Vec<_>>());
}

#[test]
fn every_room_of_the_library_has_a_floor() {
    for line in page("src/lib.rs").text.lines().filter(|line| line.ends_with(';')) {
        let room = line.trim_end_matches(';').rsplit(' ').next().unwrap();
        assert!(room == APART || floor_of(room).is_some(), "{room} has no floor");
    }
}

#[rstest]
#[case::up("src/part/rule.rs", "use crate::plan::Plan;", true)]
#[case::across("src/judge/window.rs", "let x = crate::plan::Plan;", true)]
#[case::down("src/daemon/run.rs", "use crate::plan::Plan;", false)]
#[case::own_room("src/plan/phase.rs", "use crate::plan::Plan;", false)]
#[case::the_bench_borrows_a_model("src/simbench/part.rs", "use crate::judge::Verdict;", true)]
#[case::the_bench_borrows_a_unit("src/simbench/part.rs", "use crate::quantity::volts;", false)]
#[case::the_daemon_knows_a_bench("src/daemon/run.rs", "use crate::simbench::Bench;", true)]
#[case::a_room_nobody_knows("src/cli/plan.rs", "use crate::attic::Box;", true)]
#[case::a_bundle("src/cli/plan.rs", "use crate::{plan, part};", true)]
#[case::by_super("src/plan.rs", "use super::cli;", true)]
#[case::by_two_supers("src/plan/phase.rs", "use super::super::cli;", true)]
#[case::sibling("src/plan/phase.rs", "use super::told;", false)]
fn an_import_that_climbs_is_seen(#[case] path: &str, #[case] text: &str, #[case] seen: bool) {
    let page = Page { path: path.into(), text: shipped(text) };
    assert_eq!(!climbs(&page).is_empty(), seen);
}

#[test]
fn pure_rooms_stay_pure() {
    let house = house();
    for place in PURE {
        let pages: Vec<_> = house.iter().filter(|page| lies_in(&page.path, place)).collect();
        assert!(!pages.is_empty(), "{place} is gone");
        nothing_in(&pages.into_iter().flat_map(impurities).collect::<Vec<_>>());
    }
}

#[rstest]
#[case::a_crate("use tokio::sync::mpsc;", true)]
#[case::a_clock("let now = std::time::Instant::now();", true)]
#[case::a_longer_name("fn take(&self, at: Instants) {}", false)]
#[case::a_comment("// tokio has no business here", false)]
#[case::a_name_that_begins_like_it("let operand = random_walk;", false)]
#[case::in_tests("#[cfg(test)]\nmod tests {\n    use std::fs;\n}", false)]
#[case::after_a_test_file("#[cfg(test)]\nmod sample;\nuse std::fs;", true)]
fn an_impure_word_is_seen(#[case] text: &str, #[case] seen: bool) {
    let page = Page { path: "src/plan.rs".into(), text: shipped(text) };
    assert_eq!(!impurities(&page).is_empty(), seen);
}

#[test]
fn files_open_with_what_they_are_for() {
    nothing_in(&rust().iter().filter_map(headless).collect::<Vec<_>>());
    assert!(headless(&Page { path: "a.rs".into(), text: "use std::fs;\n".into() }).is_some());
}

#[test]
fn modules_are_named_for_things_of_the_bench() {
    nothing_in(&rust().iter().flat_map(vague).collect::<Vec<_>>());
    let bad = [("src/plan/utils.rs", ""), ("src/plan.rs", "mod helpers;"), ("src/types/a.rs", "")];
    for (path, text) in bad {
        assert!(!vague(&Page { path: path.into(), text: text.into() }).is_empty(), "{path}");
    }
}

#[test]
fn nothing_is_skipped_or_silenced() {
    nothing_in(&rust().iter().flat_map(shirking).collect::<Vec<_>>());
}

#[rstest]
#[case::a_skipped_test(concat!("#[", "ignore]\nfn a() {}"), true)]
#[case::a_hole(concat!("fn a() { todo", "!() }"), true)]
#[case::a_silenced_lint(concat!("#![", "allow(dead_code)]"), true)]
#[case::with_its_reason(concat!("#![", "allow(dead_code, reason = \"shared\")]"), false)]
#[case::a_function_of_that_name("fn ignore() {}", false)]
fn what_is_skipped_or_silenced_is_seen(#[case] text: &str, #[case] seen: bool) {
    let page = Page { path: "src/plan.rs".into(), text: text.into() };
    assert_eq!(!shirking(&page).is_empty(), seen);
}
