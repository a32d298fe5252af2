//! A motorised relief damper and the duct it sits in.

use crate::plant::damper::Damper;
use crate::plant::duct::{Air, Duct};
use crate::plant::network::LinearQuadratic;

/// A relief damper in its duct; the controller decides the opening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorisedRelief {
    damper: Damper,
    duct: LinearQuadratic,
    density_kg_m3: f64,
}

impl MotorisedRelief {
    /// A damper in a duct.
    pub fn new(damper: Damper, duct: &Duct, air: &Air) -> Self {
        Self {
            damper,
            duct: duct.law(air),
            density_kg_m3: air.density_kg_m3,
        }
    }

    /// The damper.
    pub fn damper(&self) -> &Damper {
        &self.damper
    }

    /// Damper and duct in series at an opening between 0 and 1.
    pub fn law(&self, opening: f64) -> LinearQuadratic {
        self.duct
            .in_series(self.damper.law(opening, self.density_kg_m3))
    }
}
