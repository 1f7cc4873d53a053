//! The simulated part: what its terminals do, and its memory.
//!
//! A part is a capacitance with equivalent series resistance, an absorption ladder, a leakage law
//! and what can go wrong with it. For one implicit step it shows itself to the circuit as a Norton
//! equivalent, `i = a·u − b`, where `u` is the voltage behind the series resistance.
//! Numbers are SI: this is the inner loop of the simulator.

use arrayvec::ArrayVec;
use serde::Deserialize;
use uom::si::capacitance::microfarad;

use crate::quantity::{Capacitance, Voltage};
use crate::simbench::absorption::{BRANCHES, Ladder, ladder};
use crate::simbench::leakage::Leakage;

/// Above this share of the rating a part counts as being under voltage: its re-forming goes on,
/// a runaway grows, bursts come.
const UNDER_VOLTAGE: f64 = 0.02;
/// A runaway stops growing here: something else limits by then.
const LARGEST_GROWTH: f64 = 1e6;
/// What an empty clip still shows: two leads and their insulation (handbook §2.9).
const BARE_LEADS: (f64, f64) = (40e-12, 1e11);

/// What a part is made of, as a parts file gives it; each field's name says its unit.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Physics {
    /// Rated voltage (V), also of the part that ought to be in an empty clip.
    pub rated_v: f64,
    /// True capacitance (µF); none at all if the clip is empty.
    #[serde(default)]
    pub capacitance_uf: Option<f64>,
    /// Equivalent series resistance (Ω).
    #[serde(default)]
    pub esr_ohm: f64,
    /// Leakage against voltage; none means a perfect insulator.
    #[serde(default)]
    pub leakage: Option<Leakage>,
    /// Dielectric absorption; none means none.
    #[serde(default)]
    pub absorption: Option<Absorption>,
    /// Extra leakage of an oxide that re-forms under voltage.
    #[serde(default)]
    pub reforming: Option<Reforming>,
    /// Voltage at which the part gives way for good.
    #[serde(default)]
    pub breakdown: Option<Breakdown>,
    /// Leakage grows by this share every second under voltage (1/s).
    #[serde(default)]
    pub runaway_per_s: f64,
    /// Scintillation.
    #[serde(default)]
    pub bursts: Option<Bursts>,
    /// A resistance across the part (Ω): a short.
    #[serde(default)]
    pub short_ohm: Option<f64>,
    /// Voltage the part comes with, absorbed charge included (V).
    #[serde(default)]
    pub charged_v: f64,
    /// The clip falls off this long after it was put on (s).
    #[serde(default)]
    pub falls_off_s: Option<f64>,
}

/// Absorption current `β·C·U·t^(−n)`.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Absorption {
    /// β, in s^(n−1).
    pub beta: f64,
    /// n, 0.7 to 1.1.
    pub n: f64,
}

/// Leakage is multiplied by `1 + excess·(1 + t/τ)^(−0.8)`, `t` counted under voltage.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reforming {
    /// How many times the settled leakage comes on top at first.
    pub excess: f64,
    /// τ (s).
    pub tau_s: f64,
}

/// Gives way at a voltage, and conducts from then on.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Breakdown {
    /// The voltage (V).
    pub at_v: f64,
    /// The resistance from then on (Ω).
    pub then_ohm: f64,
}

/// Short pulses of current at random times.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bursts {
    /// How many a minute under voltage, on average.
    pub per_minute: f64,
    /// Charge of each (µC).
    pub charge_uc: f64,
    /// Length of each (ms).
    pub width_ms: f64,
}

impl Physics {
    /// A capacitor without loss, leakage or memory.
    #[must_use]
    pub fn capacitor(capacitance: Capacitance, rated: Voltage) -> Self {
        Self { capacitance_uf: Some(capacitance.get::<microfarad>()), ..Self::nothing(rated) }
    }

    /// The first number that must be above zero and is not: the step divides by each of them.
    pub(crate) fn impossible(&self) -> Option<(&'static str, f64)> {
        let (leakage, bursts) = (self.leakage, self.bursts);
        let numbers = [
            ("rated_v", Some(self.rated_v)),
            ("capacitance_uf", self.capacitance_uf),
            ("short_ohm", self.short_ohm),
            ("falls_off_s", self.falls_off_s),
            ("absorption.n", self.absorption.map(|it| it.n)),
            ("reforming.tau_s", self.reforming.map(|it| it.tau_s)),
            ("breakdown.then_ohm", self.breakdown.map(|it| it.then_ohm)),
            ("bursts.per_minute", bursts.map(|it| it.per_minute)),
            ("bursts.width_ms", bursts.map(|it| it.width_ms)),
            ("leakage.at_v", leakage.and_then(|it| it.knee()).map(|knee| knee.0)),
            ("leakage.slope_v", leakage.and_then(|it| it.knee()).map(|knee| knee.1)),
        ];
        numbers
            .into_iter()
            .filter_map(|(key, value)| value.map(|value| (key, value)))
            .find(|(_, value)| !(value.is_finite() && 0.0 < *value))
    }

    /// An empty clip, where a part of this rating is expected.
    #[must_use]
    pub fn nothing(rated: Voltage) -> Self {
        Self {
            rated_v: rated.value,
            capacitance_uf: None,
            esr_ohm: 0.0,
            leakage: None,
            absorption: None,
            reforming: None,
            breakdown: None,
            runaway_per_s: 0.0,
            bursts: None,
            short_ohm: None,
            charged_v: 0.0,
            falls_off_s: None,
        }
    }
}

/// What a part remembers.
#[derive(Debug, Clone)]
pub(crate) struct PartState {
    /// Voltage across the capacitance (V).
    pub(crate) u: f64,
    /// Voltages across the branches of the ladder (V).
    pub(crate) branches: ArrayVec<f64, BRANCHES>,
    /// Time spent under voltage (s).
    pub(crate) under: f64,
}

impl PartState {
    /// Of no part at all.
    pub(crate) fn empty() -> Self {
        Self { u: 0.0, branches: ArrayVec::new(), under: 0.0 }
    }
}

/// A part in the clip.
#[derive(Debug, Clone)]
pub(crate) struct Part {
    physics: Physics,
    farad: f64,
    ladder: Ladder,
    /// Resistance that a short or a breakdown has put across the part (Ω).
    shunt: Option<f64>,
    /// Conductance of a burst that is going on (S).
    burst: f64,
}

/// `i = a·u − b` at the part's inner node, for one step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Norton {
    /// Conductance (S).
    pub(crate) a: f64,
    /// Source (A).
    pub(crate) b: f64,
}

impl Part {
    /// A part as it comes to the bench, and what it remembers then.
    pub(crate) fn new(physics: &Physics) -> (Self, PartState) {
        let farad = physics.capacitance_uf.map_or(BARE_LEADS.0, |value| value * 1e-6);
        let ladder = physics.absorption.map(|it| ladder(farad, it.beta, it.n)).unwrap_or_default();
        let state = PartState {
            u: physics.charged_v,
            branches: ladder.iter().map(|_| physics.charged_v).collect(),
            under: 0.0,
        };
        let shunt = physics
            .short_ohm
            .or_else(|| physics.capacitance_uf.map_or(Some(BARE_LEADS.1), |_| None));
        (Self { physics: physics.clone(), farad, ladder, shunt, burst: 0.0 }, state)
    }

    /// What the part is made of.
    pub(crate) fn physics(&self) -> &Physics {
        &self.physics
    }

    /// Equivalent series resistance (Ω).
    pub(crate) fn esr(&self) -> f64 {
        self.physics.esr_ohm
    }

    /// The part over a step of `h` seconds from `state`, linearised where `u` is `guess`.
    pub(crate) fn norton(&self, state: &PartState, h: f64, guess: f64) -> Norton {
        let (current, slope) = self.conduction(guess, state.under);
        // Companion models of backward Euler: a capacitance is `farad/h` beside a source.
        let mut norton = Norton {
            a: self.farad / h + slope,
            b: self.farad / h * state.u + slope * guess - current,
        };
        for (branch, before) in self.ladder.iter().zip(&state.branches) {
            let conductance = branch.farad / (branch.tau + h);
            norton.a += conductance;
            norton.b += conductance * before;
        }
        norton
    }

    /// What the part remembers after a step of `h` seconds that ended at `u` volts.
    pub(crate) fn after(&self, state: &PartState, h: f64, u: f64) -> PartState {
        let branches = self.ladder.iter().zip(&state.branches);
        let under = if self.is_under_voltage(u) { h } else { 0.0 };
        PartState {
            u,
            branches: branches.map(|(it, w)| (w * it.tau + h * u) / (it.tau + h)).collect(),
            under: state.under + under,
        }
    }

    /// What the part remembers after it was left to itself for `seconds`.
    pub(crate) fn alone(&self, state: &PartState, seconds: f64) -> PartState {
        let (mut state, mut gone) = (state.clone(), 0.0);
        while gone < seconds {
            // What moves by itself gets slower: absorption spreads over decades of time.
            let h = (seconds - gone).min(0.01 + gone / 100.0);
            let norton = self.norton(&state, h, state.u);
            state = self.after(&state, h, norton.b / norton.a);
            gone += h;
        }
        state
    }

    /// The current (A) that is conducted, not stored, and its slope (S).
    pub(crate) fn conduction(&self, u: f64, under: f64) -> (f64, f64) {
        let (mut current, mut slope) =
            self.physics.leakage.map_or((0.0, 0.0), |law| law.at(u, self.physics.rated_v));
        let growth = self.growth(under);
        current *= growth;
        slope *= growth;
        let ohmic = self.burst + self.shunt.map_or(0.0, |ohm| 1.0 / ohm);
        (current + ohmic * u, slope + ohmic)
    }

    /// Whether voltage works on the part.
    pub(crate) fn is_under_voltage(&self, u: f64) -> bool {
        self.physics.rated_v * UNDER_VOLTAGE < u.abs()
    }

    /// By how much `u` volts lie above the voltage at which the part would now give way (V).
    pub(crate) fn beyond_breakdown(&self, u: f64) -> Option<f64> {
        let breakdown = self.physics.breakdown.filter(|_| self.shunt.is_none())?;
        Some(u.abs() - breakdown.at_v).filter(|beyond| 0.0 <= *beyond)
    }

    /// The part gives way.
    pub(crate) fn break_down(&mut self) {
        self.shunt = self.physics.breakdown.map(|breakdown| breakdown.then_ohm);
    }

    /// A burst begins at `u` volts; gives its length (s).
    pub(crate) fn begin_burst(&mut self, bursts: Bursts, u: f64) -> f64 {
        let length = bursts.width_ms * 1e-3;
        self.burst = bursts.charge_uc * 1e-6 / length / u.abs().max(1.0);
        length
    }

    /// A burst is over.
    pub(crate) fn end_burst(&mut self) {
        self.burst = 0.0;
    }

    fn growth(&self, under: f64) -> f64 {
        let reforming = self
            .physics
            .reforming
            .map_or(0.0, |it| it.excess * (1.0 + under / it.tau_s).powf(-0.8));
        let runaway = (self.physics.runaway_per_s * under).exp().min(LARGEST_GROWTH);
        (1.0 + reforming) * runaway
    }
}
