//! What turns the fan: fixed speed, constant torque or constant airflow, with limits.

use super::power::PowerCurve;

/// What the drive holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Drive {
    /// A share of reference speed; zero or less is standstill. Limits do not apply.
    FixedSpeed {
        /// Share of reference speed.
        speed: f64,
    },
    /// Torque, as the power it would take at reference speed.
    ConstantTorque {
        /// Torque times reference angular speed, W.
        torque_w: f64,
        /// Limits of speed and power.
        limits: Limits,
    },
    /// Flow, as long as the limits allow; beyond, the fan follows its curve at the limit.
    ConstantAirflow {
        /// Flow to hold, m³/s.
        flow_m3_s: f64,
        /// Limits of speed and power.
        limits: Limits,
    },
}

/// Limits of a variable drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lowest share of reference speed, above zero.
    pub speed_min: f64,
    /// Highest share of reference speed.
    pub speed_max: f64,
    /// Highest power, W (affinity law, without standby).
    pub power_max_w: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            speed_min: 0.1,
            speed_max: 1.0,
            power_max_w: f64::INFINITY,
        }
    }
}

impl Drive {
    /// Speed and its slope at a flow scaled to reference speed, `x = Q/s`.
    ///
    /// In that variable every drive is explicit, so neither torque nor airflow needs a search of
    /// its own: the balance searches `x` alone.
    pub(super) fn speed_and_slope(&self, x: f64, power: &PowerCurve) -> (f64, f64) {
        let (speed, slope, limits) = match self {
            Self::FixedSpeed { speed } => return (*speed, 0.0),
            Self::ConstantTorque { torque_w, limits } => {
                let (g, dg) = power.power_and_slope(x);
                let speed = (torque_w.max(0.0) / g).sqrt();
                (speed, -0.5 * speed * dg / g, limits)
            }
            Self::ConstantAirflow { flow_m3_s, limits } => {
                if x <= 0.0 {
                    (f64::INFINITY, 0.0, limits)
                } else {
                    let speed = flow_m3_s / x;
                    (speed, -speed / x, limits)
                }
            }
        };
        let (mut speed, mut slope) = (speed, slope);
        if limits.power_max_w.is_finite() {
            let (g, dg) = power.power_and_slope(x);
            let cap = (limits.power_max_w / g).cbrt();
            if speed > cap {
                (speed, slope) = (cap, -cap * dg / (3.0 * g));
            }
        }
        if speed > limits.speed_max {
            return (limits.speed_max, 0.0);
        }
        let lowest = limits.speed_min.max(1e-3);
        if speed < lowest {
            (lowest, 0.0)
        } else {
            (speed, slope)
        }
    }
}
