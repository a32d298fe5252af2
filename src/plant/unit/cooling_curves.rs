//! Cooling by rating curves: the data-sheet path.
//!
//! `Q = Q_r · f_T(EWB, ODB) · f_F(ff)`, `P = P_r · g_T · g_F`, then the apparatus-dew-point split
//! into sensible and latent. The curve form is that of NREL/TP-5500-56354 (from memory; own fits;
//! textbook method). The time step uses [`CoolingCoil`](super::CoolingCoil) instead, which stays
//! valid further out. These functions bisect; they are for set-up and studies.

use super::cooling::AIR_KG_S_PER_KW;
use super::{Biquadratic, BypassLaw, CoilState, CubicModifier, Range, UnitError};
use crate::plant::air::{MoistAir, SaturationTable};

/// Lowest apparatus dew point looked for, °C.
const LOWEST_ADP_C: f64 = -40.0;

/// Cooling data of a unit as rating curves at rated speed.
#[derive(Debug, Clone, PartialEq)]
pub struct CoolingCurves {
    /// Rated total capacity, W.
    pub rated_total_w: f64,
    /// Rated compressor power with electronics, W.
    pub rated_compressor_w: f64,
    /// Rated airflow and bypass factor.
    pub bypass: BypassLaw,
    /// Capacity against entering wet bulb (x) and outdoor dry bulb (y), °C.
    pub capacity_temperature: Biquadratic,
    /// Power against the same.
    pub power_temperature: Biquadratic,
    /// Capacity against flow as a share of rated.
    pub capacity_flow: CubicModifier,
    /// Power against the same.
    pub power_flow: CubicModifier,
}

impl CoolingCurves {
    /// The generic unit of a given rated capacity in W.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] when the capacity is not positive.
    pub fn generic(rated_total_w: f64) -> Result<Self, UnitError> {
        UnitError::require_positive("rated cooling capacity (W)", rated_total_w)?;
        let temperature = |a| Biquadratic {
            x_rated: 19.0,
            y_rated: 35.0,
            a,
            x_range: Range::new(8.0, 24.0),
            y_range: Range::new(18.0, 46.0),
        };
        let flow = |b| CubicModifier {
            b,
            range: Range::new(0.3, 1.2),
        };
        Ok(Self {
            rated_total_w,
            rated_compressor_w: 0.2415 * rated_total_w,
            bypass: BypassLaw::new(AIR_KG_S_PER_KW * rated_total_w / 1000.0, 0.15)?,
            capacity_temperature: temperature([
                0.0291798,
                3.36406e-4,
                -0.00721306,
                -3.03458e-5,
                -1.73754e-4,
            ]),
            power_temperature: temperature([
                0.00537196, 2.86706e-5, 0.0232767, 1.59532e-4, 1.94006e-4,
            ]),
            capacity_flow: flow([0.104117, -0.0540815, 0.441125]),
            power_flow: flow([0.0222464, 0.00958817, 0.0945003]),
        })
    }

    /// Total capacity in W at an entering wet bulb, an outdoor dry bulb (°C) and a flow share;
    /// `outside` becomes true when one was held at the edge of its curve.
    pub fn total_w(&self, wet_bulb_c: f64, outdoor_c: f64, flow: f64, outside: &mut bool) -> f64 {
        self.rated_total_w
            * self.capacity_temperature.at(wet_bulb_c, outdoor_c, outside)
            * self.capacity_flow.at(flow, outside)
    }

    /// Compressor power in W; arguments as for [`total_w`](Self::total_w).
    pub fn power_w(&self, wet_bulb_c: f64, outdoor_c: f64, flow: f64, outside: &mut bool) -> f64 {
        self.rated_compressor_w
            * self.power_temperature.at(wet_bulb_c, outdoor_c, outside)
            * self.power_flow.at(flow, outside)
    }

    /// Steady state at rated speed, `air_kg_s` of dry air.
    ///
    /// Entering air too dry for the coil to condense anything is outside the meaning of a curve in
    /// wet bulb. The capacity is then read at the humidity `w*` at which the coil would
    /// just start to condense, and all of it is sensible.
    ///
    /// # Errors
    /// [`UnitError::NotFinite`] for inputs that are not numbers, [`UnitError::Parameter`] for no
    /// flow, [`UnitError::NotConverged`] when the apparatus dew point would lie below −40 °C.
    pub fn solve(
        &self,
        sat: &SaturationTable,
        inlet: MoistAir,
        air_kg_s: f64,
        outdoor_c: f64,
    ) -> Result<CoilState, UnitError> {
        UnitError::require_finite(inlet, air_kg_s, outdoor_c, 1.0)?;
        UnitError::require_positive("coil airflow (kg/s)", air_kg_s)?;
        let flow = air_kg_s / self.bypass.rated_air_kg_s();
        let bypass = self.bypass.bypass_factor(air_kg_s);
        let at = |w: f64, outside: &mut bool| {
            let air = MoistAir::new(inlet.t_c, w);
            let wet_bulb_c = air.wet_bulb_c(sat.pressure_pa());
            let total_w = self.total_w(wet_bulb_c, outdoor_c, flow, outside);
            adp_split(sat, air, total_w, air_kg_s, bypass).map(|s| (wet_bulb_c, total_w, s))
        };
        let mut outside = false;
        let (mut wet_bulb_c, _, mut split) = at(inlet.w, &mut outside)?;
        if split.dry {
            let (mut low, mut high) = (inlet.w, sat.w_sat(inlet.t_c));
            while high - low > 1e-10 {
                let middle = 0.5 * (low + high);
                if at(middle, &mut outside)?.2.dry {
                    low = middle
                } else {
                    high = middle
                }
            }
            outside = false;
            let total_w;
            (wet_bulb_c, total_w, _) = at(high, &mut outside)?;
            split = AdpSplit::sensible_only(inlet, total_w, air_kg_s, bypass);
        }
        Ok(CoilState {
            compressor_w: self.power_w(wet_bulb_c, outdoor_c, flow, &mut outside),
            beyond_map: outside,
            ..CoilState::between(inlet, split.leaving, air_kg_s, split.adp_c)
        })
    }
}

/// Sensible and latent split of a known total capacity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AdpSplit {
    /// Apparatus dew point, °C: the temperature of the surface that would do it.
    pub adp_c: f64,
    /// Air leaving the coil.
    pub leaving: MoistAir,
    /// Sensible share of the total heat.
    pub sensible_share: f64,
    /// True when the surface is too warm to condense from this air: the split is all sensible.
    pub dry: bool,
}

impl AdpSplit {
    /// All of the capacity as temperature drop.
    fn sensible_only(inlet: MoistAir, total_w: f64, air_kg_s: f64, bypass: f64) -> Self {
        let drop_k = total_w / (air_kg_s * inlet.specific_heat_j_kg_k());
        Self {
            adp_c: inlet.t_c - drop_k / (1.0 - bypass),
            leaving: MoistAir::new(inlet.t_c - drop_k, inlet.w),
            sensible_share: 1.0,
            dry: true,
        }
    }
}

/// Splits a total capacity (W) by apparatus dew point and bypass factor.
///
/// `h_adp = h_in − Q/(ṁ(1−BF))` on the saturation line, then
/// `leaving = adp + BF·(inlet − adp)` in enthalpy and humidity.
///
/// # Errors
/// [`UnitError::Parameter`] when flow or bypass factor cannot be used,
/// [`UnitError::NotConverged`] when the apparatus dew point would lie below −40 °C.
pub fn adp_split(
    sat: &SaturationTable,
    inlet: MoistAir,
    total_w: f64,
    air_kg_s: f64,
    bypass: f64,
) -> Result<AdpSplit, UnitError> {
    UnitError::require_positive("coil airflow (kg/s)", air_kg_s)?;
    UnitError::require_positive("share of air that touches the coil", 1.0 - bypass)?;
    let h_in = inlet.enthalpy_j_kg();
    let h_adp = h_in - total_w / (air_kg_s * (1.0 - bypass));
    let (mut low, mut high) = (LOWEST_ADP_C, inlet.t_c);
    if sat.h_sat(low) > h_adp {
        return Err(UnitError::NotConverged {
            what: "the apparatus dew point",
        });
    }
    while high - low > 1e-10 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if sat.h_sat(middle) < h_adp {
            low = middle
        } else {
            high = middle
        }
    }
    let adp = MoistAir::new(low, sat.w_sat(low));
    if adp.w >= inlet.w {
        return Ok(AdpSplit::sensible_only(inlet, total_w, air_kg_s, bypass));
    }
    let leaving = MoistAir::mix(1.0 - bypass, adp, bypass, inlet);
    let sensible = MoistAir::new(inlet.t_c, adp.w).enthalpy_j_kg() - h_adp;
    Ok(AdpSplit {
        adp_c: adp.t_c,
        leaving,
        sensible_share: (sensible / (h_in - h_adp)).min(1.0),
        dry: false,
    })
}
