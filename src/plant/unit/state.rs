//! What goes into, comes out of and stays inside the unit.

use super::CoilMemory;
use crate::plant::air::{CP_VAPOUR, LATENT_HEAT_0C, MoistAir};

/// What can be wrong with a unit or with a request to it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// A parameter that cannot be used.
    #[error("{name} is {value}: {advice}")]
    Parameter {
        /// What the parameter is, with its unit.
        name: &'static str,
        /// The value given.
        value: f64,
        /// What to give instead.
        advice: &'static str,
    },
    /// A step was asked for with an input that is not a number.
    #[error("{name} is {value}, which is not a usable number")]
    NotFinite {
        /// What the input is, with its unit.
        name: &'static str,
        /// The value given.
        value: f64,
    },
    /// The unit has no coil data for the mode.
    #[error("the unit was asked for {0:?}, but it has no data for that mode")]
    NoSuchMode(Mode),
    /// A search did not settle.
    #[error("{what} did not settle; check the unit's coefficients")]
    NotConverged {
        /// What was searched for.
        what: &'static str,
    },
}

impl UnitError {
    /// `Ok` for a finite value above zero.
    pub(super) fn require_positive(name: &'static str, value: f64) -> Result<(), Self> {
        if value.is_finite() && value > 0.0 {
            return Ok(());
        }
        Err(Self::Parameter {
            name,
            value,
            advice: "give a finite number above 0",
        })
    }

    /// `Ok` when every input of a coil is a number.
    pub(super) fn require_finite(
        inlet: MoistAir,
        air_kg_s: f64,
        outdoor_c: f64,
        speed: f64,
    ) -> Result<(), Self> {
        for (name, value) in [
            ("entering temperature (°C)", inlet.t_c),
            ("entering humidity ratio (kg/kg)", inlet.w),
            ("coil airflow (kg/s)", air_kg_s),
            ("outdoor temperature (°C)", outdoor_c),
            ("compressor speed", speed),
        ] {
            if !value.is_finite() {
                return Err(Self::NotFinite { name, value });
            }
        }
        Ok(())
    }
}

/// What the compressor is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Mode {
    /// Compressor stopped.
    #[default]
    Off,
    /// Heat out of the rooms.
    Cooling,
    /// Heat into the rooms.
    Heating,
}

/// What the controller asks of the unit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UnitCommand {
    /// Mode; [`Mode::Off`] stops the compressor.
    pub mode: Mode,
    /// Wanted compressor speed as a share of rated; 0 or less stops it.
    pub speed: f64,
}

/// What the unit breathes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitInlet {
    /// Air entering the coil, after mixing with relief air.
    pub air: MoistAir,
    /// Flow over the coil, kg/s of dry air; 0 when the fan stands.
    pub air_kg_s: f64,
    /// Outdoor temperature, °C.
    pub outdoor_c: f64,
}

/// Steady state of a running coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilState {
    /// Air leaving the coil, before fan heat.
    pub leaving: MoistAir,
    /// Mean temperature of the coil's surface, °C.
    pub surface_c: f64,
    /// Heat removed from the air, W.
    pub total_w: f64,
    /// Part of it that lowered the temperature, W.
    pub sensible_w: f64,
    /// Part of it that condensed moisture, W.
    pub latent_w: f64,
    /// Condensate, kg/s.
    pub condensate_kg_s: f64,
    /// Compressor and electronics, W.
    pub compressor_w: f64,
    /// True when an input was held at the edge of the data.
    pub beyond_map: bool,
    /// True when the coil stands at its surface limit and gives only what the air can take.
    pub at_limit: bool,
}

impl CoilState {
    /// A coil that leaves the air alone.
    pub(super) fn idle(inlet: MoistAir, surface_c: f64) -> Self {
        Self {
            leaving: inlet,
            surface_c,
            total_w: 0.0,
            sensible_w: 0.0,
            latent_w: 0.0,
            condensate_kg_s: 0.0,
            compressor_w: 0.0,
            beyond_map: false,
            at_limit: false,
        }
    }

    /// Heat flows from entering and leaving air; power and flags are left for the caller.
    ///
    /// Sensible heat is counted at the leaving humidity, so that sensible and latent add up to the
    /// enthalpy drop exactly. The heat carried off by the condensate is in the latent part.
    pub(super) fn between(
        inlet: MoistAir,
        leaving: MoistAir,
        air_kg_s: f64,
        surface_c: f64,
    ) -> Self {
        let dried_kg_s = air_kg_s * (inlet.w - leaving.w);
        let latent_w = dried_kg_s * (LATENT_HEAT_0C + CP_VAPOUR * inlet.t_c);
        let sensible_w = air_kg_s * leaving.specific_heat_j_kg_k() * (inlet.t_c - leaving.t_c);
        Self {
            leaving,
            total_w: sensible_w + latent_w,
            sensible_w,
            latent_w,
            condensate_kg_s: dried_kg_s.max(0.0),
            ..Self::idle(inlet, surface_c)
        }
    }

    /// Sensible share of the total heat; 1 when nothing is moved.
    pub fn sensible_share(&self) -> f64 {
        if self.total_w == 0.0 {
            1.0
        } else {
            self.sensible_w / self.total_w
        }
    }
}

/// What the unit did over a step: means over the step unless said otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitOutput {
    /// Air leaving the coil, before fan heat.
    pub leaving: MoistAir,
    /// Sensible heat removed from the air, W; negative in heating.
    pub sensible_w: f64,
    /// Latent heat removed from the air, W.
    pub latent_w: f64,
    /// Heat the running coil would remove without its start-up ramp, W; 0 while stopped. The gap
    /// to `sensible_w + latent_w`, summed over runs, is the cycling loss.
    pub steady_total_w: f64,
    /// Electric power without the indoor fan, W.
    pub power_w: f64,
    /// Coil surface temperature at the end of the step, °C.
    pub surface_c: f64,
    /// Condensate, kg/s.
    pub condensate_kg_s: f64,
    /// Actual compressor speed, share of rated; 0 while stopped.
    pub speed: f64,
    /// True when an input was held at the edge of the unit's data.
    pub beyond_map: bool,
    /// True when the coil stands at its surface limit.
    pub at_limit: bool,
}

impl UnitOutput {
    /// Heat removed from the air, W; negative in heating.
    pub fn total_w(&self) -> f64 {
        self.sensible_w + self.latent_w
    }
}

/// What the unit remembers from step to step.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UnitState {
    /// Running mode at the end of the last step.
    pub mode: Mode,
    /// Actual compressor speed, share of rated; 0 while stopped.
    pub speed: f64,
    /// Share of the steady output reached by the start-up ramp, 0 to 1; falls after a stop.
    pub delivered_fraction: f64,
    /// Seconds since the last start (running) or stop (stopped).
    pub in_mode_s: f64,
    /// Mode the ramp belongs to: the last one that ran.
    pub(super) ramp_mode: Mode,
    /// Steady leaving temperature of the last running step, °C.
    pub(super) steady_leaving_c: f64,
    /// Steady surface temperature of the last running step, °C.
    pub(super) steady_surface_c: f64,
    /// Warm start and bypass cache of the coil.
    pub(super) memory: CoilMemory,
}

/// A time step with the exponentials of the start-up ramp worked out once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitStep {
    pub(super) dt_s: f64,
    /// `e^(−dt/τ)`.
    pub(super) decay: f64,
    /// Mean of `e^(−t/τ)` over the step.
    pub(super) mean_decay: f64,
}

impl UnitStep {
    /// Length of the step, s.
    pub fn dt_s(&self) -> f64 {
        self.dt_s
    }
}
