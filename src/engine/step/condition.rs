//! Coil, fan heat, plenum and ducts.

use super::{Engine, Pace, State};
use crate::control::Mode;
use crate::engine::RunError;
use crate::plant::air::MoistAir;
use crate::plant::room::CP_MOIST;
use crate::plant::transport::Spaces;
use crate::plant::unit::{Mode as UnitMode, UnitCommand, UnitInlet, UnitOutput, UnitState};

/// How close relief air must be to what the plenum holds in a long step, K.
const RELIEF_K: f64 = 1e-3;
/// More rounds than a relief that takes four fifths of the air needs.
const MOST_ROUNDS: usize = 40;

/// What one look at the coil gives.
struct Conditioned {
    out: UnitOutput,
    unit: UnitState,
    entering_c: f64,
    /// Air that the plenum sends out, in the mean of the step.
    blown: MoistAir,
    /// Air in the plenum at the end of the step.
    plenum: MoistAir,
}

impl Conditioned {
    /// Relief air in the mean of so many time steps, each of which takes what the plenum held at its
    /// beginning, as if the plenum had gone straight from `start` on.
    fn relieved(&self, steps: f64, start: MoistAir) -> MoistAir {
        let per_step_k = (self.plenum.t_c - start.t_c) / steps;
        // No metal holds moisture: it is that of half a step before the start.
        let per_step_w = (self.blown.w - start.w) / (0.5 * (steps + 1.0));
        MoistAir {
            t_c: self.blown.t_c - 0.5 * per_step_k,
            w: self.blown.w - per_step_w,
        }
    }
}

impl Engine<'_> {
    /// Brings unit and plenum to the end of a step; with the unit's output comes the air that the
    /// plenum sends out, in the mean of the step.
    ///
    /// Relief air enters the coil a time step after it left the plenum. In a longer step it does so
    /// while the plenum itself goes on changing: the two are then brought together.
    pub(super) fn condition(
        &mut self,
        pace: &Pace,
        state: &mut State,
    ) -> Result<(UnitOutput, MoistAir), RunError> {
        self.house.foresee(pace.dt_s, &state.house);
        let mut done = self.conditioned(pace, state.plenum, state)?;
        if pace.dt_s > self.dt_s && self.transport.relief_returns() {
            let steps = pace.dt_s / self.dt_s;
            let mut used = state.plenum;
            for _ in 0..MOST_ROUNDS {
                let relieved = done.relieved(steps, state.plenum);
                if (relieved.t_c - used.t_c).abs() < RELIEF_K {
                    break;
                }
                used = relieved;
                done = self.conditioned(pace, relieved, state)?;
            }
        }
        (state.unit, state.plenum) = (done.unit, done.plenum);
        let drive = self.drivers.drive();
        let spaces = Spaces {
            roof_c: drive.roof_space_c,
            indoors_c: self.indoors_c(),
            outdoors_c: drive.outdoor.t_c,
        };
        let house = &self.house;
        self.transport
            .carry(done.blown, |room| house.ahead(room), &spaces);
        self.sample.unit.entering_c = done.entering_c;
        Ok((done.out, done.blown))
    }

    /// The house as ducts and a still plenum feel it: the first return room, °C.
    fn indoors_c(&self) -> f64 {
        self.house.ahead(self.scenario.air.returns[0].room).t_c
    }

    /// One look at the coil, with relief air as given.
    fn conditioned(
        &self,
        pace: &Pace,
        relieved: MoistAir,
        state: &State,
    ) -> Result<Conditioned, RunError> {
        let s = self.scenario;
        let air_kg_s = s.air.air.density_kg_m3 * state.air.fan_m3_s;
        let room_air = |room: usize| self.house.ahead(room);
        let inlet = UnitInlet {
            air: self.transport.entering(room_air, relieved),
            air_kg_s,
            outdoor_c: self.drivers.drive().outdoor.t_c,
        };
        let demand = &self.commands.unit;
        let command = UnitCommand {
            mode: match demand.mode {
                None => UnitMode::Off,
                Some(Mode::Cooling) => UnitMode::Cooling,
                Some(Mode::Heating) => UnitMode::Heating,
            },
            speed: demand.speed,
        };
        let mut unit = state.unit;
        let machine = &s.unit.unit;
        let out = machine.step(&self.saturation, &pace.unit, &command, &inlet, &mut unit)?;
        let (mut blown, mut plenum) = (state.plenum, state.plenum);
        if air_kg_s > 0.0 {
            let fan_k = state.air.fan_w / (air_kg_s * CP_MOIST);
            let leaving_c = out.leaving.t_c + fan_k;
            let away_k = state.plenum.t_c - leaving_c;
            let [at_end, in_the_mean] = pace.metal_keeps;
            let w = out.leaving.w;
            let kept = |part: f64| MoistAir {
                t_c: leaving_c + away_k * part,
                w,
            };
            (blown, plenum) = (kept(in_the_mean), kept(at_end));
        } else {
            let indoors_c = self.indoors_c();
            plenum.t_c = indoors_c + (plenum.t_c - indoors_c) * pace.still_keeps;
        }
        Ok(Conditioned {
            out,
            unit,
            entering_c: inlet.air.t_c,
            blown,
            plenum,
        })
    }
}
