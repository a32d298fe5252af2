//! Coil, fan heat, plenum and ducts.

use super::constants::StepConstants;
use super::{Engine, State};
use crate::control::Mode;
use crate::engine::RunError;
use crate::engine::scratch::Scratch;
use crate::engine::state::PlantState;
use crate::plant::air::MoistAir;
use crate::plant::room::CP_MOIST;
use crate::plant::transport::Spaces;
use crate::plant::unit::{Mode as UnitMode, UnitCommand, UnitInlet, UnitOutput, UnitState};

/// How close relief air must be to what the plenum holds in a long step, K.
const RELIEF_K: f64 = 1e-3;
/// More rounds than a relief that takes four fifths of the air needs.
const MOST_ROUNDS: usize = 40;

/// What one solution of the coil gives.
struct Conditioned {
    out: UnitOutput,
    unit: UnitState,
    entering_c: f64,
    /// Air that the plenum sends out, in the mean of the step.
    supplied: MoistAir,
    /// Air in the plenum at the end of the step.
    plenum: MoistAir,
}

impl Conditioned {
    /// Relief air in the mean of so many time steps, each of which takes what the plenum held at its
    /// beginning, as if the plenum had gone straight from `start` on.
    fn relieved(&self, steps: f64, start: MoistAir) -> MoistAir {
        let per_step_k = (self.plenum.t_c - start.t_c) / steps;
        // No metal holds moisture: it is that of half a step before the start.
        let per_step_w = (self.supplied.w - start.w) / (0.5 * (steps + 1.0));
        MoistAir {
            t_c: self.supplied.t_c - 0.5 * per_step_k,
            w: self.supplied.w - per_step_w,
        }
    }
}

impl Engine<'_> {
    /// Brings unit, plenum and ducts to the end of so many time steps; with the unit's output comes the air
    /// that the plenum sends out, in the mean of them.
    ///
    /// Relief air enters the coil a time step after it left the plenum. In a longer step it does so
    /// while the plenum itself goes on changing: the two are then brought together.
    pub(super) fn step_unit_and_ducts(
        &self,
        steps: u64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
    ) -> Result<(UnitOutput, MoistAir), RunError> {
        let air_kg_s = self.scenario.air.air.density_kg_m3 * state.plant.air.fan_m3_s;
        let constants = scratch.constants[steps as usize - 1].at(air_kg_s, self.scenario);
        scratch
            .house
            .extrapolate(constants.dt_s, &mut state.plant.house);
        let start = state.plant.plenum;
        let mut done = self.condition(&constants, start, state, scratch)?;
        if steps > 1 && scratch.ducts.relief_returns() {
            let mut used = start;
            for _ in 0..MOST_ROUNDS {
                let relieved = done.relieved(steps as f64, start);
                if (relieved.t_c - used.t_c).abs() < RELIEF_K {
                    break;
                }
                used = relieved;
                done = self.condition(&constants, relieved, state, scratch)?;
            }
        }
        let drive = scratch.drivers.drive();
        let spaces = Spaces {
            roof_c: drive.roof_space_c,
            indoors_c: self.indoors_c(scratch),
            outdoors_c: drive.outdoor.t_c,
        };
        let PlantState {
            unit,
            surface_c,
            plenum,
            ducts,
            ..
        } = &mut state.plant;
        (*unit, *plenum, *surface_c) = (done.unit, done.plenum, done.out.surface_c);
        let house = &scratch.house;
        scratch
            .ducts
            .carry(done.supplied, |room| house.ahead(room), &spaces, ducts);
        state.sample.unit.entering_c = done.entering_c;
        Ok((done.out, done.supplied))
    }

    /// The first return room, °C: what surrounds ducts indoors and a plenum without flow.
    fn indoors_c(&self, scratch: &Scratch<'_>) -> f64 {
        scratch.house.ahead(self.scenario.air.returns[0].room).t_c
    }

    /// One solution of the coil, with relief air as given.
    fn condition(
        &self,
        constants: &StepConstants,
        relieved: MoistAir,
        state: &State,
        scratch: &Scratch<'_>,
    ) -> Result<Conditioned, RunError> {
        let (s, plant) = (self.scenario, &state.plant);
        let air_kg_s = s.air.air.density_kg_m3 * plant.air.fan_m3_s;
        let room_air = |room: usize| scratch.house.ahead(room);
        let inlet = UnitInlet {
            air: scratch.ducts.entering(room_air, relieved),
            air_kg_s,
            outdoor_c: scratch.drivers.drive().outdoor.t_c,
        };
        let demand = &state.commands.unit;
        let command = UnitCommand {
            mode: match demand.mode {
                None => UnitMode::Off,
                Some(Mode::Cooling) => UnitMode::Cooling,
                Some(Mode::Heating) => UnitMode::Heating,
            },
            speed: demand.speed,
        };
        let mut unit = plant.unit;
        let machine = &s.unit.unit;
        let out = machine.step(
            &self.saturation,
            &constants.unit,
            &command,
            &inlet,
            &mut unit,
        )?;
        let (mut supplied, mut plenum) = (plant.plenum, plant.plenum);
        if air_kg_s > 0.0 {
            let fan_k = plant.air.fan_w / (air_kg_s * CP_MOIST);
            let leaving_c = out.leaving.t_c + fan_k;
            let away_k = plant.plenum.t_c - leaving_c;
            let [at_end, in_the_mean] = constants.metal_keeps;
            let w = out.leaving.w;
            let kept = |part: f64| MoistAir {
                t_c: leaving_c + away_k * part,
                w,
            };
            (supplied, plenum) = (kept(in_the_mean), kept(at_end));
        } else {
            let indoors_c = self.indoors_c(scratch);
            plenum.t_c = indoors_c + (plenum.t_c - indoors_c) * constants.still_keeps;
        }
        Ok(Conditioned {
            out,
            unit,
            entering_c: inlet.air.t_c,
            supplied,
            plenum,
        })
    }
}
