//! What a person is told before anything is energised.

use crate::quantity::{Current, Time, Voltage, seconds, text, volts};

use super::{Bleeder, FORMING_SHARES, HARMLESS, Plan, Purpose, TOUCH_SAFE, Wish};
use crate::part::{CORRECTED_WITHIN, Dielectric, Reach};

/// A guard of half the limit measures nothing (handbook §3.12).
const COARSE_SHARE: f64 = 0.5;
/// The drop in the path may take this share of the test voltage at the limit.
const DROP_SHARE: f64 = 0.01;

/// Cautions, the gravest first (handbook §6).
pub(super) fn cautions(wish: &Wish, plan: &Plan) -> Vec<String> {
    let energy = plan.part.capacitance * plan.test_voltage * plan.test_voltage / 2.0;
    let mut cautions = Vec::new();
    if volts(TOUCH_SAFE) < plan.test_voltage {
        cautions.push(format!(
            "DANGEROUS VOLTAGE: {} is above the {TOUCH_SAFE} V that may be touched; shrouded \
             clips, one hand, for people who are trained for it",
            text::voltage(plan.test_voltage)
        ));
    }
    if HARMLESS < energy.value {
        cautions.push(format!(
            "STORED ENERGY: the full part holds {}; it burns and welds even at low voltage",
            text::energy(energy)
        ));
    }
    if wish.part.family.is_polarised() {
        cautions.push(match wish.part.family.dielectric() {
            Dielectric::Tantalum => "polarity: stripe or bevel marks PLUS on solid tantalum".into(),
            Dielectric::WetAluminium | Dielectric::PolymerAluminium => {
                "polarity: the stripe marks MINUS on aluminium cans".into()
            }
            Dielectric::CeramicOne
            | Dielectric::CeramicTwo
            | Dielectric::Film
            | Dielectric::Paper
            | Dielectric::Mica
            | Dielectric::DoubleLayer => "polarity: check the mark twice".into(),
        });
    }
    if let Some(caution) = fire(wish) {
        cautions.push(caution.into());
    }
    cautions.push("do not touch the clips before it says `safe`: off is not discharged".into());
    cautions.push(
        "software is not a protective device: follow SAFETY.md, local codes and your supply's \
         manual"
            .into(),
    );
    cautions
}

fn fire(wish: &Wish) -> Option<&'static str> {
    match wish.part.family.dielectric() {
        Dielectric::Tantalum => {
            Some("a tantalum that gives way can burn: cover it with a metal tray, no paper nearby")
        }
        Dielectric::WetAluminium | Dielectric::PolymerAluminium => {
            Some("a can may vent hot spray: goggles on, do not lean over it")
        }
        Dielectric::Paper => Some("old oil may hold PCB: do not open, treat leaks as hazardous"),
        Dielectric::CeramicOne
        | Dielectric::CeramicTwo
        | Dielectric::Film
        | Dielectric::Mica
        | Dielectric::DoubleLayer => None,
    }
}

/// What makes the run worth less or longer.
pub(super) fn warnings(wish: &Wish, plan: &Plan, measured_at: Voltage) -> Vec<String> {
    let target = &plan.target;
    let mut warnings = Vec::new();
    if least_guard(plan) >= target.limit * COARSE_SHARE {
        warnings.push(format!(
            "meter-too-coarse: the limit is {}, the meter's best range is good to ±{}; this run \
             can't say `within`",
            text::current(target.limit),
            text::current(least_guard(plan))
        ));
    }
    if plan.test_voltage < measured_at {
        warnings.push(format!(
            "the limit holds at {}: at {} this is not a test to the data sheet",
            text::voltage(measured_at),
            text::voltage(plan.test_voltage)
        ));
    }
    warnings.extend(about_warmth(wish, plan));
    let drop = target.limit * plan.path(plan.meter.soak);
    if plan.test_voltage * DROP_SHARE < drop {
        warnings.push(format!(
            "at the limit the path drops {}, more than a hundredth of the test voltage",
            text::voltage(drop)
        ));
    }
    let constant = plan.path(plan.meter.surge) * plan.part.capacitance;
    if target.reading_time < constant * 20.0 {
        warnings.push(format!(
            "the series resistor charges this part with a time constant of {}: choose a smaller \
             one (handbook §3.1: at most a twentieth of the reading time)",
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
    if warmth.reach() != Reach::Near {
        warnings.push(format!(
            "temperature-off: the limit holds at {reference}, more than {CORRECTED_WITHIN} K from \
             the room's {}; this run can't say `within`",
            text::temperature_celsius(warmth.room.at)
        ));
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
