//! What the readings of a soak come to: the window that is judged, the trend, the curve, and the
//! short windows that may end the soak early.

use super::outcome::fits;
use super::reading;
use super::{Context, Plan, Tally};
use crate::judge::{
    Around, Ceased, Curve, Flow, Forecast, Glance, Nature, Reading, Settled, Trend, Window, may_end,
};
use crate::plan::{RangeIndex, Until};
use crate::quantity::{Current, Time, amperes};

/// The readings of one soak, in constant memory.
#[derive(Debug, Clone)]
pub(super) struct Readings {
    window: Window,
    trend: Trend,
    curve: Curve,
    early: Option<Early>,
    watch: Ceased,
    flow: Flow,
}

/// One short window after the other.
#[derive(Debug, Clone)]
struct Early {
    window: Window,
    before: Option<Settled>,
}

impl Readings {
    /// Readings from a time on; `flows` is what did just before.
    pub(super) fn new(plan: &Plan, range: RangeIndex, from: Time, flows: Current) -> Self {
        let target = &plan.target;
        let window = if target.soak < target.reading_time + target.window / 2.0 {
            Window::ending_at(target.judged_at(), target.window)
        } else {
            Window::around(target.reading_time, target.window)
        };
        let early = (target.until == Until::Early)
            .then(|| Early { window: Window::from(from, target.early_window), before: None });
        let constant = plan.path(range) * plan.part.capacitance;
        let (settling, settling_spread) = plan.part.settling;
        let exponents = plan.part.absorption_exponents;
        let nature = Nature { exponents, settling, settling_spread };
        Self {
            window,
            trend: trend(plan, range),
            curve: Curve::new(nature, plan.ramp.rise / 2.0, constant, target.judged_at()),
            early,
            watch: Ceased::after(flows),
            flow: Flow::Goes,
        }
    }

    /// What the newest reading told of the contact.
    pub(super) fn flow(&self) -> Flow {
        self.flow
    }

    /// Whether nothing flowed a reading or two ago although it did before.
    pub(super) fn is_quiet(&self, plan: &Plan, range: RangeIndex) -> bool {
        self.watch.is_quiet(plan.meter.range(range).error_at(amperes(0.0)))
    }

    /// Whether there is no time left before or in the window that is judged to look for contact:
    /// the proof after it does so in any case.
    pub(super) fn is_near_window(&self, plan: &Plan, at: Time) -> bool {
        let needed = plan.ramp.rise * 2.0 + plan.cut_out.stale * 4.0;
        self.window.holds(at) || (at < self.window.until() && self.window.holds(at + needed))
    }

    /// Begins the trend anew, its bursts kept: what follows a proof of contact does not continue what was before.
    pub(super) fn begin_trend_anew(&mut self) {
        self.trend.begin_anew();
    }

    /// Adds a settled reading taken `at` after full voltage.
    pub(super) fn add(&mut self, context: &Context, at: Time, current: Current, range: RangeIndex) {
        let facts = context.plan.meter.range(range);
        self.trend.add(at, current, facts.error_at(current));
        self.flow = self.watch.add(at, current, facts.error_at(amperes(0.0)));
        self.curve.add(at, current, facts.resolution);
        let voltage = context.senses.part_voltage(context.plan, context.now);
        for window in [Some(&mut self.window), self.early.as_mut().map(|early| &mut early.window)]
            .into_iter()
            .flatten()
        {
            match voltage {
                Some(voltage) => window.add(at, current, voltage),
                None if window.holds(at) => window.spoil(),
                None => {}
            }
        }
    }

    /// The windows that hold `at` are worthless.
    pub(super) fn spoil(&mut self, at: Time) {
        let early = self.early.as_mut().map(|early| &mut early.window);
        let windows = [Some(&mut self.window), early].into_iter().flatten();
        windows.filter(|window| window.holds(at)).for_each(Window::spoil);
    }

    pub(super) fn trend(&self) -> &Trend {
        &self.trend
    }

    pub(super) fn in_window(&self, at: Time) -> bool {
        self.window.holds(at)
    }

    /// When the window that is judged is over.
    pub(super) fn until(&self) -> Time {
        self.window.until()
    }

    /// What will be read at the moment that is judged, as far as the curve tells.
    pub(super) fn forecast(&self, plan: &Plan) -> Option<Forecast> {
        let forecast = self.curve.forecast(plan.target.judged_at())?;
        Some(Forecast { current: forecast.current - plan.zero.current, ..forecast })
    }

    /// The reading that ends the soak `at` this moment, if one may.
    pub(super) fn early_end(
        &mut self,
        context: &Context,
        at: Time,
        range: RangeIndex,
    ) -> Option<Reading> {
        let target = &context.plan.target;
        let early = self.early.as_mut().filter(|early| early.window.until() <= at)?;
        let newest = early.window.settled();
        let before = std::mem::replace(&mut early.before, newest);
        early.window = Window::from(at, target.early_window);
        let newest = newest?;
        let fit = self.curve.fit(at);
        let reading = reading::of(context.plan, &newest, range, at, fit.as_ref());
        let (bursts, forecast) = (self.trend.bursts(), self.forecast(context.plan));
        let glance = Glance { reading, newest, before, bursts, forecast };
        let proven = context.tally.charge_in && fits(context.plan, context.tally);
        let may = target.least_early <= at && proven && may_end(&glance, target.limit);
        may.then_some(reading)
    }

    /// Writes down what window, trend and curve say; an early reading takes the window's place.
    pub(super) fn conclude(
        &self,
        context: &mut Context,
        range: RangeIndex,
        early: Option<Reading>,
    ) {
        let (plan, tally): (&Plan, &mut Tally) = (context.plan, context.tally);
        tally.bursts = tally.bursts.max(self.trend.bursts());
        tally.tallest_burst = tally.tallest_burst.max(self.trend.tallest_burst());
        let at = plan.target.judged_at();
        tally.reading = early;
        if early.is_some() {
            tally.still_falling = false;
        } else if let Some(settled) = self.window.settled() {
            tally.still_falling = self.trend.still_falling(at, settled.current, settled.scatter);
            let fit = self.curve.fit(at);
            tally.reading = Some(reading::of(plan, &settled, range, at, fit.as_ref()));
        }
        tally.fit = tally.reading.and_then(|reading| self.curve.fit(reading.at));
    }
}

fn trend(plan: &Plan, range: RangeIndex) -> Trend {
    let around = Around {
        constant: plan.path(range) * plan.part.capacitance,
        interval: plan.meter.interval,
        charge: plan.full_charge(),
    };
    Trend::new(plan.target.limit, plan.target.judged_at(), around)
}
