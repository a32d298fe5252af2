//! Moist air: pressure, humidity, enthalpy, dew point, wet bulb.
//!
//! The perfect-gas forms of the ASHRAE Handbook of Fundamentals, chapter 1 (saturation pressure
//! after Hyland and Wexler). They leave out the enhancement factor, so humidity ratios are about
//! 0.5 % below those of real moist air near room conditions.
//!
//! Humidity ratio `w` is in kg of vapour per kg of dry air; enthalpies are in joules per kg of
//! *dry* air, with zero at 0 °C dry air and 0 °C liquid water.

/// Specific heat of dry air, J/(kg K).
pub(crate) const CP_DRY_AIR: f64 = 1006.0;
/// Specific heat of water vapour, J/(kg K).
pub(crate) const CP_VAPOUR: f64 = 1860.0;
/// Enthalpy of saturated vapour at 0 °C, J/kg.
pub(crate) const LATENT_HEAT_0C: f64 = 2_501_000.0;
/// Density of standard air, kg/m³: the density at which air flows and fan curves are rated.
pub(crate) const RHO_REF: f64 = 1.2;
/// Pressure of the standard atmosphere at sea level, Pa.
pub const STANDARD_PRESSURE: f64 = 101_325.0;

/// Ratio of the molar masses of water and dry air.
const MOLAR_RATIO: f64 = 0.621_945;
/// Gas constant of dry air, J/(kg K).
const GAS_CONSTANT: f64 = 287.042;
/// Vapour never takes more than this share of the total pressure, so that `w` stays finite.
const MAX_VAPOUR_SHARE: f64 = 0.99;
/// Range of the saturation formulae, °C.
const FORMULA_RANGE_C: (f64, f64) = (-100.0, 200.0);

/// Pressure of the standard atmosphere at an altitude, Pa (ASHRAE Fundamentals ch. 1, eq. 3).
#[must_use]
pub(crate) fn standard_pressure_pa(altitude_m: f64) -> f64 {
    STANDARD_PRESSURE * (1.0 - 2.255_77e-5 * altitude_m).max(0.0).powf(5.2559)
}

/// Saturation pressure of water vapour at `t_c` °C, Pa: over ice below 0 °C, over liquid from
/// 0 °C up. Temperatures outside −100…200 °C are taken as the nearer end.
///
/// The two branches differ by 0.01 % at 0 °C.
#[must_use]
pub(crate) fn saturation_pressure_pa(t_c: f64) -> f64 {
    if t_c < 0.0 {
        over_ice_pa(t_c)
    } else {
        over_liquid_pa(t_c)
    }
}

fn over_ice_pa(t_c: f64) -> f64 {
    let t = t_c.max(FORMULA_RANGE_C.0) + 273.15;
    (-5674.5359 / t
        + 6.392_524_7
        + t * (-0.009_677_843 + t * (6.221_570_1e-7 + t * (2.074_782_5e-9 - t * 9.484_024e-13)))
        + 4.163_501_9 * t.ln())
    .exp()
}

fn over_liquid_pa(t_c: f64) -> f64 {
    let t = t_c.min(FORMULA_RANGE_C.1) + 273.15;
    (-5800.2206 / t
        + 1.391_499_3
        + t * (-0.048_640_239 + t * (4.176_476_8e-5 - t * 1.445_209_3e-8))
        + 6.545_967_3 * t.ln())
    .exp()
}

/// Humidity ratio of air whose vapour pressure is `vapour_pa`, at total pressure `p_pa`, kg/kg.
#[must_use]
pub(crate) fn humidity_ratio_of_vapour(vapour_pa: f64, p_pa: f64) -> f64 {
    let vapour_pa = vapour_pa.min(MAX_VAPOUR_SHARE * p_pa);
    MOLAR_RATIO * vapour_pa / (p_pa - vapour_pa)
}

/// Humidity ratio of air at `t_c` °C, relative humidity `rh` (0 to 1) and pressure `p_pa`, kg/kg.
#[must_use]
pub(crate) fn humidity_ratio(rh: f64, t_c: f64, p_pa: f64) -> f64 {
    humidity_ratio_of_vapour(rh * saturation_pressure_pa(t_c), p_pa)
}

/// Relative humidity (0 to 1) of air at `t_c` °C with humidity ratio `w`, at pressure `p_pa`.
///
/// Above 1 where the air carries more than it can hold (fog).
#[must_use]
pub(crate) fn relative_humidity(w: f64, t_c: f64, p_pa: f64) -> f64 {
    vapour_pressure_pa(w, p_pa) / saturation_pressure_pa(t_c)
}

/// Partial pressure of the vapour in air of humidity ratio `w` at pressure `p_pa`, Pa.
#[must_use]
pub(crate) fn vapour_pressure_pa(w: f64, p_pa: f64) -> f64 {
    p_pa * w / (MOLAR_RATIO + w)
}

/// Dew point (frost point below 0 °C) of air with humidity ratio `w` at `p_pa`, °C.
///
/// Bracketed between −100 and 200 °C; perfectly dry air gives −100. For reports: it bisects.
#[must_use]
pub(crate) fn dew_point_c(w: f64, p_pa: f64) -> f64 {
    let vapour_pa = vapour_pressure_pa(w, p_pa);
    bisect(FORMULA_RANGE_C.0, FORMULA_RANGE_C.1, |t| {
        saturation_pressure_pa(t) - vapour_pa
    })
}

/// Thermodynamic wet-bulb temperature of air at `t_c` °C with humidity ratio `w` at `p_pa`, °C.
///
/// ASHRAE Fundamentals ch. 1, eqs 33 (over water) and 35 (over ice). Bracketed between the dew
/// point and the dry bulb; saturated or foggy air gives its own temperature. It bisects.
#[must_use]
pub(crate) fn wet_bulb_c(t_c: f64, w: f64, p_pa: f64) -> f64 {
    if relative_humidity(w, t_c, p_pa) >= 1.0 {
        return t_c;
    }
    bisect(dew_point_c(w, p_pa).min(t_c), t_c, |wet| {
        let w_sat = humidity_ratio(1.0, wet, p_pa);
        let drop = 1.006 * (t_c - wet);
        let w_implied = if wet < 0.0 {
            ((2830.0 - 0.24 * wet) * w_sat - drop) / (2830.0 + 1.86 * t_c - 2.1 * wet)
        } else {
            ((2501.0 - 2.326 * wet) * w_sat - drop) / (2501.0 + 1.86 * t_c - 4.186 * wet)
        };
        w_implied - w
    })
}

/// The zero of a rising function in `[low, high]`; an end of the bracket if it lies beyond. Copes
/// with the jumps that the formulae have at 0 °C.
fn bisect(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    while high - low > 1e-10 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if f(middle) < 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    0.5 * (low + high)
}

/// A state of moist air: temperature and humidity ratio. The pressure is the site's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MoistAir {
    /// Dry-bulb temperature, °C.
    pub t_c: f64,
    /// Humidity ratio, kg of vapour per kg of dry air.
    pub w: f64,
}

impl MoistAir {
    /// Air at `t_c` °C with humidity ratio `w`.
    #[must_use]
    pub fn new(t_c: f64, w: f64) -> Self {
        Self { t_c, w }
    }

    /// Air at `t_c` °C and relative humidity `rh` (0 to 1), at pressure `p_pa`.
    #[must_use]
    pub fn from_relative_humidity(t_c: f64, rh: f64, p_pa: f64) -> Self {
        Self {
            t_c,
            w: humidity_ratio(rh, t_c, p_pa),
        }
    }

    /// The air of humidity ratio `w` whose enthalpy is `enthalpy_j_kg` per kg of dry air.
    #[must_use]
    pub fn from_enthalpy(enthalpy_j_kg: f64, w: f64) -> Self {
        Self {
            t_c: (enthalpy_j_kg - w * LATENT_HEAT_0C) / (CP_DRY_AIR + w * CP_VAPOUR),
            w,
        }
    }

    /// Enthalpy, J per kg of dry air.
    #[must_use]
    pub fn enthalpy_j_kg(&self) -> f64 {
        CP_DRY_AIR * self.t_c + self.w * (LATENT_HEAT_0C + CP_VAPOUR * self.t_c)
    }

    /// Specific heat at constant humidity, J per K and kg of dry air.
    #[must_use]
    pub fn specific_heat_j_kg_k(&self) -> f64 {
        CP_DRY_AIR + self.w * CP_VAPOUR
    }

    /// What two streams become when mixed without loss. The flows are in the same unit of *dry*
    /// air, such as kg/s, and not negative; with no flow at all the result is `a`.
    ///
    /// Enthalpy and vapour are conserved, so mixing two nearly saturated streams can give fog.
    #[must_use]
    pub fn mix(flow_a: f64, a: Self, flow_b: f64, b: Self) -> Self {
        let total = flow_a + flow_b;
        if total <= 0.0 {
            return a;
        }
        let share = flow_b / total;
        let w = a.w + share * (b.w - a.w);
        let h_a = a.enthalpy_j_kg();
        Self::from_enthalpy(h_a + share * (b.enthalpy_j_kg() - h_a), w)
    }

    /// Relative humidity, 0 to 1 (above 1 for fog), at pressure `p_pa`.
    #[must_use]
    pub fn relative_humidity(&self, p_pa: f64) -> f64 {
        relative_humidity(self.w, self.t_c, p_pa)
    }

    /// Dew point at pressure `p_pa`, °C. See [`dew_point_c`].
    #[must_use]
    pub fn dew_point_c(&self, p_pa: f64) -> f64 {
        dew_point_c(self.w, p_pa)
    }

    /// Wet-bulb temperature at pressure `p_pa`, °C. See [`wet_bulb_c`].
    #[must_use]
    pub fn wet_bulb_c(&self, p_pa: f64) -> f64 {
        wet_bulb_c(self.t_c, self.w, p_pa)
    }

    /// Volume of the moist air that holds 1 kg of dry air, m³/kg, at pressure `p_pa`.
    #[must_use]
    pub fn specific_volume_m3_kg(&self, p_pa: f64) -> f64 {
        GAS_CONSTANT * (self.t_c + 273.15) * (1.0 + 1.607_858 * self.w) / p_pa
    }

    /// Density of the moist air, vapour included, kg/m³, at pressure `p_pa`.
    #[must_use]
    pub fn density_kg_m3(&self, p_pa: f64) -> f64 {
        (1.0 + self.w) / self.specific_volume_m3_kg(p_pa)
    }
}

/// Saturated air at one pressure, tabulated so that a step needs no exponential.
///
/// A cubic Hermite piece for every half kelvin from −45 to 75 °C, each with its own ends, so that
/// the change from ice to liquid at 0 °C is kept. Within 1e-6 (relative) of the formula for
/// pressures from 54 to 110 kPa. Temperatures beyond the table are taken as its nearer end.
#[derive(Debug, Clone, PartialEq)]
pub struct SaturationTable {
    pressure_pa: f64,
    /// For each piece, the coefficients of w in powers of the fraction 0…1 across it.
    pieces: Box<[[f64; 4]; PIECES]>,
}

const TABLE_LOW_C: f64 = -45.0;
const TABLE_HIGH_C: f64 = 75.0;
const PIECES_PER_K: f64 = 2.0;
const PIECES: usize = 240;

impl SaturationTable {
    /// The table for total pressure `pressure_pa`, Pa.
    #[must_use]
    pub fn new(pressure_pa: f64) -> Self {
        let mut pieces = Box::new([[0.0; 4]; PIECES]);
        let width_k = 1.0 / PIECES_PER_K;
        for (i, piece) in pieces.iter_mut().enumerate() {
            let low_c = TABLE_LOW_C + i as f64 * width_k;
            let over = if low_c < 0.0 {
                over_ice_pa
            } else {
                over_liquid_pa
            };
            let w_sat = |t_c: f64| humidity_ratio_of_vapour(over(t_c), pressure_pa);
            // Fourth-order central difference; its error is far below that of the cubic.
            let slope = |t_c: f64| {
                let e = 0.01;
                (8.0 * (w_sat(t_c + e) - w_sat(t_c - e)) - w_sat(t_c + 2.0 * e)
                    + w_sat(t_c - 2.0 * e))
                    / (12.0 * e)
            };
            let (y0, y1) = (w_sat(low_c), w_sat(low_c + width_k));
            let (d0, d1) = (slope(low_c) * width_k, slope(low_c + width_k) * width_k);
            *piece = [
                y0,
                d0,
                3.0 * (y1 - y0) - 2.0 * d0 - d1,
                2.0 * (y0 - y1) + d0 + d1,
            ];
        }
        Self {
            pressure_pa,
            pieces,
        }
    }

    /// The total pressure that the table is for, Pa.
    #[must_use]
    pub fn pressure_pa(&self) -> f64 {
        self.pressure_pa
    }

    /// Lowest and highest temperature of the table, °C.
    #[must_use]
    pub fn range_c(&self) -> (f64, f64) {
        (TABLE_LOW_C, TABLE_HIGH_C)
    }

    fn locate(t_c: f64) -> (usize, f64) {
        let x = ((t_c - TABLE_LOW_C) * PIECES_PER_K).clamp(0.0, PIECES as f64);
        let i = (x as usize).min(PIECES - 1);
        (i, x - i as f64)
    }

    /// Humidity ratio of saturated air at `t_c` °C, kg/kg.
    #[must_use]
    #[inline]
    pub fn w_sat(&self, t_c: f64) -> f64 {
        let (i, x) = Self::locate(t_c);
        let [a, b, c, d] = self.pieces[i];
        a + x * (b + x * (c + x * d))
    }

    /// How fast [`w_sat`](Self::w_sat) rises with temperature, kg/kg per K.
    #[must_use]
    #[inline]
    pub fn w_sat_slope_per_k(&self, t_c: f64) -> f64 {
        let (i, x) = Self::locate(t_c);
        let [_, b, c, d] = self.pieces[i];
        (b + x * (2.0 * c + x * 3.0 * d)) * PIECES_PER_K
    }

    /// Enthalpy of saturated air at `t_c` °C, J per kg of dry air.
    #[must_use]
    #[inline]
    pub fn h_sat(&self, t_c: f64) -> f64 {
        MoistAir {
            t_c,
            w: self.w_sat(t_c),
        }
        .enthalpy_j_kg()
    }

    /// Temperature at which saturated air has enthalpy `h_j_kg`, °C: the inverse of
    /// [`h_sat`](Self::h_sat), kept within the table.
    #[must_use]
    pub fn t_at_h_sat(&self, h_j_kg: f64) -> f64 {
        let start_c = |i: usize| TABLE_LOW_C + i as f64 / PIECES_PER_K;
        let h_start = |i: usize| {
            MoistAir {
                t_c: start_c(i),
                w: self.pieces[i][0],
            }
            .enthalpy_j_kg()
        };
        let (mut low, mut high) = (0, PIECES);
        while high - low > 1 {
            let middle = (low + high) / 2;
            if h_start(middle) <= h_j_kg {
                low = middle
            } else {
                high = middle
            }
        }
        // The enthalpy is so nearly straight across half a kelvin that three Newton steps settle it.
        let [a, b, c, d] = self.pieces[low];
        let mut x = 0.5;
        for _ in 0..3 {
            let t_c = start_c(low) + x / PIECES_PER_K;
            let w = a + x * (b + x * (c + x * d));
            let slope = (CP_DRY_AIR + w * CP_VAPOUR) / PIECES_PER_K
                + (LATENT_HEAT_0C + CP_VAPOUR * t_c) * (b + x * (2.0 * c + x * 3.0 * d));
            x -= (MoistAir { t_c, w }.enthalpy_j_kg() - h_j_kg) / slope;
            x = x.clamp(0.0, 1.0);
        }
        start_c(low) + x / PIECES_PER_K
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_stays_within_a_millionth_of_the_formula() {
        let mut worst = 0.0_f64;
        for pressure_pa in [54_000.0, 80_000.0, STANDARD_PRESSURE, 110_000.0] {
            let table = SaturationTable::new(pressure_pa);
            for i in 0..=120_000 {
                let t_c = -45.0 + 0.001 * f64::from(i);
                let exact = humidity_ratio(1.0, t_c, pressure_pa);
                worst = worst.max((table.w_sat(t_c) / exact - 1.0).abs());
            }
        }
        assert!(worst < 1e-6, "worst relative error {worst:e}");
    }

    #[test]
    fn table_ends_hold() {
        let table = SaturationTable::new(STANDARD_PRESSURE);
        assert_eq!(table.w_sat(-80.0), table.w_sat(-45.0));
        assert_eq!(table.w_sat(120.0), table.w_sat(75.0));
        assert!((table.t_at_h_sat(-1e9) + 45.0).abs() < 1e-12);
        assert!((table.t_at_h_sat(1e9) - 75.0).abs() < 1e-12);
    }
}
