//! What a person asks for: part, limit, voltage, soak time; and the station it is asked of.

use std::path::PathBuf;

use super::failure::{Failure, chain};
use super::{RecordArgument, printed};
use crate::part::{Duty, Limit, Part, Room};
use crate::plan::{Drawn, Refusal, TakenZero, Until, Wish, Zero, draw_up};
use crate::quantity::{Confidence, Time, read, seconds};
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
            confidence: confidence(&self.confidence)?,
            room: room(self.room.as_deref())?,
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
        let path = match &self.station {
            Some(path) => path.clone(),
            None => default_station().ok_or_else(|| {
                Failure::usage("no station file is named", "name one with --station FILE")
            })?,
        };
        Ok(wiring::load(&path)?)
    }
}

impl StationArgument {
    /// The station with the zero of its fixture, if the record has one.
    pub(crate) fn load_with_zero(&self, record: &RecordArgument) -> Result<Station, Failure> {
        let mut station = self.load()?;
        if record.path()?.exists() {
            let zero = record.open_to_look()?.latest_zero(&station.name)?;
            station.bench.zero = zero.as_ref().map(taken);
        }
        Ok(station)
    }
}

/// A zero on record, with its age.
fn taken(zero: &crate::record::Zero) -> TakenZero {
    let age = jiff::Timestamp::now().duration_since(zero.taken).as_secs_f64();
    TakenZero {
        zero: Zero {
            current: zero.current,
            uncertainty: zero.uncertainty / Confidence::USUAL.coverage(),
        },
        voltage: zero.voltage,
        // One from the future says that a clock was set: how old it is, nobody knows.
        age: if age < 0.0 { seconds(f64::INFINITY) } else { seconds(age) },
    }
}

/// `station.toml` in the XDG configuration folder.
fn default_station() -> Option<PathBuf> {
    configuration_folder().map(|folder| folder.join("station.toml"))
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
        let soak = self.soak.as_deref().map(time).transpose()?;
        Ok(Wish { soak, until: self.until, ..self.common.wish(soak)? })
    }

    /// What is not about the part itself: the same for all parts of a tray.
    pub(crate) fn terms(&self) -> Result<Terms, Failure> {
        Ok(Terms {
            until: self.until,
            acknowledged: self.common.acknowledge,
            confidence: confidence(&self.common.confidence)?,
            room: room(self.common.room.as_deref())?,
        })
    }
}

impl CommonArguments {
    /// An ordinary soak of the part under these terms; of several limits that for a `soak` so long.
    pub(crate) fn wish(&self, soak: Option<Time>) -> Result<Wish, Failure> {
        let part = self.part.part()?;
        let refused = |error: read::ReadError| Failure::usage(error.to_string(), error.help());
        let voltage = self.voltage.as_deref().map(read::voltage).transpose().map_err(refused)?;
        let duty = self.in_circuit.as_deref().map(Duty::read).transpose();
        let limit = self.part.limit(&part, soak)?;
        Ok(Wish {
            test_voltage: voltage,
            acknowledged: self.acknowledge,
            confidence: confidence(&self.confidence)?,
            room: room(self.room.as_deref())?,
            duty: duty.map_err(|error| Failure::usage(error.to_string(), error.help()))?,
            ..Wish::of(part, limit)
        })
    }
}

fn confidence(word: &str) -> Result<Confidence, Failure> {
    Confidence::read(word).map_err(|error| Failure::usage(error.to_string(), error.help()))
}

fn room(words: Option<&str>) -> Result<Option<Room>, Failure> {
    let room = words.map(Room::read).transpose();
    room.map_err(|error| Failure::usage(error.to_string(), error.help()))
}

/// Reads a time that was typed.
pub(crate) fn time(word: &str) -> Result<Time, Failure> {
    read::time(word).map_err(|error| Failure::usage(error.to_string(), error.help()))
}

/// Draws the plan of a wish, or says everything that is in its way.
pub(crate) fn drawn(wish: &Wish, station: &Station) -> Result<Drawn, Failure> {
    draw_up(wish, &station.bench).map_err(refused)
}

/// Everything that is in the way of a plan, as one failure.
#[expect(clippy::needless_pass_by_value, reason = "what `map_err` gives away")]
pub(crate) fn refused(refusals: Vec<Refusal>) -> Failure {
    Failure::all(refusals.iter().map(|refusal| (refusal.to_string(), refusal.help())).collect())
}
