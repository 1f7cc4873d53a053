//! Folds the typography of a printed line to one sign for each meaning, keeping the places.
//!
//! Full-width letters, joined units, both mu signs and ohm signs, the many dots, dashes, blanks and
//! degree signs come out as one each. Superscripts come out as `^` and plain digits.

/// A folded sign and the byte of the line at which it stood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Glyph {
    pub(super) sign: char,
    pub(super) at: usize,
}

/// Folds a whole line.
pub(super) fn fold(line: &str) -> Vec<Glyph> {
    let mut glyphs = Vec::with_capacity(line.len());
    let mut raised = false;
    for (at, sign) in line.char_indices() {
        // One blank is as good as several, and marks thousands only when alone.
        let blank = glyphs.last().is_some_and(|last: &Glyph| last.sign == ' ');
        let mut put = |sign| glyphs.push(Glyph { sign, at });
        if let Some(digit) = superscript(sign) {
            if !raised {
                put('^');
            }
            put(digit);
            raised = true;
            continue;
        }
        raised = false;
        match joined(sign) {
            Some(signs) => signs.chars().for_each(put),
            None => {
                if let Some(sign) = single(sign).filter(|sign| *sign != ' ' || !blank) {
                    put(sign);
                }
            }
        }
    }
    glyphs
}

fn superscript(sign: char) -> Option<char> {
    Some(match sign {
        '\u{2070}' => '0',
        '\u{b9}' => '1',
        '\u{b2}' => '2',
        '\u{b3}' => '3',
        '\u{2074}'..='\u{2079}' => char::from_digit(u32::from(sign) - 0x2070, 10)?,
        '\u{207b}' => '-',
        _ => return None,
    })
}

/// Signs that stand for several.
fn joined(sign: char) -> Option<&'static str> {
    Some(match sign {
        '\u{2103}' => "°C",
        '\u{2109}' => "°F",
        '\u{3382}' => "µA",
        '\u{3381}' => "nA",
        '\u{3380}' => "pA",
        '\u{3383}' => "mA",
        '\u{338c}' => "µF",
        '\u{338b}' => "nF",
        '\u{338a}' => "pF",
        '\u{33c1}' => "MΩ",
        '\u{33c0}' => "kΩ",
        '\u{33b6}' => "µV",
        '\u{33b7}' => "mV",
        '\u{33b8}' => "kV",
        '\u{221a}' => "√",
        '\u{2026}' => "~",
        _ => return None,
    })
}

/// One sign for another; none for what only decorates.
fn single(sign: char) -> Option<char> {
    Some(match sign {
        // What takes no room, bars over roots, and soft hyphens.
        '\u{200b}'..='\u{200f}' | '\u{feff}' | '\u{ad}' | '\u{305}' | '\u{203e}' | '\u{2060}' => {
            return None;
        }
        '\t'
        | '\n'
        | '\r'
        | '\u{a0}'
        | '\u{1680}'
        | '\u{2000}'..='\u{200a}'
        | '\u{202f}'
        | '\u{205f}'
        | '\u{3000}' => ' ',
        '\u{3bc}' => 'µ',
        '\u{2126}' => 'Ω',
        '\u{ba}' | '\u{2da}' | '\u{2218}' => '°',
        '\u{2219}' | '\u{22c5}' | '\u{2022}' | '\u{2027}' | '\u{30fb}' | '\u{ff65}'
        | '\u{2715}' | '\u{2716}' | '\u{2217}' | '\u{b7}' | '\u{d7}' | '*' | '\u{ff0a}' => '×',
        '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{ff0d}' => '-',
        '\u{2266}' | '\u{2a7d}' | '\u{2264}' => '≤',
        '\u{2267}' | '\u{2a7e}' | '\u{2265}' => '≥',
        '\u{223c}' | '\u{301c}' | '\u{ff5e}' | '\u{f7}' if sign != '\u{f7}' => '~',
        '\u{f7}' | '\u{2215}' | '\u{2044}' | '\u{ff0f}' => '/',
        '\u{3010}' | '\u{300c}' | '[' | '{' | '\u{ff3b}' | '\u{3014}' => '(',
        '\u{3011}' | '\u{300d}' | ']' | '}' | '\u{ff3d}' | '\u{3015}' => ')',
        '\u{3001}' | '\u{ff64}' => ',',
        '\u{3002}' | '\u{ff61}' => ';',
        '\u{2019}' | '\u{2018}' => '\'',
        // The full-width forms lie at a fixed distance from the plain ones.
        '\u{ff01}'..='\u{ff5e}' => char::from_u32(u32::from(sign) - 0xfee0)?,
        other => other,
    })
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::full_width("Ｉ≦０．０１ＣＶ", "I≤0.01CV")]
    #[case::joined_units("３㎂，20℃", "3µA,20°C")]
    #[case::both_mu_signs("μA µA", "µA µA")]
    #[case::both_ohm_signs("MΩ MΩ", "MΩ MΩ")]
    #[case::superscript("1×10⁻¹¹", "1×10^-11")]
    #[case::products("C·V C×V C*V C∙V C・V", "C×V C×V C×V C×V C×V")]
    #[case::blanks("25\u{202f}000\u{a0}MΩ", "25 000 MΩ")]
    #[case::degrees("25ºC 20˚C", "25°C 20°C")]
    fn one_meaning_has_one_sign(#[case] line: &str, #[case] folded: &str) {
        assert_eq!(fold(line).iter().map(|glyph| glyph.sign).collect::<String>(), folded);
    }

    #[test]
    fn a_sign_keeps_its_place_in_the_line() {
        let glyphs = fold("㎂ x");
        assert_eq!(glyphs.iter().map(|glyph| glyph.at).collect::<Vec<_>>(), [0, 0, 3, 4]);
    }
}
