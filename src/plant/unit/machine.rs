//! The unit through time: stages and speeds, start-up ramp, what is left after a stop.

use super::{
    CoilState, CoolingCoil, HeatingCurves, Mode, UnitCommand, UnitError, UnitInlet, UnitOutput,
    UnitState, UnitStep,
};
use crate::plant::air::{MoistAir, SaturationTable};

/// How the compressor can be run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum UnitKind {
    /// On at rated speed, or off.
    FixedSpeed,
    /// Off, a low stage, or rated speed.
    TwoStage {
        /// Low stage as a share of rated speed, inside (0, 1).
        low: f64,
    },
    /// Any speed between two limits, moving no faster than its slew.
    VariableSpeed {
        /// Lowest speed, share of rated; a run starts there.
        min: f64,
        /// Highest speed, share of rated.
        max: f64,
        /// Fastest change of speed, share of rated per second.
        slew_per_s: f64,
    },
}

impl UnitKind {
    /// A variable-speed compressor from 25 to 120 % of rated speed that needs 95 s from end to
    /// end. Range: 4:1 turndown and 110 to 120 % are common in the trade; slew:
    /// common practice, no source.
    pub const VARIABLE_GENERIC: Self = Self::VariableSpeed {
        min: 0.25,
        max: 1.2,
        slew_per_s: 0.01,
    };

    /// Lowest speed the compressor can hold, share of rated.
    pub fn lowest_speed(&self) -> f64 {
        match *self {
            Self::FixedSpeed => 1.0,
            Self::TwoStage { low } => low,
            Self::VariableSpeed { min, .. } => min,
        }
    }

    /// Highest speed the compressor can hold, share of rated.
    pub fn highest_speed(&self) -> f64 {
        match *self {
            Self::FixedSpeed | Self::TwoStage { .. } => 1.0,
            Self::VariableSpeed { max, .. } => max,
        }
    }

    /// The speed the compressor settles at for a wanted speed above 0.
    ///
    /// A two-stage unit runs its low stage for anything the low stage covers.
    pub fn target(&self, wanted: f64) -> f64 {
        match *self {
            Self::FixedSpeed => 1.0,
            Self::TwoStage { low } => {
                if wanted > low {
                    1.0
                } else {
                    low
                }
            }
            Self::VariableSpeed { min, max, .. } => wanted.clamp(min, max),
        }
    }

    fn next(&self, wanted: f64, now: f64, starting: bool, dt_s: f64) -> f64 {
        let target = self.target(wanted);
        match *self {
            Self::VariableSpeed {
                min, slew_per_s, ..
            } => {
                let from = if starting { min } else { now };
                let reach = slew_per_s * dt_s;
                target.clamp(from - reach, from + reach)
            }
            _ => target,
        }
    }

    fn check(&self) -> Result<(), UnitError> {
        let wrong = |name, value, advice| {
            Err(UnitError::Parameter {
                name,
                value,
                advice,
            })
        };
        match *self {
            Self::FixedSpeed => Ok(()),
            Self::TwoStage { low } if low > 0.0 && low < 1.0 => Ok(()),
            Self::TwoStage { low } => wrong("low stage", low, "give a share between 0 and 1"),
            Self::VariableSpeed {
                min,
                max,
                slew_per_s,
            } => {
                UnitError::require_positive("lowest compressor speed", min)?;
                UnitError::require_positive("compressor slew (1/s)", slew_per_s)?;
                if max.is_finite() && max >= min {
                    return Ok(());
                }
                wrong(
                    "highest compressor speed",
                    max,
                    "give a share at or above the lowest speed",
                )
            }
        }
    }
}

/// A conditioning unit without its fan.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    /// How the compressor can be run.
    pub kind: UnitKind,
    /// Cooling data, when the unit cools.
    pub cooling: Option<CoolingCoil>,
    /// Heating data, when the unit heats.
    pub heating: Option<HeatingCurves>,
    /// Time constant of the start-up ramp, s; 0 for none. 60 s (30 to 90) agrees with the rating
    /// practice of 6 min on, 24 min off and a degradation coefficient of 0.20 (AHRI 210/240, from
    /// memory).
    pub start_up_time_constant_s: f64,
    /// Share of the stored start-up capacity that comes back when the fan runs on after a stop.
    pub after_run_recovery: f64,
    /// Drawn while the compressor stands, W. While it runs it is inside the rated power.
    pub electronics_w: f64,
}

impl Unit {
    /// Default start-up time constant, s.
    pub const START_UP_S: f64 = 60.0;
    /// Default share given back after a stop. Own estimate: 10 kg of aluminium and copper 12 K
    /// below room air hold about 0.1 MJ, against τ·Q = 0.6 MJ for 10 kW and 60 s. The rest is
    /// refrigerant migration and is lost.
    pub const AFTER_RUN_RECOVERY: f64 = 0.2;
    /// Default standing draw, W (the electronics of the generic unit; own assumption).
    pub const ELECTRONICS_W: f64 = 30.0;

    /// The generic heat pump of a given rated cooling capacity in W, with default start-up.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] when the capacity is not positive or the kind is impossible.
    pub fn generic(rated_cooling_w: f64, kind: UnitKind) -> Result<Self, UnitError> {
        Self {
            kind,
            cooling: Some(CoolingCoil::generic(rated_cooling_w)?),
            heating: Some(HeatingCurves::generic(rated_cooling_w)?),
            start_up_time_constant_s: Self::START_UP_S,
            after_run_recovery: Self::AFTER_RUN_RECOVERY,
            electronics_w: Self::ELECTRONICS_W,
        }
        .checked()
    }

    /// The unit, once its figures are found usable.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] naming the first figure that is not.
    pub fn checked(self) -> Result<Self, UnitError> {
        self.kind.check()?;
        for (name, value, most) in [
            (
                "start-up time constant (s)",
                self.start_up_time_constant_s,
                f64::MAX,
            ),
            (
                "share given back after a stop",
                self.after_run_recovery,
                1.0,
            ),
            ("standing draw (W)", self.electronics_w, f64::MAX),
        ] {
            if !(0.0..=most).contains(&value) {
                let advice = "give a finite number that is not negative (a share: at most 1)";
                return Err(UnitError::Parameter {
                    name,
                    value,
                    advice,
                });
            }
        }
        Ok(self)
    }

    /// Works out the ramp's exponentials for a step of `dt_s` seconds, once for all such steps.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] when the step is not a positive number.
    pub fn prepared(&self, dt_s: f64) -> Result<UnitStep, UnitError> {
        UnitError::require_positive("time step (s)", dt_s)?;
        let tau_s = self.start_up_time_constant_s;
        let decay = (-dt_s / tau_s).exp();
        Ok(UnitStep {
            dt_s,
            decay,
            mean_decay: -(-dt_s / tau_s).exp_m1() * tau_s / dt_s,
        })
    }

    /// Steady state of the running unit at a speed it is already at.
    ///
    /// # Errors
    /// [`UnitError::NoSuchMode`] without data for the mode or for [`Mode::Off`]; otherwise as the
    /// coil's own solve.
    pub fn steady(
        &self,
        sat: &SaturationTable,
        mode: Mode,
        speed: f64,
        inlet: &UnitInlet,
        state: &mut UnitState,
    ) -> Result<CoilState, UnitError> {
        let UnitInlet {
            air,
            air_kg_s,
            outdoor_c,
        } = *inlet;
        let memory = &mut state.memory;
        match (mode, &self.cooling, &self.heating) {
            (Mode::Cooling, Some(coil), _) => {
                coil.solve(sat, air, air_kg_s, outdoor_c, speed, memory)
            }
            (Mode::Heating, _, Some(curves)) => {
                curves.solve(air, air_kg_s, outdoor_c, speed, memory)
            }
            _ => Err(UnitError::NoSuchMode(mode)),
        }
    }

    /// One step in time.
    ///
    /// While running, the delivered share rises as `1 − e^(−t/τ)` and the leaving air stands that
    /// far between entering and steady leaving air; power is drawn at once. Outputs are exact
    /// means over the step for an inlet held through it. After a stop the share falls with
    /// the same time constant; with the fan running, [`Self::after_run_recovery`] of it comes
    /// back as sensible heat, with the fan standing nothing does. A change between cooling and
    /// heating starts the ramp at 0.
    ///
    /// # Errors
    /// [`UnitError::NotFinite`] for inputs that are not numbers, [`UnitError::NoSuchMode`] for a
    /// mode without data.
    pub fn step(
        &self,
        sat: &SaturationTable,
        step: &UnitStep,
        command: &UnitCommand,
        inlet: &UnitInlet,
        state: &mut UnitState,
    ) -> Result<UnitOutput, UnitError> {
        UnitError::require_finite(inlet.air, inlet.air_kg_s, inlet.outdoor_c, command.speed)?;
        if command.mode == Mode::Off || command.speed <= 0.0 {
            Ok(self.rest(step, inlet, state))
        } else {
            self.run(sat, step, command, inlet, state)
        }
    }

    fn run(
        &self,
        sat: &SaturationTable,
        step: &UnitStep,
        command: &UnitCommand,
        inlet: &UnitInlet,
        state: &mut UnitState,
    ) -> Result<UnitOutput, UnitError> {
        let mode = command.mode;
        let starting = state.mode != mode;
        let speed = self
            .kind
            .next(command.speed, state.speed, starting, step.dt_s);
        let steady = self.steady(sat, mode, speed, inlet, state)?;
        if state.ramp_mode != mode {
            state.ramp_mode = mode;
            state.delivered_fraction = 0.0;
        }
        let missing = 1.0 - state.delivered_fraction;
        let share = 1.0 - missing * step.mean_decay;
        state.delivered_fraction = 1.0 - missing * step.decay;
        state.in_mode_s = if starting {
            step.dt_s
        } else {
            state.in_mode_s + step.dt_s
        };
        state.mode = mode;
        state.speed = speed;
        state.steady_leaving_c = steady.leaving.t_c;
        state.steady_surface_c = steady.surface_c;
        Ok(UnitOutput {
            leaving: MoistAir::mix(1.0 - share, inlet.air, share, steady.leaving),
            sensible_w: share * steady.sensible_w,
            latent_w: share * steady.latent_w,
            steady_total_w: steady.total_w,
            power_w: steady.compressor_w,
            surface_c: ramped_surface(inlet, state),
            condensate_kg_s: share * steady.condensate_kg_s,
            speed,
            beyond_map: steady.beyond_map,
            at_limit: steady.at_limit,
        })
    }

    fn rest(&self, step: &UnitStep, inlet: &UnitInlet, state: &mut UnitState) -> UnitOutput {
        let stopping = state.mode != Mode::Off;
        let share = self.after_run_recovery * state.delivered_fraction * step.mean_decay;
        state.delivered_fraction *= step.decay;
        state.in_mode_s = if stopping {
            step.dt_s
        } else {
            state.in_mode_s + step.dt_s
        };
        state.mode = Mode::Off;
        state.speed = 0.0;
        let air = inlet.air;
        let gap_k = state.steady_leaving_c - air.t_c;
        let rise_k = match state.ramp_mode {
            _ if inlet.air_kg_s <= 0.0 => 0.0,
            Mode::Off => 0.0,
            Mode::Cooling => share * gap_k.min(0.0),
            Mode::Heating => share * gap_k.max(0.0),
        };
        UnitOutput {
            leaving: MoistAir::new(air.t_c + rise_k, air.w),
            sensible_w: -inlet.air_kg_s.max(0.0) * air.specific_heat_j_kg_k() * rise_k,
            latent_w: 0.0,
            steady_total_w: 0.0,
            power_w: self.electronics_w,
            surface_c: ramped_surface(inlet, state),
            condensate_kg_s: 0.0,
            speed: 0.0,
            beyond_map: false,
            at_limit: false,
        }
    }
}

/// Surface on its way between the entering air and its steady temperature, °C.
fn ramped_surface(inlet: &UnitInlet, state: &UnitState) -> f64 {
    inlet.air.t_c + state.delivered_fraction * (state.steady_surface_c - inlet.air.t_c)
}
