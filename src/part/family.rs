//! The families of capacitors, and the words of the trade for them.

use crate::words::words;

words! {
    /// What a part is made of, as far as its leakage cares.
    Family {
        /// Solid tantalum with manganese dioxide.
        TantalumMno2 = "ta-mno2",
        /// The same, low-leakage grade.
        TantalumLowLeakage = "ta-mno2-lowdcl",
        /// The same, measured hot at 85 °C.
        TantalumAt85 = "ta-mno2-85C",
        /// The same, measured hot at 125 °C and category voltage.
        TantalumAt125 = "ta-mno2-125C",
        /// Polymer tantalum.
        TantalumPolymer = "ta-polymer",
        /// Wet tantalum.
        TantalumWet = "ta-wet",
        /// Niobium oxide.
        NiobiumOxide = "nb-oxide",
        /// Wet aluminium.
        Aluminium = "al-wet",
        /// The same above 100 V.
        AluminiumHighVoltage = "al-wet-hv",
        /// The same, low-leakage series.
        AluminiumLowLeakage = "al-wet-ll",
        /// The same, long-life series.
        AluminiumLongLife = "al-wet-long",
        /// Wet aluminium for both polarities.
        AluminiumBipolar = "al-bipolar",
        /// Large wet aluminium with snap-in terminals.
        AluminiumSnapIn = "al-snapin",
        /// Large wet aluminium with screw terminals.
        AluminiumScrew = "al-screw",
        /// Wet aluminium of the mid-century.
        AluminiumVintage = "al-vintage",
        /// Polymer aluminium, wound.
        AluminiumPolymer = "al-polymer",
        /// Polymer aluminium, stacked.
        AluminiumPolymerStack = "al-polymer-stack",
        /// Polymer and wet electrolyte together.
        AluminiumHybrid = "al-hybrid",
        /// Ceramic of class 1.
        CeramicOne = "cer-1",
        /// The same to a military specification.
        CeramicOneMilitary = "cer-1-mil",
        /// Ceramic of class 2.
        CeramicTwo = "cer-2",
        /// The same up to 16 V.
        CeramicTwoLowVoltage = "cer-2-lv",
        /// The same with very high capacitance.
        CeramicTwoHighCapacitance = "cer-2-hc",
        /// Polypropylene film.
        Polypropylene = "film-pp",
        /// Polyester film.
        Polyester = "film-pet",
        /// Polyphenylene sulphide film.
        PolyphenyleneSulphide = "film-pps",
        /// Film across the mains.
        FilmMains = "film-x2",
        /// Paper, dry or in oil.
        Paper = "paper",
        /// Mica.
        Mica = "mica",
        /// Electric double layer.
        DoubleLayer = "edlc",
    }
}

use Family::{
    Aluminium, AluminiumBipolar, AluminiumHighVoltage, AluminiumHybrid, AluminiumLongLife,
    AluminiumLowLeakage, AluminiumPolymer, AluminiumPolymerStack, AluminiumScrew, AluminiumSnapIn,
    AluminiumVintage, CeramicOne, CeramicOneMilitary, CeramicTwo, CeramicTwoHighCapacitance,
    CeramicTwoLowVoltage, DoubleLayer, FilmMains, Mica, NiobiumOxide, Paper, Polyester,
    PolyphenyleneSulphide, Polypropylene, TantalumAt85, TantalumAt125, TantalumLowLeakage,
    TantalumMno2, TantalumPolymer, TantalumWet,
};

/// Words that the trade uses for one family, in lower case.
///
/// A bare "tantalum" is the manganese dioxide kind: the usual one in old equipment, and its limit is a
/// tenth of the polymer kind's, so that the guess cannot let a bad part pass.
const TRADE_WORDS: &[(&str, Family)] = &[
    ("tantalum", TantalumMno2),
    ("tantal", TantalumMno2),
    ("niobium", NiobiumOxide),
    ("electrolytic", Aluminium),
    ("aluminium", Aluminium),
    ("aluminum", Aluminium),
    ("elko", Aluminium),
    ("bipolar", AluminiumBipolar),
    ("nonpolar", AluminiumBipolar),
    ("non-polar", AluminiumBipolar),
    ("snap-in", AluminiumSnapIn),
    ("snapin", AluminiumSnapIn),
    ("screw-terminal", AluminiumScrew),
    ("hybrid", AluminiumHybrid),
    ("np0", CeramicOne),
    ("npo", CeramicOne),
    ("c0g", CeramicOne),
    ("cog", CeramicOne),
    ("x5r", CeramicTwo),
    ("x7r", CeramicTwo),
    ("y5v", CeramicTwo),
    ("z5u", CeramicTwo),
    ("polypropylene", Polypropylene),
    ("pp", Polypropylene),
    ("mkp", Polypropylene),
    ("polyester", Polyester),
    ("pet", Polyester),
    ("mkt", Polyester),
    ("pps", PolyphenyleneSulphide),
    ("x2", FilmMains),
    ("oil-paper", Paper),
    ("silver-mica", Mica),
    ("supercapacitor", DoubleLayer),
    ("supercap", DoubleLayer),
];

/// Words that the trade uses for several families, in lower case.
const AMBIGUOUS_WORDS: &[(&str, &[Family])] = &[
    ("ceramic", CERAMICS),
    ("mlcc", CERAMICS),
    ("film", &[Polypropylene, Polyester, PolyphenyleneSulphide, FilmMains]),
    ("polymer", &[TantalumPolymer, AluminiumPolymer, AluminiumPolymerStack]),
    ("wet", &[TantalumWet, Aluminium]),
    ("low-leakage", &[TantalumLowLeakage, AluminiumLowLeakage]),
];

const CERAMICS: &[Family] =
    &[CeramicOne, CeramicOneMilitary, CeramicTwo, CeramicTwoLowVoltage, CeramicTwoHighCapacitance];

/// What a family is made of: what most of its behaviour goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dielectric {
    /// Tantalum or niobium oxide with a solid or wet cathode.
    Tantalum,
    /// Aluminium oxide with a wet electrolyte.
    WetAluminium,
    /// Aluminium oxide with a polymer, alone or beside a wet electrolyte.
    PolymerAluminium,
    /// Ceramic of class 1.
    CeramicOne,
    /// Ceramic of class 2.
    CeramicTwo,
    /// Plastic film.
    Film,
    /// Paper.
    Paper,
    /// Mica.
    Mica,
    /// Electric double layer.
    DoubleLayer,
}

impl Family {
    /// Reads a tag, or a word of the trade in any case.
    ///
    /// # Errors
    ///
    /// [`FamilyError::Ambiguous`] lists what the word may mean; [`FamilyError::Unknown`] if nothing.
    pub fn read(word: &str) -> Result<Self, FamilyError> {
        let word = word.trim();
        let lower = word.to_lowercase();
        if let Some(family) = Self::ALL.iter().find(|family| family.tag().to_lowercase() == lower) {
            return Ok(*family);
        }
        if let Some((_, family)) = TRADE_WORDS.iter().find(|(trade, _)| *trade == lower) {
            return Ok(*family);
        }
        // Ambiguous words come last: a tag or trade word is never among them, as a test holds.
        let ambiguous = AMBIGUOUS_WORDS.iter().find(|(trade, _)| *trade == lower);
        Err(match ambiguous {
            Some((_, choices)) => FamilyError::Ambiguous { word: word.to_owned(), choices },
            None => FamilyError::Unknown { word: word.to_owned() },
        })
    }

    /// What it is made of.
    #[must_use]
    pub fn dielectric(self) -> Dielectric {
        match self {
            TantalumMno2 | TantalumLowLeakage | TantalumAt85 | TantalumAt125 | TantalumPolymer
            | TantalumWet | NiobiumOxide => Dielectric::Tantalum,
            Aluminium | AluminiumHighVoltage | AluminiumLowLeakage | AluminiumLongLife
            | AluminiumBipolar | AluminiumSnapIn | AluminiumScrew | AluminiumVintage => {
                Dielectric::WetAluminium
            }
            AluminiumPolymer | AluminiumPolymerStack | AluminiumHybrid => {
                Dielectric::PolymerAluminium
            }
            CeramicOne | CeramicOneMilitary => Dielectric::CeramicOne,
            CeramicTwo | CeramicTwoLowVoltage | CeramicTwoHighCapacitance => Dielectric::CeramicTwo,
            Polypropylene | Polyester | PolyphenyleneSulphide | FilmMains => Dielectric::Film,
            Paper => Dielectric::Paper,
            Mica => Dielectric::Mica,
            DoubleLayer => Dielectric::DoubleLayer,
        }
    }

    /// Whether it must be connected the right way round (handbook §2.5).
    #[must_use]
    pub fn is_polarised(self) -> bool {
        match self.dielectric() {
            Dielectric::WetAluminium => self != AluminiumBipolar,
            Dielectric::Tantalum | Dielectric::PolymerAluminium | Dielectric::DoubleLayer => true,
            Dielectric::CeramicOne
            | Dielectric::CeramicTwo
            | Dielectric::Film
            | Dielectric::Paper
            | Dielectric::Mica => false,
        }
    }
}

/// Why a word names no family.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FamilyError {
    /// No word of the trade that is known here.
    #[error("expected a family of capacitors, came {word:?}")]
    Unknown {
        /// The word as written.
        word: String,
    },
    /// A word for several families.
    #[error("expected one family of capacitors, came {word:?}, which may be {}", listed(choices))]
    Ambiguous {
        /// The word as written.
        word: String,
        /// What it may mean.
        choices: &'static [Family],
    },
}

impl FamilyError {
    /// What to do about it.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Unknown { .. } => format!("write one of {}", listed(Family::ALL)),
            Self::Ambiguous { choices, .. } => format!("write one of {}", listed(choices)),
        }
    }
}

fn listed(families: &[Family]) -> String {
    let tags: Vec<&str> = families.iter().map(|family| family.tag()).collect();
    tags.join(", ")
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::tag("ta-mno2", TantalumMno2)]
    #[case::tag_in_another_case("TA-MNO2-85c", TantalumAt85)]
    #[case::tantalum("Tantalum", TantalumMno2)]
    #[case::electrolytic("electrolytic", Aluminium)]
    #[case::german_electrolytic("Elko", Aluminium)]
    #[case::american_spelling("aluminum", Aluminium)]
    #[case::ceramic_by_its_code("X7R", CeramicTwo)]
    #[case::film_by_its_material("polypropylene", Polypropylene)]
    #[case::film_by_its_duty("X2", FilmMains)]
    #[case::supercapacitor("supercap", DoubleLayer)]
    fn a_family_reads_by_tag_or_trade_word(#[case] word: &str, #[case] family: Family) {
        assert_eq!(Family::read(word), Ok(family));
    }

    #[test]
    fn every_tag_reads_back_as_its_family() {
        for family in Family::ALL {
            assert_eq!(Family::read(family.tag()), Ok(*family));
        }
    }

    #[test]
    fn no_word_of_the_trade_is_listed_twice() {
        let plain = TRADE_WORDS.iter().map(|(word, _)| *word);
        let ambiguous = AMBIGUOUS_WORDS.iter().map(|(word, _)| *word);
        let tags = Family::ALL.iter().map(|family| family.tag());
        let mut words: Vec<&str> = plain.chain(ambiguous).chain(tags).collect();
        let count = words.len();
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), count);
    }

    #[test]
    fn a_word_for_several_families_has_several() {
        assert!(AMBIGUOUS_WORDS.iter().all(|(_, choices)| 2 <= choices.len()));
    }

    #[rstest]
    #[case::ceramic("ceramic")]
    #[case::film("Film")]
    #[case::polymer("polymer")]
    #[case::wet("wet")]
    fn a_word_for_several_families_is_refused(#[case] word: &str) {
        let error = Family::read(word).unwrap_err();
        assert!(matches!(error, FamilyError::Ambiguous { .. }), "{error}");
    }

    #[test]
    fn the_message_lists_the_choices() {
        insta::assert_snapshot!(Family::read("film").unwrap_err(),
            @r#"expected one family of capacitors, came "film", which may be film-pp, film-pet, film-pps, film-x2"#);
        insta::assert_snapshot!(Family::read("coal").unwrap_err(),
            @r#"expected a family of capacitors, came "coal""#);
    }

    #[rstest]
    #[case::tantalum(TantalumMno2, true)]
    #[case::aluminium(Aluminium, true)]
    #[case::bipolar_aluminium(AluminiumBipolar, false)]
    #[case::film(Polyester, false)]
    fn polarity_matters_where_the_oxide_is_formed(#[case] family: Family, #[case] matters: bool) {
        assert_eq!(family.is_polarised(), matters);
    }
}
