//! Points of the check that set something, with the output proven off and left off: protections and
//! limits taken and read back, ranges taken and read back.

use super::Checked;
use crate::daemon::actor::Actor;
use crate::daemon::run::exchange;
use crate::plan::{OutputState, RangeIndex};
use crate::quantity::{Current, Time, Voltage, seconds, text, volts};
use crate::station::driver::MeterTalk;
use crate::station::wiring::Station;
use crate::station::{MeterSays, Settings, SupplySays};

/// Deadlines that a group of settings and its read-back may take.
const GROUP_DEADLINES: f64 = 8.0;
/// Deadlines that a range may take until it is read back and read on.
const RANGE_DEADLINES: f64 = 3.0;
/// The settings tried: protection just above the voltage that may be touched, and this share of the
/// highest current.
const SHARE_OF_CURRENT: f64 = 0.1;

/// Tries whether limits and protections are taken.
pub(super) async fn protections(
    actor: &mut Actor,
    station: &Station,
    output: Option<OutputState>,
) -> Checked {
    let point = |good, found| Checked {
        what: "protections",
        good,
        found,
        remedy: "check the words and the steps in the driver file against the manual; a protection \
                 that can't be read back can't be relied on",
    };
    if output != Some(OutputState::Off) {
        return point(false, "not tried: the output is not proven off".into());
    }
    let settings = harmless(station);
    actor.supply.arm(settings);
    let patience = station.supply.driver.line.deadline * GROUP_DEADLINES;
    let found = armed(actor, patience).await;
    // Nothing that was set is left to be relied on.
    let off = actor.supply.cut_out(actor.clock.host());
    let written = match (&mut actor.supply_link, off) {
        (Some(link), Some(bytes)) => link.cut_out(&bytes).map_err(|error| error.to_string()),
        (Some(_), None) => Ok(()),
        (None, _) => Err("its line is gone".into()),
    };
    match found.and(written) {
        Ok(()) => point(
            true,
            format!(
                "{} over-voltage, {} limit, {} over-current: taken and read back",
                text::voltage(settings.over_voltage),
                text::current(settings.current_limit),
                text::current(settings.over_current)
            ),
        ),
        Err(why) => point(false, why),
    }
}

/// Settings that any supply here takes, whole steps of its own.
fn harmless(station: &Station) -> Settings {
    let supply = &station.bench.supply;
    let volt = |value: Voltage| supply.voltage_step * (value / supply.voltage_step).value.round();
    let ampere =
        |value: Current| supply.current_step * (value / supply.current_step).value.floor().max(1.0);
    let current_limit = ampere(supply.most_current * SHARE_OF_CURRENT);
    Settings {
        current_limit,
        over_voltage: volt(volts(6.0).min(supply.most_voltage)),
        over_current: ampere(current_limit * 2.0),
    }
}

async fn armed(actor: &mut Actor, patience: Time) -> Result<(), String> {
    let end = actor.clock.host() + patience;
    while actor.clock.host() < end {
        let bytes = actor.supply.write(actor.clock.host());
        let receive = |bytes: &[u8], now| actor.supply.receive(bytes, now);
        let heard = exchange(&mut actor.supply_link, bytes, receive, &actor.clock).await;
        let late = actor.supply.pass(actor.clock.host());
        for said in heard.map_err(|error| error.to_string())?.into_iter().chain(late) {
            match said {
                SupplySays::Armed => return Ok(()),
                SupplySays::Refused(what)
                | SupplySays::Disturbed(what)
                | SupplySays::Lost(what) => return Err(what),
                SupplySays::Voltage(_)
                | SupplySays::Output(_)
                | SupplySays::Identity(_)
                | SupplySays::Complains(_) => {}
            }
        }
    }
    Err(format!("not read back within {}", text::time(patience)))
}

/// Tries every range of a meter that takes its range; none for one that streams.
pub(super) async fn ranges(actor: &mut Actor, station: &Station) -> Option<Checked> {
    if matches!(station.meter.driver.talk, MeterTalk::Streams(_)) {
        return None;
    }
    let patience = (station.meter.driver.line.deadline + station.bench.meter.interval)
        .max(seconds(1.0))
        * RANGE_DEADLINES;
    let (mut taken, mut failed) = (0, Vec::new());
    for (index, range) in station.bench.meter.ranges.iter().enumerate() {
        let wanted = RangeIndex(u8::try_from(index).unwrap_or(u8::MAX));
        match ranged(actor, wanted, patience).await {
            Ok(()) => taken += 1,
            Err(why) => failed.push(format!("{}: {why}", text::current(range.full_scale))),
        }
    }
    let of = station.bench.meter.ranges.len();
    let found = if failed.is_empty() {
        format!("{taken} of {of} taken, read back and read on")
    } else {
        failed.join("; ")
    };
    Some(Checked {
        what: "ranges",
        good: failed.is_empty(),
        found,
        remedy: "leave out of the driver, or of [meter.ability], what this meter does not have",
    })
}

async fn ranged(actor: &mut Actor, wanted: RangeIndex, patience: Time) -> Result<(), String> {
    actor.meter.select(wanted);
    let end = actor.clock.host() + patience;
    while actor.clock.host() < end {
        let bytes = actor.meter.write(actor.clock.host());
        let receive = |bytes: &[u8], now| actor.meter.receive(bytes, now);
        let heard = exchange(&mut actor.meter_link, bytes, receive, &actor.clock).await;
        let late = actor.meter.pass(actor.clock.host());
        for said in heard.map_err(|error| error.to_string())?.into_iter().chain(late) {
            match said {
                MeterSays::Current(_, range) if range == wanted => return Ok(()),
                MeterSays::Disturbed(what) | MeterSays::Lost(what) => return Err(what),
                MeterSays::Current(..) | MeterSays::Complains(_) | MeterSays::Identity(_) => {}
            }
        }
    }
    Err(format!("no reading on it within {}", text::time(patience)))
}
