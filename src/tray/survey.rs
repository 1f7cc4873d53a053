//! What a station would do with a whole tray, before anything is energised.

use super::{Slot, Terms, Tray};
use crate::plan::{Bench, Caution, Drawn, Obstacle, Refusal, draw_up};
use crate::quantity::{Energy, Time};

/// The plan of each part, in the order of the tray.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// A plan, or all that is in its way.
    pub plans: Vec<Result<Drawn, Vec<Refusal>>>,
}

/// Why a station can't judge a part.
#[derive(Debug, Clone, PartialEq)]
pub enum Unjudged {
    /// Nothing may be energised.
    Refused(Vec<Refusal>),
    /// It can be tested and never be found within.
    Never(Vec<Obstacle>),
}

/// Something that is said once, with the parts that it is said of.
#[derive(Debug, Clone, PartialEq)]
pub struct Said<T> {
    /// What is said.
    pub what: T,
    /// Of which parts, in order.
    pub of: Vec<Slot>,
}

/// Draws the plan of each part of a tray.
#[must_use]
pub fn survey(tray: &Tray, bench: &Bench, terms: &Terms) -> Survey {
    let plans = tray.parts().iter().map(|part| draw_up(&part.wish(terms), bench));
    Survey { plans: plans.collect() }
}

impl Survey {
    /// The parts that have a plan.
    fn drawn(&self) -> impl Iterator<Item = (Slot, &Drawn)> {
        let all = self.plans.iter().enumerate();
        all.filter_map(|(index, plan)| Some((Slot(index), plan.as_ref().ok()?)))
    }

    /// Time of all runs together, without that for the clips.
    #[must_use]
    pub fn time(&self) -> Time {
        self.drawn().map(|(_, drawn)| drawn.duration).sum()
    }

    /// Energy that goes into all parts together, each once.
    #[must_use]
    pub fn energy(&self) -> Energy {
        self.drawn().map(|(_, drawn)| drawn.energy).sum()
    }

    /// The part that holds most, and how much.
    #[must_use]
    pub fn fullest(&self) -> Option<(Slot, Energy)> {
        let energies = self.drawn().map(|(slot, drawn)| (slot, drawn.energy));
        energies.max_by(|(_, one), (_, other)| one.value.total_cmp(&other.value))
    }

    /// Cautions, each kind once in its gravest form, the gravest first.
    #[must_use]
    pub fn cautions(&self) -> Vec<Said<Caution>> {
        let mut said: Vec<Said<Caution>> = Vec::new();
        let all =
            self.drawn().flat_map(|(slot, drawn)| drawn.cautions.iter().map(move |c| (slot, *c)));
        for (slot, caution) in all {
            let same = said.iter_mut().find_map(|said| Some((said.what.graver(caution)?, said)));
            match same {
                Some((graver, said)) => {
                    said.what = graver;
                    said.of.push(slot);
                }
                None => said.push(Said { what: caution, of: vec![slot] }),
            }
        }
        said.sort_by(|one, other| {
            one.what.partial_cmp(&other.what).unwrap_or(std::cmp::Ordering::Equal)
        });
        said
    }

    /// Warnings, equal ones once, in the order of the parts; without those of
    /// [`unjudged`](Self::unjudged).
    #[must_use]
    pub fn warnings(&self) -> Vec<Said<String>> {
        let mut said: Vec<Said<String>> = Vec::new();
        for (slot, drawn) in self.drawn() {
            let obstacles: Vec<String> =
                drawn.plan.obstacles().iter().map(Obstacle::to_string).collect();
            for warning in drawn.warnings.iter().filter(|warning| !obstacles.contains(warning)) {
                match said.iter_mut().find(|said| said.what == *warning) {
                    Some(said) => said.of.push(slot),
                    None => said.push(Said { what: warning.clone(), of: vec![slot] }),
                }
            }
        }
        said
    }

    /// The parts that this station can't judge, and why.
    #[must_use]
    pub fn unjudged(&self) -> Vec<(Slot, Unjudged)> {
        let why = |plan: &Result<Drawn, Vec<Refusal>>| match plan {
            Ok(drawn) => Some(drawn.plan.obstacles())
                .filter(|obstacles| !obstacles.is_empty())
                .map(Unjudged::Never),
            Err(refusals) => Some(Unjudged::Refused(refusals.clone())),
        };
        let all = self.plans.iter().enumerate();
        all.filter_map(|(index, plan)| Some((Slot(index), why(plan)?))).collect()
    }
}

impl Unjudged {
    /// The reasons, each with what to do.
    #[must_use]
    pub fn reasons(&self) -> Vec<(String, String)> {
        match self {
            Self::Refused(refusals) => {
                refusals.iter().map(|refusal| (refusal.to_string(), refusal.help())).collect()
            }
            Self::Never(obstacles) => {
                obstacles.iter().map(|one| (one.to_string(), one.help().to_owned())).collect()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Room;
    use crate::plan::{
        Accuracy, Bleeder, Conversion, MeterFacts, MeterRange, Sensing, SupplyFacts, TakenZero,
        Zero,
    };
    use crate::quantity::{amperes, celsius, joules, ohms, seconds, volts};
    use crate::tray::{Form, read};

    const PARTS: &str = "family;value;rating\naluminium;100u;50V\ntantalum;22u;25V\n\
        polypropylene;100n;50V\ntantalum;10u;63V\naluminium;100u;25V\n";

    /// A bench up to 60 V whose meter is good to ten counts of 100 pA.
    /// A bench whose fixture leaks next to nothing, as was measured an hour ago.
    fn bench_with_zero() -> Bench {
        let zero = Zero { current: amperes(1e-12), uncertainty: amperes(1e-13) };
        let taken = TakenZero { zero, voltage: volts(100.0), age: seconds(3600.0) };
        Bench { zero: Some(taken), ..bench() }
    }

    fn bench() -> Bench {
        let range = |full_scale: f64| MeterRange {
            full_scale: amperes(full_scale),
            resolution: amperes(full_scale * 1e-5),
            accuracy: Accuracy { fraction: 5e-4, fixed: amperes(full_scale * 1e-4) },
            burden: ohms(10.0),
        };
        Bench {
            supply: SupplyFacts {
                most_voltage: volts(100.0),
                most_current: amperes(1.0),
                voltage_step: volts(0.01),
                current_step: amperes(1e-4),
                read_back: Accuracy { fraction: 5e-4, fixed: volts(0.01) },
                senses: Sensing::AtTerminals,
            },
            meter: MeterFacts {
                ranges: [1e-5, 1e-4, 1e-3, 1e-2].into_iter().map(range).collect(),
                interval: seconds(0.1),
                settling_readings: 2,
                conversion: Conversion::default(),
            },
            series: ohms(1000.0),
            bypass: false,
            bleeder: Bleeder::Fitted(ohms(10_000.0)),
            ceiling: volts(60.0),
            energy_bound: joules(10.0),
            safe_voltage: volts(5.0),
            zero: None,
            room: Some(Room::told(celsius(23.0), 1.0).unwrap()),
            lapse: 1.0,
        }
    }

    fn of(file: &str, bench: &Bench) -> Survey {
        let terms = Terms { acknowledged: true, ..Terms::usual() };
        survey(&read(file, Form::Csv).unwrap(), bench, &terms)
    }

    #[test]
    fn the_whole_is_the_sum_of_the_plans() {
        // Half C·U²: 125 mJ, 6.875 mJ, 5 µJ at the table's 10 V, 31.25 mJ; the 63 V part is refused.
        let survey = of(PARTS, &bench());
        assert!((survey.energy().value - 0.163_13).abs() < 1e-9, "{:?}", survey.energy());
        let (fullest, energy) = survey.fullest().unwrap();
        assert_eq!(fullest, Slot(0));
        assert!((energy.value - 0.125).abs() < 1e-9);
        let times: f64 = survey.drawn().map(|(_, drawn)| drawn.duration.value).sum();
        assert!((survey.time().value - times).abs() < 1e-9);
        // Reading times of handbook §7: 2 + 5 + 1 + 2 min are the least of it.
        assert!(survey.time().value > 600.0);
    }

    #[test]
    fn a_part_that_cannot_be_judged_is_named_with_its_reason() {
        let unjudged = of(PARTS, &bench()).unjudged();
        let [(film, coarse), (tantalum, refused)] = unjudged.as_slice() else {
            panic!("{unjudged:?}")
        };
        assert_eq!((film, tantalum), (&Slot(2), &Slot(3)));
        // Handbook §7: 100 GΩ at 10 V are 100 pA; ten counts are 1 nA, 1.96/√3 of it 1.13 nA.
        assert!(coarse.reasons()[0].0.starts_with("meter-too-coarse: the limit is 100 pA"));
        assert_eq!(refused.reasons()[0].0, "test voltage is 63 V, this station's ceiling is 60 V");
    }

    #[test]
    fn a_room_too_far_from_the_limits_temperature_is_a_reason_too() {
        // The family's limit holds at 25 °C; handbook §3.10 carries it so many kelvin and no more.
        let cold = Bench { room: Some(Room::told(celsius(2.0), 1.0).unwrap()), ..bench() };
        let unjudged = of("family;value;rating\ntantalum;22u;25V\n", &cold).unjudged();
        let reason = &unjudged[0].1.reasons()[0];
        assert!(reason.0.starts_with("temperature-off: the limit holds at 25 °C"), "{reason:?}");
    }

    #[test]
    fn a_caution_is_said_once_with_its_parts_the_gravest_first() {
        let high = Bench { ceiling: volts(100.0), ..bench() };
        let file = "family;value;rating\naluminium;100u;25V\ntantalum;10u;63V\ntantalum;1u;75V\n";
        let cautions = of(file, &high).cautions();
        let both = vec![Slot(1), Slot(2)];
        assert_eq!(
            cautions[0],
            Said { what: Caution::DangerousVoltage(volts(75.0)), of: both.clone() }
        );
        assert!(cautions.contains(&Said { what: Caution::MarkIsPlus, of: both }));
        assert!(cautions.contains(&Said { what: Caution::MarkIsMinus, of: vec![Slot(0)] }));
        let last = Said { what: Caution::NoProtection, of: vec![Slot(0), Slot(1), Slot(2)] };
        assert_eq!(cautions.last(), Some(&last));
    }

    #[test]
    fn a_warning_is_said_once_and_not_beside_the_reason_for_no_judgement() {
        let file = "family;value;rating;test voltage\ntantalum;22u;25V;20V\n\
            tantalum;10u;25V;20V\npolypropylene;100n;50V;\n";
        let warnings = of(file, &bench_with_zero()).warnings();
        let [voltage] = warnings.as_slice() else { panic!("{warnings:?}") };
        assert!(voltage.what.contains("not a test to the data sheet"));
        assert_eq!(voltage.of, [Slot(0), Slot(1)]);
    }
}
