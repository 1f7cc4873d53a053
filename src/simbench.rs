//! A simulated bench on real pseudo-terminals and TCP.
//!
//! A supply, a meter and a clip with a part in it, wired as a station is: series resistor, meter
//! and part in line, a bleeder across the supply; or, with a switch, a clip behind a relay on each
//! of its channels. The instruments speak SCPI on ports that a client
//! opens like any other. Bench time is real time times a lapse, or moves by hand.
//!
//! The models of parts and instruments are this module's own: nothing that judges or plans is used,
//! so that a mistake there cannot hide behind the same mistake here. The bench also watches that
//! its rules are kept ([`Bench::violations`]): a client that overstresses a part or unclips it
//! charged is found out even if its verdict is right.
//!
//! ```
//! use std::io::{BufRead, BufReader, Write};
//!
//! use reststrom::quantity::{farads, seconds, volts};
//! use reststrom::simbench::{Bench, BenchOptions, Physics, SimPart};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let bench = Bench::start(BenchOptions { lapse: 60.0, ..BenchOptions::default() })?;
//! bench.clip_in(&SimPart::bare(Physics::capacitor(farads(22e-6), volts(25.0))));
//! let mut port = std::fs::File::options().read(true).write(true).open(bench.supply_port())?;
//! port.write_all(b"VOLT:PROT 27;:CURR:PROT 0.1;:CURR 0.05;:VOLT 1;:OUTP ON\nOUTP?\n")?;
//! let mut reply = String::new();
//! BufReader::new(port).read_line(&mut reply)?;
//! assert_eq!(reply, "1\n");
//! bench.advance(seconds(5.0));
//! assert!((bench.look().part_voltage - volts(1.0)).abs() < volts(0.01));
//! assert!(bench.violations().is_empty());
//! # Ok(())
//! # }
//! ```

mod absorption;
mod by_hand;
mod circuit;
mod desk;
mod dice;
mod fault;
mod leakage;
mod look;
mod meter;
mod options;
mod part;
mod scenario;
mod shared;
mod spoil;
mod supply;
mod switch;
#[cfg(test)]
mod tests;
mod wire;
mod words;
mod world;

use std::sync::Arc;
use std::thread::JoinHandle;

use crate::quantity::Time;
use crate::simbench::shared::Shared;
use crate::simbench::wire::Wire;
use crate::simbench::world::World;

pub use by_hand::BenchByHand;
pub use desk::Instrument;
pub use fault::{Fault, SwitchFault};
pub use leakage::Leakage;
pub use look::{Logged, Look, Speaker};
pub use options::{
    BenchOptions, MeterModel, MeterTongue, Sensing, Serve, SupplyModel, SwitchModel, Tongue,
};
pub use part::{Absorption, Breakdown, Bursts, Physics, Reforming};
pub use scenario::{BenchEntry, Scenario, ScenarioError, SimPart, Truth, scenario};
pub use spoil::LineFault;

/// A simulated bench that is being served.
///
/// Dropping it ends its threads and closes its ports.
#[derive(Debug)]
pub struct Bench {
    shared: Arc<Shared>,
    serve: Serve,
    supply_port: String,
    meter_port: String,
    switch_port: Option<String>,
    threads: Vec<(Instrument, JoinHandle<()>)>,
}

impl Bench {
    /// Builds a bench and serves its instruments, with nothing clipped in and the output off.
    ///
    /// # Errors
    ///
    /// [`BenchError`] if the lapse is no number from zero up, or a port cannot be opened.
    pub fn start(options: BenchOptions) -> Result<Self, BenchError> {
        if !(options.lapse.is_finite() && 0.0 <= options.lapse) {
            return Err(BenchError::Lapse(options.lapse));
        }
        let (lapse, serve) = (options.lapse, options.serve);
        let switched = options.switch.is_some();
        let shared = Shared::new(World::new(options), lapse);
        let mut bench = Self {
            shared: Arc::new(shared.map_err(|source| BenchError::Waker { source })?),
            serve,
            supply_port: String::new(),
            meter_port: String::new(),
            switch_port: None,
            threads: Vec::new(),
        };
        bench.plug_in(Instrument::Supply)?;
        bench.plug_in(Instrument::Meter)?;
        if switched {
            bench.plug_in(Instrument::Switch)?;
        }
        Ok(bench)
    }

    /// Where the supply is found: a path, or `address:port`.
    #[must_use]
    pub fn supply_port(&self) -> String {
        self.supply_port.clone()
    }

    /// Where the meter is found: a path, or `address:port`.
    #[must_use]
    pub fn meter_port(&self) -> String {
        self.meter_port.clone()
    }

    /// Where the switch is found, if the bench has one: a path, or `address:port`.
    #[must_use]
    pub fn switch_port(&self) -> Option<String> {
        self.switch_port.clone()
    }

    /// Puts a part into the clip on a channel of the switch, in place of what is in it.
    pub fn clip_in_at(&self, channel: u32, part: &SimPart) {
        self.shared.with(|world| world.clip_in_at(channel, &part.physics));
    }

    /// Takes the part out of the clip on a channel of the switch.
    pub fn unclip_at(&self, channel: u32) {
        self.shared.with(|world| world.unclip_at(channel));
    }

    /// The true state of the bench now, with the part on a channel of the switch in view; none if
    /// there is no such channel.
    #[must_use]
    pub fn look_at(&self, channel: u32) -> Option<Look> {
        self.shared.with(|world| world.look_at(channel))
    }

    /// The channels of the switch whose relays are closed.
    #[must_use]
    pub fn closed_channels(&self) -> Vec<u32> {
        self.shared.with(|world| world.switch.closed.iter().copied().collect())
    }

    /// Puts a part into the clip, in place of what is in it; of several clips, into the first.
    pub fn clip_in(&self, part: &SimPart) {
        self.shared.with(|world| world.clip_in(&part.physics));
    }

    /// Takes the part out of the clip; of several clips, out of the first.
    pub fn unclip(&self) {
        self.shared.with(World::unclip);
    }

    /// The true state of the bench now.
    #[must_use]
    pub fn look(&self) -> Look {
        self.shared.with(|world| world.look())
    }

    /// Makes something go wrong now.
    pub fn inject(&self, fault: Fault) {
        self.shared.with(|world| world.suffer(fault));
        self.shared.wake();
    }

    /// Makes something go wrong at a bench time.
    pub fn inject_at(&self, time: Time, fault: Fault) {
        self.shared.with(|world| world.schedule(time.value, fault));
        self.shared.wake();
    }

    /// Ends what the instruments suffer from. Settings, trips and charges stay as they are; a port
    /// that hung up comes back by [`Bench::replug`], a clip that fell off by [`Bench::clip_in`].
    pub fn mend(&self) {
        self.shared.with(World::mend);
        self.shared.wake();
    }

    /// Lets bench time jump ahead; the bench goes through all of it.
    pub fn advance(&self, by: Time) {
        self.shared.skip(by.value);
    }

    /// Pulls an instrument's plug if its port has not hung up, and plugs it in again; gives its
    /// new port. The instrument itself stays as it is.
    ///
    /// # Errors
    ///
    /// [`BenchError::Port`] if no port can be opened.
    pub fn replug(&mut self, which: Instrument) -> Result<String, BenchError> {
        self.shared.with(|world| world.desk(which).hung_up = true);
        self.shared.wake();
        for (_, thread) in self.threads.extract_if(.., |(whose, _)| *whose == which) {
            join(thread);
        }
        self.shared.with(|world| world.desk(which).hung_up = false);
        self.plug_in(which)
    }

    /// The rules of the bench that were broken so far, each with its bench time.
    #[must_use]
    pub fn violations(&self) -> Vec<String> {
        self.shared.with(|world| world.violations.clone())
    }

    /// The lines heard and said so far, the latest 100 000 of them.
    #[must_use]
    pub fn log(&self) -> Vec<Logged> {
        self.shared.with(|world| world.log.iter().cloned().collect())
    }

    fn plug_in(&mut self, which: Instrument) -> Result<String, BenchError> {
        let failed = |source| BenchError::Port { which, source };
        let wire = Wire::open(self.serve).map_err(failed)?;
        let name = wire.name().to_owned();
        let shared = Arc::clone(&self.shared);
        let thread = std::thread::Builder::new()
            .name(format!("simulated {which:?}").to_lowercase())
            .spawn(move || {
                if let Err(error) = wire::serve(&shared, which, wire) {
                    tracing::warn!(%error, ?which, "a port of the simulated bench is lost");
                }
            })
            .map_err(failed)?;
        self.threads.push((which, thread));
        match which {
            Instrument::Supply => self.supply_port.clone_from(&name),
            Instrument::Meter => self.meter_port.clone_from(&name),
            Instrument::Switch => self.switch_port = Some(name.clone()),
        }
        Ok(name)
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.shared.stop();
        for (_, thread) in self.threads.drain(..) {
            join(thread);
        }
    }
}

fn join(thread: JoinHandle<()>) {
    if thread.join().is_err() {
        tracing::error!("a thread of the simulated bench ended in a panic");
    }
}

/// Why a simulated bench cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum BenchError {
    /// The lapse makes no clock.
    #[error("lapse is {0}, expected a number from 0 up")]
    Lapse(f64),
    /// A port could not be opened or served.
    #[error("no port for the simulated {which:?}")]
    Port {
        /// Whose port.
        which: Instrument,
        /// The operating system's reason.
        source: std::io::Error,
    },
    /// The means to wake the bench's threads could not be made.
    #[error("no event counter for the simulated bench")]
    Waker {
        /// The operating system's reason.
        source: std::io::Error,
    },
}
