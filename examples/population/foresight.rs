//! What an early end saves and costs, and how well the reading is forecast.

use std::fmt::Arguments;

use crate::faults::Class;
use crate::statistics::{Share, quantile};
use crate::study::{LEAST_SHARES, Study, Trade, is_within};
use crate::tables::{Grade, line};
use crate::trial::{Case, FORECAST_AT};

/// Soak time with an early end as a share of the reading time, for healthy parts.
pub(crate) fn early(study: &Study, cases: &[Case]) -> String {
    let mut text = String::new();
    head(
        &mut text,
        format_args!(
            "{:>9}{:>10}{:>9}{:>9}{:>12}",
            "healthy", "early %", "median", "90 %", "within full"
        ),
    );
    early_line(&mut text, "all parts", cases.iter());
    for (row, family) in study.rows.iter().enumerate() {
        early_line(&mut text, family.family.tag(), cases.iter().filter(|case| case.row == row));
    }
    text
}

fn head(text: &mut String, columns: Arguments<'_>) {
    line(text, format_args!("{:<17}{columns}", ""));
}

fn early_line<'a>(text: &mut String, name: &str, cases: impl Iterator<Item = &'a Case>) {
    let healthy: Vec<&Case> = cases
        .filter(|case| case.class == Class::Healthy)
        .filter(|case| Grade::of(case, &case.full) == Grade::Within)
        .collect();
    let within = Share::count(&healthy, |case| is_within(&case.full));
    let decided: Vec<&&Case> = healthy.iter().filter(|case| is_within(&case.full)).collect();
    let early = Share::count(&decided, |case| case.early.at < 1.0 && is_within(&case.early));
    let times: Vec<f64> = decided.iter().map(|case| case.early.at).collect();
    let (median, most) = (quantile(times.clone(), 0.5), quantile(times, 0.9));
    line(
        text,
        format_args!(
            "{name:<17}{:>9}{:>10.1}{:>9.3}{:>9.3}{:>12.1}",
            decided.len(),
            early.percent(),
            median.unwrap_or(f64::NAN),
            most.unwrap_or(f64::NAN),
            within.percent(),
        ),
    );
}

/// What each least share of the reading time costs and misses.
pub(crate) fn trades(study: &Study, trades: &[Trade]) -> String {
    let mut text = String::new();
    let heads: String = LEAST_SHARES.iter().map(|share| format!("{share:>16}")).collect();
    head(&mut text, format_args!("{heads}"));
    trade_lines(&mut text, "all parts", trades);
    for (row, family) in study.rows.iter().enumerate() {
        let of_family: Vec<Trade> =
            trades.iter().filter(|trade| trade.row == row).copied().collect();
        trade_lines(&mut text, family.family.tag(), &of_family);
    }
    text
}

/// Late climbers that are over at the reading time by a fifth and passed; healthy parts' median.
fn trade_lines(text: &mut String, name: &str, trades: &[Trade]) {
    let column = |index: usize| {
        let climbers = trades.iter().filter(|trade| trade.climbs && 1.2 < trade.share);
        let missed = Share::count(climbers, |trade| is_within(&trade.runs[index]));
        let healthy = trades.iter().filter(|trade| !trade.climbs && trade.share < 0.9);
        let times = healthy.map(|trade| trade.runs[index].at).collect();
        let median = quantile(times, 0.5).unwrap_or(f64::NAN);
        format!("{:>16}", format!("{}/{} {median:.3}", missed.hits, missed.of))
    };
    let columns: String = (0..LEAST_SHARES.len()).map(column).collect();
    line(text, format_args!("{name:<17}{columns}"));
}

/// How often the forecast's interval holds what was read in the end, and how far it misses.
pub(crate) fn forecasts(study: &Study, cases: &[Case]) -> String {
    let mut text = String::new();
    let heads = FORECAST_AT.iter().map(|at| format!("{:>25}", format!("at {at} t_r")));
    head(&mut text, format_args!("{}", heads.collect::<String>()));
    let columns =
        FORECAST_AT.iter().map(|_| format!("{:>9}{:>8}{:>8}", "runs", "hold %", "miss %"));
    head(&mut text, format_args!("{}", columns.collect::<String>()));
    forecast_line(&mut text, "all parts", cases.iter());
    let healthy = |case: &&Case| case.class == Class::Healthy;
    forecast_line(&mut text, "healthy", cases.iter().filter(healthy));
    for (row, family) in study.rows.iter().enumerate() {
        forecast_line(&mut text, family.family.tag(), cases.iter().filter(|case| case.row == row));
    }
    text
}

/// The miss is in per cent of the value read, or of a hundredth of the limit where that is more.
fn forecast_line<'a>(text: &mut String, name: &str, cases: impl Iterator<Item = &'a Case>) {
    let cases: Vec<&Case> = cases.filter(|case| case.full.reading.is_some()).collect();
    let column = |index: usize| {
        let told = cases.iter().filter_map(|case| {
            let (forecast, half_width) = case.full.forecasts[index]?;
            let (read, _) = case.full.reading?;
            let scale = read.abs().max(case.limit * 0.01);
            Some(((forecast - read).abs(), half_width, scale))
        });
        let told: Vec<(f64, f64, f64)> = told.collect();
        let holds = Share::count(&told, |(miss, half_width, _)| miss <= half_width);
        let misses = told.iter().map(|(miss, _, scale)| 100.0 * miss / scale).collect();
        let miss = quantile(misses, 0.5).unwrap_or(f64::NAN);
        format!("{:>9}{:>8.1}{miss:>8.2}", told.len(), holds.percent())
    };
    let columns: String = (0..FORECAST_AT.len()).map(column).collect();
    line(text, format_args!("{name:<17}{columns}"));
}

/// Late climbers of the population by where they are at the reading time.
pub(crate) fn climbers(cases: &[Case]) -> String {
    let mut text = String::new();
    head(&mut text, format_args!("{:>9}{:>16}{:>16}", "parts", "within, full", "within, early"));
    for (name, least, most) in [
        ("within at t_r", 0.0, 1.0),
        ("1–1.2 L at t_r", 1.0, 1.2),
        ("above 1.2 L", 1.2, f64::INFINITY),
    ] {
        let of_kind = cases.iter().filter(|case| {
            case.class == Class::LateClimber && least <= case.share() && case.share() < most
        });
        let full = Share::count(of_kind.clone(), |case| is_within(&case.full));
        let early = Share::count(of_kind, |case| is_within(&case.early));
        line(
            &mut text,
            format_args!("{name:<17}{:>9}{:>16}{:>16}", full.of, full.hits, early.hits),
        );
    }
    text
}
