//! What went wrong, part by part, to be run again by number.

use reststrom::judge::{Finding, Verdict};

use crate::faults::Class;
use crate::grade::Grade;
use crate::statistics::Share;
use crate::study::{Contact, Study, is_within};
use crate::tables::{Which, line};
use crate::trial::{Case, Run};

/// Most lines of a list.
const SHOWN: usize = 40;

/// Parts that passed although they must not.
pub(crate) fn passed(study: &Study, cases: &[Case], which: Which) -> String {
    listed(study, cases, which, |grade, run| is_within(run) && grade.forbids_within())
}

/// Good parts that were told to be over.
pub(crate) fn thrown_away(study: &Study, cases: &[Case], which: Which) -> String {
    let over = Some(Verdict::Over);
    listed(study, cases, which, |grade, run| run.verdict == over && grade == Grade::Within)
}

fn listed(
    study: &Study,
    cases: &[Case],
    which: Which,
    wanted: impl Fn(Grade, &Run) -> bool,
) -> String {
    let wrong: Vec<&Case> =
        cases.iter().filter(|case| wanted(Grade::of(case, which(case)), which(case))).collect();
    let mut text = String::new();
    wrong.iter().take(SHOWN).for_each(|case| entry(&mut text, study, case, which(case)));
    if SHOWN < wrong.len() {
        line(&mut text, format_args!("and {} more", wrong.len() - SHOWN));
    }
    text
}

fn entry(text: &mut String, study: &Study, case: &Case, run: &Run) {
    let reading = run.reading.map_or("no reading".to_owned(), |(current, half_width)| {
        format!("{:.2} ± {:.2} L", current / case.limit, half_width / case.limit)
    });
    line(
        text,
        format_args!(
            "{:>6} {:<10} {:<13} {:<14} true {:>6.2} L, {reading:<15} at {:.2} {}",
            case.index,
            study.rows[case.row].family.tag(),
            case.class.tag(),
            case.meter.tag(),
            case.share().min(999.0),
            run.at,
            run.reason.map_or("", Finding::tag),
        ),
    );
}

/// Empty clips and lost contacts: how many passed, and which.
pub(crate) fn contacts(study: &Study, tries: &[Contact]) -> String {
    let mut text = String::new();
    for class in [Class::Open, Class::LosesContact] {
        let of_class = tries.iter().filter(|tried| tried.class == class);
        let share = Share::count(of_class, |tried| is_within(&tried.run));
        let (name, tries, within) = (class.tag(), share.of, share.hits);
        let most = share.interval().1;
        line(
            &mut text,
            format_args!("{name:<14}{tries:>8} tries {within:>6} within, at most {most:.4} %"),
        );
    }
    for tried in tries.iter().filter(|tried| is_within(&tried.run)).take(SHOWN) {
        let (index, class) = (tried.index, tried.class.tag());
        let (family, off_at) = (study.rows[tried.row].family.tag(), tried.off_at);
        line(&mut text, format_args!("try {index:>8}  {family:<12}{class:<15}at {off_at:.2} s"));
    }
    text
}
