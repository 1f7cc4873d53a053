//! From a value to its place along an axis, and the ticks that let a reader go back.

use super::label;

/// How an axis runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Log,
    Linear,
}

/// What an axis spans, in base units. Invariant: `low < high`, both finite, above zero if `Log`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Range {
    pub(super) kind: Kind,
    pub(super) low: f64,
    pub(super) high: f64,
}

/// An axis laid on the page from `start` to `end`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    pub(super) range: Range,
    pub(super) start: f64,
    pub(super) end: f64,
}

/// A line of the grid; one without a label is drawn fainter.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub(super) value: f64,
    pub(super) label: Option<String>,
}

impl Scale {
    /// Where a value stands; one outside the range stands at the nearer end.
    pub(super) fn place(&self, value: f64) -> f64 {
        let Range { kind, low, high } = self.range;
        let held = if value.is_nan() { low } else { value.clamp(low, high) };
        let share = match kind {
            Kind::Linear => (held - low) / (high - low),
            Kind::Log => (held / low).ln() / (high / low).ln(),
        };
        self.start + share * (self.end - self.start)
    }
}

impl Range {
    /// Ticks of a current or a voltage.
    pub(super) fn ticks(&self, unit: &str) -> Vec<Tick> {
        match self.kind {
            Kind::Log => self.decades(&|value| label::engineering(value, unit)),
            Kind::Linear => {
                let step = round_step((self.high - self.low) / 6.0);
                let largest = self.high.abs().max(self.low.abs());
                self.multiples(step, &|value| label::even_tick(value, step, largest, unit))
            }
        }
    }

    /// Ticks of a number without a unit, written by `name`.
    pub(super) fn named_ticks(&self, name: &dyn Fn(f64) -> String) -> Vec<Tick> {
        match self.kind {
            Kind::Log => self.decades(name),
            Kind::Linear => self.multiples(round_step((self.high - self.low) / 6.0), name),
        }
    }

    /// Ticks of time since switch-on.
    pub(super) fn time_ticks(&self) -> Vec<Tick> {
        match self.kind {
            Kind::Log => self.decades(&label::decade_of_time),
            Kind::Linear => {
                let step = clock_step((self.high - self.low) / 9.0);
                self.multiples(step, &|value| clock_tick(value, step))
            }
        }
    }

    /// Times a person thinks in, for a second row below the decades; none on a linear axis.
    pub(super) fn spoken_times(&self) -> Vec<Tick> {
        const SPOKEN: [(f64, &str); 8] = [
            (60.0, "1 min"),
            (300.0, "5 min"),
            (1200.0, "20 min"),
            (3600.0, "1 h"),
            (18_000.0, "5 h"),
            (36_000.0, "10 h"),
            (86_400.0, "1 d"),
            (604_800.0, "1 week"),
        ];
        let shown = |&(time, _): &(f64, &str)| {
            self.kind == Kind::Log && (self.low..=self.high).contains(&time)
        };
        let tick = |(value, label): (f64, &str)| Tick { value, label: Some(label.to_owned()) };
        SPOKEN.into_iter().filter(shown).map(tick).collect()
    }

    /// A tick for each decade and, while they are not too many, one for each digit between.
    fn decades(&self, name: &dyn Fn(f64) -> String) -> Vec<Tick> {
        let first = floor_log(self.low);
        let last = floor_log(self.high);
        let digits = if last - first <= 7 { 9 } else { 1 };
        let few = (self.high / self.low).log10() < 2.2;
        let mut ticks = Vec::new();
        for decade in first..=last {
            for digit in 1..=digits {
                let value = f64::from(digit) * 10f64.powi(decade);
                let named = digit == 1 || few && matches!(digit, 2 | 5);
                if self.low * 0.999 <= value && value <= self.high * 1.001 {
                    ticks.push(Tick { value, label: named.then(|| name(value)) });
                }
            }
        }
        ticks
    }

    /// A tick for each multiple of `step`.
    #[expect(clippy::cast_possible_truncation, reason = "a few steps fit into the range")]
    fn multiples(&self, step: f64, name: &dyn Fn(f64) -> String) -> Vec<Tick> {
        let first = (self.low / step - 1e-6).ceil() as i64;
        let last = (self.high / step + 1e-6).floor() as i64;
        #[expect(clippy::cast_precision_loss, reason = "a few steps from zero")]
        let value = |index: i64| index as f64 * step;
        (first..=last)
            .map(|index| Tick { value: value(index), label: Some(name(value(index))) })
            .collect()
    }
}

/// The decade at or below a value above zero.
#[expect(clippy::cast_possible_truncation, reason = "the exponent of an f64 is within ±324")]
pub(super) fn floor_log(value: f64) -> i32 {
    (value.log10() + 1e-9).floor() as i32
}

/// The least of 1, 2, 5 times a power of ten that is not below `step`.
pub(super) fn round_step(step: f64) -> f64 {
    let decade = 10f64.powi(floor_log(step));
    let factors = [1.0, 2.0, 5.0];
    let fits = factors.into_iter().find(|factor| step <= factor * decade * (1.0 + 1e-9));
    fits.unwrap_or(10.0) * decade
}

/// The least step that a clock has and that is not below `step`, in s.
fn clock_step(step: f64) -> f64 {
    const STEPS: [f64; 15] = [
        10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0, 10_800.0,
        21_600.0, 43_200.0, 86_400.0,
    ];
    if step <= 5.0 {
        return round_step(step);
    }
    let fits = STEPS.into_iter().find(|&candidate| step <= candidate);
    fits.unwrap_or_else(|| round_step(step / 86_400.0) * 86_400.0)
}

/// A time in the largest unit in which its step is whole.
fn clock_tick(value: f64, step: f64) -> String {
    let (unit, name) = match step {
        step if step >= 3600.0 => (3600.0, "h"),
        step if step >= 60.0 => (60.0, "min"),
        step if step >= 1.0 => (1.0, "s"),
        _ => (1.0, "s"),
    };
    let places = usize::try_from(-floor_log(step / unit)).unwrap_or(0);
    if value == 0.0 { "0".to_owned() } else { format!("{:.places$} {name}", value / unit) }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rstest::rstest;

    use super::*;

    fn named(ticks: &[Tick]) -> String {
        ticks.iter().filter_map(|tick| tick.label.clone()).collect::<Vec<_>>().join(", ")
    }

    fn range(kind: Kind, low: f64, high: f64) -> Range {
        Range { kind, low, high }
    }

    #[rstest]
    #[case::decades(Kind::Log, 1e-8, 1e-5, "10 nA, 100 nA, 1 µA, 10 µA")]
    #[case::few_decades(Kind::Log, 1e-7, 1e-6, "100 nA, 200 nA, 500 nA, 1 µA")]
    #[case::steps(Kind::Linear, 0.0, 6e-6, "0, 1 µA, 2 µA, 3 µA, 4 µA, 5 µA, 6 µA")]
    #[case::around_zero(Kind::Linear, -4e-12, 6e-12, "−4 pA, −2 pA, 0, 2 pA, 4 pA, 6 pA")]
    fn currents_have_round_ticks(
        #[case] kind: Kind,
        #[case] low: f64,
        #[case] high: f64,
        #[case] labels: &str,
    ) {
        assert_eq!(named(&range(kind, low, high).ticks("A")), labels);
    }

    #[rstest]
    #[case::decades(Kind::Log, 0.1, 300.0, "100 ms, 1 s, 10 s, 100 s")]
    #[case::a_short_run(Kind::Linear, 0.0, 2.0, "0, 0.5 s, 1.0 s, 1.5 s, 2.0 s")]
    #[case::minutes(Kind::Linear, 0.0, 310.0, "0, 1 min, 2 min, 3 min, 4 min, 5 min")]
    #[case::hours(Kind::Linear, 0.0, 36_500.0, "0, 2 h, 4 h, 6 h, 8 h, 10 h")]
    fn times_have_the_ticks_of_a_clock(
        #[case] kind: Kind,
        #[case] low: f64,
        #[case] high: f64,
        #[case] labels: &str,
    ) {
        assert_eq!(named(&range(kind, low, high).time_ticks()), labels);
    }

    #[test]
    fn a_decade_is_as_long_as_the_next() {
        let scale = Scale { range: range(Kind::Log, 1e-9, 1e-6), start: 300.0, end: 0.0 };
        for (value, place) in [(1e-9, 300.0), (1e-8, 200.0), (1e-7, 100.0), (1e-6, 0.0)] {
            assert!((scale.place(value) - place).abs() < 1e-6, "{value}");
        }
    }

    proptest! {
        /// A greater value never stands before a smaller one, and none leaves its axis.
        #[test]
        fn places_keep_the_order_of_values(a in -1e3..1e3f64, b in -1e3..1e3f64) {
            for kind in [Kind::Log, Kind::Linear] {
                let scale = Scale { range: range(kind, 1e-2, 1e2), start: 10.0, end: 90.0 };
                let (low, high) = (scale.place(a.min(b)), scale.place(a.max(b)));
                prop_assert!((10.0..=90.0 + 1e-9).contains(&low));
                prop_assert!(low <= high);
            }
        }
    }
}
