//! Ways for air from room to room: doors with their hours, undercuts, transfer grilles.

use super::doorway::Doorway;
use super::room::Hours;

/// A door, or an opening that never shuts, between two rooms.
#[derive(Clone, Debug, PartialEq)]
pub struct Door {
    /// Name in the scenario.
    pub name: String,
    /// The two rooms, by index.
    pub between: [usize; 2],
    /// Size and discharge coefficient of the opening.
    pub opening: Doorway,
    /// When it stands open; empty = never.
    pub open: Vec<Hours>,
    /// Free area for air when shut: undercut plus transfer grille, m².
    pub shut_area_m2: f64,
    /// Conductance between the two rooms' fabrics through the wall beside the door, W/K.
    pub partition_w_k: f64,
}

/// Temperature about which doorway exchange is worked out, K: 23 °C. The flow goes with its inverse
/// square root, so 10 K off is 1.7 %.
pub(crate) const DOORWAY_MEAN_K: f64 = 296.15;

/// Pressure loss of an orifice of `area_m2` with discharge coefficient `cd` as `B` of `Δp = B·Q²`,
/// Pa/(m³/s)².
pub(crate) fn orifice_quadratic(area_m2: f64, cd: f64, density_kg_m3: f64) -> f64 {
    density_kg_m3 / (2.0 * (cd * area_m2).powi(2))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Undercut of 0.8 m × 10 mm at 2.5 Pa passes 9.80 L/s with Cd 0.6 (orifice formula, textbook).
    #[test]
    fn undercut_flow() {
        let b = orifice_quadratic(0.8 * 0.010, 0.6, 1.2);
        assert!(((2.5 / b).sqrt() - 0.00980).abs() < 1e-5);
    }
}
