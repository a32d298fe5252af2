//! Dampers and the air network.

use super::tell::{arrived, switched};
use super::{Engine, State};
use crate::engine::RunError;
use crate::engine::event::Event;
use crate::fault;
use crate::plant::air_side::{AirCommand, AirState, Impairment};

/// Pressure and flows at one instant.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Felt {
    pub(super) static_pa: f64,
    pub(super) rooms_m3_s: f64,
    pub(super) fan_m3_s: f64,
}

impl Felt {
    pub(super) fn of(air: &AirState) -> Felt {
        Felt {
            static_pa: air.supply_pa,
            rooms_m3_s: air.outlets_m3_s.iter().map(|q| q.max(0.0)).sum(),
            fan_m3_s: air.fan_m3_s,
        }
    }

    /// On the straight line from here through `now`, so many times as far as that.
    pub(super) fn through(&self, now: &Felt, times: f64) -> Felt {
        let on = |from: f64, to: f64| to + (times - 1.0) * (to - from);
        Felt {
            static_pa: on(self.static_pa, now.static_pa),
            rooms_m3_s: on(self.rooms_m3_s, now.rooms_m3_s),
            fan_m3_s: on(self.fan_m3_s, now.fan_m3_s),
        }
    }
}

impl Engine<'_> {
    pub(super) fn move_dampers(&mut self, state: &mut State, events: &mut Vec<Event>) {
        self.drive_motors(state.t_s, state, events);
        self.stand(state);
    }

    /// Dampers where they stand now.
    pub(super) fn stand(&mut self, state: &mut State) {
        for (stands, motor) in self.standing.iter_mut().zip(&state.motors) {
            *stands = motor.position;
        }
        self.set_openings(state);
    }

    /// Motors on their way for one time step from `t_s`.
    pub(super) fn drive_motors(&mut self, t_s: f64, state: &mut State, events: &mut Vec<Event>) {
        let control = &self.scenario.control;
        let targets = control.actuators.iter().zip(&self.commands.channel_opening);
        for (c, (motor, (actuator, &target))) in state.motors.iter_mut().zip(targets).enumerate() {
            let was_moving = motor.moving;
            actuator.step(target, self.dt_s, motor);
            if was_moving && !motor.moving {
                events.push(arrived(self.scenario, c, motor.position, t_s));
            }
        }
    }

    /// Outlets as the motors stand, but for faults.
    pub(super) fn set_openings(&mut self, state: &mut State) {
        for (opening, &seat) in self.openings.iter_mut().zip(&self.outlet_seat) {
            *opening = self.standing[seat];
        }
        let mut air = Impairment::NONE;
        let mut plant = fault::Plant {
            openings: &mut self.openings,
            air: &mut air,
        };
        state.faults.plant(&self.faults, &mut plant);
        self.air_side.impair(air, &mut state.air);
    }

    pub(super) fn blow(
        &mut self,
        steps: u64,
        state: &mut State,
        events: &mut Vec<Event>,
    ) -> Result<(), RunError> {
        let dt_s = steps as f64 * self.dt_s;
        let drive = self.drivers.at(state.t_s + 0.5 * dt_s);
        let relief = self.scenario.control.relief_channel;
        let command = AirCommand {
            fan: self.commands.fan_fraction,
            openings: &self.openings,
            relief: relief.map_or(0.0, |c| self.standing[c]),
            open_doors: &drive.open,
        };
        let was_on = state.air.fan_speed > 0.0;
        // Short steps each have the flows of their end: these are in the mean those of the middle one's.
        let at_s = 0.5 * (dt_s + self.dt_s);
        let air = &mut state.air;
        self.air_changed = self.air_side.step_at(&command, at_s, dt_s, air)?;
        if self.air_changed {
            self.transport.refresh(&state.air);
            self.house.take_flows(&state.air);
            self.flowing = Felt::of(&state.air);
            self.felt = self.felt.through(&self.flowing, dt_s / at_s);
        } else {
            self.felt = self.flowing;
        }
        let is_on = state.air.fan_speed > 0.0;
        if was_on != is_on {
            events.push(switched(&self.commands, is_on, state.t_s));
        }
        Ok(())
    }
}
