//! What many cases say together.

use super::sample::{below, stream};

/// The value of the standard normal distribution that leaves 2.5 % above it.
const Z_95: f64 = 1.959_963_984_540_054;

/// The share-`q` quantile of values in ascending order, by straight lines between the order
/// statistics: type 7 of R. J. Hyndman and Y. Fan, The American Statistician 50 (1996); NaN of
/// nothing.
pub(crate) fn quantile(sorted: &[f64], q: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else {
        return f64::NAN;
    };
    let at = q.clamp(0.0, 1.0) * last as f64;
    let low = at.floor() as usize;
    let (a, b) = (sorted[low], sorted[(low + 1).min(last)]);
    a + (at - low as f64) * (b - a)
}

/// Finite values in ascending order.
pub(crate) fn sorted(values: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut out: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
    out.sort_by(f64::total_cmp);
    out
}

/// The 95 % score interval of a share, `k` of `n`: E. B. Wilson, Journal of the American
/// Statistical Association 22 (1927) 209. From 0 to 1 when `n` is 0.
pub(crate) fn wilson(k: usize, n: usize) -> (f64, f64) {
    if n == 0 {
        return (0.0, 1.0);
    }
    let (count, n_all) = (k as f64, n as f64);
    let (p, zz) = (count / n_all, Z_95 * Z_95);
    let centre = p + zz / (2.0 * n_all);
    let half = Z_95 * (p * (1.0 - p) / n_all + zz / (4.0 * n_all * n_all)).sqrt();
    let low = (centre - half) / (1.0 + zz / n_all);
    let high = (centre + half) / (1.0 + zz / n_all);
    // Exact at the ends, where rounding would leave a trace.
    (
        if k == 0 { 0.0 } else { low },
        if k == n { 1.0 } else { high },
    )
}

/// Ranks from 1; equal values share the mean of theirs.
pub(crate) fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let mut out = vec![0.0; values.len()];
    let mut from = 0;
    while from < order.len() {
        let same = |&i: &usize| values[i] == values[order[from]];
        let count = order[from..].iter().take_while(|i| same(i)).count().max(1);
        let mean = from as f64 + (count as f64 + 1.0) / 2.0;
        for &i in &order[from..from + count] {
            out[i] = mean;
        }
        from += count;
    }
    out
}

/// Spearman's rank correlation: Pearson's of the ranks. Pairs with a value that is not finite are
/// left out; NaN when a side does not vary.
pub(crate) fn spearman(x: &[f64], y: &[f64]) -> f64 {
    let (x, y): (Vec<f64>, Vec<f64>) = x
        .iter()
        .zip(y)
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .unzip();
    let (x, y) = (ranks(&x), ranks(&y));
    let middle = (x.len() as f64 + 1.0) / 2.0;
    let (mut xy, mut xx, mut yy) = (0.0, 0.0, 0.0);
    for (x, y) in x.iter().zip(&y) {
        let (x, y) = (x - middle, y - middle);
        xy += x * y;
        xx += x * x;
        yy += y * y;
    }
    if xx == 0.0 || yy == 0.0 {
        return f64::NAN;
    }
    (xy / (xx * yy).sqrt()).clamp(-1.0, 1.0)
}

/// Mean; NaN of nothing.
pub(crate) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Mean of `y` where `x` is in its lowest third of ranks, and in its highest; of discrete inputs,
/// where it is lowest and highest. NaN when nothing is there.
pub(crate) fn thirds(x: &[f64], y: &[f64]) -> (f64, f64) {
    let (x, y): (Vec<f64>, Vec<f64>) = x
        .iter()
        .zip(y)
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .unzip();
    let levels = sorted(x.iter().copied());
    // With fewer cases than three there is no middle to leave out.
    let cut = levels.len().div_ceil(3).saturating_sub(1);
    let (Some(&low), Some(&high)) = (
        levels.get(cut),
        levels.get(levels.len().saturating_sub(cut + 1)),
    ) else {
        return (f64::NAN, f64::NAN);
    };
    let (first, last) = (levels[0], levels[levels.len() - 1]);
    // Two levels may reach over the middle: then the ends alone count.
    let (low, high) = if low < high {
        (low, high)
    } else {
        (first, last)
    };
    let pick = |keep: &dyn Fn(f64) -> bool| {
        let kept = x.iter().zip(&y).filter(|(x, _)| keep(**x));
        let kept: Vec<f64> = kept.map(|(_, y)| *y).collect();
        mean(&kept)
    };
    (pick(&|x| x <= low), pick(&|x| x >= high))
}

/// Draws of the bootstrap.
const RESAMPLES: usize = 1000;

/// Mean with the 95 % percentile interval of its bootstrap (B. Efron, Annals of Statistics 7
/// (1979)), by a generator of fixed seed; NaN of nothing.
pub(crate) fn bootstrap_mean(values: &[f64], name: &str) -> (f64, f64, f64) {
    if values.is_empty() {
        return (f64::NAN, f64::NAN, f64::NAN);
    }
    let mut random = stream(0, name);
    let means = (0..RESAMPLES).map(|_| {
        let sum: f64 = (0..values.len())
            .map(|_| values[below(&mut random, values.len())])
            .sum();
        sum / values.len() as f64
    });
    let means = sorted(means);
    (
        mean(values),
        quantile(&means, 0.025),
        quantile(&means, 0.975),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thirds_of_a_ramp_and_of_two_levels() {
        let x: Vec<f64> = (0..9).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| 10.0 * x).collect();
        assert_eq!(thirds(&x, &y), (10.0, 70.0));
        assert_eq!(thirds(&[0.0, 1.0, 1.0], &[5.0, 7.0, 9.0]), (5.0, 8.0));
        assert_eq!(
            thirds(&[0.0, 0.0, 0.0, 0.0, 1.0], &[1.0, 1.0, 1.0, 1.0, 6.0]),
            (1.0, 6.0)
        );
        assert!(thirds(&[], &[]).0.is_nan());
    }

    #[test]
    fn the_bootstrap_of_a_constant_is_a_point() {
        assert_eq!(bootstrap_mean(&[2.0; 30], "x"), (2.0, 2.0, 2.0));
    }

    #[test]
    fn the_bootstrap_agrees_with_the_standard_error() {
        // For a large sample, mean ± 1.96 s/√n; the percentile interval comes to it within a tenth.
        let values: Vec<f64> = (0..400).map(|i| f64::from((i * 37) % 101)).collect();
        let (m, low, high) = bootstrap_mean(&values, "x");
        let var = values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / 399.0;
        let half = Z_95 * (var / 400.0).sqrt();
        assert!(((high - low) / (2.0 * half) - 1.0).abs() < 0.1);
        assert!(((high + low) / 2.0 - m).abs() < 0.2 * half);
    }
}
