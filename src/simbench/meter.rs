//! The meter: ranges, aperture, overload, offset and noise.
//!
//! A conversion averages the true current over its aperture: it takes the charge that went through
//! the part's branch at both ends. A reading asked for within one aperture of the end of the last
//! one starts where that one ended, so that a client which keeps asking misses no charge.
//! Numbers are SI.

use crate::simbench::dice::Dice;
use crate::simbench::options::{MeterModel, Sensing};

/// Automatic ranging goes down below this share of the range.
const GO_DOWN: f64 = 0.08;
/// Power-line cycles of an aperture after power-on.
const FIRST_CYCLES: f64 = 10.0;

/// Mark for an overload (SCPI-1999).
const OVERLOAD: f64 = 9.9e37;
/// Mark for not a number (SCPI-1999).
const NOT_A_NUMBER: f64 = 9.91e37;

/// What the meter measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Function {
    /// Direct current through its shunt.
    Current,
    /// Direct voltage across the sense resistor.
    Voltage,
}

/// A conversion that is going on.
#[derive(Debug, Clone, Copy)]
struct Conversion {
    start: f64,
    end: f64,
    /// Charge at its start, once that has come.
    charge: Option<f64>,
}

/// A conversion that is over.
#[derive(Debug, Clone, Copy)]
struct Done {
    end: f64,
    charge: f64,
    reading: Reading,
}

/// What the meter says of a conversion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Told {
    /// A number, marks for overload and not-a-number included.
    Number(f64),
    /// A word that is no number.
    Word,
}

/// What a conversion gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Reading {
    /// A value in the unit of the function.
    Value(f64),
    /// Beyond the range, with its sign.
    Overload(f64),
}

/// What a meter tells instead of its readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mood {
    /// Its last reading, for ever.
    Frozen,
    /// The mark for not a number.
    NotANumber,
    /// A word instead of a number.
    ErrorWord,
}

/// How the meter misbehaves.
#[derive(Debug, Clone, Default)]
pub(crate) struct MeterTrouble {
    /// What it tells instead of its readings.
    pub(crate) mood: Option<Mood>,
    /// Its leads are swapped.
    pub(crate) swapped: bool,
    /// It tells the end of the range instead of an overload.
    pub(crate) no_overload_mark: bool,
}

/// A logging meter.
#[derive(Debug, Clone)]
pub(crate) struct Meter {
    pub(crate) model: MeterModel,
    pub(crate) sensing: Sensing,
    pub(crate) function: Function,
    pub(crate) cycles: f64,
    pub(crate) automatic: bool,
    pub(crate) trouble: MeterTrouble,
    /// Whether somebody waits for the conversion that is going on.
    pub(crate) awaited: bool,
    told: Option<Reading>,
    current_range: usize,
    voltage_range: usize,
    busy_until: f64,
    conversion: Option<Conversion>,
    last: Option<Done>,
}

impl Meter {
    /// The meter as it wakes: amperes, highest ranges.
    pub(crate) fn new(model: MeterModel, sensing: Sensing) -> Self {
        Self {
            sensing,
            function: Function::Current,
            cycles: FIRST_CYCLES,
            automatic: false,
            trouble: MeterTrouble::default(),
            awaited: false,
            told: None,
            current_range: model
                .wakes_on
                .and_then(|full| model.current_ranges.iter().position(|range| range.0 == full))
                .unwrap_or(model.current_ranges.len().saturating_sub(1)),
            voltage_range: model.voltage_ranges.len().saturating_sub(1),
            busy_until: 0.0,
            conversion: None,
            last: None,
            model,
        }
    }

    /// Back to the settings of power-on; what is broken stays broken.
    pub(crate) fn reset(&mut self) {
        *self =
            Self { trouble: self.trouble.clone(), ..Self::new(self.model.clone(), self.sensing) };
    }

    /// Full scale of the range in use.
    pub(crate) fn range(&self, function: Function) -> f64 {
        match function {
            Function::Current => {
                self.model.current_ranges.get(self.current_range).map_or(0.0, |it| it.0.value)
            }
            Function::Voltage => {
                self.model.voltage_ranges.get(self.voltage_range).map_or(0.0, |it| it.value)
            }
        }
    }

    /// Resistance that the meter puts into the part's branch (Ω).
    pub(crate) fn burden(&self) -> f64 {
        match self.sensing {
            Sensing::Shunt => {
                self.model.current_ranges.get(self.current_range).map_or(0.0, |it| it.1.value)
            }
            Sensing::Resistor(_) => self.sensed_ohms(),
        }
    }

    /// Picks the lowest range that holds `full`, if there is one.
    pub(crate) fn choose_range(&mut self, function: Function, full: f64, now: f64) -> Option<()> {
        let holds = |scale: f64| full.abs() <= scale * (1.0 + 1e-9);
        let index = match function {
            Function::Current => self.model.current_ranges.iter().position(|it| holds(it.0.value)),
            Function::Voltage => self.model.voltage_ranges.iter().position(|it| holds(it.value)),
        }?;
        self.automatic = false;
        self.use_range(function, index, now);
        Some(())
    }

    /// Changes what is measured.
    pub(crate) fn choose_function(&mut self, function: Function, now: f64) {
        if self.function != function {
            self.function = function;
            self.interrupt();
            self.busy_until = now + self.model.range_gap.value;
        }
    }

    /// Sets the aperture in power-line cycles.
    pub(crate) fn choose_cycles(&mut self, cycles: f64) {
        self.cycles = cycles;
        self.interrupt();
    }

    /// Gives up the conversion that is going on, and what was read before.
    pub(crate) fn interrupt(&mut self) {
        self.abort();
        self.last = None;
    }

    /// Gives up the conversion that is going on; what was read before stays.
    pub(crate) fn abort(&mut self) {
        self.conversion = None;
        self.awaited = false;
    }

    /// What the meter tells when it is asked for its last reading.
    pub(crate) fn tell(&mut self) -> Option<Told> {
        let mood = self.trouble.mood;
        let held = self.told.filter(|_| mood == Some(Mood::Frozen));
        let reading = held.or(self.last.map(|done| done.reading))?;
        self.told = Some(reading);
        Some(match (mood, reading) {
            (Some(Mood::ErrorWord), _) => Told::Word,
            (Some(Mood::NotANumber), _) => Told::Number(NOT_A_NUMBER),
            (_, Reading::Value(value)) => Told::Number(value),
            (_, Reading::Overload(sign)) => Told::Number(OVERLOAD.copysign(sign)),
        })
    }

    /// Starts a conversion at `now`, or where the last one ended if that was just before.
    pub(crate) fn start(&mut self, now: f64) {
        let aperture = self.aperture();
        // A free-running converter has begun the next aperture by the time the client asks again.
        let follows = self.last.filter(|done| now <= done.end + aperture);
        let start = follows.map_or(now, |done| done.end).max(self.busy_until);
        let charge = follows.filter(|done| self.busy_until <= done.end).map(|done| done.charge);
        self.conversion = Some(Conversion { start, end: start + aperture, charge });
    }

    /// Whether a conversion is going on.
    pub(crate) fn is_converting(&self) -> bool {
        self.conversion.is_some()
    }

    /// The next moment at which the meter must see the charge.
    pub(crate) fn next_moment(&self) -> Option<f64> {
        self.conversion.map(|it| if it.charge.is_none() { it.start } else { it.end })
    }

    /// The end of the conversion that is going on.
    pub(crate) fn due(&self) -> Option<f64> {
        self.conversion.map(|it| it.end)
    }

    /// Sees the charge that went through the branch until `now`.
    pub(crate) fn see(&mut self, now: f64, charge: f64, dice: &mut Dice) {
        let Some(mut conversion) = self.conversion else { return };
        if conversion.charge.is_none() && conversion.start <= now {
            conversion.charge = Some(charge);
            self.conversion = Some(conversion);
        }
        if let Some(before) = conversion.charge.filter(|_| conversion.end <= now) {
            let average = (charge - before) / (conversion.end - conversion.start);
            self.finish(now, charge, average, dice);
        }
    }

    fn finish(&mut self, now: f64, charge: f64, average: f64, dice: &mut Dice) {
        self.conversion = None;
        let reading = self.convert(average, dice);
        let share = match reading {
            Reading::Value(value) => value.abs() / self.range(self.function),
            Reading::Overload(_) => f64::INFINITY,
        };
        let awaited = self.awaited;
        // Up at once, with a new conversion: nobody is told an overload that a range can hold.
        if self.automatic && 1.0 < share && self.shift_range(1, now) {
            self.start(now);
            self.awaited = awaited;
            return;
        }
        self.last = Some(Done { end: now, charge, reading });
        // Down only for the next reading; this one is good.
        if self.automatic && share < GO_DOWN {
            let kept = (self.last, self.awaited);
            self.shift_range(-1, now);
            (self.last, self.awaited) = kept;
        }
    }

    fn convert(&mut self, average: f64, dice: &mut Dice) -> Reading {
        let true_value = match (self.function, self.sensing) {
            (Function::Current, Sensing::Shunt) => average,
            (Function::Voltage, Sensing::Resistor(_)) => average * self.sensed_ohms(),
            (Function::Current, Sensing::Resistor(_)) | (Function::Voltage, Sensing::Shunt) => 0.0,
        };
        let sign = if self.trouble.swapped { -1.0 } else { 1.0 };
        let full = self.range(self.function);
        let count = full * self.model.count;
        let noise = self.model.noise_counts / self.cycles.sqrt() * dice.normal();
        let shown = sign * true_value * (1.0 + self.model.gain_error)
            + (self.model.offset_counts + noise) * count;
        if shown.abs() <= full * self.model.overload {
            Reading::Value((shown / count).round() * count)
        } else if self.trouble.no_overload_mark {
            Reading::Value(full.copysign(shown))
        } else {
            Reading::Overload(shown.signum())
        }
    }

    /// The sense resistor with the meter's input across it (Ω).
    fn sensed_ohms(&self) -> f64 {
        match self.sensing {
            Sensing::Shunt => 0.0,
            Sensing::Resistor(ohms) => {
                1.0 / (1.0 / ohms.value + 1.0 / self.model.input_resistance.value)
            }
        }
    }

    fn aperture(&self) -> f64 {
        self.cycles * self.model.line_cycle.value
    }

    fn use_range(&mut self, function: Function, index: usize, now: f64) {
        let range = match function {
            Function::Current => &mut self.current_range,
            Function::Voltage => &mut self.voltage_range,
        };
        if *range != index {
            *range = index;
            self.busy_until = now + self.model.range_gap.value;
        }
        self.interrupt();
    }

    fn shift_range(&mut self, by: isize, now: f64) -> bool {
        let (index, ranges) = match self.function {
            Function::Current => (self.current_range, self.model.current_ranges.len()),
            Function::Voltage => (self.voltage_range, self.model.voltage_ranges.len()),
        };
        let next = index.checked_add_signed(by).filter(|next| *next < ranges);
        next.inspect(|next| self.use_range(self.function, *next, now)).is_some()
    }
}
