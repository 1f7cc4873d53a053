//! Things that go wrong with instruments, leads and links.

use crate::quantity::{Current, Time, Voltage};
use crate::simbench::desk::Instrument;
use crate::simbench::meter::{MeterTrouble, Mood};
use crate::simbench::spoil::LineFault;
use crate::simbench::supply::{SupplyTrouble, Trip};
use crate::simbench::world::World;

/// Time for which a restarting supply or switch hears nothing (s).
const RESTART_TIME: f64 = 4.0;

/// Something that goes wrong. All times are bench time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// The meter takes lines and does nothing with them.
    MeterSilent,
    /// The supply takes lines and does nothing with them; its output stays as it is.
    SupplySilent,
    /// The meter tells its last reading for ever.
    MeterFrozen,
    /// The meter tells the mark for not a number, `9.91E+37`.
    MeterNaN,
    /// The meter tells `Err` instead of a number.
    MeterErrorWord,
    /// The meter's leads are swapped.
    MeterSwapped,
    /// The meter tells the end of its range where it ought to tell an overload.
    MeterWithoutOverload,
    /// Each reply of this instrument comes late.
    Late(Instrument, Time),
    /// What this instrument sends in this time is held up on its way, and then comes all at once.
    HeldUp(Instrument, Time),
    /// Lines that come sooner than this after another line are lost.
    NeedsGap(Instrument, Time),
    /// The supply's relay is stuck: the output stays on, while `OUTP?` tells what was ordered.
    SupplyOutputStuckOn,
    /// The output comes on by itself.
    SupplyOutputComesOn,
    /// The over-voltage protection trips and latches.
    SupplyTripped,
    /// The same, but `OUTP?` still tells 1.
    SupplyTrippedTellsOn,
    /// Something happens to the next reply of this instrument on its way.
    Line(Instrument, LineFault),
    /// The next order to switch off gets lost.
    OffIgnoredOnce,
    /// Somebody takes the supply under local control: each order is refused with -203, questions are
    /// answered.
    SupplyLocal,
    /// Voltage set-points above this are clipped to it, with -222 in the queue.
    SetPointClipped(Voltage),
    /// Somebody turns the supply's voltage knob.
    KnobTurned(Voltage),
    /// Somebody turns the supply's current knob.
    LimitTurned(Current),
    /// The supply restarts: deaf for 4 s, then off and at its settings of power-on.
    SupplyRestarts,
    /// The instrument answers `*IDN?` with another name.
    WrongIdentity(Instrument),
    /// The instrument stops reading: what is written to it piles up in the port.
    ReadsNothing(Instrument),
    /// The clip falls off; the part keeps its charge.
    ClipFallsOff,
    /// The supply's port goes away; its output stays as it is.
    SupplyHangUp,
    /// The meter's port goes away.
    MeterHangUp,
    /// Something goes wrong with the switch.
    Switch(SwitchFault),
}

/// Something that goes wrong with the switch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SwitchFault {
    /// The relay of this channel stays closed, and the switch says so.
    Welded(u32),
    /// The relay of this channel stays open, and the switch says so.
    Dead(u32),
    /// Somebody closes the relay of this channel by hand.
    ClosedByHand(u32),
    /// The switch takes lines and does nothing with them; its relays stay as they are.
    Silent,
    /// The switch restarts: all relays fall open, deaf for 4 s.
    Restarts,
    /// The switch's port goes away; its relays stay as they are.
    HangUp,
}

impl World {
    /// Makes a fault happen now.
    pub(crate) fn suffer(&mut self, fault: Fault) {
        match fault {
            Fault::MeterSilent => self.desk(Instrument::Meter).silent = true,
            Fault::SupplySilent => self.desk(Instrument::Supply).silent = true,
            Fault::MeterFrozen => self.meter.trouble.mood = Some(Mood::Frozen),
            Fault::MeterNaN => self.meter.trouble.mood = Some(Mood::NotANumber),
            Fault::MeterErrorWord => self.meter.trouble.mood = Some(Mood::ErrorWord),
            Fault::MeterSwapped => self.meter.trouble.swapped = true,
            Fault::MeterWithoutOverload => self.meter.trouble.no_overload_mark = true,
            Fault::Late(which, time) => self.desk(which).late = time.value,
            Fault::HeldUp(which, time) => {
                let until = self.now() + time.value;
                self.desk(which).held_until = until;
            }
            Fault::NeedsGap(which, time) => self.desk(which).gap = time.value,
            Fault::WrongIdentity(which) => STRANGER.clone_into(&mut self.desk(which).identity),
            Fault::ReadsNothing(which) => self.desk(which).stalled = true,
            Fault::ClipFallsOff => self.circuit.gap = true,
            Fault::SupplyHangUp => self.desk(Instrument::Supply).hung_up = true,
            Fault::MeterHangUp => self.desk(Instrument::Meter).hung_up = true,
            Fault::SupplyOutputStuckOn => self.supply.trouble.sticks = true,
            Fault::SupplyOutputComesOn => self.supply.switch_on(self.now()),
            Fault::SupplyTripped => self.supply.trip(Trip::Voltage),
            Fault::SupplyTrippedTellsOn => {
                self.supply.trip(Trip::Voltage);
                self.supply.trouble.tells_on = true;
            }
            Fault::Line(which, fault) => self.desk(which).way.spoil(fault),
            Fault::SupplyLocal => self.supply.trouble.local = true,
            Fault::OffIgnoredOnce => self.supply.trouble.offs_lost += 1,
            Fault::SetPointClipped(voltage) => {
                self.supply.trouble.clipped_at = Some(voltage.value);
            }
            Fault::KnobTurned(voltage) => self.supply.voltage = voltage.value,
            Fault::LimitTurned(current) => self.supply.current = current.value,
            Fault::Switch(fault) => self.switch_suffers(fault),
            Fault::SupplyRestarts => {
                self.supply.reset();
                let deaf_until = self.now() + RESTART_TIME;
                self.desk(Instrument::Supply).restart(deaf_until);
            }
        }
    }

    fn switch_suffers(&mut self, fault: SwitchFault) {
        match fault {
            SwitchFault::Welded(channel) => self.switch.welded = Some(channel),
            SwitchFault::Dead(channel) => self.switch.dead = Some(channel),
            SwitchFault::ClosedByHand(channel) => self.fall_closed(channel),
            SwitchFault::Silent => self.desk(Instrument::Switch).silent = true,
            SwitchFault::HangUp => self.desk(Instrument::Switch).hung_up = true,
            SwitchFault::Restarts => {
                for channel in self.switch.closed.clone() {
                    self.fall_open(channel);
                }
                let deaf_until = self.now() + RESTART_TIME;
                self.desk(Instrument::Switch).restart(deaf_until);
            }
        }
    }

    /// Mends the instruments: what they suffer from ends. Settings, trips and charge stay, and a
    /// port that is gone or a clip that fell off does not come back by itself.
    pub(crate) fn mend(&mut self) {
        self.supply.trouble = SupplyTrouble::default();
        self.meter.trouble = MeterTrouble::default();
        let (supply, meter) =
            (self.supply.model.identity.clone(), self.meter.model.identity.clone());
        self.desk(Instrument::Supply).mend(supply);
        self.desk(Instrument::Meter).mend(meter);
        self.switch.welded = None;
        self.switch.dead = None;
        let switch = self.switch.model.identity.clone();
        self.desk(Instrument::Switch).mend(switch);
    }
}

/// The name that an instrument gives which is not the one expected.
const STRANGER: &str = "ELSEWHERE,OTHER-INSTRUMENT,0002,1.0";
