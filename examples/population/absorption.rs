//! What a dielectric soaks up: a handful of branches of R and C, each with its own time.
//!
//! The branches lie irregularly over the times and their sizes scatter, so that their sum follows
//! the strength and slope of the family's power law (handbook §2.1) on the whole but is none
//! anywhere: it has bumps, and it dies away in the end.

use crate::dice::Dice;

/// Number of branches.
pub(crate) const BRANCHES: usize = 8;
/// Shortest time constant, s.
const SHORTEST: f64 = 0.2;
/// Longest time constant over the reading time.
const LONGEST: f64 = 20.0;
/// Deviation of a branch's size from the power law, of the natural logarithm.
const SCATTER: f64 = 0.3;

/// One branch.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Branch {
    /// Capacitance, F.
    pub(crate) farad: f64,
    /// Time constant, s.
    pub(crate) constant: f64,
}

/// All branches of a part.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Absorption(pub(crate) [Branch; BRANCHES]);

impl Absorption {
    /// Branches that come near `strength`·C·U·t^(−`exponent`) up to some reading times.
    ///
    /// t^(−n) is 1/Γ(n) ∫ τ^(−n)·exp(−t/τ) d ln τ; each branch stands for its stretch of ln τ.
    /// 1/Γ(n) is n/0.93 within 7 % for n from 0.4 to 1.2.
    pub(crate) fn draw(
        dice: &mut Dice,
        farad: f64,
        (strength, exponent): (f64, f64),
        reading_time: f64,
    ) -> Self {
        let mut stretches = 0_u32..;
        let span = (LONGEST * reading_time / SHORTEST).ln();
        let stretch = span / f64::from(u32::try_from(BRANCHES).unwrap_or(1));
        Self([(); BRANCHES].map(|()| {
            let index = f64::from(stretches.next().unwrap_or_default());
            let constant = SHORTEST * ((index + dice.share()) * stretch).exp();
            let share = strength * constant.powf(1.0 - exponent) * stretch * exponent / 0.93;
            Branch { farad: farad * share * (dice.normal() * SCATTER).exp(), constant }
        }))
    }

    /// Capacitance that shows beside the true one when the charge of a ramp is counted, F.
    pub(crate) fn taken_in(&self, rise: f64) -> f64 {
        let branch = |branch: &Branch| {
            let ramp = rise / branch.constant;
            branch.farad * (1.0 + (-ramp).exp_m1() / ramp)
        };
        self.0.iter().map(branch).sum()
    }

    /// What flows at a time after a ramp of length `rise` to `volt`, A.
    pub(crate) fn current(&self, volt: f64, rise: f64, time: f64) -> f64 {
        let branch = |branch: &Branch| {
            let ramp = rise / branch.constant;
            let filled = if ramp < 1e-9 { 1.0 } else { -(-ramp).exp_m1() / ramp };
            let begin = branch.farad * volt / branch.constant * filled;
            begin * (-time / branch.constant).exp()
        };
        self.0.iter().map(branch).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dice::Purpose;

    #[test]
    fn branches_follow_the_power_law_on_the_whole() {
        // Handbook §2.1: 0.006·C·U·t^(−0.9) of 10 µF at 16 V after 100 s is 15.2 nA.
        let currents = (0..400).map(|index| {
            let mut dice = Dice::new(1, index, Purpose::Part);
            Absorption::draw(&mut dice, 10e-6, (0.006, 0.9), 300.0).current(16.0, 0.0, 100.0)
        });
        let mean = currents.sum::<f64>() / 400.0;
        assert!((0.8..1.3).contains(&(mean / 15.2e-9)), "{mean}");
    }

    #[test]
    fn a_slow_ramp_leaves_less_to_soak_up() {
        let mut dice = Dice::new(1, 1, Purpose::Part);
        let absorption = Absorption::draw(&mut dice, 1e-6, (0.01, 1.0), 60.0);
        assert!(absorption.current(10.0, 20.0, 10.0) < absorption.current(10.0, 0.1, 10.0));
    }
}
