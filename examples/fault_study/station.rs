//! The bench that the faults come to, the parts in its clip, and the plan.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use reststrom::part::Part;
use reststrom::plan::{Phase, Plan, Wish, draw_up};
use reststrom::quantity::{farads, seconds, volts};
use reststrom::simbench::{Breakdown, Leakage, Physics, SimPart};
use reststrom::station::wiring;

use crate::dice::Dice;
use crate::run::Run;

/// The station, as its file would have it.
const FILE: &str = "\
name = \"fault-study\"
simulated = true
room = \"25 °C\"
room_tolerance_kelvin = 1
series_resistor = \"1 kΩ\"

[supply]
driver = \"scpi-supply\"
port = \"/dev/ttyS0\"

[meter]
driver = \"scpi-meter\"
port = \"/dev/ttyS1\"

[bleeder]
kind = \"fitted\"
resistance = \"10 kΩ\"
";

/// What is in the clip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Truth {
    /// Leaks a tenth of what it may.
    Sound,
    /// Leaks four times what it may.
    Leaky,
    /// Gives way at two thirds of its rating.
    GivesWay,
    /// Nothing at all.
    Empty,
}

/// Wired instruments and a plan.
pub(crate) struct Station {
    pub(crate) wired: wiring::Station,
    pub(crate) plan: Arc<Plan>,
    usual: BTreeMap<&'static str, f64>,
}

impl Station {
    /// The station with a plan of short phases, and how long each usually takes.
    pub(crate) fn new() -> Result<Self, String> {
        let path = Path::new("fault-study.toml");
        let wired = wiring::read(path, FILE).map_err(|error| error.to_string())?;
        let part = Part::read("47µF 25V tantalum").map_err(|error| error.to_string())?;
        let limit = part.default_limit().map_err(|error| error.to_string())?;
        let wish = Wish::of(part, limit);
        let drawn = draw_up(&wish, &wired.bench)
            .map_err(|refusals| refusals.iter().map(ToString::to_string).collect::<String>())?;
        let mut plan = drawn.plan;
        (plan.target.reading_time, plan.target.soak) = (seconds(8.0), seconds(8.0));
        plan.target.window = plan.target.window.min(seconds(2.0));
        plan.probe.hold = plan.probe.hold.min(seconds(3.0));
        plan.discharge.hold = seconds(2.0);
        plan.discharge.rebound = seconds(2.0);
        let mut station = Self { wired, plan: Arc::new(plan), usual: BTreeMap::new() };
        station.measure();
        Ok(station)
    }

    /// How long the phases take when nothing goes wrong.
    fn measure(&mut self) {
        let ended = Run::new(self, &part(Truth::Sound), Vec::new(), Dice::new(0, 0)).finish();
        for pair in ended.phases.windows(2) {
            self.usual.insert(pair[0].0.tag(), pair[1].1 - pair[0].1);
        }
        let bleed = ended.phases.last().map_or(0.0, |(_, at)| *at);
        self.usual.entry(Phase::Bleed.tag()).or_insert(bleed.min(6.0));
    }

    /// How long a phase usually takes, s.
    pub(crate) fn usual(&self, phase: Phase) -> f64 {
        self.usual.get(phase.tag()).copied().unwrap_or(1.0)
    }
}

/// A part of which the truth is known. Its limit is 0.01·C·U: 11.75 µA.
pub(crate) fn part(truth: Truth) -> SimPart {
    let rated = volts(25.0);
    let leaking = |rated_ua: f64| Physics {
        leakage: Some(Leakage::Exponential { rated_ua, b: 4.0 }),
        ..Physics::capacitor(farads(47e-6), rated)
    };
    SimPart::bare(match truth {
        Truth::Sound => leaking(1.2),
        Truth::Leaky => leaking(47.0),
        Truth::GivesWay => {
            Physics { breakdown: Some(Breakdown { at_v: 17.0, then_ohm: 20.0 }), ..leaking(1.2) }
        }
        Truth::Empty => Physics::nothing(rated),
    })
}
