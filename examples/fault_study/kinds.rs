//! What goes wrong, and where.

use reststrom::plan::Phase;
use reststrom::quantity::{amperes, seconds, volts};
use reststrom::simbench::{Fault, Instrument};

use crate::dice::Dice;

/// Something that happens to one reply on its way, or to what is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum OnLine {
    Late,
    Missing,
    Split,
    Glued,
    Garbled,
    BitFlipped,
    ByteLost,
    ByteAdded,
    Echoed,
    Stale,
    WithoutEnd,
    OtherEnd,
    DecimalComma,
    OverloadMark,
    NoNumberMark,
    ErrorWord,
    Unasked,
    OrderLost,
    OrderGarbled,
}

/// Something that happens to an instrument, a lead or the host.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum AtBench {
    Silent,
    SilentForAWhile,
    PortGone,
    MeterFrozen,
    MeterNoNumber,
    MeterErrorWord,
    MeterSwapped,
    MeterWithoutOverload,
    ProtectionTrips,
    TripsTellsOn,
    OffLost,
    KnobDown,
    KnobUp,
    LimitTurned,
    Restarts,
    RelaySticks,
    ComesOnByItself,
    LocalControl,
    SetPointClipped,
    NeedsGap,
    ClipFallsOff,
    HostStalls,
    Stop,
}

/// A kind of fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    OnLine(OnLine),
    AtBench(AtBench),
}

const ON_LINE: [OnLine; 19] = [
    OnLine::Late,
    OnLine::Missing,
    OnLine::Split,
    OnLine::Glued,
    OnLine::Garbled,
    OnLine::BitFlipped,
    OnLine::ByteLost,
    OnLine::ByteAdded,
    OnLine::Echoed,
    OnLine::Stale,
    OnLine::WithoutEnd,
    OnLine::OtherEnd,
    OnLine::DecimalComma,
    OnLine::OverloadMark,
    OnLine::NoNumberMark,
    OnLine::ErrorWord,
    OnLine::Unasked,
    OnLine::OrderLost,
    OnLine::OrderGarbled,
];

const AT_BENCH: [AtBench; 23] = [
    AtBench::Silent,
    AtBench::SilentForAWhile,
    AtBench::PortGone,
    AtBench::MeterFrozen,
    AtBench::MeterNoNumber,
    AtBench::MeterErrorWord,
    AtBench::MeterSwapped,
    AtBench::MeterWithoutOverload,
    AtBench::ProtectionTrips,
    AtBench::TripsTellsOn,
    AtBench::OffLost,
    AtBench::KnobDown,
    AtBench::KnobUp,
    AtBench::LimitTurned,
    AtBench::Restarts,
    AtBench::RelaySticks,
    AtBench::ComesOnByItself,
    AtBench::LocalControl,
    AtBench::SetPointClipped,
    AtBench::NeedsGap,
    AtBench::ClipFallsOff,
    AtBench::HostStalls,
    AtBench::Stop,
];

/// The phases in which faults are sown.
pub(crate) const PHASES: [Phase; 6] =
    [Phase::Probe, Phase::Ramp, Phase::Charge, Phase::Settle, Phase::Soak, Phase::Bleed];

/// A fault that is to come.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sown {
    pub(crate) kind: Kind,
    pub(crate) which: Instrument,
    pub(crate) phase: Phase,
    /// Share of the phase's usual length after which it comes.
    pub(crate) share: f64,
}

impl Sown {
    /// Any fault, anywhere.
    pub(crate) fn draw(dice: &mut Dice) -> Self {
        let kind = if dice.share() < 0.6 {
            Kind::OnLine(dice.pick(&ON_LINE))
        } else {
            Kind::AtBench(dice.pick(&AT_BENCH))
        };
        if kind == Kind::AtBench(AtBench::MeterSwapped) {
            // Leads are swapped before a run; in one, it would be a lost contact.
            return Self { kind, which: Instrument::Meter, phase: Phase::Probe, share: 0.0 };
        }
        Self {
            kind,
            which: dice.pick(&[Instrument::Supply, Instrument::Meter]),
            phase: dice.pick(&PHASES),
            share: dice.share(),
        }
    }

    /// After this the meter may have shown nothing for so long that it counted as lost, or the keeper may
    /// have emptied the bench while the host stood still.
    pub(crate) fn blinds_the_meter(&self) -> bool {
        match self.kind {
            Kind::AtBench(
                AtBench::MeterFrozen
                | AtBench::MeterNoNumber
                | AtBench::MeterErrorWord
                | AtBench::HostStalls,
            ) => true,
            Kind::AtBench(
                AtBench::Silent | AtBench::SilentForAWhile | AtBench::PortGone | AtBench::NeedsGap,
            ) => self.which == Instrument::Meter,
            Kind::AtBench(_) | Kind::OnLine(_) => false,
        }
    }

    /// Whether the meter is out of step after it for a second or two.
    pub(crate) fn spoils_the_meters_line(&self) -> bool {
        matches!(self.kind, Kind::OnLine(_)) && self.which == Instrument::Meter
    }
}

impl Kind {
    /// The word in the tables.
    pub(crate) fn tag(self) -> String {
        let name = match self {
            Self::OnLine(kind) => format!("{kind:?}"),
            Self::AtBench(kind) => format!("{kind:?}"),
        };
        let mut tag = String::new();
        for letter in name.chars() {
            if letter.is_ascii_uppercase() && !tag.is_empty() {
                tag.push(' ');
            }
            tag.push(letter.to_ascii_lowercase());
        }
        tag
    }

    /// After this nobody can take the output off from the line, or see that it is off.
    pub(crate) fn ends_control(self) -> bool {
        matches!(
            self,
            Self::AtBench(
                AtBench::Silent
                    | AtBench::SilentForAWhile
                    | AtBench::PortGone
                    | AtBench::RelaySticks
                    | AtBench::LocalControl
                    | AtBench::NeedsGap
            )
        )
    }
}

impl AtBench {
    /// What it is to the simulated bench; none if it is the host's or the line's.
    pub(crate) fn fault(self, which: Instrument, dice: &mut Dice) -> Option<Fault> {
        Some(match (self, which) {
            (Self::Silent | Self::SilentForAWhile, Instrument::Meter) => Fault::MeterSilent,
            (Self::Silent | Self::SilentForAWhile, _) => Fault::SupplySilent,
            (Self::PortGone, Instrument::Meter) => Fault::MeterHangUp,
            (Self::PortGone, _) => Fault::SupplyHangUp,
            (Self::MeterFrozen, _) => Fault::MeterFrozen,
            (Self::MeterNoNumber, _) => Fault::MeterNaN,
            (Self::MeterErrorWord, _) => Fault::MeterErrorWord,
            (Self::MeterSwapped, _) => Fault::MeterSwapped,
            (Self::MeterWithoutOverload, _) => Fault::MeterWithoutOverload,
            (Self::ProtectionTrips, _) => Fault::SupplyTripped,
            (Self::TripsTellsOn, _) => Fault::SupplyTrippedTellsOn,
            (Self::OffLost, _) => Fault::OffIgnoredOnce,
            (Self::KnobDown, _) => Fault::KnobTurned(volts(dice.between(0.5, 24.5))),
            (Self::KnobUp, _) => Fault::KnobTurned(volts(dice.between(25.05, 40.0))),
            (Self::LimitTurned, _) => Fault::LimitTurned(amperes(dice.between(1e-3, 0.9))),
            (Self::Restarts, _) => Fault::SupplyRestarts,
            (Self::RelaySticks, _) => Fault::SupplyOutputStuckOn,
            (Self::ComesOnByItself, _) => Fault::SupplyOutputComesOn,
            (Self::LocalControl, _) => Fault::SupplyLocal,
            (Self::SetPointClipped, _) => Fault::SetPointClipped(volts(dice.between(1.0, 24.5))),
            (Self::NeedsGap, which) => Fault::NeedsGap(which, seconds(dice.between(0.01, 0.15))),
            (Self::ClipFallsOff, _) => Fault::ClipFallsOff,
            (Self::HostStalls | Self::Stop, _) => return None,
        })
    }
}
