//! A blocked filter.

use super::{Concerns, Fault, Now, Plant};
use crate::scenario::Scenario;

/// A filter with a multiple of its resistance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilterBlocked {
    /// Resistance over that in the file, 1 or more.
    pub factor: f64,
}

impl Fault for FilterBlocked {
    fn kind(&self) -> &'static str {
        "filter blocked"
    }

    fn subject(&self, _s: &Scenario) -> String {
        "filter".to_string()
    }

    fn words(&self, _s: &Scenario) -> String {
        format!("filter blocked, {} times its resistance", self.factor)
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        Concerns::default()
    }

    fn plant(&self, _now: &Now, _held: &mut [f64], plant: &mut Plant<'_>) {
        plant.air.filter *= self.factor;
    }
}
