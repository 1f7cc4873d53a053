//! What an early end saves and costs, and how well the reading is forecast.

use crate::faults::Class;
use crate::grade::Grade;
use crate::statistics::{Share, quantile};
use crate::study::{LEAST_SHARES, Study, Trade, is_within};
use crate::tables::{by_family, columns, line};
use crate::trial::{Case, FORECAST_AT};

/// Above this multiple of its limit at the reading time a late climber is missed when it passes.
const CLIMBED: f64 = 1.2;
/// Below this multiple of it a healthy part counts for the time that is saved.
const SAFE: f64 = 0.9;

/// Soak time with an early end as a share of the reading time, for healthy parts that pass; and
/// how many of all that pass early are bad.
pub(crate) fn early(study: &Study, cases: &[Case]) -> String {
    let mut text = String::new();
    let heads = ["healthy", "early %", "median", "90 %", "all within", "false", "false %"];
    line(&mut text, format_args!("{:<15}{}", "", columns(heads, 12)));
    for (name, group) in by_family(study, cases) {
        line(&mut text, format_args!("{name:<15}{}", early_columns(&group)));
    }
    text
}

fn early_columns(cases: &[&Case]) -> String {
    let healthy: Vec<&&Case> = cases
        .iter()
        .filter(|case| case.class == Class::Healthy && is_within(&case.full))
        .filter(|case| Grade::of(case, &case.full) == Grade::Within)
        .collect();
    let early = Share::count(&healthy, |case| case.early.at < 1.0 && is_within(&case.early));
    let times: Vec<f64> = healthy.iter().map(|case| case.early.at).collect();
    let within = cases.iter().filter(|case| is_within(&case.early));
    let false_ones = Share::count(within, |case| Grade::of(case, &case.early).is_bad());
    let values = [
        healthy.len().to_string(),
        early.percent_text(1),
        number(quantile(times.clone(), 0.5), 3),
        number(quantile(times, 0.9), 3),
        false_ones.of.to_string(),
        false_ones.hits.to_string(),
        false_ones.percent_text(2),
    ];
    columns(values, 12)
}

/// Bad parts by what they came as: how many, and how many of them passed at the full time and early.
pub(crate) fn missed(cases: &[Case]) -> String {
    let mut classes: Vec<Class> = cases.iter().map(|case| case.class).collect();
    classes.sort_unstable();
    classes.dedup();
    let mut text = String::new();
    let heads = columns(["bad", "within, full", "within, early"], 16);
    line(&mut text, format_args!("{:<17}{heads}", ""));
    for class in classes {
        let bad = cases.iter().filter(|case| case.class == class);
        let bad = bad.filter(|case| Grade::of(case, &case.full).is_bad());
        let full = Share::count(bad.clone(), |case| is_within(&case.full));
        let early = Share::count(bad, |case| is_within(&case.early));
        let values = columns([full.of, full.hits, early.hits], 16);
        line(&mut text, format_args!("{:<17}{values}", class.tag()));
    }
    text
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or("–".to_owned(), |value| format!("{value:.digits$}"))
}

/// What each least share of the reading time costs and misses: late climbers over by a fifth that
/// passed, of how many, and the median time of healthy parts.
pub(crate) fn trades(study: &Study, trades: &[Trade]) -> String {
    let mut text = String::new();
    line(&mut text, format_args!("{:<15}{}", "", columns(LEAST_SHARES, 17)));
    line(&mut text, format_args!("{:<15}{}", "all parts", trade_columns(trades)));
    for (row, family) in study.rows.iter().enumerate() {
        let of_family = trades.iter().filter(|trade| trade.row == row).copied();
        let of_family: Vec<Trade> = of_family.collect();
        let name = family.family.tag();
        line(&mut text, format_args!("{name:<15}{}", trade_columns(&of_family)));
    }
    text
}

fn trade_columns(trades: &[Trade]) -> String {
    let column = |index: usize| {
        let climbers = trades.iter().filter(|trade| trade.climbs && CLIMBED < trade.share);
        let missed = Share::count(climbers, |trade| is_within(&trade.runs[index]));
        let healthy = trades.iter().filter(|trade| !trade.climbs && trade.share < SAFE);
        let median = quantile(healthy.map(|trade| trade.runs[index].at).collect(), 0.5);
        format!("{}/{} {}", missed.hits, missed.of, number(median, 3))
    };
    columns((0..LEAST_SHARES.len()).map(column), 17)
}

/// How often the forecast's 95 % interval holds what was read in the end, and how far it misses:
/// the median in per cent of the value read, or of a hundredth of the limit where that is more.
pub(crate) fn forecasts(study: &Study, cases: &[Case]) -> String {
    let mut text = String::new();
    let heads = columns(FORECAST_AT.map(|at| format!("at {at} t_r")), 25);
    line(&mut text, format_args!("{:<15}{heads}", ""));
    let heads = columns(FORECAST_AT.map(|_| columns(["runs", "hold %", "miss %"], 8)), 25);
    line(&mut text, format_args!("{:<15}{heads}", ""));
    let healthy = cases.iter().filter(|case| case.class == Class::Healthy).collect();
    line(&mut text, format_args!("{:<15}{}", "healthy", forecast_columns(&healthy)));
    for (name, group) in by_family(study, cases) {
        line(&mut text, format_args!("{name:<15}{}", forecast_columns(&group)));
    }
    text
}

fn forecast_columns(cases: &Vec<&Case>) -> String {
    let column = |index: usize| {
        let told = cases.iter().filter_map(|case| {
            let (forecast, half_width) = case.full.forecasts[index]?;
            let read = case.full.raw?;
            let scale = read.abs().max(case.limit * 0.01);
            Some(((forecast - read).abs(), half_width, scale))
        });
        let told: Vec<(f64, f64, f64)> = told.collect();
        let holds = Share::count(&told, |(miss, half_width, _)| miss <= half_width);
        let misses = told.iter().map(|(miss, _, scale)| 100.0 * miss / scale).collect();
        let values =
            [told.len().to_string(), holds.percent_text(1), number(quantile(misses, 0.5), 2)];
        columns(values, 8)
    };
    columns((0..FORECAST_AT.len()).map(column), 25)
}

/// Late climbers of the population by where they are at the reading time.
pub(crate) fn climbers(cases: &[Case]) -> String {
    let mut text = String::new();
    let heads = columns(["parts", "within, full", "within, early"], 16);
    line(&mut text, format_args!("{:<17}{heads}", ""));
    let kinds = [
        ("within at t_r", 0.0, 1.0),
        ("up to 1.2 L", 1.0, CLIMBED),
        ("above 1.2 L", CLIMBED, f64::INFINITY),
    ];
    for (name, least, most) in kinds {
        let climbers = cases.iter().filter(|case| case.class == Class::LateClimber);
        let of_kind = climbers.filter(|case| least <= case.share() && case.share() < most);
        let full = Share::count(of_kind.clone(), |case| is_within(&case.full));
        let early = Share::count(of_kind, |case| is_within(&case.early));
        let values = columns([full.of, full.hits, early.hits], 16);
        line(&mut text, format_args!("{name:<17}{values}"));
    }
    text
}
