//! The verdicts against the truth.

use std::collections::BTreeMap;
use std::fmt::Write;

use reststrom::judge::Verdict;

use crate::faults::Class;
use crate::specimen::State;
use crate::station::MeterClass;
use crate::statistics::Share;
use crate::study::{Contact, Study, is_within};
use crate::trial::{Case, Run};

/// Most lines of a list of what went wrong.
const SHOWN: usize = 40;

/// A part that is over by this and the uncertainty must never pass.
const FAR: f64 = 1.2;

/// Where the truth lies, against the limit and the uncertainty of the reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grade {
    /// Within, by more than the uncertainty.
    Within,
    /// So near to the limit that the uncertainty holds it.
    Near,
    /// Over by more than the uncertainty.
    Over,
    /// Over by 20 % and the uncertainty.
    FarOver,
    /// Still within at the reading time, but climbing or bursting.
    Unsteady,
    /// Bad whatever it leaks.
    Bad,
    /// Not of the printed value.
    OtherValue,
    /// Not there.
    Absent,
}

impl Grade {
    /// All of them.
    pub(crate) const ALL: [Self; 8] = [
        Self::Within,
        Self::Near,
        Self::Over,
        Self::FarOver,
        Self::Unsteady,
        Self::Bad,
        Self::OtherValue,
        Self::Absent,
    ];

    /// That of a part in one of its runs.
    pub(crate) fn of(case: &Case, run: &Run) -> Self {
        match case.state(run) {
            State::Absent => Self::Absent,
            State::Bad => Self::Bad,
            State::OtherValue => Self::OtherValue,
            State::Unsteady => Self::Unsteady,
            State::Sound => Self::of_leakage(case, run),
        }
    }

    fn of_leakage(case: &Case, run: &Run) -> Self {
        let uncertainty = run.reading.map_or(0.0, |(_, half_width)| half_width);
        let (leakage, limit) = (case.truth.leakage, case.limit);
        if limit * FAR + uncertainty < leakage {
            Self::FarOver
        } else if limit + uncertainty < leakage {
            Self::Over
        } else if limit - uncertainty < leakage {
            Self::Near
        } else {
            Self::Within
        }
    }

    /// Whether `within` is false of it.
    pub(crate) fn forbids_within(self) -> bool {
        match self {
            Self::Over | Self::FarOver | Self::Bad | Self::OtherValue | Self::Absent => true,
            Self::Within | Self::Near | Self::Unsteady => false,
        }
    }

    /// Whether its leakage or its faults make it a bad part.
    fn is_bad(self) -> bool {
        matches!(self, Self::Over | Self::FarOver | Self::Bad)
    }

    fn tag(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Near => "near the limit",
            Self::Over => "over",
            Self::FarOver => "over by 20 %",
            Self::Unsteady => "within, unsteady",
            Self::Bad => "bad",
            Self::OtherValue => "other value",
            Self::Absent => "absent",
        }
    }
}

/// Which of the two runs.
pub(crate) type Which = fn(&Case) -> &Run;

/// Truth against verdict: all, by instrument, by family.
pub(crate) fn confusion(study: &Study, cases: &[Case], which: Which) -> String {
    let mut text = String::new();
    block(&mut text, "all parts", cases.iter(), which);
    for meter in MeterClass::ALL {
        block(&mut text, meter.tag(), cases.iter().filter(|case| case.meter == meter), which);
    }
    for (row, family) in study.rows.iter().enumerate() {
        let of_family = cases.iter().filter(|case| case.row == row);
        block(&mut text, family.family.tag(), of_family, which);
    }
    text
}

fn block<'a>(
    text: &mut String,
    name: &str,
    cases: impl Iterator<Item = &'a Case> + Clone,
    which: Which,
) {
    let heads = Verdict::ALL.iter().map(|verdict| format!("{:>11}", verdict.tag()));
    line(text, format_args!("{name:<24}{}{:>11}", heads.collect::<String>(), "endless"));
    for grade in Grade::ALL {
        let of_grade = cases.clone().filter(|case| Grade::of(case, which(case)) == grade);
        let verdicts = Verdict::ALL.iter().map(|verdict| Some(*verdict)).chain([None]);
        let counts: Vec<u64> = verdicts
            .map(|verdict| {
                Share::count(of_grade.clone(), |case| which(case).verdict == verdict).hits
            })
            .collect();
        if counts.iter().any(|count| *count > 0) {
            let columns: String = counts.iter().map(|count| format!("{count:>11}")).collect();
            line(text, format_args!("  {:<22}{columns}", grade.tag()));
        }
    }
    line(text, format_args!(""));
}

/// False verdicts with their intervals, and how many stay undecided.
pub(crate) fn rates(study: &Study, cases: &[Case], which: Which) -> String {
    let mut text = String::new();
    line(
        &mut text,
        format_args!(
            "{:<17}{:^37}{:^12}{:^24}",
            "", "within of bad parts", "of 20 %", "over of good parts"
        ),
    );
    line(
        &mut text,
        format_args!(
            "{:<17}{:>8} {:>6} {:>8}  {:<12}{:>5}/{:<7}{:>6}/{:<7} {:<11}{:>8}",
            "", "of", "false", "%", "95 % of", "false", "of", "false", "of", "95 % %", "undec. %"
        ),
    );
    rate_line(&mut text, "all parts", cases.iter(), which);
    for meter in MeterClass::ALL {
        rate_line(&mut text, meter.tag(), cases.iter().filter(|case| case.meter == meter), which);
    }
    for (row, family) in study.rows.iter().enumerate() {
        let of_family = cases.iter().filter(|case| case.row == row);
        rate_line(&mut text, family.family.tag(), of_family, which);
    }
    text
}

fn rate_line<'a>(
    text: &mut String,
    name: &str,
    cases: impl Iterator<Item = &'a Case> + Clone,
    which: Which,
) {
    let of = |wanted: fn(Grade) -> bool| {
        cases.clone().filter(move |case| wanted(Grade::of(case, which(case))))
    };
    let within = |case: &&Case| is_within(which(case));
    let bad = Share::count(of(Grade::is_bad), within);
    let far = Share::count(of(|grade| grade == Grade::FarOver), within);
    let good = Share::count(of(|grade| grade == Grade::Within), |case| {
        which(case).verdict == Some(Verdict::Over)
    });
    let undecided = Share::count(of(|grade| grade == Grade::Within), |case| {
        which(case).verdict == Some(Verdict::Undecided)
    });
    let (from, to) = bad.interval();
    let (good_from, good_to) = good.interval();
    line(
        text,
        format_args!(
            "{name:<17}{:>8} {:>6} {:>8.3}  {:<12}{:>5}/{:<7}{:>6}/{:<7} {:<11}{:>8.1}",
            bad.of,
            bad.hits,
            bad.percent(),
            format!("{from:.3}–{to:.3}"),
            far.hits,
            far.of,
            good.hits,
            good.of,
            format!("{good_from:.3}–{good_to:.3}"),
            undecided.percent(),
        ),
    );
}

/// Why good parts do not pass, by family and instrument.
pub(crate) fn reasons(study: &Study, cases: &[Case], which: Which) -> String {
    let mut counts: BTreeMap<(usize, &str, &str), [u64; MeterClass::ALL.len()]> = BTreeMap::new();
    let good = cases.iter().filter(|case| Grade::of(case, which(case)) == Grade::Within);
    for case in good.filter(|case| !is_within(which(case))) {
        let run = which(case);
        let (Some(verdict), Some(reason)) = (run.verdict, run.reason) else { continue };
        let row = counts.entry((case.row, verdict.tag(), reason.tag())).or_default();
        let meter = MeterClass::ALL.iter().position(|meter| *meter == case.meter);
        row[meter.unwrap_or_default()] += 1;
    }
    let heads: String =
        MeterClass::ALL.iter().map(|meter| format!("{:>16}", meter.tag())).collect();
    let mut text = String::new();
    line(&mut text, format_args!("{:<52}{heads}", ""));
    for ((row, verdict, reason), counts) in counts {
        let family = study.rows[row].family.tag();
        let columns: String = counts.iter().map(|count| format!("{count:>16}")).collect();
        line(&mut text, format_args!("{family:<14}{verdict:<12}{reason:<26}{columns}"));
    }
    text
}

/// Parts that passed although they must not, to be run again by their numbers.
pub(crate) fn passed(study: &Study, cases: &[Case], which: Which) -> String {
    listed(study, cases, which, |case, run| is_within(run) && Grade::of(case, run).forbids_within())
}

/// Good parts that were told to be over.
pub(crate) fn thrown_away(study: &Study, cases: &[Case], which: Which) -> String {
    listed(study, cases, which, |case, run| {
        run.verdict == Some(Verdict::Over) && Grade::of(case, run) == Grade::Within
    })
}

fn listed(
    study: &Study,
    cases: &[Case],
    which: Which,
    wanted: impl Fn(&Case, &Run) -> bool,
) -> String {
    let mut text = String::new();
    for case in cases.iter().filter(|case| wanted(case, which(case))).take(SHOWN) {
        let run = which(case);
        let (current, half_width) = run.reading.unwrap_or((f64::NAN, f64::NAN));
        line(
            &mut text,
            format_args!(
                "{:>6} {:<10} {:<15} {:<11} {:<13} truth {:.3} L, {:.3} ± {:.3} at {:.2} {}",
                case.index,
                study.rows[case.row].family.tag(),
                case.class.tag(),
                Grade::of(case, run).tag(),
                case.meter.tag(),
                case.share(),
                current / case.limit,
                half_width / case.limit,
                run.at,
                run.reason.map_or("", reststrom::judge::Finding::tag),
            ),
        );
    }
    text
}

/// Empty clips and lost contacts.
pub(crate) fn contacts(study: &Study, tries: &[Contact]) -> String {
    let mut text = String::new();
    for class in [Class::Open, Class::LosesContact] {
        let of_class = tries.iter().filter(|tried| tried.class == class);
        let share = Share::count(of_class, |tried| is_within(&tried.run));
        let (_, most) = share.interval();
        let (name, tries, within) = (class.tag(), share.of, share.hits);
        line(
            &mut text,
            format_args!(
                "{name:<16}{tries:>8} tries {within:>6} within, at most {most:.4} % (95 %)"
            ),
        );
    }
    for tried in tries.iter().filter(|tried| is_within(&tried.run)).take(SHOWN) {
        let family = study.rows[tried.row].family.tag();
        let (index, class, off_at) = (tried.index, tried.class.tag(), tried.off_at);
        line(
            &mut text,
            format_args!("try {index:>8}  {family:<12} {class:<14} off at {off_at:.2} s"),
        );
    }
    text
}

/// Writes a line; a string takes all there is.
pub(crate) fn line(text: &mut String, arguments: std::fmt::Arguments<'_>) {
    text.write_fmt(arguments).expect("a string takes all there is");
    text.push('\n');
}
