//! Saved runs: search, curves thinned for a picture, pictures.

use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;

use super::answer::Problem;
use super::objects::CurveObject;
use crate::daemon::Last;
use crate::judge::Verdict;
use crate::record::{Record, Run, RunFilter, RunId};
use crate::report::{self, Axes, Curve, Format, Point, Sample};

/// The most points of a curve: twice the pixels of a wide screen, and the extremes of each.
const MOST_POINTS: usize = 4000;
/// The most runs of a list.
const MOST_RUNS: usize = 500;

/// Which runs.
#[derive(Debug, Clone, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct Search {
    /// Words that all stand in id, part, family, station, findings or date.
    pub(super) words: Option<String>,
    /// Only those of this station.
    pub(super) station: Option<String>,
    /// Only those with this verdict.
    pub(super) verdict: Option<String>,
    /// At most so many, the newest.
    #[param(maximum = 500)]
    pub(super) most: Option<u16>,
}

/// The runs that a search finds, newest first.
pub(super) fn found(record: &Record, search: &Search) -> Result<Vec<Run>, Problem> {
    let given = |text: &Option<String>| text.clone().filter(|text| !text.is_empty());
    let verdict = given(&search.verdict).map(|word| verdict(&word)).transpose()?;
    let filter = RunFilter { station: given(&search.station), verdict, ..RunFilter::default() };
    let words = given(&search.words).unwrap_or_default().to_lowercase();
    let words: Vec<&str> = words.split_whitespace().collect();
    let most = most(search)?;
    let runs = record.runs(&filter)?.into_iter();
    Ok(runs.filter(|run| has_all(run, &words)).take(most).collect())
}

fn most(search: &Search) -> Result<usize, Problem> {
    match search.most.map(usize::from) {
        None => Ok(MOST_RUNS),
        Some(most @ 0..=MOST_RUNS) => Ok(most),
        Some(most) => Err(Problem::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            format!("{most} runs at most, expected 0 to {MOST_RUNS}"),
            "search for what you look for",
        )),
    }
}

fn has_all(run: &Run, words: &[&str]) -> bool {
    if words.is_empty() {
        return true;
    }
    let last = Last::of(run);
    let findings: Vec<&str> = last.findings.iter().map(|finding| finding.tag()).collect();
    let verdict = last.verdict.map_or("open", Verdict::tag);
    let text = format!(
        "{} {} {} {} {verdict} {} {}",
        run.id,
        last.part,
        run.begun.station,
        run.begun.kind,
        findings.join(" "),
        run.begun.started
    );
    let text = text.to_lowercase();
    words.iter().all(|word| text.contains(word))
}

fn verdict(word: &str) -> Result<Verdict, Problem> {
    Verdict::from_tag(word).ok_or_else(|| {
        let words: Vec<&str> = Verdict::ALL.iter().map(|verdict| verdict.tag()).collect();
        let help = format!("expected one of {}", words.join(", "));
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, format!("no verdict \"{word}\""), &help)
    })
}

/// Reads a run's id.
pub(super) fn run_id(text: &str) -> Result<RunId, Problem> {
    text.parse().map_err(|_| Problem::none("run", text, "/api/runs lists the runs on record"))
}

/// A run's readings as columns.
pub(super) fn curve(record: &Record, id: RunId) -> Result<CurveObject, Problem> {
    let run = record.run(id)?;
    let curve = report::curve(record, &run)?;
    let points = thinned(&curve.points);
    let value = |point: &&Point| match point.current {
        Sample::Value(current) => Some(current.value),
        Sample::Overload { .. } | Sample::Missing => None,
    };
    Ok(CurveObject {
        run: id.to_string(),
        part: Last::of(&run).part,
        time_second: points.iter().map(|point| point.at.value).collect(),
        ampere: points.iter().map(value).collect(),
        volt: points.iter().map(|point| point.voltage.map(|voltage| voltage.value)).collect(),
        limit_ampere: run.begun.limit.as_ref().map(|limit| limit.current.value),
        full_voltage_second: curve.full_voltage_at.map(|at| at.value),
        readings: curve.points.len(),
    })
}

/// Of each stretch its first point, its least and its greatest current.
fn thinned(points: &[Point]) -> Vec<&Point> {
    let stretch = points.len().div_ceil(MOST_POINTS / 3).max(1);
    if stretch < 3 {
        return points.iter().collect();
    }
    points.chunks(stretch).flat_map(extremes).collect()
}

fn extremes(stretch: &[Point]) -> Vec<&Point> {
    let value = |point: &Point| match point.current {
        Sample::Value(current) => current.value,
        Sample::Overload { negative: false } => f64::INFINITY,
        Sample::Overload { negative: true } => f64::NEG_INFINITY,
        Sample::Missing => 0.0,
    };
    let at = |order: fn(&f64, &f64) -> std::cmp::Ordering| {
        let indices = 0..stretch.len();
        indices.max_by(|a, b| order(&value(&stretch[*a]), &value(&stretch[*b])))
    };
    let greatest = at(f64::total_cmp);
    let least = at(|a, b| b.total_cmp(a));
    let mut kept: Vec<usize> = [Some(0), greatest, least].into_iter().flatten().collect();
    kept.sort_unstable();
    kept.dedup();
    kept.into_iter().map(|index| &stretch[index]).collect()
}

/// A run as a picture; a staircase against its voltages.
pub(super) fn picture(
    record: &Record,
    id: RunId,
    axes: Axes,
    format: Format,
) -> Result<Vec<u8>, Problem> {
    let run = record.run(id)?;
    let curve: Curve = report::curve(record, &run)?;
    report::draw(&curve, axes, format).map_err(|error| {
        let message = crate::daemon::refused::chain(&error);
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, message, "report this: it is ours")
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Phase;
    use crate::quantity::{amperes, seconds};

    fn points(count: u32) -> Vec<Point> {
        let point = |index: u32| Point {
            at: seconds(f64::from(index)),
            current: Sample::Value(amperes(1e-6)),
            voltage: None,
            phase: Phase::Soak,
        };
        (0..count).map(point).collect()
    }

    #[test]
    fn a_long_curve_keeps_its_spikes_when_it_is_thinned() {
        let mut all = points(360_000);
        all[123_456].current = Sample::Value(amperes(5e-3));
        all[234_567].current = Sample::Overload { negative: true };
        let kept = thinned(&all);
        assert!(kept.len() <= MOST_POINTS, "{}", kept.len());
        for spike in [123_456.0, 234_567.0] {
            assert!(kept.iter().any(|point| point.at == seconds(spike)), "{spike}");
        }
        assert!(kept.windows(2).all(|pair| pair[0].at < pair[1].at), "in order");
    }

    #[test]
    fn a_short_curve_keeps_every_point() {
        assert_eq!(thinned(&points(1000)).len(), 1000);
    }
}
