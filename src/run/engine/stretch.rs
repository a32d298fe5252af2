//! Quiet stretches: while nothing moves, the plant goes in one longer step.
//!
//! A stretch is quiet when the controller has nothing new to say, every motor rests, the compressor
//! holds its speed and the air network would give the same flows. The thermostats and the controller
//! still look every time step, at rooms between the two ends of the long step; when one of these
//! looks changes anything, the long step is taken back and made again up to that instant. How
//! long a stretch may be follows from how far the last step went from where it pointed.
//!
//! Times of start and stop are therefore those of the short step, but for what the longer step does
//! to temperatures: `tests/quiet_stretches.rs` holds both to bounds.

use super::{Engine, Seen, State};
use crate::control::Commands;
use crate::math::lanes::Lanes;
use crate::plant::air::MoistAir;
use crate::plant::air_side::AirCommand;
use crate::plant::coupled_rooms::RoomsState;
use crate::plant::unit::{UnitOutput, UnitState};
use crate::run::RunError;
use crate::scenario::Scenario;

/// How far a room may end a step from where it pointed at its outset, K. The step's own error is
/// some hundredth of it.
const SURPRISE_K: f64 = 0.003;
/// The same for supply air, which the cut-outs watch, K.
const SUPPLY_SURPRISE_K: f64 = 0.05;

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
    fan_hours: f64,
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
            fan_hours: 0.0,
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
        if most < 2 || whole < 2 || !self.is_quiet(state) {
            return 1;
        }
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
        let quiet_s = turns.filter(|&s| s > 0.0).fold(half_s, f64::min);
        let room = (quiet_s / self.dt_s + 1e-6) as u64;
        whole.min(most).min(room).max(1)
    }

    fn is_quiet(&mut self, state: &State) -> bool {
        let unit = &self.commands.unit;
        let kind = self.scenario.unit.unit.kind;
        let holds_speed = match unit.mode {
            None => state.unit.speed == 0.0,
            Some(_) => state.unit.speed == kind.target(unit.speed),
        };
        if !holds_speed || self.hand.is_some() {
            return false;
        }
        if state.motors.iter().any(|m| m.moving) {
            return false;
        }
        let relief = self.scenario.control.relief_channel;
        let command = AirCommand {
            fan: self.commands.fan_fraction,
            openings: &self.openings,
            relief: relief.map_or(0.0, |c| state.motors[c].position),
            open_doors: &self.drivers.at(state.t_s + 0.5 * self.dt_s).open,
        };
        let longest_s = self.stretch.most * self.dt_s;
        self.air_side.holds(&command, longest_s, &state.air)
    }

    /// One quiet stretch of so many time steps, or of fewer when the controller stirs.
    pub(super) fn pass(
        &mut self,
        steps: u64,
        state: &mut State,
    ) -> Result<(u64, UnitOutput), RunError> {
        let before = self.seen(state);
        self.keep(state);
        let unit = self.carry(steps, state, &mut Vec::new())?;
        let after = Seen {
            surface_c: unit.surface_c,
            ..self.seen(state)
        };
        self.stretch.waiting.take_over(&self.commands);
        for step in 1..steps {
            let part = step as f64 / steps as f64;
            let t_s = state.t_s + step as f64 * self.dt_s;
            self.read_between(part, t_s, state);
            self.control(t_s, &before.towards(&after, part), state);
            if self.stirs(state) {
                std::mem::swap(&mut self.commands, &mut self.stretch.waiting);
                self.stretch.decided = true;
                self.take_back(state);
                let unit = self.carry(step, state, &mut Vec::new())?;
                return Ok((step, unit));
            }
        }
        self.look_at_zones(state);
        Ok((steps, unit))
    }

    /// Whether what the controller just decided changes anything.
    fn stirs(&self, state: &State) -> bool {
        let (now, was) = (&self.commands, &self.stretch.waiting);
        let motors = self.scenario.control.actuators.iter().zip(&state.motors);
        !self.notices.is_empty()
            || now.unit != was.unit
            || now.fan_fraction != was.fan_fraction
            || (now.mode, now.phase) != (was.mode, was.phase)
            || motors
                .zip(&now.channel_opening)
                .any(|((actuator, motor), &target)| !actuator.stays(target, motor))
    }

    fn keep(&mut self, state: &State) {
        self.house.keep();
        let kept = &mut self.stretch;
        kept.rooms.blocks.clone_from(&state.house.blocks);
        kept.plenum = state.plenum;
        kept.unit = state.unit;
        kept.fan_hours = state.air.fan_hours;
        kept.trend_k = kept.supply_k_per_step;
    }

    fn take_back(&mut self, state: &mut State) {
        self.house.take_back();
        let kept = &mut self.stretch;
        kept.supply_k_per_step = kept.trend_k;
        state.house.blocks.clone_from(&kept.rooms.blocks);
        state.plenum = kept.plenum;
        state.unit = kept.unit;
        state.air.fan_hours = kept.fan_hours;
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
        let rooms = self.house.surprise_k() / SURPRISE_K;
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
        }
    }
}
