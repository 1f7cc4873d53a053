//! Finds what belongs together: values that are alternatives, and the conditions of each.

use super::doubt::{Doubt, Why};
use super::item::{Guard, Item, Label, On, Sense, Span, Stated, What};
use crate::part::Pick;

/// Values that make one limit, with their conditions.
#[derive(Debug, Clone, Default)]
pub(super) struct Group {
    pub(super) stated: Vec<(Stated, Link)>,
    pub(super) pick: Option<Pick>,
    pub(super) guards: Vec<Guard>,
    pub(super) seconds: Option<f64>,
    pub(super) celsius: Option<f64>,
    pub(super) measured: Option<f64>,
    from: usize,
    to: usize,
}

/// How a value follows the one before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Link {
    First,
    Or,
    And,
    Beside,
}

/// Groups the pieces of a line.
pub(super) fn group(items: &mut [Item], doubts: &mut Vec<Doubt>) -> Vec<Group> {
    time_constants(items, doubts);
    let mut groups = gather(items, doubts);
    conditions(items, &mut groups, doubts);
    groups
}

/// Seconds that are no time but a product of resistance and capacitance become one.
fn time_constants(items: &mut [Item], doubts: &mut Vec<Doubt>) {
    if items.iter().any(states_a_current) {
        return;
    }
    for index in 0..items.len() {
        let Item::Time(span) = &items[index] else { continue };
        if !span.in_seconds || span.after {
            continue;
        }
        let span = *span;
        match role(items, index, &span) {
            Role::TimeConstant => {
                let what = What::TimeConstant(span.seconds);
                items[index] = Item::Stated(Stated { what, sense: span.sense, at: span.at });
            }
            Role::Time => {}
            Role::Unclear => doubts.push(Doubt { why: Why::OddTime, at: Some(span.at) }),
        }
    }
}

fn states_a_current(item: &Item) -> bool {
    if let Item::Stated(stated) = item {
        return match stated.what {
            What::Term(_) => true,
            What::Amount(amount) => amount.unit.is_some(),
            What::Resistance(_) | What::TimeConstant(_) => false,
        };
    }
    matches!(item, Item::Note(_))
}

enum Role {
    TimeConstant,
    Time,
    Unclear,
}

/// Reading times of insulation resistances, in seconds.
const USUAL_TIMES: [f64; 6] = [30.0, 60.0, 120.0, 180.0, 300.0, 600.0];

fn role(items: &[Item], index: usize, span: &Span) -> Role {
    let before = index.checked_sub(1).map(|before| &items[before]);
    let usual = USUAL_TIMES.contains(&span.seconds);
    let guarded = matches!(before, Some(Item::Guard(guard)) if guard.on == On::Capacitance);
    let alternative = matches!(before, Some(Item::Label(Label::TimeConstant) | Item::Or))
        || matches!(items.get(index + 1), Some(Item::Or));
    match span.sense {
        Some(Sense::AtMost) => Role::Time,
        _ if alternative || guarded => Role::TimeConstant,
        Some(_) if !usual => Role::TimeConstant,
        None if usual => Role::Time,
        None if 600.0 < span.seconds => Role::TimeConstant,
        Some(_) | None => Role::Unclear,
    }
}

/// What stood between two values.
#[derive(Default)]
#[expect(clippy::struct_excessive_bools, reason = "four marks that may all stand at once")]
struct Between {
    or: bool,
    and: bool,
    condition: bool,
    strong: bool,
}

fn gather(items: &[Item], doubts: &mut Vec<Doubt>) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let mut between = Between::default();
    let mut waiting: Option<Pick> = None;
    for (index, item) in items.iter().enumerate() {
        match item {
            Item::Stated(stated) => {
                let labelled = index > 0 && items[index - 1] == Item::Label(Label::TimeConstant);
                if labelled && matches!(stated.what, What::Resistance(_)) {
                    doubts.push(Doubt { why: Why::Unit, at: Some(stated.at) });
                }
                let joins = !groups.is_empty() && belongs(stated, &between);
                if joins && let Some(last) = groups.last_mut() {
                    let link = if between.or {
                        Link::Or
                    } else if between.and {
                        Link::And
                    } else {
                        Link::Beside
                    };
                    last.stated.push((*stated, link));
                    last.to = index;
                } else {
                    if between.or {
                        doubts.push(Doubt { why: Why::Several, at: Some(stated.at) });
                    }
                    let pick = waiting.take();
                    groups.push(Group {
                        stated: vec![(*stated, Link::First)],
                        pick,
                        from: index,
                        to: index,
                        ..Group::default()
                    });
                }
                between = Between::default();
            }
            Item::Or => between.or = true,
            Item::And => between.and = true,
            Item::Break => between.strong = true,
            Item::Guard(_) | Item::Time(_) | Item::Celsius(_) => between.condition = true,
            Item::Pick(pick) => match groups.last_mut() {
                Some(last) if !between.strong => put_pick(last, *pick, doubts),
                _ if waiting.is_some_and(|before| before != *pick) => {
                    doubts.push(Doubt { why: Why::TwoPicks, at: None });
                }
                _ => waiting = Some(*pick),
            },
            Item::Note(_) | Item::Measured(_) | Item::Comma | Item::Label(_) => {}
        }
    }
    if between.or {
        doubts.push(Doubt { why: Why::Several, at: None });
    }
    share_pick(&mut groups, waiting, doubts);
    groups
}

/// Whether a value is an alternative or bound of the one before.
fn belongs(stated: &Stated, between: &Between) -> bool {
    if between.or {
        return true;
    }
    if between.strong {
        return stated.sense == Some(Sense::NeedNotExceed);
    }
    let bound = matches!(stated.what, What::Amount(_)) && stated.sense.is_some();
    !between.condition || bound || stated.sense == Some(Sense::NeedNotExceed)
}

fn put_pick(group: &mut Group, pick: Pick, doubts: &mut Vec<Doubt>) {
    match group.pick {
        Some(before) if before != pick => doubts.push(Doubt { why: Why::TwoPicks, at: None }),
        Some(_) => {}
        None => group.pick = Some(pick),
    }
}

/// A choice at the end of the line is meant for every group that has none.
fn share_pick(groups: &mut [Group], waiting: Option<Pick>, doubts: &mut Vec<Doubt>) {
    if let (Some(pick), Some(last)) = (waiting, groups.last_mut()) {
        put_pick(last, pick, doubts);
    }
    let Some(pick) = groups.last().and_then(|last| last.pick) else { return };
    for group in groups.iter_mut().filter(|group| group.pick.is_none() && 1 < group.stated.len()) {
        group.pick = Some(pick);
    }
}

fn conditions(items: &[Item], groups: &mut [Group], doubts: &mut Vec<Doubt>) {
    let unclear = Doubt { why: Why::Conditions, at: None };
    let places: Vec<(usize, usize)> = groups.iter().map(|group| (group.from, group.to)).collect();
    let pick = |found: fn(&Item) -> Option<f64>| -> Vec<(usize, f64)> {
        items.iter().enumerate().filter_map(|(at, item)| Some((at, found(item)?))).collect()
    };
    let times = pick(|item| if let Item::Time(span) = item { Some(span.seconds) } else { None });
    let celsius = pick(|item| if let Item::Celsius(value) = item { Some(*value) } else { None });
    let volts = pick(|item| if let Item::Measured(value) = item { Some(*value) } else { None });
    let mut set =
        |found: &[(usize, f64)], put: fn(&mut Group, Option<f64>)| match shared_out(found, &places)
        {
            Some(values) => {
                groups.iter_mut().zip(values).for_each(|(group, value)| put(group, value));
            }
            None => doubts.push(unclear.clone()),
        };
    set(&times, |group, value| group.seconds = value);
    set(&celsius, |group, value| group.celsius = value);
    set(&volts, |group, value| group.measured = value);
    guards(items, groups, &places, doubts);
}

/// Which value belongs to which group; none if that is unclear.
fn shared_out<T: Clone + PartialEq>(
    found: &[(usize, T)],
    groups: &[(usize, usize)],
) -> Option<Vec<Option<T>>> {
    let (Some(first), Some(last)) = (groups.first(), groups.last()) else {
        return Some(Vec::new());
    };
    let all = |value: &T| Some(vec![Some(value.clone()); groups.len()]);
    match found {
        [] => return Some(vec![None; groups.len()]),
        [(at, value)] if groups.len() == 1 || *at < first.0 || last.1 < *at => return all(value),
        [_] => return None,
        [(_, value), rest @ ..] if groups.len() == 1 => {
            return rest.iter().all(|(_, other)| other == value).then(|| vec![Some(value.clone())]);
        }
        _ => {}
    }
    if found.iter().all(|(at, _)| *at < first.0) {
        // The head of a table: one for each group, in order.
        return (found.len() == groups.len())
            .then(|| found.iter().map(|(_, value)| Some(value.clone())).collect());
    }
    if found[0].0 < first.0 {
        return headed(found, groups);
    }
    trailed(found, groups)
}

/// Each group goes by what stands before it.
fn headed<T: Clone>(found: &[(usize, T)], groups: &[(usize, usize)]) -> Option<Vec<Option<T>>> {
    let after = |(at, _): &(usize, T)| groups.last().is_some_and(|last| last.1 < *at);
    if found.iter().any(after) {
        return None;
    }
    let before = |from: usize| found.iter().rev().find(|(at, _)| *at < from);
    Some(groups.iter().map(|(from, _)| before(*from).map(|(_, value)| value.clone())).collect())
}

/// Each group goes by what stands after it.
fn trailed<T: Clone>(found: &[(usize, T)], groups: &[(usize, usize)]) -> Option<Vec<Option<T>>> {
    let mut values = Vec::with_capacity(groups.len());
    for (index, (_, to)) in groups.iter().enumerate() {
        let next = groups.get(index + 1).map_or(usize::MAX, |next| next.0);
        let mut here = found.iter().filter(|(at, _)| to < at && *at < next);
        let value = here.next()?;
        if here.next().is_some() {
            return None;
        }
        values.push(Some(value.1.clone()));
    }
    Some(values)
}

/// The kind of a condition, whatever its values.
fn rank(on: On) -> usize {
    match on {
        On::Capacitance => 0,
        On::Voltage => 1,
        On::Charge => 2,
        On::Kin(_) => 3,
    }
}

fn guards(
    items: &[Item],
    groups: &mut [Group],
    places: &[(usize, usize)],
    doubts: &mut Vec<Doubt>,
) {
    let all: Vec<(usize, Guard)> =
        items
            .iter()
            .enumerate()
            .filter_map(|(at, item)| {
                if let Item::Guard(guard) = item { Some((at, guard.clone())) } else { None }
            })
            .collect();
    if all.is_empty() || groups.is_empty() {
        return;
    }
    if let [group] = groups {
        // After the second of two values it may be meant for that one alone.
        let inside = all.iter().any(|(at, _)| group.from < *at && *at < group.to);
        let trails = all.iter().any(|(at, _)| group.to < *at)
            && 1 < group.stated.len()
            && group.pick.is_none();
        if inside || trails {
            doubts.push(Doubt { why: Why::Conditions, at: Some(all[0].1.at) });
        }
        group.guards = all.into_iter().map(|(_, guard)| guard).collect();
        return;
    }
    let first = places[0].0;
    let mut heads: Vec<(usize, Guard)> = Vec::new();
    for kind in 0..4 {
        let found: Vec<(usize, Guard)> =
            all.iter().filter(|(_, guard)| rank(guard.on) == kind).cloned().collect();
        let Some((at, _)) = found.first() else { continue };
        let headed = *at < first;
        let table = found.len() > 1 && found.iter().all(|(at, _)| *at < first);
        if headed && !table {
            heads.extend(found);
            continue;
        }
        match shared_out(&found, places) {
            Some(values) => {
                for (group, guard) in groups.iter_mut().zip(values) {
                    group.guards.extend(guard);
                }
            }
            None => doubts.push(Doubt { why: Why::Conditions, at: Some(found[0].1.at) }),
        }
    }
    heads.sort_by_key(|(at, _)| *at);
    if heads.iter().any(|(at, _)| places.last().is_some_and(|last| last.1 < *at)) {
        doubts.push(Doubt { why: Why::Conditions, at: None });
    }
    nest(&heads, groups, places);
}

/// Conditions before groups, one within another: a second one of a kind ends the first and all
/// within it.
fn nest(heads: &[(usize, Guard)], groups: &mut [Group], places: &[(usize, usize)]) {
    let mut open: Vec<&(usize, Guard)> = Vec::new();
    let mut heads = heads.iter().peekable();
    let mut last_to = 0;
    for (group, (from, to)) in groups.iter_mut().zip(places) {
        while let Some(head) = heads.next_if(|(at, _)| at < from) {
            let same = open
                .iter()
                .position(|(at, guard)| rank(guard.on) == rank(head.1.on) && *at < last_to);
            if let Some(same) = same {
                open.truncate(same);
            }
            open.push(head);
        }
        group.guards.extend(open.iter().map(|(_, guard)| guard.clone()));
        last_to = *to;
    }
}
