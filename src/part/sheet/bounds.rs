//! What a sheet can plausibly state. Outside of these a line is asked about. Source: handbook §1.

use crate::part::Dielectric;

/// Floors from here up are taken for a slip of mA for µA: handbook §1.2 knows none above 500 µA.
pub(super) const LARGE_FLOOR: f64 = 1e-3;
/// Caps below this are taken for a misprint of a floor: known caps are 1.5 to 6 mA (§1.2).
pub(super) const SMALL_CAP: f64 = 200e-6;
/// A second value up to this is a floor even where no word says so.
const PLAIN_FLOOR: f64 = 100e-6;
/// The same for polymers, whose floors go up to 500 µA (§1.2).
const PLAIN_FLOOR_OF_POLYMER: f64 = 500e-6;
/// Ohms: 0.1 MΩ, hot and large, to 100 TΩ.
pub(super) const RESISTANCE: std::ops::RangeInclusive<f64> = 1e5..=1e14;
/// Seconds: 10 s of a large ceramic after test to some 100,000 s of polypropylene (§1.2), with room.
pub(super) const TIME_CONSTANT: std::ops::RangeInclusive<f64> = 1.0..=1e6;
/// Amperes that a line may state as they are.
pub(super) const CURRENT: std::ops::RangeInclusive<f64> = 1e-12..=0.1;
/// Factors of roots and powers beside µF, V and µA: 3 and 0.3 are usual (§1.2).
pub(super) const POWER_FACTOR: std::ops::RangeInclusive<f64> = 0.05..=30.0;
/// Exponents: 0.5 and 0.7 are usual.
pub(super) const EXPONENT: std::ops::RangeInclusive<f64> = 0.3..=0.95;
/// Reading times in seconds: EDLC are read after 72 h.
pub(super) const TIME: std::ops::RangeInclusive<f64> = 1.0..=1e6;
/// Degrees Celsius.
pub(super) const CELSIUS: std::ops::RangeInclusive<f64> = -65.0..=200.0;
/// Amperes for each farad without U: EDLC some µA, flash capacitors 1 µA for each µF, mid-century
/// ones up to 40 µA (§1.1 k).
pub(super) const PER_FARAD: std::ops::RangeInclusive<f64> = 1e-8..=100.0;

/// Factors of C·U in 1/s. The gate of handbook §1.3, closer where the families of §1.2 are: from
/// 0.0005 of wet tantalum to 0.2 of polymers.
pub(super) fn factor(dielectric: Option<Dielectric>) -> std::ops::RangeInclusive<f64> {
    match dielectric {
        Some(Dielectric::Tantalum | Dielectric::WetAluminium) => 1e-4..=0.5,
        Some(Dielectric::PolymerAluminium) | None => 1e-4..=1.0,
        Some(
            Dielectric::CeramicOne
            | Dielectric::CeramicTwo
            | Dielectric::Film
            | Dielectric::Paper
            | Dielectric::Mica
            | Dielectric::DoubleLayer,
        ) => 1e-7..=1.0,
    }
}

/// The greatest second value that is a floor without a word for it.
pub(super) fn plain_floor(dielectric: Option<Dielectric>) -> f64 {
    match dielectric {
        Some(Dielectric::PolymerAluminium) => PLAIN_FLOOR_OF_POLYMER,
        _ => PLAIN_FLOOR,
    }
}

/// Whether a current as it stands can be the limit of a part with this charge in coulombs.
pub(super) fn constant(current: f64, charge: f64, dielectric: Option<Dielectric>) -> bool {
    if !CURRENT.contains(&current) {
        return false;
    }
    let large = 1e-3 <= current;
    match dielectric {
        Some(
            Dielectric::CeramicOne
            | Dielectric::CeramicTwo
            | Dielectric::Film
            | Dielectric::Mica
            | Dielectric::Paper,
        ) => current < 1e-4,
        // A floor of a small part may exceed C·U per second; a milliampere does not (§1.3).
        _ => !large || current <= charge,
    }
}

/// Numbers of a resistance that may be a power of ten without its raised exponent.
pub(super) fn looks_flat(ohms: f64) -> bool {
    [1.0, 1e3, 1e6, 1e9].iter().any(|unit| {
        let number = (ohms / unit).round();
        (ohms / unit - number).abs() < 1e-6
            && ((103.0..=109.0).contains(&number) || (1010.0..=1014.0).contains(&number))
    })
}
