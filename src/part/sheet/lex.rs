//! Cuts a folded line into tokens.

use super::fold::Glyph;
use super::number;
use super::token::{Figure, Kind, Mark, Print, Symbol, Token, Unit, Word};
use super::words;

/// Letters in one run that are tried as several words.
const LONGEST_RUN: usize = 16;
/// Words from this length on are no accident of letters, and stand out of a run.
const LONG_WORD: usize = 5;

/// Cuts a folded line into tokens. What is not understood comes out as [`Kind::Garbled`].
pub(super) fn lex(glyphs: &[Glyph]) -> Vec<Token> {
    let mut lexer = Lexer { glyphs, at: 0, tokens: Vec::with_capacity(glyphs.len()) };
    while lexer.at < glyphs.len() {
        lexer.step();
    }
    settle(&mut lexer.tokens);
    lexer.tokens
}

/// Settles marks that may part thousands or decimals by the rest of the line.
fn settle(tokens: &mut [Token]) {
    let by_comma = tokens
        .iter()
        .any(|token| matches!(token.kind, Kind::Number(Figure { print: Print::DecimalComma, .. })));
    for token in tokens {
        let Kind::Number(figure) = &mut token.kind else { continue };
        match (figure.print, by_comma) {
            (Print::CommaBeforeThree, true) | (Print::PointBeforeThree, false) => {
                figure.print = Print::Unsettled;
            }
            (Print::PointBeforeThree, true) => {
                figure.value *= 1000.0;
                figure.print = Print::Plain;
            }
            _ => {}
        }
    }
}

struct Lexer<'a> {
    glyphs: &'a [Glyph],
    at: usize,
    tokens: Vec<Token>,
}

impl Lexer<'_> {
    fn sign(&self, ahead: usize) -> Option<char> {
        self.glyphs.get(self.at + ahead).map(|glyph| glyph.sign)
    }

    fn step(&mut self) {
        let Some(sign) = self.sign(0) else { return };
        if sign == ' ' {
            self.at += 1;
        } else if number::begins(self.glyphs, self.at) {
            let (figure, length) = number::take(&self.glyphs[self.at..]);
            self.push(Kind::Number(figure), length);
        } else if let Some((mark, length)) = self.mark(sign) {
            self.push(Kind::Mark(mark), length);
        } else if is_unspaced(sign) {
            let signs = self.glyphs[self.at..].iter().map(|glyph| glyph.sign);
            let (kind, length) = words::longest_unspaced(signs).unwrap_or((Kind::Garbled, 1));
            self.push(kind, length);
        } else if is_letter(sign) {
            self.word();
        } else {
            self.push(Kind::Garbled, 1);
        }
    }

    fn push(&mut self, kind: Kind, length: usize) {
        let apart = self.at == 0 || self.glyphs[self.at - 1].sign == ' ';
        self.tokens.push(Token { kind, at: self.glyphs[self.at].at, apart });
        self.at += length.max(1);
    }

    fn mark(&self, sign: char) -> Option<(Mark, usize)> {
        let next = self.sign(1);
        Some(match (sign, next) {
            ('<' | '≤', Some('=')) | ('=', Some('<')) => (Mark::UpTo, 2),
            ('>' | '≥', Some('=')) | ('=', Some('>')) => (Mark::From, 2),
            ('|', Some('|')) => (Mark::Bar, 2),
            ('×', Some('×')) => (Mark::Power, 2),
            ('+', Some('/')) if self.sign(2) == Some('-') => (Mark::PlusMinus, 3),
            ('.', Some('.')) if self.sign(2).is_some_and(|sign| " .0123456789".contains(sign)) => {
                (Mark::Range, 2)
            }
            _ => (single_mark(sign)?, 1),
        })
    }

    /// A run of letters: one word, or several with the blanks between them lost.
    fn word(&mut self) {
        if let Some(length) = self.direct_current() {
            self.push(Kind::Word(Word::Filler), length);
            return;
        }
        if let Some((kind, length)) = self.parted_prefix() {
            self.push(kind, length);
            return;
        }
        let rest = &self.glyphs[self.at..];
        let length = rest.iter().take_while(|glyph| continues(glyph.sign)).count();
        let text: String =
            rest[..length].iter().map(|glyph| glyph.sign).filter(|sign| *sign != '_').collect();
        let text = text.trim_end_matches('\'');
        if let Some(kind) = one(text) {
            self.push(kind, length);
            self.index(kind);
        } else if let Some(pieces) = split(text).filter(|_| length == text.chars().count()) {
            for (kind, length) in pieces {
                self.push(kind, length);
            }
        } else {
            self.push(Kind::Garbled, length);
        }
    }

    /// The index of a current, as in `IL1`, belongs to the symbol.
    fn index(&mut self, kind: Kind) {
        if kind == Kind::Symbol(Symbol::Current) {
            while self.sign(0).is_some_and(|sign| sign.is_ascii_digit()) {
                self.at += 1;
            }
        }
    }

    /// `200M Ω`: a prefix that a blank parts from its unit.
    fn parted_prefix(&self) -> Option<(Kind, usize)> {
        let scale = match self.sign(0)? {
            'k' => 1e3,
            'M' => 1e6,
            'G' => 1e9,
            'T' => 1e12,
            _ => return None,
        };
        let parted = self.sign(1) == Some(' ') && self.sign(2) == Some('Ω');
        parted.then_some((Kind::Unit(Unit::Resistance(scale)), 3))
    }

    /// `D.C.` and `d.c.`: its C is no capacitance.
    fn direct_current(&self) -> Option<usize> {
        let is = |ahead, letter: char| {
            self.sign(ahead).is_some_and(|sign: char| sign.eq_ignore_ascii_case(&letter))
        };
        (is(0, 'd') && is(1, '.') && is(2, 'c')).then_some(3)
    }
}

fn single_mark(sign: char) -> Option<Mark> {
    Some(match sign {
        '+' => Mark::Plus,
        '-' => Mark::Minus,
        '×' => Mark::Times,
        '/' => Mark::Over,
        '^' => Mark::Power,
        '√' => Mark::Root,
        '(' => Mark::Open,
        ')' => Mark::Close,
        ',' => Mark::Comma,
        ';' => Mark::Semicolon,
        ':' => Mark::Colon,
        '|' => Mark::Bar,
        '=' => Mark::Equal,
        '<' => Mark::Below,
        '≤' => Mark::UpTo,
        '>' => Mark::Above,
        '≥' => Mark::From,
        '±' => Mark::PlusMinus,
        '~' => Mark::Range,
        '@' => Mark::At,
        '%' => Mark::Percent,
        '.' => Mark::Dot,
        _ => return None,
    })
}

/// Scripts that put no blanks between words.
fn is_unspaced(sign: char) -> bool {
    '\u{3040}' <= sign && sign.is_alphabetic()
}

fn is_letter(sign: char) -> bool {
    (sign.is_alphabetic() || sign == '°') && !is_unspaced(sign)
}

fn continues(sign: char) -> bool {
    is_letter(sign) || sign == '\'' || sign == '_'
}

fn one(text: &str) -> Option<Kind> {
    if text == "x" || text == "X" {
        return Some(Kind::Mark(Mark::Times));
    }
    words::look_up(text)
}

/// Cuts a run of letters into symbols, units and few words: `CVor`, `RxC`, `MΩµF`.
fn split(text: &str) -> Option<Vec<(Kind, usize)>> {
    let count = text.chars().count();
    if count > LONGEST_RUN {
        return None;
    }
    let ends: Vec<usize> = text.char_indices().map(|(at, sign)| at + sign.len_utf8()).collect();
    for (index, end) in ends.iter().enumerate().rev() {
        let Some(kind) = one(&text[..*end]).filter(|kind| may_touch(*kind) || LONG_WORD <= index)
        else {
            continue;
        };
        let mut pieces = vec![(kind, index + 1)];
        if *end == text.len() {
            return Some(pieces);
        }
        if let Some(rest) = split(&text[*end..]) {
            pieces.extend(rest);
            return Some(pieces);
        }
    }
    None
}

/// Whether sheets print it without a blank beside others.
fn may_touch(kind: Kind) -> bool {
    match kind {
        Kind::Symbol(_) | Kind::Mark(Mark::Times) | Kind::Word(Word::Or | Word::Max) => true,
        Kind::Unit(unit) => unit != Unit::Doubtful,
        Kind::Number(_) | Kind::Mark(_) | Kind::Word(_) | Kind::Garbled => false,
    }
}
