//! What is known of the bench: the newest readings, each with its age.
//!
//! The voltage at the part is a measured value or unknown, never the set-point; unknown counts as
//! charged.

use super::{FewReadings, Input, OutputState, Sample, Switch};
use crate::plan::{Bleeder, Plan, RangeIndex, Sensing};
use crate::quantity::{Current, Resistance, Time, Voltage, amperes, seconds, volts};

/// Newest readings and extremes.
#[derive(Debug, Clone)]
pub(super) struct Senses {
    current: Option<Stamped<Current>>,
    /// The readings before the newest, the last first; an overload is a current without bound.
    before: [Current; 2],
    /// Ranges of the newest current and of the reading before the newest.
    read_on: [RangeIndex; 2],
    overload: Option<Stamped<bool>>,
    terminals: Option<Stamped<Voltage>>,
    /// The output was off when the terminals were read.
    read_off: bool,
    /// Highest voltage that the terminals were read at.
    highest: Voltage,
    range: RangeIndex,
    /// The series resistor is bridged.
    bypassed: bool,
    smooth: Current,
    output: OutputState,
    meter_heard: Time,
    supply_heard: Time,
    peak_current: Current,
    peak_part_voltage: Voltage,
}

#[derive(Debug, Clone, Copy)]
struct Stamped<T> {
    value: T,
    at: Time,
}

/// Weight of the newest reading in the smoothed current.
const SMOOTHING: f64 = 0.3;

/// Voltages that were never read and overshoots are this much above what was.
const POSSIBLE: f64 = 2.0;

/// A doubt about the part's voltage above this hides whether it is empty (handbook §4.1: 0.5 V).
const COARSE: f64 = 0.25; // V

impl Senses {
    pub(super) fn new(range: RangeIndex) -> Self {
        Self {
            current: None,
            before: [amperes(0.0); 2],
            read_on: [range; 2],
            overload: None,
            terminals: None,
            read_off: false,
            highest: volts(0.0),
            range,
            bypassed: false,
            smooth: amperes(0.0),
            output: OutputState::Unknown,
            meter_heard: seconds(0.0),
            supply_heard: seconds(0.0),
            peak_current: amperes(0.0),
            peak_part_voltage: volts(0.0),
        }
    }

    /// Silence is counted from here.
    pub(super) fn listen_from(&mut self, now: Time) {
        self.meter_heard = now;
        self.supply_heard = now;
    }

    /// The part may stand at any voltage: nobody has looked.
    pub(super) fn assume_charged(&mut self) {
        self.peak_part_voltage = volts(f64::INFINITY);
    }

    /// The series resistor is bridged from here on, or no more.
    pub(super) fn bypass(&mut self, switch: Switch) {
        self.bypassed = switch == Switch::On;
    }

    /// Resistance between terminals and part as the path now is.
    pub(super) fn path(&self, plan: &Plan) -> Resistance {
        if self.bypassed { plan.charging_path(self.range) } else { plan.path(self.range) }
    }

    /// Takes an input in; for a current value, the time that it speaks for.
    pub(super) fn take(&mut self, plan: &Plan, now: Time, input: Input) -> Option<Time> {
        match input {
            Input::Current { sample, range } => self.take_current(plan, now, sample, range),
            Input::Voltage(Sample::Value(value)) => {
                self.terminals = Some(Stamped { value, at: now });
                self.highest = self.highest.max(value.abs());
                self.read_off = self.output == OutputState::Off;
                self.supply_heard = now;
                self.note_part_voltage(plan, now);
                None
            }
            Input::Voltage(Sample::Overload { .. } | Sample::NotANumber) => {
                self.terminals = None;
                None
            }
            Input::Output(state) => {
                self.output = state;
                None
            }
            Input::Tick
            | Input::Armed
            | Input::Refused
            | Input::Lost(_)
            | Input::Disturbed
            | Input::Stalled
            | Input::Stop => None,
        }
    }

    fn take_current(
        &mut self,
        plan: &Plan,
        now: Time,
        sample: Sample<Current>,
        range: RangeIndex,
    ) -> Option<Time> {
        self.range = range;
        self.before = [self.newest(), self.before[0]];
        self.read_on[1] = self.read_on[0];
        match sample {
            Sample::Value(value) => {
                self.read_on[0] = range;
                let since = self.current.map_or(now, |last| last.at);
                self.smooth = self.smooth * (1.0 - SMOOTHING) + value * SMOOTHING;
                self.current = Some(Stamped { value, at: now });
                self.overload = None;
                self.meter_heard = now;
                self.peak_current = self.peak_current.max(value);
                self.note_part_voltage(plan, now);
                Some(now - since)
            }
            Sample::Overload { negative } => {
                self.overload = Some(Stamped { value: negative, at: now });
                self.meter_heard = now;
                self.peak_current = self.peak_current.max(plan.meter.range(range).full_scale);
                None
            }
            Sample::NotANumber => None,
        }
    }

    /// Magnitude of the newest reading.
    fn newest(&self) -> Current {
        match self.overload {
            Some(_) => amperes(f64::INFINITY),
            None => self.current.map_or(amperes(0.0), |current| current.value.abs()),
        }
    }

    /// What the reading before the newest showed, the meter's zero on the surge range taken off.
    pub(super) fn few_readings(&self, plan: &Plan, offset: Current) -> FewReadings {
        let [before, _] = self.before;
        if is_of_a_part(plan, (before, self.read_on[1]), offset) {
            FewReadings::OfAPart
        } else {
            FewReadings::OfNothing
        }
    }

    /// Magnitudes of the newest readings; an overload is a current without bound.
    pub(super) fn last_readings(&self) -> [Current; 3] {
        let [before, earlier] = self.before;
        [self.newest(), before, earlier]
    }

    /// The least magnitude of the two readings before the newest.
    pub(super) fn before(&self) -> Current {
        let [before, earlier] = self.before;
        before.min(earlier)
    }

    /// Whether the newest reading can be: the series resistance lets through no more than what was
    /// ever measured at the terminals drives. Where there is none, anything can be.
    pub(super) fn is_possible(&self, plan: &Plan) -> bool {
        let told = match self.overload {
            Some(_) => plan.meter.range(self.range).full_scale,
            None => self.newest(),
        };
        told * plan.series <= self.highest * POSSIBLE + volts(1.0)
    }

    fn note_part_voltage(&mut self, plan: &Plan, now: Time) {
        if let Some(voltage) = self.part_voltage(plan, now) {
            self.peak_part_voltage = self.peak_part_voltage.max(voltage.abs());
        }
    }

    /// Newest current, if the newest reading was a value.
    pub(super) fn latest_current(&self) -> Option<Current> {
        if self.overload.is_some() {
            return None;
        }
        self.current.map(|current| current.value)
    }

    /// Whether the newest reading is a current out of the part: no part that gives way does that.
    pub(super) fn flows_back(&self) -> bool {
        match self.overload {
            Some(overload) => overload.value,
            None => self.current.is_some_and(|current| current.value < amperes(0.0)),
        }
    }

    /// Whether the last reading that there was, however long ago, shows a current into the part beyond
    /// error, fixture and the meter's zero on the surge range: it hung on the clips.
    pub(super) fn showed_a_part(&self, plan: &Plan, offset: Current) -> bool {
        match self.latest_current() {
            Some(current) => is_of_a_part(plan, (current, self.read_on[0]), offset),
            None => self.overload.is_some_and(|negative| !negative.value),
        }
    }

    /// When the meter last gave a value or an overload.
    pub(super) fn read_at(&self) -> Time {
        self.meter_heard
    }

    /// The current without its quickest movements.
    pub(super) fn smooth_current(&self) -> Current {
        self.smooth
    }

    /// Range of the newest reading.
    pub(super) fn range(&self) -> RangeIndex {
        self.range
    }

    /// Whether the terminals were read after `since`.
    pub(super) fn has_read_since(&self, since: Time) -> bool {
        self.terminals.is_some_and(|terminals| since < terminals.at)
    }

    /// Whether the terminals were read after `since` and stood at `voltage` or more.
    pub(super) fn followed(&self, since: Time, voltage: Voltage) -> bool {
        self.terminals.is_some_and(|terminals| since < terminals.at && voltage <= terminals.value)
    }

    /// Newest voltage at the terminals.
    pub(super) fn terminals(&self) -> Option<Voltage> {
        self.terminals.map(|terminals| terminals.value)
    }

    /// The output state as last told.
    pub(super) fn output(&self) -> OutputState {
        self.output
    }

    /// Highest voltage that the part was seen at.
    pub(super) fn peak_part_voltage(&self) -> Voltage {
        self.peak_part_voltage
    }

    /// Highest current that was seen.
    pub(super) fn peak_current(&self) -> Current {
        self.peak_current
    }

    /// Voltage at the part with the output on: terminals less the drop in the path.
    pub(super) fn part_voltage(&self, plan: &Plan, now: Time) -> Option<Voltage> {
        let stale = plan.cut_out.stale;
        let terminals = self.terminals.filter(|terminals| now - terminals.at <= stale)?;
        let current = self.current.filter(|current| now - current.at <= stale)?;
        if self.overload.is_some() {
            return None;
        }
        Some(terminals.value - current.value * self.path(plan))
    }

    /// Voltage at the part while it bleeds, by whichever way this station can know it.
    pub(super) fn bleeding_voltage(&self, plan: &Plan, now: Time) -> Option<Voltage> {
        match plan.supply.senses {
            Sensing::AtTerminals if reads_too_coarsely(plan, self.range) => {
                self.voltage_by_bleeding_current(plan, now)
            }
            Sensing::AtTerminals => self.voltage_behind_relay(plan, now),
            Sensing::BeforeRelay => self.voltage_by_bleeding_current(plan, now),
        }
    }

    /// Terminals, scaled by the divider of bleeder and path.
    fn voltage_behind_relay(&self, plan: &Plan, now: Time) -> Option<Voltage> {
        let stale = plan.cut_out.stale;
        let terminals = self.terminals.filter(|terminals| now - terminals.at <= stale)?.value;
        if !self.read_off {
            return self.part_voltage(plan, now);
        }
        match plan.discharge.bleeder {
            Bleeder::SupplySinks => Some(terminals),
            Bleeder::Fitted(bleeder) | Bleeder::Relay(bleeder) => {
                let divider = plan.path(self.range) / bleeder;
                Some(terminals * (1.0 + divider.value))
            }
        }
    }

    /// Bleeding current times the loop that it flows through.
    fn voltage_by_bleeding_current(&self, plan: &Plan, now: Time) -> Option<Voltage> {
        let stale = plan.cut_out.stale;
        let current = self.current.filter(|current| now - current.at <= stale)?;
        if self.overload.is_some() {
            return None;
        }
        Some((current.value * plan.bleed_loop(self.range)).abs())
    }

    /// Whether either instrument gave no value for longer than `stale`.
    pub(super) fn is_silent(&self, now: Time, stale: Time) -> bool {
        self.meter_is_silent(now, stale) || now - self.supply_heard > stale
    }

    /// Whether the meter gave no value for longer than `stale`.
    pub(super) fn meter_is_silent(&self, now: Time, stale: Time) -> bool {
        now - self.meter_heard > stale
    }

    /// Whether the newest reading is known to be below `bound`; an overload never is.
    pub(super) fn current_is_below(&self, bound: Current) -> bool {
        match (self.overload, self.current) {
            (Some(_), _) => false,
            (None, Some(current)) => current.value.abs() < bound,
            (None, None) => true,
        }
    }
}

/// Whether a current, read on a range, is more than error, fixture and the meter's zero on the surge range.
fn is_of_a_part(plan: &Plan, (current, range): (Current, RangeIndex), offset: Current) -> bool {
    let error = plan.meter.range(range).error_at(current);
    let fixture = plan.zero.current + plan.zero.uncertainty * 2.0;
    let zero = if range == plan.meter.surge { offset } else { amperes(0.0) };
    fixture + error < current - zero
}

/// Whether the supply's read-back, multiplied by the divider of path and bleeder, is too coarse to
/// tell an empty part from a charged one: with a large sense resistor the meter tells it better.
fn reads_too_coarsely(plan: &Plan, range: RangeIndex) -> bool {
    let divider = match plan.discharge.bleeder {
        Bleeder::SupplySinks => return false,
        Bleeder::Fitted(bleeder) | Bleeder::Relay(bleeder) => plan.path(range) / bleeder,
    };
    let by_meter = plan.meter.range(range).accuracy.fixed * plan.bleed_loop(range);
    let by_terminals = plan.supply.agreement * (1.0 + divider.value);
    volts(COARSE) < by_terminals && by_meter < by_terminals
}
