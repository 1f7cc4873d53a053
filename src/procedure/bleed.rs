//! Emptying the part: off until proven, bled until measured, looked at again after the rebound.

use super::returned::{Returned, least_of};
use super::rise::PROVING;
use super::soak::conducts;
use super::{
    Context, FewReadings, Input, Instrument, Order, Orders, OutputState, Sample, Senses, State,
    Step, Switch, Tally,
};
use crate::judge::Finding;
use crate::plan::{Bleeder, Plan};
use crate::quantity::{Charge, Current, Time, Voltage, amperes, volts};

/// Share of the charge that must be seen to come back where the bleed itself is the proof.
const RETURN_SHARE: f64 = 0.2;
/// Terminals above this are not empty …
const DRIVEN: f64 = 0.25; // V
/// … and where this share of a voltage is left after the wait, nothing bleeds it.
const STILL_SHARE: f64 = 0.98;
/// Time constants in which a bleeder takes far more than that share off: a fifth.
const WATCHED_CONSTANTS: f64 = 0.2;
/// With a supply that sinks: time constants at 0 V before the output goes off.
const SINKING_CONSTANTS: f64 = 7.0;

/// The discharge.
#[expect(clippy::struct_excessive_bools, reason = "independent observations, not one state")]
#[derive(Debug, Clone)]
pub(super) struct Bleed {
    since: Time,
    written: Time,
    stage: Stage,
    attempts: u8,
    /// The output was proven off and came on again by itself.
    relapsed: bool,
    proven_off: bool,
    supply_lost: bool,
    /// The last reading before the output went off showed that a part hung on the clips.
    attached: bool,
    returned: Returned,
    /// What the terminals were read at when the last wait began.
    stood_at: Option<Voltage>,
}

#[derive(Debug, Clone, Copy)]
enum Stage {
    /// The supply pulls the part down with its output on at 0 V.
    Sinking { since: Time },
    /// Output ordered off; the voltage falls.
    Falling { since: Time },
    /// Below the safe voltage, still on the bleeder.
    Holding { since: Time },
    /// Off the bleeder where that can be done, waiting for absorption to bring voltage back.
    Rebound { since: Time },
}

impl Bleed {
    /// A fault: off first, whatever the bleeder is.
    pub(super) fn after_fault(
        plan: &Plan,
        tally: &Tally,
        senses: &Senses,
        now: Time,
        orders: &mut Orders,
    ) -> Self {
        orders.push(Order::CutOut);
        orders.push(Order::Bleeder(Switch::On));
        if plan.bypassed {
            orders.push(Order::Bypass(Switch::Off));
        }
        if !tally.meter_lost {
            orders.push(Order::SelectRange(plan.meter.bleed));
        }
        // Where the host stood still, the keeper may have emptied the part since the last reading; a
        // meter that is silent by itself keeps nothing from standing at its voltage until now.
        let full_until = if tally.meter_lost { now } else { senses.read_at() };
        Self {
            attached: senses.showed_a_part(plan, tally.offset),
            returned: Returned::since(full_until, now, senses.last_readings()),
            ..Self::new(now, Stage::Falling { since: now })
        }
    }

    /// The planned end: a supply that sinks empties the part first, any other goes off.
    pub(super) fn after_soak(context: &mut Context) -> Self {
        let now = context.now;
        if context.plan.discharge.bleeder == Bleeder::SupplySinks {
            context.orders.push(Order::SetVoltage(volts(0.0)));
            return Self::new(now, Stage::Sinking { since: now });
        }
        context.orders.push(Order::CutOut);
        context.orders.push(Order::Bleeder(Switch::On));
        if !matches!(context.plan.discharge.bleeder, Bleeder::Relay(_)) {
            // With a relay the meter stands on that range already and must not miss a moment.
            context.orders.push(Order::SelectRange(context.plan.meter.bleed));
        }
        Self::new(now, Stage::Falling { since: now })
    }

    fn new(now: Time, stage: Stage) -> Self {
        Self {
            since: now,
            written: now,
            stage,
            attempts: 0,
            relapsed: false,
            proven_off: false,
            supply_lost: false,
            attached: false,
            returned: Returned::since(now, now, [amperes(0.0); 3]),
            stood_at: None,
        }
    }

    pub(super) fn step(&mut self, context: &mut Context, input: Input) -> Step {
        self.take(context, input);
        if let Stage::Sinking { since } = self.stage {
            return self.sink(context, input, since);
        }
        self.repeat_off(context);
        if self.is_overdue(context) || self.relapsed {
            self.weigh_few_readings(context);
            return Self::lock_out(context);
        }
        let fresh = matches!(input, Input::Voltage(Sample::Value(_)) | Input::Current { .. });
        if !fresh || !self.proven_off || self.supply_lost {
            return Step::Stay;
        }
        let Some(voltage) = context.senses.bleeding_voltage(context.plan, context.now) else {
            return Step::Stay;
        };
        let safe = voltage.abs() < context.plan.discharge.safe_voltage;
        self.advance(context, safe)
    }

    fn take(&mut self, context: &mut Context, input: Input) {
        if let Input::Output(state) = input {
            let sinking = matches!(self.stage, Stage::Sinking { .. });
            self.relapsed |= self.proven_off && !sinking && state == OutputState::On;
            self.proven_off = state == OutputState::Off;
            self.supply_lost = false;
        }
        if input == Input::Lost(Instrument::Supply) {
            self.supply_lost = true;
        }
        if let Input::Current { sample, range } = input {
            explain_sag(context, sample);
            self.returned.count(context, self.proven_off, sample, range);
        }
    }

    /// Off is a procedure: written again until the supply says that it is off.
    fn repeat_off(&mut self, context: &mut Context) {
        if self.proven_off || context.now - self.written < context.plan.discharge.repeat {
            return;
        }
        self.written = context.now;
        context.orders.push(Order::CutOut);
    }

    fn is_overdue(&self, context: &Context) -> bool {
        let settled = context.plan.discharge.hold + context.plan.discharge.rebound;
        let rounds = f64::from(self.attempts) + 1.0;
        context.now - self.since > context.plan.discharge.budget + settled * rounds
    }

    fn lock_out(context: &mut Context) -> Step {
        context.orders.push(Order::CutOut);
        context.orders.push(Order::Bleeder(Switch::On));
        Step::Next(State::LockedOut { written: context.now })
    }

    /// The output is on at 0 V; it goes off once the part has followed.
    fn sink(&mut self, context: &mut Context, input: Input, since: Time) -> Step {
        let plan = context.plan;
        let now = context.now;
        let constant = plan.path(plan.meter.bleed) * plan.part.capacitance;
        let waited = constant * (plan.part.greatest_ratio * SINKING_CONSTANTS) + plan.cut_out.stale;
        let failed = matches!(
            input,
            Input::Stop
                | Input::Lost(_)
                | Input::Refused
                | Input::Disturbed
                | Input::Stalled
                | Input::Output(OutputState::Off | OutputState::Unknown)
        );
        let low = context
            .senses
            .bleeding_voltage(plan, now)
            .is_some_and(|voltage| voltage.abs() < plan.discharge.safe_voltage * 0.5);
        if failed || now - since >= waited || (low && now - since >= waited / 2.0) {
            context.orders.push(Order::CutOut);
            context.orders.push(Order::SelectRange(plan.meter.bleed));
            self.written = now;
            self.stage = Stage::Falling { since: now };
        }
        Step::Stay
    }

    fn advance(&mut self, context: &mut Context, safe: bool) -> Step {
        let (plan, now) = (context.plan, context.now);
        match self.stage {
            Stage::Falling { since } if !safe => {
                self.sink_again(context, since);
                Step::Stay
            }
            Stage::Falling { .. }
                if never_charged(context) && !context.tally.charge_in && !is_driven(context) =>
            {
                self.finish(context)
            }
            Stage::Falling { .. } => {
                self.stage = Stage::Holding { since: now };
                Step::Stay
            }
            Stage::Holding { .. } | Stage::Rebound { .. } if !safe => self.again(context),
            Stage::Holding { since } if now - since >= plan.discharge.hold => {
                context.orders.push(Order::Bleeder(Switch::Off));
                self.stood_at = context.senses.terminals();
                self.stage = Stage::Rebound { since: now };
                Step::Stay
            }
            Stage::Rebound { since }
                if now - since >= plan.discharge.rebound && has_been_watched(context, since) =>
            {
                context.orders.push(Order::Bleeder(Switch::On));
                self.finish(context)
            }
            Stage::Sinking { .. } | Stage::Holding { .. } | Stage::Rebound { .. } => Step::Stay,
        }
    }

    /// A supply that sinks is put to 0 V again where the part does not empty by itself.
    fn sink_again(&mut self, context: &mut Context, since: Time) {
        let patience = context.plan.cut_out.stale * 2.0;
        let sinks = context.plan.discharge.bleeder == Bleeder::SupplySinks;
        if !sinks || context.now - since < patience || self.is_spent(context) {
            return;
        }
        self.attempts += 1;
        self.proven_off = false;
        context.orders.push(Order::SinkAtZero);
        self.stage = Stage::Sinking { since: context.now };
    }

    fn is_spent(&self, context: &Context) -> bool {
        context.plan.discharge.attempts <= self.attempts
    }

    /// The voltage came back: bleed again, so often as the plan allows.
    fn again(&mut self, context: &mut Context) -> Step {
        if self.is_spent(context) {
            return Self::lock_out(context);
        }
        self.attempts += 1;
        context.orders.push(Order::Bleeder(Switch::On));
        self.stage = Stage::Falling { since: context.now };
        Step::Stay
    }

    /// The terminals are empty; the part is too only if it still hangs on them.
    fn finish(&mut self, context: &mut Context) -> Step {
        self.weigh_few_readings(context);
        if self.stands_still(context) {
            return Self::lock_out(context);
        }
        let held = context.plan.full_charge() * context.plan.part.least_ratio;
        let floor = context.plan.ramp.charge_floor * PROVING;
        if self.returned.reaches((held * RETURN_SHARE).max(floor)) {
            context.tally.charge_out = true;
            unless_it_holds_charge(context.tally);
        }
        if self.hung_on(context, held) {
            return Step::Next(State::Safe);
        }
        context.tally.ended_by.get_or_insert(Finding::ContactLost);
        if never_charged(context) {
            return Step::Next(State::Safe);
        }
        Self::lock_out(context)
    }

    /// Whether the terminals stand at a voltage that falls no more although a bleeder is across them:
    /// something still drives them, whatever the supply says of its output.
    fn stands_still(&self, context: &Context) -> bool {
        let fitted = matches!(context.plan.discharge.bleeder, Bleeder::Fitted(_));
        let (Some(then), Some(now)) = (self.stood_at, context.senses.terminals()) else {
            return false;
        };
        fitted && is_driven(context) && then.abs() * STILL_SHARE <= now.abs()
    }

    /// A part that gave way holds no charge. One that gives charge back did not: the reading that said so
    /// was garbled or one of a surge, or nothing was there to see it by.
    fn weigh_few_readings(&mut self, context: &mut Context) {
        let slept = self.returned.is_slept_through(context.plan.cut_out.stale);
        let sagged = slept && is_by_a_sag(context.tally);
        if sagged || (self.returned.hangs() && context.tally.ended_by.is_some_and(is_of_the_part)) {
            context.tally.ended_by = Some(Finding::InstrumentLost);
            context.tally.broke_down_at = None;
        }
        let Some(seen) = context.tally.by_few_readings.take() else { return };
        let held = charge_held(context);
        // Without a bleeder it gives nothing back by itself, and stands there charged.
        let unproven = match context.plan.discharge.bleeder {
            Bleeder::SupplySinks => 0 < self.attempts,
            Bleeder::Fitted(_) | Bleeder::Relay(_) => {
                self.returned.shows_some_of(held) || self.returned.is_unseen() || slept
            }
        };
        let nothing = seen == FewReadings::OfNothing || !took_charge(context, held);
        if unproven || nothing || !self.proven_off || stands_charged(context) {
            self.attached = seen == FewReadings::OfAPart;
            context.tally.ended_by = Some(Finding::InstrumentLost);
            context.tally.broke_down_at = None;
        }
    }

    /// Whether a part that took charge was still there when it was emptied. A part that gave way
    /// showed that it was by its current.
    fn hung_on(&self, context: &Context, held: Charge) -> bool {
        let tally = &context.tally;
        if tally.swapped {
            return false;
        }
        // What was seen before counts only where no charge could be seen to come back: where the meter
        // is heard and sees none, a clip came off since.
        let blind = self.returned.is_unseen() || self.returned.is_missed();
        let seen = self.returned.shows_some_of(charge_held(context));
        match tally.ended_by {
            None => !tally.charge_in || (tally.charge_out && (seen || blind)),
            Some(Finding::ContactLost) => tally.charge_out,
            Some(Finding::Stopped | Finding::InstrumentLost | Finding::NoContact) => {
                !took_charge(context, held) || tally.charge_out || seen || (self.attached && blind)
            }
            Some(_) => true,
        }
    }
}

/// The least that the part can hold after the highest voltage it was seen at.
fn charge_held(context: &Context) -> Charge {
    let high = context.tally.high_water.max(volts(0.0));
    context.plan.part.capacitance * context.plan.part.least_ratio * high
}

/// Whether charge was seen to go into something.
fn took_charge(context: &Context, held: Charge) -> bool {
    let floor = context.plan.ramp.charge_floor * 5.0;
    let least = least_of(held).max(floor);
    context.tally.charge_in || least < context.tally.count.charge().abs()
}

/// Whether terminals that are not empty were read again after a bleeder had time to be seen at work.
fn has_been_watched(context: &Context, since: Time) -> bool {
    let plan = context.plan;
    let constant = plan.bleed_loop(context.senses.range()) * plan.part.capacitance;
    let seen = constant * (plan.part.greatest_ratio * WATCHED_CONSTANTS);
    !is_driven(context) || (context.senses.has_read_since(since) && seen <= context.now - since)
}

/// Whether the terminals stand at a voltage that a part which gave way could not hold.
fn stands_charged(context: &Context) -> bool {
    let safe = context.plan.discharge.safe_voltage;
    context.senses.terminals().is_some_and(|voltage| safe <= voltage.abs())
}

/// Whether something may still drive the terminals.
fn is_driven(context: &Context) -> bool {
    context.senses.terminals().is_some_and(|voltage| volts(DRIVEN) < voltage.abs())
}

/// Whether the part was never seen above the voltage at which it may be touched.
fn never_charged(context: &Context) -> bool {
    context.senses.peak_part_voltage() < context.plan.discharge.safe_voltage
}

/// Whether the finding rests on a current into the part that was too large.
fn is_of_the_part(finding: Finding) -> bool {
    matches!(
        finding,
        Finding::BrokeDown | Finding::HeldBelowTestVoltage | Finding::Shorted | Finding::RunsAway
    )
}

/// Whether it is said to have given way since its voltage fell as a large current was read.
fn is_by_a_sag(tally: &Tally) -> bool {
    tally.ended_by == Some(Finding::BrokeDown) && tally.by_a_sag
}

/// What gives back as much as a part that is full is no short, nor did it give way in a moment: the
/// supply was raised by hand, or tripped.
fn unless_it_holds_charge(tally: &mut Tally) {
    if is_by_a_sag(tally) || tally.ended_by == Some(Finding::Shorted) {
        tally.ended_by = Some(Finding::InstrumentLost);
        tally.broke_down_at = None;
    }
}

/// The first reading after a sag covers the moment before the output went off: if the part drew
/// far more than a leak, it is the part that gave way and not the supply.
fn explain_sag(context: &mut Context, sample: Sample<Current>) {
    let drew = match sample {
        Sample::Value(current) => conducts(context.plan, current),
        Sample::Overload { negative } => !negative,
        Sample::NotANumber => return,
    };
    if std::mem::take(&mut context.tally.sagged) && drew {
        context.tally.by_a_sag = true;
        context.tally.ended_by = Some(Finding::BrokeDown);
        context.tally.broke_down_at.get_or_insert(context.tally.high_water);
    }
}
