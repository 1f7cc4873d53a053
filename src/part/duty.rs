//! What a part is to do in its circuit, and what its leakage does there (handbook §5.2).
//!
//! Words: `coupling into 470k`, `timing 1M from 8V`, `hold 10ms`, `rail of battery 2000mAh`,
//! `decoupling`, `string 100k`. The small words may be left out.

use crate::quantity::read::{self, ReadError};
use crate::quantity::{
    Capacitance, Charge, Current, Power, Resistance, Time, Voltage, coulombs, seconds, text,
};

/// Most error of a timing part that is borne (handbook §5.2: δ < 1 %).
const BEARABLE_TIMING_ERROR: f64 = 0.01;
/// A year of 365.25 days.
const YEAR: f64 = 365.25 * 86_400.0; // s

/// What a part is to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Duty {
    /// It keeps direct voltage from an input with this resistance.
    Coupling {
        /// Of the input, bias resistor included.
        into: Resistance,
    },
    /// It charges through a resistor, and its voltage tells the time.
    Timing {
        /// Resistor that charges it.
        through: Resistance,
        /// Voltage that it is charged from.
        from: Voltage,
    },
    /// It keeps its voltage for a while without a source.
    Hold {
        /// How long.
        time: Time,
    },
    /// It stands across a battery for good.
    BatteryRail {
        /// What the battery holds.
        holds: Charge,
    },
    /// It stands across a supply.
    Decoupling,
    /// It shares a voltage with others in series.
    String {
        /// Resistor across each of them that balances it.
        balance: Resistance,
    },
}

/// What is known of the leakage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leak {
    /// The leakage.
    pub current: Current,
    /// Voltage that it was measured at.
    pub voltage: Voltage,
    /// Capacitance of the part.
    pub capacitance: Capacitance,
}

/// What a leakage does in a circuit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Effect {
    /// Direct voltage where there should be none: ΔV = I·R.
    BiasShift(Voltage),
    /// Share of the charging current that leaks away: δ = I/(V/R).
    TimingError(f64),
    /// Voltage lost over the time of holding: I·t/C.
    Droop(Voltage),
    /// Share of the battery that is gone after a year: I·t/Q.
    Drain(f64),
    /// Heat in the part: P = U·I.
    Heat(Power),
    /// Voltage by which two parts of a string differ if one leaks this much and the other nothing:
    /// ΔU = I·R.
    Imbalance(Voltage),
}

impl Duty {
    /// Reads a duty: `coupling into 470k`.
    ///
    /// # Errors
    ///
    /// [`DutyError`] with what was expected and what came.
    pub fn read(text: &str) -> Result<Self, DutyError> {
        let words = text.trim();
        let (first, rest) = words.split_once(char::is_whitespace).unwrap_or((words, ""));
        match first.to_lowercase().as_str() {
            "coupling" => Ok(Self::Coupling { into: resistance(after(rest, &["into"]))? }),
            "timing" => timing(after(rest, &["with", "through"]), text),
            "hold" => Ok(Self::Hold { time: positive(read::time(after(rest, &["for"]))?)? }),
            "rail" => {
                let holds = battery_charge(after(rest, &["of", "battery"]))?;
                Ok(Self::BatteryRail { holds })
            }
            "decoupling" if rest.is_empty() => Ok(Self::Decoupling),
            "string" => Ok(Self::String { balance: resistance(after(rest, &["of", "with"]))? }),
            _ => Err(DutyError::Unknown { text: text.to_owned() }),
        }
    }

    /// What a leakage does there.
    #[must_use]
    pub fn effect(&self, leak: &Leak) -> Effect {
        let current = leak.current;
        match self {
            Self::Coupling { into } => Effect::BiasShift(current * *into),
            Self::Timing { through, from } => {
                Effect::TimingError((current / (*from / *through)).value)
            }
            Self::Hold { time } => Effect::Droop(current * *time / leak.capacitance),
            Self::BatteryRail { holds } => Effect::Drain((current * seconds(YEAR) / *holds).value),
            Self::Decoupling => Effect::Heat(leak.voltage * current),
            Self::String { balance } => Effect::Imbalance(current * *balance),
        }
    }
}

impl Effect {
    /// In words for a person: `0.47 V of bias`.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            Self::BiasShift(voltage) => format!(
                "shifts the bias by {}; up to 1 % of the bias or of the signal does no harm",
                text::voltage(*voltage)
            ),
            Self::TimingError(share) => {
                let borne = if BEARABLE_TIMING_ERROR < *share {
                    "more than the 1 % that does no harm: replace it"
                } else {
                    "within the 1 % that does no harm"
                };
                format!("takes {} of the charging current, {borne}", per_cent(*share))
            }
            Self::Droop(voltage) => {
                format!("loses {} meanwhile; absorption may cost more", text::voltage(*voltage))
            }
            Self::Drain(share) => format!("takes {} of the battery in a year", per_cent(*share)),
            Self::Heat(power) => format!("heats it by {}", text::power(*power)),
            Self::Imbalance(voltage) => {
                format!("puts it {} off beside one that does not leak", text::voltage(*voltage))
            }
        }
    }
}

/// Three significant digits at most.
fn per_cent(share: f64) -> String {
    let percent = share * 100.0;
    let decimals = if percent.abs() < 0.995 { 3 } else { usize::from(percent.abs() < 99.95) };
    format!("{percent:.decimals$} %")
}

/// The rest of a text behind small words that may be left out.
fn after<'a>(text: &'a str, small: &[&str]) -> &'a str {
    let mut rest = text.trim();
    for word in small {
        if let Some((first, behind)) = rest.split_once(char::is_whitespace)
            && first.eq_ignore_ascii_case(word)
        {
            rest = behind.trim_start();
        }
    }
    rest
}

fn resistance(text: &str) -> Result<Resistance, DutyError> {
    positive(read::resistance(text)?)
}

fn timing(rest: &str, whole: &str) -> Result<Duty, DutyError> {
    let parts = rest.split_once(" from ");
    let (through, from) = parts.ok_or_else(|| DutyError::Unknown { text: whole.to_owned() })?;
    Ok(Duty::Timing { through: resistance(through)?, from: positive(read::voltage(from.trim())?)? })
}

/// What a battery holds: `2000mAh`, `2.5 Ah`.
fn battery_charge(text: &str) -> Result<Charge, DutyError> {
    let unknown = || DutyError::Battery { text: text.to_owned() };
    let (number, coulomb) = match text.trim().strip_suffix("mAh") {
        Some(number) => (number, 3.6),
        None => (text.trim().strip_suffix("Ah").ok_or_else(unknown)?, 3600.0),
    };
    positive(coulombs(read::number(number.trim_end())? * coulomb))
}

/// A quantity above zero: with nothing or less of it there is no such duty.
fn positive<Q: Default + PartialOrd>(quantity: Q) -> Result<Q, DutyError> {
    if Q::default() < quantity { Ok(quantity) } else { Err(DutyError::Nothing) }
}

impl std::fmt::Display for Duty {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Coupling { into } => {
                write!(f, "coupling into {}", text::exact::resistance(*into))
            }
            Self::Timing { through, from } => write!(
                f,
                "timing {} from {}",
                text::exact::resistance(*through),
                text::exact::voltage(*from)
            ),
            Self::Hold { time } => write!(f, "hold {}", text::exact::time(*time)),
            Self::BatteryRail { holds } => {
                write!(f, "rail of battery {} mAh", (holds.value / 3.6 * 1e6).round() / 1e6)
            }
            Self::Decoupling => f.write_str("decoupling"),
            Self::String { balance } => {
                write!(f, "string {}", text::exact::resistance(*balance))
            }
        }
    }
}

/// Why a text is no duty.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DutyError {
    /// Not one of the forms.
    #[error("expected what the part does in its circuit, came {text:?}")]
    Unknown {
        /// What was written.
        text: String,
    },
    /// A battery without its charge.
    #[error("expected what the battery holds, such as 2000mAh, came {text:?}")]
    Battery {
        /// What was written.
        text: String,
    },
    /// A quantity in it does not read.
    #[error(transparent)]
    Quantity(#[from] ReadError),
    /// A quantity in it is zero or less.
    #[error("expected resistances, voltages, times and charges above zero")]
    Nothing,
}

impl DutyError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        "write one of \"coupling into 470k\", \"timing 1M from 8V\", \"hold 10ms\", \
         \"rail of battery 2000mAh\", \"decoupling\", \"string 100k\""
    }
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;
    use crate::quantity::{amperes, farads, ohms, volts};

    /// 1 µA at 25 V, 22 µF.
    fn leak() -> Leak {
        Leak { current: amperes(1e-6), voltage: volts(25.0), capacitance: farads(22e-6) }
    }

    #[rstest]
    #[case::coupling("coupling into 470k", Duty::Coupling { into: ohms(470e3) })]
    #[case::coupling_in_short("coupling 470 kΩ", Duty::Coupling { into: ohms(470e3) })]
    #[case::timing("Timing 1M from 8V", Duty::Timing { through: ohms(1e6), from: volts(8.0) })]
    #[case::hold("hold for 10 ms", Duty::Hold { time: seconds(10e-3) })]
    #[case::rail("rail of battery 2000mAh", Duty::BatteryRail { holds: coulombs(7200.0) })]
    #[case::rail_in_short("rail 2.5 Ah", Duty::BatteryRail { holds: coulombs(9000.0) })]
    #[case::decoupling("decoupling", Duty::Decoupling)]
    #[case::string("string 100k", Duty::String { balance: ohms(100e3) })]
    fn a_duty_is_read_and_what_is_written_reads_back(#[case] text: &str, #[case] duty: Duty) {
        assert_eq!(Duty::read(text), Ok(duty));
        assert_eq!(Duty::read(&duty.to_string()), Ok(duty), "{duty}");
    }

    #[rstest]
    #[case::nothing("", "expected what the part does")]
    #[case::another_word("smoothing 100k", "came \"smoothing 100k\"")]
    #[case::no_source("timing 1M", "came \"timing 1M\"")]
    #[case::no_resistance("coupling into", "expected a resistance")]
    #[case::a_voltage_for_a_resistance("coupling into 5V", "expected a resistance")]
    #[case::no_charge("rail of battery 9V", "such as 2000mAh")]
    #[case::more_than_decoupling("decoupling 5V", "came \"decoupling 5V\"")]
    #[case::no_time_at_all("hold 0s", "above zero")]
    fn what_is_no_duty_is_refused_and_the_forms_are_listed(
        #[case] text: &str,
        #[case] message: &str,
    ) {
        let error = Duty::read(text).unwrap_err();
        assert!(error.to_string().contains(message), "{error}");
        assert!(error.help().contains("coupling into 470k"));
    }

    // Handbook §5.2: 1 µA on 470 kΩ is 0.47 V; against 8 V through 1 MΩ, 8 µA, it is 12.5 %. The
    // others by hand: 1 µA · 10 ms / 22 µF; 1 µA · 3.156e7 s / 7200 C; 25 V · 1 µA; 1 µA · 100 kΩ.
    #[rstest]
    #[case::coupling("coupling into 470k", Effect::BiasShift(volts(0.47)))]
    #[case::timing("timing 1M from 8V", Effect::TimingError(0.125))]
    #[case::hold("hold 10ms", Effect::Droop(volts(4.545e-4)))]
    #[case::rail("rail of battery 2000mAh", Effect::Drain(4.383e-3))]
    #[case::decoupling("decoupling", Effect::Heat(crate::quantity::watts(25e-6)))]
    #[case::string("string 100k", Effect::Imbalance(volts(0.1)))]
    fn the_arithmetic_is_the_handbooks(#[case] duty: &str, #[case] effect: Effect) {
        let found = Duty::read(duty).unwrap().effect(&leak());
        let size = |effect| match effect {
            Effect::BiasShift(u) | Effect::Droop(u) | Effect::Imbalance(u) => u.value,
            Effect::TimingError(share) | Effect::Drain(share) => share,
            Effect::Heat(power) => power.value,
        };
        assert_eq!(std::mem::discriminant(&found), std::mem::discriminant(&effect));
        assert!((size(found) / size(effect) - 1.0).abs() < 1e-3, "{found:?}");
    }

    #[test]
    fn effects_are_told_in_words() {
        let told = |duty| Duty::read(duty).unwrap().effect(&leak()).in_words();
        insta::assert_snapshot!(told("coupling into 470k"), @"shifts the bias by 470 mV; up to 1 % of the bias or of the signal does no harm");
        insta::assert_snapshot!(told("timing 1M from 8V"), @"takes 12.5 % of the charging current, more than the 1 % that does no harm: replace it");
        insta::assert_snapshot!(told("timing 10k from 8V"), @"takes 0.125 % of the charging current, within the 1 % that does no harm");
        insta::assert_snapshot!(told("rail of battery 2000mAh"), @"takes 0.438 % of the battery in a year");
        insta::assert_snapshot!(told("decoupling"), @"heats it by 25 µW");
    }
}
