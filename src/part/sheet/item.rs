//! What a printed line says, piece by piece, before it is known what belongs together.

use super::token::Kin;
use crate::part::Pick;

/// A piece of what is said.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Item {
    /// A current or a resistance, or a formula of one.
    Stated(Stated),
    /// The next value is an alternative.
    Or,
    /// The next value is one of two, if something says which.
    And,
    /// Which of the alternatives holds.
    Pick(Pick),
    /// A unit on its own, in amperes: for the values without one.
    Note(f64),
    /// For which parts.
    Guard(Guard),
    /// When, in seconds.
    Time(Span),
    /// At what temperature, in °C.
    Celsius(f64),
    /// At what voltage.
    Measured(f64),
    /// A comma.
    Comma,
    /// A stronger separator.
    Break,
    /// What the next value is.
    Label(Label),
}

/// What a line names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Label {
    Current,
    Resistance,
    TimeConstant,
}

/// A value that limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stated {
    pub(super) what: What,
    pub(super) sense: Option<Sense>,
    /// The byte of the line at which it stands.
    pub(super) at: usize,
}

/// In which direction it limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sense {
    AtMost,
    AtLeast,
    /// A resistance need not be more than this.
    NeedNotExceed,
}

/// A current or a resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum What {
    Term(Term),
    Amount(Amount),
    /// Ohms.
    Resistance(f64),
    /// Seconds.
    TimeConstant(f64),
}

/// A factor of the rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Term {
    pub(super) factor: f64,
    pub(super) of: Of,
    pub(super) unit: TermUnit,
    pub(super) addend: Option<Amount>,
    /// The root sign covers the product by convention only.
    pub(super) bare_root: bool,
}

/// Of what it is a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Of {
    Product,
    Power(f64),
    Capacitance,
}

/// The unit of a term.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum TermUnit {
    /// Not printed with it.
    None,
    /// So many amperes, beside C in the unit of the line.
    Current(f64),
    /// The factor is in SI units already.
    Own,
}

/// A current, or a number whose unit stands elsewhere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Amount {
    pub(super) value: f64,
    /// Amperes.
    pub(super) unit: Option<f64>,
}

/// A span of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    pub(super) seconds: f64,
    /// Written in seconds: may be a time constant.
    pub(super) in_seconds: bool,
    pub(super) sense: Option<Sense>,
    /// A word says that it is a time.
    pub(super) after: bool,
    pub(super) at: usize,
}

/// A condition on the part.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Guard {
    pub(super) on: On,
    pub(super) low: Option<Edge>,
    pub(super) high: Option<Edge>,
    /// These values only; empty for a range.
    pub(super) only: Vec<f64>,
    pub(super) at: usize,
}

/// One end of a range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    pub(super) value: f64,
    pub(super) included: bool,
}

/// What a condition is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum On {
    /// Farads.
    Capacitance,
    /// Volts.
    Voltage,
    /// Coulombs.
    Charge,
    Kin(Kin),
}

impl Stated {
    /// Whether it is a resistance.
    pub(super) fn is_resistance(&self) -> bool {
        matches!(self.what, What::Resistance(_) | What::TimeConstant(_))
    }

    /// Whether its sense is against what such a value can mean on its own.
    pub(super) fn is_reversed(&self) -> bool {
        match self.sense {
            None => false,
            Some(Sense::AtMost) => self.is_resistance(),
            Some(Sense::AtLeast | Sense::NeedNotExceed) => !self.is_resistance(),
        }
    }
}
