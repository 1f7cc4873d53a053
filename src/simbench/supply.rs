//! The supply: set-points, protections, relay, and what it reads back.
//! Numbers are SI.

use crate::simbench::circuit::{Regulator, State};
use crate::simbench::dice::Dice;
use crate::simbench::options::SupplyModel;

/// Time constant with which an overshoot goes (s).
const OVERSHOOT_TIME: f64 = 0.05;
/// Protections can be set this far above the highest set-point.
const PROTECTION_SPAN: f64 = 1.1;

/// Which protection has tripped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trip {
    /// Over-voltage.
    Voltage,
    /// Over-current.
    Current,
}

/// A set-point or level outside what the supply can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct OutOfRange;

/// How the supply misbehaves.
#[expect(clippy::struct_excessive_bools, reason = "independent troubles, not one state")]
#[derive(Debug, Clone, Default)]
pub(crate) struct SupplyTrouble {
    /// The relay sticks the next time it ought to open.
    pub(crate) sticks: bool,
    /// The relay is stuck: the output stays on whatever is ordered.
    pub(crate) stuck: bool,
    /// Orders from the line are refused.
    pub(crate) local: bool,
    /// How many orders to switch off get lost.
    pub(crate) offs_lost: u32,
    /// Voltage set-points are clipped here (V).
    pub(crate) clipped_at: Option<f64>,
    /// The output state is told as on after a trip.
    pub(crate) tells_on: bool,
}

/// A programmable supply.
#[derive(Debug, Clone)]
pub(crate) struct Supply {
    pub(crate) model: SupplyModel,
    pub(crate) voltage: f64,
    pub(crate) current: f64,
    pub(crate) over_voltage: f64,
    pub(crate) over_current: f64,
    /// Whether each protection was set since power-on: voltage, current.
    pub(crate) protected: (bool, bool),
    pub(crate) output: bool,
    pub(crate) trip: Option<Trip>,
    pub(crate) trouble: SupplyTrouble,
    on_since: f64,
    over_since: Option<f64>,
}

impl Supply {
    /// The supply as it wakes.
    pub(crate) fn new(model: SupplyModel) -> Self {
        Self {
            voltage: model.wakes_at.0.value,
            current: model.wakes_at.1.value,
            over_voltage: model.most_voltage.value * PROTECTION_SPAN,
            over_current: model.most_current.value * PROTECTION_SPAN,
            protected: (false, false),
            output: false,
            trip: None,
            trouble: SupplyTrouble::default(),
            on_since: 0.0,
            over_since: None,
            model,
        }
    }

    /// Back to the settings of power-on; what is broken stays broken.
    pub(crate) fn reset(&mut self) {
        *self = Self { trouble: self.trouble.clone(), ..Self::new(self.model.clone()) };
    }

    /// Sets the voltage, rounded to the supply's step.
    pub(crate) fn set_voltage(&mut self, volts: f64) -> Result<(), OutOfRange> {
        let wanted = within(volts, self.model.most_voltage.value)?;
        let stepped = rounded(wanted, self.model.set_step.0.value);
        self.voltage = stepped.min(self.trouble.clipped_at.unwrap_or(f64::INFINITY));
        if self.voltage < stepped { Err(OutOfRange) } else { Ok(()) }
    }

    /// Sets the current limit, rounded to the supply's step.
    pub(crate) fn set_current(&mut self, amperes: f64) -> Result<(), OutOfRange> {
        let wanted = within(amperes, self.model.most_current.value)?;
        self.current = rounded(wanted, self.model.set_step.1.value);
        Ok(())
    }

    /// Sets the over-voltage level.
    pub(crate) fn set_over_voltage(&mut self, volts: f64) -> Result<(), OutOfRange> {
        let wanted = within(volts, self.model.most_voltage.value * PROTECTION_SPAN)?;
        self.over_voltage = rounded(wanted, self.model.set_step.0.value);
        self.protected.0 = true;
        Ok(())
    }

    /// Sets the over-current level.
    pub(crate) fn set_over_current(&mut self, amperes: f64) -> Result<(), OutOfRange> {
        let wanted = within(amperes, self.model.most_current.value * PROTECTION_SPAN)?;
        self.over_current = rounded(wanted, self.model.set_step.1.value);
        self.protected.1 = true;
        Ok(())
    }

    /// Switches the output on, unless a protection is latched.
    pub(crate) fn switch_on(&mut self, now: f64) {
        if self.trip.is_none() && !self.output {
            self.output = true;
            self.on_since = now;
        }
    }

    /// Switches the output off, unless that order gets lost.
    pub(crate) fn switch_off(&mut self) {
        self.trouble.stuck |= self.trouble.sticks && self.relay_closed();
        if self.trouble.offs_lost == 0 {
            self.output = false;
            self.trouble.tells_on = false;
        } else {
            self.trouble.offs_lost -= 1;
        }
    }

    /// Whether the output relay is closed, whatever is told.
    pub(crate) fn relay_closed(&self) -> bool {
        self.trouble.stuck || (self.output && self.trip.is_none())
    }

    /// Whether the output is told to be on.
    pub(crate) fn tells_on(&self) -> bool {
        self.trouble.tells_on || (self.output && self.trip.is_none())
    }

    /// A protection trips and stays so.
    pub(crate) fn trip(&mut self, trip: Trip) {
        self.trouble.stuck |= self.trouble.sticks && self.relay_closed();
        self.trip = Some(trip);
        self.output = false;
        self.over_since = None;
    }

    /// What the regulator does from `now` on.
    pub(crate) fn regulator(&self, now: f64) -> Regulator {
        let on_for = now - self.on_since;
        let overshoot = self.model.overshoot * (-on_for / OVERSHOOT_TIME).exp();
        let drift = self.model.drift_per_hour * on_for / 3600.0;
        Regulator {
            on: self.relay_closed(),
            goal: self.voltage * (1.0 + overshoot + drift),
            slew: self.model.slew.value,
            limit: self.current,
            sink: self.model.sink.value,
        }
    }

    /// Longest step (s) in which nothing of the supply's own can be missed.
    pub(crate) fn patience(&self, now: f64) -> f64 {
        let overshooting = 0.0 < self.model.overshoot && now - self.on_since < 8.0 * OVERSHOOT_TIME;
        let slow = if overshooting { OVERSHOOT_TIME / 20.0 } else { f64::INFINITY };
        self.over_since
            .map_or(slow, |since| (since + self.model.trip_delay.value - now).max(1e-6).min(slow))
    }

    /// Looks at the output after a step and trips if a protection says so.
    pub(crate) fn watch(&mut self, before: &State, after: &State) {
        if !self.relay_closed() {
            self.over_since = None;
            return;
        }
        if self.over_voltage < after.terminals {
            self.trip(Trip::Voltage);
            return;
        }
        // The mean over the step, not its end: a step may hold the whole of a short surge.
        let given = (after.given - before.given) / (after.time - before.time);
        if given < self.over_current - 1e-9 {
            self.over_since = None;
            return;
        }
        let since = *self.over_since.get_or_insert(before.time);
        if self.model.trip_delay.value <= after.time - since {
            self.trip(Trip::Current);
        }
    }

    /// The voltage it measures.
    pub(crate) fn measured_voltage(&self, state: &State, dice: &mut Dice) -> f64 {
        let seen = if self.model.measures_behind_relay || self.relay_closed() {
            state.terminals
        } else {
            state.inside
        };
        let noisy = seen + self.model.read_noise.0.value * dice.normal();
        rounded(noisy, self.model.read_step.0.value)
    }

    /// The current it measures, when it gives `given` amperes.
    pub(crate) fn measured_current(&self, given: f64, dice: &mut Dice) -> f64 {
        let noisy = given + self.model.read_noise.1.value * dice.normal();
        rounded(noisy, self.model.read_step.1.value)
    }
}

fn within(wanted: f64, most: f64) -> Result<f64, OutOfRange> {
    if (0.0..=most * (1.0 + 1e-9)).contains(&wanted) { Ok(wanted) } else { Err(OutOfRange) }
}

fn rounded(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::down(5.114, 5.11)]
    #[case::up(5.116, 5.12)]
    #[case::the_very_end(60.0, 60.0)]
    fn a_set_voltage_goes_to_the_nearest_step(#[case] wanted: f64, #[case] set: f64) {
        let mut supply = Supply::new(SupplyModel::default());
        assert_eq!(supply.set_voltage(wanted), Ok(()));
        assert!((supply.voltage - set).abs() < 1e-9, "{}", supply.voltage);
    }

    #[rstest]
    #[case::below_zero(-0.01)]
    #[case::above_the_end(60.01)]
    #[case::no_number(f64::NAN)]
    fn a_voltage_out_of_range_changes_nothing(#[case] wanted: f64) {
        let mut supply = Supply::new(SupplyModel::default());
        assert_eq!(supply.set_voltage(wanted), Err(OutOfRange));
        assert!(supply.voltage.abs() < f64::EPSILON);
    }

    #[test]
    fn a_reset_forgets_protections_but_not_what_is_broken() {
        let mut supply = Supply::new(SupplyModel::default());
        assert_eq!((supply.set_over_voltage(9.0), supply.set_over_current(0.1)), (Ok(()), Ok(())));
        supply.trouble.offs_lost = 1;
        supply.reset();
        assert_eq!(supply.protected, (false, false));
        assert!((supply.over_voltage - 66.0).abs() < 1e-9);
        assert_eq!(supply.trouble.offs_lost, 1);
    }
}
