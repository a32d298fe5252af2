//! What a thermostat reads, and how it decides to call.
//!
//! The reading is built in one order: lag, offset, noise, resolution, sampling. It stands on the
//! plant's side of the wires; the controller itself sees only the finished reading.

use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::SeedableRng;

/// A hair of slack, so that summed steps sample on the step they stand for, s.
pub(super) const SAMPLE_SLACK_S: f64 = 1e-6;

/// A room sensor. All zeros is a perfect one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    /// Time constant of the first-order lag, s; 0 for none. Wall units: 120 to 300 s (common
    /// practice, no source).
    pub lag_s: f64,
    /// Constant error, K.
    pub offset_k: f64,
    /// Standard deviation of the Gaussian noise on each sample, K.
    pub noise_k: f64,
    /// Step of the reading, K; 0 for a continuous one.
    pub resolution_k: f64,
    /// Time between samples, s; the reading is held in between. 0 samples every step.
    pub sample_s: f64,
    /// Share of the wall temperature in what is sensed, 0 to 1 (common practice 0 to 0.3).
    pub wall_weight: f64,
}

impl Sensor {
    /// Reads the air as it is.
    pub const PERFECT: Self = Self {
        lag_s: 0.0,
        offset_k: 0.0,
        noise_k: 0.0,
        resolution_k: 0.0,
        sample_s: 0.0,
        wall_weight: 0.0,
    };

    /// A sensor at rest in a room at `air_c` with walls at `wall_c`, both °C. The seed fixes its
    /// noise.
    pub fn initial_state(&self, air_c: f64, wall_c: f64, seed: u64) -> SensorState {
        let sensed = self.sensed_c(air_c, wall_c);
        let mut state = SensorState {
            lagged_c: sensed,
            input_c: sensed,
            reading_c: sensed,
            since_sample_s: 0.0,
            weights: LagWeights::NONE,
            noise: Xoshiro256PlusPlus::seed_from_u64(seed),
        };
        state.reading_c = self.finish(&mut state);
        state
    }

    /// Advances the sensor by `dt_s` to air at `air_c` and walls at `wall_c` (both °C at the end
    /// of the step) and returns the reading, °C.
    ///
    /// The lag is solved exactly for an input that changes linearly over the step. An unknown
    /// input reads NaN and leaves the sensor as it was.
    #[inline]
    pub fn step(&self, air_c: f64, wall_c: f64, dt_s: f64, state: &mut SensorState) -> f64 {
        let input = self.sensed_c(air_c, wall_c);
        if !input.is_finite() {
            return f64::NAN;
        }
        state.lagged_c = if state.weights.dt_s == dt_s {
            state.weights.lagged_c(state, input)
        } else {
            state.weights = LagWeights::new(self.lag_s, dt_s);
            state.weights.lagged_c(state, input)
        };
        state.input_c = input;
        state.since_sample_s += dt_s;
        if state.since_sample_s >= self.sample_s - SAMPLE_SLACK_S {
            self.sample(dt_s, state);
        }
        state.reading_c
    }

    /// Takes the sample that is due; most steps fall between two.
    #[inline(never)]
    pub(super) fn sample(&self, dt_s: f64, state: &mut SensorState) {
        state.since_sample_s = if self.sample_s > dt_s {
            (state.since_sample_s - self.sample_s).max(0.0)
        } else {
            0.0
        };
        state.reading_c = self.finish(state);
    }

    #[inline]
    fn sensed_c(&self, air_c: f64, wall_c: f64) -> f64 {
        // A weight of zero must not let an unknown wall temperature spoil the reading. Bits, because
        // numbers would be compared by computing both branches.
        if self.wall_weight.to_bits() == 0 {
            air_c
        } else {
            air_c + self.wall_weight * (wall_c - air_c)
        }
    }

    fn finish(&self, state: &mut SensorState) -> f64 {
        let mut reading = state.lagged_c + self.offset_k;
        if self.noise_k > 0.0 {
            let deviations: f64 = StandardNormal.sample(&mut state.noise);
            reading += self.noise_k * deviations;
        }
        if self.resolution_k > 0.0 {
            reading = (reading / self.resolution_k).round() * self.resolution_k;
        }
        reading
    }
}

/// What a sensor remembers.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorState {
    /// Temperature of the sensing element, °C.
    pub lagged_c: f64,
    /// Reading now held, °C.
    pub reading_c: f64,
    input_c: f64,
    pub(super) since_sample_s: f64,
    weights: LagWeights,
    noise: Xoshiro256PlusPlus,
}

/// Weights of the exact first-order step for one `dt_s`: with a = e^(-h/tau) and
/// b = (1 - a) tau / h, y1 = a y0 + (b - a) x0 + (1 - b) x1 (linear input between x0 and x1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LagWeights {
    dt_s: f64,
    pub(super) old_output: f64,
    pub(super) old_input: f64,
    pub(super) new_input: f64,
}

impl LagWeights {
    /// For no step at all.
    const NONE: Self = Self {
        dt_s: f64::NEG_INFINITY,
        old_output: 1.0,
        old_input: 0.0,
        new_input: 0.0,
    };

    #[cold]
    pub(super) fn new(lag_s: f64, dt_s: f64) -> Self {
        if lag_s <= 0.0 {
            return Self {
                dt_s,
                old_output: 0.0,
                old_input: 0.0,
                new_input: 1.0,
            };
        }
        let h = dt_s / lag_s;
        // exp_m1 keeps 1 - a exact when the step is short against the lag.
        let one_less_a = -(-h).exp_m1();
        let a = 1.0 - one_less_a;
        let b = if h > 0.0 { one_less_a / h } else { 1.0 };
        Self {
            dt_s,
            old_output: a,
            old_input: b - a,
            new_input: 1.0 - b,
        }
    }

    #[inline]
    fn lagged_c(&self, before: &SensorState, input_c: f64) -> f64 {
        self.old_output * before.lagged_c
            + self.old_input * before.input_c
            + self.new_input * input_c
    }
}

/// Where the differential lies against the setpoint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placement {
    /// Half above, half below: a cooling call begins at setpoint + width/2 and ends at
    /// setpoint - width/2.
    Centred,
    /// All on the side of need: a cooling call begins at setpoint + width and ends at setpoint.
    OneSided,
}

/// Hysteresis of a thermostat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Differential {
    /// Total width, K; 0.5 to 1.0 K is common practice (no source).
    pub width_k: f64,
    /// Where it lies.
    pub placement: Placement,
}

impl Differential {
    /// Whether a zone calls. `error_k` is the need: reading minus setpoint when cooling, setpoint
    /// minus reading when heating. Between the two edges the call stays as it was; a NaN error
    /// never calls.
    pub fn calls(&self, error_k: f64, was_calling: bool) -> bool {
        let (begin, end) = match self.placement {
            Placement::Centred => (0.5 * self.width_k, -0.5 * self.width_k),
            Placement::OneSided => (self.width_k, 0.0),
        };
        if was_calling {
            error_k > end
        } else {
            error_k >= begin && error_k > end
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lag_is_exact_for_a_step_and_for_a_ramp_whatever_the_time_step() {
        // Textbook: step response 1 - e^(-t/tau); a ramp r t is followed as r (t - tau + tau e^(-t/tau)).
        let sensor = Sensor {
            lag_s: 120.0,
            ..Sensor::PERFECT
        };
        for dt in [0.5, 1.0, 30.0] {
            let mut ramp = sensor.initial_state(0.0, 0.0, 1);
            let mut n = 0.0;
            while n * dt < 600.0 {
                n += 1.0;
                sensor.step(0.01 * n * dt, 0.0, dt, &mut ramp);
            }
            let t = n * dt;
            let exact = 0.01 * (t - 120.0 + 120.0 * (-t / 120.0_f64).exp());
            assert!((ramp.reading_c - exact).abs() < 1e-10, "dt {dt}");
            // Constant input from a different start: set the element away from it by hand.
            let mut step = sensor.initial_state(1.0, 0.0, 1);
            step.lagged_c = 0.0;
            for _ in 0..(600.0 / dt) as usize {
                sensor.step(1.0, 0.0, dt, &mut step);
            }
            assert!(
                (step.reading_c - (1.0 - (-5.0_f64).exp())).abs() < 1e-10,
                "dt {dt}"
            );
        }
    }

    #[test]
    fn order_is_offset_then_resolution_then_hold() {
        let sensor = Sensor {
            offset_k: 0.2,
            resolution_k: 0.5,
            sample_s: 10.0,
            ..Sensor::PERFECT
        };
        let mut s = sensor.initial_state(20.0, 20.0, 1);
        assert_eq!(s.reading_c, 20.0, "20.2 rounds to 20.0");
        // 20.1 alone would round to 20.0; with the offset first it is 20.3, hence 20.5.
        let mut seen = Vec::new();
        for _ in 0..20 {
            seen.push(sensor.step(20.1, 20.0, 1.0, &mut s));
        }
        assert!(seen[..9].iter().all(|&r| r == 20.0), "{seen:?}");
        assert!(seen[9..].iter().all(|&r| r == 20.5), "{seen:?}");
    }

    #[test]
    fn noise_has_the_stated_spread_and_repeats_with_the_seed() {
        let sensor = Sensor {
            noise_k: 0.1,
            ..Sensor::PERFECT
        };
        let run = |seed| {
            let mut s = sensor.initial_state(20.0, 20.0, seed);
            (0..20_000)
                .map(|_| sensor.step(20.0, 20.0, 1.0, &mut s))
                .collect::<Vec<_>>()
        };
        let a = run(7);
        assert_eq!(a, run(7));
        assert_ne!(a, run(8));
        let n = a.len() as f64;
        let mean = a.iter().sum::<f64>() / n;
        let sd = (a.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        // Five standard errors: sigma/sqrt(n) for the mean, sigma/sqrt(2n) for the spread.
        assert!((mean - 20.0).abs() < 5.0 * 0.1 / n.sqrt(), "mean {mean}");
        assert!((sd - 0.1).abs() < 5.0 * 0.1 / (2.0 * n).sqrt(), "sd {sd}");
    }

    #[test]
    fn wall_weight_mixes_and_zero_weight_ignores_the_wall() {
        let sensor = Sensor {
            wall_weight: 0.25,
            ..Sensor::PERFECT
        };
        let mut s = sensor.initial_state(24.0, 20.0, 1);
        assert!((sensor.step(24.0, 20.0, 1.0, &mut s) - 23.0).abs() < 1e-12);
        let mut p = Sensor::PERFECT.initial_state(24.0, f64::NAN, 1);
        assert_eq!(Sensor::PERFECT.step(24.0, f64::NAN, 1.0, &mut p), 24.0);
    }

    #[test]
    fn differential_edges() {
        let centred = Differential {
            width_k: 1.0,
            placement: Placement::Centred,
        };
        assert!(!centred.calls(0.49, false) && centred.calls(0.5, false));
        assert!(centred.calls(-0.49, true) && !centred.calls(-0.5, true));
        let one = Differential {
            width_k: 1.0,
            placement: Placement::OneSided,
        };
        assert!(!one.calls(0.99, false) && one.calls(1.0, false));
        assert!(one.calls(0.01, true) && !one.calls(0.0, true));
        assert!(!one.calls(f64::NAN, true) && !one.calls(f64::NAN, false));
    }
}
