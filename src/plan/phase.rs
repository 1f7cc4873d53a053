//! The phases of a run, in order.

use crate::words::words;

words! {
    /// Where a run stands: `idle → probe → ramp → charge → settle → soak → bleed → safe`, and from
    /// anywhere to `bleed`, and from there to `safe` or `locked-out`.
    Phase {
        /// Nothing has begun.
        Idle = "idle",
        /// A few per cent of the test voltage: is a part there, and is it sane?
        Probe = "probe",
        /// The voltage goes up in steps under the current limit.
        Ramp = "ramp",
        /// The supply-limited and R·C part of the surge dies away.
        Charge = "charge",
        /// The meter comes down to the range that the limit needs.
        Settle = "settle",
        /// Readings until the reading time, or the soak time asked for.
        Soak = "soak",
        /// Output off, bleeder on, the voltage watched as it falls.
        Bleed = "bleed",
        /// Measured discharged: may be unclipped.
        Safe = "safe",
        /// Discharge could not be proven; a person must look.
        LockedOut = "locked-out",
    }
}
