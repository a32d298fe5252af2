//! A technician's commands in the controller's stead, for functional tests.

use crate::control::protection::Sense;
use crate::control::relief_pi::ReliefPiState;
use crate::control::sequence::Phase;
use crate::control::{ChannelOwner, Commands, Controller, Mode, Readings};

/// What a technician commands. The motorised relief goes on by its own control, and the supply
/// cut-outs still stop the compressor between trip and reset.
#[derive(Clone, Debug, PartialEq)]
pub struct ManualOverride {
    /// Opening of every channel, 0 to 1; that of the relief is left to its control.
    pub openings: Vec<f64>,
    /// Fan, share of full.
    pub fan: f64,
    /// Mode of the compressor; `None` = off.
    pub mode: Option<Mode>,
    /// Its speed, relative to rated.
    pub speed: f64,
    relief: ReliefPiState,
    cut_out: bool,
}

impl ManualOverride {
    /// Everything shut and off.
    pub fn off(channels: usize) -> ManualOverride {
        ManualOverride {
            openings: vec![0.0; channels],
            fan: 0.0,
            mode: None,
            speed: 0.0,
            relief: ReliefPiState::default(),
            cut_out: false,
        }
    }

    /// Fills the commands of one step of `dt_s`.
    pub fn command(
        &mut self,
        controller: &Controller,
        readings: &Readings<'_>,
        dt_s: f64,
        commands: &mut Commands,
    ) {
        let spec = controller.spec();
        for p in &spec.protections {
            let (trips, resets) = match p.sense {
                Sense::SupplyLow => (readings.supply_c < p.trip, readings.supply_c >= p.reset),
                Sense::SupplyHigh => (readings.supply_c > p.trip, readings.supply_c <= p.reset),
                _ => continue,
            };
            let own = match p.sense {
                Sense::SupplyLow => Mode::Cooling,
                _ => Mode::Heating,
            };
            if self.mode == Some(own) {
                self.cut_out = trips || (self.cut_out && !resets);
            }
        }
        let mode = self.mode.filter(|_| !self.cut_out);
        commands.unit.mode = mode;
        commands.unit.speed = if mode.is_some() { self.speed } else { 0.0 };
        commands.fan_fraction = self.fan;
        commands.phase = if mode.is_some() {
            Phase::Running
        } else {
            Phase::Idle
        };
        commands.relief_opening = spec.relief.as_ref().map_or(0.0, |pi| {
            pi.step(readings.static_pa, self.fan > 0.0, dt_s, &mut self.relief)
        });
        let channels = commands.channel_opening.iter_mut().zip(&spec.channels);
        for (i, (target, owner)) in channels.enumerate() {
            *target = match owner {
                ChannelOwner::Relief => commands.relief_opening,
                ChannelOwner::Zone(_) => self.openings.get(i).copied().unwrap_or(0.0),
            };
        }
    }
}
