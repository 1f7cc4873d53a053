//! The prefixes of each quantity, and decimal digits set under one of them.
//!
//! The decimal mark is moved in the text, not by a division: the digits stay those of the number.

/// How many digits are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Digits {
    /// Four significant digits at most.
    Four,
    /// As many as the number needs to read back as itself.
    All,
}

/// One unit of a quantity.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    /// Decimal exponent from which it is used.
    from: i32,
    /// Its power of ten.
    pub(super) power: i32,
    /// Its sign.
    pub(super) unit: &'static str,
}

/// The units of one quantity, smallest first.
pub(super) struct Ladder {
    /// The unit without prefix.
    base: &'static str,
    steps: &'static [Step],
}

/// Decades from one prefix to the next.
const PREFIX: i32 = 3;

const fn step(power: i32, unit: &'static str) -> Step {
    Step { from: power, power, unit }
}

pub(super) const CURRENT: Ladder = Ladder {
    base: "A",
    steps: &[step(-12, "pA"), step(-9, "nA"), step(-6, "µA"), step(-3, "mA"), step(0, "A")],
};

pub(super) const VOLTAGE: Ladder =
    Ladder { base: "V", steps: &[step(-6, "µV"), step(-3, "mV"), step(0, "V"), step(3, "kV")] };

pub(super) const CAPACITANCE: Ladder = Ladder {
    base: "F",
    steps: &[
        step(-12, "pF"),
        step(-9, "nF"),
        step(-6, "µF"),
        Step { from: -1, power: 0, unit: "F" },
    ],
};

pub(super) const RESISTANCE: Ladder = Ladder {
    base: "Ω",
    steps: &[
        step(-3, "mΩ"),
        step(0, "Ω"),
        step(3, "kΩ"),
        step(6, "MΩ"),
        step(9, "GΩ"),
        step(12, "TΩ"),
    ],
};

pub(super) const CHARGE: Ladder = Ladder {
    base: "C",
    steps: &[step(-12, "pC"), step(-9, "nC"), step(-6, "µC"), step(-3, "mC"), step(0, "C")],
};

pub(super) const ENERGY: Ladder = Ladder {
    base: "J",
    steps: &[step(-9, "nJ"), step(-6, "µJ"), step(-3, "mJ"), step(0, "J"), step(3, "kJ")],
};

pub(super) const POWER: Ladder = Ladder {
    base: "W",
    steps: &[step(-9, "nW"), step(-6, "µW"), step(-3, "mW"), step(0, "W"), step(3, "kW")],
};

pub(super) const SECONDS: Ladder = Ladder { base: "s", steps: &[step(-3, "ms"), step(0, "s")] };

const MINUTES: Ladder = Ladder { base: "min", steps: &[step(0, "min")] };

const HOURS: Ladder = Ladder { base: "h", steps: &[step(0, "h")] };

pub(super) const DEGREES: Ladder = Ladder { base: "°C", steps: &[step(0, "°C")] };

impl Ladder {
    /// A value in the base unit, under the prefix that suits it.
    pub(super) fn write(&self, value: f64, digits: Digits) -> String {
        if value == 0.0 || !value.is_finite() {
            return format!("{} {}", value.abs(), self.base);
        }
        let decimal = Decimal::of(value, digits);
        let step = self.step(decimal.exponent);
        format!("{} {}", decimal.under(step.power), step.unit)
    }

    /// The step for a number whose first digit stands for ten to the `exponent`.
    pub(super) fn step(&self, exponent: i32) -> Step {
        // Below the least unit zeros follow the mark: there is no femtoampere to be measured here.
        let fits = self.steps.iter().rev().find(|step| step.from <= exponent);
        *fits.unwrap_or(&self.steps[0])
    }

    /// The least step from that of `exponent` upwards whose units digit is at or above ten to the
    /// `place`; that of `exponent` where the next is farther than a prefix from that digit.
    pub(super) fn step_for_place(&self, exponent: i32, place: i32) -> Step {
        let least = self.step(exponent);
        let fits = |step: &&Step| {
            least.power <= step.power && place <= step.power && step.power <= place + PREFIX
        };
        *self.steps.iter().find(fits).unwrap_or(&least)
    }
}

/// Significant digits of a number other than zero.
struct Decimal {
    negative: bool,
    digits: String,
    /// Power of ten that the first digit stands for.
    exponent: i32,
}

impl Decimal {
    fn of(value: f64, digits: Digits) -> Self {
        let written = match digits {
            Digits::Four => format!("{:.3e}", value.abs()),
            Digits::All => format!("{:e}", value.abs()),
        };
        let (mantissa, _) = written.split_once('e').unwrap_or((&written, ""));
        let all = mantissa.replace('.', "");
        let digits = all.trim_end_matches('0').to_owned();
        Self { negative: value < 0.0, digits, exponent: exponent_of(&written) }
    }

    /// The digits with the mark where a unit of ten to the `power` has it.
    fn under(&self, power: i32) -> String {
        let sign = if self.negative { "-" } else { "" };
        let before = self.exponent - power + 1;
        let Ok(before) = usize::try_from(before) else {
            let zeros = "0".repeat(usize::try_from(-before).unwrap_or(0));
            return format!("{sign}0.{zeros}{}", self.digits);
        };
        match self.digits.split_at_checked(before) {
            Some(("", fraction)) => format!("{sign}0.{fraction}"),
            Some((whole, "")) => format!("{sign}{whole}"),
            Some((whole, fraction)) => format!("{sign}{whole}.{fraction}"),
            None => format!("{sign}{:0<before$}", self.digits),
        }
    }
}

/// The exponent of a number written as `1.5e-6`.
pub(super) fn exponent_of(written: &str) -> i32 {
    written.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

/// A time (s) in the unit that suits it.
pub(super) fn time_in(value: f64, digits: Digits) -> String {
    let whole = |unit: f64| unit <= value.abs() && value % unit == 0.0;
    let (unit, ladder) = match digits {
        _ if whole(3600.0) => (3600.0, HOURS),
        _ if whole(60.0) => (60.0, MINUTES),
        Digits::Four if 36_000.0 <= value.abs() => (3600.0, HOURS),
        Digits::Four if 600.0 <= value.abs() => (60.0, MINUTES),
        Digits::Four | Digits::All => (1.0, SECONDS),
    };
    ladder.write(value / unit, digits)
}
