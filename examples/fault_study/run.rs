//! One run through conversations, procedure and judge, on a simulated bench whose lines are spoiled.

use std::sync::Arc;

use reststrom::judge::{Left, Verdict};
use reststrom::plan::{Phase, Plan, RangeIndex, Sample};
use reststrom::procedure::{Input, Instrument as Role, Order, Orders, Outcome, Procedure};
use reststrom::quantity::{Current, Time, seconds};
use reststrom::simbench::{BenchByHand, BenchOptions, Instrument, SimPart};
use reststrom::station::{Meter, MeterSays, Settings, Supply, SupplyPace, SupplySays};

use crate::dice::Dice;
use crate::kept::Kept;
use crate::kinds::{AtBench, Kind, Sown};
use crate::station::Station;
use crate::wire::Wire;

/// The loop turns at least this often, s, as that of the station's actor.
const TURN: f64 = 0.05;
/// A lost supply is asked again this often, s.
const REOPEN: f64 = 2.0;
/// A bench that is locked out is ordered off for this long, s.
const LOCKED_OUT: f64 = 2.0;
/// Who has not said its name by then never will, s.
const OPENING: f64 = 40.0;
/// A run that takes longer has no end, s.
const ENDLESS: f64 = 400.0;

/// How a run ended.
#[derive(Debug)]
pub(crate) struct Ended {
    pub(crate) outcome: Option<Outcome>,
    /// The faults that came, in their order.
    pub(crate) came: Vec<Came>,
    /// The output was on at the end.
    pub(crate) on: bool,
    /// Voltage at the part at the end, V.
    pub(crate) volt: f64,
    pub(crate) violations: Vec<String>,
    /// How often the output was ordered on.
    pub(crate) ordered_on: u32,
    /// Readings that the procedure got, and those on record afterwards where one was kept.
    pub(crate) readings: (usize, Option<usize>),
    /// When each phase began, s.
    pub(crate) phases: Vec<(Phase, f64)>,
    /// What the procedure heard, line by line, where the run was to be told.
    pub(crate) heard: Vec<String>,
}

/// A fault that came.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Came {
    pub(crate) sown: Sown,
    /// The phase it came in.
    pub(crate) phase: Phase,
    /// Readings that the procedure had got by then.
    pub(crate) readings: usize,
}

/// A run and its bench.
pub(crate) struct Run<'a> {
    station: &'a Station,
    plan: Arc<Plan>,
    bench: BenchByHand,
    supply: Supply,
    meter: Meter,
    wires: [Wire; 2],
    gone: [bool; 2],
    procedure: Procedure,
    dice: Dice,
    sown: Vec<Sown>,
    came: Vec<Came>,
    /// When the instruments that are silent for a while are mended.
    mended_at: Option<f64>,
    now: f64,
    began: f64,
    reopened: f64,
    ordered_on: u32,
    fed: usize,
    kept: Option<Kept>,
    phases: Vec<(Phase, f64)>,
    heard: Option<Vec<String>>,
}

fn index(which: Instrument) -> usize {
    usize::from(which != Instrument::Supply)
}

const BOTH: [Instrument; 2] = [Instrument::Supply, Instrument::Meter];

impl<'a> Run<'a> {
    /// A bench with this part, about to be asked who is there.
    pub(crate) fn new(station: &'a Station, part: &SimPart, sown: Vec<Sown>, dice: Dice) -> Self {
        let mut dice = dice;
        let seed = u64::from(dice.byte()) << 8 | u64::from(dice.byte());
        let mut bench = BenchByHand::new(BenchOptions { seed, ..BenchOptions::default() });
        bench.clip_in(part);
        let plan = station.plan.clone();
        let wired = &station.wired;
        let start = seconds(0.0);
        Self {
            supply: Supply::open(wired.supply.driver.clone(), SupplyPace::at_lapse(1.0), start),
            meter: Meter::open(&wired.meter.driver, wired.sensed_by, start),
            procedure: Procedure::new(plan.clone()),
            station,
            plan,
            bench,
            wires: [Wire::default(), Wire::default()],
            gone: [false, false],
            dice,
            sown,
            came: Vec::new(),
            mended_at: None,
            now: 0.0,
            began: 0.0,
            reopened: 0.0,
            ordered_on: 0,
            fed: 0,
            kept: None,
            phases: Vec::new(),
            heard: None,
        }
    }

    /// Writes down what the procedure hears.
    pub(crate) fn told(self) -> Self {
        Self { heard: Some(Vec::new()), ..self }
    }

    /// Keeps a real record of the run.
    pub(crate) fn on_record(mut self) -> Result<Self, String> {
        self.kept = Some(Kept::begin()?);
        Ok(self)
    }

    /// Carries the run to its end.
    pub(crate) fn finish(mut self) -> Ended {
        let outcome = self.opens().then(|| self.carry_out_run()).flatten();
        let look = self.bench.look();
        let kept = self.kept.take().map(|kept| kept.count().unwrap_or_default());
        Ended {
            outcome,
            on: look.output_on,
            volt: look.part_voltage.value,
            violations: self.bench.violations().to_vec(),
            came: self.came,
            ordered_on: self.ordered_on,
            readings: (self.fed, kept),
            phases: self.phases,
            heard: self.heard.unwrap_or_default(),
        }
    }

    /// Asks who is there.
    fn opens(&mut self) -> bool {
        let mut known = [false, false];
        while !(known == [true, true] && self.supply.is_settled() && self.meter.is_settled()) {
            if OPENING < self.now {
                return false;
            }
            let (supply, meter) = self.turn();
            known[0] |= supply.iter().any(|said| matches!(said, SupplySays::Identity(_)));
            known[1] |= meter.iter().any(|said| matches!(said, MeterSays::Identity(_)));
        }
        true
    }

    fn carry_out_run(&mut self) -> Option<Outcome> {
        self.began = self.now;
        let orders = self.procedure.start(seconds(0.0));
        self.carry_out(&orders);
        let mut locked_out = None;
        while self.now < self.began + ENDLESS {
            if let Some(outcome) = self.procedure.outcome() {
                let since = *locked_out.get_or_insert(self.now);
                if outcome.left == Left::Safe || LOCKED_OUT < self.now - since {
                    return Some(outcome);
                }
            }
            self.note_phase();
            self.sow();
            let (supply, meter) = self.turn();
            self.hear_supply(supply);
            self.hear_meter(meter);
            self.feed(Input::Tick);
        }
        None
    }

    fn note_phase(&mut self) {
        let phase = self.procedure.phase();
        if self.phases.last().is_none_or(|(last, _)| *last != phase) {
            self.phases.push((phase, self.now));
        }
    }

    /// Lets the faults come whose moment it is.
    fn sow(&mut self) {
        let Some((phase, since)) = self.phases.last().copied() else { return };
        let gone = self.now - since;
        let due =
            |sown: &Sown| sown.phase == phase && sown.share * self.station.usual(phase) <= gone;
        let ripe: Vec<Sown> = self.sown.iter().copied().filter(due).collect();
        self.sown.retain(|sown| !due_in(sown, phase, gone, self.station));
        for sown in ripe {
            self.came.push(Came { sown, phase, readings: self.fed });
            self.suffer(sown);
        }
        if self.mended_at.is_some_and(|at| at <= self.now) {
            self.mended_at = None;
            self.bench.mend();
        }
    }

    fn suffer(&mut self, sown: Sown) {
        let kind = match sown.kind {
            Kind::OnLine(how) => return self.wires[index(sown.which)].spoil(how, self.now),
            Kind::AtBench(kind) => kind,
        };
        if let Some(fault) = kind.fault(sown.which, &mut self.dice) {
            self.bench.inject(fault);
        }
        match kind {
            AtBench::SilentForAWhile => {
                self.mended_at = Some(self.now + self.dice.between(0.2, 15.0));
            }
            AtBench::PortGone => {
                let at = index(sown.which);
                self.gone[at] = true;
                self.wires[at].hang_up();
                let role = if at == 0 { Role::Supply } else { Role::Meter };
                self.feed(Input::Lost(role));
            }
            AtBench::HostStalls => {
                self.now += self.dice.between(1.0, 30.0);
                self.bench.advance_to(seconds(self.now));
                self.feed(Input::Stalled);
            }
            AtBench::Stop => self.feed(Input::Stop),
            _ => {}
        }
    }

    fn host(&self) -> Time {
        seconds(self.now)
    }

    /// Moves on to the next moment and gives what is said then.
    fn turn(&mut self) -> (Vec<SupplySays>, Vec<MeterSays>) {
        self.write();
        let mut next = self.now + TURN;
        let wakes = [self.supply.wakes_at(), self.meter.wakes_at()];
        let alarms = BOTH.map(|which| self.bench.alarm(which));
        for at in wakes.into_iter().chain(alarms).flatten() {
            next = next.min(at.value);
        }
        for at in self.wires.iter().filter_map(Wire::next) {
            next = next.min(at);
        }
        self.now = next.max(self.now + 1e-6);
        self.bench.advance_to(self.host());
        for which in BOTH {
            let wire = &mut self.wires[index(which)];
            for reply in self.bench.say(which) {
                if !self.gone[index(which)] {
                    wire.carry(&reply, self.now, &mut self.dice);
                }
            }
        }
        self.listen()
    }

    fn listen(&mut self) -> (Vec<SupplySays>, Vec<MeterSays>) {
        let now = self.host();
        let (mut supply, mut meter) = (Vec::new(), Vec::new());
        let bytes = self.wires[0].arrived(self.now);
        if !bytes.is_empty() {
            supply.extend(self.supply.receive(&bytes, now));
        }
        let bytes = self.wires[1].arrived(self.now);
        if !bytes.is_empty() {
            meter.extend(self.meter.receive(&bytes, now));
        }
        supply.extend(self.supply.pass(now));
        meter.extend(self.meter.pass(now));
        (supply, meter)
    }

    fn write(&mut self) {
        let now = self.host();
        while let Some(bytes) = self.meter.write(now) {
            self.tell(Instrument::Meter, &bytes);
        }
        while let Some(bytes) = self.supply.write(now) {
            self.tell(Instrument::Supply, &bytes);
        }
        let bleeds = matches!(self.procedure.phase(), Phase::Bleed | Phase::LockedOut);
        if bleeds && self.supply.is_lost() && REOPEN < self.now - self.reopened {
            self.reopened = self.now;
            self.supply.begin_again(now);
        }
    }

    fn tell(&mut self, which: Instrument, bytes: &[u8]) {
        if self.gone[index(which)] {
            return;
        }
        if which == Instrument::Supply && bytes.windows(7).any(|words| words == b"OUTP ON") {
            self.ordered_on += 1;
        }
        let bytes = self.wires[index(which)].tell(bytes, &mut self.dice);
        self.bench.hear(which, &bytes);
    }

    fn hear_supply(&mut self, says: Vec<SupplySays>) {
        for said in says {
            match said {
                SupplySays::Voltage(sample) => self.feed(Input::Voltage(sample)),
                SupplySays::Output(state) => self.feed(Input::Output(state)),
                SupplySays::Armed => self.feed(Input::Armed),
                SupplySays::Refused(_) => self.feed(Input::Refused),
                SupplySays::Disturbed(_) => self.feed(Input::Disturbed),
                SupplySays::Lost(_) => self.feed(Input::Lost(Role::Supply)),
                SupplySays::Complains(_) | SupplySays::Identity(_) => {}
            }
        }
    }

    fn hear_meter(&mut self, says: Vec<MeterSays>) {
        for said in says {
            match said {
                MeterSays::Current(sample, range) => {
                    self.keep((sample, range));
                    self.fed += 1;
                    self.feed(Input::Current { sample, range });
                }
                MeterSays::Disturbed(_) => self.feed(Input::Disturbed),
                MeterSays::Lost(_) => self.feed(Input::Lost(Role::Meter)),
                MeterSays::Complains(_) | MeterSays::Identity(_) => {}
            }
        }
    }

    /// A reading goes to the record before it counts.
    fn keep(&mut self, reading: (Sample<Current>, RangeIndex)) {
        let (second, phase) = (self.now - self.began, self.procedure.phase());
        let Some(kept) = &mut self.kept else { return };
        if !kept.reading(self.station, second, reading, phase) {
            self.kept = None;
            self.feed(Input::Disturbed);
        }
    }

    fn feed(&mut self, input: Input) {
        if let Some(heard) = self.heard.as_mut().filter(|_| input != Input::Tick) {
            heard.push(format!("{:9.4} s {:?} {input:?}", self.now, self.procedure.phase()));
        }
        let orders = self.procedure.step(seconds(self.now - self.began), input);
        self.carry_out(&orders);
    }

    /// As the station's actor does, save for a relay, which this bench has not.
    fn carry_out(&mut self, orders: &Orders) {
        for order in orders {
            match *order {
                Order::CutOut => {
                    if let Some(bytes) = self.supply.cut_out(self.host()) {
                        self.tell(Instrument::Supply, &bytes);
                    }
                }
                Order::Bleeder(_) | Order::Bypass(_) => {}
                Order::Arm => self.supply.arm(Settings {
                    current_limit: self.plan.supply.current_limit,
                    over_voltage: self.plan.supply.over_voltage,
                    over_current: self.plan.supply.over_current,
                }),
                Order::SwitchOn => self.supply.switch_on(),
                Order::SinkAtZero => self.supply.sink_at_zero(),
                Order::SetVoltage(voltage) => self.supply.set_voltage(voltage),
                Order::SelectRange(range) => self.meter.select(range),
            }
        }
    }
}

fn due_in(sown: &Sown, phase: Phase, gone: f64, station: &Station) -> bool {
    sown.phase == phase && sown.share * station.usual(phase) <= gone
}

/// The verdict, or none of a run that was never begun or never ended.
pub(crate) fn verdict(ended: &Ended) -> Option<Verdict> {
    ended.outcome.as_ref().map(|outcome| outcome.ruling.verdict)
}
