//! What goes into the controller and what comes out of it, at every step.

use super::mode::Mode;
use super::sequence::Phase;

/// Sensor readings at one step. A reading that does not exist, or is lost, is NaN; a slice may be
/// shorter than the number of zones or channels, and what is missing counts as lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Readings<'a> {
    /// Thermostat reading of each zone, °C.
    pub zone_c: &'a [f64],
    /// Reported position of each channel's damper, 0 to 1. Empty without position feedback.
    pub damper_position: &'a [f64],
    /// Static pressure in the supply plenum, Pa.
    pub static_pa: f64,
    /// Supply-air temperature in the plenum, °C.
    pub supply_c: f64,
    /// Coil surface temperature, °C.
    pub coil_surface_c: f64,
    /// Return-air temperature, before relief air mixes in, °C.
    pub return_c: f64,
    /// Airflow that reaches the rooms, m³/s.
    pub rooms_flow_m3_s: f64,
    /// Airflow through the coil, fraction of rated.
    pub coil_flow_fraction: f64,
}

impl Default for Readings<'_> {
    fn default() -> Self {
        Self {
            zone_c: &[],
            damper_position: &[],
            static_pa: f64::NAN,
            supply_c: f64::NAN,
            coil_surface_c: f64::NAN,
            return_c: f64::NAN,
            rooms_flow_m3_s: f64::NAN,
            coil_flow_fraction: f64::NAN,
        }
    }
}

/// What the unit is told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitDemand {
    /// Mode of the run; `None` with the compressor off.
    pub mode: Option<Mode>,
    /// Speed, fraction of rated; 0 with the compressor off.
    pub speed: f64,
    /// Whether the airflow limit or a protection holds the speed below demand.
    pub limited: bool,
}

/// Commands of one step, filled in place. Make it with `Controller::commands`.
#[derive(Debug, Clone, PartialEq)]
pub struct Commands {
    /// Target opening of each channel, 0 to 1.
    pub channel_opening: Vec<f64>,
    /// Target opening of the relief, 0 to 1; 0 without one.
    pub relief_opening: f64,
    /// The unit.
    pub unit: UnitDemand,
    /// Fan, fraction of full speed or full airflow; 0 when off.
    pub fan_fraction: f64,
    /// Mode the unit is set to, running or not.
    pub mode: Mode,
    /// Phase of the sequence.
    pub phase: Phase,
}

impl Commands {
    /// Takes over other commands. Unlike a clone it allocates nothing.
    #[inline]
    pub fn take_over(&mut self, other: &Self) {
        let mut channel_opening = std::mem::take(&mut self.channel_opening);
        channel_opening.clear();
        channel_opening.extend_from_slice(&other.channel_opening);
        *self = Self {
            channel_opening,
            ..*other
        };
    }

    pub(super) fn idle(channels: usize, mode: Mode) -> Self {
        Self {
            channel_opening: vec![0.0; channels],
            relief_opening: 0.0,
            unit: UnitDemand {
                mode: None,
                speed: 0.0,
                limited: false,
            },
            fan_fraction: 0.0,
            mode,
            phase: Phase::Idle,
        }
    }
}
