//! Fans: pressure and power curves, affinity laws, drives, and the fan as a network element.

mod curve;
mod drive;
mod monotone_cubic;
mod power;

pub use curve::{FanCurve, FanCurveError, GENERIC_SHUT_OFF};
pub use drive::{Drive, Limits};
pub use power::{PowerCurve, PowerCurveError};

use super::network::LinearQuadratic;
use std::sync::Arc;

/// Speed below which a turning rotor begins to obstruct like a stopped one (our own figure).
const ROTOR_SPEED: f64 = 0.2;

/// A fan: how much pressure it makes and how much power it takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Fan {
    /// Pressure rise against flow.
    pub curve: FanCurve,
    /// Power against flow.
    pub power: PowerCurve,
}

/// A fan with its drive and the resistance inside the unit, as one network element.
///
/// Flow from the inlet to the outlet node falls as the outlet's pressure rises, for every drive.
#[derive(Debug, Clone, PartialEq)]
pub struct FanLaw {
    /// The fan.
    pub fan: Arc<Fan>,
    /// Its drive.
    pub drive: Drive,
    /// Filter, coil and whatever else lies between the element's nodes.
    pub series: LinearQuadratic,
}

/// Where a fan runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FanPoint {
    /// Flow, m³/s.
    pub flow_m3_s: f64,
    /// Share of reference speed.
    pub speed: f64,
    /// Pressure the fan itself makes, Pa, the loss inside the unit included.
    pub rise_pa: f64,
    /// Power from the mains, W.
    pub power_w: f64,
    /// Torque as power at reference speed, W.
    pub torque_w: f64,
    /// Whether it runs left of its peak.
    pub stalled: bool,
}

impl FanLaw {
    /// Flow (m³/s) and its slope (m³/s per Pa of rise, not above zero) against an external
    /// pressure rise; `memo` keeps the last answer as the next start.
    pub fn flow_and_slope(&self, rise_pa: f64, memo: &mut f64) -> (f64, f64) {
        let LinearQuadratic { a, b } = self.series;
        let curve = &self.fan.curve;
        let free = curve.free_flow_m3_s();
        let steepest = 1e6 * free / curve.shut_off_pa().abs().max(1e-3);
        if let Drive::FixedSpeed { speed } = self.drive {
            let speed = speed.max(0.0);
            let rotor = (1.0 - speed / ROTOR_SPEED).max(0.0) * curve.shut_off_pa() / (free * free);
            let (a, b) = (a + 0.01 * rotor * free, b + rotor);
            let rise = |q: f64| {
                let (p, dp) = if speed > 1e-6 {
                    let (p, dp) = curve.pressure_and_slope(q / speed);
                    (speed * speed * p, speed * dp)
                } else {
                    (0.0, 0.0)
                };
                (p - q * (a + b * q.abs()), dp - a - 2.0 * b * q.abs())
            };
            let flow = invert(rise, rise_pa, *memo, free);
            *memo = flow;
            return (flow, (1.0 / rise(flow).1).max(-steepest));
        }
        let rise = |x: f64| {
            let (s, ds) = self.drive.speed_and_slope(x, &self.fan.power);
            let (p, dp) = curve.pressure_and_slope(x);
            let (q, dq) = (s * x, s + x * ds);
            (
                s * s * p - q * (a + b * q.abs()),
                2.0 * s * ds * p + s * s * dp - dq * (a + 2.0 * b * q.abs()),
            )
        };
        let x = invert(rise, rise_pa, *memo, free);
        *memo = x;
        let (s, ds) = self.drive.speed_and_slope(x, &self.fan.power);
        (s * x, ((s + x * ds) / rise(x).1).clamp(-steepest, 0.0))
    }

    /// Where the fan runs against an external pressure rise, Pa.
    pub fn point(&self, rise_pa: f64) -> FanPoint {
        let mut memo = self.fan.curve.free_flow_m3_s();
        let (flow_m3_s, _) = self.flow_and_slope(rise_pa, &mut memo);
        let speed = match self.drive {
            Drive::FixedSpeed { speed } => speed.max(0.0),
            _ => self.drive.speed_and_slope(memo, &self.fan.power).0,
        };
        FanPoint {
            flow_m3_s,
            speed,
            rise_pa: rise_pa + self.series.drop_pa(flow_m3_s),
            power_w: self.fan.power.electric_power_w(flow_m3_s, speed),
            torque_w: self.fan.power.torque_w(flow_m3_s, speed),
            stalled: self.fan.curve.is_stalled(flow_m3_s, speed),
        }
    }
}

/// Solves `f(x) = target` for a falling function given with its slope: Newton's method kept
/// inside a bracket that grows from `guess` in steps of `scale`.
fn invert(f: impl Fn(f64) -> (f64, f64), target: f64, guess: f64, scale: f64) -> f64 {
    let mut x = if guess.is_finite() { guess } else { 0.0 };
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut stride = scale;
    for _ in 0..200 {
        let (value, slope) = f(x);
        let miss = value - target;
        if miss > 0.0 {
            low = x;
        } else if miss < 0.0 {
            high = x;
        } else {
            return x;
        }
        let mut next = x - miss / slope;
        if !(next > low && next < high) || (next - x).abs() > stride {
            next = if high == f64::INFINITY {
                low + stride
            } else if low == f64::NEG_INFINITY {
                high - stride
            } else {
                0.5 * (low + high)
            };
            if high - low == f64::INFINITY {
                stride *= 2.0;
            }
        }
        let step = (next - x).abs();
        x = next;
        if step <= 4.0 * f64::EPSILON * (x.abs() + 1e-3 * scale) {
            return x;
        }
    }
    x
}
