//! Piecewise cubic through points that never leaves the range of its neighbours (Fritsch and
//! Carlson 1980, from memory).

/// Knots and their slopes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct MonotoneCubic {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl MonotoneCubic {
    /// Through at least two points with rising `x`; `first_slope` overrides the slope at the
    /// first point before it is limited.
    pub(super) fn new(points: &[(f64, f64)], first_slope: Option<f64>) -> Self {
        let (x, y): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        let n = x.len();
        let secant: Vec<f64> = (1..n)
            .map(|i| (y[i] - y[i - 1]) / (x[i] - x[i - 1]))
            .collect();
        let mut slope = vec![0.0; n];
        slope[0] = first_slope.unwrap_or(secant[0]);
        slope[n - 1] = secant[n - 2];
        for i in 1..n - 1 {
            if secant[i - 1] * secant[i] > 0.0 {
                slope[i] = 0.5 * (secant[i - 1] + secant[i]);
            }
        }
        for (i, &rise) in secant.iter().enumerate() {
            if rise == 0.0 {
                slope[i] = 0.0;
                slope[i + 1] = 0.0;
                continue;
            }
            let (a, b) = (slope[i] / rise, slope[i + 1] / rise);
            let length = a.hypot(b);
            if length > 3.0 {
                slope[i] = 3.0 / length * a * rise;
                slope[i + 1] = 3.0 / length * b * rise;
            }
        }
        Self { x, y, slope }
    }

    /// Position, value and slope at the first knot.
    pub(super) fn first(&self) -> (f64, f64, f64) {
        (self.x[0], self.y[0], self.slope[0])
    }

    /// Position, value and slope at the last knot.
    pub(super) fn last(&self) -> (f64, f64, f64) {
        let i = self.x.len() - 1;
        (self.x[i], self.y[i], self.slope[i])
    }

    /// Value and slope between the knots; ends are continued as straight lines.
    pub(super) fn value_and_slope(&self, at: f64) -> (f64, f64) {
        let (first, last) = (self.first(), self.last());
        for (beyond, end) in [(at <= first.0, first), (at >= last.0, last)] {
            if beyond {
                return (end.1 + end.2 * (at - end.0), end.2);
            }
        }
        let i = self
            .x
            .partition_point(|&x| x <= at)
            .clamp(1, self.x.len() - 1)
            - 1;
        let width = self.x[i + 1] - self.x[i];
        let t = (at - self.x[i]) / width;
        let rise = self.y[i + 1] - self.y[i];
        let (a, b) = (self.slope[i] * width, self.slope[i + 1] * width);
        // y = y0 + a t + (3 rise − 2a − b) t² + (a + b − 2 rise) t³
        let (square, cube) = (3.0 * rise - 2.0 * a - b, a + b - 2.0 * rise);
        (
            self.y[i] + t * (a + t * (square + t * cube)),
            (a + t * (2.0 * square + 3.0 * t * cube)) / width,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn stays_monotone_and_passes_through_its_points(
            steps in prop::collection::vec((0.01f64..1.0, 0.0f64..5.0), 1..9),
        ) {
            let mut points = vec![(0.0, 100.0)];
            for (dx, dy) in steps {
                let (x, y) = points[points.len() - 1];
                points.push((x + dx, y - dy));
            }
            let curve = MonotoneCubic::new(&points, None);
            for &(x, y) in &points {
                prop_assert!((curve.value_and_slope(x).0 - y).abs() < 1e-9);
            }
            let end = curve.last().0;
            let mut last = f64::INFINITY;
            for i in -20..=420 {
                let x = end * f64::from(i) / 400.0;
                let (y, slope) = curve.value_and_slope(x);
                prop_assert!(y <= last + 1e-12 && slope <= 1e-9);
                let h = 1e-6 * end;
                let between = (curve.value_and_slope(x + h).0 - curve.value_and_slope(x - h).0) / (2.0 * h);
                let near_knot = points.iter().any(|p| (p.0 - x).abs() < 2.0 * h);
                prop_assert!(near_knot || (between - slope).abs() < 1e-3 * (1.0 + slope.abs()));
                last = y;
            }
        }
    }
}
