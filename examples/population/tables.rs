//! The verdicts against the truth, in numbers.

use std::collections::BTreeMap;
use std::fmt::{Arguments, Display, Write};

use reststrom::judge::Verdict;

use crate::grade::Grade;
use crate::station::MeterClass;
use crate::statistics::Share;
use crate::study::{Study, is_within};
use crate::trial::{Case, Run};

/// Which of a part's two runs.
pub(crate) type Which = fn(&Case) -> &Run;

/// Writes a line; a string takes all there is.
pub(crate) fn line(text: &mut String, arguments: Arguments<'_>) {
    text.write_fmt(arguments).expect("a string takes all there is");
    text.push('\n');
}

/// Values side by side, each right-aligned in so many letters.
pub(crate) fn columns(values: impl IntoIterator<Item: Display>, width: usize) -> String {
    values.into_iter().fold(String::new(), |text, value| text + &format!("{value:>width$}"))
}

/// All parts, and those of each family.
pub(crate) fn by_family<'a>(
    study: &'a Study,
    cases: &'a [Case],
) -> Vec<(&'static str, Vec<&'a Case>)> {
    let of = |row: usize| cases.iter().filter(|case| case.row == row).collect();
    let families = study.rows.iter().enumerate();
    let families = families.map(|(row, family)| (family.family.tag(), of(row)));
    std::iter::once(("all parts", cases.iter().collect())).chain(families).collect()
}

/// All parts, those of each instrument and those of each family.
fn groups<'a>(study: &'a Study, cases: &'a [Case]) -> Vec<(&'static str, Vec<&'a Case>)> {
    let of = |meter: &MeterClass| cases.iter().filter(|case| case.meter == *meter).collect();
    let meters = MeterClass::ALL.iter().map(|meter| (meter.tag(), of(meter)));
    let mut all = by_family(study, cases);
    all.splice(1..1, meters);
    all
}

/// Truth against verdict.
pub(crate) fn confusion(study: &Study, cases: &[Case], which: Which) -> String {
    let mut text = String::new();
    let heads = columns(Verdict::ALL.iter().map(|verdict| verdict.tag()).chain(["endless"]), 11);
    for (name, group) in groups(study, cases) {
        line(&mut text, format_args!("{name:<24}{heads}"));
        for grade in Grade::ALL {
            let of_grade = group.iter().filter(|case| Grade::of(case, which(case)) == grade);
            let verdicts: Vec<Option<Verdict>> = of_grade.map(|case| which(case).verdict).collect();
            if !verdicts.is_empty() {
                line(&mut text, format_args!("  {:<22}{}", grade.tag(), counts(&verdicts)));
            }
        }
        text.push('\n');
    }
    text
}

fn counts(verdicts: &[Option<Verdict>]) -> String {
    let kinds = Verdict::ALL.iter().map(|verdict| Some(*verdict)).chain([None]);
    columns(kinds.map(|kind| Share::count(verdicts, |verdict| **verdict == kind).hits), 11)
}

/// False verdicts with their 95 % intervals, and how many good parts stay undecided.
pub(crate) fn rates(study: &Study, cases: &[Case], which: Which) -> String {
    let mut text = String::new();
    line(
        &mut text,
        format_args!(
            "{:<15}{:>20}{:>14}{:>9}{:>11}{:>14}{:>8}",
            "", "within, of bad", "95 %", "of 20 %", "over, good", "95 %", "und. %"
        ),
    );
    for (name, group) in groups(study, cases) {
        line(&mut text, format_args!("{name:<15}{}", rate(&group, which)));
    }
    text
}

fn rate(cases: &[&Case], which: Which) -> String {
    let of = |wanted: fn(Grade) -> bool| {
        let wanted = move |case: &&&Case| wanted(Grade::of(case, which(case)));
        cases.iter().filter(wanted)
    };
    let good = |verdict| {
        let within = of(|grade| grade == Grade::Within);
        Share::count(within, |case| which(case).verdict == Some(verdict))
    };
    let bad = Share::count(of(Grade::is_bad), |case| is_within(which(case)));
    let far = of(|grade| grade == Grade::FarOver);
    let far = Share::count(far, |case| is_within(which(case)));
    let (over, undecided) = (good(Verdict::Over), good(Verdict::Undecided));
    format!(
        "{:>20}{:>14}{:>9}{:>11}{:>14}{:>8}",
        format!("{}/{} {} %", bad.hits, bad.of, bad.percent_text(3)),
        bad.interval_text(),
        format!("{}/{}", far.hits, far.of),
        format!("{}/{}", over.hits, over.of),
        over.interval_text(),
        undecided.percent_text(1),
    )
}

/// Why good parts do not pass, by family and instrument.
pub(crate) fn reasons(study: &Study, cases: &[Case], which: Which) -> String {
    let mut rows: BTreeMap<(usize, &str, &str), [u64; MeterClass::ALL.len()]> = BTreeMap::new();
    let good = cases.iter().filter(|case| Grade::of(case, which(case)) == Grade::Within);
    for case in good.filter(|case| !is_within(which(case))) {
        let run = which(case);
        let (Some(verdict), Some(reason)) = (run.verdict, run.reason) else { continue };
        let row = rows.entry((case.row, verdict.tag(), reason.tag())).or_default();
        let meter = MeterClass::ALL.iter().position(|meter| *meter == case.meter);
        row[meter.unwrap_or_default()] += 1;
    }
    let mut text = String::new();
    let heads = columns(MeterClass::ALL.iter().map(|meter| meter.tag()), 16);
    line(&mut text, format_args!("{:<52}{heads}", ""));
    for ((row, verdict, reason), counts) in rows {
        let (family, counts) = (study.rows[row].family.tag(), columns(counts, 16));
        line(&mut text, format_args!("{family:<14}{verdict:<12}{reason:<26}{counts}"));
    }
    text
}
