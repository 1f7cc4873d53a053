//! What a person asks for: part, limit, voltage, soak time; and the station it is asked of.

use std::path::{Path, PathBuf};

use super::RecordArgument;
use super::failure::Failure;
use crate::daemon::asked::{self, Asked};
use crate::daemon::with_zero;
use crate::plan::Until;
use crate::station::configuration_folder;
use crate::station::wiring::{self, Station};
use crate::tray::Terms;

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

/// The part, where and under what terms it is tested: the same for every kind of run.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct CommonArguments {
    #[command(flatten)]
    pub(crate) part: PartArguments,
    /// Test at this voltage, not at that of the limit
    #[arg(long, value_name = "VOLTAGE")]
    voltage: Option<String>,
    /// What the part does in its circuit, to be told what its leakage does there: "coupling into
    /// 470k", "timing 1M from 8V", "hold 10ms", "rail of battery 2000mAh", "decoupling", "string
    /// 100k"
    #[arg(long, value_name = "DUTY")]
    in_circuit: Option<String>,
    /// How warm it is at the part, such as 23C or "23C ±1K", in place of what the station file says
    #[arg(long, value_name = "TEMPERATURE")]
    room: Option<String>,
    /// How sure the verdict has to be, from 90% to 99.9%
    #[arg(long, value_name = "PERCENT", default_value = "95%")]
    confidence: String,
    /// I have read the cautions for more than 60 V or 10 J in this part
    #[arg(long)]
    acknowledge: bool,
    #[command(flatten)]
    pub(crate) station: StationArgument,
}

/// How a part is soaked.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct WishArguments {
    #[command(flatten)]
    pub(crate) common: CommonArguments,
    /// Soak for this time at full voltage, not for the limit's reading time
    #[arg(long, value_name = "TIME")]
    soak: Option<String>,
    /// What may end the soak: the reading time, or a reading that is safely within before it
    #[arg(long, value_name = "WHAT", default_value = Until::ReadingTime.tag(), value_parser = until)]
    until: Until,
}

/// What is asked of every part of a tray alike.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct TermsArguments {
    /// What may end a soak: the reading time, or a reading that is safely within before it
    #[arg(long, value_name = "WHAT", default_value = Until::ReadingTime.tag(), value_parser = until)]
    until: Until,
    /// How warm it is at the parts, such as 23C or "23C ±1K", in place of what the station file says
    #[arg(long, value_name = "TEMPERATURE")]
    room: Option<String>,
    /// How sure the verdicts have to be, from 90% to 99.9%
    #[arg(long, value_name = "PERCENT", default_value = "95%")]
    confidence: String,
    /// I have read the cautions for more than 60 V or 10 J in parts of this tray
    #[arg(long)]
    acknowledge: bool,
}

impl TermsArguments {
    pub(crate) fn terms(&self) -> Result<Terms, Failure> {
        Ok(Terms {
            until: self.until,
            acknowledged: self.acknowledge,
            confidence: asked::confidence(&self.confidence)?,
            room: self.room.as_deref().map(asked::room).transpose()?,
        })
    }
}

/// What it takes to begin a run and to tell of it.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct RunArguments {
    #[command(flatten)]
    pub(crate) record: RecordArgument,
    /// I have looked at the bench that the last run left locked out: output off, part empty
    #[arg(long)]
    pub(crate) unlock: bool,
    /// Print the result as JSON, not as a page
    #[arg(long)]
    pub(crate) json: bool,
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
        load_station(self.station.as_deref())
    }
}

impl StationArgument {
    /// The station with the zero of its fixture, if the record has one.
    pub(crate) fn load_with_zero(&self, record: &RecordArgument) -> Result<Station, Failure> {
        let station = self.load()?;
        if !record.path()?.exists() {
            return Ok(station);
        }
        Ok(with_zero(&station, &record.open_to_look()?)?)
    }
}

/// The station of a file, or of the user's own.
pub(crate) fn load_station(path: Option<&Path>) -> Result<Station, Failure> {
    let path = match path {
        Some(path) => path.to_owned(),
        None => default_station().ok_or_else(|| {
            Failure::usage("no station file is named", "name one with --station FILE")
        })?,
    };
    Ok(wiring::load(&path)?)
}

/// `station.toml` in the XDG configuration folder.
fn default_station() -> Option<PathBuf> {
    configuration_folder().map(|folder| folder.join("station.toml"))
}

impl WishArguments {
    /// What is asked for, in words.
    pub(crate) fn asked(&self) -> Asked {
        let until = Some(self.until.tag().to_owned());
        Asked { soak: self.soak.clone(), until, ..self.common.asked() }
    }

    /// What is not about the part itself: the same for all parts of a tray.
    pub(crate) fn terms(&self) -> Result<Terms, Failure> {
        Ok(Terms {
            until: self.until,
            acknowledged: self.common.acknowledge,
            confidence: asked::confidence(&self.common.confidence)?,
            room: self.common.room.as_deref().map(asked::room).transpose()?,
        })
    }
}

impl CommonArguments {
    /// An ordinary soak of the part under these terms, in words.
    pub(crate) fn asked(&self) -> Asked {
        Asked {
            part: self.part.part.join(" "),
            limit: self.part.limit.clone(),
            voltage: self.voltage.clone(),
            confidence: Some(self.confidence.clone()),
            room: self.room.clone(),
            in_circuit: self.in_circuit.clone(),
            acknowledge: self.acknowledge,
            ..Asked::default()
        }
    }
}
