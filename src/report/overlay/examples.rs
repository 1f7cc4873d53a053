//! Runs to be drawn together, for tests.

use super::Member;
use crate::quantity::{amperes, coulombs, seconds};
use crate::report::{Curve, Point, Sample, example};

fn of(number: u32, name: &str, curve: Curve) -> Member {
    Member {
        run: format!("r{number}").parse().unwrap(),
        name: name.to_owned(),
        what: "ta-mno2 22 µF 25 V".to_owned(),
        charge: coulombs(22e-6 * 25.0),
        curve,
    }
}

/// The same part with its currents multiplied and its beginning moved.
fn like(curve: &Curve, factor: f64, later: f64) -> Curve {
    let point = |point: &Point| Point {
        at: point.at + seconds(later),
        current: match point.current {
            Sample::Value(current) => Sample::Value(current * factor),
            other @ (Sample::Overload { .. } | Sample::Missing) => other,
        },
        ..*point
    };
    let mut curve = Curve { points: curve.points.iter().map(point).collect(), ..curve.clone() };
    for span in &mut curve.phases {
        span.from += seconds(later);
        span.to += seconds(later);
    }
    curve.full_voltage_at = curve.full_voltage_at.map(|at| at + seconds(later));
    if let Some(reading) = &mut curve.reading {
        reading.current *= factor;
        reading.uncertainty *= factor;
        reading.at += seconds(later);
        reading.window = (reading.window.0 + seconds(later), reading.window.1 + seconds(later));
    }
    curve
}

/// A sound part, a leaky one, one that broke down.
pub(in crate::report) fn few() -> Vec<Member> {
    vec![
        of(3, "C417", example::healthy()),
        of(4, "C418", like(&example::leaky(), 1.0, 4.0)),
        of(5, "C419", example::broken_down()),
    ]
}

/// Twelve parts between a third and thirty times the leakage of a sound one.
pub(in crate::report) fn twelve() -> Vec<Member> {
    let member = |index: u32| {
        let factor = 0.3 * 1.52_f64.powi(i32::try_from(index).unwrap());
        let curve = like(&example::healthy(), factor, f64::from(index % 4));
        of(index + 1, &format!("C{}", 401 + index), curve)
    };
    (0..12).map(member).collect()
}

/// A film capacitor whose limit is ten thousand times smaller.
pub(in crate::report) fn film() -> Member {
    let mut film = of(9, "C212", example::film());
    film.charge = coulombs(100e-9 * 100.0);
    film.what = "film-pet 100 nF 100 V".to_owned();
    if let Some(reading) = &mut film.curve.reading {
        reading.current = amperes(12e-12);
    }
    film
}
