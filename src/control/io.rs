//! What goes into the controller and what comes out of it, at every step.

use super::mode::Mode;
use super::sequence::Phase;
use super::timetable::Setpoints;
use super::zone::{Regime, ZoneState};

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
    /// Whether each zone calls in the unit's mode.
    pub zone_call: Vec<bool>,
    /// Whether each zone waits for the other mode.
    pub zone_waiting: Vec<bool>,
    /// Setpoint of each zone in the unit's mode, °C; NaN when none is in force.
    pub zone_setpoint_c: Vec<f64>,
    /// Both setpoints of each zone, if any are in force.
    pub zone_setpoints: Vec<Option<Setpoints>>,
    /// Which setpoints those are.
    pub zone_regime: Vec<Regime>,
}

impl Commands {
    pub(super) fn idle(zones: usize, channels: usize, mode: Mode) -> Self {
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
            zone_call: vec![false; zones],
            zone_waiting: vec![false; zones],
            zone_setpoint_c: vec![f64::NAN; zones],
            zone_setpoints: vec![None; zones],
            zone_regime: vec![Regime::OutOfBand; zones],
        }
    }

    /// Copies what the zones want and have in force.
    #[inline]
    pub(super) fn show(&mut self, zones: &[ZoneState]) {
        let (call, waiting) = (&mut self.zone_call, &mut self.zone_waiting);
        let (setpoints, setpoint_c) = (&mut self.zone_setpoints, &mut self.zone_setpoint_c);
        let shown = call.iter_mut().zip(waiting).zip(setpoints).zip(setpoint_c);
        let shown = shown.zip(&mut self.zone_regime);
        for (zone, ((((call, waiting), setpoints), setpoint_c), regime)) in zones.iter().zip(shown)
        {
            *call = zone.calling;
            *waiting = !zone.waiting_since_s.is_nan();
            *setpoints = zone.setpoints;
            *setpoint_c = zone.setpoints.map_or(f64::NAN, |set| set.of(self.mode));
            *regime = zone.regime;
        }
    }

    /// Makes the lists as long as the controller needs; allocates only when they are not.
    #[inline]
    pub(super) fn fit(&mut self, zones: usize, channels: usize) {
        let fits = self.channel_opening.len() == channels
            && self.zone_call.len() == zones
            && self.zone_waiting.len() == zones
            && self.zone_setpoint_c.len() == zones
            && self.zone_setpoints.len() == zones
            && self.zone_regime.len() == zones;
        if !fits {
            self.resize(zones, channels);
        }
    }

    #[cold]
    fn resize(&mut self, zones: usize, channels: usize) {
        self.channel_opening.resize(channels, 0.0);
        self.zone_call.resize(zones, false);
        self.zone_waiting.resize(zones, false);
        self.zone_setpoint_c.resize(zones, f64::NAN);
        self.zone_setpoints.resize(zones, None);
        self.zone_regime.resize(zones, Regime::OutOfBand);
    }
}
