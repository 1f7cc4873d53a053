//! The loop of supply, path and part, solved exactly from moment to moment.
//!
//! Over one step the supply's voltage stands still and the leakage is a straight line about where
//! it was, so that the part's voltage is one exponential, whatever the step's length. Absorption
//! branches are exponentials of their own. Plain SI numbers: this is the inner loop.

use crate::absorption::{Absorption, BRANCHES};

/// Resistance of an open loop, Ω.
pub(crate) const OPEN: f64 = 1e13;

/// What drives the part over a step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Drive {
    /// Voltage behind the path, V.
    pub(crate) volt: f64,
    /// Resistance of the path, Ω.
    pub(crate) ohm: f64,
    /// Most that the supply gives, A.
    pub(crate) most: f64,
}

/// What hangs in the loop over a step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Load {
    /// Capacitance, F.
    pub(crate) farad: f64,
    /// Current at the present voltage, absorption apart, A.
    pub(crate) ampere: f64,
    /// Its slope, S.
    pub(crate) siemens: f64,
}

/// What the part holds.
#[derive(Debug, Clone, Default)]
pub(crate) struct Held {
    /// Voltage across it, V.
    pub(crate) volt: f64,
    /// Charge in each branch, C.
    branches: [f64; BRANCHES],
    /// Decay of each branch over a step of the length beside it.
    decays: [f64; BRANCHES],
    decays_for: f64,
}

impl Held {
    /// Moves on by `step` seconds; gives the charge that flowed through the path.
    pub(crate) fn advance(
        &mut self,
        step: f64,
        drive: &Drive,
        load: Load,
        absorption: &Absorption,
    ) -> f64 {
        let soaked = self.soak_up(step, absorption) / step;
        let load = Load { ampere: load.ampere + soaked, ..load };
        let mut left = step;
        let mut charge = 0.0;
        if drive.most < (drive.volt - self.volt) / drive.ohm {
            let (took, given) = self.limited(step, drive, &load);
            left -= took;
            charge += given;
        }
        if 0.0 < left {
            charge += self.driven(left, drive, &load);
        }
        charge
    }

    /// Charge that goes into the branches while the voltage stands.
    fn soak_up(&mut self, step: f64, absorption: &Absorption) -> f64 {
        let mut soaked = 0.0;
        if self.decays_for.to_bits() != step.to_bits() {
            self.decays_for = step;
            for (decay, branch) in self.decays.iter_mut().zip(&absorption.0) {
                *decay = (-step / branch.constant).exp();
            }
        }
        for ((charge, decay), branch) in
            self.branches.iter_mut().zip(self.decays).zip(&absorption.0)
        {
            let taken = (branch.farad * self.volt - *charge) * (1.0 - decay);
            *charge += taken;
            soaked += taken;
        }
        soaked
    }

    /// In current limit: gives for how long, and the charge.
    fn limited(&mut self, step: f64, drive: &Drive, load: &Load) -> (f64, f64) {
        let leaves_at = drive.volt - drive.most * drive.ohm;
        let surplus = drive.most - load.ampere;
        let rate = load.siemens / load.farad;
        let reached = if rate * step < 1e-9 {
            surplus / load.farad * step
        } else {
            surplus / load.siemens * -(-rate * step).exp_m1()
        };
        if self.volt + reached <= leaves_at {
            self.volt += reached;
            return (step, drive.most * step);
        }
        let share = (leaves_at - self.volt) / reached;
        let took = if rate * step < 1e-9 {
            step * share
        } else {
            -(1.0 - (leaves_at - self.volt) * load.siemens / surplus).ln() / rate
        };
        self.volt = leaves_at;
        let took = took.clamp(0.0, step);
        (took, drive.most * took)
    }

    /// On the supply's voltage: gives the charge.
    fn driven(&mut self, step: f64, drive: &Drive, load: &Load) -> f64 {
        let siemens = 1.0 / drive.ohm + load.siemens;
        let rate = siemens / load.farad;
        let current = (drive.volt - self.volt) / drive.ohm - load.ampere;
        let away = -current / siemens; // from where it will end
        let end = self.volt - away;
        let passed = -(-rate * step).exp_m1();
        let mean = end + away * passed / (rate * step);
        self.volt = end + away * (1.0 - passed);
        (drive.volt - mean) / drive.ohm * step
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SUPPLY: Drive = Drive { volt: 10.0, ohm: 1000.0, most: 1.0 };

    #[test]
    fn a_capacitor_charges_through_a_resistor_by_the_book() {
        // 100 µF through 1 kΩ to 10 V: after 0.1 s at 10·(1 − 1/e) = 6.3212 V, 632.12 µC.
        let mut held = Held::default();
        let load = Load { farad: 100e-6, ampere: 0.0, siemens: 0.0 };
        let charge = held.advance(0.1, &SUPPLY, load, &Absorption::default());
        assert!((held.volt - 6.321_2).abs() < 1e-4, "{}", held.volt);
        assert!((charge - 632.12e-6).abs() < 1e-8, "{charge}");
    }

    #[test]
    fn a_current_limit_gives_a_straight_ramp_and_then_lets_go() {
        // 1 mA into 100 µF: 10 V/s, up to 9 V where 1 kΩ drops the last volt.
        let mut held = Held::default();
        let drive = Drive { most: 1e-3, ..SUPPLY };
        let load = Load { farad: 100e-6, ampere: 0.0, siemens: 0.0 };
        let charge = held.advance(0.5, &drive, load, &Absorption::default());
        assert!((held.volt - 5.0).abs() < 1e-9 && (charge - 0.5e-3).abs() < 1e-12);
        held.advance(0.5, &drive, load, &Absorption::default());
        // 0.4 s to 9 V, then 0.1 s of exponential: 10 − 1/e.
        assert!((held.volt - (10.0 - (-1.0_f64).exp())).abs() < 1e-6, "{}", held.volt);
    }

    #[test]
    fn a_full_capacitor_takes_what_it_leaks() {
        let mut held = Held { volt: 10.0, ..Held::default() };
        let mut charge = 0.0;
        for _ in 0..50 {
            let ampere = held.volt * 1e-9;
            let load = Load { farad: 1e-6, ampere, siemens: 1e-9 };
            charge = held.advance(0.1, &SUPPLY, load, &Absorption::default());
        }
        assert!((charge / 0.1 - 10e-9).abs() < 1e-13, "{charge}");
    }
}
