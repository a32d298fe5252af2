//! The cloudless sky: beam and diffuse from the sun's height and two optical depths.

/// Beam and diffuse of a cloudless sky.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClearSkyIrradiance {
    /// Beam on a plane facing the sun, W/m².
    pub dni_w_m2: f64,
    /// Diffuse on the horizontal, W/m².
    pub dhi_w_m2: f64,
}

/// The two optical depths of the ASHRAE clear-sky model, in its form from the 2013 handbook on.
///
/// They are tabulated by place and month, and belong to one edition: the depths of the 2009
/// handbook go with other exponents and must not be used here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClearSky {
    /// Optical depth for the beam, about 0.3 (clean, dry) to 0.6 (humid, hazy).
    pub tau_beam: f64,
    /// Optical depth for the diffuse, about 1.6 (hazy) to 2.6 (clean).
    pub tau_diffuse: f64,
}

/// The sun's beam outside the atmosphere on the given day of the year, W/m²
/// (ASHRAE Fundamentals, ch. 14).
#[must_use]
pub(crate) fn extraterrestrial_w_m2(day_of_year: u32) -> f64 {
    let angle = std::f64::consts::TAU * (f64::from(day_of_year) - 3.0) / 365.0;
    1367.0 * (1.0 + 0.033 * angle.cos())
}

/// Relative air mass at a solar elevation in degrees, 0 to 90 (Kasten and Young, 1989).
#[must_use]
pub(crate) fn air_mass(elevation_deg: f64) -> f64 {
    let sine = elevation_deg.to_radians().sin();
    1.0 / (sine + 0.50572 * (6.07995 + elevation_deg).powf(-1.6364))
}

impl ClearSky {
    /// Irradiance with the sun `elevation_deg` above the horizon on a day when the beam outside
    /// the atmosphere is `extraterrestrial_w_m2`; nothing with the sun on or below the horizon.
    #[must_use]
    pub fn irradiance(&self, elevation_deg: f64, extraterrestrial_w_m2: f64) -> ClearSkyIrradiance {
        if elevation_deg <= 0.0 {
            return ClearSkyIrradiance {
                dni_w_m2: 0.0,
                dhi_w_m2: 0.0,
            };
        }
        let (tb, td) = (self.tau_beam, self.tau_diffuse);
        let beam_exponent = 1.454 - 0.406 * tb - 0.268 * td + 0.021 * tb * td;
        let diffuse_exponent = 0.507 + 0.205 * tb - 0.080 * td - 0.190 * tb * td;
        let m = air_mass(elevation_deg);
        ClearSkyIrradiance {
            dni_w_m2: extraterrestrial_w_m2 * (-tb * m.powf(beam_exponent)).exp(),
            dhi_w_m2: extraterrestrial_w_m2 * (-td * m.powf(diffuse_exponent)).exp(),
        }
    }
}

const NODES_PER_DEG: f64 = 5.0;
const NODES: usize = 451;

/// [`ClearSky`] tabulated over the sun's height, so that a step needs no power or exponential.
///
/// Straight lines between nodes a fifth of a degree apart: within 0.2 W/m² of the formula.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ClearSkyTable {
    /// Beam and diffuse at each node, over the beam outside the atmosphere.
    nodes: Box<[[f64; 2]; NODES]>,
}

impl ClearSkyTable {
    /// The table for one pair of optical depths.
    #[must_use]
    pub(crate) fn new(sky: ClearSky) -> Self {
        let mut nodes = Box::new([[0.0; 2]; NODES]);
        for (i, node) in nodes.iter_mut().enumerate() {
            // The first node is what the formula comes to just above the horizon, which is not nothing.
            let at = sky.irradiance((i as f64 / NODES_PER_DEG).max(1e-9), 1.0);
            *node = [at.dni_w_m2, at.dhi_w_m2];
        }
        Self { nodes }
    }

    /// As [`ClearSky::irradiance`], from the table.
    #[must_use]
    pub(crate) fn irradiance(
        &self,
        elevation_deg: f64,
        extraterrestrial_w_m2: f64,
    ) -> ClearSkyIrradiance {
        if elevation_deg <= 0.0 {
            return ClearSkyIrradiance {
                dni_w_m2: 0.0,
                dhi_w_m2: 0.0,
            };
        }
        let x = (elevation_deg * NODES_PER_DEG).clamp(0.0, (NODES - 1) as f64);
        let i = (x as usize).min(NODES - 2);
        let part = x - i as f64;
        let ([b0, d0], [b1, d1]) = (self.nodes[i], self.nodes[i + 1]);
        ClearSkyIrradiance {
            dni_w_m2: extraterrestrial_w_m2 * (b0 + part * (b1 - b0)),
            dhi_w_m2: extraterrestrial_w_m2 * (d0 + part * (d1 - d0)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_follows_the_formula() {
        let mut worst = 0.0_f64;
        for (tau_beam, tau_diffuse) in [(0.3, 2.6), (0.45, 2.2), (0.6, 1.6)] {
            let sky = ClearSky {
                tau_beam,
                tau_diffuse,
            };
            let table = ClearSkyTable::new(sky);
            for i in -100..=9000 {
                let elevation = 0.01 * f64::from(i);
                let exact = sky.irradiance(elevation, 1412.0);
                let found = table.irradiance(elevation, 1412.0);
                worst = worst.max((exact.dni_w_m2 - found.dni_w_m2).abs());
                worst = worst.max((exact.dhi_w_m2 - found.dhi_w_m2).abs());
            }
        }
        assert!(worst < 0.2, "worst error {worst} W/m²");
    }
}
