//! Turns what a line says into the limits of one part, or into a question.

use super::bounds;
use super::doubt::{Doubt, Why};
use super::group::{Group, group};
use super::item::{Edge, Guard, Item, Label, On, Stated};
use super::scan::Said;
use super::token::Kin;
use super::{Answer, Convention, Printed, Question, Reading};
use crate::part::limit::{Limit, Measuring};
use crate::part::{Dielectric, LeakageRule, Rating};
use crate::quantity::{celsius, seconds, volts};

/// What one group comes to.
#[derive(Debug, Default)]
pub(super) struct Resolved {
    pub(super) rule: Option<LeakageRule>,
    pub(super) readings: Vec<Reading>,
    pub(super) doubts: Vec<Doubt>,
    pub(super) conventions: Vec<Convention>,
}

/// What the whole line says to each of its groups.
pub(super) struct Line<'a> {
    pub(super) rating: &'a Rating,
    pub(super) dielectric: Option<Dielectric>,
    pub(super) capacitance_unit: Option<f64>,
    pub(super) note: Option<f64>,
    pub(super) rated: bool,
    names_current: bool,
    names_resistance: bool,
}

/// The answer to a line.
pub(super) fn resolve(said: Said, rating: &Rating, dielectric: Option<Dielectric>) -> Answer {
    let Said { mut items, capacitance_unit, rated, mut doubts } = said;
    let note = note(&items, &mut doubts);
    let names = |label| items.contains(&Item::Label(label));
    let line = Line {
        rating,
        dielectric,
        capacitance_unit,
        note,
        rated,
        names_current: names(Label::Current),
        names_resistance: names(Label::Resistance),
    };
    let switched = switched_voltage(&mut items, rating, &mut doubts);
    let mut groups = group(&mut items, &mut doubts);
    if let Some(measured) = switched {
        for group in &mut groups {
            group.measured = Some(measured);
        }
    }
    if groups.is_empty() && doubts.is_empty() {
        doubts.push(Doubt { why: Why::Nothing, at: None });
    }
    let mut fitting = fitting(&groups, &line, &mut doubts);
    if fitting.is_empty() {
        fitting = groups.iter().collect();
    }
    finish(&fitting, &line, doubts)
}

/// The unit that stands alone, if there is one.
fn note(items: &[Item], doubts: &mut Vec<Doubt>) -> Option<f64> {
    let mut notes = items
        .iter()
        .filter_map(|item| if let Item::Note(scale) = item { Some(*scale) } else { None });
    let first = notes.next()?;
    if notes.any(|other| other.total_cmp(&first).is_ne()) {
        doubts.push(Doubt { why: Why::TwoUnits, at: None });
    }
    Some(first)
}

/// `UR < 500 V: 100 V; UR ≥ 500 V: 500 V`: conditions on the measuring voltage alone.
fn switched_voltage(
    items: &mut Vec<Item>,
    rating: &Rating,
    doubts: &mut Vec<Doubt>,
) -> Option<f64> {
    let starts: Vec<usize> = (1..items.len())
        .filter(|index| {
            matches!(items[*index], Item::Measured(_))
                && matches!(&items[*index - 1], Item::Guard(guard) if guard.on == On::Voltage)
        })
        .map(|index| index - 1)
        .collect();
    if starts.len() < 2 {
        return None;
    }
    let mut found = Vec::new();
    for start in starts.iter().rev() {
        if let (Item::Guard(guard), Item::Measured(volts)) = (&items[*start], &items[*start + 1])
            && holds(guard, rating)
        {
            found.push(*volts);
        }
        items.drain(*start..=*start + 1);
    }
    if found.len() != 1 {
        let why = if found.is_empty() { Why::Outside } else { Why::Overlap };
        doubts.push(Doubt { why, at: None });
    }
    found.first().copied()
}

/// Whether a condition on a value of the rating holds. A part in ten to the ninth is forgiven.
fn holds(guard: &Guard, rating: &Rating) -> bool {
    let value = match guard.on {
        On::Capacitance => rating.capacitance().value,
        On::Voltage => rating.voltage().value,
        On::Charge => rating.charge().value,
        On::Kin(_) => return true,
    };
    let ratio = |edge: f64| value / edge;
    let same = |edge: f64| (ratio(edge) - 1.0).abs() < 1e-9;
    let low = |edge: &Edge| if same(edge.value) { edge.included } else { 1.0 < ratio(edge.value) };
    let high = |edge: &Edge| if same(edge.value) { edge.included } else { ratio(edge.value) < 1.0 };
    guard.low.as_ref().is_none_or(low)
        && guard.high.as_ref().is_none_or(high)
        && (guard.only.is_empty() || guard.only.iter().any(|only| same(*only)))
}

fn is_of_kin(kin: Kin, dielectric: Option<Dielectric>, doubts: &mut Vec<Doubt>) -> bool {
    match dielectric {
        Some(Dielectric::CeramicOne) => kin == Kin::CeramicOne,
        Some(Dielectric::CeramicTwo) => kin == Kin::CeramicTwo,
        _ => {
            if !doubts.iter().any(|doubt| doubt.why == Why::Class) {
                doubts.push(Doubt { why: Why::Class, at: None });
            }
            true
        }
    }
}

/// The groups whose conditions this part meets.
fn fitting<'a>(groups: &'a [Group], line: &Line<'_>, doubts: &mut Vec<Doubt>) -> Vec<&'a Group> {
    let mut fitting = Vec::new();
    for group in groups {
        let fits = group.guards.iter().all(|guard| match guard.on {
            On::Kin(kin) => is_of_kin(kin, line.dielectric, doubts),
            On::Capacitance | On::Voltage | On::Charge => holds(guard, line.rating),
        });
        if fits {
            fitting.push(group);
        }
    }
    if fitting.is_empty() && !groups.is_empty() {
        doubts
            .push(Doubt { why: Why::Outside, at: groups[0].guards.first().map(|guard| guard.at) });
    }
    if !are_told_apart(&fitting) {
        let guarded = fitting.iter().any(|group| !group.guards.is_empty());
        let why = if guarded { Why::Overlap } else { Why::Several };
        doubts.push(Doubt { why, at: fitting[1].stated.first().map(|(stated, _)| stated.at) });
    }
    fitting
}

/// Whether limits differ in time or temperature, and each names it.
fn are_told_apart(groups: &[&Group]) -> bool {
    groups.iter().enumerate().all(|(index, one)| {
        groups[index + 1..].iter().all(|other| {
            let differs = |one: Option<f64>, other: Option<f64>| match (one, other) {
                (Some(one), Some(other)) => one.total_cmp(&other).is_ne(),
                _ => false,
            };
            differs(one.seconds, other.seconds) || differs(one.celsius, other.celsius)
        })
    })
}

fn finish(groups: &[&Group], line: &Line<'_>, mut doubts: Vec<Doubt>) -> Answer {
    let (mut limits, mut conventions, mut readings) = (Vec::new(), Vec::new(), Vec::new());
    let kinds = |resistance| {
        groups.iter().any(|group| {
            group.stated.iter().any(|(stated, _)| stated.is_resistance() == resistance)
        })
    };
    if kinds(true) && kinds(false) {
        doubts.push(Doubt { why: Why::Mixed, at: None });
    }
    for group in groups {
        let resolved = super::worth::worth(group, line);
        doubts.extend(resolved.doubts);
        for convention in resolved.conventions {
            if !conventions.contains(&convention) {
                conventions.push(convention);
            }
        }
        let mut read = resolved.readings;
        if let Some(rule) = resolved.rule {
            match limit(rule, group, line, &mut doubts, &mut conventions) {
                Ok((limit, reading)) => {
                    limits.push(limit);
                    read.insert(0, reading);
                }
                Err(doubt) => doubts.push(doubt),
            }
        }
        readings.extend(read);
    }
    if doubts.is_empty() && !limits.is_empty() {
        return Answer::Limits(Printed { limits, conventions });
    }
    question(&doubts, readings)
}

fn question(doubts: &[Doubt], readings: Vec<Reading>) -> Answer {
    let place = doubts.iter().find_map(|doubt| doubt.at);
    let mut why: Vec<String> = Vec::new();
    for doubt in doubts {
        let text = doubt.why.to_string();
        if !why.contains(&text) {
            why.push(text);
        }
    }
    let mut kept: Vec<Reading> = Vec::new();
    for reading in readings {
        if !kept.contains(&reading) {
            kept.push(reading);
        }
    }
    Answer::Question(Question { why, place, readings: kept })
}

fn limit(
    rule: LeakageRule,
    group: &Group,
    line: &Line<'_>,
    doubts: &mut Vec<Doubt>,
    conventions: &mut Vec<Convention>,
) -> Result<(Limit, Reading), Doubt> {
    let first: Option<&Stated> = group.stated.first().map(|(stated, _)| stated);
    let at = first.map(|stated| stated.at);
    let resistive = first.is_some_and(Stated::is_resistance);
    let mut ask = |why| doubts.push(Doubt { why, at });
    if group.seconds.is_some_and(|time| !bounds::TIME.contains(&time)) {
        ask(Why::OddTime);
    }
    if group.celsius.is_some_and(|degrees| !bounds::CELSIUS.contains(&degrees)) {
        ask(Why::OddTemperature);
    }
    if resistive && line.names_current && !line.names_resistance
        || !resistive && line.names_resistance && !line.names_current
    {
        ask(Why::Mixed);
    }
    let rated = line.rating.voltage().value;
    let measured_at = match group.measured {
        Some(measured) if (measured / rated - 1.0).abs() < 1e-9 => Measuring::Rated,
        Some(measured) => Measuring::At(volts(measured)),
        None => Measuring::Rated,
    };
    if resistive && group.measured.is_some() {
        conventions.push(Convention::StatedVoltage);
    } else if resistive && !line.rated {
        conventions.push(Convention::RatedVoltage);
    }
    let limit = Limit {
        rule,
        measured_at,
        reading_time: group.seconds.map(seconds),
        reference: group.celsius.map(celsius),
        source: "the printed line".to_owned(),
    };
    let above = Doubt { why: Why::AboveRated, at: None };
    let current = limit.current(line.rating).map_err(|_| above)?;
    let reading = Reading { formula: limit.to_string(), current };
    Ok((limit, reading))
}
