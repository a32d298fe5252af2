//! A relief that sticks or is too small.

use super::{Concerns, Fault, Now, Plant};
use crate::scenario::Scenario;

/// A relief whose blade stands still.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReliefStuck {
    /// Where it stands, 0 to 1.
    pub position: f64,
}

impl Fault for ReliefStuck {
    fn kind(&self) -> &'static str {
        "relief stuck"
    }

    fn subject(&self, _s: &Scenario) -> String {
        "relief".to_string()
    }

    fn words(&self, _s: &Scenario) -> String {
        match self.position {
            p if p <= 0.0 => "relief stuck shut".to_string(),
            p if p >= 1.0 => "relief stuck open".to_string(),
            p => format!("relief stuck at {:.0} %", 100.0 * p),
        }
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        Concerns::default()
    }

    fn plant(&self, _now: &Now, _held: &mut [f64], plant: &mut Plant<'_>) {
        plant.air.relief_stuck = Some(self.position);
    }
}

/// A relief that passes less than the file says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReliefUndersized {
    /// Its conductance as a share of what it should be, above 0.
    pub factor: f64,
}

impl Fault for ReliefUndersized {
    fn kind(&self) -> &'static str {
        "relief undersized"
    }

    fn subject(&self, _s: &Scenario) -> String {
        "relief".to_string()
    }

    fn words(&self, _s: &Scenario) -> String {
        format!("relief passes {:.0} % of its flow", 100.0 * self.factor)
    }

    fn concerns(&self, _s: &Scenario) -> Concerns {
        Concerns::default()
    }

    fn plant(&self, _now: &Now, _held: &mut [f64], plant: &mut Plant<'_>) {
        plant.air.relief_capacity *= self.factor;
    }
}
