//! Ways through a tray: scenes, and what holds on every way.

use proptest::prelude::*;
use rstest::rstest;

use super::*;
use crate::tray::{Form, read};

use Input::{Begin, Clipped, Unclipped};
use Order::{Ask, Clip as Prompt, Done, EndRun, LockedOut, Test};

fn tray(parts: usize) -> Tray {
    let text = format!("family;value;rating\n{}", "tantalum;10u;35V\n".repeat(parts));
    read(&text, Form::Csv).unwrap()
}

fn by_hand(parts: usize) -> Walk {
    Walk::through(&tray(parts), &[], Hands::Person)
}

fn within(slot: usize) -> Input {
    let (verdict, left, seems) = (Verdict::Within, Left::Safe, Seems::Right);
    Input::Ended(Ended { slot: Slot(slot), verdict, left, seems })
}

fn doubtful(slot: usize) -> Input {
    let (verdict, left, seems) = (Verdict::Undecided, Left::Safe, Seems::Wrong);
    Input::Ended(Ended { slot: Slot(slot), verdict, left, seems })
}

fn untested(slot: usize) -> Input {
    let (verdict, left, seems) = (Verdict::Untested, Left::Safe, Seems::Right);
    Input::Ended(Ended { slot: Slot(slot), verdict, left, seems })
}

fn charged(slot: usize) -> Input {
    let (verdict, left, seems) = (Verdict::Within, Left::LockedOut, Seems::Right);
    Input::Ended(Ended { slot: Slot(slot), verdict, left, seems })
}

fn word(word: Word) -> Input {
    Input::Word(word)
}

/// Feeds inputs in and compares each order.
#[track_caller]
fn goes(mut walk: Walk, steps: &[(Input, Option<Order>)]) -> Walk {
    for (number, (input, order)) in steps.iter().enumerate() {
        assert_eq!(walk.step(*input), *order, "step {number}: {input:?}");
    }
    walk
}

/// By hand up to the test of the first part.
const FIRST: [(Input, Option<Order>); 2] =
    [(Begin, Some(Prompt(Slot(0)))), (Clipped, Some(Test(Slot(0))))];

#[track_caller]
fn goes_after_first(parts: usize, steps: &[(Input, Option<Order>)]) -> Walk {
    goes(by_hand(parts), &[&FIRST, steps].concat())
}

#[test]
fn by_hand_each_part_is_asked_for_once_the_last_is_empty() {
    let walk = goes_after_first(
        2,
        &[
            (within(0), Some(Prompt(Slot(1)))),
            (Unclipped, None),
            (Clipped, Some(Test(Slot(1)))),
            (within(1), Some(Done)),
        ],
    );
    assert!(walk.is_over());
    assert_eq!(walk.without_verdict().count(), 0);
}

#[test]
fn by_scanner_no_clip_is_asked_for_and_nobody_is_asked() {
    let walk = Walk::through(&tray(2), &[], Hands::Scanner);
    goes(
        walk,
        &[
            (Begin, Some(Test(Slot(0)))),
            (doubtful(0), Some(Test(Slot(1)))),
            (within(1), Some(Done)),
        ],
    );
}

#[test]
fn a_part_that_is_still_in_the_clip_is_not_taken_for_the_next() {
    goes_after_first(
        2,
        &[
            (within(0), Some(Prompt(Slot(1)))),
            (Clipped, None),
            (Unclipped, None),
            (Clipped, Some(Test(Slot(1)))),
        ],
    );
}

#[test]
fn a_clip_that_came_off_in_the_test_needs_no_second_taking_out() {
    let steps =
        [(Unclipped, None), (untested(0), Some(Prompt(Slot(1)))), (Clipped, Some(Test(Slot(1))))];
    goes_after_first(2, &steps);
}

#[test]
fn a_part_that_is_not_proven_empty_ends_the_tray() {
    let walk = goes_after_first(2, &[(charged(0), Some(LockedOut(Slot(0)))), (Clipped, None)]);
    assert!(walk.is_over());
}

#[test]
fn a_part_that_is_found_charged_later_ends_the_tray_too() {
    let steps = [(within(0), Some(Prompt(Slot(1)))), (charged(0), Some(LockedOut(Slot(0))))];
    assert!(goes_after_first(2, &steps).is_over());
}

#[rstest]
#[case::it_is_right(&[(word(Word::GoOn), Some(Prompt(Slot(1)))), (Unclipped, None), (Clipped, Some(Test(Slot(1))))])]
#[case::it_was_swapped(&[(Unclipped, None), (Clipped, None), (word(Word::Repeat), Some(Test(Slot(0))))])]
#[case::it_is_still_in(&[(word(Word::Repeat), Some(Prompt(Slot(0)))), (Clipped, None), (Unclipped, None), (Clipped, Some(Test(Slot(0))))])]
#[case::left_out(&[(word(Word::Skip), Some(Prompt(Slot(1))))])]
#[case::enough(&[(word(Word::Stop), Some(Done))])]
fn a_part_that_seems_wrong_is_asked_about(#[case] answer: &[(Input, Option<Order>)]) {
    goes_after_first(2, &[&[(doubtful(0), Some(Ask(Slot(0))))], answer].concat());
}

#[rstest]
#[case::skip(&[(word(Word::Skip), Some(EndRun(Slot(0)))), (untested(0), Some(Prompt(Slot(1))))])]
#[case::repeat(&[(word(Word::Repeat), None), (within(0), Some(Test(Slot(0)))), (within(0), Some(Prompt(Slot(1))))])]
#[case::stop_after(&[(word(Word::StopAfter), None), (within(0), Some(Done))])]
#[case::stop(&[(word(Word::Stop), Some(EndRun(Slot(0)))), (untested(0), Some(Done))])]
#[case::nothing_to_answer(&[(word(Word::GoOn), None), (within(0), Some(Prompt(Slot(1))))])]
#[case::the_end_of_another(&[(within(1), None), (within(0), Some(Prompt(Slot(1))))])]
fn a_word_during_a_test_is_done_when_it_can_be(#[case] steps: &[(Input, Option<Order>)]) {
    goes_after_first(2, steps);
}

#[rstest]
#[case::skip(&[(word(Word::Skip), Some(Prompt(Slot(2))))])]
#[case::repeat_what_is_still_in(&[(word(Word::Repeat), Some(Test(Slot(0)))), (within(0), Some(Prompt(Slot(1))))])]
#[case::repeat_what_was_taken_out(&[(Unclipped, None), (word(Word::Repeat), Some(Prompt(Slot(0))))])]
#[case::back(&[(word(Word::Back), Some(Prompt(Slot(0)))), (word(Word::Back), None)])]
#[case::stop_after_the_next(&[(Unclipped, None), (word(Word::StopAfter), None), (Clipped, Some(Test(Slot(1)))), (within(1), Some(Done))])]
#[case::stop(&[(word(Word::Stop), Some(Done))])]
fn a_word_before_a_clip_is_done_at_once(#[case] steps: &[(Input, Option<Order>)]) {
    goes_after_first(3, &[&[(within(0), Some(Prompt(Slot(1))))], steps].concat());
}

#[test]
fn a_tray_goes_on_with_the_first_part_without_a_verdict() {
    let walk = Walk::through(&tray(4), &[Slot(0), Slot(2)], Hands::Scanner);
    let walk = goes(
        walk,
        &[
            (Begin, Some(Test(Slot(1)))),
            (untested(1), Some(Test(Slot(3)))),
            (within(3), Some(Done)),
        ],
    );
    assert_eq!(walk.without_verdict().collect::<Vec<_>>(), [Slot(1)]);
}

#[test]
fn a_tray_whose_parts_all_have_a_verdict_is_done_at_once() {
    let walk = Walk::through(&tray(1), &[Slot(0)], Hands::Person);
    goes(walk, &[(Begin, Some(Done)), (Clipped, None)]);
}

#[test]
fn a_verdict_is_not_undone_by_a_later_run_without_one() {
    let walk = goes_after_first(
        1,
        &[(word(Word::Repeat), None), (within(0), Some(Test(Slot(0)))), (untested(0), Some(Done))],
    );
    assert_eq!(walk.without_verdict().count(), 0);
}

#[rstest]
#[case::off(&[Finding::Settled, Finding::CapacitanceOff], Seems::Wrong)]
#[case::settled(&[Finding::Settled], Seems::Right)]
fn a_part_seems_wrong_by_its_capacitance(#[case] findings: &[Finding], #[case] seems: Seems) {
    assert_eq!(Seems::by(findings), seems);
}

const PARTS: usize = 5;

/// Anything that can come in, sensible or not.
fn input() -> impl Strategy<Value = Input> {
    let verdict = prop::sample::select(Verdict::ALL);
    let left = prop_oneof![9 => Just(Left::Safe), 1 => Just(Left::LockedOut)];
    let seems = prop_oneof![4 => Just(Seems::Right), 1 => Just(Seems::Wrong)];
    let ended = (0..PARTS, verdict, left, seems).prop_map(|(slot, verdict, left, seems)| {
        Input::Ended(Ended { slot: Slot(slot), verdict, left, seems })
    });
    prop_oneof![
        1 => Just(Begin),
        4 => Just(Clipped),
        4 => Just(Unclipped),
        6 => ended,
        3 => prop::sample::select(Word::ALL).prop_map(Input::Word),
    ]
}

fn hands() -> impl Strategy<Value = Hands> {
    prop_oneof![Just(Hands::Person), Just(Hands::Scanner)]
}

/// What a witness at the bench knows.
#[derive(Default)]
struct Witness {
    under_test: Option<Slot>,
    locked_out: bool,
    tests: Vec<Slot>,
    asked_again: usize,
}

impl Witness {
    fn sees_input(&mut self, input: Input) {
        match input {
            Input::Ended(ended) if ended.left == Left::LockedOut => self.locked_out = true,
            Input::Ended(ended) if self.under_test == Some(ended.slot) => self.under_test = None,
            Input::Word(Word::Repeat | Word::Back) => self.asked_again += 1,
            Input::Ended(_) | Input::Word(_) | Begin | Clipped | Unclipped => {}
        }
    }

    fn sees_order(&mut self, order: Order) {
        match order {
            Prompt(_) | Ask(_) | Done => {
                assert_eq!(self.under_test, None, "{order:?} while a part is under test");
                assert!(!self.locked_out, "{order:?} after a part was not proven empty");
            }
            Test(slot) => {
                assert!(self.under_test.is_none() && !self.locked_out, "{order:?}");
                self.under_test = Some(slot);
                self.tests.push(slot);
            }
            EndRun(slot) => assert_eq!(self.under_test, Some(slot)),
            LockedOut(_) => assert!(self.locked_out),
        }
    }

    fn feed(&mut self, walk: &mut Walk, input: Input) -> Option<Order> {
        self.sees_input(input);
        let order = walk.step(input);
        if let Some(order) = order {
            self.sees_order(order);
        }
        order
    }

    fn repeats(&self) -> usize {
        let mut slots = self.tests.clone();
        slots.sort();
        slots.dedup();
        self.tests.len() - slots.len()
    }
}

proptest! {
    /// The two dangers: a prompt while a part may be charged, and a test nobody asked for.
    #[test]
    fn whatever_comes_no_prompt_before_safe_and_no_repeat_unasked(
        hands in hands(),
        judged in prop::collection::vec((0..PARTS).prop_map(Slot), 0..PARTS),
        inputs in prop::collection::vec(input(), 0..120),
    ) {
        let mut walk = Walk::through(&tray(PARTS), &judged, hands);
        let mut witness = Witness::default();
        for input in inputs {
            witness.feed(&mut walk, input);
        }
        prop_assert!(witness.repeats() <= witness.asked_again, "{:?}", witness.tests);
        let unasked = witness.tests.iter().filter(|slot| judged.contains(slot)).count();
        prop_assert!(unasked <= witness.asked_again, "{:?} of {judged:?}", witness.tests);
    }

    /// A person who does what is asked comes to the end from anywhere.
    #[test]
    fn from_anywhere_a_willing_person_comes_to_the_end(
        hands in hands(),
        inputs in prop::collection::vec(input(), 0..60),
    ) {
        let mut walk = Walk::through(&tray(PARTS), &[], hands);
        let mut witness = Witness::default();
        for input in inputs {
            witness.feed(&mut walk, input);
        }
        let willing = [Begin, word(Word::GoOn), Unclipped, Clipped];
        for _ in 0..4 * PARTS + 4 {
            for input in willing {
                witness.feed(&mut walk, input);
                if let Some(Slot(slot)) = witness.under_test {
                    witness.feed(&mut walk, within(slot));
                }
            }
        }
        prop_assert!(walk.is_over(), "{walk:?}");
    }
}
