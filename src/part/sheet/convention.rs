//! What a printed line leaves to convention.

/// A convention that a reading rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Convention {
    /// No unit is printed with C·U.
    CapacitanceInMicrofarads,
    /// No unit is printed with the result.
    ResultInMicroamperes,
    /// No bar shows what the root covers.
    RootCoversProduct,
    /// A second value of some µA without a word for which holds.
    SecondValueIsFloor,
    /// Two resistances without a word for which holds.
    SmallerResistance,
    /// No measuring voltage is printed.
    RatedVoltage,
    /// The measuring voltage is printed.
    StatedVoltage,
    /// Nothing says so, but the formula goes by the rated values.
    RatedValues,
}

impl std::fmt::Display for Convention {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::CapacitanceInMicrofarads => "C is in µF and U in V, as no unit is printed",
            Self::ResultInMicroamperes => "the result is in µA, as no unit is printed",
            Self::RootCoversProduct => "the root covers the whole product C·U",
            Self::SecondValueIsFloor => {
                "a second value of some µA is the least limit: the greater of both holds"
            }
            Self::SmallerResistance => "of two insulation resistances the smaller is asked for",
            Self::RatedVoltage => {
                "leakage follows from the insulation resistance at the rated voltage, as no \
                 measuring voltage is printed"
            }
            Self::StatedVoltage => {
                "leakage follows from the insulation resistance at the printed measuring voltage"
            }
            Self::RatedValues => "C and U are the values printed on the part, not measured ones",
        })
    }
}
