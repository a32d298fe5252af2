//! Rating curves centred on their rating point, and the ranges they may be used in.

/// A closed range outside which an input is held at the nearer end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Range {
    /// A range from `low` to `high`.
    pub const fn new(low: f64, high: f64) -> Self {
        Self { low, high }
    }

    /// The value held inside the range; `outside` becomes true when that changed it.
    pub fn hold(&self, value: f64, outside: &mut bool) -> f64 {
        if value < self.low {
            *outside = true;
            self.low
        } else if value > self.high {
            *outside = true;
            self.high
        } else {
            value
        }
    }

    /// True when both ends are finite and in order.
    pub fn is_valid(&self) -> bool {
        self.low.is_finite() && self.high.is_finite() && self.low < self.high
    }
}

/// `f = 1 + a1·x + a2·x² + a3·y + a4·y² + a5·x·y`, with x and y counted from the rating point.
///
/// The common biquadratic form of residential performance maps (NREL/TP-5500-56354, Cutler and
/// others, 2013; from memory), written so that the rating point gives 1 exactly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Biquadratic {
    /// First input at the rating point.
    pub x_rated: f64,
    /// Second input at the rating point.
    pub y_rated: f64,
    /// Coefficients a1 to a5.
    pub a: [f64; 5],
    /// Range of the first input.
    pub x_range: Range,
    /// Range of the second input.
    pub y_range: Range,
}

impl Biquadratic {
    /// Value at (x, y), both held in range; `outside` becomes true when one was not.
    pub fn at(&self, x: f64, y: f64, outside: &mut bool) -> f64 {
        let x = self.x_range.hold(x, outside) - self.x_rated;
        let y = self.y_range.hold(y, outside) - self.y_rated;
        let [a1, a2, a3, a4, a5] = self.a;
        1.0 + x * (a1 + a2 * x + a5 * y) + y * (a3 + a4 * y)
    }
}

/// `f = 1 + b1·z + b2·z² + b3·z³` with `z = x − 1`: a modifier that is 1 at the rated value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CubicModifier {
    /// Coefficients b1 to b3.
    pub b: [f64; 3],
    /// Range of x.
    pub range: Range,
}

impl CubicModifier {
    /// Value at x, held in range; `outside` becomes true when it was not.
    pub fn at(&self, x: f64, outside: &mut bool) -> f64 {
        let z = self.range.hold(x, outside) - 1.0;
        let [b1, b2, b3] = self.b;
        1.0 + z * (b1 + z * (b2 + z * b3))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rating_point_gives_one_and_the_range_holds() {
        let f = Biquadratic {
            x_rated: 19.0,
            y_rated: 35.0,
            a: [0.03, 1e-3, -0.01, 1e-4, 1e-4],
            x_range: Range::new(8.0, 24.0),
            y_range: Range::new(18.0, 46.0),
        };
        let mut outside = false;
        assert_eq!(f.at(19.0, 35.0, &mut outside), 1.0);
        assert!(!outside);
        let edge = f.at(8.0, 46.0, &mut outside);
        assert!(!outside);
        assert_eq!(f.at(-40.0, 99.0, &mut outside), edge);
        assert!(outside);
        let g = CubicModifier {
            b: [0.1, -0.05, 0.4],
            range: Range::new(0.3, 1.2),
        };
        let mut outside = false;
        assert_eq!(g.at(1.0, &mut outside), 1.0);
        assert_eq!(g.at(2.0, &mut outside), g.at(1.2, &mut false));
        assert!(outside);
    }
}
