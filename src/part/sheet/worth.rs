//! What the values of one group come to: a rule, with what is doubtful about it.

use super::bounds;
use super::doubt::{Doubt, Why};
use super::group::{Group, Link};
use super::grown::{MICRO, scaled};
use super::item::{Amount, Sense, Stated, Term, TermUnit, What};
use super::resolve::{Line, Resolved};
use super::{Convention, Reading};
use crate::part::formula::Formula;
use crate::part::{LeakageRule, Pick};
use crate::quantity::{amperes, ohms, seconds};

/// What a group comes to.
pub(super) fn worth(group: &Group, line: &Line<'_>) -> Resolved {
    let mut worth = Worth { group, line, resolved: Resolved::default() };
    let resistive = group.stated.iter().filter(|(stated, _)| stated.is_resistance()).count();
    if resistive == group.stated.len() {
        worth.resistances();
    } else if resistive == 0 {
        worth.currents();
    } else {
        worth.doubt(Why::Mixed);
    }
    worth.resolved
}

pub(super) struct Worth<'a> {
    group: &'a Group,
    pub(super) line: &'a Line<'a>,
    pub(super) resolved: Resolved,
}

impl Worth<'_> {
    fn doubt(&mut self, why: Why) {
        let at = self.group.stated.first().map(|(stated, _)| stated.at);
        self.resolved.doubts.push(Doubt { why, at });
    }

    pub(super) fn doubt_at(&mut self, why: Why, at: usize) {
        self.resolved.doubts.push(Doubt { why, at: Some(at) });
    }

    pub(super) fn convention(&mut self, convention: Convention) {
        if !self.resolved.conventions.contains(&convention) {
            self.resolved.conventions.push(convention);
        }
    }

    pub(super) fn read_as(&mut self, rule: &LeakageRule) {
        let measured = crate::part::MeasuringVoltage::rated(self.line.rating);
        let current = rule.limit(self.line.rating, measured);
        self.resolved.readings.push(Reading { formula: rule.to_string(), current });
    }

    fn resistances(&mut self) {
        let mut rules = Vec::new();
        for (stated, _) in &self.group.stated {
            if stated.is_reversed() {
                self.doubt_at(Why::ReversedResistance, stated.at);
            }
            let made = match stated.what {
                What::Resistance(value) => {
                    if !bounds::RESISTANCE.contains(&value) {
                        self.doubt_at(Why::OddResistance, stated.at);
                    } else if bounds::looks_flat(value) {
                        self.doubt_at(Why::FlatExponent, stated.at);
                    }
                    LeakageRule::resistance(ohms(value))
                }
                What::TimeConstant(value) => {
                    if !bounds::TIME_CONSTANT.contains(&value) {
                        self.doubt_at(Why::OddTimeConstant, stated.at);
                    }
                    LeakageRule::time_constant(seconds(value))
                }
                What::Term(_) | What::Amount(_) => continue,
            };
            match made {
                Ok(rule) => rules.push(rule),
                Err(_) => self.doubt_at(Why::Calculation, stated.at),
            }
        }
        self.smaller_resistance(rules);
    }

    fn smaller_resistance(&mut self, rules: Vec<LeakageRule>) {
        if rules.len() < 2 {
            if self.group.pick.is_some() {
                self.doubt(Why::PickOfOne);
            }
            self.resolved.rule = rules.into_iter().next();
            return;
        }
        let capped =
            self.group.stated.iter().any(|(stated, _)| stated.sense == Some(Sense::NeedNotExceed));
        let linked = self.group.stated.iter().skip(1).all(|(_, link)| *link == Link::Or);
        match self.group.pick {
            Some(Pick::Greater) if !capped => {
                self.doubt(Why::GreaterResistance);
                if let Ok(greater) = LeakageRule::pick(Pick::Greater, rules.clone()) {
                    self.read_as(&greater);
                }
            }
            Some(_) => {}
            None if capped => {}
            None if linked => self.convention(Convention::SmallerResistance),
            None => self.doubt(Why::Several),
        }
        match LeakageRule::pick(Pick::Smaller, rules) {
            Ok(rule) => self.resolved.rule = Some(rule),
            Err(_) => self.doubt(Why::Calculation),
        }
    }

    fn currents(&mut self) {
        let terms: Vec<(Stated, Term)> = self
            .group
            .stated
            .iter()
            .filter_map(|(stated, _)| match stated.what {
                What::Term(term) => Some((*stated, term)),
                What::Amount(_) | What::Resistance(_) | What::TimeConstant(_) => None,
            })
            .collect();
        match terms.as_slice() {
            [] => self.constant(),
            [(stated, term)] => self.formula(stated, term),
            _ => self.doubt(Why::Several),
        }
    }

    fn constant(&mut self) {
        let [(stated, _)] = self.group.stated.as_slice() else {
            self.doubt(Why::Several);
            return;
        };
        let What::Amount(amount) = stated.what else { return };
        if self.group.pick.is_some() {
            self.doubt(Why::PickOfOne);
        }
        if stated.is_reversed() {
            self.doubt(Why::ReversedCurrent);
        }
        let Some(unit) = amount.unit.or(self.line.note) else {
            self.doubt(Why::NoUnit);
            return;
        };
        let current = scaled(amount.value, unit);
        let charge = self.line.rating.charge().value;
        if !bounds::constant(current, charge, self.line.dielectric) {
            self.doubt(Why::OddCurrent);
        }
        match LeakageRule::constant(amperes(current)) {
            Ok(rule) => self.resolved.rule = Some(rule),
            Err(_) => self.doubt(Why::OddCurrent),
        }
    }

    /// The unit of a value that has none of its own, beside a formula.
    fn implied_unit(&mut self, term: &Term) -> f64 {
        let printed = self.line.note.or(match term.unit {
            TermUnit::Current(scale) => Some(scale),
            TermUnit::None | TermUnit::Own => None,
        });
        if printed.is_none() {
            self.convention(Convention::ResultInMicroamperes);
        }
        printed.unwrap_or(MICRO)
    }

    fn amount(&mut self, amount: &Amount, term: &Term) -> f64 {
        let unit = amount.unit.unwrap_or_else(|| self.implied_unit(term));
        scaled(amount.value, unit)
    }

    fn formula(&mut self, stated: &Stated, term: &Term) {
        if stated.sense == Some(Sense::AtLeast) || stated.sense == Some(Sense::NeedNotExceed) {
            self.doubt_at(Why::ReversedCurrent, stated.at);
        }
        let addend = term.addend.map_or(0.0, |amount| self.addend(&amount, term, stated.at));
        let Some(bounds) = self.bounds(term) else { return };
        if term.bare_root {
            self.convention(Convention::RootCoversProduct);
        }
        let Some(grown) = self.grown(term, stated.at) else { return };
        let formula = Formula {
            term: grown,
            addend: amperes(addend),
            floor: amperes(bounds.floor.unwrap_or(0.0)),
            cap: bounds.cap.map(amperes),
        };
        match LeakageRule::formula(formula) {
            Ok(rule) => self.resolved.rule = Some(rule),
            Err(_) if self.resolved.doubts.is_empty() => self.doubt(Why::Calculation),
            Err(_) => {}
        }
    }

    fn addend(&mut self, amount: &Amount, term: &Term, at: usize) -> f64 {
        let value = self.amount(amount, term);
        let foreign = amount.unit.is_some_and(|unit| unit != MICRO);
        if term.unit == TermUnit::None && self.line.note.is_none() && foreign {
            self.doubt_at(Why::TwoUnits, at);
        } else if bounds::LARGE_FLOOR <= value {
            self.doubt_at(Why::LargeFloor, at);
        }
        value
    }

    /// Floor and cap from the values beside the formula.
    fn bounds(&mut self, term: &Term) -> Option<Bounds> {
        let mut bounds = Bounds::default();
        let others: Vec<(Stated, Link, Amount)> = self
            .group
            .stated
            .iter()
            .filter_map(|(stated, link)| match stated.what {
                What::Amount(amount) => Some((*stated, *link, amount)),
                What::Term(_) | What::Resistance(_) | What::TimeConstant(_) => None,
            })
            .collect();
        if others.is_empty() && self.group.pick.is_some() {
            self.doubt(Why::PickOfOne);
        }
        // Where the plain value comes first, the link stands with the formula.
        let formula_link = self
            .group
            .stated
            .iter()
            .find(|(stated, _)| matches!(stated.what, What::Term(_)))
            .map_or(Link::First, |(_, link)| *link);
        for (stated, link, amount) in others {
            let value = self.amount(&amount, term);
            let link = if link == Link::First { formula_link } else { link };
            match self.bound(&stated, link, value) {
                Some(Bound::Floor) if bounds.floor.is_none() => bounds.floor = Some(value),
                Some(Bound::Cap) if bounds.cap.is_none() => bounds.cap = Some(value),
                Some(_) => {
                    self.doubt_at(Why::Several, stated.at);
                    return None;
                }
                None => return None,
            }
            if value <= 0.0 {
                self.doubt_at(Why::Calculation, stated.at);
                return None;
            }
        }
        Some(bounds)
    }

    fn bound(&mut self, stated: &Stated, link: Link, value: f64) -> Option<Bound> {
        let bound = match (stated.sense, link, self.group.pick) {
            (Some(Sense::AtMost), Link::Beside, _) => Some(Bound::Cap),
            (Some(Sense::NeedNotExceed), _, _) => None,
            (Some(Sense::AtLeast), Link::Beside, _)
            | (Some(Sense::AtLeast), Link::Or | Link::And, None)
            | (_, _, Some(Pick::Greater)) => Some(Bound::Floor),
            (_, _, Some(Pick::Smaller)) => Some(Bound::Cap),
            (None, Link::Or, None) if value <= bounds::plain_floor(self.line.dielectric) => {
                self.convention(Convention::SecondValueIsFloor);
                Some(Bound::Floor)
            }
            (_, Link::Or, None) => {
                self.doubt_at(Why::FloorOrCap, stated.at);
                return self.either(value);
            }
            (_, _, None) => {
                self.doubt_at(Why::Several, stated.at);
                return self.either(value);
            }
        };
        match bound {
            Some(Bound::Floor) if bounds::LARGE_FLOOR <= value => {
                self.doubt_at(Why::LargeFloor, stated.at);
                self.either(value)
            }
            Some(Bound::Cap) if value < bounds::SMALL_CAP => {
                self.doubt_at(Why::SmallCap, stated.at);
                self.either(value)
            }
            Some(bound) => Some(bound),
            None => {
                self.doubt_at(Why::Several, stated.at);
                None
            }
        }
    }

    /// Both ways to read a second value, where the formula itself is sound.
    fn either(&mut self, value: f64) -> Option<Bound> {
        let term = self.group.stated.iter().find_map(|(stated, _)| match stated.what {
            What::Term(term) => Some((term, stated.at)),
            What::Amount(_) | What::Resistance(_) | What::TimeConstant(_) => None,
        })?;
        let grown = self.grown(&term.0, term.1)?;
        let plain = Formula::of(grown);
        for formula in [
            Formula { floor: amperes(value), ..plain },
            Formula { cap: Some(amperes(value)), ..plain },
        ] {
            if let Ok(rule) = LeakageRule::formula(formula) {
                self.read_as(&rule);
            }
        }
        None
    }
}

#[derive(Debug, Default)]
struct Bounds {
    floor: Option<f64>,
    cap: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Bound {
    Floor,
    Cap,
}
