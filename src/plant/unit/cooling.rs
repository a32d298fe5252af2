//! Cooling coil by surface temperature: one scalar root a step.
//!
//! The refrigerant side gives what the circuit can lift at a surface temperature, the air side
//! gives what the air would hand over at it. Both meet at one temperature, which is also what a
//! freeze cut-out sees. The form stays valid with relief air, low flow, a dry coil and low speed.
//! The refrigerant fit is our own; the air side is the apparatus-dew-point textbook method.

use super::{Airflow, BypassLaw, CoilState, SurfaceMap, UnitError};
use crate::plant::air::{CP_VAPOUR, LATENT_HEAT_0C, MoistAir, SaturationTable};

/// Lowest surface temperature the solve looks at, °C; a coil there has long iced and tripped.
pub(crate) const SURFACE_FLOOR_C: f64 = -10.0;
/// Smallest gap between entering air and surface, K.
const SMALLEST_GAP_K: f64 = 0.01;
/// The root is taken as found when the next move is smaller than this, K.
const TOLERANCE_K: f64 = 1e-8;
/// More than any bracketed search can need.
const MOST_TRIES: usize = 100;
/// Rated dry-air flow per rated kilowatt, kg/s: 0.050 m³/s per kW (180 m³/h per kW), inside the
/// usual 350 to 400 cfm per ton.
pub(crate) const AIR_KG_S_PER_KW: f64 = 0.0602;

/// What a coil remembers between steps to start its next solve close by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilMemory {
    /// Surface temperature of the last solve, °C.
    pub surface_c: f64,
    /// Flow with its bypass factor.
    pub airflow: Airflow,
}

impl Default for CoilMemory {
    fn default() -> Self {
        Self {
            surface_c: 12.0,
            airflow: Airflow::default(),
        }
    }
}

/// A direct-expansion cooling coil with its refrigerant circuit.
#[derive(Debug, Clone, PartialEq)]
pub struct CoolingCoil {
    rated_total_w: f64,
    rated_compressor_w: f64,
    bypass: BypassLaw,
    map: SurfaceMap,
}

impl CoolingCoil {
    /// A coil from its rating point (27 °C dry bulb, 19 °C wet bulb inside, 35 °C outside).
    ///
    /// `rated_total_w` and `rated_compressor_w` in W; the power counts compressor and electronics
    /// but no fan. `bypass` holds the rated airflow and bypass factor.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] when a figure is not positive or the map cannot be solved.
    pub fn new(
        rated_total_w: f64,
        rated_compressor_w: f64,
        bypass: BypassLaw,
        map: SurfaceMap,
    ) -> Result<Self, UnitError> {
        UnitError::require_positive("rated cooling capacity (W)", rated_total_w)?;
        UnitError::require_positive("rated compressor power (W)", rated_compressor_w)?;
        map.check()?;
        Ok(Self {
            rated_total_w,
            rated_compressor_w,
            bypass,
            map,
        })
    }

    /// The generic coil of a given rated capacity in W: power 0.2415 W/W, 0.0602 kg/s of dry air
    /// per kW, bypass factor 0.15, [`SurfaceMap::GENERIC`].
    ///
    /// # Errors
    /// [`UnitError::Parameter`] when the capacity is not positive.
    pub fn generic(rated_total_w: f64) -> Result<Self, UnitError> {
        UnitError::require_positive("rated cooling capacity (W)", rated_total_w)?;
        let bypass = BypassLaw::new(AIR_KG_S_PER_KW * rated_total_w / 1000.0, 0.15)?;
        Self::new(
            rated_total_w,
            0.2415 * rated_total_w,
            bypass,
            SurfaceMap::GENERIC,
        )
    }

    /// Rated total capacity, W.
    pub fn rated_total_w(&self) -> f64 {
        self.rated_total_w
    }

    /// Rated compressor power with electronics, W.
    pub fn rated_compressor_w(&self) -> f64 {
        self.rated_compressor_w
    }

    /// Rated airflow and bypass factor.
    pub fn bypass(&self) -> &BypassLaw {
        &self.bypass
    }

    /// Steady state of the running coil.
    ///
    /// `air_kg_s` is dry air; `outdoor_c` in °C; `speed` is the compressor's, 1 = rated.
    /// In still air nothing is removed and the surface is reported at its floor. When the air
    /// cannot warm the surface above the floor the coil gives what the air can give there.
    ///
    /// # Errors
    /// [`UnitError::NotFinite`] for inputs that are not numbers.
    pub fn solve(
        &self,
        sat: &SaturationTable,
        inlet: MoistAir,
        air_kg_s: f64,
        outdoor_c: f64,
        speed: f64,
        memory: &mut CoilMemory,
    ) -> Result<CoilState, UnitError> {
        UnitError::require_finite(inlet, air_kg_s, outdoor_c, speed)?;
        memory.airflow.refresh(&self.bypass, air_kg_s);
        let flow = memory.airflow;
        let slice = self.map.slice(outdoor_c, speed);
        let top = inlet.t_c - SMALLEST_GAP_K;
        if flow.is_still() || top <= SURFACE_FLOOR_C {
            let surface_c = SURFACE_FLOOR_C.min(inlet.t_c);
            memory.surface_c = surface_c;
            return Ok(CoilState {
                compressor_w: self.rated_compressor_w * slice.power(surface_c),
                beyond_map: true,
                at_limit: true,
                ..CoilState::idle(inlet, surface_c)
            });
        }
        let (contact, h_in) = (flow.contact_kg_s(), inlet.enthalpy_j_kg());
        let surplus = |t: f64| {
            let (h_surface, h_slope) = surface_enthalpy(sat, inlet.w, t);
            let (q, q_slope) = slice.total(t);
            (
                contact * (h_in - h_surface) - self.rated_total_w * q,
                -contact * h_slope - self.rated_total_w * q_slope,
            )
        };
        let (surface_c, at_limit) = falling_root(surplus, top, memory.surface_c)?;
        memory.surface_c = surface_c;
        let surface = MoistAir::new(surface_c, inlet.w.min(sat.w_sat(surface_c)));
        let leaving = MoistAir::mix(1.0 - flow.bypass(), surface, flow.bypass(), inlet);
        Ok(CoilState {
            compressor_w: self.rated_compressor_w * slice.power(surface_c),
            beyond_map: slice.is_outside(surface_c),
            at_limit,
            ..CoilState::between(inlet, leaving, air_kg_s, surface_c)
        })
    }
}

/// Enthalpy (J/kg dry air) of air brought to the surface, and its slope per kelvin.
///
/// A surface above the dew point leaves the humidity alone, so the dry and the wet branch are one
/// expression and meet without a jump.
fn surface_enthalpy(sat: &SaturationTable, w_in: f64, t_c: f64) -> (f64, f64) {
    let w_sat = sat.w_sat(t_c);
    let wet_slope = if w_sat < w_in {
        sat.w_sat_slope_per_k(t_c)
    } else {
        0.0
    };
    let air = MoistAir::new(t_c, w_sat.min(w_in));
    let per_w = LATENT_HEAT_0C + CP_VAPOUR * t_c;
    (
        air.enthalpy_j_kg(),
        air.specific_heat_j_kg_k() + per_w * wet_slope,
    )
}

/// Root of a falling function between the floor and `top`, by Newton steps kept inside a bracket
/// that shrinks at every look. Returns the root, and whether it is the floor.
fn falling_root(
    f: impl Fn(f64) -> (f64, f64),
    top: f64,
    start: f64,
) -> Result<(f64, bool), UnitError> {
    let (mut low, mut high) = (SURFACE_FLOOR_C, top);
    let mut floor_is_open = true;
    let mut t = if start > low && start < high {
        start
    } else {
        0.5 * (low + high)
    };
    for _ in 0..MOST_TRIES {
        let (value, slope) = f(t);
        if value > 0.0 {
            low = t;
            floor_is_open = false;
        } else {
            high = t;
        }
        if t == SURFACE_FLOOR_C && value <= 0.0 {
            return Ok((t, true));
        }
        let newton = t - value / slope;
        let next = if newton > low && newton < high {
            newton
        } else if newton <= low && floor_is_open {
            SURFACE_FLOOR_C
        } else {
            0.5 * (low + high)
        };
        if (next - t).abs() < TOLERANCE_K {
            return Ok((next, false));
        }
        t = next;
    }
    Err(UnitError::NotConverged {
        what: "the coil surface temperature",
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::air::STANDARD_PRESSURE;

    fn inlet() -> MoistAir {
        MoistAir::from_relative_humidity(24.0, 0.5, STANDARD_PRESSURE)
    }

    #[test]
    fn the_start_of_the_search_does_not_move_the_root() {
        let sat = SaturationTable::new(STANDARD_PRESSURE);
        let coil = CoolingCoil::generic(10_000.0).unwrap();
        for (air, speed) in [(0.6, 1.0), (0.2, 1.0), (0.05, 1.0), (0.3, 0.25), (0.7, 1.2)] {
            let roots = [-50.0, -9.9, 0.0, 7.0, 15.0, 23.9, 80.0, f64::NAN].map(|surface_c| {
                let mut memory = CoilMemory {
                    surface_c,
                    ..Default::default()
                };
                coil.solve(&sat, inlet(), air, 35.0, speed, &mut memory)
                    .unwrap()
                    .surface_c
            });
            for root in roots {
                assert!((root - roots[0]).abs() < 1e-6, "{air} {speed}: {roots:?}");
            }
        }
    }

    #[test]
    fn still_and_nearly_still_air_stay_finite() {
        let sat = SaturationTable::new(STANDARD_PRESSURE);
        let coil = CoolingCoil::generic(10_000.0).unwrap();
        for air in [0.0, -0.1, 1e-300, 1e-9, 1e-6, 1e-3, 0.02] {
            let mut memory = CoilMemory::default();
            let state = coil
                .solve(&sat, inlet(), air, 35.0, 1.0, &mut memory)
                .unwrap();
            assert!(
                state.at_limit && state.surface_c == SURFACE_FLOOR_C,
                "{air}: {state:?}"
            );
            assert!(state.leaving.t_c.is_finite() && state.compressor_w > 0.0);
            assert!(
                state.total_w >= 0.0 && state.total_w <= 80_000.0 * air.max(0.0),
                "{state:?}"
            );
        }
    }

    #[test]
    fn air_colder_than_the_floor_is_left_alone() {
        let sat = SaturationTable::new(STANDARD_PRESSURE);
        let coil = CoolingCoil::generic(10_000.0).unwrap();
        let cold = MoistAir::new(-15.0, 0.0005);
        let state = coil
            .solve(&sat, cold, 0.6, 20.0, 1.0, &mut CoilMemory::default())
            .unwrap();
        assert_eq!(
            (state.total_w, state.leaving, state.surface_c),
            (0.0, cold, -15.0)
        );
    }

    #[test]
    fn a_warm_start_needs_few_looks() {
        // The per-step price: from the last root, a small change of inlet costs a handful.
        let looks = std::cell::Cell::new(0);
        let sat = SaturationTable::new(STANDARD_PRESSURE);
        let f = |t: f64| {
            looks.set(looks.get() + 1);
            let (h, slope) = surface_enthalpy(&sat, 0.0093, t);
            (
                0.51 * (47_800.0 - h) - 9400.0 - 270.0 * (t - 10.0),
                -0.51 * slope - 270.0,
            )
        };
        let (root, _) = falling_root(f, 24.0, 12.0).unwrap();
        looks.set(0);
        let (again, floor) = falling_root(f, 24.0, root + 0.05).unwrap();
        assert!((again - root).abs() < 1e-7 && !floor);
        assert!(looks.get() <= 4, "{}", looks.get());
    }
}
