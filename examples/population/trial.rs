//! One part through the real plan, procedure and judge.

use std::sync::Arc;

use reststrom::judge::{Finding, Verdict};
use reststrom::plan::{Phase, Plan, Until, draw_up};
use reststrom::procedure::{Orders, Outcome, Procedure};
use reststrom::quantity::seconds;

use crate::bench::Bench;
use crate::dice::Dice;
use crate::faults::Class;
use crate::specimen::Specimen;
use crate::station::{MeterClass, Station};
use crate::truth::{State, Truth};

/// Shares of the reading time at which the forecast is asked for.
pub(crate) const FORECAST_AT: [f64; 3] = [0.1, 0.2, 0.5];
/// A run that takes this much longer than planned does not end.
const ENDLESS: f64 = 4.0;
/// While an empty part bleeds, readings come this seldom, s.
const BLEEDING_INTERVAL: f64 = 1.0;

/// What a part was, how it was measured and what came of it.
#[derive(Debug, Clone)]
pub(crate) struct Case {
    /// Its number in the study.
    pub(crate) index: u64,
    /// Row of the catalogue.
    pub(crate) row: usize,
    /// What it came as.
    pub(crate) class: Class,
    /// How it was measured.
    pub(crate) meter: MeterClass,
    /// Its limit, A.
    pub(crate) limit: f64,
    /// The truth about it.
    pub(crate) truth: Truth,
    /// The run to the full reading time.
    pub(crate) full: Run,
    /// The run with an early end.
    pub(crate) early: Run,
}

/// One run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Run {
    /// The verdict; none if the run did not end.
    pub(crate) verdict: Option<Verdict>,
    /// Its reason.
    pub(crate) reason: Option<Finding>,
    /// The reading and the half-width of its interval, A.
    pub(crate) reading: Option<(f64, f64)>,
    /// The reading in the room as it was: what is forecast, A.
    pub(crate) raw: Option<f64>,
    /// Half-width of the measured capacitance over the printed one.
    pub(crate) value_doubt: f64,
    /// When the reading was taken, as a share of the reading time.
    pub(crate) at: f64,
    /// What was forecast at [`FORECAST_AT`], and its half-width, A.
    pub(crate) forecasts: [Option<(f64, f64)>; 3],
    /// The clip was off before the reading was done.
    pub(crate) absent: bool,
}

impl Case {
    /// What kind of part it was in a run.
    pub(crate) fn state(&self, run: &Run) -> State {
        if run.absent { State::Absent } else { self.truth.state }
    }

    /// True leakage over the limit.
    pub(crate) fn share(&self) -> f64 {
        self.truth.leakage / self.limit
    }
}

/// Everything that one part needs.
pub(crate) struct Trial {
    /// The part.
    pub(crate) specimen: Specimen,
    /// The instruments.
    pub(crate) station: Station,
    /// Chance while it runs.
    pub(crate) noise: Dice,
}

impl Trial {
    /// The plan; none if the station refuses the part.
    pub(crate) fn plan(&self, until: Until) -> Option<Plan> {
        draw_up(&self.specimen.wish(until), &self.station.facts).ok().map(|drawn| drawn.plan)
    }

    /// The truth about the part, measured by this plan.
    pub(crate) fn truth(&self, plan: &Plan) -> Truth {
        self.specimen.truth(plan.ramp.rise.value, plan.ramp.charge.value)
    }

    /// Carries a plan out.
    pub(crate) fn run(&self, plan: Plan) -> Run {
        let mut desk = self.desk(plan);
        let most = desk.most_time();
        while desk.bench.time < most {
            if let Some(outcome) = desk.run.outcome() {
                return desk.conclude(&outcome);
            }
            desk.advance();
        }
        Run::endless(desk.forecasts)
    }

    /// Carries a plan out and writes down what is ordered and where the part stands.
    pub(crate) fn diary(&self, plan: Plan) -> String {
        let mut text = format!("{plan:#?}\n");
        let mut desk = self.desk(plan);
        let most = desk.most_time();
        while desk.run.outcome().is_none() && desk.bench.time < most {
            let before = desk.run.phase();
            desk.advance();
            if before != desk.run.phase() {
                text.push_str(&desk.entry());
            }
        }
        text + &format!("{:#?}", desk.run.outcome())
    }

    fn desk(&self, plan: Plan) -> Desk<'_> {
        let plan = Arc::new(plan);
        let bench = Bench::new(&self.specimen, &self.station, plan.clone(), self.noise.clone());
        let run = Procedure::new(plan.clone());
        let mut desk = Desk { run, bench, forecasts: [None; 3], plan };
        let orders = desk.run.start(seconds(0.0));
        desk.carry_out(&orders);
        desk
    }
}

impl Run {
    /// One that did not end.
    pub(crate) fn endless(forecasts: [Option<(f64, f64)>; 3]) -> Self {
        let (verdict, reason, reading, raw) = (None, None, None, None);
        let (value_doubt, at, absent) = (0.0, 1.0, false);
        Self { verdict, reason, reading, raw, value_doubt, at, forecasts, absent }
    }
}

/// A run and its bench.
struct Desk<'a> {
    run: Procedure,
    bench: Bench<'a>,
    forecasts: [Option<(f64, f64)>; 3],
    plan: Arc<Plan>,
}

impl Desk<'_> {
    fn most_time(&self) -> f64 {
        let plan = &self.plan;
        let rise = plan.probe.hold + plan.ramp.budget * 2.0 + plan.ramp.charge;
        let bleed = plan.discharge.budget + plan.discharge.hold + plan.discharge.rebound;
        (rise + plan.target.soak + bleed * f64::from(plan.discharge.attempts)).value * ENDLESS
    }

    fn entry(&self) -> String {
        let (time, volt, phase) = (self.bench.time, self.bench.part_voltage(), self.run.phase());
        format!("{time:9.2} s  {phase:<8} {volt:9.4} V at the part\n")
    }

    fn carry_out(&mut self, orders: &Orders) {
        for order in orders {
            if let Some(input) = self.bench.obey(*order) {
                let orders = self.run.step(seconds(self.bench.time), input);
                self.carry_out(&orders);
            }
        }
    }

    fn advance(&mut self) {
        let inputs = self.bench.advance(self.interval());
        for input in inputs {
            let orders = self.run.step(seconds(self.bench.time), input);
            self.carry_out(&orders);
        }
        self.look_ahead();
    }

    fn interval(&self) -> f64 {
        let empty = self.bench.part_voltage().abs() < self.plan.discharge.safe_voltage.value * 0.1;
        let interval = self.plan.meter.interval.value;
        if self.run.phase() == Phase::Bleed && empty {
            BLEEDING_INTERVAL.max(interval)
        } else {
            interval
        }
    }

    fn look_ahead(&mut self) {
        let Some(full_at) = self.run.full_voltage_at() else { return };
        let share = (self.bench.time - full_at.value) / self.plan.target.reading_time.value;
        for (slot, at) in self.forecasts.iter_mut().zip(FORECAST_AT) {
            if slot.is_none() && at <= share && share < at * 1.1 {
                let forecast = self.run.forecast();
                *slot = forecast.map(|it| (it.current.value, it.uncertainty.value));
            }
        }
    }

    fn conclude(self, outcome: &Outcome) -> Run {
        let reading_time = self.plan.target.reading_time.value;
        let read_at = outcome.reading.map_or(f64::INFINITY, |reading| reading.at.value);
        let full_at = outcome.full_voltage_at.map_or(f64::INFINITY, |at| at.value);
        let printed = self.plan.part.capacitance;
        let doubt = outcome.capacitance.map(|measured| measured.uncertainty / printed);
        Run {
            verdict: Some(outcome.ruling.verdict),
            reason: outcome.ruling.findings.first().copied(),
            reading: outcome
                .reading
                .map(|reading| (reading.current.value, reading.budget.expanded().value)),
            raw: outcome.reading.map(|reading| reading.raw.value),
            value_doubt: doubt.map_or(0.0, |doubt| doubt.value),
            at: (read_at / reading_time).min(1.0),
            forecasts: self.forecasts,
            absent: self.bench.specimen().comes_off_at < (full_at + read_at).min(self.bench.time),
        }
    }
}
