//! `station drivers`: what a station file can name.

use serde::Serialize;

use crate::cli::failure::Failure;
use crate::cli::table::table;
use crate::cli::{Exit, screen};
use crate::station::driver::{Driver, Found, all, user_folder};

/// Arguments of `station drivers`.
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// Print them as JSON
    #[arg(long)]
    json: bool,
}

/// A driver, as the list has it.
#[derive(Debug, Serialize)]
struct Listed {
    name: String,
    kind: Option<&'static str>,
    describes: String,
    can: String,
    /// The user's file, none for one that comes with the program.
    file: Option<String>,
    /// What is wrong with it.
    fault: Option<String>,
}

pub(super) fn run(arguments: &Arguments) -> Result<Exit, Failure> {
    let folder = user_folder();
    let listed: Vec<Listed> = all(folder.as_deref())?.iter().map(Listed::of).collect();
    let sound = listed.iter().all(|driver| driver.fault.is_none());
    if arguments.json {
        screen::tell_json(&listed);
    } else {
        screen::tell(&listing(&listed));
        if let Some(folder) = folder {
            screen::tell(&format!("your own go into {}\n", folder.display()));
        }
    }
    Ok(if sound { Exit::Within } else { Exit::Usage })
}

impl Listed {
    fn of(found: &Found) -> Self {
        let file = found.path.as_ref().map(|path| path.display().to_string());
        let name = found.name.clone();
        match Driver::read(found) {
            Ok(driver) => Self {
                name,
                kind: Some(driver.kind()),
                describes: driver.describes().to_owned(),
                can: driver.can(),
                file,
                fault: None,
            },
            Err(error) => Self {
                name,
                kind: None,
                describes: String::new(),
                can: String::new(),
                file,
                fault: Some(error.to_string()),
            },
        }
    }
}

fn listing(listed: &[Listed]) -> String {
    let rows: Vec<Vec<String>> = listed
        .iter()
        .map(|driver| {
            let says = driver.fault.as_ref().map_or_else(
                || format!("{}: {}", driver.describes, driver.can),
                |fault| format!("CAN'T BE USED: {fault}"),
            );
            let from = driver.file.as_ref().map_or("shipped", |_file| "yours");
            let kind = driver.kind.unwrap_or("?");
            vec![driver.name.clone(), kind.into(), from.into(), says]
        })
        .collect();
    table(&["driver", "kind", "from", "what it can do"], &rows)
}
