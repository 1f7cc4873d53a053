//! The units of each quantity, and how a number with a unit is taken apart.

use super::number::{Number, digits};
use super::{Fault, ReadError};

/// How one quantity is written.
pub(super) struct Grammar {
    /// What it is, with its article.
    quantity: &'static str,
    /// One or two as they should be written.
    example: &'static str,
    /// Units that take a prefix, with their power of ten.
    units: &'static [(&'static str, i32)],
    /// Prefixes in use with these units.
    prefixes: &'static [(char, i32)],
    /// Prefixes that may stand without the unit.
    bare: &'static [char],
    /// Units that take no prefix, in any case: power of ten, and factor.
    whole: &'static [(&'static str, i32, f64)],
    /// Units that are written for two different things.
    doubtful: &'static [(&'static str, &'static str)],
    /// Whether a letter may stand for the decimal mark.
    letter_as_mark: bool,
}

const MILLI: (char, i32) = ('m', -3);
const MICRO: (char, i32) = ('µ', -6);
const NANO: (char, i32) = ('n', -9);
const PICO: (char, i32) = ('p', -12);
const KILO: (char, i32) = ('k', 3);
const MEGA: (char, i32) = ('M', 6);
const GIGA: (char, i32) = ('G', 9);
const TERA: (char, i32) = ('T', 12);

/// What stands for nothing else: the other fields of most grammars.
const PLAIN: Grammar = Grammar {
    quantity: "",
    example: "",
    units: &[],
    prefixes: &[],
    bare: &[],
    whole: &[],
    doubtful: &[],
    letter_as_mark: true,
};

const OLD_MICROFARAD: &str = "is printed for microfarad on old parts and could be millifarad";

pub(super) const CAPACITANCE: Grammar = Grammar {
    quantity: "a capacitance",
    example: "22 µF or 4n7",
    units: &[("F", 0), ("f", 0)],
    prefixes: &[PICO, NANO, MICRO, MILLI],
    bare: &['p', 'n', 'µ'],
    whole: &[("MFD", -6, 1.0), ("MMFD", -12, 1.0)],
    doubtful: &[
        ("MF", OLD_MICROFARAD),
        ("Mf", OLD_MICROFARAD),
        ("mf", OLD_MICROFARAD),
        ("m", OLD_MICROFARAD),
        ("M", OLD_MICROFARAD),
    ],
    ..PLAIN
};

pub(super) const VOLTAGE: Grammar = Grammar {
    quantity: "a voltage",
    example: "63 V or 6V3",
    units: &[("V", 0), ("v", 0)],
    prefixes: &[MICRO, MILLI, KILO],
    whole: &[("VDC", 0, 1.0)],
    doubtful: &[("MV", "could be a slip for mV"), ("Mv", "could be a slip for mV")],
    ..PLAIN
};

const LOST_MICRO: &str = "is printed for µA where the µ was lost and could be mA";

pub(super) const CURRENT: Grammar = Grammar {
    // No kiloamperes: on this bench they can only be a slip.
    quantity: "a current",
    example: "0.5 µA or 500 nA",
    units: &[("A", 0), ("a", 0)],
    prefixes: &[PICO, NANO, MICRO, MILLI],
    doubtful: &[("MA", LOST_MICRO), ("Ma", LOST_MICRO)],
    ..PLAIN
};

const MILLI_OR_MEGA: &str = "could be milliohm or megohm";

pub(super) const RESISTANCE: Grammar = Grammar {
    // Insulation is in MΩ and GΩ: a megohm taken for a milliohm would let every part pass.
    quantity: "a resistance",
    example: "10 GΩ or 4k7",
    units: &[("Ω", 0), ("ohm", 0), ("ohms", 0), ("Ohm", 0), ("Ohms", 0), ("OHM", 0), ("R", 0)],
    prefixes: &[MILLI, KILO, MEGA, GIGA, TERA],
    bare: &['k', 'M', 'G', 'T'],
    whole: &[("megohm", 6, 1.0), ("megohms", 6, 1.0)],
    doubtful: &[
        ("m", MILLI_OR_MEGA),
        ("mohm", MILLI_OR_MEGA),
        ("mohms", MILLI_OR_MEGA),
        ("mOhm", MILLI_OR_MEGA),
        ("mOhms", MILLI_OR_MEGA),
        ("mOHM", MILLI_OR_MEGA),
        ("mR", MILLI_OR_MEGA),
    ],
    ..PLAIN
};

pub(super) const CHARGE: Grammar = Grammar {
    quantity: "a charge",
    example: "1000 µC",
    units: &[("C", 0)],
    prefixes: &[PICO, NANO, MICRO, MILLI],
    ..PLAIN
};

pub(super) const TIME: Grammar = Grammar {
    quantity: "a time",
    example: "120 s, 5 min or 72 h",
    whole: &[
        ("ms", -3, 1.0),
        ("s", 0, 1.0),
        ("sec", 0, 1.0),
        ("second", 0, 1.0),
        ("seconds", 0, 1.0),
        ("min", 0, 60.0),
        ("minute", 0, 60.0),
        ("minutes", 0, 60.0),
        ("h", 0, 3600.0),
        ("hour", 0, 3600.0),
        ("hours", 0, 3600.0),
        ("d", 0, 86_400.0),
        ("day", 0, 86_400.0),
        ("days", 0, 86_400.0),
    ],
    doubtful: &[("m", "could be minutes or months"), ("M", "could be minutes or months")],
    // `1h30` is an hour and a half to most, and 1.30 h by the rule of `4n7`.
    letter_as_mark: false,
    ..PLAIN
};

pub(super) const TEMPERATURE: Grammar = Grammar {
    quantity: "a temperature",
    example: "25 °C",
    whole: &[("C", 0, 1.0), ("°C", 0, 1.0), ("℃", 0, 1.0), ("degC", 0, 1.0), ("deg C", 0, 1.0)],
    letter_as_mark: false,
    ..PLAIN
};

pub(super) const CURRENT_PER_CAPACITANCE: Grammar = Grammar {
    quantity: "a current per capacitance",
    example: "40 µA/µF or 5 µA/F",
    units: &[("A/F", 0), ("A/µF", 6)],
    prefixes: &[PICO, NANO, MICRO, MILLI],
    doubtful: &[("MA/µF", LOST_MICRO), ("MA/MF", LOST_MICRO), ("A/MF", OLD_MICROFARAD)],
    letter_as_mark: false,
    ..PLAIN
};

impl Grammar {
    /// The value in the quantity's SI unit.
    pub(super) fn read(&self, text: &str) -> Result<f64, ReadError> {
        self.value(text).map_err(|fault| self.error(text, fault))
    }

    /// The error about `text`.
    pub(super) fn error(&self, text: &str, fault: Fault) -> ReadError {
        let (quantity, example) = (self.quantity, self.example);
        ReadError { text: text.to_owned(), quantity, example, fault }
    }

    fn value(&self, text: &str) -> Result<f64, Fault> {
        let number = Number::scan(text)?;
        let (number, unit) = self.part_from_unit(number);
        let (power, factor) = self.unit(&unit)?;
        let value = number.value(power)? * factor;
        if value.is_finite() { Ok(value) } else { Err(Fault::OutOfRange) }
    }

    /// Parts `4n7F` into 4.7 and `nF`, and anything else into its number and what follows.
    fn part_from_unit<'a>(&self, number: Number<'a>) -> (Number<'a>, String) {
        let plain = || (number, number.rest.trim().to_owned());
        let Some(letter) = number.rest.chars().next().filter(|letter| letter.is_alphabetic())
        else {
            return plain();
        };
        let (fraction, rest) = digits(&number.rest[letter.len_utf8()..]);
        // `22u` has no digits after its letter: the letter is the unit.
        if fraction.is_empty() || !self.letter_as_mark {
            return plain();
        }
        match number.with_fraction(fraction, rest) {
            Some(number) => (number, format!("{letter}{}", rest.trim())),
            None => plain(),
        }
    }

    /// Power of ten and factor of a unit with its prefix.
    fn unit(&self, written: &str) -> Result<(i32, f64), Fault> {
        if written.is_empty() {
            return Err(Fault::NoUnit);
        }
        if let Some((unit, reason)) = self.doubtful.iter().find(|(unit, _)| *unit == written) {
            return Err(Fault::DoubtfulUnit { unit: (*unit).to_owned(), reason });
        }
        let unit = one_spelling(written);
        let whole = self.whole.iter().find(|(word, ..)| word.eq_ignore_ascii_case(&unit));
        whole
            .map(|(_, power, factor)| (*power, *factor))
            .or_else(|| self.prefixed(&unit).map(|power| (power, 1.0)))
            .ok_or_else(|| Fault::UnknownUnit(written.to_owned()))
    }

    /// Power of ten of a unit that may have a prefix, or of a prefix that may stand alone.
    fn prefixed(&self, unit: &str) -> Option<i32> {
        if let Some(power) = self.power_of(unit) {
            return Some(power);
        }
        let letter = unit.chars().next()?;
        let rest = &unit[letter.len_utf8()..];
        let (_, prefix) = self.prefixes.iter().find(|(prefix, _)| *prefix == letter)?;
        if rest.is_empty() {
            return self.bare.contains(&letter).then_some(*prefix);
        }
        self.power_of(rest).map(|power| prefix + power)
    }

    fn power_of(&self, unit: &str) -> Option<i32> {
        self.units.iter().find(|(word, _)| *word == unit).map(|(_, power)| *power)
    }
}

/// One spelling for letters that look alike: both signs for micro and `u`, both ohms, both kilos.
fn one_spelling(unit: &str) -> String {
    let same = |letter| match letter {
        'u' | '\u{3bc}' => '\u{b5}',
        '\u{2126}' => '\u{3a9}',
        'K' => 'k',
        other => other,
    };
    unit.chars().map(same).collect()
}
