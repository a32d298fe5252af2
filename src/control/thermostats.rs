//! All thermostats of a house at once.
//!
//! The readings are those of [`Sensor::step`] for each, with all that stays the same from step to
//! step worked out beforehand. Sensing elements lag in every step and go by blocks of rooms, as the
//! rooms do; samples are taken one by one, in the few steps in which one is due.

use super::thermostat::{LagWeights, SAMPLE_SLACK_S, Sensor, SensorState};
use crate::math::lanes::{LANES, Lanes, Seat};

/// The thermostats of a house, stepped by one length of step.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Thermostats {
    dt_s: f64,
    sensors: Vec<Sensor>,
    /// Where among the elements each sensor's own is.
    seats: Vec<Seat>,
    elements: Vec<Elements>,
}

/// Sensing elements in the rooms of a block, at most one a room; weights are zero where there is
/// none.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Elements {
    /// The block of rooms.
    block: usize,
    taken: [bool; LANES],
    wall_weight: Lanes,
    old_output: Lanes,
    old_input: Lanes,
    new_input: Lanes,
}

/// What the thermostats remember.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermostatsState {
    elements: Vec<ElementsState>,
    each: Vec<SensorState>,
    readings_c: Vec<f64>,
    /// Time since the sensors were last looked at, and when one of them samples next, s.
    waited_s: f64,
    due_s: f64,
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct ElementsState {
    lagged_c: Lanes,
    input_c: Lanes,
}

impl Thermostats {
    /// Sensors, each with its room, to be stepped by `dt_s`.
    pub(crate) fn new(sensors: impl IntoIterator<Item = (Sensor, usize)>, dt_s: f64) -> Self {
        let mut all = Self {
            dt_s,
            sensors: Vec::new(),
            seats: Vec::new(),
            elements: Vec::new(),
        };
        for (sensor, room) in sensors {
            let seat = all.seat_in(room);
            let Elements {
                wall_weight,
                old_output,
                old_input,
                new_input,
                ..
            } = &mut all.elements[seat.block];
            let weights = LagWeights::new(sensor.lag_s, dt_s);
            *seat.of_mut(wall_weight) = sensor.wall_weight;
            *seat.of_mut(old_output) = weights.old_output;
            *seat.of_mut(old_input) = weights.old_input;
            *seat.of_mut(new_input) = weights.new_input;
            all.sensors.push(sensor);
            all.seats.push(seat);
        }
        all
    }

    /// A free seat among the elements for a sensor in `room`.
    fn seat_in(&mut self, room: usize) -> Seat {
        let Seat { block, lane } = Seat::of(room);
        let free = |e: &Elements| e.block == block && !e.taken[lane];
        let at = self.elements.iter().position(free).unwrap_or_else(|| {
            self.elements.push(Elements {
                block,
                taken: [false; LANES],
                wall_weight: Lanes::ZERO,
                old_output: Lanes::ZERO,
                old_input: Lanes::ZERO,
                new_input: Lanes::ZERO,
            });
            self.elements.len() - 1
        });
        self.elements[at].taken[lane] = true;
        Seat { block: at, lane }
    }

    /// Sensors at rest. `at` gives air and wall temperature, °C, and the seed of the noise of each.
    pub(crate) fn initial_state(&self, at: impl Fn(usize) -> (f64, f64, u64)) -> ThermostatsState {
        let mut elements = vec![ElementsState::default(); self.elements.len()];
        let mut each = Vec::with_capacity(self.sensors.len());
        for (i, (sensor, seat)) in self.sensors.iter().zip(&self.seats).enumerate() {
            let (air_c, wall_c, seed) = at(i);
            let state = sensor.initial_state(air_c, wall_c, seed);
            *seat.of_mut(&mut elements[seat.block].lagged_c) = state.lagged_c;
            *seat.of_mut(&mut elements[seat.block].input_c) = state.lagged_c;
            each.push(state);
        }
        ThermostatsState {
            elements,
            readings_c: each.iter().map(|s| s.reading_c).collect(),
            each,
            waited_s: 0.0,
            // The first look finds out.
            due_s: 0.0,
        }
    }

    /// Advances every sensor by a step and returns the readings, °C. `rooms` gives air and walls of a
    /// block of rooms at the end of the step, °C; they must be known.
    #[inline]
    pub(crate) fn step<'a>(
        &self,
        rooms: impl Fn(usize) -> (Lanes, Lanes),
        state: &'a mut ThermostatsState,
    ) -> &'a [f64] {
        for (e, now) in self.elements.iter().zip(&mut state.elements) {
            let (air_c, wall_c) = rooms(e.block);
            let input_c = air_c + e.wall_weight * (wall_c - air_c);
            now.lagged_c =
                e.old_output * now.lagged_c + e.old_input * now.input_c + e.new_input * input_c;
            now.input_c = input_c;
        }
        state.waited_s += self.dt_s;
        if state.waited_s >= state.due_s {
            self.sample(state);
        }
        &state.readings_c
    }

    /// Takes the samples that are due.
    #[inline(never)]
    fn sample(&self, state: &mut ThermostatsState) {
        state.due_s = f64::INFINITY;
        let sensors = self.sensors.iter().zip(&self.seats);
        let states = state.each.iter_mut().zip(&mut state.readings_c);
        for ((sensor, seat), (s, reading_c)) in sensors.zip(states) {
            s.since_sample_s += state.waited_s;
            if s.since_sample_s >= sensor.sample_s - SAMPLE_SLACK_S {
                s.lagged_c = seat.get(&state.elements[seat.block].lagged_c);
                sensor.sample(self.dt_s, s);
                *reading_c = s.reading_c;
            }
            let left_s = sensor.sample_s - SAMPLE_SLACK_S - s.since_sample_s;
            state.due_s = state.due_s.min(left_s);
        }
        state.waited_s = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against each sensor stepped by itself, bit by bit: with and without lag, wall, noise and
    /// resolution, sampled alike and not, two of them in one room and rooms without any.
    #[test]
    fn they_read_as_each_alone_does() {
        let rooms = [0, 1, 1, 4, 6, 3];
        let sensors: Vec<Sensor> = (0..rooms.len())
            .map(|i| Sensor {
                lag_s: [0.0, 180.0, 120.0, 300.0, 60.0, 0.0][i],
                offset_k: 0.1 * i as f64,
                noise_k: [0.0, 0.1][i % 2],
                resolution_k: [0.1, 0.0, 0.5][i % 3],
                sample_s: [10.0, 0.0, 30.0, 10.0, 7.0, 10.0][i],
                wall_weight: [0.2, 0.0, 0.3][i % 3],
            })
            .collect();
        for dt_s in [1.0, 0.5, 0.1, 20.0] {
            let air_c = |room: usize, t_s: f64| 22.0 + room as f64 + (t_s / 700.0).sin();
            let wall_c = |room: usize, t_s: f64| 25.0 - 0.3 * room as f64 + (t_s / 9000.0).cos();
            let start = |i: usize| (air_c(rooms[i], 0.0), wall_c(rooms[i], 0.0), i as u64);
            let all = Thermostats::new(sensors.iter().copied().zip(rooms), dt_s);
            let mut state = all.initial_state(start);
            let mut alone: Vec<SensorState> = (0..rooms.len())
                .map(|i| {
                    let (air_c, wall_c, seed) = start(i);
                    sensors[i].initial_state(air_c, wall_c, seed)
                })
                .collect();
            for k in 1..5_000 {
                let t_s = f64::from(k) * dt_s;
                let lanes = |block: usize, of: &dyn Fn(usize, f64) -> f64| {
                    Lanes::from([of(2 * block, t_s), of(2 * block + 1, t_s)])
                };
                let block = |b| (lanes(b, &air_c), lanes(b, &wall_c));
                let readings_c = all.step(block, &mut state).to_vec();
                for (i, s) in alone.iter_mut().enumerate() {
                    let (air_c, wall_c) = (air_c(rooms[i], t_s), wall_c(rooms[i], t_s));
                    let want = sensors[i].step(air_c, wall_c, dt_s, s);
                    assert_eq!(readings_c[i], want, "sensor {i} at {t_s} s");
                }
            }
        }
    }
}
