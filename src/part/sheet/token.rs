//! What a printed line is made of, once its typography is folded.

/// A piece of the line, and the bytes of the line where it stood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Token {
    pub(super) kind: Kind,
    pub(super) at: usize,
    /// Whether a blank stood before it.
    pub(super) apart: bool,
}

/// The sorts of pieces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Kind {
    /// A number without its unit.
    Number(Figure),
    /// A unit, prefix included.
    Unit(Unit),
    /// A letter that stands for a quantity.
    Symbol(Symbol),
    /// A sign of arithmetic, comparison or punctuation.
    Mark(Mark),
    /// A word with a meaning.
    Word(Word),
    /// What is not understood.
    Garbled,
}

/// A number as it is printed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Figure {
    pub(super) value: f64,
    /// What about its print is doubtful.
    pub(super) print: Print,
}

/// How a number is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Print {
    /// One way to read it.
    Plain,
    /// A decimal comma: the line goes by the comma.
    DecimalComma,
    /// `10,000`: thousands, unless the line goes by the decimal comma.
    CommaBeforeThree,
    /// `10.000`: a decimal point or a mark of thousands.
    PointBeforeThree,
    /// One of these two, and the line does not say which.
    Unsettled,
    /// `001`: a decimal point may be lost.
    LeadingZero,
}

/// Units, with the factor to the SI one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Unit {
    /// Amperes.
    Current(f64),
    /// Farads.
    Capacitance(f64),
    /// Volts.
    Voltage(f64),
    /// Ohms.
    Resistance(f64),
    /// Coulombs.
    Charge(f64),
    /// Seconds.
    Time(f64),
    /// Degrees Celsius.
    Celsius,
    /// One that a lost or changed sign makes doubtful: MA, MF, MW.
    Doubtful,
}

/// Letters that stand for quantities.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Symbol {
    /// The rated capacitance.
    Capacitance,
    /// A lone `C`: the capacitance, or degrees Celsius with the ring lost.
    LoneC,
    /// The rated voltage.
    Voltage,
    /// A lone `V`: the rated voltage, or the unit.
    LoneV,
    /// The leakage current.
    Current,
    /// The insulation resistance.
    Resistance,
    /// The time constant.
    TimeConstant,
}

/// Signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    Plus,
    Minus,
    Times,
    Over,
    Power,
    Root,
    Open,
    Close,
    Comma,
    Semicolon,
    Colon,
    Bar,
    Equal,
    Below,
    UpTo,
    Above,
    From,
    PlusMinus,
    Range,
    At,
    Percent,
    Dot,
}

/// Words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Word {
    Or,
    And,
    Greater,
    Smaller,
    Than,
    /// More: of a comparison.
    More,
    /// Less: of a comparison in other languages than English.
    Less,
    /// An addition in English, a comparison in French.
    Plus,
    /// At least before a value, else the smallest.
    Least,
    Not,
    Need,
    Exceed,
    /// Before a value: up to.
    UpTo,
    /// Before a value: above.
    Above,
    /// Before a value: below.
    Below,
    /// After a value: that or less.
    OrLess,
    /// After a value: that or more.
    OrMore,
    /// After a value: less than that.
    LessThan,
    /// After a value: more than that.
    MoreThan,
    /// At least, before a value.
    AtLeast,
    /// At most, before a value.
    AtMost,
    Max,
    /// Least, or minutes.
    Min,
    To,
    In,
    Of,
    After,
    Root,
    Typical,
    Refers,
    Case,
    Class,
    One,
    Two,
    /// A family by its name, for branches.
    Family(Kin),
    Humidity,
    /// Another property with its value in the same cell.
    Other,
    Rated,
    Equal,
    Per,
    Percent,
    /// Means nothing for the limit.
    Filler,
}

/// Kinds of parts that a line tells apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kin {
    CeramicOne,
    CeramicTwo,
}
