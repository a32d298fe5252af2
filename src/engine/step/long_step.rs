//! Long steps: while nothing new is commanded, the plant goes through several time steps at once.
//!
//! A step may be long while the controller decides nothing and the compressor holds its speed. While motors
//! are under way, or a relief's blade follows the pressure, it is short, and has the flows of dampers in the
//! mean of it. The thermostats, the motors and the controller still go by time steps, and look at rooms,
//! pressure and flow between the two ends of the long step; when one of these looks changes anything, the
//! plant is set back to its beginning and stepped again up to that instant. How long a step may be follows
//! from how far the last one went from where it pointed.
//!
//! Times of start and stop are therefore those of the short step, but for what the longer step does
//! to temperatures: `tests/parts/long_steps.rs` holds both to bounds.

use super::control::UnitReadings;
use super::{Engine, State};
use crate::engine::RunError;
use crate::engine::event::Event;
use crate::engine::scratch::Scratch;
use crate::math::lanes::Lanes;
use crate::plant::air_side::Outlook;
use crate::plant::unit::UnitOutput;

/// How far a room may end a step from where it pointed at its outset, K. The step's own error is
/// some hundredth of it.
const DEVIATION_K: f64 = 0.003;
/// The same where flows changed, K: a room then turns at once and goes on straight, which troubles a
/// step far less than a bend that lasts.
const DEVIATION_OF_FLOWS_K: f64 = 4.0 * DEVIATION_K;
/// The same for supply air, which the cut-outs watch, K.
const SUPPLY_DEVIATION_K: f64 = 0.01;
/// Longest step in which dampers or a relief's blade move, s: blades take some seconds to follow, motors
/// a minute and more from stop to stop.
const MOVING_S: f64 = 5.0;
/// No step goes across a multiple of this, s. Weather is straight, and people, doors and scheduled periods
/// stay, within a minute; swings of temperature are sampled twice in it.
pub(crate) const GRID_S: f64 = 30.0;

impl Engine<'_> {
    /// Takes up the commands that ended the last long step; false where there are none.
    pub(super) fn take_commands_decided(&self, state: &mut State) -> bool {
        if state.decided {
            std::mem::swap(&mut state.commands, &mut state.next_commands);
        }
        std::mem::take(&mut state.decided)
    }

    /// How many time steps may be made at once from here, of at most `most`.
    pub(super) fn steps_at_once(
        &self,
        most: u64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
    ) -> u64 {
        let whole = state.next_steps as u64;
        if most < 2 || whole < 2 || !self.holds_speed(state) {
            return 1;
        }
        let flows_s = self.flows_allow_s(state, scratch);
        let grid_s = GRID_S * ((state.t_s / GRID_S + 1e-9).floor() + 1.0) - state.t_s;
        let actions = &self.scenario.control.actions;
        let action = actions.get(state.next_action).map(|a| a.0);
        let turns = self.faults.iter().flat_map(|f| [f.from_s, f.until_s]);
        let turns = turns.chain(action).map(|t_s| t_s - state.t_s);
        let until_s = turns
            .filter(|&s| s > 0.0)
            .fold(grid_s.min(flows_s), f64::min);
        let room = (until_s / self.dt_s + 1e-6) as u64;
        whole.min(most).min(room).max(1)
    }

    /// Whether the unit goes on as it does.
    fn holds_speed(&self, state: &State) -> bool {
        let unit = &state.commands.unit;
        let kind = self.scenario.unit.unit.kind;
        let target = match unit.mode {
            None => 0.0,
            Some(_) => kind.target(unit.speed),
        };
        state.plant.unit.speed == target && state.manual_override.is_none()
    }

    /// For how long the air network may go on from here without being solved again, s.
    fn flows_allow_s(&self, state: &mut State, scratch: &mut Scratch<'_>) -> f64 {
        let longest_s = self.constants.len() as f64 * self.dt_s;
        let outlook = self.with_air_command(self.dt_s, state, scratch, |command, state, _| {
            self.air_side.outlook(command, longest_s, &state.plant.air)
        });
        scratch.flows_drift = outlook != Outlook::Same;
        match outlook {
            Outlook::Same => longest_s,
            // A relief that follows the pressure is commanded anew every second.
            Outlook::Drifting if self.scenario.control.relief_channel.is_none() => MOVING_S,
            Outlook::Drifting | Outlook::New => 0.0,
        }
    }

    /// One long step of so many time steps, or of fewer when the controller decides anything before its end.
    pub(super) fn long_step(
        &self,
        steps: u64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) -> Result<(u64, UnitOutput), RunError> {
        let from = self.unit_readings(&state.plant);
        let moving = state.motors.iter().any(|m| m.moving);
        let flows_drift = scratch.flows_drift;
        scratch.before.assign(&state.plant, flows_drift);
        if moving {
            scratch.motors_before.clone_from(&state.motors);
        }
        let mut unit = self.step_plant_moving(steps, moving, state, scratch)?;
        let to = self.unit_readings(&state.plant);
        scratch.commands_before.take_over(&state.commands);
        let at = |part| from.towards(&to, part);
        let made = self.look_in_between(steps, moving, &at, state, scratch, events);
        if made < steps {
            // The new commands wait for the next step.
            state.next_commands.take_over(&state.commands);
            state.commands.take_over(&scratch.commands_before);
            state.decided = true;
            state.plant.assign(&scratch.before, flows_drift);
            unit = self.step_plant_moving(made, moving, state, scratch)?;
        } else {
            self.show_zones(state);
        }
        if moving {
            self.place_dampers(state, scratch);
        }
        Ok((made, unit))
    }

    /// The plant over so many time steps at once, of which the first has moved the dampers.
    fn step_plant_moving(
        &self,
        steps: u64,
        moving: bool,
        state: &mut State,
        scratch: &mut Scratch<'_>,
    ) -> Result<UnitOutput, RunError> {
        if moving {
            let targets = state.commands.channel_opening.iter();
            let motors = targets.zip(&scratch.motors_before);
            let actuators = self.scenario.control.actuators.iter().zip(motors);
            let positions = scratch.positions.iter_mut().zip(actuators);
            for (position, (actuator, (&target, motor))) in positions {
                *position = actuator.mean(target, self.dt_s, steps, motor);
            }
            self.set_openings(state, scratch);
        }
        // Nothing is switched in a long step.
        self.step_plant(steps, state, scratch, &mut Vec::new())
    }

    /// Thermostats, controller and motors, time step by time step; says how many passed until the
    /// controller decided anything, whose new commands then are in force.
    fn look_in_between(
        &self,
        steps: u64,
        moving: bool,
        unit_at: &impl Fn(f64) -> UnitReadings,
        state: &mut State,
        scratch: &mut Scratch<'_>,
        events: &mut Vec<Event>,
    ) -> u64 {
        for step in 1..steps {
            let part = step as f64 / steps as f64;
            let t_s = state.t_s + step as f64 * self.dt_s;
            self.read_sensors_between(part, t_s, state, scratch);
            self.control(t_s, &unit_at(part), state);
            if self.commands_changed(state, scratch) {
                return step;
            }
            if moving {
                self.drive_motors(t_s, state, events);
            }
        }
        steps
    }

    /// Whether what the controller just decided changes anything.
    fn commands_changed(&self, state: &State, scratch: &Scratch<'_>) -> bool {
        let (now, was) = (&state.commands, &scratch.commands_before);
        let motors = self.scenario.control.actuators.iter().zip(&state.motors);
        let targets = now.channel_opening.iter().zip(&was.channel_opening);
        !state.notices.is_empty()
            || now.unit != was.unit
            || now.fan_fraction != was.fan_fraction
            || (now.mode, now.phase) != (was.mode, was.phase)
            || motors
                .zip(targets)
                .any(|((actuator, motor), (target, before))| match motor.moving {
                    true => target != before,
                    false => !actuator.stays(*target, motor),
                })
    }

    /// Thermostats at a part of the way from the beginning of the long step to its end.
    fn read_sensors_between(
        &self,
        part: f64,
        t_s: f64,
        state: &mut State,
        scratch: &mut Scratch<'_>,
    ) {
        let part = Lanes::splat(part);
        let between = |a: Lanes, b: Lanes| a + part * (b - a);
        let (before, after) = (&scratch.before.house.rooms, &state.plant.house.rooms);
        let rooms = |block: usize| {
            let (from, to) = (&before.blocks[block], &after.blocks[block]);
            let air_c = between(from.air_c, to.air_c);
            (air_c, between(from.fabric_c, to.fabric_c))
        };
        let zone_c = self.thermostats.step(rooms, &mut state.sensors);
        state.readings.zone_c.copy_from_slice(zone_c);
        self.pass_readings(t_s, state, scratch);
    }

    /// Lengthens or shortens the next step by how the last one went: how far rooms ended from where they
    /// pointed, and supply air, which began at `supply_c`.
    pub(super) fn set_next_length(
        &self,
        steps: u64,
        deviation_k: f64,
        supply_c: f64,
        state: &mut State,
        flows_changed: bool,
    ) {
        let plant = &mut state.plant;
        let moved_k = plant.plenum.t_c - supply_c;
        let expected_k = plant.supply_k_per_step * steps as f64;
        plant.supply_k_per_step = moved_k / steps as f64;
        let most_k = if flows_changed {
            DEVIATION_OF_FLOWS_K
        } else {
            DEVIATION_K
        };
        let supply = (moved_k - expected_k).abs() / SUPPLY_DEVIATION_K;
        // A deviation grows with the square of the step.
        let longer = (deviation_k / most_k).max(supply).max(0.25).sqrt().recip();
        let most = self.constants.len() as f64;
        state.next_steps = (steps as f64 * longer).clamp(1.0, most);
    }
}
