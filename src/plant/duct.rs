//! Ducts: friction, fittings and heat gain.
//!
//! Friction is Darcy–Weisbach with the exact Colebrook factor. For the step loop a duct becomes a
//! [`LinearQuadratic`] law, fitted once: see [`Duct::law`].

use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;

use super::network::LinearQuadratic;

/// Air as the pressure formulae need it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Dynamic viscosity, Pa·s.
    pub viscosity_pa_s: f64,
}

impl Air {
    /// Standard air, 1.2 kg/m³ and 1.81e-5 Pa·s (about 20 °C at sea level).
    pub const STANDARD: Self = Self {
        density_kg_m3: 1.2,
        viscosity_pa_s: 1.81e-5,
    };

    /// Velocity pressure ½ρv², Pa.
    pub fn velocity_pressure_pa(&self, velocity_m_s: f64) -> f64 {
        0.5 * self.density_kg_m3 * velocity_m_s * velocity_m_s
    }
}

impl Default for Air {
    fn default() -> Self {
        Self::STANDARD
    }
}

/// A duct wall: its name, its absolute roughness and where that figure comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Material {
    /// Name as written in scenario files.
    pub name: &'static str,
    /// Absolute roughness, m.
    pub roughness_m: f64,
    /// Source of the figure.
    pub source: &'static str,
}

/// Every duct material known by name.
pub(crate) const MATERIALS: &[Material] = &[
    Material {
        name: "galvanised",
        roughness_m: 0.09e-3,
        source: "ASHRAE Fundamentals, duct design, medium smooth (from memory)",
    },
    Material {
        name: "smooth plastic",
        roughness_m: 0.03e-3,
        source: "ASHRAE Fundamentals, duct design, smooth (from memory)",
    },
    Material {
        name: "duct board",
        roughness_m: 0.9e-3,
        source: "ASHRAE Fundamentals, duct design, medium rough (from memory)",
    },
    Material {
        name: "flexible",
        roughness_m: 0.9e-3,
        source: "fully stretched; from memory, sources spread widely",
    },
    Material {
        name: "concrete",
        roughness_m: 3.0e-3,
        source: "ASHRAE Fundamentals, duct design, rough (from memory)",
    },
];

/// Finds a material by name.
pub(crate) fn material(name: &str) -> Option<&'static Material> {
    MATERIALS.iter().find(|m| m.name == name)
}

/// Laminar Darcy friction factor 64/Re.
pub(crate) fn friction_laminar(reynolds: f64) -> f64 {
    64.0 / reynolds
}

/// Haaland's explicit approximation of the turbulent Darcy friction factor (1983).
pub(crate) fn friction_haaland(reynolds: f64, relative_roughness: f64) -> f64 {
    let y = -1.8 * ((relative_roughness / 3.7).powf(1.11) + 6.9 / reynolds).log10();
    1.0 / (y * y)
}

/// Turbulent Darcy friction factor of Colebrook, solved to rounding.
///
/// `1/√f = −2 log10(ε/3.7D + 2.51/(Re √f))`, by Newton's method from Haaland's value.
pub(crate) fn friction_colebrook(reynolds: f64, relative_roughness: f64) -> f64 {
    let (rough, smooth) = (relative_roughness / 3.7, 2.51 / reynolds);
    let mut y = 1.0 / friction_haaland(reynolds, relative_roughness).sqrt();
    for _ in 0..4 {
        let inner = rough + smooth * y;
        let miss = y + 2.0 * inner.log10();
        y -= miss / (1.0 + 2.0 * smooth / (inner * std::f64::consts::LN_10));
    }
    1.0 / (y * y)
}

/// Darcy friction factor at any Reynolds number: laminar below 2000, Colebrook above 4000, a
/// smooth blend of the two between (the blend is our own choice; the flow there is unsteady).
pub(crate) fn friction_factor(reynolds: f64, relative_roughness: f64) -> f64 {
    let t = ((reynolds - 2000.0) / 2000.0).clamp(0.0, 1.0);
    let turbulent = t * t * (3.0 - 2.0 * t);
    let mut f = 0.0;
    if turbulent < 1.0 {
        f += (1.0 - turbulent) * friction_laminar(reynolds);
    }
    if turbulent > 0.0 {
        f += turbulent * friction_colebrook(reynolds, relative_roughness);
    }
    f
}

/// The shape of a duct's cross-section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Section {
    /// A circle.
    Round {
        /// Inner diameter, m.
        diameter_m: f64,
    },
    /// A rectangle.
    Rectangular {
        /// Inner width, m.
        width_m: f64,
        /// Inner height, m.
        height_m: f64,
    },
}

impl Section {
    /// Free area, m².
    pub fn area_m2(&self) -> f64 {
        match *self {
            Self::Round { diameter_m: d } => 0.25 * PI * d * d,
            Self::Rectangular { width_m, height_m } => width_m * height_m,
        }
    }

    /// Inner perimeter, m.
    pub fn perimeter_m(&self) -> f64 {
        match *self {
            Self::Round { diameter_m } => PI * diameter_m,
            Self::Rectangular { width_m, height_m } => 2.0 * (width_m + height_m),
        }
    }

    /// Hydraulic diameter 4A/P, m; goes with the actual velocity.
    pub fn hydraulic_diameter_m(&self) -> f64 {
        4.0 * self.area_m2() / self.perimeter_m()
    }

    /// Diameter of the round duct of equal friction at equal flow, m (Huebscher; SMACNA duct
    /// design, table 14-2).
    ///
    /// It goes with the flow and its own round area, never with the velocity in the rectangle.
    pub fn equivalent_diameter_m(&self) -> f64 {
        match *self {
            Self::Round { diameter_m } => diameter_m,
            Self::Rectangular {
                width_m: a,
                height_m: b,
            } => 1.30 * (a * b).powf(0.625) / (a + b).powf(0.25),
        }
    }
}

/// Factor by which compressed flexible duct exceeds its fully stretched friction.
///
/// `1 + 0.58 r_c exp(−0.00496 D)`, with `r_c` in percent and D in mm (ASHRAE Fundamentals, duct
/// design, eq. 22 and 23). `compression` is `1 − L/L_stretched`: 0.04 for 4 %.
pub(crate) fn compression_factor(diameter_m: f64, compression: f64) -> f64 {
    1.0 + 0.58 * 100.0 * compression.max(0.0) * (-0.00496 * 1000.0 * diameter_m).exp()
}

/// A straight run with the fittings it carries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Duct {
    /// Cross-section.
    pub section: Section,
    /// Length of straight run, m.
    pub length_m: f64,
    /// Absolute roughness, m.
    pub roughness_m: f64,
    /// Sum of fitting loss coefficients on this duct's velocity pressure.
    pub fitting_c: f64,
    /// Compression of flexible duct, 0 for rigid or fully stretched duct.
    pub compression: f64,
}

/// Velocities between which [`Duct::law`] is fitted, m/s.
///
/// Over 1 to 6 m/s the fitted friction stays within 3 % of Colebrook, and within 1.6 % between
/// 1.5 and 5.5 m/s. A wider span costs accuracy where ducts are run: 0.5 to 8 m/s leaves 3.7 % at
/// working velocities and 7 % at the ends.
pub(crate) const FIT_VELOCITIES_M_S: (f64, f64) = (1.0, 6.0);

impl Duct {
    /// A rigid galvanised round duct without fittings.
    pub fn round(diameter_m: f64, length_m: f64) -> Self {
        Self {
            section: Section::Round { diameter_m },
            length_m,
            roughness_m: MATERIALS[0].roughness_m,
            fitting_c: 0.0,
            compression: 0.0,
        }
    }

    /// Mean velocity at `flow_m3_s`, m/s.
    pub fn velocity_m_s(&self, flow_m3_s: f64) -> f64 {
        flow_m3_s / self.section.area_m2()
    }

    /// Reynolds number on the hydraulic diameter.
    pub fn reynolds(&self, flow_m3_s: f64, air: &Air) -> f64 {
        air.density_kg_m3 * self.velocity_m_s(flow_m3_s).abs() * self.section.hydraulic_diameter_m()
            / air.viscosity_pa_s
    }

    /// Friction per metre of length, Pa/m, compression included; it has the sign of the flow.
    pub fn friction_pa_m(&self, flow_m3_s: f64, air: &Air) -> f64 {
        if flow_m3_s == 0.0 {
            return 0.0;
        }
        let diameter = self.section.hydraulic_diameter_m();
        let factor = friction_factor(self.reynolds(flow_m3_s, air), self.roughness_m / diameter)
            * compression_factor(diameter, self.compression);
        let pressure = air.velocity_pressure_pa(self.velocity_m_s(flow_m3_s));
        (factor / diameter * pressure).copysign(flow_m3_s)
    }

    /// Pressure loss of the whole run with its fittings, Pa; it has the sign of the flow.
    pub fn pressure_loss_pa(&self, flow_m3_s: f64, air: &Air) -> f64 {
        let pressure = air.velocity_pressure_pa(self.velocity_m_s(flow_m3_s));
        self.length_m * self.friction_pa_m(flow_m3_s, air)
            + (self.fitting_c * pressure).copysign(flow_m3_s)
    }

    /// Straight length with the friction of the fittings at `flow_m3_s`, `ΣC D/f`, m.
    pub fn fitting_length_m(&self, flow_m3_s: f64, air: &Air) -> f64 {
        let diameter = self.section.hydraulic_diameter_m();
        let factor = friction_factor(self.reynolds(flow_m3_s, air), self.roughness_m / diameter);
        self.fitting_c * diameter / (factor * compression_factor(diameter, self.compression))
    }

    /// The duct as `dp = A·Q + B·Q|Q|`, fitted to Colebrook over [`FIT_VELOCITIES_M_S`].
    ///
    /// Fittings go into B exactly; friction is fitted as `f = a/Re + b`, least squares of the
    /// relative error.
    pub fn law(&self, air: &Air) -> LinearQuadratic {
        self.law_between(FIT_VELOCITIES_M_S.0, FIT_VELOCITIES_M_S.1, air)
    }

    /// As [`Duct::law`], fitted between two velocities of the caller's choice, m/s.
    pub fn law_between(&self, low_m_s: f64, high_m_s: f64, air: &Air) -> LinearQuadratic {
        const POINTS: usize = 48;
        let diameter = self.section.hydraulic_diameter_m();
        let area = self.section.area_m2();
        let ratio = high_m_s / low_m_s;
        let mut rows = DMatrix::zeros(POINTS, 2);
        let ones = DVector::from_element(POINTS, 1.0);
        for i in 0..POINTS {
            let velocity = low_m_s * ratio.powf(i as f64 / (POINTS - 1) as f64);
            let reynolds = air.density_kg_m3 * velocity * diameter / air.viscosity_pa_s;
            let factor = friction_colebrook(reynolds, self.roughness_m / diameter);
            rows[(i, 0)] = 1.0 / (reynolds * factor);
            rows[(i, 1)] = 1.0 / factor;
        }
        // The two columns are far from parallel unless the span is degenerate.
        let (a, b) = match rows.svd(true, true).solve(&ones, 1e-14) {
            Ok(fit) => (fit[0].max(0.0), fit[1].max(0.0)),
            Err(_) => (64.0, 0.02),
        };
        let run = self.length_m * compression_factor(diameter, self.compression);
        let linear = a * air.viscosity_pa_s / (2.0 * diameter * diameter * area);
        let quadratic = 0.5 * air.density_kg_m3 * b / (diameter * area * area);
        let fittings = 0.5 * air.density_kg_m3 * self.fitting_c / (area * area);
        LinearQuadratic {
            a: run * linear,
            b: run * quadratic + fittings,
        }
    }
}

/// Heat transfer through round insulation, W/m²K on the inner surface:
/// `1/U = 1/h_i + (r_i/k) ln(r_o/r_i) + r_i/(r_o h_o)`, the thickness being `R k`.
pub(crate) fn round_u_w_m2k(
    inner_diameter_m: f64,
    insulation_m2k_w: f64,
    conductivity_w_mk: f64,
    inside_w_m2k: f64,
    outside_w_m2k: f64,
) -> f64 {
    let inner = 0.5 * inner_diameter_m;
    let outer = inner + insulation_m2k_w * conductivity_w_mk;
    let wrap = inner / conductivity_w_mk * (outer / inner).ln();
    1.0 / (1.0 / inside_w_m2k + wrap + inner / (outer * outside_w_m2k))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn colebrook_satisfies_its_own_equation() {
        for reynolds in [2.5e3, 1e4, 1e5, 1e7] {
            for rough in [0.0, 1e-5, 1e-3, 0.05] {
                let f = friction_colebrook(reynolds, rough);
                let right = -2.0 * (rough / 3.7 + 2.51 / (reynolds * f.sqrt())).log10();
                assert!((1.0 / f.sqrt() - right).abs() < 1e-12 * right);
            }
        }
    }

    proptest! {
        #[test]
        fn loss_rises_with_flow_through_the_transition(q in 1e-4f64..0.05, step in 1.0001f64..1.2) {
            let duct = Duct { fitting_c: 0.0, ..Duct::round(0.15, 10.0) };
            let air = Air::STANDARD;
            let (low, high) = (duct.pressure_loss_pa(q, &air), duct.pressure_loss_pa(q * step, &air));
            prop_assert!(high > low && low > 0.0);
            prop_assert_eq!(duct.pressure_loss_pa(-q, &air), -low);
        }
    }

    #[test]
    fn fittings_and_compression_enter_the_law() {
        let air = Air::STANDARD;
        let plain = Duct::round(0.2, 6.0);
        let bent = Duct {
            fitting_c: 0.5,
            ..plain
        };
        let squeezed = Duct {
            compression: 0.15,
            ..plain
        };
        let area = plain.section.area_m2();
        let gained = bent.law(&air).b - plain.law(&air).b;
        assert!((gained - 0.6 * 0.5 / (area * area)).abs() < 1e-9 * gained);
        let factor = compression_factor(0.2, 0.15);
        assert!((squeezed.law(&air).a / plain.law(&air).a - factor).abs() < 1e-9);
        let metres = bent.fitting_length_m(0.1, &air);
        let same = Duct {
            length_m: 6.0 + metres,
            ..plain
        };
        let (got, want) = (
            same.pressure_loss_pa(0.1, &air),
            bent.pressure_loss_pa(0.1, &air),
        );
        assert!((got - want).abs() < 1e-9 * want);
    }
}
