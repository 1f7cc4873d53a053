//! The bench itself, moved lazily up to the moment at which somebody looks or asks.
//!
//! Everything here is pure: time comes in as an argument, chance from a seed. Ports, threads and
//! the clock are in [`wire`](crate::simbench::wire) and [`Bench`](crate::simbench::Bench).
//! Numbers are SI.

use std::collections::VecDeque;

use crate::quantity::seconds;
use crate::simbench::circuit::{Circuit, State};
use crate::simbench::desk::{Desk, Instrument};
use crate::simbench::dice::Dice;
use crate::simbench::fault::Fault;
use crate::simbench::look::{Logged, Speaker};
use crate::simbench::meter::Meter;
use crate::simbench::options::{BenchOptions, SwitchModel};
use crate::simbench::part::{Part, PartState, Physics};
use crate::simbench::supply::Supply;
use crate::simbench::switch::Switch;

/// A moment that is nearer than this is now (s).
const MOMENT: f64 = 1e-9;
/// A breakdown is met to this voltage (V).
const BREAKDOWN_ERROR: f64 = 0.02;
/// A part may stand this share above its rating, for the supply's accuracy.
const OVER_RATING: f64 = 1.01;
/// A part may be touched below this voltage (V).
pub(crate) const TOUCHABLE: f64 = 5.0;
/// The output may be switched on with the set-point at this share of the rating at most.
const FIRST_SHARE: f64 = 0.05;
/// Lines that the log keeps.
const LOG_LINES: usize = 100_000;

/// What is in the clip, beyond its physics.
#[derive(Debug, Clone)]
pub(crate) struct Clip {
    rated: f64,
    falls_off: Option<f64>,
    over_rating: bool,
    burst: Option<Burst>,
}

/// A burst to come or going on.
#[derive(Debug, Clone, Copy)]
enum Burst {
    Begins(f64),
    Ends(f64),
}

/// The bench.
#[derive(Debug, Clone)]
pub(crate) struct World {
    pub(crate) circuit: Circuit,
    pub(crate) state: State,
    pub(crate) supply: Supply,
    pub(crate) meter: Meter,
    pub(crate) switch: Switch,
    pub(crate) dice: Dice,
    pub(crate) speaking: Instrument,
    pub(crate) violations: Vec<String>,
    pub(crate) log: VecDeque<Logged>,
    pub(crate) given_now: f64,
    supply_desk: Desk,
    meter_desk: Desk,
    switch_desk: Desk,
    pub(crate) clip: Option<Clip>,
    schedule: Vec<(f64, Fault)>,
    step: f64,
    was_on: bool,
}

impl World {
    /// A bench at time zero with nothing clipped in.
    pub(crate) fn new(options: BenchOptions) -> Self {
        let supply = Supply::new(options.supply);
        let meter = Meter::new(options.meter, options.sensing);
        let switch = Switch::new(options.switch.unwrap_or(SwitchModel::of(0)));
        Self {
            circuit: Circuit {
                series: options.series.value,
                burden: meter.burden(),
                contact: options.contact.value,
                bleeder: options.bleeder.map(|ohms| ohms.value),
                output_farad: supply.model.output_capacitance.value,
                capacitor_behind_relay: supply.model.capacitor_behind_relay,
                gap: true,
                part: None,
            },
            state: State::at_rest(),
            supply_desk: Desk::new(&supply.model.identity),
            meter_desk: Desk::new(&meter.model.identity),
            switch_desk: Desk::new(&switch.model.identity),
            supply,
            meter,
            switch,
            dice: Dice::new(options.seed),
            speaking: Instrument::Supply,
            violations: Vec::new(),
            log: VecDeque::new(),
            given_now: 0.0,
            clip: None,
            schedule: Vec::new(),
            step: MOMENT,
            was_on: false,
        }
    }

    /// Bench time (s).
    pub(crate) fn now(&self) -> f64 {
        self.state.time
    }

    /// The face of an instrument.
    pub(crate) fn desk(&mut self, which: Instrument) -> &mut Desk {
        match which {
            Instrument::Supply => &mut self.supply_desk,
            Instrument::Meter => &mut self.meter_desk,
            Instrument::Switch => &mut self.switch_desk,
        }
    }

    /// Puts a part into the clip that is in the circuit.
    pub(crate) fn put_in(&mut self, physics: &Physics) {
        self.take_out();
        let set = self.supply.voltage;
        if self.supply.relay_closed() && TOUCHABLE < set {
            self.violate(&format!("a part was clipped in while the output was on at {set:.1} V"));
        }
        let (part, state) = Part::new(physics);
        self.circuit.part = Some(part);
        self.circuit.gap = false;
        self.state.part = state;
        self.clip = Some(self.clip_of(physics));
    }

    /// A clip with such a part, put on now.
    pub(crate) fn clip_of(&self, physics: &Physics) -> Clip {
        Clip {
            rated: physics.rated_v,
            falls_off: physics.falls_off_s.map(|after| self.now() + after),
            over_rating: false,
            burst: None,
        }
    }

    /// Takes out whatever is in the clip that is in the circuit.
    pub(crate) fn take_out(&mut self) {
        if self.clip.take().is_some() && TOUCHABLE < self.state.part.u.abs() {
            self.violate(&format!("the part was unclipped at {:.1} V", self.state.part.u));
        }
        self.circuit.part = None;
        self.circuit.gap = true;
        self.state.part = PartState::empty();
    }

    /// Makes a fault happen at a time.
    pub(crate) fn schedule(&mut self, at: f64, fault: Fault) {
        self.schedule.push((at, fault));
        self.happen();
    }

    /// The next moment (s) at which this instrument does something by itself.
    pub(crate) fn alarm(&mut self, which: Instrument) -> Option<f64> {
        let reply = self.desk(which).next_reply();
        let conversion = self.meter.due().filter(|_| which == Instrument::Meter);
        let scheduled = self.schedule.iter().map(|(at, _)| *at);
        scheduled.chain(conversion).chain(reply).min_by(f64::total_cmp)
    }

    /// Moves the bench on to `until` (s).
    pub(crate) fn advance_to(&mut self, until: f64) {
        self.circuit.burden = self.meter.burden();
        while MOMENT < until - self.now() {
            self.step_towards(until);
            self.happen();
        }
    }

    /// Orders the supply's voltage, and checks that the part bears it.
    pub(crate) fn check_set_voltage(&mut self, volts: f64) {
        if let Some(rated) = self.clip.as_ref().map(|clip| clip.rated)
            && rated * 1.0005 < volts
        {
            self.violate(&format!("set to {volts:.3} V with a part rated {rated} V in the clip"));
        }
    }

    /// Checks the rules of switching on.
    pub(crate) fn check_switch_on(&mut self) {
        if self.supply.protected != (true, true) {
            self.violate("output switched on before both protections were set");
        }
        let set = self.supply.voltage;
        if let Some(rated) = self.clip.as_ref().map(|clip| clip.rated)
            && FIRST_SHARE * rated + self.supply.model.set_step.0.value < set
        {
            self.violate(&format!("output switched on at {set:.3} V for a part rated {rated} V"));
        }
    }

    /// Keeps a line.
    pub(crate) fn note(&mut self, instrument: Instrument, speaker: Speaker, line: &str) {
        if LOG_LINES <= self.log.len() {
            self.log.pop_front();
        }
        let time = seconds(self.now());
        self.log.push_back(Logged { time, instrument, speaker, line: line.to_owned() });
    }

    /// Notes a broken rule.
    pub(crate) fn violate(&mut self, what: &str) {
        self.violations.push(format!("at {:.3} s: {what}", self.now()));
    }

    fn step_towards(&mut self, until: f64) {
        let now = self.now();
        let horizon = self.horizon(until);
        if horizon - now < MOMENT {
            self.state.time = horizon;
        } else {
            self.close_relay();
            let before = self.state.clone();
            let regulator = self.supply.regulator(now);
            let mut longest = horizon - now;
            loop {
                let (after, step) = self.circuit.step(&before, regulator, self.step, longest);
                let h = after.time - before.time;
                // The part must give way near its voltage, not a whole step beyond it.
                if self.misses_breakdown(&after) && 1e-5 < h {
                    longest = h / 4.0;
                    continue;
                }
                self.step = step;
                self.given_now = (after.given - before.given) / h;
                self.state = after;
                break;
            }
            // Sums of steps miss the horizon by roundings; an aperture must end exactly on its end.
            if (horizon - self.now()).abs() < MOMENT {
                self.state.time = horizon;
            }
            self.supply.watch(&before, &self.state);
        }
        self.meter.see(self.state.time, self.state.through_part, &mut self.dice);
        self.circuit.burden = self.meter.burden();
    }

    /// The next moment at which something happens that a step must not run over (s).
    fn horizon(&self, until: f64) -> f64 {
        let now = self.now();
        let clip = self.clip.as_ref();
        let burst = clip.and_then(|clip| clip.burst).map(|burst| match burst {
            Burst::Begins(at) | Burst::Ends(at) => at,
        });
        let scheduled = self.schedule.iter().map(|(at, _)| *at);
        scheduled
            .chain(clip.and_then(|clip| clip.falls_off))
            .chain(burst)
            .chain(self.meter.next_moment())
            .filter(|at| now < *at)
            .fold(until.min(now + self.supply.patience(now)), f64::min)
    }

    /// A capacitor in front of the relay meets the terminals empty.
    fn close_relay(&mut self) {
        let on = self.supply.relay_closed();
        if on && !self.was_on && !self.circuit.capacitor_behind_relay {
            self.state.terminals = self.state.inside;
        }
        self.was_on = on;
    }

    fn misses_breakdown(&self, after: &State) -> bool {
        let part = self.circuit.part.as_ref();
        part.and_then(|part| part.beyond_breakdown(after.part.u))
            .is_some_and(|beyond| BREAKDOWN_ERROR < beyond)
    }

    /// Lets everything happen that is due now.
    fn happen(&mut self) {
        let now = self.now();
        let due = |at: f64| at <= now + MOMENT;
        let (ripe, rest): (Vec<_>, Vec<_>) = self.schedule.drain(..).partition(|it| due(it.0));
        self.schedule = rest;
        for (_, fault) in ripe {
            self.suffer(fault);
        }
        if let Some(clip) = &mut self.clip
            && clip.falls_off.is_some_and(due)
        {
            clip.falls_off = None;
            self.circuit.gap = true;
        }
        self.happen_to_part();
    }

    fn happen_to_part(&mut self) {
        let (now, u) = (self.now(), self.state.part.u);
        let (Some(part), Some(clip)) = (&mut self.circuit.part, &mut self.clip) else { return };
        if part.beyond_breakdown(u).is_some() {
            part.break_down();
        }
        if let Some(bursts) = part.physics().bursts {
            let due = now + MOMENT;
            clip.burst = match clip.burst {
                Some(Burst::Begins(at)) if at <= due && part.is_under_voltage(u) => {
                    Some(Burst::Ends(now + part.begin_burst(bursts, u)))
                }
                Some(Burst::Ends(at)) if at <= due => {
                    part.end_burst();
                    None
                }
                Some(Burst::Begins(at)) if at <= due => None,
                None if part.is_under_voltage(u) => {
                    Some(Burst::Begins(now + self.dice.wait(bursts.per_minute / 60.0)))
                }
                going => going,
            };
        }
        let over = OVER_RATING * clip.rated + 0.01 < u.abs();
        if over && !std::mem::replace(&mut clip.over_rating, over) {
            let rated = clip.rated;
            self.violate(&format!("the part stood at {u:.2} V, rated {rated} V"));
        }
    }
}
