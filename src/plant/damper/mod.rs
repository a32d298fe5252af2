//! Zone dampers: conductance against opening.
//!
//! Every damper follows one [`Form`], a formula from opening to conductance, and one
//! [`LeakageClass`]. The named kinds are listed in [`KINDS`]; adding one is one entry there, and
//! a new formula is one file beside [`blade`].
//!
//! The opening `u` runs from 0 (closed) to 1 (open); the blade stands at `90°(1 − u)` from the
//! air stream. The loss coefficient `C` is on the duct's velocity pressure, and the conductance
//! `φ = 1/√C`. A closed damper still leaks: its conductance is never zero.

pub(crate) mod blade;
pub(crate) mod characterised;
mod kinds;
mod leakage;

pub use kinds::{KINDS, Kind};
pub use leakage::LeakageClass;

use super::network::LinearQuadratic;
use blade::Blade;
use characterised::Characterised;
use thiserror::Error;

/// How conductance depends on opening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Form {
    /// A turning blade.
    Blade(Blade),
    /// A damper made to a characteristic.
    Characterised(Characterised),
}

/// Why a damper cannot be built.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum DamperError {
    /// The face area is not a positive number.
    #[error("a damper needs a face area above zero, not {area_m2} m²")]
    Area {
        /// The area given, m².
        area_m2: f64,
    },
    /// Leakage is not positive, or is beyond what the damper passes when open.
    #[error(
        "a leakage of {q100_m3_s_m2} m³/s per m² at 100 Pa must be above zero and below the flow of the open damper"
    )]
    Leakage {
        /// Leakage asked for, m³/s per m² of face at 100 Pa.
        q100_m3_s_m2: f64,
    },
}

/// A damper of a given face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Damper {
    form: Form,
    area_m2: f64,
    /// Free-area ratio (blade) or conductance (characterised) left when closed.
    closed: f64,
}

impl Damper {
    /// Builds a damper of `form` in a duct of `area_m2`.
    ///
    /// # Errors
    /// [`DamperError`] if the area or the leakage is unusable.
    pub fn new(form: Form, area_m2: f64, leakage: LeakageClass) -> Result<Self, DamperError> {
        if !(area_m2 > 0.0 && area_m2.is_finite()) {
            return Err(DamperError::Area { area_m2 });
        }
        let q100_m3_s_m2 = leakage.q100_m3_s_m2();
        let closed = leakage.conductance();
        let open = match form {
            Form::Blade(blade) => blade.conductance_of_area(1.0),
            Form::Characterised(law) => law.open_conductance(),
        };
        if !(closed > 0.0 && closed < open) {
            return Err(DamperError::Leakage { q100_m3_s_m2 });
        }
        let closed = match form {
            Form::Blade(blade) => blade.closed_area(closed),
            Form::Characterised(_) => closed,
        };
        Ok(Self {
            form,
            area_m2,
            closed,
        })
    }

    /// Face area, m².
    pub fn area_m2(&self) -> f64 {
        self.area_m2
    }

    /// Conductance `φ = 1/√C` at an opening; openings outside 0..1 count as the nearer end.
    pub fn conductance(&self, opening: f64) -> f64 {
        let opening = opening.clamp(0.0, 1.0);
        match self.form {
            Form::Blade(blade) => blade.conductance(opening, self.closed),
            Form::Characterised(law) => law.conductance(opening, self.closed),
        }
    }

    /// Loss coefficient on the duct's velocity pressure at an opening.
    pub fn loss_coefficient(&self, opening: f64) -> f64 {
        self.conductance(opening).powi(-2)
    }

    /// The opening with the given conductance; the nearer end if it is out of range.
    pub fn opening_for(&self, conductance: f64) -> f64 {
        let opening = match self.form {
            Form::Blade(blade) => blade.opening(conductance, self.closed),
            Form::Characterised(law) => law.opening(conductance, self.closed),
        };
        opening.clamp(0.0, 1.0)
    }

    /// Quadratic resistance `B` in `dp = B·Q|Q|`, Pa/(m³/s)². One `sin` and at most one `powf`,
    /// so it is to be called for dampers that moved.
    pub fn resistance(&self, opening: f64, density_kg_m3: f64) -> f64 {
        let through = self.area_m2 * self.conductance(opening);
        0.5 * density_kg_m3 / (through * through)
    }

    /// The damper as a law; it only has a quadratic part.
    pub fn law(&self, opening: f64, density_kg_m3: f64) -> LinearQuadratic {
        LinearQuadratic {
            a: 0.0,
            b: self.resistance(opening, density_kg_m3),
        }
    }

    /// Pressure loss at a flow, Pa; it has the sign of the flow.
    pub fn pressure_loss_pa(&self, flow_m3_s: f64, opening: f64, density_kg_m3: f64) -> f64 {
        self.resistance(opening, density_kg_m3) * flow_m3_s * flow_m3_s.abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_cannot_be_built() {
        let form = KINDS[0].form;
        assert!(matches!(
            Damper::new(form, 0.0, LeakageClass::Class2),
            Err(DamperError::Area { .. })
        ));
        for q100_m3_s_m2 in [0.0, -1.0, f64::NAN, 1e3] {
            let leakage = LeakageClass::Other { q100_m3_s_m2 };
            assert!(matches!(
                Damper::new(form, 0.03, leakage),
                Err(DamperError::Leakage { .. })
            ));
        }
    }

    proptest! {
        #[test]
        fn every_kind_rises_and_inverts(which in 0..KINDS.len(), u in 0.0f64..1.0, v in 0.0f64..1.0) {
            let damper = Damper::new(KINDS[which].form, 0.03, LeakageClass::Class3).unwrap();
            let (low, high) = (u.min(v), u.max(v));
            if high - low > 1e-6 {
                prop_assert!(damper.conductance(low) < damper.conductance(high));
            }
            prop_assert!((damper.opening_for(damper.conductance(u)) - u).abs() < 1e-7);
            prop_assert_eq!(damper.conductance(-1.0), damper.conductance(0.0));
            prop_assert_eq!(damper.conductance(2.0), damper.conductance(1.0));
        }
    }
}
