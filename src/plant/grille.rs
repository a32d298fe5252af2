//! Grilles and diffusers: loss on the face velocity, and throw.

use super::duct::Air;
use super::network::LinearQuadratic;

/// A grille, diffuser or return opening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grille {
    /// Loss coefficient on the face velocity pressure.
    pub loss_k: f64,
    /// Face (core) area, m².
    pub face_area_m2: f64,
}

impl Grille {
    /// Face velocity, m/s.
    pub fn face_velocity_m_s(&self, flow_m3_s: f64) -> f64 {
        flow_m3_s / self.face_area_m2
    }

    /// Pressure loss `K ½ρv²`, Pa; it has the sign of the flow.
    pub fn pressure_loss_pa(&self, flow_m3_s: f64, air: &Air) -> f64 {
        let pressure = air.velocity_pressure_pa(self.face_velocity_m_s(flow_m3_s));
        (self.loss_k * pressure).copysign(flow_m3_s)
    }

    /// The grille as a law: it only has a quadratic part.
    pub fn law(&self, air: &Air) -> LinearQuadratic {
        let b = 0.5 * air.density_kg_m3 * self.loss_k / self.face_area_m2.powi(2);
        LinearQuadratic { a: 0.0, b }
    }

    /// Isothermal throw to `terminal_m_s`, m: `K Q/(v_x √A)` (ASHRAE Fundamentals, space air
    /// diffusion, from memory, ±20 %).
    pub fn throw_m(&self, flow_m3_s: f64, throw_k: f64, terminal_m_s: f64) -> f64 {
        throw_k * flow_m3_s.abs() / (terminal_m_s * self.face_area_m2.sqrt())
    }
}
