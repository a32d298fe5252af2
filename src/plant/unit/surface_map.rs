//! Refrigerant side of the cooling coil: capacity and power against surface temperature.

use super::{Range, UnitError};

/// Surface temperature the fit is centred on, °C.
const SURFACE_RATED_C: f64 = 12.0;
/// Outdoor temperature the fit is centred on, °C.
const OUTDOOR_RATED_C: f64 = 35.0;

/// Capacity and compressor power of the refrigerant circuit as shares of their rated values.
///
/// With `a = T_surface − 12`, `b = T_outdoor − 35` (°C) and `d = s − 1` (speed, 1 = rated):
/// `f = s·(c0 + c1·a + c2·a² + c3·b + c4·b² + c5·ab + c6·d + c7·d² + c8·ad + c9·bd)`.
///
/// Inputs outside the ranges are held at their edge, never extrapolated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceMap {
    /// Coefficients c0 to c9 of the capacity.
    pub total: [f64; 10],
    /// Coefficients c0 to c9 of the power.
    pub power: [f64; 10],
    /// Surface temperature range, °C.
    pub surface_c: Range,
    /// Outdoor temperature range, °C.
    pub outdoor_c: Range,
    /// Speed range, share of rated.
    pub speed: Range,
}

impl SurfaceMap {
    /// A generic R32 unit with a fixed-displacement compressor, no maker's data.
    ///
    /// Own fit to a synthetic vapour-compression cycle with CoolProp properties:
    /// capacity rms 0.3 %, worst 1.9 %; power rms 0.8 %, worst 4.7 %.
    pub const GENERIC: Self = Self {
        total: [
            0.995174,
            0.0274803,
            2.73466e-4,
            -0.00878531,
            -3.14266e-5,
            -1.86957e-4,
            -0.211962,
            0.0454962,
            -0.00976275,
            0.00133003,
        ],
        power: [
            1.00664,
            0.00486586,
            -8.22981e-5,
            0.0229696,
            9.13251e-5,
            2.57169e-4,
            0.206806,
            0.138511,
            0.00860806,
            -0.00201953,
        ],
        surface_c: Range::new(-2.0, 20.0),
        outdoor_c: Range::new(20.0, 44.0),
        speed: Range::new(0.25, 1.2),
    };

    /// Refuses a map that is not finite, or that cannot be solved against the air side:
    /// capacity and power must be positive, and capacity must not fall as the surface warms.
    ///
    /// # Errors
    /// [`UnitError::Parameter`] naming what is wrong.
    pub fn check(&self) -> Result<(), UnitError> {
        let wrong = |name, value, advice| {
            Err(UnitError::Parameter {
                name,
                value,
                advice,
            })
        };
        if let Some(&c) = self
            .total
            .iter()
            .chain(&self.power)
            .find(|c| !c.is_finite())
        {
            return wrong("coil map coefficient", c, "give a finite number");
        }
        for range in [self.surface_c, self.outdoor_c, self.speed] {
            if !range.is_valid() {
                return wrong("coil map range", range.low, "give the lower end first");
            }
        }
        if self.speed.low <= 0.0 {
            return wrong(
                "coil map lowest speed",
                self.speed.low,
                "give a share above 0",
            );
        }
        let grid = |r: Range, i: i32| r.low + (r.high - r.low) * f64::from(i) / 8.0;
        for (i, j) in (0..=8).flat_map(|i| (0..=8).map(move |j| (i, j))) {
            let slice = self.slice(grid(self.outdoor_c, i), grid(self.speed, j));
            for k in 0..=8 {
                let surface_c = grid(self.surface_c, k);
                let (total, slope) = slice.total(surface_c);
                if total <= 0.0 {
                    return wrong(
                        "coil map capacity",
                        total,
                        "it must stay above 0 in its range",
                    );
                }
                if slope < 0.0 {
                    return wrong(
                        "coil map slope",
                        slope,
                        "a warmer surface must not lose output",
                    );
                }
                if slice.power(surface_c) <= 0.0 {
                    let power = slice.power(surface_c);
                    return wrong("coil map power", power, "it must stay above 0 in its range");
                }
            }
        }
        Ok(())
    }

    /// The map at one outdoor temperature (°C) and speed, ready to be read along the surface
    /// temperature without touching the other two again.
    pub fn slice(&self, outdoor_c: f64, speed: f64) -> SurfaceSlice {
        let mut outside = false;
        let b = self.outdoor_c.hold(outdoor_c, &mut outside) - OUTDOOR_RATED_C;
        let s = self.speed.hold(speed, &mut outside);
        let d = s - 1.0;
        let collapse = |c: &[f64; 10]| {
            [
                s * (c[0] + b * (c[3] + c[4] * b + c[9] * d) + d * (c[6] + c[7] * d)),
                s * (c[1] + c[5] * b + c[8] * d),
                s * c[2],
            ]
        };
        SurfaceSlice {
            total: collapse(&self.total),
            power: collapse(&self.power),
            surface_c: self.surface_c,
            outside,
        }
    }
}

/// A [`SurfaceMap`] at a fixed outdoor temperature and speed: two parabolas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceSlice {
    total: [f64; 3],
    power: [f64; 3],
    surface_c: Range,
    outside: bool,
}

impl SurfaceSlice {
    /// Capacity share at a surface temperature in °C, and its slope per kelvin (0 where held).
    pub fn total(&self, surface_c: f64) -> (f64, f64) {
        let mut held = false;
        let a = self.surface_c.hold(surface_c, &mut held) - SURFACE_RATED_C;
        let [k0, k1, k2] = self.total;
        let slope = if held { 0.0 } else { k1 + 2.0 * k2 * a };
        (k0 + a * (k1 + k2 * a), slope)
    }

    /// Power share at a surface temperature in °C.
    pub fn power(&self, surface_c: f64) -> f64 {
        let a = self.surface_c.hold(surface_c, &mut false) - SURFACE_RATED_C;
        let [k0, k1, k2] = self.power;
        k0 + a * (k1 + k2 * a)
    }

    /// True when this surface temperature, the outdoor temperature or the speed was held at the
    /// edge of the map.
    pub fn is_outside(&self, surface_c: f64) -> bool {
        let mut held = self.outside;
        self.surface_c.hold(surface_c, &mut held);
        held
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_generic_map_gives_its_check_values() {
        // Own fit, evaluated outside this crate.
        let q = |t, o, s| SurfaceMap::GENERIC.slice(o, s).total(t).0;
        let p = |t, o, s| SurfaceMap::GENERIC.slice(o, s).power(t);
        assert!((q(10.0, 35.0, 1.0) - 0.9413073).abs() < 1e-7);
        assert!((q(14.0, 30.0, 0.5) - 0.6133409).abs() < 1e-7);
        assert!((p(14.0, 30.0, 0.5) - 0.4092369).abs() < 1e-7);
    }

    #[test]
    fn the_slope_is_the_derivative_inside_and_zero_where_held() {
        let slice = SurfaceMap::GENERIC.slice(40.0, 0.6);
        let (up, down) = (slice.total(8.001).0, slice.total(7.999).0);
        assert!((slice.total(8.0).1 - (up - down) / 0.002).abs() < 1e-8);
        assert_eq!(slice.total(-5.0), (slice.total(-2.0).0, 0.0));
        assert!(slice.is_outside(-5.0) && !slice.is_outside(5.0));
        assert!(SurfaceMap::GENERIC.slice(10.0, 1.0).is_outside(5.0));
    }

    #[test]
    fn maps_that_cannot_be_solved_are_refused() {
        assert_eq!(SurfaceMap::GENERIC.check(), Ok(()));
        let mut falling = SurfaceMap::GENERIC;
        falling.total[1] = -0.02;
        assert!(falling.check().is_err());
        let mut negative = SurfaceMap::GENERIC;
        negative.total[0] = 0.1;
        assert!(negative.check().is_err());
        let mut nan = SurfaceMap::GENERIC;
        nan.power[7] = f64::NAN;
        assert!(nan.check().is_err());
        let mut swapped = SurfaceMap::GENERIC;
        swapped.outdoor_c = Range::new(44.0, 20.0);
        assert!(swapped.check().is_err());
    }
}
