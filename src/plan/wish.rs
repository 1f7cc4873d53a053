//! What a person asks for, and what comes of it.

use super::{Caution, Plan, Until};
use crate::part::{Duty, Limit, Part, Room};
use crate::quantity::{Celsius, Confidence, Energy, Time, Voltage, celsius};
use crate::words::words;

/// What a limit holds at where neither sheet nor family says (handbook §1.4: 20 °C).
const USUAL_REFERENCE: Celsius = celsius(20.0);

/// What is to be done with a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Aim {
    /// Read its leakage at the test voltage.
    Soak,
    /// Read its leakage at so many equal steps up to the test voltage, each after a dwell.
    Staircase {
        /// Number of steps.
        steps: u8,
        /// Time at full voltage of each.
        dwell: Time,
    },
    /// Grow its oxide back under a small current.
    Reform,
}

words! {
    /// What a run on record is for.
    Kind {
        /// A reading at the test voltage.
        Soak = "soak",
        /// A reading at each of several voltages.
        Staircase = "staircase",
        /// Growing the oxide back.
        Reform = "reform",
    }
}

impl Aim {
    /// What a run with this aim is called.
    #[must_use]
    pub fn kind(self) -> Kind {
        match self {
            Self::Soak => Kind::Soak,
            Self::Staircase { .. } => Kind::Staircase,
            Self::Reform => Kind::Reform,
        }
    }
}

/// What a person asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    /// The part.
    pub part: Part,
    /// The limit that it is judged against.
    pub limit: Limit,
    /// Voltage to test at, if not that of the limit.
    pub test_voltage: Option<Voltage>,
    /// Length of the soak, if not the limit's reading time.
    pub soak: Option<Time>,
    /// What is to be done with the part.
    pub aim: Aim,
    /// What may end the soak.
    pub until: Until,
    /// The person has read the cautions for this run.
    pub acknowledged: bool,
    /// How sure the verdict has to be.
    pub confidence: Confidence,
    /// The room's temperature, in place of what the station says of it.
    pub room: Option<Room>,
    /// What the part is to do in its circuit.
    pub duty: Option<Duty>,
}

impl Wish {
    /// This part against this limit, all else as usual.
    #[must_use]
    pub fn of(part: Part, limit: Limit) -> Self {
        Self {
            part,
            limit,
            test_voltage: None,
            soak: None,
            aim: Aim::Soak,
            until: Until::ReadingTime,
            acknowledged: false,
            confidence: Confidence::USUAL,
            room: None,
            duty: None,
        }
    }

    /// The temperature that the limit holds at: its own, else that of the family's default, else
    /// that of the standards for passive parts (handbook §1.4).
    #[must_use]
    pub fn reference(&self) -> Celsius {
        let family = || self.part.default_limit().ok().and_then(|limit| limit.reference);
        self.limit.reference.or_else(family).unwrap_or(USUAL_REFERENCE)
    }
}

/// A plan and what must be said with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// The plan.
    pub plan: Plan,
    /// What a person must know before anything is energised, the gravest first.
    pub cautions: Vec<Caution>,
    /// What makes the run worth less, or longer.
    pub warnings: Vec<String>,
    /// Energy in the full part.
    pub energy: Energy,
    /// About how long the run takes, discharge included.
    pub duration: Time,
}
