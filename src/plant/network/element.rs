//! Laws of the elements: flow as a rising function of the pressure drop.

use crate::plant::fan::{FanLaw, FanMemo};

/// Below this drop a law of infinite slope at rest is rounded off, Pa. It is far below any drop
/// that carries a flow worth naming: 0.1 L/s through a grille of 100 Pa/(m³/s)².
const ROUND_OFF_PA: f64 = 1e-6;

/// Flow and slope at `part` of the rounding-off drop, for a law that has `flow` and `slope` there:
/// the odd cubic that meets both, exact for a straight law.
fn rounded_off(part: f64, flow: f64, slope: f64) -> (f64, f64) {
    let bend = 0.5 * (slope * ROUND_OFF_PA / flow - 1.0);
    (
        flow * part * (1.0 - bend + bend * part * part),
        flow / ROUND_OFF_PA * (1.0 - bend + 3.0 * bend * part * part),
    )
}

/// `dp = A·Q + B·Q|Q|`: ducts, fittings, dampers, grilles, filters and coils.
///
/// Elements in series add exactly. Where A is above zero the law has a finite slope at no flow.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LinearQuadratic {
    /// Linear part A, Pa per m³/s.
    pub a: f64,
    /// Quadratic part B, Pa per (m³/s)².
    pub b: f64,
}

impl LinearQuadratic {
    /// No resistance, for adding to.
    pub const NONE: Self = Self { a: 0.0, b: 0.0 };

    /// This and another in series.
    #[must_use]
    pub fn in_series(self, other: Self) -> Self {
        Self {
            a: self.a + other.a,
            b: self.b + other.b,
        }
    }

    /// Pressure drop at a flow, Pa; it has the sign of the flow.
    pub fn drop_pa(&self, flow_m3_s: f64) -> f64 {
        flow_m3_s * (self.a + self.b * flow_m3_s.abs())
    }

    /// Flow at a pressure drop, m³/s: `2dp/(A + √(A² + 4B|dp|))`.
    pub fn flow_m3_s(&self, drop_pa: f64) -> f64 {
        self.flow_and_slope(drop_pa).0
    }

    /// Flow (m³/s) and its slope (m³/s per Pa).
    #[inline]
    pub fn flow_and_slope(&self, drop_pa: f64) -> (f64, f64) {
        let root = (self.a * self.a + 4.0 * self.b * drop_pa.abs()).sqrt();
        if drop_pa.abs() >= ROUND_OFF_PA || drop_pa.is_nan() {
            return (2.0 * drop_pa / (self.a + root), 1.0 / root);
        }
        let (flow, slope) = self.flow_and_slope(ROUND_OFF_PA);
        rounded_off(drop_pa / ROUND_OFF_PA, flow, slope)
    }
}

/// `Q = k·x·(x² + s²)^((m − 1)/2)`: cracks (`m = 0.65`), and power-law friction.
///
/// It is softened in pressure, over `s` Pa (0.01 to 0.1), never in flow: a flow threshold larger
/// than a closed damper's leakage would falsify it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Power {
    /// Coefficient k, m³/s per Pa^m.
    pub k: f64,
    /// Exponent m, above 0 and at most 1.
    pub m: f64,
    /// Softening pressure s, Pa; zero gives the pure power law.
    pub soft_pa: f64,
}

impl Power {
    /// From `dp = R Q^n`, so `m = 1/n` and `k = R^(−m)`.
    pub fn from_resistance(resistance: f64, exponent: f64, soft_pa: f64) -> Self {
        let m = 1.0 / exponent;
        Self {
            k: resistance.powf(-m),
            m,
            soft_pa,
        }
    }

    /// Flow (m³/s) and its slope (m³/s per Pa).
    #[inline]
    pub fn flow_and_slope(&self, drop_pa: f64) -> (f64, f64) {
        self.flow_and_slope_near(drop_pa, &mut Memo::default())
    }

    /// The same, with the last power taken in `memo`.
    #[inline(always)]
    pub(super) fn flow_and_slope_near(&self, drop_pa: f64, memo: &mut Memo) -> (f64, f64) {
        let soft = self.soft_pa * self.soft_pa;
        let size = drop_pa * drop_pa;
        let held = size + soft;
        if held < ROUND_OFF_PA * ROUND_OFF_PA {
            let (flow, slope) = self.flow_and_slope(ROUND_OFF_PA);
            return rounded_off(drop_pa / ROUND_OFF_PA, flow, slope);
        }
        // Square roots where the exponent is a half: they cost a fraction of a power.
        let shape = if self.m == 0.5 {
            1.0 / held.sqrt().sqrt()
        } else {
            memo.power(held, 0.5 * (self.m - 1.0))
        };
        (
            self.k * drop_pa * shape,
            self.k * shape * (self.m * size + soft) / held,
        )
    }
}

/// A weighted relief blade over one step; see [`crate::plant::relief::WeightedBlade`].
///
/// `Q = G·√dp`, with `G` growing from `leak` to `full` as the blade opens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BladeLaw {
    /// Drop at which the blade begins to open, Pa.
    pub open_pa: f64,
    /// Drop at which it is open, Pa.
    pub full_pa: f64,
    /// Conductance when shut, m³/s per √Pa.
    pub leak: f64,
    /// Conductance when open, m³/s per √Pa.
    pub full: f64,
    /// Half the friction band, Pa; below `open_pa`.
    pub friction_pa: f64,
    /// Opening when the step began.
    pub opening: f64,
    /// Share of the way to its target that the blade moves in the step.
    pub follow: f64,
}

impl BladeLaw {
    /// Opening at the end of the step.
    pub fn opening_at(&self, drop_pa: f64) -> f64 {
        self.opening_and_slope(drop_pa).0
    }

    /// Friction opposes the movement: the blade moves only while its opening lies outside those
    /// at rest for the drop less and plus the half band.
    fn opening_and_slope(&self, drop_pa: f64) -> (f64, f64) {
        let (least, least_slope) = self.at_rest(drop_pa - self.friction_pa);
        let (most, most_slope) = self.at_rest(drop_pa + self.friction_pa);
        let (target, slope) = if self.opening < least {
            (least, least_slope)
        } else if self.opening > most {
            (most, most_slope)
        } else {
            (self.opening, 0.0)
        };
        (
            self.opening + self.follow * (target - self.opening),
            self.follow * slope,
        )
    }

    /// Opening of a blade without friction, at rest, and its slope: a smooth step.
    fn at_rest(&self, drop_pa: f64) -> (f64, f64) {
        let span = self.full_pa - self.open_pa;
        let t = ((drop_pa - self.open_pa) / span).clamp(0.0, 1.0);
        (t * t * (3.0 - 2.0 * t), 6.0 * t * (1.0 - t) / span)
    }

    /// Flow (m³/s) and its slope (m³/s per Pa).
    #[inline]
    pub fn flow_and_slope(&self, drop_pa: f64) -> (f64, f64) {
        // Softened over 0.01 Pa so that the slope stays finite at no drop.
        const SOFT: f64 = 1e-4;
        let (opening, opening_slope) = self.opening_and_slope(drop_pa);
        let conductance = self.leak + (self.full - self.leak) * opening;
        let held = drop_pa * drop_pa + SOFT;
        let shape = 1.0 / held.sqrt().sqrt();
        let turn = (self.full - self.leak) * opening_slope * drop_pa * shape;
        let stay = conductance * shape * (0.5 * drop_pa * drop_pa + SOFT) / held;
        (conductance * drop_pa * shape, stay + turn.max(0.0))
    }
}

/// What an element's law keeps from one evaluation to the next, to be quicker and not different.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Memo {
    /// A fan's last answer.
    pub(super) fan: FanMemo,
    /// Reciprocal of the number a power was last taken of; 0 for none.
    one_over: f64,
    /// The exponent then.
    exponent: f64,
    /// That power.
    power: f64,
}

impl Memo {
    /// `x^q` for x above zero: near the last x by the binomial series, whose first term left out
    /// is below 1e-17 of the result for the exponents of leaks.
    #[inline]
    fn power(&mut self, x: f64, q: f64) -> f64 {
        const NEAR: f64 = 1.0 / 128.0;
        let d = x * self.one_over - 1.0;
        if d.abs() > NEAR || self.exponent != q {
            *self = Self {
                one_over: 1.0 / x,
                exponent: q,
                power: x.powf(q),
                ..*self
            };
            return self.power;
        }
        // Terms kept with the power would save some products here and cost every cold solution more.
        let term = |k: f64| (q - k) * (1.0 / (k + 1.0)) * d;
        let series = 1.0 + term(4.0) * (1.0 + term(5.0) * (1.0 + term(6.0)));
        let series = 1.0 + term(2.0) * (1.0 + term(3.0) * series);
        self.power * (1.0 + term(0.0) * (1.0 + term(1.0) * series))
    }
}

/// Whether a law that misses its tangent by `miss_pa` at a drop is close to straight over the step
/// that led there. A square root that does has a slope within two percent of the tangent's.
#[inline]
pub(super) fn is_straight(miss_pa: f64, drop_pa: f64) -> bool {
    miss_pa.abs() <= 1e-4 * drop_pa.abs()
}

/// How an element's flow follows its pressure drop, from its first to its second node.
#[derive(Debug, Clone, PartialEq)]
pub enum Law {
    /// Ducts, dampers, grilles.
    LinearQuadratic(LinearQuadratic),
    /// Cracks and power-law friction.
    Power(Power),
    /// A fan with its drive and internal resistance.
    Fan(FanLaw),
    /// A given flow, m³/s, whatever the pressures.
    ConstantFlow(f64),
    /// A weighted relief blade.
    WeightedBlade(BladeLaw),
}

impl Law {
    /// Flow (m³/s) and its slope (m³/s per Pa) at a drop; `memo` is the law's own. The common laws are
    /// written out where they are called; fans and blades, one or two in a network, are not.
    #[inline(always)]
    pub(super) fn flow_and_slope(&self, drop_pa: f64, memo: &mut Memo) -> (f64, f64) {
        match self {
            Self::LinearQuadratic(law) => law.flow_and_slope(drop_pa),
            Self::Power(law) => law.flow_and_slope_near(drop_pa, memo),
            _ => self.rare_flow_and_slope(drop_pa, memo),
        }
    }

    #[inline(never)]
    fn rare_flow_and_slope(&self, drop_pa: f64, memo: &mut Memo) -> (f64, f64) {
        match self {
            Self::LinearQuadratic(law) => law.flow_and_slope(drop_pa),
            Self::Power(law) => law.flow_and_slope_near(drop_pa, memo),
            Self::Fan(law) => {
                let (flow, slope) = law.flow_and_slope(-drop_pa, &mut memo.fan);
                (flow, -slope)
            }
            Self::ConstantFlow(flow) => (*flow, 0.0),
            Self::WeightedBlade(law) => law.flow_and_slope(drop_pa),
        }
    }

    /// What the law asks for beyond `flow` at a drop: as flow (m³/s), and as the drop (Pa) that
    /// makes up for it along the tangent of `slope`.
    #[inline]
    pub(super) fn miss(&self, drop_pa: f64, flow: f64, slope: f64, memo: &mut Memo) -> (f64, f64) {
        match self {
            // A flow gives its drop without a root, and the tangent serves where it is not far off.
            Self::LinearQuadratic(law)
                if drop_pa.abs() >= ROUND_OFF_PA
                    && is_straight(drop_pa - law.drop_pa(flow), drop_pa) =>
            {
                let miss_pa = drop_pa - law.drop_pa(flow);
                (slope * miss_pa, miss_pa)
            }
            _ => {
                let miss = self.flow_and_slope(drop_pa, memo).0 - flow;
                (miss, miss / slope)
            }
        }
    }

    /// A straight line through the law's usual range, to start a search from.
    pub(super) fn rough_line(&self, memo: &mut Memo) -> (f64, f64) {
        match self {
            Self::Fan(law) => {
                let (flow, _) = law.flow_and_slope(0.0, &mut memo.fan);
                (
                    flow,
                    flow.abs().max(1e-6) / law.fan.curve.shut_off_pa().abs().max(1.0),
                )
            }
            Self::ConstantFlow(flow) => (*flow, 0.0),
            _ => (0.0, self.flow_and_slope(10.0, memo).0 / 10.0),
        }
    }

    /// Whether the law's own figures can be solved with.
    pub(super) fn is_sound(&self) -> bool {
        let positive = |v: f64| v > 0.0 && v.is_finite();
        let pair = |l: &LinearQuadratic| l.a >= 0.0 && l.b >= 0.0 && (l.a + l.b).is_finite();
        match self {
            Self::LinearQuadratic(law) => pair(law) && law.a + law.b > 0.0,
            Self::Power(law) => {
                positive(law.k) && positive(law.m) && law.m <= 1.0 && law.soft_pa >= 0.0
            }
            Self::Fan(law) => pair(&law.series),
            Self::ConstantFlow(flow) => flow.is_finite(),
            Self::WeightedBlade(law) => positive(law.leak) && positive(law.full),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn linear_quadratic_inverts_itself(
            a in 0.0f64..50.0, b in 0.1f64..1e6, drop in -500.0f64..500.0,
        ) {
            let law = LinearQuadratic { a, b };
            let (flow, slope) = law.flow_and_slope(drop);
            let near = drop.abs().max(super::ROUND_OFF_PA);
            prop_assert!((law.drop_pa(flow) - drop).abs() <= 1e-11 * near);
            let back = a + 2.0 * b * flow.abs();
            prop_assert!(drop.abs() < 1e-5 || (slope * back - 1.0).abs() < 1e-9);
        }

        #[test]
        fn power_slope_is_the_derivative(
            m in 0.5f64..1.0, soft_pa in 0.01f64..0.1, drop in -50.0f64..50.0,
        ) {
            let law = Power { k: 0.01, m, soft_pa };
            let h = 1e-5;
            let (up, down) = (law.flow_and_slope(drop + h).0, law.flow_and_slope(drop - h).0);
            let slope = law.flow_and_slope(drop).1;
            prop_assert!(((up - down) / (2.0 * h) - slope).abs() < 1e-5 * slope);
        }
    }

    proptest! {
        /// Series and library power are the same to rounding, also after many small moves.
        #[test]
        fn a_remembered_power_is_the_power(
            start in 1e-4f64..1e4,
            moves in prop::collection::vec(-0.02f64..0.02, 1..40),
            m in 0.5f64..1.0,
        ) {
            let (mut memo, mut x, q) = (Memo::default(), start, 0.5 * (m - 1.0));
            for by in moves {
                x *= 1.0 + by;
                let want = x.powf(q);
                prop_assert!((memo.power(x, q) / want - 1.0).abs() < 1e-14);
            }
        }
    }

    #[test]
    fn rounding_off_is_smooth_and_only_near_rest() {
        let law = LinearQuadratic { a: 0.0, b: 148.0 };
        let power = Power {
            k: 0.1,
            m: 0.65,
            soft_pa: 0.0,
        };
        for side in [1.0 - 1e-9, 1.0] {
            let drop = side * ROUND_OFF_PA;
            let (flow, slope) = law.flow_and_slope(drop);
            assert!((flow / (drop / 148.0).sqrt() - 1.0).abs() < 1e-8);
            assert!((slope * 2.0 * drop / flow - 1.0).abs() < 1e-6);
            let (flow, slope) = power.flow_and_slope(drop);
            assert!((flow / (0.1 * drop.powf(0.65)) - 1.0).abs() < 1e-8);
            assert!((slope * drop / flow / 0.65 - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn pure_laws_are_finite_at_rest() {
        let (flow, slope) = LinearQuadratic { a: 0.0, b: 100.0 }.flow_and_slope(0.0);
        assert!(flow == 0.0 && slope.is_finite() && slope > 0.0);
        let (flow, slope) = Power {
            k: 0.1,
            m: 0.5,
            soft_pa: 0.0,
        }
        .flow_and_slope(0.0);
        assert!(flow == 0.0 && slope.is_finite() && slope > 0.0);
    }
}
