//! How much of the air slips past a coil untouched, kept until the flow changes.

use super::UnitError;

/// Below this share of its rated flow a coil is treated as standing in still air.
const STILL_AIR_FRACTION: f64 = 1e-6;

/// Bypass factor of a coil against its airflow: `BF = exp(−A0/ṁ)`.
///
/// Textbook apparatus-dew-point method; `A0` follows from the rated point, so that
/// `BF = BF_rated^(ṁ_rated/ṁ)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BypassLaw {
    rated_air_kg_s: f64,
    rated_bypass: f64,
    transfer_kg_s: f64,
}

impl BypassLaw {
    /// A law through one rated point: dry-air flow in kg/s and bypass factor in (0, 1).
    ///
    /// # Errors
    /// [`UnitError::Parameter`] when the flow is not positive or the factor is not inside (0, 1).
    pub fn new(rated_air_kg_s: f64, rated_bypass: f64) -> Result<Self, UnitError> {
        UnitError::require_positive("rated coil airflow (kg/s)", rated_air_kg_s)?;
        if !(rated_bypass > 0.0 && rated_bypass < 1.0) {
            return Err(UnitError::Parameter {
                name: "rated bypass factor",
                value: rated_bypass,
                advice: "give a share between 0 and 1, for example 0.15",
            });
        }
        Ok(Self {
            rated_air_kg_s,
            rated_bypass,
            transfer_kg_s: -rated_bypass.ln() * rated_air_kg_s,
        })
    }

    /// Rated dry-air flow, kg/s.
    pub fn rated_air_kg_s(&self) -> f64 {
        self.rated_air_kg_s
    }

    /// Bypass factor at the rated flow, 0 to 1.
    pub fn rated_bypass(&self) -> f64 {
        self.rated_bypass
    }

    /// Bypass factor at a dry-air flow in kg/s; 0 in still air.
    pub fn bypass_factor(&self, air_kg_s: f64) -> f64 {
        if air_kg_s > 0.0 {
            (-self.transfer_kg_s / air_kg_s).exp()
        } else {
            0.0
        }
    }
}

/// A flow with its bypass factor, recomputed only when the flow (or the coil) changes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Airflow {
    air_kg_s: f64,
    bypass: f64,
    flow_fraction: f64,
    transfer_kg_s: f64,
}

impl Airflow {
    /// Brings the cache up to date for this coil and flow (kg/s of dry air).
    pub fn refresh(&mut self, law: &BypassLaw, air_kg_s: f64) {
        if self.air_kg_s == air_kg_s && self.transfer_kg_s == law.transfer_kg_s {
            return;
        }
        *self = Self {
            air_kg_s,
            bypass: law.bypass_factor(air_kg_s),
            flow_fraction: air_kg_s / law.rated_air_kg_s,
            transfer_kg_s: law.transfer_kg_s,
        };
    }

    /// Dry-air flow, kg/s.
    pub fn air_kg_s(&self) -> f64 {
        self.air_kg_s
    }

    /// Bypass factor, 0 to 1.
    pub fn bypass(&self) -> f64 {
        self.bypass
    }

    /// Flow as a share of the coil's rated flow.
    pub fn flow_fraction(&self) -> f64 {
        self.flow_fraction
    }

    /// Flow that touches the surface, kg/s of dry air.
    pub fn contact_kg_s(&self) -> f64 {
        self.air_kg_s * (1.0 - self.bypass)
    }

    /// True when there is no flow worth the name.
    pub fn is_still(&self) -> bool {
        self.flow_fraction <= STILL_AIR_FRACTION
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bypass_follows_the_power_of_the_inverse_flow() {
        // The same law written as BF = BF_r^(1/ff).
        let law = BypassLaw::new(0.602, 0.15).unwrap();
        for ff in [0.3, 0.5, 0.8, 1.0, 1.2] {
            let bypass = law.bypass_factor(0.602 * ff);
            assert!(
                (bypass - 0.15f64.powf(1.0 / ff)).abs() < 1e-12,
                "{ff}: {bypass}"
            );
        }
        assert_eq!(law.bypass_factor(0.0), 0.0);
    }

    #[test]
    fn the_cache_notices_a_new_flow_and_a_new_coil() {
        let small = BypassLaw::new(0.3, 0.15).unwrap();
        let large = BypassLaw::new(0.6, 0.15).unwrap();
        let mut flow = Airflow::default();
        assert!(flow.is_still());
        flow.refresh(&small, 0.3);
        assert!((flow.bypass() - 0.15).abs() < 1e-12);
        flow.refresh(&large, 0.3);
        assert!((flow.bypass() - 0.0225).abs() < 1e-12);
        flow.refresh(&large, 0.6);
        assert!((flow.bypass() - 0.15).abs() < 1e-12 && flow.flow_fraction() == 1.0);
    }

    #[test]
    fn impossible_rated_points_are_refused() {
        for (flow, bypass) in [
            (0.0, 0.15),
            (-1.0, 0.15),
            (f64::NAN, 0.15),
            (0.6, 0.0),
            (0.6, 1.0),
        ] {
            assert!(BypassLaw::new(flow, bypass).is_err(), "{flow} {bypass}");
        }
    }
}
