//! What a person types on the way through a tray.

use std::io::BufRead;

use tokio::sync::mpsc;

use crate::tray::Word;

/// A line that was typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Said {
    /// A word that the walk knows.
    Word(Word),
    /// Nothing but Enter.
    Enter,
    /// Anything else.
    Unknown,
}

/// The words, for the prompt.
pub(super) const WORDS: &str = "skip, repeat, back, go on, stop after, stop";

impl Said {
    /// Reads a line: a word or its first letter; `stop after` with a blank or a hyphen.
    pub(super) fn read(line: &str) -> Self {
        let line = line.trim().to_lowercase().replace(' ', "-");
        if line.is_empty() {
            return Self::Enter;
        }
        let short = match line.as_str() {
            "s" => Some(Word::Skip),
            "r" => Some(Word::Repeat),
            "b" => Some(Word::Back),
            "g" => Some(Word::GoOn),
            _ => None,
        };
        short.or_else(|| Word::from_tag(&line)).map_or(Self::Unknown, Self::Word)
    }
}

/// Lines of standard input as they are typed; the channel closes at its end.
pub(super) fn listen() -> mpsc::UnboundedReceiver<Said> {
    let (sender, said) = mpsc::unbounded_channel();
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if sender.send(Said::read(&line)).is_err() {
                return;
            }
        }
    });
    said
}

#[cfg(test)]
mod tests {
    use rstest::rstest;

    use super::*;

    #[rstest]
    #[case::whole("skip", Said::Word(Word::Skip))]
    #[case::a_letter(" r ", Said::Word(Word::Repeat))]
    #[case::two_words("Stop after", Said::Word(Word::StopAfter))]
    #[case::stop_is_never_shortened("stop", Said::Word(Word::Stop))]
    #[case::go_on("go on", Said::Word(Word::GoOn))]
    #[case::enter("\r", Said::Enter)]
    #[case::a_slip("skpi", Said::Unknown)]
    fn a_typed_line_is_a_word_of_the_walk(#[case] line: &str, #[case] said: Said) {
        assert_eq!(Said::read(line), said);
    }
}
