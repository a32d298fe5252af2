//! A damper motor: it moves the blade toward a target at a limited rate.

/// A damper motor with a constant rate and a dead band on the command.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Actuator {
    /// Time for full travel, s. Zero or less moves at once.
    pub travel_s: f64,
    /// A resting motor ignores a target nearer than this, fraction of travel. A target at an end
    /// stop (0 or 1) is always obeyed.
    pub dead_band: f64,
}

/// Where a motor is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ActuatorState {
    /// Position, 0 closed to 1 open.
    pub position: f64,
    /// Whether it is on its way to a target.
    pub moving: bool,
    /// Travel so far, in full strokes: a measure of wear.
    pub strokes: f64,
    /// Number of times it has set off.
    pub moves: u64,
}

impl ActuatorState {
    /// A motor at rest at `position` (limited to 0..1).
    pub fn at(position: f64) -> Self {
        Self {
            position: position.clamp(0.0, 1.0),
            moving: false,
            strokes: 0.0,
            moves: 0,
        }
    }
}

/// Below this a distance to go counts as arrived, so that rounding cannot add a step.
const ARRIVED: f64 = 1e-12;

impl Actuator {
    /// Whether a motor at `state` would stay where it is if told `target`.
    pub fn stays(&self, target: f64, state: &ActuatorState) -> bool {
        let target = target.clamp(0.0, 1.0);
        let to_go = target - state.position;
        let arrived = to_go.abs() <= ARRIVED;
        target.is_nan() || (!state.moving && (arrived || self.ignores(to_go, target)))
    }

    /// Whether a resting motor takes no notice of a target, 0..1, so far from where it is.
    fn ignores(&self, to_go: f64, target: f64) -> bool {
        let at_stop = target == 0.0 || target == 1.0;
        to_go.abs() <= self.dead_band && !at_stop
    }

    /// Where a motor under way to `target` stands in the mean of now and the ends of the steps of `dt_s`
    /// that follow, `times` in all; one at rest stays.
    pub fn mean(&self, target: f64, dt_s: f64, times: u64, state: &ActuatorState) -> f64 {
        if !state.moving {
            return state.position;
        }
        let (mut on, mut sum) = (*state, state.position);
        for _ in 1..times {
            sum += self.step(target, dt_s, &mut on);
        }
        sum / times as f64
    }

    /// Moves toward `target` (limited to 0..1; NaN keeps the position) for `dt_s` seconds and
    /// returns the new position. Once off, the motor goes all the way to its target.
    pub fn step(&self, target: f64, dt_s: f64, state: &mut ActuatorState) -> f64 {
        // Nearly every motor in nearly every step stands where it should.
        if target == state.position {
            state.moving = false;
            return target;
        }
        if target.is_nan() {
            return state.position;
        }
        let target = target.clamp(0.0, 1.0);
        let to_go = target - state.position;
        if to_go.abs() <= ARRIVED {
            state.position = target;
            state.moving = false;
            return target;
        }
        if !state.moving {
            if self.ignores(to_go, target) {
                return state.position;
            }
            state.moving = true;
            state.moves += 1;
        }
        let reach = if self.travel_s > 0.0 {
            dt_s.max(0.0) / self.travel_s
        } else {
            1.0
        };
        if to_go.abs() <= reach + ARRIVED {
            state.position = target;
            state.moving = false;
            state.strokes += to_go.abs();
        } else {
            state.position += reach.copysign(to_go);
            state.strokes += reach;
        }
        state.position
    }
}
