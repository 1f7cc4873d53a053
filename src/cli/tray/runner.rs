//! The way through a tray at the bench: carries out what the walk orders, feeds in what happens.

use tokio::sync::mpsc;

use super::words::{Said, WORDS};
use crate::cli::failure::Failure;
use crate::cli::screen;
use crate::cli::sitting::Sitting;
use crate::cli::tray_file::TrayFile;
use crate::daemon::{Finished, OpenScanner, Origin, Stop};
use crate::judge::{Finding, Left, Verdict};
use crate::plan::{Drawn, Wish};
use crate::quantity::text;
use crate::record::{TrayId, TrayPlace};
use crate::station::wiring::WiredScanner;
use crate::tray::{Ended, Input, Order, Seems, Slot, Walk, Word};

/// What goes on at the clip when the walk waits for a part.
enum Event {
    Clipped,
    Said(Said),
    Stopped,
    LockedOut,
}

/// A scanner and its wiring.
pub(super) struct Switched<'a> {
    pub(super) scanner: OpenScanner,
    pub(super) wiring: &'a WiredScanner,
}

/// Everything that a way through a tray needs.
pub(super) struct Runner<'a> {
    pub(super) file: &'a TrayFile,
    /// A plan for each part of the file; none for one that is left out.
    pub(super) drawn: &'a [Option<(Wish, Drawn)>],
    pub(super) sitting: Sitting<'a>,
    pub(super) switched: Option<Switched<'a>>,
    pub(super) walk: Walk,
    pub(super) said: Option<mpsc::UnboundedReceiver<Said>>,
    pub(super) tray: TrayId,
    /// The part that lies in the clip was tested here: it must come out first.
    pub(super) used: bool,
}

impl Runner<'_> {
    /// Walks to the end; an error leaves the part empty, or says that it is not.
    pub(super) async fn walk(&mut self) -> Result<(), Failure> {
        let mut order = self.walk.step(Input::Begin);
        while let Some(next) = order {
            order = match next {
                Order::Clip(slot) => self.wait_for(slot).await?,
                Order::Test(slot) => self.test(slot).await?,
                Order::Ask(slot) => self.ask(slot).await,
                // Given while a run goes on, and carried out there.
                Order::EndRun(_) | Order::Done => None,
                Order::LockedOut(slot) => {
                    self.say(slot, "LOCKED OUT: not proven empty. The tray ends here.");
                    None
                }
            };
        }
        Ok(())
    }

    fn say(&self, slot: Slot, what: &str) {
        screen::complain(&format!("position {}: {what}\n", self.file.position(slot)));
    }

    fn plan(&self, slot: Slot) -> Option<&(Wish, Drawn)> {
        self.drawn.get(slot.0).and_then(Option::as_ref)
    }

    /// Asks for a part and waits for it: by looking at the clip where the meter can see it.
    async fn wait_for(&mut self, slot: Slot) -> Result<Option<Order>, Failure> {
        let Some((wish, drawn)) = self.plan(slot) else {
            return Ok(self.walk.step(Input::Word(Word::Skip)));
        };
        let (part, plan) = (wish.part.to_string(), drawn.plan.clone());
        let sees = plan.sees_clip();
        let how = if sees { "it is noticed by itself" } else { "then press Enter" };
        let out = if self.used { "take the last part out and " } else { "" };
        self.say(slot, &format!("{out}clip in {part} ({how}; or type {WORDS})"));
        loop {
            let event = if sees { self.watch(&plan).await? } else { self.listen().await };
            let order = match event {
                Event::Clipped | Event::Said(Said::Enter) => {
                    self.walk.step(Input::Unclipped);
                    self.walk.step(Input::Clipped)
                }
                Event::Said(Said::Word(word)) => self.walk.step(Input::Word(word)),
                Event::Stopped => self.walk.step(Input::Word(Word::Stop)),
                Event::LockedOut => self.walk.step(Input::Ended(locked_out(slot))),
                Event::Said(Said::Unknown) => {
                    screen::complain(&format!("that is none of {WORDS}\n"));
                    None
                }
            };
            if order.is_some() || self.walk.is_over() {
                return Ok(order);
            }
        }
    }

    /// Looks at the clip until a part went in, or somebody says something.
    async fn watch(&mut self, plan: &crate::plan::Plan) -> Result<Event, Failure> {
        let stopper = self.sitting.stopper();
        let watch = self.sitting.watch_clip(plan.for_clip_watch(self.used));
        tokio::pin!(watch);
        let said = tokio::select! {
            outcome = &mut watch => return Ok(seen(&outcome)),
            said = hear(self.said.as_mut()) => said,
        };
        if stopper.send(Stop("a word at the prompt".into())).is_err() {
            tracing::debug!("the watch has just ended");
        }
        let outcome = watch.await;
        Ok(if outcome.left == Left::LockedOut { Event::LockedOut } else { Event::Said(said) })
    }

    /// Waits for a word, or for somebody to end the tray.
    async fn listen(&mut self) -> Event {
        tokio::select! {
            said = hear(self.said.as_mut()) => Event::Said(said),
            () = self.sitting.stopped() => Event::Stopped,
        }
    }

    /// Tests a part, connected by the scanner where there is one.
    async fn test(&mut self, slot: Slot) -> Result<Option<Order>, Failure> {
        let Some((wish, _)) = self.plan(slot) else {
            return Ok(self.walk.step(Input::Ended(untested(slot))));
        };
        self.say(slot, &format!("testing {}", wish.part));
        let mut switched = self.switched.take();
        let tested = match &mut switched {
            Some(switched) => self.test_switched(slot, switched).await,
            None => self.carry_out(slot).await,
        };
        self.switched = switched;
        self.used = true;
        let (finished, asked) = tested?;
        Ok(self.ended(slot, &finished, asked))
    }

    async fn test_switched(
        &mut self,
        slot: Slot,
        switched: &mut Switched<'_>,
    ) -> Result<(Finished, bool), Failure> {
        let channel = self.file.tray.part(slot).and_then(|part| part.channel);
        let name = channel.map(|channel| channel.to_string()).unwrap_or_default();
        let channel = switched.wiring.channel(&name).ok_or_else(|| {
            let message = format!("channel {name} is not in the station file");
            Failure::usage(message, "name it under [scanner] channels")
        })?;
        let connected = switched.scanner.close(channel).await?;
        let finished = self.carry_out(slot).await?;
        // A part that is not proven empty keeps its relay closed, and so its bleeder.
        if finished.0.outcome.left == Left::Safe {
            connected.open_after(Left::Safe).await?;
        }
        Ok(finished)
    }

    /// One run; words are heard meanwhile. Also whether a word ended it.
    async fn carry_out(&mut self, slot: Slot) -> Result<(Finished, bool), Failure> {
        let Self { file, drawn, sitting, walk, said, tray, .. } = self;
        let Some((wish, drawn)) = drawn.get(slot.0).and_then(Option::as_ref) else {
            return Err(Failure::usage("the part has no plan", "see `reststrom plan --tray`"));
        };
        let position = file.position(slot).to_owned();
        let origin = Origin { follows: None, place: Some(TrayPlace { tray: *tray, position }) };
        let stopper = sitting.stopper();
        let run = sitting.run(wish, drawn, origin);
        tokio::pin!(run);
        let mut asked = false;
        loop {
            let word = tokio::select! {
                finished = &mut run => return Ok((finished?, asked)),
                said = hear(said.as_mut()) => said,
            };
            if let Said::Word(word) = word
                && let Some(Order::EndRun(_)) = walk.step(Input::Word(word))
            {
                asked = stopper.send(Stop(format!("`{word}` was typed"))).is_ok();
            }
        }
    }

    fn ended(&mut self, slot: Slot, finished: &Finished, asked: bool) -> Option<Order> {
        let outcome = &finished.outcome;
        let ruling = &outcome.ruling;
        let reading = outcome.reading.map_or_else(String::new, |reading| {
            let current = text::with_uncertainty(reading.current, reading.budget.expanded());
            format!(", {current} of {}", text::current(outcome.evidence.limit))
        });
        let findings: Vec<&str> = ruling.findings.iter().map(|finding| finding.tag()).collect();
        let verdict = ruling.verdict.tag().to_uppercase();
        self.say(slot, &format!("{verdict} ({}){reading} – {}", findings.join(", "), finished.id));
        let ended = Ended {
            slot,
            verdict: ruling.verdict,
            left: outcome.left,
            seems: Seems::by(&ruling.findings),
        };
        let stopped = ruling.findings.first() == Some(&Finding::Stopped) && !asked;
        if stopped {
            self.walk.step(Input::Word(Word::Stop));
        }
        self.walk.step(Input::Ended(ended))
    }

    /// Asks whether the right part was in the clip.
    async fn ask(&mut self, slot: Slot) -> Option<Order> {
        self.say(
            slot,
            "its capacitance is far off: is it the right part? go on, repeat, back, skip or stop",
        );
        loop {
            let input = match self.listen().await {
                Event::Said(Said::Word(word)) => Input::Word(word),
                Event::Stopped => Input::Word(Word::Stop),
                Event::Said(_) | Event::Clipped | Event::LockedOut => continue,
            };
            let order = self.walk.step(input);
            if order.is_some() || self.walk.is_over() {
                return order;
            }
        }
    }
}

/// The next thing that is typed; nothing ever, once input is at its end.
async fn hear(said: Option<&mut mpsc::UnboundedReceiver<Said>>) -> Said {
    match said {
        Some(said) => match said.recv().await {
            Some(said) => said,
            None => std::future::pending().await,
        },
        None => std::future::pending().await,
    }
}

/// What a look at the clip came to.
fn seen(outcome: &crate::procedure::Outcome) -> Event {
    match (outcome.left, outcome.clipped) {
        (Left::LockedOut, _) => Event::LockedOut,
        (Left::Safe, true) => Event::Clipped,
        (Left::Safe, false) => {
            let why = outcome.ruling.findings.first().map_or("", |finding| finding.tag());
            screen::complain(&format!("the look at the clip ended: {why}\n"));
            Event::Stopped
        }
    }
}

fn locked_out(slot: Slot) -> Ended {
    Ended { left: Left::LockedOut, ..untested(slot) }
}

fn untested(slot: Slot) -> Ended {
    Ended { slot, verdict: Verdict::Untested, left: Left::Safe, seems: Seems::Right }
}
