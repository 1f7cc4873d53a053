//! The same bench without ports, threads and clock: bytes and moments are handed to it.

use crate::quantity::{Time, seconds};
use crate::simbench::desk::Instrument;
use crate::simbench::fault::Fault;
use crate::simbench::look::Look;
use crate::simbench::options::BenchOptions;
use crate::simbench::scenario::SimPart;
use crate::simbench::wire::{Piece, collect};
use crate::simbench::world::World;

/// A bench whose time is a number and whose lines are bytes.
///
/// It is as quick as arithmetic, and the same from the same seed.
#[derive(Debug)]
pub struct BenchByHand {
    world: World,
    lines: [Vec<u8>; 3],
}

impl BenchByHand {
    /// A bench at time zero with nothing clipped in; lapse and ports of `options` mean nothing here.
    #[must_use]
    pub fn new(options: BenchOptions) -> Self {
        Self { world: World::new(options), lines: [const { Vec::new() }; 3] }
    }

    /// Puts a part into the clip, in place of what is in it.
    pub fn clip_in(&mut self, part: &SimPart) {
        self.world.clip_in(&part.physics);
    }

    /// Moves the bench on to `time`; one that has passed changes nothing.
    pub fn advance_to(&mut self, time: Time) {
        self.world.advance_to(time.value);
    }

    /// Bytes reach an instrument.
    pub fn hear(&mut self, which: Instrument, bytes: &[u8]) {
        let line = match which {
            Instrument::Supply => &mut self.lines[0],
            Instrument::Meter => &mut self.lines[1],
            Instrument::Switch => &mut self.lines[2],
        };
        for &byte in bytes {
            match collect(line, byte) {
                Some(Piece::Line(text)) => self.world.hear(which, &text),
                Some(Piece::Overrun) => self.world.overrun(which),
                None => {}
            }
        }
    }

    /// What an instrument says by now, a piece a reply.
    pub fn say(&mut self, which: Instrument) -> Vec<Vec<u8>> {
        self.world.say(which)
    }

    /// The next moment at which an instrument does something by itself.
    pub fn alarm(&mut self, which: Instrument) -> Option<Time> {
        self.world.alarm(which).map(seconds)
    }

    /// Makes something go wrong now.
    pub fn inject(&mut self, fault: Fault) {
        self.world.suffer(fault);
    }

    /// Ends what the instruments suffer from, as [`Bench::mend`](crate::simbench::Bench::mend).
    pub fn mend(&mut self) {
        self.world.mend();
    }

    /// The true state of the bench now.
    #[must_use]
    pub fn look(&self) -> Look {
        self.world.look()
    }

    /// The rules of the bench that were broken so far, each with its bench time.
    #[must_use]
    pub fn violations(&self) -> &[String] {
        &self.world.violations
    }
}
