//! What a person is told before anything is energised.

use crate::quantity::{Celsius, Current, Energy, Time, Voltage, ohms, seconds, text, volts, watts};

use super::draw_up::BYPASSED_SHARE;
use super::{Bleeder, FORMING_SHARES, HARMLESS, Plan, Purpose, TOUCH_SAFE, TakenZero, Wish};
use crate::part::{CORRECTED_WITHIN, Dielectric, Reach};

/// A guard of half the limit measures nothing (handbook §3.12).
const COARSE_SHARE: f64 = 0.5;
/// Leads and clips of plastic insulate as little as this in dry air (handbook §3.7: 1e9 to 1e11 Ω).
const POOR_FIXTURE: f64 = 1e9; // Ω
/// A fixture's leakage above this share of the limit matters (handbook §3.12: a tenth of the budget).
const ZERO_SHARE: f64 = 0.1;
/// A zero is taken daily (handbook §4.1).
const ZERO_AGE: f64 = 86_400.0; // s
/// What a small resistor bears for hours.
const BORNE: f64 = 0.25; // W
/// The drop in the path may take this share of the test voltage at the limit.
const DROP_SHARE: f64 = 0.01;

/// What a person must know before anything is energised. Variants stand in the order of gravity
/// (handbook §6).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub enum Caution {
    /// More voltage than may be touched.
    DangerousVoltage(Voltage),
    /// More energy than is harmless.
    StoredEnergy(Energy),
    /// The mark on the part is plus.
    MarkIsPlus,
    /// The mark on the part is minus.
    MarkIsMinus,
    /// The part is polarised, and marked in more than one way.
    MarkVaries,
    /// It can burn.
    Burns,
    /// It can vent hot spray.
    Vents,
    /// Its oil can be poisonous.
    Oil,
    /// Off is not discharged.
    OffIsNotEmpty,
    /// Software protects nobody.
    NoProtection,
}

impl Caution {
    /// The graver of two cautions of one kind; none if they are of two kinds.
    #[must_use]
    pub fn graver(self, other: Self) -> Option<Self> {
        let same_kind = std::mem::discriminant(&self) == std::mem::discriminant(&other);
        same_kind.then_some(if self < other { other } else { self })
    }
}

impl std::fmt::Display for Caution {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let plain = match self {
            Self::DangerousVoltage(voltage) => {
                let voltage = text::voltage(*voltage);
                return write!(
                    f,
                    "DANGEROUS VOLTAGE: {voltage} is above the {TOUCH_SAFE} V that may be touched; \
                     shrouded clips, one hand, for people who are trained for it"
                );
            }
            Self::StoredEnergy(energy) => {
                let energy = text::energy(*energy);
                return write!(
                    f,
                    "STORED ENERGY: the full part holds {energy}; it burns and welds even at low \
                     voltage"
                );
            }
            Self::MarkIsPlus => "polarity: stripe or bevel marks PLUS on solid tantalum",
            Self::MarkIsMinus => "polarity: the stripe marks MINUS on aluminium cans",
            Self::MarkVaries => "polarity: check the mark twice",
            Self::Burns => {
                "a tantalum that gives way can burn: cover it with a metal tray, no paper nearby"
            }
            Self::Vents => "a can may vent hot spray: goggles on, do not lean over it",
            Self::Oil => "old oil may hold PCB: do not open, treat leaks as hazardous",
            Self::OffIsNotEmpty => {
                "do not touch the clips before it says `safe`: off is not discharged"
            }
            Self::NoProtection => {
                "software is not a protective device: follow SAFETY.md, local codes and your \
                 supply's manual"
            }
        };
        f.write_str(plain)
    }
}

/// Cautions, the gravest first.
pub(super) fn cautions(wish: &Wish, plan: &Plan) -> Vec<Caution> {
    let energy = plan.part.capacitance * plan.test_voltage * plan.test_voltage / 2.0;
    let family = wish.part.family;
    let above_touch = volts(TOUCH_SAFE) < plan.test_voltage;
    let polarity = family.is_polarised().then(|| mark(family.dielectric()));
    let cautions = [
        above_touch.then_some(Caution::DangerousVoltage(plan.test_voltage)),
        (HARMLESS < energy.value).then_some(Caution::StoredEnergy(energy)),
        polarity,
        hazard(family.dielectric()),
        Some(Caution::OffIsNotEmpty),
        Some(Caution::NoProtection),
    ];
    cautions.into_iter().flatten().collect()
}

fn mark(dielectric: Dielectric) -> Caution {
    match dielectric {
        Dielectric::Tantalum => Caution::MarkIsPlus,
        Dielectric::WetAluminium | Dielectric::PolymerAluminium => Caution::MarkIsMinus,
        Dielectric::CeramicOne
        | Dielectric::CeramicTwo
        | Dielectric::Film
        | Dielectric::Paper
        | Dielectric::Mica
        | Dielectric::DoubleLayer => Caution::MarkVaries,
    }
}

fn hazard(dielectric: Dielectric) -> Option<Caution> {
    match dielectric {
        Dielectric::Tantalum => Some(Caution::Burns),
        Dielectric::WetAluminium | Dielectric::PolymerAluminium => Some(Caution::Vents),
        Dielectric::Paper => Some(Caution::Oil),
        Dielectric::CeramicOne
        | Dielectric::CeramicTwo
        | Dielectric::Film
        | Dielectric::Mica
        | Dielectric::DoubleLayer => None,
    }
}

/// Why a run can't say `within`, whatever it measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Obstacle {
    /// The meter's best is no match for the limit.
    MeterTooCoarse {
        /// The limit.
        limit: Current,
        /// Half-width of the interval of a reading of zero on the run's range.
        guard: Current,
    },
    /// The room is too far from the temperature that the limit holds at.
    TemperatureOff {
        /// Where the limit holds.
        reference: Celsius,
        /// What the room has.
        room: Celsius,
    },
}

impl Obstacle {
    /// What would take it away.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::MeterTooCoarse { .. } => {
                "a finer range, or a larger sense resistor, would see it"
            }
            Self::TemperatureOff { .. } => "bring the room nearer to it, or measure another day",
        }
    }
}

impl std::fmt::Display for Obstacle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::MeterTooCoarse { limit, guard } => write!(
                f,
                "meter-too-coarse: the limit is {}, the meter's best range is good to ±{}; this \
                 run can't say `within`",
                text::current(*limit),
                text::current(*guard)
            ),
            Self::TemperatureOff { reference, room } => write!(
                f,
                "temperature-off: the limit holds at {}, more than {CORRECTED_WITHIN} K from the \
                 room's {}; this run can't say `within`",
                text::temperature_celsius(*reference),
                text::temperature_celsius(*room)
            ),
        }
    }
}

impl Plan {
    /// All that keeps the run from saying `within`.
    #[must_use]
    pub fn obstacles(&self) -> Vec<Obstacle> {
        let (limit, guard) = (self.target.limit, least_guard(self));
        let (reference, room) = (self.warmth.reference, self.warmth.room.at);
        let is_coarse = limit * COARSE_SHARE <= guard;
        let is_off = self.warmth.reach() != Reach::Near;
        let coarse = is_coarse.then_some(Obstacle::MeterTooCoarse { limit, guard });
        let off = is_off.then_some(Obstacle::TemperatureOff { reference, room });
        coarse.into_iter().chain(off).collect()
    }
}

/// What makes the run worth less or longer.
pub(super) fn warnings(
    wish: &Wish,
    plan: &Plan,
    measured_at: Voltage,
    zero: Option<&TakenZero>,
) -> Vec<String> {
    let target = &plan.target;
    let mut warnings = Vec::new();
    warnings.extend(plan.obstacles().iter().map(Obstacle::to_string));
    if plan.test_voltage < measured_at {
        warnings.push(format!(
            "the limit holds at {}: at {} this is not a test to the data sheet",
            text::voltage(measured_at),
            text::voltage(plan.test_voltage)
        ));
    }
    warnings.extend(about_warmth(wish, plan));
    warnings.extend(about_zero(zero, plan));
    warnings.extend(about_heat(plan));
    let drop = target.limit * plan.path(plan.meter.soak);
    if plan.test_voltage * DROP_SHARE < drop {
        warnings.push(format!(
            "at the limit the path drops {}, more than a hundredth of the test voltage",
            text::voltage(drop)
        ));
    }
    let constant = plan.path(plan.meter.surge) * plan.part.capacitance;
    if plan.bypassed {
        warnings.push(
            "the series resistor is bridged while this part charges: until it is full the supply's \
             current limit alone bounds what a part that gives way can draw"
                .into(),
        );
    } else if target.reading_time < constant * BYPASSED_SHARE {
        warnings.push(format!(
            "the series resistor charges this part with a time constant of {}: choose a smaller \
             one or bridge it by relay (handbook §3.1: at most a twentieth of the reading time)",
            text::time(constant)
        ));
    }
    if target.soak < target.reading_time {
        warnings.push(format!(
            "the soak of {} is shorter than the limit's reading time of {}: an over-limit reading \
             will be `undecided`",
            text::time(target.soak),
            text::time(target.reading_time)
        ));
    }
    if wish.limit.reading_time.is_none() {
        warnings.push("the limit has no reading time: the family's own is used".into());
    }
    if matches!(plan.discharge.bleeder, Bleeder::Fitted(_) | Bleeder::Relay(_))
        && seconds(300.0) < bleeding(plan)
    {
        warnings
            .push("the bleeder is slow for this part: a smaller resistor empties it sooner".into());
    }
    warnings
}

/// Whether the fixture's own leakage is known well enough for this limit.
fn about_zero(zero: Option<&TakenZero>, plan: &Plan) -> Option<String> {
    let (limit, voltage) = (plan.target.limit, plan.test_voltage);
    let matters = limit * ZERO_SHARE < voltage / ohms(POOR_FIXTURE);
    let again = "`reststrom station zero` measures it, with nothing in the clips";
    match zero {
        None => matters.then(|| {
            format!("nobody measured what the open fixture leaks, which may matter here: {again}")
        }),
        Some(taken) if taken.at(voltage).is_none() => matters.then(|| {
            let (at, to) = (text::voltage(taken.voltage), text::voltage(voltage));
            format!("the fixture's zero was taken at {at} and tells nothing at {to}: {again}")
        }),
        Some(taken) => (seconds(ZERO_AGE) < taken.age).then(|| {
            let hours = (taken.age.value / 3600.0).floor();
            format!("the fixture's zero is {hours} h old and wants taking daily: {again}")
        }),
    }
}

/// What re-forming asks of the series resistor.
fn about_heat(plan: &Plan) -> Option<String> {
    let Purpose::Reform(forming) = &plan.purpose else { return None };
    let heat = plan.heat_of_forming(forming);
    (watts(BORNE) < heat).then(|| {
        format!(
            "the series resistor has to bear {} for hours: see that it is made for that",
            text::power(heat)
        )
    })
}

/// What the room's temperature makes of the run.
fn about_warmth(wish: &Wish, plan: &Plan) -> Vec<String> {
    let warmth = &plan.warmth;
    let reference = text::temperature_celsius(warmth.reference);
    let mut warnings = Vec::new();
    if !warmth.room.told {
        warnings.push(format!(
            "nobody said how warm the room is: {} is taken; say it with --room or in the station \
             file",
            warmth.room
        ));
    }
    if wish.limit.reference.is_none() {
        warnings.push(format!("the limit has no temperature: {reference} is taken"));
    }
    warnings
}

/// Half-width of the interval of a reading of zero on the run's range.
fn least_guard(plan: &Plan) -> Current {
    let fixed = plan.meter.range(plan.meter.soak).accuracy.fixed;
    fixed * (plan.confidence.coverage() / 3_f64.sqrt())
}

/// About how long a run takes: its planned phases, without what goes wrong.
pub(super) fn duration(plan: &Plan) -> Time {
    let first = plan.probe.rise + plan.probe.hold;
    let settle = seconds(2.0);
    let rise = plan.ramp.rise + plan.ramp.charge + settle;
    let down = bleeding(plan) + plan.discharge.hold + plan.discharge.rebound + seconds(5.0);
    let long = match &plan.purpose {
        Purpose::Zero => plan.ramp.rise + settle + plan.target.soak,
        Purpose::Soak => rise + plan.target.soak + plan.target.window / 2.0,
        Purpose::Staircase(stairs) => {
            stairs.voltages.iter().map(|_| rise + stairs.dwell).fold(seconds(0.0), |a, b| a + b)
        }
        // Each hold but the last as short as it may be.
        Purpose::Reform(forming) => {
            let holds = FORMING_SHARES.iter().skip(1).map(|_| forming.least_hold);
            holds.fold(forming.final_hold, |a, b| a + b)
        }
        Purpose::ClipWatch { .. } => seconds(0.0),
    };
    first + long + down
}

/// Time to the safe voltage: `R·C·ln(U/U_s)` (handbook §4.4).
fn bleeding(plan: &Plan) -> Time {
    let constant = plan.bleed_loop(plan.meter.bleed) * plan.part.capacitance;
    constant * (plan.test_voltage / plan.discharge.safe_voltage).value.max(1.0).ln()
}
