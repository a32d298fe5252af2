//! Heating by rating curves: temperature, flow, frost and speed.
//!
//! `Q = Q_r · f_T(T_o, T_in) · f_F(ff) · PLR(s) · frost`, `P = P_r · g_T · g_F · p(PLR) · frost`.
//! Curves: own fits to a synthetic R32 cycle with CoolProp properties, no maker's data. Capacity
//! within 0.4 % and power within 1.8 % of it.

use super::cooling::AIR_KG_S_PER_KW;
use super::{Biquadratic, BypassLaw, CoilMemory, CoilState, CubicModifier, Range, UnitError};
use crate::plant::air::MoistAir;

/// What frost on the outdoor coil costs: a triangle over outdoor temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frost {
    /// No loss at and below this outdoor temperature, °C.
    pub none_below_c: f64,
    /// Full loss at this outdoor temperature, °C.
    pub worst_c: f64,
    /// No loss at and above this outdoor temperature, °C.
    pub none_above_c: f64,
    /// Share of the capacity lost at worst.
    pub capacity_loss: f64,
    /// Share of the power that falls away at worst.
    pub power_loss: f64,
}

impl Frost {
    /// 10 % capacity and 1.5 % power at 1.7 °C (the default H2 factors of 10 CFR 430 Appendix M,
    /// from memory), nothing at −8.3 °C and at 7 °C. The triangle is our own; its warm end is the
    /// rating temperature, so that the rating point is met exactly.
    pub const GENERIC: Self = Self {
        none_below_c: -8.3,
        worst_c: 1.7,
        none_above_c: 7.0,
        capacity_loss: 0.10,
        power_loss: 0.015,
    };

    /// Severity at an outdoor temperature in °C, 0 to 1.
    pub fn severity(&self, outdoor_c: f64) -> f64 {
        let rising = (outdoor_c - self.none_below_c) / (self.worst_c - self.none_below_c);
        let falling = (self.none_above_c - outdoor_c) / (self.none_above_c - self.worst_c);
        rising.min(falling).clamp(0.0, 1.0)
    }
}

/// Capacity against compressor speed, with the fan following the speed:
/// `PLR = s·(1 + e1·z + e2·z² + e3·z³)`, `z = s − 1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeedCurve {
    /// Coefficients e1 to e3.
    pub e: [f64; 3],
    /// Speed range, share of rated.
    pub range: Range,
}

impl SpeedCurve {
    /// Own least-squares fit to eight speeds of the same cycle; within 0.0008 of each of them,
    /// which have three decimals. Rises throughout its range.
    pub const GENERIC_HEATING: Self = Self {
        e: [-0.174058, 0.0749529, -0.0746011],
        range: Range::new(0.25, 1.2),
    };

    /// Capacity share at a speed held in range; `outside` becomes true when it was not.
    pub fn at(&self, speed: f64, outside: &mut bool) -> f64 {
        let s = self.range.hold(speed, outside);
        let z = s - 1.0;
        let [e1, e2, e3] = self.e;
        s * (1.0 + z * (e1 + z * (e2 + z * e3)))
    }
}

/// Heating data of a unit.
///
/// The flow modifiers take the flow relative to the speed's own fan flow `0.4 + 0.6·s` (as a
/// share of rated), because that is the flow the part-load figures were made with: at each speed
/// the modifier corrects for more or less air than that speed is meant to have.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatingCurves {
    /// Rated heating capacity, W.
    pub rated_total_w: f64,
    /// Rated compressor power with electronics, W.
    pub rated_compressor_w: f64,
    /// Rated airflow and bypass factor of the indoor coil.
    pub bypass: BypassLaw,
    /// Capacity against outdoor (x) and entering indoor (y) temperature, °C.
    pub capacity_temperature: Biquadratic,
    /// Power against the same.
    pub power_temperature: Biquadratic,
    /// Capacity against relative flow.
    pub capacity_flow: CubicModifier,
    /// Power against relative flow.
    pub power_flow: CubicModifier,
    /// Capacity against compressor speed.
    pub capacity_speed: SpeedCurve,
    /// Power against the capacity share of the speed.
    pub power_part_load: CubicModifier,
    /// Frost on the outdoor coil.
    pub frost: Frost,
    /// Highest coil surface temperature, °C; beyond it the unit sheds duty. 63.0 °C is
    /// saturation of R32 at 4.2 MPa, a usual high-pressure trip (from memory).
    pub surface_limit_c: f64,
}

impl HeatingCurves {
    /// The heating side of the generic unit of a given rated *cooling* capacity in W: 0.9979 W
    /// and 0.2104 W of power per watt of it, at 20 °C inside and 7 °C outside.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] when the capacity is not positive.
    pub fn generic(rated_cooling_w: f64) -> Result<Self, UnitError> {
        UnitError::require_positive("rated cooling capacity (W)", rated_cooling_w)?;
        let temperature = |a| Biquadratic {
            x_rated: 7.0,
            y_rated: 20.0,
            a,
            x_range: Range::new(-15.0, 18.0),
            y_range: Range::new(14.0, 36.0),
        };
        let flow = |b| CubicModifier {
            b,
            range: Range::new(0.5, 1.2),
        };
        Self {
            rated_total_w: 0.9979037 * rated_cooling_w,
            rated_compressor_w: 0.2104059 * rated_cooling_w,
            bypass: BypassLaw::new(AIR_KG_S_PER_KW * rated_cooling_w / 1000.0, 0.15)?,
            capacity_temperature: temperature([
                0.0218,
                1.27378e-4,
                -0.00138962,
                -1.91454e-6,
                -4.89257e-5,
            ]),
            power_temperature: temperature([
                0.0101551, 3.93376e-5, 0.0232104, 9.86521e-5, 3.32963e-4,
            ]),
            capacity_flow: flow([0.015802, -0.0177879, 0.0644514]),
            power_flow: flow([-0.35303, 0.339366, -0.892799]),
            capacity_speed: SpeedCurve::GENERIC_HEATING,
            power_part_load: CubicModifier {
                b: [1.38477, 0.420669, 0.0448214],
                range: Range::new(0.29, 1.17),
            },
            frost: Frost::GENERIC,
            surface_limit_c: 63.0,
        }
        .checked()
    }

    /// The curves, once their figures are found usable.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] naming the first figure that is not.
    pub fn checked(self) -> Result<Self, UnitError> {
        UnitError::require_positive("rated heating capacity (W)", self.rated_total_w)?;
        UnitError::require_positive("rated heating power (W)", self.rated_compressor_w)?;
        UnitError::require_positive("highest heating surface (°C)", self.surface_limit_c)?;
        let (f, g) = (self.capacity_temperature, self.power_temperature);
        for range in [
            f.x_range,
            f.y_range,
            g.x_range,
            g.y_range,
            self.capacity_flow.range,
            self.power_flow.range,
            self.capacity_speed.range,
            self.power_part_load.range,
        ] {
            if !range.is_valid() {
                let advice = "give the lower end first";
                return Err(UnitError::Parameter {
                    name: "heating curve range",
                    value: range.low,
                    advice,
                });
            }
        }
        let Frost {
            none_below_c,
            worst_c,
            none_above_c,
            ..
        } = self.frost;
        if !(none_below_c < worst_c && worst_c < none_above_c) {
            return Err(UnitError::Parameter {
                name: "worst frost temperature (°C)",
                value: worst_c,
                advice: "put it between the two temperatures without frost",
            });
        }
        Ok(self)
    }

    /// Steady state of the running coil. Heat flows are negative: heat goes into the air.
    ///
    /// `air_kg_s` is dry air, `speed` the compressor's (1 = rated). The leaving temperature follows
    /// from the sensible balance. The surface follows from the bypass factor and is close to the
    /// condensing temperature; once it would pass its limit the output is cut to what the air
    /// takes at the limit, so still air gets nothing.
    ///
    /// # Errors
    /// [`UnitError::NotFinite`] for inputs that are not numbers.
    pub fn solve(
        &self,
        inlet: MoistAir,
        air_kg_s: f64,
        outdoor_c: f64,
        speed: f64,
        memory: &mut CoilMemory,
    ) -> Result<CoilState, UnitError> {
        UnitError::require_finite(inlet, air_kg_s, outdoor_c, speed)?;
        memory.airflow.refresh(&self.bypass, air_kg_s);
        let flow = memory.airflow;
        let mut outside = false;
        let relative_flow = flow.flow_fraction() / (0.4 + 0.6 * speed.max(0.0));
        let part_load = self.capacity_speed.at(speed, &mut outside);
        let frost = self.frost.severity(outdoor_c);
        let heat_w = self.rated_total_w
            * part_load
            * self
                .capacity_temperature
                .at(outdoor_c, inlet.t_c, &mut outside)
            * self.capacity_flow.at(relative_flow, &mut outside)
            * (1.0 - self.frost.capacity_loss * frost);
        let compressor_w = self.rated_compressor_w
            * self.power_part_load.at(part_load, &mut outside)
            * self
                .power_temperature
                .at(outdoor_c, inlet.t_c, &mut outside)
            * self.power_flow.at(relative_flow, &mut outside)
            * (1.0 - self.frost.power_loss * frost);
        let head_room_k = (self.surface_limit_c - inlet.t_c).max(0.0);
        let contact_w_k = if flow.is_still() {
            0.0
        } else {
            flow.contact_kg_s() * inlet.specific_heat_j_kg_k()
        };
        let at_limit = heat_w > contact_w_k * head_room_k;
        let surface_rise_k = if at_limit {
            head_room_k
        } else {
            heat_w / contact_w_k
        };
        let rise_k = if flow.is_still() {
            0.0
        } else {
            surface_rise_k * (1.0 - flow.bypass())
        };
        let leaving = MoistAir::new(inlet.t_c + rise_k, inlet.w);
        let surface_c = inlet.t_c + surface_rise_k;
        memory.surface_c = surface_c;
        Ok(CoilState {
            compressor_w,
            beyond_map: outside,
            at_limit,
            ..CoilState::between(inlet, leaving, air_kg_s.max(0.0), surface_c)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frost_is_a_triangle_that_spares_the_rating_point() {
        let f = Frost::GENERIC;
        for (t, severity) in [
            (-20.0, 0.0),
            (-8.3, 0.0),
            (-3.3, 0.5),
            (1.7, 1.0),
            (4.35, 0.5),
        ] {
            assert!((f.severity(t) - severity).abs() < 1e-12, "{t}");
        }
        assert_eq!((f.severity(7.0), f.severity(20.0)), (0.0, 0.0));
    }

    #[test]
    fn capacity_rises_with_speed_throughout() {
        let curve = SpeedCurve::GENERIC_HEATING;
        let at = |i: i32| curve.at(0.25 + 0.95 * f64::from(i) / 500.0, &mut false);
        for i in 0..500 {
            assert!(at(i + 1) > at(i), "{i}");
        }
    }

    #[test]
    fn still_air_gets_nothing_and_low_flow_stops_at_the_surface_limit() {
        let curves = HeatingCurves::generic(10_000.0).unwrap();
        let inlet = MoistAir::new(20.0, 0.006);
        for air in [-1.0, 0.0, 1e-300, 1e-9, 1e-4, 0.05] {
            let mut memory = CoilMemory::default();
            let state = curves.solve(inlet, air, 7.0, 1.0, &mut memory).unwrap();
            assert!(
                state.at_limit && state.surface_c == 63.0,
                "{air}: {state:?}"
            );
            assert!(state.leaving.t_c.is_finite() && state.leaving.t_c <= 63.0);
            assert!(
                state.total_w.abs() <= 50_000.0 * air.max(0.0),
                "{air}: {state:?}"
            );
        }
        let hot = MoistAir::new(70.0, 0.006);
        let state = curves
            .solve(hot, 0.6, 7.0, 1.0, &mut CoilMemory::default())
            .unwrap();
        assert_eq!((state.total_w, state.leaving), (0.0, hot));
    }
}
