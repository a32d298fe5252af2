//! Dampers and the air network.

use super::describe::{fan_switched, motor_arrived};
use super::{Engine, State};
use crate::engine::RunError;
use crate::engine::event::Event;
use crate::engine::scratch::Scratch;
use crate::fault;
use crate::plant::air_side::{AirCommand, Impairment};

impl Engine<'_> {
    /// Motors on their way for the coming time step, and blades where they then are.
    pub(super) fn move_dampers(
        &self,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) {
        self.drive_motors(state.t_s, state, events);
        self.place_dampers(state, scratch);
    }

    /// Motors on their way for one time step from `t_s`.
    pub(super) fn drive_motors(&self, t_s: f64, state: &mut State, events: &mut Vec<Event>) {
        let actuators = &self.scenario.control.actuators;
        let targets = actuators.iter().zip(&state.commands.channel_opening);
        for (c, (motor, (actuator, &target))) in state.motors.iter_mut().zip(targets).enumerate() {
            let was_moving = motor.moving;
            actuator.step(target, self.dt_s, motor);
            if was_moving && !motor.moving {
                events.push(motor_arrived(self.scenario, c, motor.position, t_s));
            }
        }
    }

    /// Dampers where their motors are now.
    pub(super) fn place_dampers(&self, state: &mut State, scratch: &mut Scratch<'_>) {
        for (position, motor) in scratch.positions.iter_mut().zip(&state.motors) {
            *position = motor.position;
        }
        self.set_openings(state, scratch);
    }

    /// Outlets as the dampers are, but for faults.
    pub(super) fn set_openings(&self, state: &mut State, scratch: &mut Scratch<'_>) {
        let channels = &self.scenario.control.outlet_channel;
        for (opening, channel) in scratch.openings.iter_mut().zip(channels) {
            *opening = at_outlet(*channel, &scratch.positions);
        }
        let mut air = Impairment::NONE;
        let mut plant = fault::Plant {
            openings: &mut scratch.openings,
            air: &mut air,
        };
        state.faults.plant(&self.faults, &mut plant);
        state.plant.air.impair(air);
    }

    /// Opening of a motorised relief, 0 without one.
    fn relief_position(&self, scratch: &Scratch<'_>) -> f64 {
        let channel = self.scenario.control.relief_channel;
        channel.map_or(0.0, |c| scratch.positions[c])
    }

    /// What the air network is told, with doors as they are in the middle of a step of `dt_s`.
    pub(super) fn with_air_command<T>(
        &self,
        dt_s: f64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        then: impl FnOnce(&AirCommand<'_>, &mut State, &mut crate::plant::air_side::AirScratch) -> T,
    ) -> T {
        let relief = self.relief_position(scratch);
        let command = AirCommand {
            fan: state.commands.fan_fraction,
            openings: &scratch.openings,
            relief,
            open_doors: &scratch.drivers.at(state.t_s + 0.5 * dt_s).open,
        };
        then(&command, state, &mut scratch.air)
    }

    /// Flows and pressures over a step of `dt_s`.
    pub(super) fn step_air_network(
        &self,
        dt_s: f64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) -> Result<(), RunError> {
        let was_on = state.plant.air.fan_speed > 0.0;
        // Short steps each have the flows of their end: these are in the mean those of the middle one's.
        let at_s = 0.5 * (dt_s + self.dt_s);
        scratch.flows_changed =
            self.with_air_command(dt_s, state, scratch, |command, state, air| {
                let side = &self.air_side;
                side.step_at(command, at_s, dt_s, &mut state.plant.air, air)
            })?;
        let plant = &mut state.plant;
        scratch.take_flows(&plant.air);
        plant.measured = if scratch.flows_changed {
            plant.measured.through(&scratch.measured, dt_s / at_s)
        } else {
            scratch.measured
        };
        let is_on = plant.air.fan_speed > 0.0;
        if was_on != is_on {
            events.push(fan_switched(&state.commands, is_on, state.t_s));
        }
        Ok(())
    }
}

/// What holds at an outlet of what holds by channel: fully open without a damper.
#[inline]
pub(super) fn at_outlet(channel: Option<usize>, by_channel: &[f64]) -> f64 {
    channel.map_or(1.0, |c| by_channel[c])
}
