//! Curves of invented parts of the pilot boat's radio room, for tests.
//!
//! The shapes follow handbook §2.1: a supply-limited charge, an exponential, absorption falling
//! with about 1/t, and a constant leakage under it.

use super::{Curve, Event, EventKind, Limit, Point, Reading, Sample, Span};
use crate::judge::{Finding, Verdict};
use crate::plan::{Kind, Phase};
use crate::quantity::{Confidence, Time, amperes, farads, seconds, volts};
use crate::record::{Conditions, InstrumentOnRecord, LimitOnRecord, NewRun};

/// Numbers that look like noise and are the same every time: uniform in −1..1.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let upper = (self.0 >> 32) as u32;
        f64::from(upper) / f64::from(u32::MAX) * 2.0 - 1.0
    }

    /// About normal, of unit deviation.
    fn bell(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() / 2.0
    }
}

/// The part of a run that the examples vary.
struct Shape {
    volts: f64,
    /// End of probe, ramp, charge, settle, soak and bleed, in s.
    ends: [f64; 6],
    /// Step between readings up to the soak and in it, in s.
    steps: (f64, f64),
    /// Current while ramping, in A.
    surge: f64,
}

const ORDER: [Phase; 6] =
    [Phase::Probe, Phase::Ramp, Phase::Charge, Phase::Settle, Phase::Soak, Phase::Bleed];

impl Shape {
    fn spans(&self) -> Vec<Span> {
        let starts = [0.0].into_iter().chain(self.ends);
        let pairs = ORDER.into_iter().zip(starts.zip(self.ends));
        let span = |(phase, (from, to))| Span { phase, from: seconds(from), to: seconds(to) };
        pairs.map(span).collect()
    }

    fn phase(&self, at: f64) -> Phase {
        let ends = ORDER.into_iter().zip(self.ends);
        ends.into_iter().find(|(_, end)| at < *end).map_or(Phase::Bleed, |(phase, _)| phase)
    }

    fn voltage(&self, at: f64) -> f64 {
        let [probe, ramp, .., soak, _] = self.ends;
        match self.phase(at) {
            Phase::Probe => self.volts * 0.04,
            Phase::Ramp => self.volts * (0.04 + 0.96 * (at - probe) / (ramp - probe)),
            Phase::Bleed => self.volts * (-(at - soak) / 1.5).exp(),
            Phase::Charge | Phase::Settle | Phase::Soak => self.volts,
            Phase::Idle | Phase::Safe | Phase::LockedOut => 0.0,
        }
    }

    /// Readings of a leakage (A, over time in s) on top of the charging current.
    fn points(&self, mut leakage: impl FnMut(f64) -> f64) -> Vec<Point> {
        let [probe, ramp, _, settle, soak, end] = self.ends;
        let mut points = Vec::new();
        let mut at = self.steps.0;
        while at < end {
            let charging = match self.phase(at) {
                Phase::Probe => self.surge * 0.02 * (-at / 0.1).exp(),
                Phase::Ramp => self.surge * (1.0 - 0.2 * (at - probe) / (ramp - probe)),
                Phase::Bleed => -self.surge * (-(at - soak) / 1.5).exp(),
                Phase::Charge | Phase::Settle | Phase::Soak => {
                    self.surge * 0.8 * (-(at - ramp) / 0.08).exp()
                }
                Phase::Idle | Phase::Safe | Phase::LockedOut => 0.0,
            };
            let share = self.voltage(at) / self.volts;
            let current = Sample::Value(amperes(charging + share * leakage(at)));
            let voltage = Some(volts(self.voltage(at)));
            points.push(Point { at: seconds(at), current, voltage, phase: self.phase(at) });
            at += if at < settle { self.steps.0 } else { self.steps.1 };
        }
        points
    }
}

fn event(at: f64, text: &str) -> Event {
    let kind = match text {
        text if text.starts_with("meter range") => EventKind::Range,
        text if text.starts_with("single reading") => EventKind::Burst,
        text if text.starts_with("cut-out") => EventKind::End,
        _ => EventKind::Other,
    };
    Event { at: seconds(at), text: text.to_owned(), kind }
}

fn reading(current: f64, uncertainty: f64, due: f64) -> Reading {
    Reading {
        current: amperes(current),
        uncertainty: amperes(uncertainty),
        at: seconds(due),
        window: (seconds(due - 10.0), seconds(due)),
    }
}

fn limit(current: f64, after: f64) -> Limit {
    Limit { current: amperes(current), reading_time: seconds(after) }
}

const TANTALUM: Shape = Shape {
    volts: 25.0,
    ends: [0.5, 1.6, 2.4, 3.6, 302.5, 312.0],
    steps: (0.05, 0.5),
    surge: 10e-3,
};

/// A sound tantalum, 22 µF 25 V: limit 0.01·C·U = 5.5 µA after 5 min, read 0.17 µA.
pub(super) fn healthy() -> Curve {
    let mut noise = Noise(7);
    let absorption = |at: f64| 0.006 * 22e-6 * 25.0 / (at - 1.0).max(0.3);
    let leakage = |at| 0.16e-6 + absorption(at) + noise.bell() * 2e-9;
    Curve {
        title: "C417 · tantalum 22 µF 25 V".to_owned(),
        subtitle: "solid tantalum · ±10 % · receiver power board, Terne · bench 2 · 14 March"
            .to_owned(),
        simulated: false,
        left_out: 0,
        points: TANTALUM.points(leakage),
        phases: TANTALUM.spans(),
        full_voltage_at: Some(seconds(1.7)),
        limit: Some(limit(5.5e-6, 300.0)),
        reading: Some(reading(0.171e-6, 0.012e-6, 301.7)),
        verdict: Some(Verdict::Within),
        findings: vec![Finding::Settled],
        events: vec![
            event(2.5, "meter range 10 mA to 100 µA"),
            event(3.1, "meter range 100 µA to 10 µA"),
        ],
        parts: None,
    }
}

/// The same part with ten times the limit.
pub(super) fn leaky() -> Curve {
    let mut noise = Noise(9);
    let points = TANTALUM.points(|at| 55e-6 + 40e-6 / (at + 2.0) + noise.bell() * 0.4e-6);
    Curve {
        title: "C418 · tantalum 22 µF 25 V".to_owned(),
        points,
        reading: Some(reading(55.2e-6, 1.6e-6, 301.7)),
        verdict: Some(Verdict::Over),
        ..healthy()
    }
}

/// Nothing in the clip: zeros and noise of both signs.
pub(super) fn empty_clip() -> Curve {
    let mut noise = Noise(11);
    let empty = Shape { surge: 0.0, ends: [0.5, 1.6, 2.4, 3.6, 302.5, 304.0], ..TANTALUM };
    let mut points = empty.points(|_| 0.0);
    for point in &mut points {
        point.current = Sample::Value(amperes((noise.bell() * 1.6).round() * 1e-10));
    }
    Curve {
        title: "C421 · tantalum 22 µF 25 V".to_owned(),
        points,
        phases: empty.spans(),
        reading: Some(reading(-0.4e-10, 2.1e-10, 301.7)),
        verdict: Some(Verdict::Untested),
        findings: vec![Finding::NoContact],
        events: vec![],
        ..healthy()
    }
}

/// A part that gives way at 20 V, 1.3 s after switch-on.
pub(super) fn broken_down() -> Curve {
    // The ramp passes 20 V after 1.3 s.
    let steep = Shape { ends: [0.5, 1.51, 2.4, 3.6, 302.5, 312.0], ..TANTALUM };
    let mut points = steep.points(|at| 2e-6 * (-at).exp());
    points.retain(|point| point.at < seconds(4.0));
    for point in &mut points {
        if point.at > seconds(1.3) {
            let after = point.at - seconds(1.3);
            point.voltage = Some(volts(20.0 * (-after.value / 0.4).exp()));
            point.phase = Phase::Bleed;
            let overloaded = after < seconds(0.4);
            let fading = Sample::Value(amperes(-4e-4 * (-after.value / 0.4).exp()));
            point.current = if overloaded { Sample::Overload { negative: false } } else { fading };
        }
    }
    let phases = [
        (Phase::Probe, 0.0, 0.5),
        (Phase::Ramp, 0.5, 1.32),
        (Phase::Bleed, 1.32, 3.8),
        (Phase::Safe, 3.8, 4.0),
    ];
    let span = |(phase, from, to)| Span { phase, from: seconds(from), to: seconds(to) };
    Curve {
        title: "C419 · tantalum 22 µF 25 V".to_owned(),
        points,
        phases: phases.into_iter().map(span).collect(),
        full_voltage_at: None,
        reading: None,
        verdict: Some(Verdict::Over),
        findings: vec![Finding::BrokeDown],
        events: vec![
            event(1.31, "broke down at 20 V"),
            event(1.32, "cut-out: current above the range of 10 mA"),
            event(1.34, "output off, bleeder on"),
        ],
        ..healthy()
    }
}

/// A film capacitor, 100 nF 100 V: picoamperes of noise around zero against 0.6 nA.
pub(super) fn film() -> Curve {
    let mut noise = Noise(13);
    let film = Shape {
        volts: 100.0,
        ends: [0.5, 1.6, 2.4, 3.6, 63.0, 66.0],
        steps: (0.05, 0.2),
        surge: 40e-6,
    };
    let points = film.points(|at| 2e-12 + 2.6e-9 / (at + 1.0).powi(2) + noise.bell() * 12e-12);
    Curve {
        title: "C212 · polyester film 100 nF 100 V".to_owned(),
        subtitle: "film · ±5 % · echo sounder transmitter, Terne · bench 1 · 15 March".to_owned(),
        simulated: true,
        left_out: 0,
        points,
        phases: film.spans(),
        full_voltage_at: Some(seconds(1.7)),
        limit: Some(limit(0.6e-9, 60.0)),
        reading: Some(reading(3e-12, 35e-12, 61.7)),
        verdict: Some(Verdict::Within),
        findings: vec![Finding::Settled],
        events: vec![event(2.5, "meter range 100 µA to 100 nA")],
        parts: None,
    }
}

/// A soak of ten hours, a reading a second, with one burst of a single reading and a pause.
pub(super) fn long_soak() -> Curve {
    let mut noise = Noise(17);
    let long =
        Shape { ends: [0.5, 1.6, 2.4, 3.6, 36_000.0, 36_012.0], steps: (0.05, 1.0), ..TANTALUM };
    let leakage = |at: f64| 0.12e-6 + 3e-6 / (at + 1.0).powf(0.9) + noise.bell() * 1.5e-9;
    let mut points = long.points(leakage);
    points.retain(|point| !(20_000.0..20_900.0).contains(&point.at.value));
    let spike = points.iter().position(|point| point.at > seconds(14_400.0));
    points[spike.unwrap_or(0)].current = Sample::Value(amperes(42e-6));
    let now: Time = seconds(14_400.0);
    Curve {
        title: "C420 · tantalum 22 µF 25 V, ten hours".to_owned(),
        points,
        phases: long.spans(),
        reading: Some(reading(0.139e-6, 0.009e-6, 301.7)),
        verdict: Some(Verdict::Undecided),
        findings: vec![Finding::Bursts],
        events: vec![
            event(2.5, "meter range 10 mA to 100 µA"),
            event(now.value, "single reading of 42 µA"),
            event(20_000.0, "meter silent for 15 min"),
        ],
        ..healthy()
    }
}

/// A run of the harbour museum's bench that has just begun.
pub(super) fn begun() -> NewRun {
    NewRun {
        station: "skarvik-bench".to_owned(),
        simulated: false,
        lapse: 1.0,
        kind: Kind::Soak,
        follows: None,
        place: None,
        conditions: Conditions {
            confidence: Confidence::USUAL,
            judged_at: Some(seconds(300.0)),
            room: None,
            duty: None,
        },
        part_name: "C11".to_owned(),
        family_tag: "ta-mno2".to_owned(),
        capacitance: farads(22e-6),
        tolerance: None,
        rated: volts(25.0),
        test_voltage: volts(25.0),
        limit: Some(LimitOnRecord {
            current: amperes(5.5e-6),
            rule: "0.01CU floor 500 nA".to_owned(),
            source: "default".to_owned(),
            reading_time: Some(seconds(300.0)),
            reference_celsius: Some(25.0),
        }),
        plan_json: "{}".to_owned(),
        instruments: vec![InstrumentOnRecord {
            role: "meter".to_owned(),
            identity: "log meter 7".to_owned(),
        }],
        software: "reststrom 0.1.0".to_owned(),
        started: "2026-03-14T08:15:00Z".parse().unwrap(),
    }
}
