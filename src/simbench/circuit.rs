//! The wiring of the bench and how it moves in time.
//!
//! ```text
//! supply+ ──┬──[series]──[contact]──[burden]── part ── supply−
//!           ├──[bleeder]── supply−
//!           └──[output capacitor]── supply−       (or in front of the output relay)
//! ```
//!
//! A step is two backward Euler half-steps and one whole step, combined so that the first-order
//! error cancels. That is stable however stiff the circuit is, and the difference of the two gives
//! the size of the next step. The regulator is clamped inside each step: it holds the voltage
//! unless that takes more than the current limit, or less than it can sink.
//! Numbers are SI: this is the inner loop of the simulator.

use crate::simbench::part::{Part, PartState};

/// Insulation across the supply's terminals (S): its output is high-impedance when off.
const TERMINAL_LEAK: f64 = 1e-9;
/// No branch has less resistance than this (Ω): leads and contacts.
const LEAST_RESISTANCE: f64 = 1e-3;
/// Error of the plain half-steps that is allowed (V); the combined step is far better.
const VOLTAGE_ERROR: f64 = 1e-4;
/// The same for the charge through the part, as a share of it, and never below (C).
const CHARGE_ERROR: (f64, f64) = (1e-3, 1e-12);
/// Shortest and longest step (s).
const STEP: (f64, f64) = (1e-6, 0.25);
/// The leakage law is linearised this often in a step at most.
const LINEARISATIONS: usize = 6;

/// What does not change within a step.
#[derive(Debug, Clone)]
pub(crate) struct Circuit {
    /// Series resistor (Ω).
    pub(crate) series: f64,
    /// Burden of the meter, or the sense resistor (Ω).
    pub(crate) burden: f64,
    /// Resistance of the clip's contacts (Ω).
    pub(crate) contact: f64,
    /// Bleeder (Ω), if fitted.
    pub(crate) bleeder: Option<f64>,
    /// The supply's output capacitor (F).
    pub(crate) output_farad: f64,
    /// Whether the output capacitor stays across the terminals when the relay opens.
    pub(crate) capacitor_behind_relay: bool,
    /// Whether the part's branch is open: a clip fell off.
    pub(crate) gap: bool,
    /// The part in the clip.
    pub(crate) part: Option<Part>,
}

/// What the regulator is told to do within a step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Regulator {
    /// Whether the output relay is closed.
    pub(crate) on: bool,
    /// Voltage it goes to (V).
    pub(crate) goal: f64,
    /// How fast (V/s).
    pub(crate) slew: f64,
    /// Most it gives (A).
    pub(crate) limit: f64,
    /// Most it takes back (A).
    pub(crate) sink: f64,
}

/// What moves.
#[derive(Debug, Clone)]
pub(crate) struct State {
    /// Time (s).
    pub(crate) time: f64,
    /// Voltage across the terminals, behind the relay (V).
    pub(crate) terminals: f64,
    /// Voltage on the regulator's side of the open relay (V).
    pub(crate) inside: f64,
    /// Where the regulator's slew has got to (V).
    pub(crate) target: f64,
    /// Charge that went through the part's branch so far (C).
    pub(crate) through_part: f64,
    /// Charge that the regulator gave so far (C).
    pub(crate) given: f64,
    /// The part's memory.
    pub(crate) part: PartState,
}

impl State {
    /// Time zero, everything empty.
    pub(crate) fn at_rest() -> Self {
        Self {
            time: 0.0,
            terminals: 0.0,
            inside: 0.0,
            target: 0.0,
            through_part: 0.0,
            given: 0.0,
            part: PartState::empty(),
        }
    }
}

impl Circuit {
    /// One step of at most `longest` seconds; gives the state after it and the next step to try.
    pub(crate) fn step(
        &self,
        from: &State,
        regulator: Regulator,
        tried: f64,
        longest: f64,
    ) -> (State, f64) {
        let mut h = tried.min(longest).clamp(STEP.0.min(longest), STEP.1);
        loop {
            let whole = self.euler(from, regulator, h);
            let halves = self.euler(&self.euler(from, regulator, h / 2.0), regulator, h / 2.0);
            let error = relative_error(from, &whole, &halves);
            if error <= 1.0 || h <= STEP.0 {
                let growth = (0.9 / error.max(1e-3).sqrt()).clamp(0.3, 3.0);
                return (combine(from, &whole, &halves, h), (h * growth).clamp(STEP.0, STEP.1));
            }
            h = (h * (0.9 / error.sqrt()).clamp(0.1, 0.9)).max(STEP.0);
        }
    }

    /// Current (A) through the part's branch with this much across the terminals and the part.
    pub(crate) fn branch_current(&self, state: &State) -> f64 {
        if self.gap { 0.0 } else { (state.terminals - state.part.u) / self.branch_resistance() }
    }

    fn branch_resistance(&self) -> f64 {
        let esr = self.part.as_ref().map_or(0.0, Part::esr);
        (self.series + self.burden + self.contact + esr).max(LEAST_RESISTANCE)
    }

    fn euler(&self, from: &State, regulator: Regulator, h: f64) -> State {
        let target = slewed(from.target, regulator, h);
        let mut guess = from.part.u;
        let mut next = (from.terminals, 0.0, 0.0, guess);
        // Newton on the leakage law. A step that has not converged shows as a large difference
        // between whole and halves, and is taken again, shorter.
        for _ in 0..LINEARISATIONS {
            next = self.solve(from, regulator, target, h, guess);
            if (next.3 - guess).abs() <= 1e-9 * guess.abs() + 1e-12 {
                break;
            }
            guess = next.3;
        }
        let (terminals, given, branch, u) = next;
        State {
            time: from.time + h,
            terminals,
            inside: if regulator.on { terminals } else { 0.0 },
            target,
            through_part: from.through_part + branch * h,
            given: from.given + given * h,
            part: self
                .part
                .as_ref()
                .map_or_else(|| from.part.clone(), |it| it.after(&from.part, h, u)),
        }
    }

    /// Terminal voltage, regulator current, branch current and the part's inner voltage after `h`.
    fn solve(
        &self,
        from: &State,
        regulator: Regulator,
        target: f64,
        h: f64,
        guess: f64,
    ) -> (f64, f64, f64, f64) {
        let part = self.part.as_ref().map(|part| part.norton(&from.part, h, guess));
        let resistance = self.branch_resistance();
        let (conductance, source) = part.filter(|_| !self.gap).map_or((0.0, 0.0), |it| {
            (it.a / (1.0 + resistance * it.a), it.b / (1.0 + resistance * it.a))
        });
        // First what it takes to hold the target; the clamp then decides between voltage and
        // current limit, and the terminals follow from what is really given.
        let across = self.bleeder.map_or(0.0, |ohm| 1.0 / ohm) + TERMINAL_LEAK + conductance;
        let storage = self.capacitor_across(regulator) / h;
        let held = storage * (target - from.terminals) + across * target - source;
        let given = if regulator.on { held.clamp(-regulator.sink, regulator.limit) } else { 0.0 };
        let terminals = (given + storage * from.terminals + source) / (storage + across);
        let branch = conductance * terminals - source;
        let u = part.map_or(0.0, |it| (branch + it.b) / it.a);
        (terminals, given, branch, u)
    }

    fn capacitor_across(&self, regulator: Regulator) -> f64 {
        if regulator.on || self.capacitor_behind_relay { self.output_farad } else { 0.0 }
    }
}

fn slewed(target: f64, regulator: Regulator, h: f64) -> f64 {
    let most = regulator.slew * h;
    if regulator.on { target + (regulator.goal - target).clamp(-most, most) } else { 0.0 }
}

fn relative_error(from: &State, whole: &State, halves: &State) -> f64 {
    let terminals = (whole.terminals - halves.terminals).abs() / VOLTAGE_ERROR;
    let part = (whole.part.u - halves.part.u).abs() / VOLTAGE_ERROR;
    let moved = (halves.through_part - from.through_part).abs();
    let charge = (whole.through_part - halves.through_part).abs()
        / (CHARGE_ERROR.0 * moved).max(CHARGE_ERROR.1);
    terminals.max(part).max(charge)
}

/// Richardson's combination: twice the half-steps less the whole step.
fn combine(from: &State, whole: &State, halves: &State, h: f64) -> State {
    let better = |one: f64, two: f64| 2.0 * two - one;
    let branches = whole.part.branches.iter().zip(&halves.part.branches);
    State {
        time: from.time + h,
        terminals: better(whole.terminals, halves.terminals),
        inside: better(whole.inside, halves.inside),
        target: halves.target,
        through_part: better(whole.through_part, halves.through_part),
        given: better(whole.given, halves.given),
        part: PartState {
            u: better(whole.part.u, halves.part.u),
            branches: branches.map(|(one, two)| better(*one, *two)).collect(),
            under: halves.part.under,
        },
    }
}
