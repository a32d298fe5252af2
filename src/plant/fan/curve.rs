//! Fan pressure against flow at one speed.

use super::monotone_cubic::MonotoneCubic;
use thiserror::Error;

/// Slope of the line that replaces the stalled side of a curve, as a share of peak pressure over
/// peak flow (our own choice, from the 1 to 5 % the balance needs to keep a single answer).
const STALL_SLOPE: f64 = 0.02;

/// Shut-off pressure over rated pressure of the generic curve. It is the shape of the reference
/// fan 230 − 480 V² Pa at its design flow of 0.5 m³/s (our own reference network).
pub(crate) const GENERIC_SHUT_OFF: f64 = 230.0 / 110.0;

/// Why a fan curve cannot be built.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum FanCurveError {
    /// Too few points.
    #[error("a fan curve needs two points or more, not {0}")]
    TooFew(usize),
    /// A figure is not a number, or not above zero where it must be.
    #[error("a fan curve needs finite figures, with flow and pressure above zero; found {0}")]
    NotPositive(f64),
    /// Flows do not rise.
    #[error("flows of a fan curve must rise; {0} m³/s does not")]
    FlowOrder(f64),
    /// Pressure rises again on the right of the peak.
    #[error("beyond its peak a fan curve must fall; it rises before {0} m³/s")]
    RisesAgain(f64),
}

#[derive(Debug, Clone, PartialEq)]
enum Shape {
    /// `a0 + a1 x + a2 x|x| + a3 x³` between −reach and reach.
    Polynomial([f64; 4]),
    Points(MonotoneCubic),
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct End {
    flow: f64,
    pressure: f64,
    slope: f64,
}

impl End {
    fn line(&self, flow: f64) -> (f64, f64) {
        (self.pressure + self.slope * (flow - self.flow), self.slope)
    }
}

/// Pressure rise of a fan against flow at its reference speed; it falls everywhere.
///
/// Beyond its data the curve goes on as a straight line of its end slope. Left of a peak it is
/// replaced by a weakly falling line, and the fan counts as stalled there.
#[derive(Debug, Clone, PartialEq)]
pub struct FanCurve {
    shape: Shape,
    low: End,
    high: End,
    stall_flow: Option<f64>,
    free_flow: f64,
}

impl FanCurve {
    /// Through measured `(flow m³/s, pressure Pa)` points, as a monotone piecewise cubic.
    ///
    /// # Errors
    /// [`FanCurveError`] if the flows do not rise or the pressure rises again after its peak.
    pub fn from_points(points: &[(f64, f64)]) -> Result<Self, FanCurveError> {
        if points.len() < 2 {
            return Err(FanCurveError::TooFew(points.len()));
        }
        if let Some(bad) = points
            .iter()
            .flat_map(|&(q, p)| [q, p])
            .find(|v| !v.is_finite())
        {
            return Err(FanCurveError::NotPositive(bad));
        }
        if let Some(pair) = points.windows(2).find(|pair| pair[1].0 <= pair[0].0) {
            return Err(FanCurveError::FlowOrder(pair[1].0));
        }
        let peak = (0..points.len()).fold(0, |best, i| {
            if points[i].1 > points[best].1 {
                i
            } else {
                best
            }
        });
        let falling = &points[peak..];
        let (peak_flow, peak_pressure) = points[peak];
        if peak_pressure <= 0.0 {
            return Err(FanCurveError::NotPositive(peak_pressure));
        }
        if falling.len() < 2 {
            return Err(FanCurveError::RisesAgain(peak_flow));
        }
        if let Some(pair) = falling.windows(2).find(|pair| pair[1].1 >= pair[0].1) {
            return Err(FanCurveError::RisesAgain(pair[1].0));
        }
        let stalls = peak > 0 && peak_flow > 0.0;
        let line = -STALL_SLOPE * peak_pressure / peak_flow.abs().max(f64::MIN_POSITIVE);
        let cubic = MonotoneCubic::new(falling, stalls.then_some(line));
        let end = |(flow, pressure, slope)| End {
            flow,
            pressure,
            slope,
        };
        let (low, high) = (end(cubic.first()), end(cubic.last()));
        Ok(Self::finish(
            Shape::Points(cubic),
            low,
            high,
            stalls.then_some(peak_flow),
        ))
    }

    /// From one rated point, with the generic shape `p = p_r (r − (r − 1)(Q/Q_r)²)` and the
    /// shut-off ratio `r` of [`GENERIC_SHUT_OFF`].
    ///
    /// # Errors
    /// [`FanCurveError::NotPositive`] if a figure is not above zero.
    pub fn from_rated_point(flow_m3_s: f64, pressure_pa: f64) -> Result<Self, FanCurveError> {
        if let Some(bad) = [flow_m3_s, pressure_pa]
            .into_iter()
            .find(|v| !(*v > 0.0 && v.is_finite()))
        {
            return Err(FanCurveError::NotPositive(bad));
        }
        let ratio = GENERIC_SHUT_OFF;
        let square = pressure_pa * (ratio - 1.0) / (flow_m3_s * flow_m3_s);
        let free = flow_m3_s * (ratio / (ratio - 1.0)).sqrt();
        Self::from_polynomial([ratio * pressure_pa, 0.0, -square, 0.0], free)
    }

    /// From `a0 + a1 Q + a2 Q|Q| + a3 Q³` up to `reach_m3_s`.
    ///
    /// # Errors
    /// [`FanCurveError`] if the shut-off pressure or the reach is not above zero, or the curve
    /// does not fall on the right of its last peak.
    pub fn from_polynomial(a: [f64; 4], reach_m3_s: f64) -> Result<Self, FanCurveError> {
        if let Some(bad) = a.into_iter().find(|v| !v.is_finite()) {
            return Err(FanCurveError::NotPositive(bad));
        }
        if let Some(bad) = [a[0], reach_m3_s]
            .into_iter()
            .find(|v| !(*v > 0.0 && v.is_finite()))
        {
            return Err(FanCurveError::NotPositive(bad));
        }
        let slope = |q: f64| polynomial(&a, q).1;
        if slope(reach_m3_s) >= 0.0 {
            return Err(FanCurveError::RisesAgain(reach_m3_s));
        }
        // The last flow at which the curve does not fall is where stall ends. The slope is a
        // parabola in flow, so its zeros are known exactly.
        let (c, b, s) = (a[1], 2.0 * a[2], 3.0 * a[3]);
        let mut peak: f64 = 0.0;
        let roots = if s == 0.0 {
            [if b == 0.0 { 0.0 } else { -c / b }, 0.0]
        } else {
            let root = (b * b - 4.0 * s * c).max(0.0).sqrt();
            let through = -0.5 * (b + root.copysign(b));
            let other = if through == 0.0 { 0.0 } else { c / through };
            if b * b < 4.0 * s * c {
                [0.0, 0.0]
            } else {
                [through / s, other]
            }
        };
        for root in roots {
            if root > 0.0 && root < reach_m3_s {
                peak = peak.max(root);
            }
        }
        let at = |flow: f64| {
            let (pressure, slope) = polynomial(&a, flow);
            End {
                flow,
                pressure,
                slope,
            }
        };
        let high = at(reach_m3_s);
        if peak > 0.0 {
            let top = at(peak);
            if top.pressure <= 0.0 {
                return Err(FanCurveError::NotPositive(top.pressure));
            }
            let low = End {
                slope: -STALL_SLOPE * top.pressure / peak,
                ..top
            };
            return Ok(Self::finish(Shape::Polynomial(a), low, high, Some(peak)));
        }
        Ok(Self::finish(
            Shape::Polynomial(a),
            at(-reach_m3_s),
            high,
            None,
        ))
    }

    fn finish(shape: Shape, low: End, high: End, stall_flow: Option<f64>) -> Self {
        let mut curve = Self {
            shape,
            low,
            high,
            stall_flow,
            free_flow: 0.0,
        };
        // Free delivery: beyond the data on the end line, else by bisection.
        curve.free_flow = if high.pressure >= 0.0 {
            high.flow - high.pressure / high.slope
        } else {
            let (mut from, mut to) = (0.0_f64.min(low.flow), high.flow);
            for _ in 0..200 {
                let middle = 0.5 * (from + to);
                if curve.pressure_pa(middle) > 0.0 {
                    from = middle;
                } else {
                    to = middle;
                }
            }
            to
        };
        curve
    }

    /// Pressure rise (Pa) and its slope (Pa per m³/s) at a flow, at reference speed.
    pub fn pressure_and_slope(&self, flow_m3_s: f64) -> (f64, f64) {
        if flow_m3_s <= self.low.flow {
            return self.low.line(flow_m3_s);
        }
        if flow_m3_s >= self.high.flow {
            return self.high.line(flow_m3_s);
        }
        match &self.shape {
            Shape::Polynomial(a) => polynomial(a, flow_m3_s),
            Shape::Points(cubic) => cubic.value_and_slope(flow_m3_s),
        }
    }

    /// Pressure rise at a flow, Pa, at reference speed.
    pub fn pressure_pa(&self, flow_m3_s: f64) -> f64 {
        self.pressure_and_slope(flow_m3_s).0
    }

    /// Pressure rise at a share of reference speed, Pa: `s² f(Q/s)` (affinity laws, ISO 5801).
    pub fn pressure_at_speed_pa(&self, flow_m3_s: f64, speed: f64) -> f64 {
        if speed <= 0.0 {
            return 0.0;
        }
        speed * speed * self.pressure_pa(flow_m3_s / speed)
    }

    /// Flow at a pressure rise and a share of reference speed, m³/s: the inverse of
    /// [`FanCurve::pressure_at_speed_pa`]; zero at standstill.
    pub fn flow_at_m3_s(&self, rise_pa: f64, speed: f64) -> f64 {
        if speed <= 0.0 {
            return 0.0;
        }
        let target = rise_pa / (speed * speed);
        speed
            * super::invert(
                |x| self.pressure_and_slope(x),
                target,
                self.free_flow,
                self.free_flow,
            )
            .0
    }

    /// Pressure at no flow, Pa, at reference speed.
    pub fn shut_off_pa(&self) -> f64 {
        self.pressure_pa(0.0)
    }

    /// Flow at no pressure rise, m³/s, at reference speed.
    pub fn free_flow_m3_s(&self) -> f64 {
        self.free_flow
    }

    /// Whether the fan runs left of its peak at this flow and speed.
    pub fn is_stalled(&self, flow_m3_s: f64, speed: f64) -> bool {
        self.stall_flow.is_some_and(|peak| flow_m3_s < peak * speed)
    }
}

fn polynomial(a: &[f64; 4], q: f64) -> (f64, f64) {
    let size = q.abs();
    (
        a[0] + q * (a[1] + a[2] * size + a[3] * q * q),
        a[1] + 2.0 * a[2] * size + 3.0 * a[3] * q * q,
    )
}
