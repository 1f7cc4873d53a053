//! Starts that were asked for, by their tokens: a start that is sent again begins nothing.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

use tokio::sync::watch;

use crate::daemon::asked::Asked;
use crate::daemon::refused::Refused;
use crate::record::RunId;

/// What a start came to.
pub(super) type Answer = Result<RunId, Refused>;

/// So many are remembered; older ones are found in the record.
const REMEMBERED: usize = 64;

/// The newest starts.
#[derive(Default)]
pub(super) struct Starts {
    known: Mutex<VecDeque<Known>>,
}

struct Known {
    token: String,
    asked: Asked,
    answer: watch::Receiver<Option<Answer>>,
}

impl Starts {
    /// The answer to come of a start: that of the first one with this token, else that of `begin`.
    ///
    /// # Errors
    ///
    /// [`Refused`] by `begin`, or because the token began something else.
    pub(super) fn once(
        &self,
        token: &str,
        asked: &Asked,
        begin: impl FnOnce(watch::Sender<Option<Answer>>) -> Result<(), Refused>,
    ) -> Result<watch::Receiver<Option<Answer>>, Refused> {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        // What was refused may be tried again with the same token.
        known.retain(|known| !matches!(&*known.answer.borrow(), Some(Err(_))));
        if let Some(found) = known.iter().find(|known| known.token == token) {
            if found.asked != *asked {
                return Err(used());
            }
            return Ok(found.answer.clone());
        }
        let (sender, answer) = watch::channel(None);
        begin(sender)?;
        if known.len() == REMEMBERED {
            known.pop_front();
        }
        let new = Known { token: token.to_owned(), asked: asked.clone(), answer: answer.clone() };
        known.push_back(new);
        Ok(answer)
    }
}

/// The token belongs to another start.
pub(super) fn used() -> Refused {
    Refused::usage("this token has begun another run", "send a new token with each new start")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::refused::Ground;

    fn asked(part: &str) -> Asked {
        Asked { part: part.into(), ..Asked::default() }
    }

    #[test]
    fn a_token_begins_one_run_however_often_it_is_sent() {
        let starts = Starts::default();
        let mut begun = 0;
        let mut senders = Vec::new();
        for _ in 0..3 {
            let count = |answer| {
                begun += 1;
                senders.push(answer);
                Ok(())
            };
            assert!(starts.once("t", &asked("22uF 25V tantalum"), count).is_ok());
        }
        assert_eq!(begun, 1);
    }

    #[test]
    fn a_token_of_another_start_is_refused() {
        let starts = Starts::default();
        let mut senders = Vec::new();
        let mut keep = |answer| {
            senders.push(answer);
            Ok(())
        };
        assert!(starts.once("t", &asked("22uF 25V tantalum"), &mut keep).is_ok());
        let other = starts.once("t", &asked("22uF 50V tantalum"), &mut keep);
        assert_eq!(other.err().map(|refused| refused.ground), Some(Ground::Usage));
    }

    #[test]
    fn what_was_refused_may_be_tried_again() {
        let starts = Starts::default();
        let part = asked("22uF 25V tantalum");
        let refuse = |answer: watch::Sender<Option<Answer>>| {
            answer.send_replace(Some(Err(Refused::usage("the meter is off", "switch it on"))));
            Ok(())
        };
        assert!(starts.once("t", &part, refuse).is_ok());
        let mut again = false;
        let begin = |_| {
            again = true;
            Ok(())
        };
        assert!(starts.once("t", &part, begin).is_ok());
        assert!(again);
    }
}
