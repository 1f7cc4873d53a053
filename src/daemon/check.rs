//! A look at a station with its output off: who answers, how fast, what is read.

mod trials;

use serde::Serialize;

use super::actor::Actor;
use super::run::exchange;
use crate::plan::{OutputState, RangeIndex, Sample};
use crate::quantity::{Current, Time, Voltage, amperes, seconds, text, volts};
use crate::record::InstrumentOnRecord;
use crate::station::wiring::Station;
use crate::station::{MeterSays, SupplySays};

/// How long the station is looked at, in host time.
const LOOK: f64 = 2.5; // s
/// An answer that takes more than this share of the deadline leaves none to spare.
const RESPONSE_SHARE: f64 = 0.5;
/// Readings per look that make a meter lively enough.
const LIVELY: usize = 3;

/// One point of the check.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Checked {
    /// What was looked at.
    pub what: &'static str,
    /// It is as it must be.
    pub good: bool,
    /// What was found.
    pub found: String,
    /// What to do if it is not good.
    pub remedy: &'static str,
}

/// What was heard during the look.
#[derive(Debug, Default)]
struct Heard {
    output: Option<OutputState>,
    terminals: Option<Voltage>,
    voltages: u32,
    currents: Vec<Current>,
    overloads: u32,
    range: Option<RangeIndex>,
    complaints: Vec<String>,
    troubles: Vec<String>,
    /// When the supply was last told something, and the longest time that an answer took.
    told: Option<Time>,
    slowest: Option<Time>,
}

/// Looks at an open station; orders the output off first and energises nothing.
pub(super) async fn check(
    actor: &mut Actor,
    station: &Station,
    instruments: &[InstrumentOnRecord],
) -> Vec<Checked> {
    let heard = look(actor).await;
    let mut checked: Vec<Checked> = instruments
        .iter()
        .map(|instrument| Checked {
            what: if instrument.role == "supply" { "supply identity" } else { "meter identity" },
            good: true,
            found: instrument.identity.clone(),
            remedy: "",
        })
        .collect();
    checked.extend(supply_points(&heard));
    checked.push(response(&heard, station));
    checked.push(trials::protections(actor, station, heard.output).await);
    checked.extend(meter_points(&heard, station));
    checked.extend(trials::ranges(actor, station).await);
    checked
}

async fn look(actor: &mut Actor) -> Heard {
    let mut heard = Heard::default();
    let bytes = actor.supply.cut_out(actor.clock.host());
    if let Some((link, bytes)) = actor.supply_link.as_mut().zip(bytes)
        && let Err(error) = link.cut_out(&bytes)
    {
        heard.troubles.push(format!("output-off could not be written: {error}"));
    }
    let end: Time = actor.clock.host() + seconds(LOOK);
    while actor.clock.host() < end {
        let now = actor.clock.host();
        let bytes = actor.supply.write(now);
        if bytes.is_some() {
            heard.told = Some(now);
        }
        let receive = |bytes: &[u8], now| actor.supply.receive(bytes, now);
        match exchange(&mut actor.supply_link, bytes, receive, &actor.clock).await {
            Ok(says) => {
                if !says.is_empty() {
                    heard.answered(actor.clock.host());
                }
                heard.take_supply(says);
            }
            Err(error) => return heard.in_trouble(format!("supply: {error}")),
        }
        heard.take_supply(actor.supply.pass(actor.clock.host()));
        let bytes = actor.meter.write(now);
        let receive = |bytes: &[u8], now| actor.meter.receive(bytes, now);
        match exchange(&mut actor.meter_link, bytes, receive, &actor.clock).await {
            Ok(says) => heard.take_meter(says),
            Err(error) => return heard.in_trouble(format!("meter: {error}")),
        }
        heard.take_meter(actor.meter.pass(actor.clock.host()));
    }
    heard
}

impl Heard {
    fn in_trouble(mut self, what: String) -> Self {
        self.troubles.push(what);
        self
    }

    fn answered(&mut self, now: Time) {
        let Some(told) = self.told.take() else { return };
        self.slowest = Some(self.slowest.map_or(now - told, |slowest| slowest.max(now - told)));
    }

    fn take_supply(&mut self, says: Vec<SupplySays>) {
        for said in says {
            match said {
                SupplySays::Output(state) => self.output = Some(state),
                SupplySays::Voltage(Sample::Value(voltage)) => {
                    self.terminals = Some(voltage);
                    self.voltages += 1;
                }
                SupplySays::Complains(text) => self.complaints.push(text),
                SupplySays::Refused(what)
                | SupplySays::Disturbed(what)
                | SupplySays::Lost(what) => self.troubles.push(what),
                SupplySays::Voltage(_) | SupplySays::Identity(_) | SupplySays::Armed => {}
            }
        }
    }

    fn take_meter(&mut self, says: Vec<MeterSays>) {
        for said in says {
            match said {
                MeterSays::Current(Sample::Value(current), range) => {
                    self.currents.push(current);
                    self.range = Some(range);
                }
                MeterSays::Current(_, range) => {
                    self.overloads += 1;
                    self.range = Some(range);
                }
                MeterSays::Complains(text) => self.complaints.push(text),
                MeterSays::Disturbed(what) | MeterSays::Lost(what) => self.troubles.push(what),
                MeterSays::Identity(_) => {}
            }
        }
    }
}

fn supply_points(heard: &Heard) -> Vec<Checked> {
    let empty = heard.terminals.is_some_and(|voltage| voltage.abs() < volts(1.0));
    vec![
        Checked {
            what: "output",
            good: heard.output == Some(OutputState::Off),
            found: heard
                .output
                .map_or("no answer".into(), |state| format!("{state:?}").to_lowercase()),
            remedy: "switch the output off at the supply; check its words in the driver file",
        },
        Checked {
            what: "terminals",
            good: empty,
            found: heard.terminals.map_or("no reading".into(), text::voltage),
            remedy: "discharge what is clipped in, or find the foreign voltage",
        },
        Checked {
            what: "supply pace",
            good: 3 <= heard.voltages,
            found: format!("{:.1} voltage readings per second", f64::from(heard.voltages) / LOOK),
            remedy: "check baud rate and gap in the driver file",
        },
        Checked {
            what: "error queues",
            good: heard.complaints.is_empty(),
            found: if heard.complaints.is_empty() {
                "empty".into()
            } else {
                format!("left over: {}", heard.complaints.join("; "))
            },
            remedy: "read it once more: errors from before are cleared by being read",
        },
        Checked {
            what: "conversation",
            good: heard.troubles.is_empty(),
            found: if heard.troubles.is_empty() {
                "in step".into()
            } else {
                heard.troubles.join("; ")
            },
            remedy: "check cable and line settings; see the driver file",
        },
    ]
}

/// How long the supply takes to answer, against what its driver allows.
fn response(heard: &Heard, station: &Station) -> Checked {
    let allowed = station.supply.driver.line.deadline;
    let good = heard.slowest.is_some_and(|slowest| slowest < allowed * RESPONSE_SHARE);
    let found = heard.slowest.map_or("no answer".into(), |slowest| {
        let slowest = seconds((slowest.value * 1e3).ceil() / 1e3);
        format!("{} at most, {} allowed", text::time(slowest), text::time(allowed))
    });
    let remedy = "set `deadline` in the driver file, or under [supply.line], to three times this";
    Checked { what: "response", good, found, remedy }
}

fn meter_points(heard: &Heard, station: &Station) -> Vec<Checked> {
    let count = u32::try_from(heard.currents.len()).unwrap_or(u32::MAX);
    let mean = heard.currents.iter().copied().sum::<Current>() / f64::from(count.max(1));
    let range = heard.range.and_then(|range| station.bench.meter.ranges.get(usize::from(range.0)));
    let allowed = range.map_or(amperes(0.0), |range| range.accuracy.fixed * 2.0);
    vec![
        Checked {
            what: "meter pace",
            good: LIVELY <= heard.currents.len(),
            found: format!("{:.1} readings per second", f64::from(count) / LOOK),
            remedy: "check integration time and line settings in the driver file",
        },
        Checked {
            what: "meter zero",
            good: 0 < count && heard.overloads == 0 && mean.abs() <= allowed,
            found: format!("{} on the range in use", text::current(mean)),
            remedy: "discharge what is clipped in; check leads and the meter's relative mode",
        },
    ]
}
