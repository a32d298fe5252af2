//! Power a fan takes, against flow at reference speed.

use super::curve::FanCurve;
use super::monotone_cubic::MonotoneCubic;
use thiserror::Error;

/// Share of the largest power that a curve is never continued below.
const FLOOR: f64 = 0.05;

/// Below this speed the motor's efficiency falls (our own figure).
const WEAK_SPEED: f64 = 0.4;

/// Why a power curve cannot be built.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum PowerCurveError {
    /// Too few points, or flows that do not rise.
    #[error("a power curve needs two points or more, with rising flow")]
    Points,
    /// A power, an efficiency or a flow is not usable.
    #[error("powers must be above zero and efficiencies above 0 and at most 1; found {0}")]
    Value(f64),
}

/// Power against flow at reference speed, W.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerCurve {
    curve: MonotoneCubic,
    floor_w: f64,
    /// Power of the electronics, W, at any speed above zero.
    pub standby_w: f64,
}

impl PowerCurve {
    /// Through `(flow m³/s, power W)` points.
    ///
    /// # Errors
    /// [`PowerCurveError`] if there are too few points or one is unusable.
    pub fn from_points(points: &[(f64, f64)]) -> Result<Self, PowerCurveError> {
        if points.len() < 2
            || points
                .windows(2)
                .any(|p| p[1].0.partial_cmp(&p[0].0) != Some(std::cmp::Ordering::Greater))
        {
            return Err(PowerCurveError::Points);
        }
        if let Some(&(_, bad)) = points.iter().find(|p| !(p.1 > 0.0 && p.1.is_finite())) {
            return Err(PowerCurveError::Value(bad));
        }
        let top = points.iter().fold(0.0_f64, |top, p| top.max(p.1));
        Ok(Self {
            curve: MonotoneCubic::new(points, None),
            floor_w: FLOOR * top,
            standby_w: 0.0,
        })
    }

    /// From `(flow m³/s, total efficiency)` points of fan and motor: `P = Q Δp/η`.
    ///
    /// # Errors
    /// [`PowerCurveError`] if there are too few points or one is unusable.
    pub fn from_efficiency(fan: &FanCurve, points: &[(f64, f64)]) -> Result<Self, PowerCurveError> {
        let mut powers = Vec::with_capacity(points.len());
        for &(flow, efficiency) in points {
            if !(efficiency > 0.0 && efficiency <= 1.0) {
                return Err(PowerCurveError::Value(efficiency));
            }
            powers.push((flow, flow * fan.pressure_pa(flow) / efficiency));
        }
        Self::from_points(&powers)
    }

    /// From one rated point: a straight line from 40 % at no flow (our own choice; a
    /// forward-curved fan takes less power when it is restricted).
    ///
    /// # Errors
    /// [`PowerCurveError`] if a figure is not above zero.
    pub fn from_rated_point(flow_m3_s: f64, power_w: f64) -> Result<Self, PowerCurveError> {
        Self::from_points(&[(0.0, 0.4 * power_w), (flow_m3_s, power_w)])
    }

    /// Power (W) and its slope (W per m³/s) at a flow, at reference speed, standby left out.
    pub fn power_and_slope(&self, flow_m3_s: f64) -> (f64, f64) {
        let first = self.curve.first();
        if flow_m3_s <= first.0 {
            return (first.1, 0.0);
        }
        let (power, slope) = self.curve.value_and_slope(flow_m3_s);
        if power > self.floor_w {
            (power, slope)
        } else {
            (self.floor_w, 0.0)
        }
    }

    /// Power at a share of reference speed, W, by the affinity law `s³ g(Q/s)`.
    pub fn affinity_power_w(&self, flow_m3_s: f64, speed: f64) -> f64 {
        if speed <= 0.0 {
            return 0.0;
        }
        speed.powi(3) * self.power_and_slope(flow_m3_s / speed).0
    }

    /// Power taken from the mains, W: the affinity law, with the motor losing efficiency below
    /// 40 % speed, down to half at standstill (our own figures), and the standby power.
    pub fn electric_power_w(&self, flow_m3_s: f64, speed: f64) -> f64 {
        if speed <= 0.0 {
            return 0.0;
        }
        let motor = if speed < WEAK_SPEED {
            0.5 + 0.5 * speed / WEAK_SPEED
        } else {
            1.0
        };
        self.affinity_power_w(flow_m3_s, speed) / motor + self.standby_w
    }

    /// Torque as the power it would take at reference speed, W: `s² g(Q/s)`.
    pub fn torque_w(&self, flow_m3_s: f64, speed: f64) -> f64 {
        if speed <= 0.0 {
            return 0.0;
        }
        speed * speed * self.power_and_slope(flow_m3_s / speed).0
    }
}
