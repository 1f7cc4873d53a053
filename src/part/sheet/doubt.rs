//! Why a printed line is asked about.

/// A reason to ask, and the byte of the line that gave it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Doubt {
    pub(super) why: Why,
    pub(super) at: Option<usize>,
}

/// Reasons to ask.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub(super) enum Why {
    #[error("the line is too long to be one leakage limit")]
    TooLong,
    #[error("a word, sign or digit here is not understood or garbled")]
    Garbled,
    #[error("the mark in this number may part thousands or decimals")]
    Thousands,
    #[error("this number begins with zeros: its decimal point may be lost")]
    LostPoint,
    #[error("this unit may have lost its µ sign or come from another letter set")]
    Unit,
    #[error("an exponent may have lost its raised place: 105 or 10 to the power of 5")]
    FlatExponent,
    #[error("the exponent may stand over V alone or over the whole product")]
    Exponent,
    #[error("a resistance divided by a capacitance is no limit; a product may be meant")]
    Quotient,
    #[error("this number has no unit, and none is implied")]
    NoUnit,
    #[error("two different units stand alone, and nothing says where each belongs")]
    TwoUnits,
    #[error("a typical or mean value is no limit")]
    Typical,
    #[error("it refers to a value that is not in the line")]
    Refers,
    #[error("it depends on the size of the case, which is not known")]
    Case,
    #[error("it depends on the class of the ceramic, and the family of the part is not known")]
    Class,
    #[error("no limit is stated")]
    Nothing,
    #[error("a calculation here is not understood")]
    Calculation,
    #[error("this quantity has no place in a leakage limit, or nothing says which")]
    Stray,
    #[error(
        "C alone, without V, is multiplied, and nothing says in which unit C is: V may be lost"
    )]
    NoVoltage,
    #[error("a current is stated as a least value: the sense is reversed, or it is a resistance")]
    ReversedCurrent,
    #[error("a resistance is stated as a greatest value: the sense is reversed")]
    ReversedResistance,
    #[error("currents and resistances are mixed")]
    Mixed,
    #[error("several values are given, and nothing says which holds")]
    Several,
    #[error("only one value is given, where the greater or smaller of several is asked for")]
    PickOfOne,
    #[error("both greater and smaller are asked for")]
    TwoPicks,
    #[error(
        "the smaller of these would leave so small a current for nearly every part that it may be a misprint for the greater"
    )]
    SmallCap,
    #[error(
        "so large a floor would pass nearly every part: mA may be a misprint for µA, or greater for smaller"
    )]
    LargeFloor,
    #[error("nothing says whether this second value is a floor or a cap")]
    FloorOrCap,
    #[error(
        "the greater of two insulation resistances is against the usual sense; it may be a misprint for the smaller"
    )]
    GreaterResistance,
    #[error(
        "the factor of C·V is too large: a root sign or a decimal point may be lost, or the unit be wrong"
    )]
    LargeFactor,
    #[error("the factor of C·V is too small: a unit may be wrong")]
    SmallFactor,
    #[error("the factor or exponent of this root or power is not one that sheets use")]
    OddPower,
    #[error(
        "this current is too large or too small for a leakage limit of this part: a unit may be wrong"
    )]
    OddCurrent,
    #[error(
        "this insulation resistance is not one that sheets use: a sign in its unit may be lost"
    )]
    OddResistance,
    #[error("this time constant is not one that sheets use: a sign in its unit may be lost")]
    OddTimeConstant,
    #[error("this may be a time constant or a reading time")]
    OddTime,
    #[error("the part lies outside the stated ranges")]
    Outside,
    #[error("the part belongs to two of the stated ranges")]
    Overlap,
    #[error("nothing says which of the conditions belongs to which value")]
    Conditions,
    #[error(
        "the measuring voltage is above the rated one: the rating may be an AC one, or the sheet another part's"
    )]
    AboveRated,
    #[error("the temperature is not one at which leakage is stated")]
    OddTemperature,
}
