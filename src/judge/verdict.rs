//! The words a run ends with: verdict, findings and the state the part was left in.

use crate::words::words;

words! {
    /// What is said of the part.
    Verdict {
        /// The upper end of the uncertainty interval is at or below the limit.
        Within = "within",
        /// The lower end of the uncertainty interval is above the limit.
        Over = "over",
        /// The interval straddles the limit, or the reading cannot be trusted enough.
        Undecided = "undecided",
        /// Nothing was measured that speaks about the part.
        Untested = "untested",
    }
}

words! {
    /// Why a verdict is what it is.
    Finding {
        /// The reading window was complete and the current steady.
        Settled = "settled",
        /// The supply stayed in current limit below the test voltage.
        HeldBelowTestVoltage = "held-below-test-voltage",
        /// The part gave way at some voltage.
        BrokeDown = "broke-down",
        /// The current climbs.
        RunsAway = "runs-away",
        /// Single readings jump out: scintillation.
        Bursts = "bursts",
        /// The current was still falling at the reading time.
        StillFalling = "still-falling",
        /// The meter cannot resolve the limit.
        MeterTooCoarse = "meter-too-coarse",
        /// No charge went in: no part, or an open lead.
        NoContact = "no-contact",
        /// The part is a short, already at the probe voltage.
        Shorted = "shorted",
        /// The part conducts at the probe voltage: wrong way round, or ruined.
        ConductsAtLowVoltage = "conducts-at-low-voltage",
        /// The measured capacitance does not fit the part.
        CapacitanceOff = "capacitance-off",
        /// The room is too far from the temperature that the limit holds at.
        TemperatureOff = "temperature-off",
        /// The clip came off during the run.
        ContactLost = "contact-lost",
        /// A person or a signal stopped the run.
        Stopped = "stopped",
        /// An instrument went silent, refused or spoke nonsense.
        InstrumentLost = "instrument-lost",
        /// The run ended before the limit's reading time, as asked.
        Early = "early",
        /// The part came charged and was bled first.
        AlreadyCharged = "already-charged",
        /// The part was re-formed: its oxide was grown back under a small current.
        Reformed = "re-formed",
    }
}

words! {
    /// The state the part and the bench were left in.
    Left {
        /// Measured discharged: may be unclipped.
        Safe = "safe",
        /// Discharge could not be proven: output kept off, a person must look.
        LockedOut = "locked-out",
    }
}
