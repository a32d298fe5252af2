//! Leakage of a closed damper.

/// Closed-blade leakage class of EN 1751, by its upper limit at 100 Pa.
///
/// Limits as summarised publicly for BS EN 1751:1999; the standard's own chart was not seen, and
/// its class 4 may be 0.0016.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum LeakageClass {
    /// 0.2 m³/s per m².
    Class1,
    /// 0.04 m³/s per m²: cheap round zone dampers are class 1 or 2 (common practice, no source).
    #[default]
    Class2,
    /// 0.008 m³/s per m².
    Class3,
    /// 0.0015 m³/s per m².
    Class4,
    /// Measured or quoted otherwise.
    Other {
        /// Leakage at 100 Pa, m³/s per m² of face.
        q100_m3_s_m2: f64,
    },
}

impl LeakageClass {
    /// Leakage at 100 Pa, m³/s per m² of face.
    pub fn q100_m3_s_m2(&self) -> f64 {
        match *self {
            Self::Class1 => 0.2,
            Self::Class2 => 0.04,
            Self::Class3 => 0.008,
            Self::Class4 => 0.0015,
            Self::Other { q100_m3_s_m2 } => q100_m3_s_m2,
        }
    }

    /// Conductance when closed, `q100/√(200/ρ)` at the 1.2 kg/m³ the classes refer to.
    pub fn conductance(&self) -> f64 {
        self.q100_m3_s_m2() / (200.0_f64 / 1.2).sqrt()
    }

    /// Leakage of a closed damper at a pressure difference, m³/s; it goes with its square root.
    pub fn leakage_m3_s(&self, area_m2: f64, pressure_pa: f64) -> f64 {
        area_m2 * self.q100_m3_s_m2() * (pressure_pa.abs() / 100.0).sqrt().copysign(pressure_pa)
    }
}
