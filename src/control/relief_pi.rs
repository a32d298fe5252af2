//! Motorised relief: proportional-integral control of its damper on supply-plenum static pressure.

/// PI control of the relief damper. Above the setpoint it opens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReliefPi {
    /// Static pressure to hold, Pa.
    pub setpoint_pa: f64,
    /// Proportional gain, opening per Pa.
    pub gain_per_pa: f64,
    /// Integral time, s; 0 or less is proportional only. About 0.3 to 1 times the travel time.
    pub integral_s: f64,
    /// Time constant of the filter on the reading, s.
    pub filter_s: f64,
    /// Error left alone on either side of the setpoint, Pa.
    pub dead_band_pa: f64,
    /// Full travel time of its motor, s: the command moves no faster, so it cannot run ahead of
    /// the blade. 0 or less sets no limit.
    pub travel_s: f64,
}

/// What the relief control remembers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReliefPiState {
    /// Commanded opening, 0 to 1.
    pub opening: f64,
    /// Filtered reading, Pa; NaN before the first.
    pub filtered_pa: f64,
    integral: f64,
    filter_dt_s: f64,
    filter_keep: f64,
}

impl Default for ReliefPiState {
    fn default() -> Self {
        Self {
            opening: 0.0,
            filtered_pa: f64::NAN,
            integral: 0.0,
            filter_dt_s: f64::NAN,
            filter_keep: 0.0,
        }
    }
}

impl ReliefPi {
    /// Advances by `dt_s` with the reading `static_pa` and returns the opening to command.
    ///
    /// With the fan off the command runs to closed and the integral is cleared. A lost reading
    /// (NaN) holds the opening. Anti-windup: the integral stands still while the command is held
    /// back, by an end stop or by the motor's rate, on the side the error pushes to.
    pub fn step(&self, static_pa: f64, fan_on: bool, dt_s: f64, s: &mut ReliefPiState) -> f64 {
        if !fan_on {
            *s = ReliefPiState {
                filter_dt_s: s.filter_dt_s,
                filter_keep: s.filter_keep,
                ..ReliefPiState::default()
            };
            return 0.0;
        }
        if static_pa.is_nan() || dt_s <= 0.0 {
            return s.opening;
        }
        if s.filtered_pa.is_nan() || self.filter_s <= 0.0 {
            s.filtered_pa = static_pa;
        } else {
            if s.filter_dt_s != dt_s {
                s.filter_dt_s = dt_s;
                s.filter_keep = (-dt_s / self.filter_s).exp();
            }
            s.filtered_pa = static_pa + s.filter_keep * (s.filtered_pa - static_pa);
        }
        let raw = s.filtered_pa - self.setpoint_pa;
        let error = raw - raw.clamp(-self.dead_band_pa.abs(), self.dead_band_pa.abs());
        let proportional = self.gain_per_pa * error;
        let change = if self.integral_s > 0.0 {
            proportional * dt_s / self.integral_s
        } else {
            0.0
        };
        let wanted = proportional + s.integral + change;
        let reach = if self.travel_s > 0.0 {
            dt_s / self.travel_s
        } else {
            1.0
        };
        let given = wanted
            .clamp(s.opening - reach, s.opening + reach)
            .clamp(0.0, 1.0);
        let held_back = wanted - given;
        if held_back == 0.0 || held_back * change < 0.0 {
            s.integral = (s.integral + change).clamp(0.0, 1.0);
        }
        s.opening = given;
        given
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PI: ReliefPi = ReliefPi {
        setpoint_pa: 80.0,
        gain_per_pa: 0.002,
        integral_s: 60.0,
        filter_s: 3.0,
        dead_band_pa: 4.0,
        travel_s: 90.0,
    };

    /// Constant flow through fixed outlets and a relief: p = (V / (G + g u))^2.
    fn plenum_pa(flow: f64, outlets: f64, relief: f64, u: f64) -> f64 {
        (flow / (outlets + relief * u)).powi(2)
    }

    #[test]
    fn settles_within_the_dead_band() {
        let mut s = ReliefPiState::default();
        let mut u = 0.0;
        // One zone of 40 % at full flow: 0.5/0.0224 squared is 498 Pa with the relief shut.
        for _ in 0..3600 {
            u = PI.step(plenum_pa(0.5, 0.0224, 0.06, u), true, 1.0, &mut s);
        }
        let p = plenum_pa(0.5, 0.0224, 0.06, u);
        assert!((p - 80.0).abs() <= PI.dead_band_pa + 0.1, "{p} Pa at {u}");
    }

    #[test]
    fn hours_against_the_stop_do_not_delay_the_return() {
        // Without wind-up, the time to shut does not depend on how long it was wide open.
        let back_after = |open_s: usize| {
            let mut s = ReliefPiState::default();
            for _ in 0..open_s {
                PI.step(500.0, true, 1.0, &mut s);
            }
            assert_eq!(s.opening, 1.0);
            (0..10_000).position(|_| PI.step(20.0, true, 1.0, &mut s) == 0.0)
        };
        let short = back_after(300);
        assert!(short.is_some());
        assert_eq!(back_after(10_800), short);
        // The integral falls by K (60 - 4) / Ti each second, from 1 at the most.
        let slowest_s = 60.0 / (0.002 * 56.0);
        assert!(short.is_some_and(|s| (s as f64) < slowest_s), "{short:?}");
    }

    #[test]
    fn command_never_outruns_the_motor_and_stays_in_range() {
        let mut s = ReliefPiState::default();
        let mut before = 0.0;
        for k in 0..1000 {
            let p = if k % 200 < 100 { 600.0 } else { 0.0 };
            let u = PI.step(p, true, 1.0, &mut s);
            assert!((0.0..=1.0).contains(&u));
            assert!((u - before).abs() <= 1.0 / 90.0 + 1e-12);
            before = u;
        }
        assert_eq!(PI.step(600.0, false, 1.0, &mut s), 0.0);
        s.opening = 0.4;
        assert_eq!(PI.step(f64::NAN, true, 1.0, &mut s), 0.4);
    }
}
