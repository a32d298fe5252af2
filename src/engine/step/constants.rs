//! Constants of one length of step.

use crate::plant::room::CP_MOIST;
use crate::plant::unit::{UnitError, UnitStep};
use crate::scenario::Scenario;

/// What depends on nothing but the length of a step, and on the flow over the coil.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StepConstants {
    /// Length of the step, s.
    pub dt_s: f64,
    /// The unit's start-up ramp.
    pub unit: UnitStep,
    /// Share of its distance from the house that a plenum without flow keeps over the step.
    pub still_keeps: f64,
    /// Share of its distance from the air leaving the unit that the plenum's metal keeps: at the end
    /// of the step, and in the mean.
    pub metal_keeps: [f64; 2],
    /// The flow for which it does, kg/s.
    air_kg_s: f64,
}

impl StepConstants {
    /// For steps of one time step and upwards, as far as long steps go.
    pub(crate) fn all(scenario: &Scenario) -> Result<Vec<StepConstants>, UnitError> {
        let run = &scenario.run;
        let most = (run.long_step_s / run.step_s + 1e-6).floor().max(1.0) as u64;
        (1..=most)
            .map(|steps| {
                let dt_s = steps as f64 * run.step_s;
                Ok(StepConstants {
                    dt_s,
                    unit: scenario.unit.unit.prepared(dt_s)?,
                    still_keeps: (-dt_s / scenario.plenum_s).exp(),
                    metal_keeps: [1.0; 2],
                    air_kg_s: f64::NAN,
                })
            })
            .collect()
    }

    /// The constants at a flow over the coil, which they keep.
    pub(crate) fn at(&mut self, air_kg_s: f64, scenario: &Scenario) -> StepConstants {
        if self.air_kg_s != air_kg_s {
            let times = self.dt_s * air_kg_s * CP_MOIST / scenario.unit.metal_j_k;
            self.metal_keeps = [(-times).exp(), -(-times).exp_m1() / times];
            self.air_kg_s = air_kg_s;
        }
        *self
    }
}
