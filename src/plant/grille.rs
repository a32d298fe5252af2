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

/// A usual loss coefficient with its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kind {
    /// Name as written in scenario files.
    pub name: &'static str,
    /// Loss coefficient on the face velocity pressure.
    pub loss_k: f64,
    /// Throw constant K of the fully developed zone.
    pub throw_k: f64,
    /// Source of the figures.
    pub source: &'static str,
}

/// Every kind of grille known by name.
pub const KINDS: &[Kind] = &[
    Kind {
        name: "supply grille",
        loss_k: 3.0,
        throw_k: 4.1,
        source: "loss 2 to 4: common practice, no source; throw: ASHRAE Fundamentals (from memory)",
    },
    Kind {
        name: "free opening",
        loss_k: 2.8,
        throw_k: 5.0,
        source: "loss: sharp edge, 1/0.6²; throw: ASHRAE Fundamentals (from memory)",
    },
    Kind {
        name: "return grille",
        loss_k: 2.0,
        throw_k: 4.1,
        source: "without filter 1.5 to 3: common practice, no source",
    },
];

/// Finds a kind of grille by name.
pub fn kind(name: &str) -> Option<&'static Kind> {
    KINDS.iter().find(|k| k.name == name)
}

/// Loss coefficient of a perforated face, `1/(σ C_d)²`, from its free-area ratio and discharge
/// coefficient.
pub fn loss_from_free_area(free_area_ratio: f64, discharge: f64) -> f64 {
    1.0 / (free_area_ratio * discharge).powi(2)
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
