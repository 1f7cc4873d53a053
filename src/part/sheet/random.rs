//! Random limits in random typographies and languages, printed and read back.

use proptest::prelude::*;
use proptest::sample::select;

use super::*;
use crate::quantity::{farads, volts};

/// How a language prints what belongs to a limit.
#[derive(Debug, Clone, Copy)]
struct Language {
    label: &'static str,
    or: &'static str,
    greater: &'static str,
    smaller: &'static str,
    time: fn(u32) -> String,
    insulation: &'static str,
    decimal_comma: bool,
}

const LANGUAGES: [Language; 9] = [
    Language {
        label: "Leakage current",
        or: " or ",
        greater: ", whichever is greater",
        smaller: ", whichever is smaller",
        time: |minutes| format!("after {minutes} minutes"),
        insulation: "Insulation resistance",
        decimal_comma: false,
    },
    Language {
        label: "DCL",
        or: " or ",
        greater: " (the larger value)",
        smaller: " (the lower value)",
        time: |minutes| format!("{minutes} min"),
        insulation: "IR",
        decimal_comma: false,
    },
    Language {
        label: "Reststrom",
        or: " oder ",
        greater: " (der größere Wert gilt)",
        smaller: " (der kleinere Wert gilt)",
        time: |minutes| format!("nach {minutes} Minuten"),
        insulation: "Isolationswiderstand",
        decimal_comma: true,
    },
    Language {
        label: "Courant de fuite",
        or: " ou ",
        greater: " (la plus grande valeur)",
        smaller: " (la plus petite valeur)",
        time: |minutes| format!("après {minutes} minutes"),
        insulation: "Résistance d'isolement",
        decimal_comma: true,
    },
    Language {
        label: "Corriente de fuga",
        or: " o ",
        greater: ", el mayor de los dos valores",
        smaller: ", el menor de los dos valores",
        time: |minutes| format!("después de {minutes} minutos"),
        insulation: "Resistencia de aislamiento",
        decimal_comma: true,
    },
    Language {
        label: "Corrente di dispersione",
        or: " o ",
        greater: " (il valore maggiore)",
        smaller: " (il valore minore)",
        time: |minutes| format!("dopo {minutes} minuti"),
        insulation: "Resistenza di isolamento",
        decimal_comma: true,
    },
    Language {
        label: "漏れ電流",
        or: "又は",
        greater: "のいずれか大きい値以下",
        smaller: "のいずれか小さい値",
        time: |minutes| format!("{minutes}分値"),
        insulation: "絶縁抵抗",
        decimal_comma: false,
    },
    Language {
        label: "漏电流",
        or: "或",
        greater: "（取较大者）",
        smaller: "（取较小者）",
        time: |minutes| format!("{minutes}分钟"),
        insulation: "绝缘电阻",
        decimal_comma: false,
    },
    Language {
        label: "누설전류",
        or: " 또는 ",
        greater: " 중 큰 값",
        smaller: " 중 작은 값",
        time: |minutes| format!("{minutes}분 후"),
        insulation: "절연저항",
        decimal_comma: false,
    },
];

/// The hand of a printer.
#[derive(Debug, Clone)]
struct Print {
    language: Language,
    mu: &'static str,
    product: &'static str,
    sense: &'static str,
    least: &'static str,
    part: &'static str,
    degree: &'static str,
    bracket: bool,
}

fn print() -> impl Strategy<Value = Print> {
    let words = (select(&LANGUAGES[..]), select(&["µ", "μ", "u"][..]));
    let signs = (
        select(
            &["CV", "C·V", "C×V", "C x V", " CU", " CR·UR", "·CN·UN", " × C × V", "ＣＶ", "*C*V"][..],
        ),
        select(&[" ≤ ", "≦", " = ", ": I ≤ ", " <= ", ": "][..]),
        select(&[" ≥ ", "≧", " >= ", ": ≥ "][..]),
        select(&[", ", "; ", "，"][..]),
        select(&["°C", " °C", "℃", " ºC"][..]),
        any::<bool>(),
    );
    (words, signs).prop_map(|((language, mu), (product, sense, least, part, degree, bracket))| {
        Print { language, mu, product, sense, least, part, degree, bracket }
    })
}

impl Print {
    fn number(&self, value: f64) -> String {
        let plain = value.to_string();
        if self.language.decimal_comma { plain.replace('.', ",") } else { plain }
    }

    fn microamperes(&self) -> String {
        if self.bracket { format!(" ({}A)", self.mu) } else { format!(" {}A", self.mu) }
    }

    /// A label, the rule, and when and at what temperature it holds.
    fn line(&self, rule: &str, minutes: u32, celsius: u32) -> String {
        let (part, degree) = (self.part, self.degree);
        let time = (self.language.time)(minutes);
        format!("{}{}{rule}{part}{time}{part}{celsius}{degree}", self.language.label, self.sense)
    }
}

/// Capacitance in µF and voltage in V of parts on the bench.
fn part() -> impl Strategy<Value = (f64, f64)> {
    (
        select(&[0.47, 1.0, 2.2, 10.0, 47.0, 100.0, 330.0, 1000.0, 4700.0][..]),
        select(&[6.3, 16.0, 25.0, 63.0, 100.0, 250.0, 400.0][..]),
    )
}

fn factor() -> impl Strategy<Value = f64> {
    select(&[0.0005, 0.002, 0.003, 0.006, 0.01, 0.02, 0.03, 0.05, 0.1, 0.2][..])
}

fn floor() -> impl Strategy<Value = f64> {
    select(&[0.2, 0.4, 0.5, 0.7, 1.0, 3.0, 4.0, 5.0, 10.0, 40.0][..])
}

fn when() -> impl Strategy<Value = (u32, u32)> {
    (select(&[1, 2, 3, 5][..]), select(&[20, 23, 25][..]))
}

/// Reads a line and compares it with the current in µA, the minutes and the degrees meant.
fn check(
    line: &str,
    (microfarads, rated): (f64, f64),
    microamperes: f64,
    (minutes, degrees): (u32, u32),
) -> Result<(), TestCaseError> {
    let rating = Rating::new(farads(microfarads * 1e-6), volts(rated)).expect("a rating");
    let printed = match read(line, &rating, None) {
        Answer::Limits(printed) => printed,
        Answer::Question(question) => {
            return Err(TestCaseError::fail(format!("{line}: asked {:?}", question.why)));
        }
    };
    prop_assert_eq!(printed.limits.len(), 1, "{}", line);
    let limit = &printed.limits[0];
    let current = limit.current(&rating).expect("a current").value * 1e6;
    prop_assert!((current / microamperes - 1.0).abs() < 1e-6, "{}: {} µA", line, current);
    let time = limit.reading_time.map(|time| time.value);
    prop_assert_eq!(time, Some(f64::from(minutes) * 60.0), "{}", line);
    let celsius = limit.reference.map(crate::quantity::Celsius::degrees);
    prop_assert_eq!(celsius, Some(f64::from(degrees)), "{}", line);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn a_product_is_read_back_from_any_print(
        print in print(), part in part(), k in factor(), when in when(),
    ) {
        let rule = format!("{}{}{}", print.number(k), print.product, print.microamperes());
        check(&print.line(&rule, when.0, when.1), part, k * part.0 * part.1, when)?;
    }

    #[test]
    fn a_floor_is_read_back_from_any_print(
        print in print(), part in part(), k in factor(), floor in floor(), when in when(),
    ) {
        let Print { language, product, .. } = &print;
        let (k_text, floor_text) = (print.number(k), print.number(floor));
        let unit = print.microamperes();
        let rule = format!("{k_text}{product}{}{floor_text}{unit}{}", language.or, language.greater);
        let expected = (k * part.0 * part.1).max(floor);
        check(&print.line(&rule, when.0, when.1), part, expected, when)?;
    }

    #[test]
    fn an_addend_is_read_back_from_any_print(
        print in print(), part in part(), k in factor(), addend in floor(), when in when(),
    ) {
        let (k_text, addend_text) = (print.number(k), print.number(addend));
        let rule = format!("{k_text}{} + {addend_text}{}", print.product, print.microamperes());
        check(&print.line(&rule, when.0, when.1), part, k * part.0 * part.1 + addend, when)?;
    }

    #[test]
    fn a_capped_root_is_read_back_from_any_print(
        print in print(), part in part(), k in 1_u8..6, cap in 1_u8..8, when in when(),
    ) {
        let Print { language, mu, .. } = &print;
        let rule = format!("{k}√(CV) {mu}A{}{cap} mA{}", language.or, language.smaller);
        let root = f64::from(k) * (part.0 * part.1).sqrt();
        check(&print.line(&rule, when.0, when.1), part, root.min(f64::from(cap) * 1000.0), when)?;
    }

    #[test]
    fn the_smaller_resistance_is_read_back_from_any_print(
        print in print(), part in part(), gigaohms in 1_u8..100, time_constant in 1_u16..100,
        when in when(),
    ) {
        let Print { language, mu, least, .. } = &print;
        let seconds = f64::from(time_constant) * 100.0;
        let rule = format!("{gigaohms} GΩ{}{seconds} MΩ·{mu}F{}", language.or, language.smaller);
        let line = print.line(&rule, when.0, when.1).replace(language.label, language.insulation);
        let line = line.replacen(print.sense, least, 1);
        let ohms = (f64::from(gigaohms) * 1e9).min(seconds / (part.0 * 1e-6));
        check(&line, part, part.1 / ohms * 1e6, when)?;
    }

    #[test]
    fn no_text_stops_the_reader(line in "\\PC*") {
        let rating = Rating::new(farads(100e-6), volts(63.0)).expect("a rating");
        if let Answer::Limits(printed) = read(&line, &rating, None) {
            prop_assert!(!printed.limits.is_empty());
        }
    }

    #[test]
    fn no_bytes_stop_the_reader(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let line = String::from_utf8_lossy(&bytes);
        let rating = Rating::new(farads(100e-6), volts(63.0)).expect("a rating");
        if let Answer::Question(question) = read(&line, &rating, None) {
            prop_assert!(question.place.is_none_or(|place| line.is_char_boundary(place)));
        }
    }
}
