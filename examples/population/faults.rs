//! What may be wrong with a part, or with how it was clipped in.

use reststrom::part::{Dielectric, Family};

use crate::dice::Dice;

/// What a part came as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Class {
    /// Sound.
    Healthy,
    /// Its electrolyte has dried out: less capacitance, more resistance, little leakage.
    DriedOut,
    /// Long stored: leaks far too much at first and re-forms, not always to the end.
    Unformed,
    /// A resistance beside it.
    Leaky,
    /// A short of some ohms.
    HardShort,
    /// A short of up to some kiloohms, which may open.
    SoftShort,
    /// Shorts now and then.
    Intermittent,
    /// Nothing in the clip, or a wire that broke off.
    Open,
    /// Tantalum that breaks down and heals.
    Scintillating,
    /// Leaks more and more from the beginning.
    Runaway,
    /// The wrong way round.
    Reversed,
    /// Near its limit, on either side.
    Marginal,
    /// Begins to climb at some moment of the soak, or after it.
    LateClimber,
    /// A tenth of the value that was told.
    WrongValue,
    /// The clip comes off at some moment.
    LosesContact,
}

impl Class {
    /// The word in the tables.
    pub(crate) fn tag(self) -> &'static str {
        match self {
            Self::Healthy => "healthy",
            Self::DriedOut => "dried-out",
            Self::Unformed => "needs re-forming",
            Self::Leaky => "leaky",
            Self::HardShort => "hard short",
            Self::SoftShort => "soft short",
            Self::Intermittent => "intermittent",
            Self::Open => "open",
            Self::Scintillating => "scintillating",
            Self::Runaway => "runaway",
            Self::Reversed => "reversed",
            Self::Marginal => "marginal",
            Self::LateClimber => "late climber",
            Self::WrongValue => "wrong value",
            Self::LosesContact => "loses contact",
        }
    }

    /// One of the population.
    pub(crate) fn draw(dice: &mut Dice, family: Family) -> Self {
        let mut at = dice.share();
        for (class, share) in SHARES {
            if at < share {
                return class.as_found_in(family);
            }
            at -= share;
        }
        Self::Healthy
    }

    /// Some faults exist in some families only.
    fn as_found_in(self, family: Family) -> Self {
        let tantalum = family.dielectric() == Dielectric::Tantalum;
        let wet = family.dielectric() == Dielectric::WetAluminium
            || matches!(family, Family::AluminiumHybrid | Family::TantalumWet);
        // A double layer is polarised by its formation only (handbook §2.5).
        let polarised = family.is_polarised() && family != Family::DoubleLayer;
        let misplaced = (self == Self::Reversed && !polarised) || (self == Self::Unformed && !wet);
        if self == Self::Scintillating && !tantalum {
            Self::LateClimber
        } else if misplaced {
            Self::Leaky
        } else {
            self
        }
    }
}

/// Shares of handbook §2.9, where the healthy are 60 %: of these a few are near the limit, climb
/// late, are no part of this value or come off the clip.
const SHARES: [(Class, f64); 14] = [
    (Class::DriedOut, 0.12),
    (Class::Unformed, 0.08),
    (Class::Leaky, 0.08),
    (Class::HardShort, 0.03),
    (Class::SoftShort, 0.02),
    (Class::Intermittent, 0.02),
    (Class::Open, 0.02),
    (Class::Scintillating, 0.01),
    (Class::Runaway, 0.01),
    (Class::Reversed, 0.01),
    (Class::Marginal, 0.03),
    (Class::LateClimber, 0.015),
    (Class::WrongValue, 0.005),
    (Class::LosesContact, 0.005),
];

/// Something that happens to a part at a moment.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Event {
    /// When, in seconds since the part was first near the voltage that it takes.
    pub(crate) at: f64,
    /// For how long, s.
    pub(crate) lasts: f64,
    /// What it is.
    pub(crate) kind: EventKind,
}

/// What happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum EventKind {
    /// So many coulombs go at once, and the leakage is this factor higher ever after.
    Burst {
        /// Charge, C.
        coulomb: f64,
        /// Factor.
        scar: f64,
    },
    /// A conductance for as long as it lasts, S.
    Contact(f64),
}

/// Bursts of a scintillating tantalum over some time: 0.01–1 a minute, 1–100 µC, of which three
/// in ten leave a scar (handbook §2.9).
pub(crate) fn bursts(dice: &mut Dice, until: f64) -> Vec<Event> {
    let rate = dice.over_decades((0.01, 1.0)) / 60.0;
    let mut events = Vec::new();
    let mut at = dice.wait(rate);
    while at < until {
        let scar = if dice.chance(0.3) { dice.between((2.0, 10.0)) } else { 1.0 };
        let kind = EventKind::Burst { coulomb: dice.over_decades((1e-6, 100e-6)), scar };
        events.push(Event { at, lasts: 0.0, kind });
        at += dice.wait(rate);
    }
    events
}

/// A loose short over some time: on for 1 ms to 5 s through 10 Ω to 10 kΩ, off for 1 to 60 s
/// (handbook §2.9).
pub(crate) fn contacts(dice: &mut Dice, until: f64) -> Vec<Event> {
    let siemens = 1.0 / dice.over_decades((10.0, 10e3));
    let mut events = Vec::new();
    let mut at = dice.over_decades((1.0, 60.0));
    while at < until {
        let lasts = (dice.normal() * 2.0 - 2.6).exp().clamp(1e-3, 5.0);
        events.push(Event { at, lasts, kind: EventKind::Contact(siemens) });
        at += lasts + dice.over_decades((1.0, 60.0));
    }
    events
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::dice::Purpose;

    #[rstest]
    #[case::tantalum_scintillates(Class::Scintillating, Family::TantalumMno2, Class::Scintillating)]
    #[case::film_does_not(Class::Scintillating, Family::Polyester, Class::LateClimber)]
    #[case::film_has_no_wrong_way(Class::Reversed, Family::Polyester, Class::Leaky)]
    #[case::wet_aluminium_unforms(Class::Unformed, Family::Aluminium, Class::Unformed)]
    #[case::ceramic_does_not(Class::Unformed, Family::CeramicTwo, Class::Leaky)]
    fn a_family_has_its_own_faults(
        #[case] drawn: Class,
        #[case] family: Family,
        #[case] found: Class,
    ) {
        assert_eq!(drawn.as_found_in(family), found);
    }

    #[test]
    fn every_class_comes_in_its_share() {
        let mut dice = Dice::new(1, 1, Purpose::Part);
        let draws = (0..20_000).map(|_| Class::draw(&mut dice, Family::TantalumWet));
        // Handbook §2.9: 12 % are dried out.
        let dried_out = draws.filter(|class| *class == Class::DriedOut).count();
        assert!((2200..2600).contains(&dried_out), "{dried_out}");
    }

    #[test]
    fn a_loose_short_opens_between_its_contacts() {
        let events = contacts(&mut Dice::new(1, 1, Purpose::Part), 600.0);
        assert!(events.windows(2).all(|pair| pair[0].at + pair[0].lasts < pair[1].at));
        assert!(events.iter().all(|event| (1e-3..=5.0).contains(&event.lasts)));
    }
}
