//! Numbers as they stand on the picture: ticks, limits, readings with their uncertainty, times.
//!
//! Everything here works on bare numbers in base units (A, V, s), because a picture is an edge.

/// Engineering prefixes from pico up; the index times three, less twelve, is the power of ten.
const PREFIXES: [&str; 8] = ["p", "n", "µ", "m", "", "k", "M", "G"];
/// Places between the first prefix and the base unit.
const LOWEST: i32 = -12;

/// A number with an engineering prefix and at most four significant digits: `5.5 µA`.
pub(super) fn engineering(value: f64, unit: &str) -> String {
    let power = prefix_power(value);
    let scaled = value / 10f64.powi(power);
    let places = (3 - exponent(scaled)).clamp(0, 3);
    format!("{} {}{unit}", trimmed(scaled, places), prefix(power))
}

/// A reading and its uncertainty in one unit, with no digit that the uncertainty does not bear:
/// `0.84 ± 0.06 µA`. The unit is the one `beside` (a limit) is printed in, if the reading is
/// readable there.
pub(super) fn with_uncertainty(value: f64, uncertainty: f64, beside: f64, unit: &str) -> String {
    if !(uncertainty > 0.0 && uncertainty.is_finite()) {
        return format!("{} ± 0", engineering(value, unit));
    }
    let last = last_place(uncertainty);
    let neighbour = prefix_power(beside);
    let size = value.abs().max(uncertainty);
    let readable = (0.01..10_000.0).contains(&(size / 10f64.powi(neighbour)));
    let wanted = if beside > 0.0 && readable { neighbour } else { prefix_power(size) };
    // A unit smaller than the last honest digit would need a zero that means nothing.
    let power = if last > wanted { wanted + 3 } else { wanted };
    let places = usize::try_from(power - last).unwrap_or(0);
    let (value, uncertainty) = (value / 10f64.powi(power), uncertainty / 10f64.powi(power));
    format!("{} ± {uncertainty:.places$} {}{unit}", signed(value, places), prefix(power))
}

/// Ticks of one axis in one unit, `step` apart, so that they line up: `0`, `0.5 µA`, `1.0 µA`.
pub(super) fn even_tick(value: f64, step: f64, largest: f64, unit: &str) -> String {
    let power = prefix_power(largest);
    let places = usize::try_from(power - exponent(step)).unwrap_or(0);
    let scaled = value / 10f64.powi(power);
    if scaled.abs() < step / 10f64.powi(power) / 2.0 {
        return "0".to_owned();
    }
    format!("{} {}{unit}", signed(scaled, places), prefix(power))
}

/// A decade of time: `10 ms`, `100 s`, `10 000 s`, because the slope is read in decades.
pub(super) fn decade_of_time(seconds: f64) -> String {
    if seconds < 0.999 {
        return engineering(seconds, "s");
    }
    format!("{} s", grouped(seconds.round()))
}

/// A time as a person says it: `1.3 s`, `5 min 3 s`, `10 h`.
pub(super) fn duration(seconds: f64) -> String {
    if seconds < 1.0 {
        return engineering((seconds * 1e4).round() / 1e4, "s");
    }
    if seconds < 119.95 {
        return format!("{} s", trimmed(seconds, if seconds < 10.0 { 2 } else { 1 }));
    }
    let (small, big, parts) = if seconds < 7199.5 {
        ("s", "min", seconds.round())
    } else {
        ("min", "h", (seconds / 60.0).round())
    };
    let (whole, rest) = ((parts / 60.0).floor(), parts % 60.0);
    if rest == 0.0 { format!("{whole} {big}") } else { format!("{whole} {big} {rest} {small}") }
}

/// A count with its thing, in the right number: `1 reading`, `360 000 readings`.
pub(super) fn counted(count: usize, one: &str, many: &str) -> String {
    #[expect(clippy::cast_precision_loss, reason = "no run holds 2^53 readings")]
    let digits = grouped(count as f64);
    format!("{digits} {}", if count == 1 { one } else { many })
}

/// A whole number with a narrow space between thousands, from five digits up.
fn grouped(value: f64) -> String {
    let digits = format!("{value:.0}");
    if digits.len() < 5 {
        return digits;
    }
    let head = digits.len() % 3;
    let mut text = digits[..head].to_owned();
    for start in (head..digits.len()).step_by(3) {
        if !text.is_empty() {
            text.push('\u{202f}');
        }
        text.push_str(&digits[start..start + 3]);
    }
    text
}

/// The power of ten of the prefix that leaves one to three digits before the point.
fn prefix_power(value: f64) -> i32 {
    let steps = exponent(value).div_euclid(3) * 3;
    steps.clamp(LOWEST, LOWEST + 3 * 7)
}

/// The letter of a prefix.
fn prefix(power: i32) -> &'static str {
    let index = usize::try_from((power - LOWEST) / 3).unwrap_or(0);
    PREFIXES.get(index).copied().unwrap_or_default()
}

/// The decimal exponent of a number as it prints with four digits; 0 for zero.
#[expect(clippy::cast_possible_truncation, reason = "the exponent of an f64 is within ±324")]
fn exponent(value: f64) -> i32 {
    let size = value.abs();
    if size > 0.0 && size.is_finite() { (size * 1.000_05).log10().floor() as i32 } else { 0 }
}

/// The decimal place of an uncertainty's last printed digit: one digit if that alone says it to
/// within 5 %, else two.
fn last_place(uncertainty: f64) -> i32 {
    let first = exponent(uncertainty);
    let lead = uncertainty / 10f64.powi(first);
    if (lead.round() - lead).abs() > 0.05 * lead { first - 1 } else { first }
}

/// Fixed places with a true minus sign, and no sign on zero.
fn signed(value: f64, places: usize) -> String {
    let digits = format!("{:.places$}", value.abs());
    let zero = digits.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    if value < 0.0 && !zero { format!("−{digits}") } else { digits }
}

/// At most so many places, without trailing zeros.
fn trimmed(value: f64, places: i32) -> String {
    let text = signed(value, usize::try_from(places).unwrap_or(0));
    if text.contains('.') {
        return text.trim_end_matches('0').trim_end_matches('.').to_owned();
    }
    text
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::microamperes(5.5e-6, "5.5 µA")]
    #[case::a_decade(1e-8, "10 nA")]
    #[case::just_below_a_decade(9.999_999_9e-7, "1 µA")]
    #[case::picoamperes(6e-10, "600 pA")]
    #[case::below_the_prefixes(2e-14, "0.02 pA")]
    #[case::negative(-3.2e-9, "−3.2 nA")]
    #[case::nothing(0.0, "0 A")]
    #[case::four_digits(1.2346e-3, "1.235 mA")]
    fn a_current_is_printed_with_its_prefix(#[case] amperes: f64, #[case] text: &str) {
        assert_eq!(engineering(amperes, "A"), text);
    }

    #[rstest]
    #[case::one_digit(0.8412e-6, 0.0603e-6, 0.0, "0.84 ± 0.06 µA")]
    #[case::two_digits(0.1713e-6, 0.0124e-6, 5.5e-6, "0.171 ± 0.012 µA")]
    #[case::in_the_unit_of_the_limit(55e-6, 2e-6, 5.5e-6, "55 ± 2 µA")]
    #[case::too_far_from_the_limit(2.04e-12, 0.4e-12, 5e-6, "2.0 ± 0.4 pA")]
    #[case::negative(-2e-12, 35e-12, 600e-12, "−2 ± 35 pA")]
    #[case::around_zero(-2.4e-12, 3e-12, 600e-12, "−2 ± 3 pA")]
    #[case::no_uncertainty(1e-6, 0.0, 0.0, "1 µA ± 0")]
    #[case::more_than_the_value(1e-9, 20e-9, 0.0, "0.00 ± 0.02 µA")]
    fn a_reading_shows_no_digit_beyond_its_uncertainty(
        #[case] value: f64,
        #[case] uncertainty: f64,
        #[case] limit: f64,
        #[case] text: &str,
    ) {
        assert_eq!(with_uncertainty(value, uncertainty, limit, "A"), text);
    }

    #[rstest]
    #[case::zero(0.0, "0")]
    #[case::half(0.5e-6, "0.5 µA")]
    #[case::whole(1e-6, "1.0 µA")]
    #[case::below_zero(-0.5e-6, "−0.5 µA")]
    fn even_ticks_share_unit_and_places(#[case] value: f64, #[case] text: &str) {
        assert_eq!(even_tick(value, 0.5e-6, 3e-6, "A"), text);
    }

    #[rstest]
    #[case::milliseconds(0.01, "10 ms", "10 ms")]
    #[case::second(1.0, "1 s", "1 s")]
    #[case::hundredths(1.314, "1 s", "1.31 s")]
    #[case::tenths(13.14, "13 s", "13.1 s")]
    #[case::minutes(300.0, "300 s", "5 min")]
    #[case::minutes_and_seconds(303.0, "303 s", "5 min 3 s")]
    #[case::almost_an_hour_and_more(7199.0, "7199 s", "119 min 59 s")]
    #[case::hours(36_000.0, "36\u{202f}000 s", "10 h")]
    #[case::hours_and_minutes(36_120.0, "36\u{202f}120 s", "10 h 2 min")]
    fn times_read_as_a_person_says_them(
        #[case] seconds: f64,
        #[case] decade: &str,
        #[case] spoken: &str,
    ) {
        assert_eq!(
            (decade_of_time(seconds).as_str(), duration(seconds).as_str()),
            (decade, spoken)
        );
    }

    #[test]
    fn one_thing_is_not_many_things() {
        assert_eq!(counted(1, "reading", "readings"), "1 reading");
        assert_eq!(counted(0, "reading", "readings"), "0 readings");
        assert_eq!(counted(360_000, "reading", "readings"), "360\u{202f}000 readings");
    }
}
