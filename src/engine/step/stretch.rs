//! Quiet stretches: while nothing new is commanded, the plant goes in one longer step.
//!
//! A stretch is quiet when the controller has nothing new to say and the compressor holds its speed.
//! While motors are under way, or a relief's blade follows the pressure, it is short, and has the flows
//! of dampers as they stand in the mean of it. The thermostats, the motors and the controller still
//! go by time steps, and look at rooms, pressure and flow between the two ends of the long step; when
//! one of these looks changes anything, the long step is taken back and made again up to that
//! instant. How long a stretch may be follows from how far the last step went from where it pointed.
//!
//! Times of start and stop are therefore those of the short step, but for what the longer step does
//! to temperatures: `tests/quiet_stretches.rs` holds both to bounds.

use super::air::Felt;
use super::decide::Seen;
use super::{Engine, State};
use crate::control::Commands;
use crate::control::actuator::ActuatorState;
use crate::engine::RunError;
use crate::engine::event::Event;
use crate::math::lanes::Lanes;
use crate::plant::air::MoistAir;
use crate::plant::air_side::{AirBefore, AirCommand, Outlook};
use crate::plant::coupled_rooms::RoomsState;
use crate::plant::unit::{UnitOutput, UnitState};
use crate::scenario::Scenario;

/// How far a room may end a step from where it pointed at its outset, K. The step's own error is
/// some hundredth of it.
const SURPRISE_K: f64 = 0.003;
/// The same where flows changed, K: a room then turns at once and goes on straight, which troubles a
/// step far less than a bend that lasts.
const SURPRISE_OF_FLOWS_K: f64 = 4.0 * SURPRISE_K;
/// The same for supply air, which the cut-outs watch, K.
const SUPPLY_SURPRISE_K: f64 = 0.01;
/// Longest step in which dampers or a relief's blade move, s: blades take some seconds to follow, motors
/// a minute and more from stop to stop.
const DRIFT_S: f64 = 5.0;

/// What a stretch needs besides the step.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    /// Time steps that the next stretch may have.
    next: f64,
    most: f64,
    /// How supply air changed in the last step, K per time step.
    supply_k_per_step: f64,
    /// The controller has already looked at the instant at which the next step begins, and its
    /// commands wait here.
    decided: bool,
    waiting: Commands,
    rooms: RoomsState,
    plenum: MoistAir,
    unit: UnitState,
    motors: Vec<ActuatorState>,
    air: AirBefore,
    felt: Felt,
    trend_k: f64,
}

impl Stretch {
    /// At most so many time steps at once.
    pub(super) fn new(scenario: &Scenario, most: usize) -> Stretch {
        Stretch {
            next: 1.0,
            most: most as f64,
            supply_k_per_step: 0.0,
            decided: false,
            waiting: scenario.control.controller.commands(),
            rooms: RoomsState { blocks: Vec::new() },
            plenum: MoistAir { t_c: 0.0, w: 0.0 },
            unit: UnitState::default(),
            motors: vec![ActuatorState::at(0.0); scenario.control.actuators.len()],
            air: AirBefore::default(),
            felt: Felt::default(),
            trend_k: 0.0,
        }
    }
}

impl Engine<'_> {
    /// Takes up the commands that ended the last stretch; false where there are none.
    pub(super) fn resume(&mut self) -> bool {
        if self.stretch.decided {
            std::mem::swap(&mut self.commands, &mut self.stretch.waiting);
            self.stretch.decided = false;
            return true;
        }
        false
    }

    /// How many time steps may be made at once from here, of at most `most`.
    pub(super) fn quiet_steps(&mut self, most: u64, state: &State) -> u64 {
        let whole = self.stretch.next as u64;
        if most < 2 || whole < 2 || !self.holds_speed(state) {
            return 1;
        }
        let flows_s = self.flows_allow_s(state);
        // Weather is straight, and people, doors and time bands stay, within a minute; swings of
        // temperature are sampled twice in it.
        let half_s = 30.0 * ((state.t_s / 30.0 + 1e-9).floor() + 1.0) - state.t_s;
        let action = self
            .scenario
            .control
            .actions
            .get(self.next_action)
            .map(|a| a.0);
        let turns = self.faults.iter().flat_map(|f| [f.from_s, f.until_s]);
        let turns = turns.chain(action).map(|t_s| t_s - state.t_s);
        let quiet_s = turns
            .filter(|&s| s > 0.0)
            .fold(half_s.min(flows_s), f64::min);
        let room = (quiet_s / self.dt_s + 1e-6) as u64;
        whole.min(most).min(room).max(1)
    }

    /// Whether the unit goes on as it does.
    fn holds_speed(&self, state: &State) -> bool {
        let unit = &self.commands.unit;
        let kind = self.scenario.unit.unit.kind;
        let target = match unit.mode {
            None => 0.0,
            Some(_) => kind.target(unit.speed),
        };
        state.unit.speed == target && self.hand.is_none()
    }

    /// For how long the air network may go on from here without being asked again, s.
    fn flows_allow_s(&mut self, state: &State) -> f64 {
        let relief = self.scenario.control.relief_channel;
        let command = AirCommand {
            fan: self.commands.fan_fraction,
            openings: &self.openings,
            relief: relief.map_or(0.0, |c| self.standing[c]),
            open_doors: &self.drivers.at(state.t_s + 0.5 * self.dt_s).open,
        };
        let longest_s = self.stretch.most * self.dt_s;
        match self.air_side.outlook(&command, longest_s, &state.air) {
            Outlook::Same => longest_s,
            // A relief that follows the pressure is told anew every second.
            Outlook::Drifting if relief.is_none() => DRIFT_S,
            Outlook::Drifting | Outlook::New => 0.0,
        }
    }

    /// Dampers where they stand in the mean of so many time steps, of which the first has moved them.
    fn stand_between(&mut self, steps: u64, state: &mut State) {
        let told = self
            .commands
            .channel_opening
            .iter()
            .zip(&self.stretch.motors);
        let actuators = self.scenario.control.actuators.iter().zip(told);
        for (stands, (actuator, (&target, motor))) in self.standing.iter_mut().zip(actuators) {
            *stands = actuator.mean(target, self.dt_s, steps, motor);
        }
        self.set_openings(state);
    }

    /// One quiet stretch of so many time steps, or of fewer when the controller stirs.
    pub(super) fn pass(
        &mut self,
        steps: u64,
        state: &mut State,
        events: &mut Vec<Event>,
    ) -> Result<(u64, UnitOutput), RunError> {
        let before = self.seen(state);
        let moving = state.motors.iter().any(|m| m.moving);
        self.keep(moving, state);
        let mut unit = self.carry_between(steps, moving, state)?;
        let after = Seen {
            surface_c: unit.surface_c,
            ..self.seen(state)
        };
        self.stretch.waiting.take_over(&self.commands);
        let quiet = self.look_on(
            steps,
            moving,
            &|part| before.towards(&after, part),
            state,
            events,
        );
        if quiet < steps {
            std::mem::swap(&mut self.commands, &mut self.stretch.waiting);
            self.stretch.decided = true;
            let changed = self.air_changed;
            self.take_back(state);
            unit = self.carry_between(quiet, moving, state)?;
            self.air_changed |= changed;
        } else {
            self.look_at_zones(state);
        }
        if moving {
            self.stand(state);
        }
        Ok((quiet, unit))
    }

    /// The plant over so many time steps at once.
    fn carry_between(
        &mut self,
        steps: u64,
        moving: bool,
        state: &mut State,
    ) -> Result<UnitOutput, RunError> {
        if moving {
            self.stand_between(steps, state);
        }
        // Nothing is switched in a stretch.
        self.carry(steps, state, &mut Vec::new())
    }

    /// Thermostats, controller and motors, time step by time step; says how many passed until the
    /// controller stirred, whose new commands then stand.
    fn look_on(
        &mut self,
        steps: u64,
        moving: bool,
        seen: &impl Fn(f64) -> Seen,
        state: &mut State,
        events: &mut Vec<Event>,
    ) -> u64 {
        for step in 1..steps {
            let part = step as f64 / steps as f64;
            let t_s = state.t_s + step as f64 * self.dt_s;
            self.read_between(part, t_s, state);
            self.control(t_s, &seen(part), state);
            if self.stirs(state) {
                return step;
            }
            if moving {
                self.drive_motors(t_s, state, events);
            }
        }
        steps
    }

    /// Whether what the controller just decided changes anything.
    fn stirs(&self, state: &State) -> bool {
        let (now, was) = (&self.commands, &self.stretch.waiting);
        let motors = self.scenario.control.actuators.iter().zip(&state.motors);
        let targets = now.channel_opening.iter().zip(&was.channel_opening);
        !self.notices.is_empty()
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

    fn keep(&mut self, moving: bool, state: &State) {
        self.house.keep();
        let kept = &mut self.stretch;
        if moving {
            kept.motors.clone_from(&state.motors);
        }
        kept.air = state.air.keep();
        kept.felt = self.felt;
        kept.rooms.blocks.clone_from(&state.house.blocks);
        kept.plenum = state.plenum;
        kept.unit = state.unit;
        kept.trend_k = kept.supply_k_per_step;
    }

    fn take_back(&mut self, state: &mut State) {
        self.house.take_back();
        let kept = &mut self.stretch;
        kept.supply_k_per_step = kept.trend_k;
        state.house.blocks.clone_from(&kept.rooms.blocks);
        state.plenum = kept.plenum;
        state.unit = kept.unit;
        state.air.take_back(&kept.air);
        self.felt = kept.felt;
    }

    /// Thermostats at a part of the way from the beginning of the stretch to its end.
    fn read_between(&mut self, part: f64, t_s: f64, state: &mut State) {
        let part = Lanes::splat(part);
        let between = |a: Lanes, b: Lanes| a + part * (b - a);
        let rooms = |block: usize| {
            let (from, to) = (
                &self.stretch.rooms.blocks[block],
                &state.house.blocks[block],
            );
            let air_c = between(from.air_c, to.air_c);
            (air_c, between(from.fabric_c, to.fabric_c))
        };
        let readings_c = self.thermostats.step(rooms, &mut state.sensors);
        self.readings_c.copy_from_slice(readings_c);
        self.pass_readings(t_s, state);
    }

    /// Lengthens or shortens the next stretch by how the last step went, which took supply air from
    /// `from_c` to `to_c`.
    pub(super) fn judge_pace(&mut self, steps: u64, from_c: f64, to_c: f64) {
        let stretch = &mut self.stretch;
        let moved_k = to_c - from_c;
        let foreseen_k = stretch.supply_k_per_step * steps as f64;
        stretch.supply_k_per_step = moved_k / steps as f64;
        let most_k = if self.air_changed {
            SURPRISE_OF_FLOWS_K
        } else {
            SURPRISE_K
        };
        let rooms = self.house.surprise_k() / most_k;
        let supply = (moved_k - foreseen_k).abs() / SUPPLY_SURPRISE_K;
        // A surprise grows with the square of the step.
        let longer = rooms.max(supply).max(0.25).sqrt().recip();
        stretch.next = (steps as f64 * longer).clamp(1.0, stretch.most);
    }
}

impl Seen {
    fn towards(&self, end: &Seen, part: f64) -> Seen {
        let between = |a: f64, b: f64| a + part * (b - a);
        Seen {
            supply_c: between(self.supply_c, end.supply_c),
            surface_c: between(self.surface_c, end.surface_c),
            return_c: between(self.return_c, end.return_c),
            flow: self.flow.through(&end.flow, part),
        }
    }
}
