//! The switch: a relay for each clip, the clips behind open relays, and what is watched about them.
//!
//! The part behind the closed relay is in the circuit; the others keep what they hold, and age,
//! by themselves. Of two closed relays only the first is in the circuit, since two parts at once
//! are a broken rule anyway. Numbers are SI.

use std::collections::{BTreeMap, BTreeSet};

use crate::simbench::look::Look;
use crate::simbench::options::SwitchModel;
use crate::simbench::part::{Part, PartState, Physics};
use crate::simbench::world::{Clip, TOUCHABLE, World};

/// A relay that moves while more than this goes through it is worn (A): a part below the voltage
/// at which it may be touched gives less through series resistor and bleeder.
const QUIET: f64 = 1e-3;

/// A switch with a relay for each channel.
#[derive(Debug, Clone)]
pub(crate) struct Switch {
    pub(crate) model: SwitchModel,
    pub(crate) closed: BTreeSet<u32>,
    /// The relay that does not open.
    pub(crate) welded: Option<u32>,
    /// The relay that does not close.
    pub(crate) dead: Option<u32>,
    /// The channel whose clip is in the circuit.
    connected: Option<u32>,
    sockets: BTreeMap<u32, Socket>,
}

/// A part in a clip behind an open relay.
#[derive(Debug, Clone)]
struct Socket {
    part: Part,
    state: PartState,
    clip: Clip,
    /// The clip has fallen off.
    off: bool,
    since: f64,
}

impl Socket {
    /// The part after it was left to itself until `now`.
    fn at(&self, now: f64) -> PartState {
        self.part.alone(&self.state, now - self.since)
    }
}

impl Switch {
    /// A switch with all relays open and nothing clipped in.
    pub(crate) fn new(model: SwitchModel) -> Self {
        Self {
            model,
            closed: BTreeSet::new(),
            welded: None,
            dead: None,
            connected: None,
            sockets: BTreeMap::new(),
        }
    }

    /// Whether there is such a channel.
    pub(crate) fn has(&self, channel: u32) -> bool {
        self.model.channels.contains(&channel)
    }
}

impl World {
    /// Orders a relay to close.
    pub(crate) fn close_relay_of(&mut self, channel: u32) {
        if self.switch.closed.contains(&channel) {
            return;
        }
        self.check_move(channel);
        if self.switch.dead == Some(channel) {
            return;
        }
        self.fall_closed(channel);
        if 1 < self.switch.closed.len() {
            self.violate(&format!("channels {:?} are closed at once", self.switch.closed));
        }
    }

    /// Orders a relay to open.
    pub(crate) fn open_relay_of(&mut self, channel: u32) {
        if !self.switch.closed.contains(&channel) {
            return;
        }
        self.check_move(channel);
        if self.switch.welded == Some(channel) {
            return;
        }
        if self.switch.connected == Some(channel) && TOUCHABLE < self.state.part.u.abs() {
            let left = self.state.part.u;
            self.violate(&format!("the part on channel {channel} was left at {left:.1} V"));
        }
        self.fall_open(channel);
    }

    /// A relay closes, whether somebody ordered it or not.
    pub(crate) fn fall_closed(&mut self, channel: u32) {
        self.switch.closed.insert(channel);
        if self.switch.connected.is_none() {
            self.connect(channel);
        }
    }

    /// A relay opens, whether somebody wanted it or not.
    pub(crate) fn fall_open(&mut self, channel: u32) {
        self.switch.closed.remove(&channel);
        if self.switch.connected == Some(channel) {
            self.disconnect(channel);
            if let Some(next) = self.switch.closed.first().copied() {
                self.connect(next);
            }
        }
    }

    fn check_move(&mut self, channel: u32) {
        if self.supply.relay_closed() {
            self.violate(&format!("the relay of channel {channel} moved with the output on"));
        }
        let current = self.circuit.branch_current(&self.state);
        if QUIET < current.abs() {
            self.violate(&format!(
                "the relay of channel {channel} moved at {:.4} A",
                current.abs()
            ));
        }
    }

    fn connect(&mut self, channel: u32) {
        self.switch.connected = Some(channel);
        let Some(socket) = self.switch.sockets.remove(&channel) else { return };
        self.state.part = socket.at(self.now());
        self.circuit.gap = socket.off;
        self.circuit.part = Some(socket.part);
        self.clip = Some(socket.clip);
    }

    fn disconnect(&mut self, channel: u32) {
        self.switch.connected = None;
        let (off, since) = (self.circuit.gap, self.now());
        self.circuit.gap = true;
        let state = std::mem::replace(&mut self.state.part, PartState::empty());
        if let Some((part, clip)) = self.circuit.part.take().zip(self.clip.take()) {
            self.switch.sockets.insert(channel, Socket { part, state, clip, off, since });
        }
    }

    /// Clips a part in: into the only clip, or into the first of a switch.
    pub(crate) fn clip_in(&mut self, physics: &Physics) {
        match self.switch.model.channels.first().copied() {
            Some(channel) => self.clip_in_at(channel, physics),
            None => self.put_in(physics),
        }
    }

    /// Clips a part in on a channel.
    pub(crate) fn clip_in_at(&mut self, channel: u32, physics: &Physics) {
        if self.switch.connected == Some(channel) {
            self.put_in(physics);
            return;
        }
        self.unclip_at(channel);
        let (part, state) = Part::new(physics);
        let (clip, since) = (self.clip_of(physics), self.now());
        self.switch.sockets.insert(channel, Socket { part, state, clip, off: false, since });
    }

    /// Takes out what is in the only clip, or in the first of a switch.
    pub(crate) fn unclip(&mut self) {
        match self.switch.model.channels.first().copied() {
            Some(channel) => self.unclip_at(channel),
            None => self.take_out(),
        }
    }

    /// Takes out what is clipped in on a channel.
    pub(crate) fn unclip_at(&mut self, channel: u32) {
        if self.switch.connected == Some(channel) {
            self.take_out();
            return;
        }
        let Some(socket) = self.switch.sockets.remove(&channel) else { return };
        let left = socket.at(self.now()).u;
        if TOUCHABLE < left.abs() {
            self.violate(&format!("the part on channel {channel} was unclipped at {left:.1} V"));
        }
    }

    /// The bench with the part on a channel in view; none if there is no such channel.
    pub(crate) fn look_at(&self, channel: u32) -> Option<Look> {
        if !self.switch.has(channel) {
            return None;
        }
        if self.switch.connected == Some(channel) {
            return Some(self.look());
        }
        Some(match self.switch.sockets.get(&channel) {
            Some(socket) => self.look_upon(Some(&socket.part), &socket.at(self.now()), false),
            None => self.look_upon(None, &PartState::empty(), false),
        })
    }
}
