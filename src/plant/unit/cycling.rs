//! Closed forms of on-off operation: start-up loss, thermostat parabola, hysteresis limit cycle.
//!
//! Nothing here enters the time step: a simulated start-up ramp already loses what a part-load
//! factor describes, and counting both would lose it twice. Use these to check a run, or to
//! say what it means.

use super::UnitError;

/// One on-off cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// Run, s.
    pub on_s: f64,
    /// Off-time, s.
    pub off_s: f64,
}

impl Cycle {
    /// On plus off, s.
    pub fn period_s(&self) -> f64 {
        self.on_s + self.off_s
    }

    /// Starts an hour.
    pub fn starts_per_h(&self) -> f64 {
        3600.0 / self.period_s()
    }

    /// Share of the time spent running.
    pub fn run_fraction(&self) -> f64 {
        self.on_s / self.period_s()
    }
}

/// Part-load factor of a run of `on_s` seconds with a start-up time constant of `tau_s`:
/// `1 − (τ/t)(1 − e^(−t/τ))`, the share of its steady output that the run delivered.
///
/// First-order start-up: O'Neal and Katipamula, ASHRAE Transactions 97(2), 1991 (abstract).
/// 0 for a run of no length, 1 without a ramp.
pub fn part_load_factor(tau_s: f64, on_s: f64) -> f64 {
    if on_s <= 0.0 {
        return 0.0;
    }
    if tau_s <= 0.0 {
        return 1.0;
    }
    1.0 + (-on_s / tau_s).exp_m1() * tau_s / on_s
}

/// Cooling load factor of a cycle: delivered output over steady output for the whole period.
pub fn load_factor(tau_s: f64, cycle: Cycle) -> f64 {
    part_load_factor(tau_s, cycle.on_s) * cycle.run_fraction()
}

/// Degradation coefficient of a cycle, `C_D = (1 − PLF)/(1 − CLF)`.
///
/// AHRI 210/240 and 10 CFR 430 Appendix M (from memory) rate it at 6 min on, 24 min off. It is a
/// property of machine and cycle together, not of the machine.
pub fn degradation_coefficient(tau_s: f64, cycle: Cycle) -> f64 {
    (1.0 - part_load_factor(tau_s, cycle.on_s)) / (1.0 - load_factor(tau_s, cycle))
}

/// Highest cycling rate of a thermostat, starts an hour: `Q/(4·C·δ)`.
///
/// `capacity_w` is the unit's output, `heat_capacity_j_k` of the room node the thermostat sees,
/// `band_k` the whole differential. Reached at half load.
pub fn highest_rate_per_h(capacity_w: f64, heat_capacity_j_k: f64, band_k: f64) -> f64 {
    3600.0 * capacity_w / (4.0 * heat_capacity_j_k * band_k)
}

/// Thermostat parabola `N = 4·N_max·X(1−X)`, starts an hour, for a run fraction `x` of 0 to 1.
///
/// NEMA DC 3, as used by Parken and others (1977) and Henderson and others (from memory).
pub fn parabola_starts_per_h(n_max_per_h: f64, x: f64) -> f64 {
    4.0 * n_max_per_h * x * (1.0 - x)
}

/// The cycle of the thermostat parabola at run fraction `x`, inside (0, 1):
/// `t_on = 1/(4·N_max(1−x))`, `t_off = 1/(4·N_max·x)`. The ends give infinite times.
pub fn parabola_cycle(n_max_per_h: f64, x: f64) -> Cycle {
    let quarter_s = 900.0 / n_max_per_h;
    Cycle {
        on_s: quarter_s / (1.0 - x),
        off_s: quarter_s / x,
    }
}

/// Part-load factor that agrees with the run fraction it causes, at load factor `clf` in [0, 1):
/// the parabola sets the run length, the run length sets the loss, the loss lengthens the run.
///
/// Form of Henderson and Rengarajan (1996, from memory), re-derived. The run fraction is
/// `clf / PLF`.
///
/// # Errors
/// [`UnitError::NotConverged`] when no run fraction below 1 meets the load.
pub fn self_consistent_part_load_factor(
    tau_s: f64,
    n_max_per_h: f64,
    clf: f64,
) -> Result<f64, UnitError> {
    // Rising in x: more running always delivers more. So bracket the run fraction.
    let plf = |x: f64| part_load_factor(tau_s, parabola_cycle(n_max_per_h, x).on_s);
    if !(0.0..1.0).contains(&clf) {
        return Err(UnitError::NotConverged {
            what: "the part-load factor (load of 1 or more)",
        });
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..100 {
        let x = 0.5 * (low + high);
        if x * plf(x) < clf { low = x } else { high = x }
    }
    Ok(plf(0.5 * (low + high)))
}

/// Seconds for a first-order temperature to go from `from_c` to `to_c` on its way to `towards_c`
/// with time constant `tau_s`; infinite when it never gets there, 0 when it is already past.
///
/// With `towards_c` the end temperature at full output this is also the optimum start.
pub fn first_order_time_s(tau_s: f64, from_c: f64, to_c: f64, towards_c: f64) -> f64 {
    let ratio = (from_c - towards_c) / (to_c - towards_c);
    if ratio >= 1.0 {
        tau_s * ratio.ln()
    } else if ratio >= 0.0 {
        0.0
    } else {
        f64::INFINITY
    }
}

/// A single room node under an on-off thermostat, in cooling or heating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HysteresisRoom {
    /// Time constant of the room node, s.
    pub tau_s: f64,
    /// Where the room would settle with the unit running, °C.
    pub running_c: f64,
    /// Where the room would settle with the unit stopped, °C.
    pub stopped_c: f64,
    /// The unit starts here, °C.
    pub start_c: f64,
    /// The unit stops here, °C.
    pub stop_c: f64,
    /// Shortest run allowed, s.
    pub min_on_s: f64,
    /// Shortest off-time allowed, s.
    pub min_off_s: f64,
}

/// The cycle a [`HysteresisRoom`] settles into.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitCycle {
    /// Its run and off-time.
    pub cycle: Cycle,
    /// Room temperature at the start of a run, °C.
    pub at_start_c: f64,
    /// Room temperature at the end of a run, °C.
    pub at_stop_c: f64,
}

impl LimitCycle {
    /// Peak-to-peak swing, K.
    pub fn swing_k(&self) -> f64 {
        (self.at_start_c - self.at_stop_c).abs()
    }
}

impl HysteresisRoom {
    /// The limit cycle, exact for a first-order room without sensor lag.
    ///
    /// Without minimum times: `t_on = τ ln((T_start − T_on∞)/(T_stop − T_on∞))`, and the like for
    /// the off-time. Minimum times carry the room past the band; the cycle is then followed
    /// until it repeats.
    ///
    /// # Errors
    /// [`UnitError::NotConverged`] when the room never reaches one of the two switching points:
    /// the unit then runs, or stays off, for good.
    pub fn limit_cycle(&self) -> Result<LimitCycle, UnitError> {
        let drift = |from_c: f64, towards_c: f64, time_s: f64| {
            towards_c + (from_c - towards_c) * (-time_s / self.tau_s).exp()
        };
        let never = UnitError::NotConverged {
            what: "the cycle (a switching point is not reached)",
        };
        let mut at_start_c = self.start_c;
        for _ in 0..10_000 {
            let on_s = first_order_time_s(self.tau_s, at_start_c, self.stop_c, self.running_c)
                .max(self.min_on_s);
            let at_stop_c = drift(at_start_c, self.running_c, on_s);
            let off_s = first_order_time_s(self.tau_s, at_stop_c, self.start_c, self.stopped_c)
                .max(self.min_off_s);
            if !(on_s.is_finite() && off_s.is_finite()) {
                return Err(never);
            }
            let next_c = drift(at_stop_c, self.stopped_c, off_s);
            if (next_c - at_start_c).abs() < 1e-12 {
                return Ok(LimitCycle {
                    cycle: Cycle { on_s, off_s },
                    at_start_c,
                    at_stop_c,
                });
            }
            at_start_c = next_c;
        }
        Err(never)
    }
}
