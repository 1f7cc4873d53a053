//! What a person asks for: part, limit, voltage, soak time; and the station it is asked of.

use std::path::PathBuf;

use super::failure::{Failure, chain};
use super::printed;
use crate::part::{Limit, Part};
use crate::plan::{Drawn, Until, Wish, draw_up};
use crate::quantity::{Time, read};
use crate::station::wiring::{self, Station};

/// The part and its limit.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct PartArguments {
    /// The part in words, in any order: C14 22µF 25V tantalum 10%
    #[arg(required = true, value_name = "PART")]
    part: Vec<String>,
    /// Its leakage limit, in place of its family's: the data sheet's line as printed, or
    /// "0.01CU floor 0.5uA @ 5min 25C"
    #[arg(long, value_name = "LINE")]
    limit: Option<String>,
}

/// How it is tested.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct WishArguments {
    #[command(flatten)]
    pub(crate) part: PartArguments,
    /// Test at this voltage, not at that of the limit
    #[arg(long, value_name = "VOLTAGE")]
    voltage: Option<String>,
    /// Soak for this time at full voltage, not for the limit's reading time
    #[arg(long, value_name = "TIME")]
    soak: Option<String>,
    /// What may end the soak: the reading time, or a reading that is safely within before it
    #[arg(long, value_name = "WHAT", default_value = Until::ReadingTime.tag(), value_parser = until)]
    until: Until,
    /// I have read the cautions for more than 60 V or 10 J in this part
    #[arg(long)]
    acknowledge: bool,
    #[command(flatten)]
    pub(crate) station: StationArgument,
}

/// Reads a word of [`Until`].
fn until(word: &str) -> Result<Until, String> {
    Until::from_tag(word).ok_or_else(|| {
        let words: Vec<&str> = Until::ALL.iter().map(|until| until.tag()).collect();
        format!("expected {}", words.join(" or "))
    })
}

/// The station.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct StationArgument {
    /// The station's file [default: station.toml in the user's reststrom configuration folder]
    #[arg(long, env = "RESTSTROM_STATION", value_name = "FILE")]
    station: Option<PathBuf>,
}

impl StationArgument {
    pub(crate) fn load(&self) -> Result<Station, Failure> {
        let path = match &self.station {
            Some(path) => path.clone(),
            None => default_station().ok_or_else(|| {
                Failure::usage("no station file is named", "name one with --station FILE")
            })?,
        };
        Ok(wiring::load(&path)?)
    }
}

/// `station.toml` in the XDG configuration folder.
fn default_station() -> Option<PathBuf> {
    let folder = std::env::var_os("XDG_CONFIG_HOME")
        .map(PathBuf::from)
        .or_else(|| std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".config")))?;
    Some(folder.join("reststrom").join("station.toml"))
}

impl PartArguments {
    pub(crate) fn part(&self) -> Result<Part, Failure> {
        let words = self.part.join(" ");
        Part::read(&words).map_err(|error| Failure::usage(chain(&error), error.help()))
    }

    /// The limit that was typed, else that of the part's family.
    pub(crate) fn limit(&self, part: &Part, soak: Option<Time>) -> Result<Limit, Failure> {
        match &self.limit {
            Some(text) => printed::limit(text, part, soak),
            None => part
                .default_limit()
                .map_err(|error| Failure::usage(error.to_string(), error.help())),
        }
    }
}

impl WishArguments {
    pub(crate) fn wish(&self) -> Result<Wish, Failure> {
        let part = self.part.part()?;
        let refused = |error: read::ReadError| Failure::usage(error.to_string(), error.help());
        let soak = self.soak.as_deref().map(read::time).transpose().map_err(refused)?;
        let limit = self.part.limit(&part, soak)?;
        Ok(Wish {
            limit,
            part,
            test_voltage: self
                .voltage
                .as_deref()
                .map(read::voltage)
                .transpose()
                .map_err(refused)?,
            soak,
            until: self.until,
            acknowledged: self.acknowledge,
        })
    }
}

/// Draws the plan of a wish, or says everything that is in its way.
pub(crate) fn drawn(wish: &Wish, station: &Station) -> Result<Drawn, Failure> {
    draw_up(wish, &station.bench).map_err(|refusals| {
        Failure::all(refusals.iter().map(|refusal| (refusal.to_string(), refusal.help())).collect())
    })
}
