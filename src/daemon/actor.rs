//! The station's actor: the only one that writes to its ports.
//!
//! One loop: wait for bytes, time or a wish to stop; turn what came into inputs; let the procedure
//! answer each with orders; carry them out at once. A reading goes to the record before the
//! procedure sees it. Nothing in the loop waits for disk, screen or a reply.

use std::sync::Arc;

use tokio::sync::{mpsc, watch};

use super::cause::LastValues;
use super::clock::Clock;
use super::keeper::{Keeper, KeeperError};
use super::plug::Plug;
use super::progress::Progress;
use crate::plan::{Phase, Plan, RangeIndex, Sample};
use crate::procedure::{Input, Instrument, Order, Orders, Outcome, Procedure, Switch};
use crate::quantity::{Current, Time, seconds};
use crate::record::{EventRow, Flags, RecordedCurrent, Row, Writer};
use crate::station::{Link, Meter, MeterSays, Relay, Settings, Supply, SupplySays};

/// The loop turns at least this often, in host time.
const TURN: f64 = 0.05; // s
/// Bytes of a line that are taken at once: a second of a fast line, so that a backlog is seen as one.
const TAKEN: usize = 4096;
/// A reading behind which later ones came in the same read is late by more than this, in host time:
/// what turns of the loop explain is less.
const LATE: f64 = 0.1; // s
/// A lost supply is asked again this often, in host time.
const REOPEN: f64 = 2.0; // s
/// A station that is locked out is ordered off for this long before the actor ends, host time.
const LOCKED_OUT_TURNS: f64 = 2.0; // s

/// Why a person or the system wants a run to end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop(pub String);

/// Everything the actor holds.
pub(crate) struct Actor {
    pub(crate) supply: Supply,
    pub(crate) supply_link: Option<Link>,
    pub(crate) supply_plug: Plug,
    pub(crate) meter: Meter,
    pub(crate) meter_link: Option<Link>,
    pub(crate) meter_plug: Plug,
    pub(crate) relay: Option<Relay>,
    pub(crate) bypass: Option<Relay>,
    pub(crate) keeper: Keeper,
    pub(crate) clock: Clock,
}

/// Where a run's readings and events go, and where its wishes come from.
pub(crate) struct Surroundings<'a> {
    /// The record; a bench that is only made safe has none.
    pub(crate) writer: Option<&'a Writer>,
    pub(crate) progress: &'a watch::Sender<Progress>,
    pub(crate) stops: &'a mut mpsc::UnboundedReceiver<Stop>,
}

/// How a run ended, and what was said on the way.
#[derive(Debug, Clone)]
pub(crate) struct Ended {
    pub(crate) outcome: Outcome,
    pub(crate) notes: Vec<String>,
}

/// A closed list of what can happen to the actor.
enum Event {
    Supply(std::io::Result<usize>),
    Meter(std::io::Result<usize>),
    Stop(Stop),
    RecordFailed(String),
    Time,
}

/// One run in the actor.
struct Run<'a> {
    procedure: Procedure,
    plan: Arc<Plan>,
    around: Surroundings<'a>,
    notes: Vec<String>,
    sequence: u32,
    judged_at: Time,
    /// Bench time minus this is run time.
    began: Time,
    keeping: bool,
    reopened: Time,
    ended_at: Option<Time>,
    record_failed: bool,
    /// How often a line had to be brought back into step when that was last put on record.
    set_backs: u32,
    latest: Option<Sample<Current>>,
    read_at: Option<jiff::Timestamp>,
    values: LastValues,
}

impl Actor {
    /// Carries out a run from its first order to its end.
    pub(crate) async fn run(
        &mut self,
        plan: Arc<Plan>,
        begin: fn(&mut Procedure, Time) -> Orders,
        around: Surroundings<'_>,
    ) -> Ended {
        let mut run = Run {
            procedure: Procedure::new(plan.clone()),
            plan,
            around,
            notes: Vec::new(),
            sequence: 0,
            judged_at: self.clock.host(),
            began: self.clock.bench(),
            keeping: false,
            reopened: self.clock.host(),
            ended_at: None,
            record_failed: false,
            set_backs: self.set_backs(),
            latest: None,
            read_at: None,
            values: LastValues::none(),
        };
        let orders = begin(&mut run.procedure, seconds(0.0));
        self.keep(&mut run);
        self.carry_out(&mut run, &orders);
        self.clock.turn();
        loop {
            if let Some(outcome) = self.ended(&mut run) {
                return Ended { outcome, notes: run.notes };
            }
            self.plug_in_again(&mut run).await;
            self.write_what_is_due(&mut run);
            self.turn(&mut run).await;
        }
    }

    /// Waits for one event and deals with it.
    async fn turn(&mut self, run: &mut Run<'_>) {
        let (mut from_supply, mut from_meter) = ([0; TAKEN], [0; TAKEN]);
        let event = self.next_event(run, &mut from_supply, &mut from_meter).await;
        if let Some(stood) = self.clock.turn() {
            run.note(format!("the host stood still for {:.1} s", stood.value));
            self.feed(run, Input::Stalled);
        }
        let now = self.clock.host();
        match event {
            Event::Supply(Ok(count)) => {
                let says = self.supply.receive(&from_supply[..count], now);
                self.hear_supply(run, says);
            }
            Event::Meter(Ok(count)) => {
                let says = self.meter.receive(&from_meter[..count], now);
                self.hear_meter(run, says);
            }
            Event::Supply(Err(error)) => self.lose_supply(run, &error.to_string()),
            Event::Meter(Err(error)) => self.lose_meter(run, &error.to_string()),
            Event::Stop(Stop(why)) => {
                run.note(why);
                self.feed(run, Input::Stop);
            }
            Event::RecordFailed(why) => {
                run.record_failed = true;
                run.note(why);
                self.feed(run, Input::Disturbed);
            }
            Event::Time => {}
        }
        self.pass(run);
    }

    async fn next_event(
        &mut self,
        run: &mut Run<'_>,
        from_supply: &mut [u8],
        from_meter: &mut [u8],
    ) -> Event {
        let wakes = self.wakes_at();
        let mut progress = run.watched_record();
        let failed = async {
            match progress.as_mut() {
                Some(progress) => progress.failed().await.to_string(),
                None => std::future::pending().await,
            }
        };
        // Only single reads and waits stand here: none of them loses bytes when another wins.
        tokio::select! {
            biased;
            Some(stop) = run.around.stops.recv() => Event::Stop(stop),
            read = read(&mut self.supply_link, from_supply) => Event::Supply(read),
            read = read(&mut self.meter_link, from_meter) => Event::Meter(read),
            why = failed => Event::RecordFailed(why),
            () = tokio::time::sleep_until(self.clock.instant(wakes).into()) => Event::Time,
        }
    }

    fn wakes_at(&self) -> Time {
        let tick = self.clock.host() + seconds(TURN);
        let supply = self.supply_link.as_ref().and_then(|_| self.supply.wakes_at());
        let meter = self.meter_link.as_ref().and_then(|_| self.meter.wakes_at());
        [supply, meter].into_iter().flatten().fold(tick, Time::min)
    }

    /// Missed deadlines, a tick for the procedure, a beat for the keeper.
    fn pass(&mut self, run: &mut Run<'_>) {
        let now = self.clock.host();
        let says = self.supply.pass(now);
        self.hear_supply(run, says);
        let says = self.meter.pass(now);
        self.hear_meter(run, says);
        self.note_set_backs(run);
        self.feed(run, Input::Tick);
        self.keep(run);
        run.tell(self.clock.bench());
    }

    fn set_backs(&self) -> u32 {
        self.supply.resyncs().saturating_add(self.meter.resyncs())
    }

    /// A line that limps is seen on record before it dies; a bad one fills no record.
    fn note_set_backs(&self, run: &mut Run<'_>) {
        let now = self.set_backs();
        if now <= run.set_backs || (1 < now && now < run.set_backs.saturating_mul(2)) {
            return;
        }
        run.set_backs = now;
        let (supply, meter) = (self.supply.resyncs(), self.meter.resyncs());
        let text = format!("out of step so far: supply {supply} times, meter {meter} times");
        run.event("line", &text, self.clock.bench());
    }

    /// The keeper is armed before the first output-on and hears from the actor at every turn.
    fn keep(&mut self, run: &mut Run<'_>) {
        let age = self.clock.host() - run.judged_at;
        let beat = if run.keeping { self.keeper.beat(age) } else { self.keeper.arm() };
        run.keeping = true;
        if let Err(error) = beat
            && !run.notes.iter().any(|note| note.starts_with("the keeper"))
        {
            run.note(error.to_string());
            self.feed(run, Input::Stalled);
        }
    }

    fn hear_supply(&mut self, run: &mut Run<'_>, says: Vec<SupplySays>) {
        for said in says {
            match said {
                SupplySays::Voltage(sample) => {
                    self.feed(run, Input::Voltage(sample));
                    run.judged_at = self.clock.host();
                }
                SupplySays::Output(state) => self.feed(run, Input::Output(state)),
                SupplySays::Armed => self.feed(run, Input::Armed),
                SupplySays::Refused(what) => {
                    run.note(what);
                    self.feed(run, Input::Refused);
                }
                SupplySays::Disturbed(what) => {
                    run.note(what);
                    self.feed(run, Input::Disturbed);
                }
                SupplySays::Complains(text) => run.event("error-queue", &text, self.clock.bench()),
                SupplySays::Identity(_) => {}
                SupplySays::Lost(why) => {
                    run.note(format!("supply: {why}"));
                    self.break_off_supply();
                    self.feed(run, Input::Lost(Instrument::Supply));
                }
            }
        }
    }

    fn hear_meter(&mut self, run: &mut Run<'_>, says: Vec<MeterSays>) {
        let mut behind = says.iter().filter(|said| matches!(said, MeterSays::Current(..))).count();
        for said in says {
            match said {
                MeterSays::Current(sample, range) => {
                    behind -= 1;
                    let late = self.is_late(behind, run.plan.meter.interval);
                    if let Err(error) = run.record(self.clock.bench(), sample, range, late) {
                        run.note(error);
                        self.feed(run, Input::Disturbed);
                    }
                    self.feed(run, Input::Current { sample, range });
                    run.judged_at = self.clock.host();
                }
                MeterSays::Disturbed(what) => {
                    run.note(what);
                    self.feed(run, Input::Disturbed);
                }
                MeterSays::Complains(text) => run.event("error-queue", &text, self.clock.bench()),
                MeterSays::Identity(_) => {}
                MeterSays::Lost(why) => {
                    run.note(format!("meter: {why}"));
                    self.feed(run, Input::Lost(Instrument::Meter));
                }
            }
        }
    }

    /// Whether a reading behind which so many others came in the same read was taken long before.
    fn is_late(&self, behind: usize, interval: Time) -> bool {
        let behind = f64::from(u32::try_from(behind).unwrap_or(u32::MAX));
        seconds(LATE) < self.clock.lasts(interval * behind)
    }

    /// A connection that swallows everything may deliver it much later: nothing of it must come
    /// after the cut-out that follows on a new one.
    fn break_off_supply(&mut self) {
        if let Some(link) = self.supply_link.take_if(|link| link.may_hold_back()) {
            self.supply_plug.pull(link, self.clock.host());
        }
    }

    /// A line that came back serves to end the run safely, never to go on with it.
    async fn plug_in_again(&mut self, run: &mut Run<'_>) {
        if !matches!(run.procedure.phase(), Phase::Bleed | Phase::LockedOut) {
            return;
        }
        let now = self.clock.host();
        if let Some(link) = self.supply_plug.open_again(now).await {
            run.note(format!("{}: the supply's line is back", link.port()));
            self.supply_link = Some(link);
            self.supply.comes_back(now);
            self.cut_out(run);
            self.hand_on_the_keeping(run);
        }
        if let Some(link) = self.meter_plug.open_again(now).await {
            run.note(format!("{}: the meter's line is back", link.port()));
            self.meter_link = Some(link);
            self.meter.comes_back(now);
        }
    }

    /// The keeper's handle went with the line: one that holds the new line takes its place.
    fn hand_on_the_keeping(&mut self, run: &mut Run<'_>) {
        let Some(link) = &self.supply_link else { return };
        let followed = link
            .duplicate()
            .map_err(KeeperError::Start)
            .and_then(|duplicate| self.keeper.follow(duplicate));
        match followed {
            // It ends by itself, and takes a moment for it.
            Ok(before) => drop(tokio::task::spawn_blocking(move || {
                if let Err(error) = before.dismiss() {
                    tracing::warn!(%error, "the keeper of before can't be waited for");
                }
            })),
            Err(error) => {
                run.note(format!("the keeper does not hold the line that is back: {error}"));
            }
        }
    }

    fn lose_supply(&mut self, run: &mut Run<'_>, why: &str) {
        let Some(link) = self.supply_link.take() else { return };
        let port = link.port().to_owned();
        self.supply_plug.pull(link, self.clock.host());
        run.note(format!("{port}: the supply's line is gone ({why}); its output may be ON"));
        self.feed(run, Input::Lost(Instrument::Supply));
    }

    fn lose_meter(&mut self, run: &mut Run<'_>, why: &str) {
        let Some(link) = self.meter_link.take() else { return };
        let port = link.port().to_owned();
        self.meter_plug.pull(link, self.clock.host());
        run.note(format!("{port}: the meter's line is gone ({why})"));
        self.feed(run, Input::Lost(Instrument::Meter));
    }

    /// One input to the procedure, and its orders out.
    fn feed(&mut self, run: &mut Run<'_>, input: Input) {
        let before = run.procedure.phase();
        let bench = self.clock.bench();
        let now = bench - run.began;
        let orders = run.procedure.step(now, input);
        self.carry_out(run, &orders);
        run.values.hear(now, input);
        let after = run.procedure.phase();
        if before != after {
            run.event("phase", after.tag(), bench);
        }
        if before != after && after == Phase::Bleed && run.procedure.ended_early() {
            let causes = run.values.causes(now, run.plan.cut_out.stale, input);
            for cause in causes {
                run.note(cause);
            }
        }
    }

    /// Carries out the orders of one step, up to one whose failure ends what they were given for.
    fn carry_out(&mut self, run: &mut Run<'_>, orders: &Orders) {
        let phase = run.procedure.phase();
        for order in orders {
            if run.procedure.phase() != phase {
                return;
            }
            match *order {
                Order::CutOut => self.cut_out(run),
                Order::Bleeder(switch) => self.bleed(run, switch),
                Order::Bypass(switch) => self.bridge(run, switch),
                Order::Arm => self.supply.arm(settings(&run.plan)),
                Order::SwitchOn => self.supply.switch_on(),
                Order::SinkAtZero => self.supply.sink_at_zero(),
                Order::SetVoltage(voltage) => self.supply.set_voltage(voltage),
                Order::SelectRange(range) => self.meter.select(range),
            }
        }
    }

    /// Output off, on the line now, ahead of everything.
    fn cut_out(&mut self, run: &mut Run<'_>) {
        let bytes = self.supply.cut_out(self.clock.host());
        let (Some(link), Some(bytes)) = (&mut self.supply_link, bytes) else { return };
        if let Err(error) = link.cut_out(&bytes) {
            run.note(format!("{}: output-off could not be written: {error}", link.port()));
        }
    }

    fn bleed(&mut self, run: &mut Run<'_>, switch: Switch) {
        let Some(relay) = &mut self.relay else { return };
        let done = if switch == Switch::On { relay.fall() } else { relay.pull() };
        if let Err(error) = done {
            run.note(format!("the bleeder relay does not obey: {error}"));
            self.feed(run, Input::Disturbed);
        }
    }

    fn bridge(&mut self, run: &mut Run<'_>, switch: Switch) {
        let Some(relay) = &mut self.bypass else { return };
        let done = if switch == Switch::On { relay.pull() } else { relay.fall() };
        if let Err(error) = done {
            run.note(format!("the bypass relay does not obey: {error}"));
            self.feed(run, Input::Disturbed);
        }
    }

    /// Puts on the lines what the conversations have to say.
    fn write_what_is_due(&mut self, run: &mut Run<'_>) {
        let now = self.clock.host();
        // The meter first: a step of the voltage then falls into the reading that it starts.
        let meter = flush(&mut self.meter_link, || self.meter.write(now));
        let supply = flush(&mut self.supply_link, || self.supply.write(now));
        if let Err(error) = supply {
            self.lose_supply(run, &error.to_string());
        }
        if let Err(error) = meter {
            self.lose_meter(run, &error.to_string());
        }
        self.ask_a_lost_supply_again(run, now);
    }

    /// A supply that fell silent may answer again, and only it can prove its output off.
    fn ask_a_lost_supply_again(&mut self, run: &mut Run<'_>, now: Time) {
        let bleeding = matches!(run.procedure.phase(), Phase::Bleed | Phase::LockedOut);
        if bleeding
            && self.supply_link.is_some()
            && self.supply.is_lost()
            && seconds(REOPEN) < now - run.reopened
        {
            run.reopened = now;
            self.supply.begin_again(now);
        }
    }

    /// The outcome, once there is one and, if locked out, off was ordered for a while longer.
    fn ended(&mut self, run: &mut Run<'_>) -> Option<Outcome> {
        let outcome = run.procedure.outcome()?;
        let now = self.clock.host();
        let since = *run.ended_at.get_or_insert(now);
        if run.procedure.phase() == Phase::LockedOut && now - since < seconds(LOCKED_OUT_TURNS) {
            return None;
        }
        if run.procedure.phase() == Phase::Safe && self.keeper.release().is_err() {
            run.note("the keeper was gone at the end".into());
        }
        run.keeping = false;
        Some(outcome)
    }
}

impl Run<'_> {
    fn note(&mut self, text: String) {
        tracing::warn!(phase = %self.procedure.phase(), "{text}");
        if !self.notes.contains(&text) {
            self.notes.push(text);
        }
    }

    /// The record's progress, as long as it has not failed: a failure is told once.
    fn watched_record(&self) -> Option<crate::record::Progress> {
        let progress = self.around.writer?.progress();
        (!self.record_failed).then_some(progress)
    }

    /// A reading goes to the record before it counts.
    fn record(
        &mut self,
        bench: Time,
        sample: Sample<Current>,
        range: RangeIndex,
        late: bool,
    ) -> Result<(), String> {
        let wall = jiff::Timestamp::now();
        self.latest = Some(sample);
        self.read_at = Some(wall);
        let now = bench - self.began;
        let mut flags = Flags::NONE;
        if self.procedure.in_window(now) {
            flags = flags | Flags::IN_WINDOW;
        }
        if self.procedure.phase() == Phase::Settle {
            flags = flags | Flags::SETTLING;
        }
        if late {
            flags = flags | Flags::LATE;
        }
        let row = Row {
            sequence: self.sequence,
            time: now,
            wall,
            current: recorded(sample),
            voltage: self.procedure.part_voltage(now),
            range: Some(self.plan.meter.range(range).full_scale),
            flags,
            phase: self.procedure.phase(),
        };
        self.sequence += 1;
        let Some(writer) = self.around.writer else { return Ok(()) };
        writer.reading(row).map_err(|error| error.to_string())
    }

    fn event(&mut self, kind: &str, text: &str, bench: Time) {
        let time = bench - self.began;
        tracing::info!(kind, text, time = time.value);
        let wall = jiff::Timestamp::now();
        let event = EventRow { time, wall, kind: kind.to_owned(), text: text.to_owned() };
        if let Some(Err(error)) = self.around.writer.map(|writer| writer.event(event)) {
            tracing::error!(%error, "an event is not on record");
        }
    }

    /// Tells whoever watches; nobody has to.
    fn tell(&self, bench: Time) {
        let now = bench - self.began;
        let progress = Progress {
            phase: self.procedure.phase(),
            time: now,
            readings: self.sequence,
            read_at: self.read_at,
            current: self.latest,
            voltage: self.procedure.part_voltage(now),
            full_voltage_at: self.procedure.full_voltage_at(),
            forecast: self.procedure.forecast(),
        };
        self.around.progress.send_replace(progress);
    }
}

fn recorded(sample: Sample<Current>) -> RecordedCurrent {
    match sample {
        Sample::Value(current) => RecordedCurrent::Value(current),
        Sample::Overload { negative } => RecordedCurrent::Overload { negative },
        Sample::NotANumber => RecordedCurrent::NotANumber,
    }
}

fn settings(plan: &Plan) -> Settings {
    Settings {
        current_limit: plan.supply.current_limit,
        over_voltage: plan.supply.over_voltage,
        over_current: plan.supply.over_current,
    }
}

/// Reads from a line that is there; waits for ever on one that is gone.
async fn read(link: &mut Option<Link>, buffer: &mut [u8]) -> std::io::Result<usize> {
    match link {
        Some(link) => link.read(buffer).await,
        None => std::future::pending().await,
    }
}

fn flush(
    link: &mut Option<Link>,
    mut next: impl FnMut() -> Option<Vec<u8>>,
) -> std::io::Result<()> {
    let Some(link) = link else { return Ok(()) };
    link.push()?;
    while let Some(bytes) = next() {
        link.write(&bytes)?;
    }
    Ok(())
}
