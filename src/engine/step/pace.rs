//! Constants of one length of step.

use super::Engine;
use crate::plant::room::CP_MOIST;
use crate::plant::unit::{UnitError, UnitStep};
use crate::scenario::Scenario;

/// What depends on nothing but the length of a step, and on the flow over the coil.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
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

impl Pace {
    /// For steps of one time step and upwards, as far as quiet stretches go.
    pub(super) fn all(scenario: &Scenario) -> Result<Vec<Pace>, UnitError> {
        let run = &scenario.run;
        let most = (run.long_step_s / run.step_s + 1e-6).floor().max(1.0) as u64;
        (1..=most)
            .map(|steps| {
                let dt_s = steps as f64 * run.step_s;
                Ok(Pace {
                    dt_s,
                    unit: scenario.unit.unit.prepared(dt_s)?,
                    still_keeps: (-dt_s / scenario.plenum_s).exp(),
                    metal_keeps: [1.0; 2],
                    air_kg_s: f64::NAN,
                })
            })
            .collect()
    }
}

impl Engine<'_> {
    /// The constants of so many time steps at a flow over the coil.
    pub(super) fn pace(&mut self, steps: u64, air_kg_s: f64) -> Pace {
        let pace = &mut self.paces[steps as usize - 1];
        if pace.air_kg_s != air_kg_s {
            let times = pace.dt_s * air_kg_s * CP_MOIST / self.scenario.unit.metal_j_k;
            pace.metal_keeps = [(-times).exp(), -(-times).exp_m1() / times];
            pace.air_kg_s = air_kg_s;
        }
        *pace
    }
}
