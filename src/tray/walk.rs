//! The way through a tray: which part is asked for, tested, asked about, and when it is over.
//!
//! ```text
//!           by hand                                      by scanner
//!  ready ─► prompted ─clipped─► testing ─► prompted …    ready ─► testing ─► testing …
//!              ▲                   │
//!              └──── asking ◄──────┤ its capacitance is far off: the wrong part?
//!                                  ├─► over: done, or stopped
//!                                  └─► over: locked out
//! ```
//!
//! The next part is asked for only once the last is proven empty; a part that is not ends the tray.
//! A part is clipped in for a test only if the clip was seen empty since the last: what is still in
//! it is never taken for the next. Nothing is tested twice unless a person asks for it. Whoever walks
//! it feeds in what happens and carries the orders out; no clock and no clip is known here.

use super::{Slot, Tray};
use crate::judge::{Finding, Left, Verdict};
use crate::words::words;

/// How parts come to the instruments.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hands {
    /// A person clips them in, one after another.
    Person,
    /// A scanner connects them. Nobody is there to be asked about a part.
    Scanner,
}

words! {
    /// What a person can say on the way.
    Word {
        /// Leave out the part that is asked for, or end the run of the one under test.
        Skip = "skip",
        /// Test the last part again; during a test: once more after it.
        Repeat = "repeat",
        /// Go to the part before.
        Back = "back",
        /// Stop when the part under test, or the one that is asked for, is done.
        StopAfter = "stop-after",
        /// Stop now: the run under way is ended and its part discharged.
        Stop = "stop",
        /// It is the right part: go on.
        GoOn = "go-on",
    }
}

/// What can happen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Input {
    /// Everything is ready.
    Begin,
    /// A part was seen in the clip.
    Clipped,
    /// The clip was seen empty.
    Unclipped,
    /// A run has ended.
    Ended(Ended),
    /// A person said something.
    Word(Word),
}

/// How the run of a part ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ended {
    /// Whose run it was.
    pub slot: Slot,
    /// What is said of the part.
    pub verdict: Verdict,
    /// Whether it is proven empty.
    pub left: Left,
    /// Whether its capacitance is that of the part that should be there.
    pub seems: Seems,
}

/// Which part it seems to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seems {
    /// Nothing speaks against its being the right one.
    Right,
    /// Its capacitance is far off.
    Wrong,
}

impl Seems {
    /// What the findings of a run say.
    #[must_use]
    pub fn by(findings: &[Finding]) -> Self {
        if findings.contains(&Finding::CapacitanceOff) { Self::Wrong } else { Self::Right }
    }
}

/// What is to be done next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// Ask for this part; what is in the clip is proven empty and may be taken out.
    Clip(Slot),
    /// Test this part.
    Test(Slot),
    /// Ask whether this is the right part; the answer is `go-on`, `repeat`, `skip` or `back`.
    Ask(Slot),
    /// End the run of this part safely; its end is to be reported.
    EndRun(Slot),
    /// The way is over.
    Done,
    /// The way is over: this part could not be proven empty.
    LockedOut(Slot),
}

/// The way through one tray.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk {
    hands: Hands,
    marks: Vec<Mark>,
    state: State,
    last: Option<Slot>,
    stops: bool,
}

/// What has become of a slot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mark {
    Open,
    /// Tested or left out on this way, without a verdict.
    Passed,
    Judged,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Ready,
    Prompted { next: Slot, clip: Clip },
    Testing { slot: Slot, clip: Clip, then: Then },
    Asking { slot: Slot, clip: Clip },
    Over,
}

/// What is in the clip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Clip {
    Empty,
    /// The part that is or was under test.
    Tested,
    /// A part that nobody asked for.
    Strange,
}

/// Where to go when the run has ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Then {
    Onward,
    Again,
    Before,
}

impl Clip {
    fn after(self, input: Input) -> Self {
        match (input, self) {
            (Input::Unclipped, _) => Self::Empty,
            (Input::Clipped, Self::Empty) => Self::Strange,
            _ => self,
        }
    }
}

impl Walk {
    /// The way through a tray of which the parts in `judged` have a verdict already.
    #[must_use]
    pub fn through(tray: &Tray, judged: &[Slot], hands: Hands) -> Self {
        let mark = |index| if judged.contains(&Slot(index)) { Mark::Judged } else { Mark::Open };
        let marks = (0..tray.parts().len()).map(mark).collect();
        Self { hands, marks, state: State::Ready, last: None, stops: false }
    }

    /// Whether a scanner connects the parts.
    #[must_use]
    pub fn is_by_scanner(&self) -> bool {
        self.hands == Hands::Scanner
    }

    /// The parts that have no verdict yet.
    pub fn without_verdict(&self) -> impl Iterator<Item = Slot> {
        let open = |(index, mark): (usize, &Mark)| (*mark != Mark::Judged).then_some(Slot(index));
        self.marks.iter().enumerate().filter_map(open)
    }

    /// Whether it is over.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.state == State::Over
    }

    /// Takes what has happened, and says what is to be done, if anything.
    pub fn step(&mut self, input: Input) -> Option<Order> {
        if let Input::Ended(Ended { slot, left: Left::LockedOut, .. }) = input
            && !self.is_over()
        {
            // Whosever run it was, and whenever it is told: somebody must look first.
            return Some(self.over(Order::LockedOut(slot)));
        }
        match self.state {
            State::Ready => self.when_ready(input),
            State::Prompted { next, clip } => self.when_prompted(next, clip, input),
            State::Testing { slot, clip, then } => self.when_testing(slot, clip, then, input),
            State::Asking { slot, clip } => self.when_asking(slot, clip, input),
            State::Over => None,
        }
    }

    fn when_ready(&mut self, input: Input) -> Option<Order> {
        match input {
            Input::Begin => Some(self.onward(Clip::Empty)),
            Input::Word(Word::Stop | Word::StopAfter) => Some(self.over(Order::Done)),
            Input::Clipped | Input::Unclipped | Input::Ended(_) | Input::Word(_) => None,
        }
    }

    fn when_prompted(&mut self, next: Slot, clip: Clip, input: Input) -> Option<Order> {
        match input {
            Input::Clipped if clip == Clip::Empty => Some(self.test(next)),
            Input::Clipped | Input::Unclipped => {
                self.state = State::Prompted { next, clip: clip.after(input) };
                None
            }
            Input::Word(Word::Skip) => Some(self.leave_out(next, clip)),
            Input::Word(Word::Back) => Some(self.prompt(before(next)?, clip)),
            Input::Word(Word::Repeat) => match (self.last?, clip) {
                (last, Clip::Tested) => Some(self.test(last)),
                (last, Clip::Empty | Clip::Strange) => Some(self.prompt(last, clip)),
            },
            Input::Word(Word::StopAfter) => {
                self.stops = true;
                None
            }
            Input::Word(Word::Stop) => Some(self.over(Order::Done)),
            Input::Word(Word::GoOn) | Input::Begin | Input::Ended(_) => None,
        }
    }

    fn when_testing(&mut self, slot: Slot, clip: Clip, then: Then, input: Input) -> Option<Order> {
        let (mut then, mut order) = (then, None);
        match input {
            Input::Ended(ended) if ended.slot == slot => {
                return Some(self.ended(ended, clip, then));
            }
            Input::Word(Word::Repeat) => then = Then::Again,
            Input::Word(Word::Back) => then = Then::Before,
            Input::Word(Word::StopAfter) => self.stops = true,
            Input::Word(Word::Skip) => {
                (then, order) = (Then::Onward, Some(Order::EndRun(slot)));
            }
            Input::Word(Word::Stop) => {
                self.stops = true;
                order = Some(Order::EndRun(slot));
            }
            Input::Word(Word::GoOn)
            | Input::Begin
            | Input::Ended(_)
            | Input::Clipped
            | Input::Unclipped => {}
        }
        self.state = State::Testing { slot, clip: clip.after(input), then };
        order
    }

    fn when_asking(&mut self, slot: Slot, clip: Clip, input: Input) -> Option<Order> {
        match input {
            Input::Clipped | Input::Unclipped => {
                self.state = State::Asking { slot, clip: clip.after(input) };
                None
            }
            Input::Word(Word::GoOn | Word::Skip) => Some(self.onward(clip)),
            Input::Word(Word::Back) => Some(self.prompt(before(slot).unwrap_or(slot), clip)),
            // A part that came in since the question is the one that is meant.
            Input::Word(Word::Repeat) if clip == Clip::Strange => Some(self.test(slot)),
            Input::Word(Word::Repeat) => Some(self.prompt(slot, held(clip))),
            Input::Word(Word::Stop | Word::StopAfter) => Some(self.over(Order::Done)),
            Input::Begin | Input::Ended(_) => None,
        }
    }

    fn ended(&mut self, ended: Ended, clip: Clip, then: Then) -> Order {
        let Ended { slot, verdict, left: _, seems } = ended;
        let mark = if verdict == Verdict::Untested { Mark::Passed } else { Mark::Judged };
        self.pass(slot, mark);
        if self.stops {
            return self.over(Order::Done);
        }
        match then {
            Then::Again if clip == Clip::Tested => self.test(slot),
            Then::Again => self.prompt(slot, clip),
            Then::Before => self.prompt(before(slot).unwrap_or(slot), clip),
            Then::Onward if seems == Seems::Wrong && self.hands == Hands::Person => {
                self.state = State::Asking { slot, clip };
                Order::Ask(slot)
            }
            Then::Onward => self.onward(clip),
        }
    }

    /// A verdict stays: a later run without one does not undo it.
    fn pass(&mut self, slot: Slot, mark: Mark) {
        if let Some(known) = self.marks.get_mut(slot.0).filter(|known| **known != Mark::Judged) {
            *known = mark;
        }
    }

    fn leave_out(&mut self, slot: Slot, clip: Clip) -> Order {
        self.pass(slot, Mark::Passed);
        if self.stops { self.over(Order::Done) } else { self.onward(clip) }
    }

    /// To the first part that has neither a verdict nor been passed on this way.
    fn onward(&mut self, clip: Clip) -> Order {
        match self.marks.iter().position(|mark| *mark == Mark::Open) {
            Some(index) => self.prompt(Slot(index), clip),
            None => self.over(Order::Done),
        }
    }

    fn prompt(&mut self, next: Slot, clip: Clip) -> Order {
        if self.hands == Hands::Scanner {
            return self.test(next);
        }
        self.state = State::Prompted { next, clip };
        Order::Clip(next)
    }

    fn test(&mut self, slot: Slot) -> Order {
        self.state = State::Testing { slot, clip: Clip::Tested, then: Then::Onward };
        self.last = Some(slot);
        Order::Test(slot)
    }

    fn over(&mut self, order: Order) -> Order {
        self.state = State::Over;
        order
    }
}

/// The clip with a part in it that has to come out first.
fn held(clip: Clip) -> Clip {
    if clip == Clip::Tested { Clip::Strange } else { clip }
}

fn before(slot: Slot) -> Option<Slot> {
    slot.0.checked_sub(1).map(Slot)
}

#[cfg(test)]
mod tests;
