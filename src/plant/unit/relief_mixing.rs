//! Relief air returned to the coil: closed-form steady states, and the real unit settled.
//!
//! The relief share `x` is relief flow over *coil* flow. Relief flow over room flow `r` gives
//! `x = r/(1 + r)`.

use super::{Mode, Unit, UnitError, UnitInlet, UnitState};
use crate::plant::air::{CP_DRY_AIR, MoistAir, SaturationTable};

/// A coil that takes the same temperature drop whatever comes in: the pessimistic hand formula.
///
/// Return air, outdoor air and relief air mix before the coil. Steady state of
/// `T_mix = (1−x−y)·T_return + x·T_supply + y·T_outdoor`, `T_supply = T_mix − ΔT + δ`
/// (own derivation).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ConstantDuty {
    /// Return air from the rooms, °C.
    pub return_c: f64,
    /// Outdoor air, °C.
    pub outdoor_c: f64,
    /// Relief flow over coil flow, 0 to below 1.
    pub relief_share: f64,
    /// Outdoor flow over coil flow, 0 to 1.
    pub outdoor_share: f64,
    /// Temperature drop over the coil, `Q/(ṁ·cp)`, K; negative in heating.
    pub coil_drop_k: f64,
    /// Temperature rise over the fan, K.
    pub fan_rise_k: f64,
}

impl ConstantDuty {
    /// Return air only, no outdoor air, no fan heat.
    pub fn plain(return_c: f64, coil_drop_k: f64, relief_share: f64) -> Self {
        let (outdoor_c, outdoor_share, fan_rise_k) = (return_c, 0.0, 0.0);
        Self {
            return_c,
            outdoor_c,
            relief_share,
            outdoor_share,
            coil_drop_k,
            fan_rise_k,
        }
    }

    /// Air entering the coil, °C. Without bound as the share nears 1.
    pub fn mixed_c(&self) -> f64 {
        let (x, y) = (self.relief_share, self.outdoor_share);
        ((1.0 - x - y) * self.return_c + y * self.outdoor_c
            - x * (self.coil_drop_k - self.fan_rise_k))
            / (1.0 - x)
    }

    /// Supply air, °C.
    pub fn supply_c(&self) -> f64 {
        self.mixed_c() - self.coil_drop_k + self.fan_rise_k
    }

    /// Supply air after each pass through the loop: every pass brings the gap to the steady state
    /// down by the factor `x`. Pass 0 is `first_supply_c`.
    pub fn supply_after_c(&self, first_supply_c: f64, passes: i32) -> f64 {
        let end_c = self.supply_c();
        end_c + self.relief_share.powi(passes) * (first_supply_c - end_c)
    }
}

/// Relief share at which a constant-duty coil's supply air meets a trip temperature,
/// `1 − ΔT/(T_return − T_trip)`. Negative when it trips without any relief.
pub fn constant_duty_trip_share(return_c: f64, coil_drop_k: f64, trip_c: f64) -> f64 {
    1.0 - coil_drop_k / (return_c - trip_c)
}

/// Most sensible heat (W) that room air can carry before the supply reaches a trip temperature:
/// heat capacity rate of the flow that reaches *rooms* (W/K) times the temperature gap. Relief
/// does not raise it.
pub fn room_limit_w(room_w_k: f64, return_c: f64, trip_c: f64) -> f64 {
    room_w_k * (return_c - trip_c)
}

/// Supply temperature (°C) of a dry coil with a fixed surface temperature and bypass factor:
/// `T_c + BF(1−x)(T_r − T_c)/(1 − BF·x)`.
pub fn fixed_surface_supply_c(return_c: f64, surface_c: f64, bypass: f64, x: f64) -> f64 {
    surface_c + bypass * (1.0 - x) * (return_c - surface_c) / (1.0 - bypass * x)
}

/// Coil entering temperature (°C) of the same coil.
pub fn fixed_surface_mixed_c(return_c: f64, surface_c: f64, bypass: f64, x: f64) -> f64 {
    (1.0 - x) * return_c + x * fixed_surface_supply_c(return_c, surface_c, bypass, x)
}

/// What is held while the unit settles with relief air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settling {
    /// Air coming back from the rooms.
    pub return_air: MoistAir,
    /// Outdoor temperature, °C.
    pub outdoor_c: f64,
    /// Flow over the coil, kg/s of dry air.
    pub air_kg_s: f64,
    /// Mode.
    pub mode: Mode,
    /// Compressor speed, share of rated.
    pub speed: f64,
    /// Relief flow over coil flow, 0 to below 1.
    pub relief_share: f64,
    /// Heat from the fan into the supply air, W.
    pub fan_heat_w: f64,
}

/// The unit settled with relief air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settled {
    /// Air entering the coil.
    pub mixed: MoistAir,
    /// Air leaving the fan: what rooms and relief get.
    pub supply: MoistAir,
    /// Coil surface temperature, °C.
    pub surface_c: f64,
    /// Heat removed from the air by the coil, W; negative in heating.
    pub total_w: f64,
    /// Compressor and electronics, W.
    pub power_w: f64,
    /// Sensible heat removed from the rooms, W, counted with the return air's specific heat.
    pub room_sensible_w: f64,
    /// The same with the specific heat of dry air only, as hand calculations do (about 2 % less).
    pub room_sensible_dry_w: f64,
    /// True when an input was held at the edge of the unit's data.
    pub beyond_map: bool,
    /// True when the coil stands at its surface limit.
    pub at_limit: bool,
}

impl Settled {
    /// Heat moved by the coil per electric energy of the compressor; EER (in W/W) or COP.
    pub fn efficiency(&self) -> f64 {
        self.total_w.abs() / self.power_w
    }
}

/// More passes than any share below 0.99 needs.
const MOST_PASSES: usize = 5000;

/// Steady state of a unit with a share of its supply led back to its inlet.
///
/// Enthalpy and humidity are mixed, not temperature alone. Each pass brings the error down by
/// about the relief share, so plain repetition converges for every share below 1.
///
/// # Errors
/// [`UnitError::Parameter`] for a share outside [0, 1) or no flow; otherwise as [`Unit::steady`].
pub fn settle(unit: &Unit, sat: &SaturationTable, held: &Settling) -> Result<Settled, UnitError> {
    let x = held.relief_share;
    if !(0.0..1.0).contains(&x) {
        let advice = "give relief over coil flow, from 0 to below 1";
        return Err(UnitError::Parameter {
            name: "relief share",
            value: x,
            advice,
        });
    }
    UnitError::require_positive("coil airflow (kg/s)", held.air_kg_s)?;
    let mut state = UnitState::default();
    let mut supply = held.return_air;
    for _ in 0..MOST_PASSES {
        let mixed = MoistAir::mix(1.0 - x, held.return_air, x, supply);
        let inlet = UnitInlet {
            air: mixed,
            air_kg_s: held.air_kg_s,
            outdoor_c: held.outdoor_c,
        };
        let coil = unit.steady(sat, held.mode, held.speed, &inlet, &mut state)?;
        let fan_rise_k = held.fan_heat_w / (held.air_kg_s * coil.leaving.specific_heat_j_kg_k());
        let next = MoistAir::new(coil.leaving.t_c + fan_rise_k, coil.leaving.w);
        let moved = (next.t_c - supply.t_c).abs() + 2500.0 * (next.w - supply.w).abs();
        supply = next;
        if moved < 1e-7 * (1.0 - x) {
            let room_kg_s = (1.0 - x) * held.air_kg_s;
            let drop_k = held.return_air.t_c - supply.t_c;
            return Ok(Settled {
                mixed,
                supply,
                surface_c: coil.surface_c,
                total_w: coil.total_w,
                power_w: coil.compressor_w,
                room_sensible_w: room_kg_s * held.return_air.specific_heat_j_kg_k() * drop_k,
                room_sensible_dry_w: room_kg_s * CP_DRY_AIR * drop_k,
                beyond_map: coil.beyond_map,
                at_limit: coil.at_limit,
            });
        }
    }
    Err(UnitError::NotConverged {
        what: "the unit with this relief share",
    })
}
