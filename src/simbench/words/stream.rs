//! The meters that send their readings unasked: as lines of text, or as frames of their display.

use crate::simbench::desk::Instrument;
use crate::simbench::meter::{Function, Told};
use crate::simbench::options::MeterTongue;
use crate::simbench::world::World;

/// The segments of a digit that are lit, clockwise from the top and the middle one last.
const SEGMENTS: [u8; 10] = [0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f];
/// The same for the letter L, a dash and nothing.
const LETTER_L: u8 = 0x38;
const DASH: u8 = 0x40;
const DARK: u8 = 0;
/// The point in front of a digit.
const POINT: u8 = 0x80;

impl World {
    /// Sends the reading that is ready, and goes on measuring.
    pub(super) fn stream(&mut self) {
        if self.meter.is_converting() {
            return;
        }
        if let Some(told) = self.meter.tell() {
            let now = self.now();
            let shown = self.shown(told);
            self.desk(Instrument::Meter).send(now, shown);
        }
        super::meter::begin(self);
    }

    fn shown(&self, told: Told) -> Vec<u8> {
        let function = self.meter.function;
        let range = Shape::of(function, self.meter.range(function));
        match self.meter.model.tongue {
            MeterTongue::Scpi | MeterTongue::Text => text(told, &range),
            MeterTongue::Frames => frame(told, &range),
        }
    }
}

/// What a range looks like: its unit, a shown 1 in base units, digits in front of the point.
struct Shape {
    unit: &'static str,
    one: f64,
    whole: usize,
}

impl Shape {
    fn of(function: Function, full: f64) -> Self {
        let (unit, one) = match function {
            Function::Current if full < 0.5e-3 => ("uA", 1e-6),
            Function::Current => ("mA", 1e-3),
            Function::Voltage => ("V", 1.0),
        };
        let shown = full / one;
        let whole = if shown < 5.0 {
            1
        } else if shown < 50.0 {
            2
        } else {
            3
        };
        Self { unit, one, whole }
    }

    /// So many digits, the point among them.
    fn digits(&self, value: f64, count: usize) -> String {
        let decimals = count - self.whole;
        format!("{:0width$.decimals$}", (value / self.one).abs(), width = count + 1)
    }
}

fn text(told: Told, range: &Shape) -> Vec<u8> {
    let value = match told {
        Told::Number(value) if value.abs() < 1e37 => {
            let sign = if value < 0.0 { '-' } else { '+' };
            format!("{sign}{}", range.digits(value, 6))
        }
        Told::Number(mark) if mark.abs() < 9.905e37 => {
            if mark < 0.0 {
                "-OL".to_owned()
            } else {
                "+OL".to_owned()
            }
        }
        Told::Number(_) => "----".to_owned(),
        Told::Word => "Err".to_owned(),
    };
    format!("{value} {} DC MAN\r\n", range.unit).into_bytes()
}

fn frame(told: Told, range: &Shape) -> Vec<u8> {
    let (negative, lit) = match told {
        Told::Number(value) if value.abs() < 1e37 => {
            (value < 0.0, segments(&range.digits(value, 5)))
        }
        Told::Number(mark) if mark.abs() < 9.905e37 => {
            (mark < 0.0, vec![DARK, SEGMENTS[0], LETTER_L, DARK, DARK])
        }
        Told::Number(_) | Told::Word => (false, vec![DASH; 5]),
    };
    let unit = match range.unit {
        "uA" => 1,
        "mA" => 2,
        _ => 3,
    };
    let mut frame = vec![0xd5, 0x2a, if negative { 0x08 } else { 0 }, unit];
    frame.extend(lit);
    frame.extend([0x11, 0]);
    frame.push(frame[2..].iter().fold(0, |sum, byte| sum ^ byte));
    frame
}

fn segments(digits: &str) -> Vec<u8> {
    let (mut lit, mut point) = (Vec::new(), 0);
    for byte in digits.bytes() {
        if byte == b'.' {
            point = POINT;
        } else {
            lit.push(std::mem::take(&mut point) | SEGMENTS[usize::from(byte - b'0') % 10]);
        }
    }
    lit
}
