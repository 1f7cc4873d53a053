//! Rules of the pages: what they name exists, and what exists is named.

use std::path::Path;
use std::process::Command;

use reststrom::judge::{Finding, Left, Verdict};
use reststrom::plan::Phase;
use reststrom::station::driver::{SHIPPED, read_meter, read_scanner, read_supply};
use rstest::rstest;

use super::{Page, has_word, nothing_in, page, pages_in, root};

const PAGES: [&str; 5] = ["README.md", "SAFETY.md", "DEVELOPERS.md", "HANDBOOK.md", "CHANGELOG.md"];
/// How a path of the project begins.
const FOLDERS: [&str; 6] = ["src/", "tests/", "drivers/", "fixtures/", "benches/", ".ci/"];

/// What stands between single backticks, and what links lead to.
fn named(text: &str) -> Vec<String> {
    let prose: Vec<&str> = text.split("```").step_by(2).collect();
    let prose = prose.join("\n");
    let ticked = prose.split('`').skip(1).step_by(2).map(str::to_owned);
    let linked = prose.split("](").skip(1).filter_map(|after| after.split(')').next());
    let linked = linked.map(|link| link.split('#').next().unwrap_or_default().to_owned());
    ticked.chain(linked).collect()
}

fn is_path(name: &str) -> bool {
    let is_page = Path::new(name).extension().is_some_and(|ending| ending == "md");
    let top = !name.contains('/') && (is_page || name.starts_with("LICENSE-"));
    let plain = !name.contains([' ', '*', '<', '{']);
    plain && (top || FOLDERS.iter().any(|folder| name.starts_with(folder)))
}

fn dead_paths(page: &Page) -> Vec<String> {
    let dead = |name: &String| is_path(name) && !root().join(name).exists();
    let dead = named(&page.text).into_iter().filter(dead);
    dead.map(|name| format!("{}: there is no `{name}`", page.path)).collect()
}

/// The commands in the fenced blocks of a text, one a line.
fn commands(text: &str) -> Vec<String> {
    let fenced = text.split("```").skip(1).step_by(2);
    let lines = fenced.flat_map(|block| block.lines().skip(1));
    lines.map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

/// The commands above the first heading of the second order.
fn first_commands(readme: &str) -> Vec<String> {
    commands(readme.split("\n## ").next().unwrap_or_default())
}

/// The sections of the handbook that a text cites: `handbook §4.4`.
fn cited(text: &str) -> impl Iterator<Item = &str> {
    text.split("andbook §").skip(1).map(|after| {
        let end = after.find(|letter: char| !letter.is_ascii_digit() && letter != '.');
        after[..end.unwrap_or(after.len())].trim_end_matches('.')
    })
}

fn has_section(handbook: &str, number: &str) -> bool {
    handbook.lines().filter(|line| line.starts_with('#')).any(|line| {
        let heading = line.trim_start_matches('#').trim_start();
        heading.split(' ').next().unwrap_or_default().trim_end_matches('.') == number
    })
}

/// The commands that `--help` lists.
fn helped(arguments: &[&str]) -> Vec<String> {
    let mut program = Command::new(env!("CARGO_BIN_EXE_reststrom"));
    let output = program.args(arguments).arg("--help").output().expect("the program runs");
    let help = String::from_utf8(output.stdout).expect("UTF-8");
    let listed = help.split("Commands:\n").nth(1).expect("a list of commands");
    let lines = listed.lines().take_while(|line| !line.is_empty());
    let names = lines.filter_map(|line| line.strip_prefix("  ")?.split(' ').next());
    names.filter(|name| !name.is_empty() && *name != "help").map(str::to_owned).collect()
}

#[test]
fn paths_in_the_pages_exist() {
    let pages = PAGES.map(page);
    let paths = pages.iter().flat_map(|page| named(&page.text)).filter(|name| is_path(name));
    assert!(20 < paths.count(), "the pages name hardly any path");
    nothing_in(&pages.iter().flat_map(dead_paths).collect::<Vec<_>>());
}

#[rstest]
#[case::dead("see `src/attic.rs`", true)]
#[case::dead_page("see `LICENCE.md`", true)]
#[case::dead_link("see [here](src/attic.rs#top)", true)]
#[case::alive("see `src/lib.rs`", false)]
#[case::a_file_of_the_reader("writes `summary.txt`", false)]
#[case::a_block("```\nsrc/attic.rs `src/attic.rs`\n```", false)]
fn a_path_that_leads_nowhere_is_seen(#[case] text: &str, #[case] seen: bool) {
    let page = Page { path: "README.md".into(), text: text.into() };
    assert_eq!(!dead_paths(&page).is_empty(), seen);
}

#[test]
fn the_two_first_commands_of_the_readme_are_run_by_ci() {
    let commands = first_commands(&page("README.md").text);
    assert_eq!(commands, ["cargo run -- demo", "cargo test"]);
    let ci = page(".ci/run").text;
    for command in commands {
        assert!(ci.lines().any(|line| line == command), ".ci/run does not run `{command}`");
    }
}

#[test]
fn a_third_command_near_the_top_would_be_seen() {
    let readme = "Job.\n\n```sh\na b\n```\n\n```sh\nc\nd\n```\n\n## More\n\n```sh\ne\n```\n";
    assert_eq!(first_commands(readme), ["a b", "c", "d"]);
}

#[test]
fn every_command_is_in_the_readme() {
    let readme = page("README.md").text;
    let mut commands = helped(&[]);
    assert!(8 < commands.len() && commands.contains(&"soak".to_owned()), "{commands:?}");
    commands.extend(helped(&["station"]).iter().map(|name| format!("station {name}")));
    for name in commands {
        let told = [format!("reststrom {name}"), format!("-- {name}")];
        assert!(told.iter().any(|told| has_word(&readme, told)), "README.md: no `{name}`");
    }
}

#[test]
fn every_word_of_a_result_is_in_the_readme() {
    let readme = page("README.md").text;
    let mut words: Vec<&str> = Verdict::ALL.iter().map(|word| word.tag()).collect();
    words.extend(Finding::ALL.iter().map(|word| word.tag()));
    words.extend(Left::ALL.iter().map(|word| word.tag()));
    words.extend(Phase::ALL.iter().map(|word| word.tag()));
    for word in words {
        assert!(readme.contains(&format!("`{word}`")), "README.md does not explain `{word}`");
    }
}

#[test]
fn cited_sections_of_the_handbook_exist() {
    let handbook = page("HANDBOOK.md").text;
    let folders = ["src", "tests", "benches", "drivers", "fixtures"];
    let mut pages: Vec<Page> =
        folders.iter().flat_map(|folder| pages_in(folder, &[".rs", ".toml"])).collect();
    pages.extend(PAGES.map(page));
    pages.retain(|page| page.path != "tests/tidy/pages.rs");
    assert!(50 < pages.iter().flat_map(|page| cited(&page.text)).count());
    for page in pages {
        for number in cited(&page.text) {
            assert!(has_section(&handbook, number), "{}: no handbook §{number}", page.path);
        }
    }
}

#[test]
fn a_section_that_is_not_there_is_seen() {
    assert_eq!(cited("(handbook §4.4: 5 V), Handbook §7.").collect::<Vec<_>>(), ["4.4", "7"]);
    let handbook = "# Handbook\n\n## 4. Sequence\n\n### 4.4 Discharge\n";
    assert!(has_section(handbook, "4") && has_section(handbook, "4.4"));
    assert!(!has_section(handbook, "4.5") && !has_section(handbook, "44"));
}

#[test]
fn every_driver_file_loads_and_ships() {
    let files = pages_in("drivers", &[".toml"]);
    let stem = |page: &Page| page.path["drivers/".len()..].trim_end_matches(".toml").to_owned();
    let mut on_disk: Vec<(String, String)> =
        files.iter().map(|page| (stem(page), page.text.clone())).collect();
    let mut shipped: Vec<(String, String)> =
        SHIPPED.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
    on_disk.sort();
    shipped.sort();
    assert_eq!(on_disk, shipped, "drivers/ and SHIPPED in src/station/driver.rs differ");
    for page in files {
        loads(&page).unwrap_or_else(|why| panic!("{why}"));
    }
}

fn loads(driver: &Page) -> Result<(), String> {
    let table: toml::Table = driver.text.parse().map_err(|error| format!("{error}"))?;
    let read = match table.get("kind").and_then(toml::Value::as_str) {
        Some("supply") => read_supply(&driver.path, &driver.text).map(|_| ()),
        Some("meter") => read_meter(&driver.path, &driver.text).map(|_| ()),
        Some("scanner") => read_scanner(&driver.path, &driver.text).map(|_| ()),
        other => return Err(format!("{}: nobody reads the kind {other:?}", driver.path)),
    };
    read.map_err(|error| error.to_string())
}

#[test]
fn a_driver_that_does_not_load_is_seen() {
    let good = page("drivers/scpi-supply.toml");
    assert_eq!(loads(&good), Ok(()));
    for (from, to) in [("output_off", "output_of"), ("\"supply\"", "\"lamp\"")] {
        let text = good.text.replacen(from, to, 1);
        assert!(loads(&Page { path: good.path.clone(), text }).is_err(), "{to}");
    }
}

/// Places of one machine, which mean nothing on another.
fn places(page: &Page) -> Vec<String> {
    let places = ["work", "root"].map(|name| format!("/{name}/"));
    let found = places.iter().filter(|place| page.text.contains(place.as_str()));
    found.map(|place| format!("{}: names a place of one machine, {place}", page.path)).collect()
}

#[test]
fn no_file_names_a_place_of_one_machine() {
    let endings = [".rs", ".md", ".toml", ".csv", ".sql", ".svg", ".lock", "/run"];
    let pages = pages_in("", &endings);
    assert!(pages.iter().any(|page| page.path == ".ci/run"));
    nothing_in(&pages.iter().flat_map(places).collect::<Vec<_>>());
    let bad = Page { path: "README.md".into(), text: format!("see /{}/bench", "root") };
    assert_eq!(places(&bad).len(), 1);
}
