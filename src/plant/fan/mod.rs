//! Fans: pressure and power curves, affinity laws, drives, and the fan as a network element.

mod curve;
mod drive;
mod monotone_cubic;
mod power;

pub use curve::FanCurve;
pub use drive::{Drive, Limits};
pub use power::PowerCurve;

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

/// Where the search for a fan's flow last ended; the next one starts from there, along the tangent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FanMemo {
    /// What was searched: flow at reference speed, or flow where the speed is given, m³/s.
    x: f64,
    /// External pressure rise, Pa.
    rise_pa: f64,
    /// Slope of the rise with `x`, Pa per m³/s; 0 where nothing was searched yet.
    slope: f64,
}

impl FanMemo {
    /// A search yet to be made, from `x`.
    fn at(x: f64) -> Self {
        Self {
            x,
            ..Self::default()
        }
    }

    /// Finds where `rise` meets `rise_pa`.
    fn search(&mut self, rise: impl Fn(f64) -> (f64, f64), rise_pa: f64, scale: f64) -> Self {
        let along = (rise_pa - self.rise_pa) / self.slope;
        let near = along.abs() <= scale;
        let guess = if near { self.x + along } else { self.x };
        let (x, slope) = invert(rise, rise_pa, guess, scale);
        *self = Self { x, rise_pa, slope };
        *self
    }
}

impl FanLaw {
    /// Flow (m³/s) and its slope (m³/s per Pa of rise, not above zero) against an external
    /// pressure rise; `memo` keeps the last answer as the next start.
    pub fn flow_and_slope(&self, rise_pa: f64, memo: &mut FanMemo) -> (f64, f64) {
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
            let FanMemo { x, slope, .. } = memo.search(rise, rise_pa, free);
            return (x, (1.0 / slope).max(-steepest));
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
        let FanMemo { x, slope, .. } = memo.search(rise, rise_pa, free);
        let (s, ds) = self.drive.speed_and_slope(x, &self.fan.power);
        (s * x, ((s + x * ds) / slope).clamp(-steepest, 0.0))
    }

    /// Where the fan runs against an external pressure rise, Pa.
    pub fn point(&self, rise_pa: f64) -> FanPoint {
        self.point_near(rise_pa, FanMemo::at(self.fan.curve.free_flow_m3_s()))
    }

    /// The same, the search starting from the memo that [`FanLaw::flow_and_slope`] left nearby.
    pub fn point_near(&self, rise_pa: f64, memo: FanMemo) -> FanPoint {
        let mut memo = memo;
        let (flow_m3_s, _) = self.flow_and_slope(rise_pa, &mut memo);
        let speed = match self.drive {
            Drive::FixedSpeed { speed } => speed.max(0.0),
            _ => self.drive.speed_and_slope(memo.x, &self.fan.power).0,
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
/// inside a bracket that grows from `guess` in steps of `scale`. Returns `x` and the slope where the
/// function was last asked, a relative 1e-8 from there at most.
fn invert(f: impl Fn(f64) -> (f64, f64), target: f64, guess: f64, scale: f64) -> (f64, f64) {
    let mut x = if guess.is_finite() { guess } else { 0.0 };
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut stride = scale;
    let mut slope = f64::NAN;
    for _ in 0..200 {
        let value;
        (value, slope) = f(x);
        let miss = value - target;
        if miss > 0.0 {
            low = x;
        } else if miss < 0.0 {
            high = x;
        } else {
            return (x, slope);
        }
        let mut next = x - miss / slope;
        // A step may be too short to leave `x`: that is the answer, not a step out of the bracket.
        let newton = (next > low && next < high || next == x) && (next - x).abs() <= stride;
        if !newton {
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
        // What a Newton step leaves is of the order of its square: past 1e-8 that is rounding.
        let close = if newton { 1e-8 } else { 4.0 * f64::EPSILON };
        if step <= close * (x.abs() + 1e-3 * scale) {
            return (x, slope);
        }
    }
    (x, slope)
}

#[cfg(test)]
mod tests {
    use super::curve::FanCurveError;
    use super::*;
    use proptest::prelude::*;

    fn fan() -> Arc<Fan> {
        let curve = FanCurve::from_rated_point(0.3, 110.0).unwrap();
        let power = PowerCurve::from_rated_point(0.3, 120.0).unwrap();
        Arc::new(Fan { curve, power })
    }

    fn law(drive: Drive) -> FanLaw {
        FanLaw {
            fan: fan(),
            drive,
            series: LinearQuadratic { a: 20.0, b: 300.0 },
        }
    }

    fn drives() -> [Drive; 5] {
        let limits = Limits {
            speed_min: 0.2,
            speed_max: 1.2,
            power_max_w: 100.0,
        };
        [
            Drive::FixedSpeed { speed: 1.0 },
            Drive::FixedSpeed { speed: 0.05 },
            Drive::FixedSpeed { speed: 0.0 },
            Drive::ConstantTorque {
                torque_w: 70.0,
                limits,
            },
            Drive::ConstantAirflow {
                flow_m3_s: 0.2,
                limits,
            },
        ]
    }

    /// Wherever rounding puts the start beside the answer, the search does not leave it.
    #[test]
    fn a_start_at_the_answer_ends_the_search() {
        for i in 1..1000 {
            let target = f64::from(i) * 0.1;
            let asked = std::cell::Cell::new(0);
            let falling = |x: f64| {
                asked.set(asked.get() + 1);
                (200.0 - 300.0 * x * x, -600.0 * x)
            };
            let answer = ((200.0 - target) / 300.0).sqrt();
            for start in [answer.next_down(), answer, answer.next_up()] {
                asked.set(0);
                let (x, _) = invert(falling, target, start, 1.0);
                assert!((x - answer).abs() < 1e-15, "{x} is not {answer}");
                assert_eq!(asked.get(), 1, "from {start}");
            }
        }
    }

    #[test]
    fn affinity_laws() {
        // 300 L/s, 100 Pa, 90 W at 80 % speed is 240 L/s, 64 Pa, 46.08 W (reference sheet).
        let curve = FanCurve::from_rated_point(0.3, 100.0).unwrap();
        assert!((curve.pressure_at_speed_pa(0.24, 0.8) - 64.0).abs() < 1e-10);
        assert!((curve.flow_at_m3_s(64.0, 0.8) - 0.24).abs() < 1e-12);
        let power = PowerCurve::from_rated_point(0.3, 90.0).unwrap();
        assert!((power.affinity_power_w(0.24, 0.8) - 46.08).abs() < 1e-10);
        assert!((power.torque_w(0.24, 0.8) - 46.08 / 0.8).abs() < 1e-10);
    }

    #[test]
    fn specific_power_is_pressure_over_efficiency() {
        // 200 Pa at 0.15, 0.30, 0.45 is 1.33, 0.667, 0.444 W per L/s (EN 13779, reference sheet).
        let curve = FanCurve::from_points(&[(0.1, 250.0), (0.3, 200.0), (0.5, 50.0)]).unwrap();
        for (efficiency, want) in [(0.15, 1.33), (0.30, 0.667), (0.45, 0.444)] {
            let points = [(0.1, efficiency), (0.3, efficiency)];
            let power = PowerCurve::from_efficiency(&curve, &points).unwrap();
            assert!((power.affinity_power_w(0.3, 1.0) / 300.0 - want).abs() < 0.005);
        }
    }

    #[test]
    fn a_hump_is_replaced_and_flagged() {
        // Least squares through six points, slope positive below 68 L/s (reference sheet).
        let curve = FanCurve::from_polynomial([174.243, 149.571, -1100.0, 0.0], 0.4).unwrap();
        let peak = 149.571 / 2200.0;
        assert!(curve.is_stalled(0.9 * peak, 1.0) && !curve.is_stalled(1.1 * peak, 1.0));
        assert!(curve.is_stalled(0.9 * peak * 0.5, 0.5));
        let by_points =
            FanCurve::from_points(&[(0.0, 150.0), (0.1, 170.0), (0.2, 150.0), (0.3, 90.0)])
                .unwrap();
        assert!(by_points.is_stalled(0.05, 1.0));
        for curve in [curve, by_points] {
            let mut last = f64::INFINITY;
            for i in -300..900 {
                let p = curve.pressure_pa(f64::from(i) * 1e-3);
                assert!(p < last);
                last = p;
            }
        }
    }

    #[test]
    fn refuses_curves_that_rise() {
        let rises = FanCurve::from_points(&[(0.1, 100.0), (0.2, 80.0), (0.3, 85.0)]);
        assert_eq!(rises, Err(FanCurveError::RisesAgain(0.3)));
        let order = FanCurve::from_points(&[(0.2, 100.0), (0.2, 80.0)]);
        assert_eq!(order, Err(FanCurveError::FlowOrder(0.2)));
        assert!(FanCurve::from_polynomial([100.0, 0.0, 50.0, 0.0], 0.3).is_err());
        assert!(FanCurve::from_rated_point(0.0, 100.0).is_err());
    }

    #[test]
    fn constant_airflow_holds_until_a_limit() {
        let held = |power_max_w, rise| {
            let limits = Limits {
                power_max_w,
                ..Limits::default()
            };
            law(Drive::ConstantAirflow {
                flow_m3_s: 0.2,
                limits,
            })
            .point(rise)
        };
        for rise in [0.0, 20.0, 60.0, 100.0] {
            let point = held(f64::INFINITY, rise);
            assert!((point.flow_m3_s - 0.2).abs() < 1e-12);
            let made = fan().curve.pressure_at_speed_pa(0.2, point.speed);
            assert!((made - point.rise_pa).abs() < 1e-9);
        }
        assert!(held(f64::INFINITY, 100.0).power_w > held(f64::INFINITY, 20.0).power_w);
        let beyond = held(f64::INFINITY, 190.0);
        assert!(beyond.flow_m3_s < 0.2 && beyond.speed == 1.0);
        let capped = held(50.0, 100.0);
        assert!(capped.flow_m3_s < 0.2 && (capped.power_w - 50.0).abs() < 1e-9);
    }

    #[test]
    fn constant_torque_speeds_up_as_it_is_throttled() {
        let limits = Limits {
            speed_max: 1.5,
            ..Limits::default()
        };
        let drive = law(Drive::ConstantTorque {
            torque_w: 80.0,
            limits,
        });
        let (open, shut) = (drive.point(20.0), drive.point(120.0));
        assert!((open.torque_w - 80.0).abs() < 1e-9 && (shut.torque_w - 80.0).abs() < 1e-9);
        assert!(shut.speed > open.speed && shut.flow_m3_s < open.flow_m3_s);
    }

    proptest! {
        /// For every drive flow never rises with pressure, meets the pressure, and its slope is
        /// the derivative.
        #[test]
        fn every_drive_falls(which in 0usize..5, rise in -200.0f64..400.0) {
            let law = law(drives()[which]);
            let flow = |rise: f64| law.flow_and_slope(rise, &mut FanMemo::at(0.3)).0;
            let (h, at) = (1e-3, flow(rise));
            let slope = law.flow_and_slope(rise, &mut FanMemo::at(0.1)).1;
            prop_assert!(slope <= 0.0 && flow(rise + h) <= at + 1e-13);
            let (left, right) = ((at - flow(rise - h)) / h, (flow(rise + h) - at) / h);
            // Between the one-sided differences, which part at a limit of the drive.
            let (low, high) = (left.min(right), left.max(right));
            let room = 1e-3 * low.abs() + 1e-9;
            prop_assert!(slope >= low - room && slope <= high + room, "{low} {slope} {high}");
            let point = law.point(rise);
            if point.speed >= 0.2 {
                let made = law.fan.curve.pressure_at_speed_pa(at, point.speed);
                prop_assert!((made - point.rise_pa).abs() < 1e-7);
            }
        }
    }
}
